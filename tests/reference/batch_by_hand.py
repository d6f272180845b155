"""A Batch out of plain dictionaries: session ─< runs ─< points ─< readings, session ─< calibrations ─< table.

Words are given as words, absent things by leaving them out.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import Any

import numpy as np

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

Row = Mapping[str, Any]

TRUTH_VALUES = ("baseline_removed", "dropped", "calibration_from_register", "points_found_in_trace")
NESTED = ("runs", "points", "readings", "calibrations", "table")


def _columns(rows: Sequence[Row], names: Iterable[str]) -> dict[str, np.ndarray]:
    unknown = {name for row in rows for name in row} - {*names, *NESTED}
    assert not unknown, f"no such columns: {unknown}"
    columns = {}
    for name in names:
        values = [row.get(name) for row in rows]
        if name in CHOICES:
            codes = [-1 if value is None else CHOICES[name].index(value) for value in values]
            columns[name] = np.array(codes, dtype=np.int8)
        elif name in TRUTH_VALUES:
            columns[name] = np.array([-1 if value is None else int(value) for value in values], dtype=np.int8)
        else:
            columns[name] = np.array([np.nan if value is None else value for value in values], dtype=np.float64)
    return columns


def _below(rows: Sequence[Row], nested: str) -> tuple[np.ndarray, list[Row]]:
    lists = [row.get(nested, []) for row in rows]
    offsets = np.concatenate(([0], np.cumsum([len(each) for each in lists]))).astype(np.int64)
    return offsets, [row for each in lists for row in each]


def batch_of(sessions: Sequence[Row]) -> Batch:
    run_offsets, runs = _below(sessions, "runs")
    point_offsets, points = _below(runs, "points")
    reading_offsets, readings = _below(points, "readings")
    calibration_offsets, calibrations = _below(sessions, "calibrations")
    calibration_point_offsets, rows = _below(calibrations, "table")
    return Batch(
        run_offsets=run_offsets,
        point_offsets=point_offsets,
        reading_offsets=reading_offsets,
        calibration_offsets=calibration_offsets,
        calibration_point_offsets=calibration_point_offsets,
        session=_columns(sessions, SESSION_COLUMNS),
        run=_columns(runs, RUN_COLUMNS),
        point=_columns(points, POINT_COLUMNS),
        reading=_columns(readings, READING_COLUMNS),
        calibration=_columns(calibrations, CALIBRATION_COLUMNS),
        calibration_point=_columns(rows, CALIBRATION_POINT_COLUMNS),
    )
