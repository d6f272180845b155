"""Sessions that hold only a log: their points come into the Batch, and nothing else does."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
import pytest
from archive_samples import imported, monitoring, multi_point, of_record, single_point, source

from interchange.archive import batches, found_points
from interchange.archive.settings import Settings
from interchange.archive.snapshot import Snapshot
from interchange.archive.store import Store
from interchange.model import session as form
from interchange.model.document import session_id
from interchange.model.question import Trace
from interchange.quantities import CHOICES

LAW = form.FanCalibration(fan_id="7", fan_configuration="wide", fan_coefficient_m3_h=150.0, fan_exponent=0.52)
STAIRS = ((30, 0.0), (30, 60.0), (30, 40.0), (30, 20.0), (30, 0.0))
NAMES = {"house": "envelope_pressure_pa", "fan": "fan_pressure_pa", "flow": "flow_m3_h", "in": "indoor_temperature_c"}


def readings(stairs: Sequence[tuple[int, float]] = STAIRS, coefficient: float = 200.0) -> dict[str, np.ndarray]:
    """A house of invented leakage, 1 Pa of stack, a reading a second."""
    held = np.repeat([pascals for _, pascals in stairs], [seconds for seconds, _ in stairs])
    noise = 0.05 * np.random.default_rng(1).standard_normal(held.size)
    flow = coefficient * held**0.65
    fan = (flow / 150.0) ** (1 / 0.52) * (1 + 0.02 * np.random.default_rng(2).standard_normal(held.size))
    return {"house": -held - 1.0 + noise, "fan": fan, "flow": np.where(held > 0, flow, np.nan), "in": 20 + held * 0}


def logged(
    values: dict[str, Any], label: str = "log", kind: str = "multi_point", **more: Any
) -> tuple[Any, form.Session, tuple[Trace, ...]]:
    of = source(label.encode(), f"{label}.csv")
    own = session_id(of.sha256, "file")
    arrays = {name: pa.array(one, pa.float64(), from_pandas=True) for name, one in values.items()}
    channels = tuple(
        form.Channel(
            channel_id=name,
            quantity=NAMES.get(name.split(" ")[0], name),
            line_id=name.split(" ")[1] if " " in name else None,
            start_s=0.0,
            interval_s=1.0,
            sample_count=len(one),
            missing_count=one.null_count,
        )
        for name, one in arrays.items()
    )
    session = form.Session(session_id=own, kind=kind, channels=channels, source=of_record(of, "file"), **more)
    return of, session, tuple(Trace(own, name, 0.0, 1.0, None, one) for name, one in arrays.items())


def stored(root: Path, *logs: tuple[Any, form.Session, tuple[Trace, ...]], others: Sequence[Any] = ()) -> Store:
    store = Store.create(root, Settings(programme="x"))
    store.commit([*(imported(of, session, traces=traces) for of, session, traces in logs), *others])
    return store


def some(values: dict[str, Any], *names: str) -> dict[str, Any]:
    return {name: values[name] for name in names}


def test_points_and_baselines_of_a_log_stand_in_the_batch_and_not_in_the_archive(tmp_path: Path) -> None:
    store = stored(tmp_path / "a", log := logged(readings(), fan_calibrations=(LAW,)))
    (loaded,) = batches.load(store.snapshot())
    batch, (stored_session,) = loaded.batch, store.snapshot().sessions()
    assert stored_session == log[1] and stored_session.runs == ()
    assert loaded.revisions.to_pylist() == store.snapshot().current["revision"].to_pylist()
    assert batch.session["points_found_in_trace"].tolist() == [1]
    assert batch.session["tests_in_log"].tolist() == [1.0] and batch.session["tests_left_out"].tolist() == [0.0]
    assert [batch.run_offsets.tolist(), batch.point_offsets.tolist()] == [[0, 1], [0, 3]]
    assert batch.run["direction"].tolist() == [CHOICES["direction"].index("depressurisation")]
    assert batch.run["baseline_before_pressure_pa"] == pytest.approx([-1.0], abs=0.03)
    assert batch.run["baseline_after_pressure_pa"] == pytest.approx([-1.0], abs=0.03)
    assert batch.run["baseline_before_duration_s"].tolist() == [29.0]
    assert batch.point["envelope_pressure_pa"] == pytest.approx([-61, -41, -21], abs=0.05)
    assert batch.point["averaging_s"].tolist() == [26.0] * 3 == batch.point["sample_count"].tolist()
    assert batch.point["baseline_removed"].tolist() == [0, 0, 0]
    assert batch.session["indoor_temperature_c"].tolist() == [20.0]


def test_the_fan_pressure_of_a_point_gives_the_mean_flow_by_its_calibration(tmp_path: Path) -> None:
    values = readings()
    store = stored(tmp_path / "a", logged(some(values, "house", "fan"), fan_calibrations=(LAW,)))
    (loaded,) = batches.load(store.snapshot())
    batch = loaded.batch
    mean_flow = [float((150.0 * values["fan"][a : a + 26] ** 0.52).mean()) for a in (32, 62, 92)]
    assert 150.0 * batch.reading["fan_pressure_pa"] ** 0.52 == pytest.approx(mean_flow, rel=1e-9)
    assert batch.reading["calibration_index"].tolist() == [0, 0, 0]
    assert np.isnan(batch.reading["flow_m3_h"]).all()


def test_a_logged_flow_is_averaged_as_it_is(tmp_path: Path) -> None:
    store = stored(tmp_path / "a", logged(readings()))
    (loaded,) = batches.load(store.snapshot())
    assert loaded.batch.reading["flow_m3_h"] == pytest.approx(200.0 * np.array([60.0, 40.0, 20.0]) ** 0.65, rel=1e-12)
    assert np.isnan(loaded.batch.reading["calibration_index"]).all()


def test_a_calibration_in_ranges_is_taken_by_fan_pressure_and_one_of_several_openings_is_not(tmp_path: Path) -> None:
    low = LAW.model_copy(update={"maximum_fan_pressure_pa": 100.0})
    high = LAW.model_copy(update={"minimum_fan_pressure_pa": 100.0})
    other = LAW.model_copy(update={"fan_configuration": "narrow"})
    one = logged(some(readings(), "house", "fan"), "ranges", fan_calibrations=(low, high))
    two = logged(some(readings(), "house", "fan"), "openings", fan_calibrations=(LAW, other))
    assert [p.fan_readings[0].calibration_index for p in found_points.in_log(*one[1:]).runs[0].points] == [1, 1, 0]
    assert [p.fan_readings[0].calibration_index for p in found_points.in_log(*two[1:]).runs[0].points] == [None] * 3


def test_the_first_reference_line_gives_the_pressure(tmp_path: Path) -> None:
    values = readings()
    both = {"house B": 2 * values["house"], "house A": values["house"], "fan": values["fan"]}
    lines = tuple(form.ReferenceLine(line_id=name, arrangement="open_end") for name in "AB")
    found = found_points.in_log(*logged(both, reference_lines=lines)[1:])
    assert [p.envelope_pressure_pa for p in found.runs[0].points] == pytest.approx([-61, -41, -21], abs=0.05)


def test_conditions_that_the_session_states_are_not_taken_from_its_log() -> None:
    stated = form.Conditions(indoor_temperature_c=18.0)
    assert found_points.in_log(*logged(readings(), conditions=stated)[1:]).air == {}
    assert found_points.in_log(*logged(readings())[1:]).air == {"indoor_temperature_c": 20.0}


@pytest.mark.parametrize(("coefficient", "runs", "left_out"), [(205.0, 2, 0), (300.0, 1, 1)])
def test_a_second_test_in_one_log_counts_only_as_a_repeat(coefficient: float, runs: int, left_out: int) -> None:
    first, second = readings(), readings(((700, 0.0), *STAIRS), coefficient)
    found = found_points.in_log(*logged({name: np.concatenate([first[name], second[name]]) for name in first})[1:])
    assert (found.tests_in_log, found.tests_left_out, len(found.runs)) == (2, left_out, runs)
    assert found.point_count == 3 * runs and found.baseline_count == 2 * runs


def _own_run() -> dict[str, Any]:
    return {"runs": (form.Run(run_number=1, direction="depressurisation"),)}


@pytest.mark.parametrize(
    "log",
    [
        logged(readings(), "monitoring", kind="monitoring"),
        logged(some(readings(), "house", "in"), "no fan"),
        logged(some(readings(), "fan", "flow"), "no house"),
        logged(readings(), "own run", **_own_run()),
        logged({**readings(), "fan_pressure_pa": readings()["fan"]}, "two fans"),
        logged({name: one * 0 for name, one in readings().items()}, "nothing happens"),
    ],
    ids=lambda log: log[0].name,
)
def test_what_is_no_fan_test_with_a_log_and_nothing_else_gets_no_points(tmp_path: Path, log: Any) -> None:
    store = stored(tmp_path / "a", log)
    (loaded,) = batches.load(store.snapshot())
    assert loaded.batch.session["points_found_in_trace"].tolist() == [0]
    assert loaded.batch.point_offsets[-1] == 0
    assert len(loaded.batch.run["direction"]) == len(log[1].runs)
    assert found_points.of_sessions(store.snapshot(), [log[1]]) == {}


def test_sessions_with_logs_come_apart_and_the_others_as_ever(tmp_path: Path) -> None:
    of, quiet = source(b"others", "others.csv"), source(b"quiet", "quiet.csv")
    watched, traces = monitoring(quiet, [[0.1, 0.2, None]])
    others = [imported(of, multi_point(of), single_point(of)), imported(quiet, watched, traces=traces)]
    logs = [logged(readings(), f"log {number}") for number in range(3)]
    store = stored(tmp_path / "a", *logs, others=others)
    loaded = list(batches.load(store.snapshot()))
    assert [one.batch.session["points_found_in_trace"].tolist() for one in loaded] == [[0, 0, 0], [1, 1, 1]]
    ids = [name for one in loaded for name in one.session_ids.to_pylist()]
    assert sorted(ids) == sorted(store.snapshot().current["session_id"].to_pylist())
    (alone,) = batches.load(store.snapshot(), {"session_id": [logs[1][1].session_id]})
    assert alone.batch.point["envelope_pressure_pa"].size == 3


def test_traces_are_read_for_logs_alone_and_few_at_a_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    of = source(b"others", "others.csv")
    store = stored(tmp_path / "a", others=[imported(of, multi_point(of), single_point(of))])
    asked: list[str] = []
    read = Snapshot.batches

    def noting(self: Snapshot, part: Any, *rest: Any, **more: Any) -> Any:
        asked.append(part)
        return read(self, part, *rest, **more)

    monkeypatch.setattr(Snapshot, "batches", noting)
    list(batches.load(store.snapshot()))
    assert "trace" not in asked
    store.commit([imported(of, session, traces=traces) for of, session, traces in (logged(readings(), "a"),)])
    store.commit([imported(of, session, traces=traces) for of, session, traces in (logged(readings(), "b"),)])
    monkeypatch.setattr(found_points, "SAMPLES_AT_ONCE", 400)
    assert sum(one.batch.session["points_found_in_trace"].sum() for one in batches.load(store.snapshot())) == 2
    assert asked.count("trace") == 2


def test_a_session_in_hand_is_the_same_batch_as_a_stored_one(tmp_path: Path) -> None:
    log = logged(readings(), fan_calibrations=(LAW,))
    snapshot = stored(tmp_path / "a", log).snapshot()
    found = found_points.of_sessions(snapshot, [log[1]])
    assert found == {log[1].session_id: found_points.in_log(*log[1:])}
    (there,) = batches.load(snapshot)
    here = batches.from_sessions([log[1]], found=found)
    for level in ("session", "run", "point", "reading", "calibration"):
        for name, values in getattr(there.batch, level).items():
            assert np.array_equal(values, getattr(here.batch, level)[name], equal_nan=values.dtype.kind == "f"), name


def test_declared_points_stay_and_are_held_against_those_of_the_log(tmp_path: Path) -> None:
    of, session, traces = logged(readings(), "declared")
    points = tuple(
        form.Point(envelope_pressure_pa=pressure, envelope_pressure_spread_pa=0.05, averaging_s=20.0)
        for pressure in (-61.0, -41.2, -9.0)
    )
    run = form.Run(run_number=1, direction="depressurisation", points=points)
    declared = replace(imported(of, session, traces=traces)).mapped.sessions[0].model_copy(update={"runs": (run,)})
    store = stored(tmp_path / "a", (of, declared, traces))
    (loaded,) = batches.load(store.snapshot())
    assert loaded.batch.point["envelope_pressure_pa"].tolist() == [-61.0, -41.2, -9.0]
    assert loaded.batch.session["points_found_in_trace"].tolist() == [0]
    held = found_points.against_declared(declared, store.snapshot().traces(declared.session_id))
    assert held.nearest.tolist() == [0, 1, -1] and held.extra_count == 1
    assert held.difference_pa[:2] == pytest.approx([0.0, 0.2], abs=0.03)
    assert abs(held.z[0]) < 1 and held.z[1] > 2
