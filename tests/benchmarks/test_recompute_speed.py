"""100,000 multi-point sessions recomputed, as a ratio to reading the same columns, and to a scipy loop."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from scipy.stats import linregress

from interchange.analysis import chain, uncertainty
from interchange.archive import batches, tables
from interchange.model import ruleset
from interchange.operations.judging import judge
from tests.benchmarks.measuring import report, seconds

SESSIONS, POINTS, LOOPED = 100_000, 10, 2_000

pytestmark = pytest.mark.benchmark


def _struct_rows(kind: pa.DataType, count: int, **columns: pa.Array) -> pa.Array:
    """Structs with the columns given and nothing else."""
    arrays = [columns.get(field.name, pa.nulls(count, field.type)).cast(field.type) for field in kind]
    return pa.StructArray.from_arrays(arrays, fields=list(kind))


def _lists(kind: pa.DataType, values: pa.Array, each: int) -> pa.Array:
    offsets = pa.array(np.arange(0, len(values) + 1, each), pa.int32())
    return pa.ListArray.from_arrays(offsets, values, type=kind)


def many_sessions(count: int) -> pa.Table:
    """Depressurisation tests of ten points with fan pressures and one fan calibration."""
    rng = np.random.default_rng(7)
    schema = tables.SCHEMAS["session"]
    runs_type, calibrations_type = schema.field("runs").type, schema.field("fan_calibrations").type
    points_type = runs_type.value_type.field("points").type
    readings_type = points_type.value_type.field("fan_readings").type
    total = count * POINTS
    pressure = -np.tile(np.linspace(60, 15, POINTS), count) + rng.normal(0, 0.3, total)
    flow = np.repeat(rng.uniform(80, 300, count), POINTS) * np.abs(pressure + 1.2) ** np.repeat(
        rng.normal(0.65, 0.05, count), POINTS
    )
    readings = _struct_rows(
        readings_type.value_type,
        total,
        fan_id=pa.repeat("1", total),
        flow_m3_h=pa.array(flow),
        fan_pressure_pa=pa.array((flow / 492.0) ** 2),
        flow_basis=pa.repeat("indicated", total),
        calibration_index=pa.array(np.zeros(total, dtype=np.int64)),
    )
    points = _struct_rows(
        points_type.value_type,
        total,
        envelope_pressure_pa=pa.array(pressure.round(1)),
        envelope_pressure_spread_pa=pa.array(rng.uniform(0.2, 1.0, total).round(2)),
        fan_readings=_lists(readings_type, readings, 1),
    )
    runs = _struct_rows(
        runs_type.value_type,
        count,
        run_number=pa.repeat(1, count),
        direction=pa.repeat("depressurisation", count),
        baseline_before_pressure_pa=pa.repeat(-1.2, count),
        baseline_after_pressure_pa=pa.repeat(-1.3, count),
        points=_lists(points_type, points, POINTS),
    )
    calibrations = _struct_rows(
        calibrations_type.value_type,
        count,
        fan_id=pa.repeat("1", count),
        fan_coefficient_m3_h=pa.repeat(492.0, count),
        fan_exponent=pa.repeat(0.5, count),
        reference_air_density_kg_m3=pa.repeat(1.204, count),
    )
    given = {
        "session_id": pa.array([f"{i:024x}" for i in range(count)]),
        "revision": pa.repeat("r", count),
        "kind": pa.repeat("multi_point", count),
        "volume_m3": pa.repeat(400.0, count),
        "indoor_temperature_c": pa.repeat(20.0, count),
        "outdoor_temperature_c": pa.repeat(4.0, count),
        "barometric_pressure_pa": pa.repeat(101_000.0, count),
        "runs": _lists(runs_type, runs, 1),
        "fan_calibrations": _lists(calibrations_type, calibrations, 1),
    }
    empty = ("reference_lines", "gauges", "fans")
    columns = []
    for field in schema:
        if field.name in given:
            columns.append(given[field.name].cast(field.type))
        elif field.name in empty:
            offsets = pa.array(np.zeros(count + 1, dtype=np.int32))
            columns.append(pa.ListArray.from_arrays(offsets, pa.nulls(0, field.type.value_type), type=field.type))
        else:
            columns.append(pa.nulls(count, field.type))
    return pa.Table.from_arrays(columns, schema=schema)


def _scipy_loop(path: Path) -> None:
    """What a script would do: one fit a session, without corrections, checks or verdicts."""
    runs = pq.read_table(path, columns=["runs"]).slice(0, LOOPED)["runs"].to_pylist()
    for session in runs:
        points = session[0]["points"]
        pressure = np.array([-(point["envelope_pressure_pa"] + 1.25) for point in points])
        flow = np.array([point["fan_readings"][0]["flow_m3_h"] for point in points])
        linregress(np.log(pressure), np.log(flow))


def test_recomputing_a_hundred_thousand_sessions(tmp_path: Path) -> None:
    path = tmp_path / "sessions.parquet"
    pq.write_table(many_sessions(SESSIONS), path, compression="zstd", row_group_size=16_384)
    iso, displayed, e779 = (ruleset.named(name) for name in ("iso9972@2015", "as_displayed", "astm-e779@2019"))

    def rows() -> list[pa.RecordBatch]:
        return list(pq.ParquetFile(path).iter_batches(batches.BATCH_ROWS, columns=list(batches.LEAVES)))

    def recomputed() -> None:
        for batch in rows():
            chain.run(batches.from_rows(batch).batch, iso.steps)

    def assessed() -> None:
        for batch in rows():
            judge(batches.from_rows(batch).batch, iso)

    def three() -> None:
        for batch in rows():
            loaded, shared = batches.from_rows(batch).batch, chain.Shared()
            for rules in (iso, displayed, e779):
                work = chain.follow(loaded, rules.steps, rules.applies_to, shared=shared)
                uncertainty.result_columns(uncertainty.budget(work), chain.leakage(work).session)

    sides = {
        "read": rows,
        "read and recompute": recomputed,
        "read, recompute, budget, check, judge": assessed,
        "three rule sets with limits and uncertainty": three,
    }
    taken = seconds(sides, 5)
    loop = seconds({"loop": lambda: _scipy_loop(path)}, 1)["loop"][0] * SESSIONS / LOOPED
    ratios = report(
        "recompute",
        f"{SESSIONS} sessions of {POINTS} points, one core and one thread of numpy; 'read' reads the same "
        "columns with pyarrow (which may use both cores)",
        taken,
        "read",
        scipy_loop_seconds_extrapolated=round(loop, 1),
        scipy_loop_sessions_run=LOOPED,
    )
    assert ratios["read and recompute"] > 0
