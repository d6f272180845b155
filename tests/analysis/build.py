"""Batches for tests, from plain dictionaries: what is not given is absent."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import (
    CALIBRATION_COLUMNS,
    CALIBRATION_POINT_COLUMNS,
    POINT_COLUMNS,
    READING_COLUMNS,
    RUN_COLUMNS,
    SESSION_COLUMNS,
    Batch,
)
from interchange.quantities import CHOICES

TRUTHS = (
    "baseline_removed",
    "dropped",
    "calibration_from_register",
    "reported_exponent_assumed",
    "points_found_in_trace",
)
Row = Mapping[str, Any]


def code(name: str, value: Any) -> Any:
    """A value as a batch holds it: words and truths as codes."""
    if name in TRUTHS:
        return -1 if value is None else int(value)
    if name in CHOICES:
        return -1 if value is None else CHOICES[name].index(value)
    return np.nan if value is None else float(value)


def columns(names: Sequence[str], rows: Sequence[Row]) -> dict[str, NDArray[Any]]:
    """Columns of rows; rows with names of other levels keep them to themselves."""
    return {
        name: np.array(
            [code(name, row.get(name)) for row in rows], dtype=np.int8 if name in (*TRUTHS, *CHOICES) else np.float64
        )
        for name in names
    }


def offsets(parts: Sequence[Sequence[Any]]) -> NDArray[np.int64]:
    return np.cumsum([0, *(len(part) for part in parts)]).astype(np.int64)


def batch(*sessions: Row) -> Batch:
    """Sessions with `runs` (with `points` (with `readings`)) and `calibrations` (with `table`), each a list."""
    runs = [run for session in sessions for run in session.get("runs", ())]
    points = [point for run in runs for point in run.get("points", ())]
    readings = [reading for point in points for reading in point.get("readings", ())]
    calibrations = [one for session in sessions for one in session.get("calibrations", ())]
    rows = [row for calibration in calibrations for row in calibration.get("table", ())]
    return Batch(
        run_offsets=offsets([session.get("runs", ()) for session in sessions]),
        point_offsets=offsets([run.get("points", ()) for run in runs]),
        reading_offsets=offsets([point.get("readings", ()) for point in points]),
        calibration_offsets=offsets([session.get("calibrations", ()) for session in sessions]),
        calibration_point_offsets=offsets([one.get("table", ()) for one in calibrations]),
        session=columns(SESSION_COLUMNS, sessions),
        run=columns(RUN_COLUMNS, runs),
        point=columns(POINT_COLUMNS, points),
        reading=columns(READING_COLUMNS, readings),
        calibration=columns(CALIBRATION_COLUMNS, calibrations),
        calibration_point=columns(CALIBRATION_POINT_COLUMNS, rows),
    )


def point(pressure_pa: float | None, flow_m3_h: float | None, **more: Any) -> Row:
    """A point with one fan reading; names of readings among `more` go into the reading."""
    reading = {"flow_m3_h": flow_m3_h, "flow_basis": "indicated"}
    reading |= {name: more.pop(name) for name in READING_COLUMNS if name in more}
    return {"envelope_pressure_pa": pressure_pa, "baseline_removed": False, **more, "readings": [reading]}


def line(
    direction: str, pressures: Sequence[float], coefficient: float = 200.0, exponent: float = 0.65, offset: float = 0.0
) -> list[Row]:
    """Points on a power law: magnitudes of induced pressure, recorded with their sign and an offset of the zero."""
    sign = -1.0 if direction == "depressurisation" else 1.0
    return [point(sign * p + offset, coefficient * p**exponent) for p in pressures]


PRESSURES = (60.0, 55.0, 50.0, 45.0, 40.0, 35.0, 30.0, 25.0, 20.0, 15.0)


def multi_point(direction: str = "depressurisation", baseline_pa: float = -1.0, **more: Any) -> dict[str, Any]:
    """A sound test of ten points at 21 and 21 degrees Celsius: leaks of 200 m3/h at 1 Pa and exponent 0.65."""
    run = {
        "direction": direction,
        "baseline_before_pressure_pa": baseline_pa,
        "baseline_after_pressure_pa": baseline_pa,
        "points": line(direction, PRESSURES, offset=baseline_pa),
    }
    return {
        "kind": "multi_point",
        "indoor_temperature_c": 21.0,
        "outdoor_temperature_c": 21.0,
        "barometric_pressure_pa": 101_325.0,
        "volume_m3": 400.0,
        "height_m": 5.0,
        "runs": [run],
        **more,
    }


def one_point(
    pressure_pa: float = -50.0, flow_m3_h: float = 2500.0, baseline_pa: float | None = -1.0, **more: Any
) -> dict[str, Any]:
    """A one-point test in depressurisation."""
    run = {
        "direction": "depressurisation",
        "baseline_before_pressure_pa": baseline_pa,
        "points": [point(pressure_pa, flow_m3_h)],
    }
    return {"kind": "single_point", "runs": [run], **more}
