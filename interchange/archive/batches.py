"""Stored rows as a Batch: the one road from tables to arrays, without a loop over sessions.

Numbers become float64 with NaN where absent, words and truth values int8 codes with -1 where absent.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from interchange.analysis import ragged
from interchange.analysis.batch import (
    CALIBRATION_COLUMNS,
    CALIBRATION_POINT_COLUMNS,
    POINT_COLUMNS,
    READING_COLUMNS,
    RUN_COLUMNS,
    SESSION_COLUMNS,
    Batch,
    Ints,
)
from interchange.archive import found_points, registers, tables
from interchange.archive.found_points import Found
from interchange.archive.from_register import FAN_FIELDS, READING_FIELDS, with_register
from interchange.archive.snapshot import BATCH_ROWS, Snapshot, Where
from interchange.model.register import CalibrationRow
from interchange.model.session import Session
from interchange.quantities import CHOICES

# Columns of a session that stand in its lists of instruments.
_WORST = {"gauges": ("gauge_accuracy_pa", "gauge_accuracy_ratio"), "fans": ("fan_accuracy_ratio",)}
_OF_LISTS = ("arrangement", *_WORST["gauges"], *_WORST["fans"])
_OF_LOGS = ("points_found_in_trace", "tests_in_log", "tests_left_out")
_OWN = tuple(name for name in SESSION_COLUMNS if name not in (*_OF_LISTS, *_OF_LOGS))
_OWN_CALIBRATION = tuple(name for name in CALIBRATION_COLUMNS if name != "calibration_from_register")
_ELEMENT = ".list.element."
_RUNS = f"runs{_ELEMENT}"
_POINTS = f"{_RUNS}points{_ELEMENT}"
_READINGS = f"{_POINTS}fan_readings{_ELEMENT}"
_CALIBRATIONS = f"fan_calibrations{_ELEMENT}"

# The only columns read from Parquet, as Parquet spells them. A run or point that is empty in all of them still counts.
LEAVES = (
    "session_id",
    "revision",
    "climate_zone",
    *_OWN,
    f"reference_lines{_ELEMENT}arrangement",
    *(f"{group}{_ELEMENT}{name}" for group, names in _WORST.items() for name in names),
    *(_RUNS + name for name in RUN_COLUMNS),
    *(_POINTS + name for name in POINT_COLUMNS),
    *(_READINGS + name for name in READING_COLUMNS),
    *(_CALIBRATIONS + name for name in _OWN_CALIBRATION),
    *(f"{_CALIBRATIONS}calibration_points{_ELEMENT}{name}" for name in CALIBRATION_POINT_COLUMNS),
)
# Read as well where there is a register of calibrations to join.
_JOINING = (
    "started_at_local",
    *(f"fans{_ELEMENT}{name}" for name in FAN_FIELDS),
    *(_READINGS + name for name in READING_FIELDS),
)

NOTHING_FOUND: Mapping[str, Found] = {}


@dataclass(frozen=True, slots=True)
class Loaded:
    """A Batch with ids, stored revisions and climate zones of its sessions (Arrow strings), in the same order."""

    session_ids: pa.Array
    revisions: pa.Array
    climate_zones: pa.Array
    batch: Batch


def load(
    snapshot: Snapshot, where: Where | None = None, calibrations: Sequence[CalibrationRow] | None = None
) -> Iterator[Loaded]:
    """The current sessions, at most 16,384 at a time, whichever files they lie in. `where` as in Snapshot.batches.

    There is one at least, empty where no session is. Those that hold a log and no points come apart from the others,
    with the points that are found in it. `calibrations` are the rows of the archive's register, which is read where
    they are not given.
    """
    known = registers.calibrations(snapshot.root).rows if calibrations is None else calibrations
    columns = (*LEAVES, found_points.CHANNELS, *(_JOINING if known else ()))
    some = False
    for rows in _gathered(snapshot.batches("session", columns, where)):
        some = True
        lacking = found_points.lacking(rows)
        if not pc.any(lacking).as_py():
            yield from_rows(rows, known)
            continue
        others = rows.filter(pc.invert(lacking))
        if others.num_rows:
            yield from_rows(others, known)
        for logged in found_points.logged(snapshot, rows.filter(lacking)):
            yield from_rows(logged.rows, known, logged.found)
    if not some:
        yield from_sessions([])


def from_sessions(
    sessions: Sequence[Session],
    calibrations: Sequence[CalibrationRow] = (),
    found: Mapping[str, Found] = NOTHING_FOUND,
) -> Loaded:
    """Sessions in hand, by the same road; `found` is what their logs hold, by id, for those that hold nothing else."""
    filled = [found_points.with_found(session, found.get(session.session_id)) for session in sessions]
    rows = tables.session_rows((session, tables.stored_revision(session, ())) for session in filled)
    return from_rows(rows.combine_chunks().to_batches()[0] if sessions else _empty(), calibrations, found)


def from_rows(
    rows: pa.RecordBatch, calibrations: Sequence[CalibrationRow] = (), found: Mapping[str, Found] = NOTHING_FOUND
) -> Loaded:
    """Rows of the session part that hold at least the columns of LEAVES, with calibrations of the register.

    `found` says by id which of them have their runs from a log.
    """
    run_offsets, runs = _opened(rows["runs"])
    point_offsets, points = _opened(_field(runs, "points"))
    reading_offsets, readings = _opened(_field(points, "fan_readings"))
    calibration_offsets, own = _opened(rows["fan_calibrations"])
    calibration_point_offsets, table_rows = _opened(_field(own, "calibration_points"))
    line_offsets, lines = _opened(rows["reference_lines"])
    batch = Batch(
        run_offsets,
        point_offsets,
        reading_offsets,
        calibration_offsets,
        calibration_point_offsets,
        session={
            **{name: _numbers(name, rows[name]) for name in _OWN},
            "arrangement": _first(line_offsets, _numbers("arrangement", _field(lines, "arrangement"))),
            **{name: _greatest(rows[group], name) for group, names in _WORST.items() for name in names},
            **_of_logs(rows["session_id"], found),
        },
        run={name: _numbers(name, _field(runs, name)) for name in RUN_COLUMNS},
        point={name: _numbers(name, _field(points, name)) for name in POINT_COLUMNS},
        reading={name: _numbers(name, _field(readings, name)) for name in READING_COLUMNS},
        calibration={
            **{name: _numbers(name, _field(own, name)) for name in _OWN_CALIBRATION},
            "calibration_from_register": np.zeros(len(own), np.int8),
        },
        calibration_point={name: _numbers(name, _field(table_rows, name)) for name in CALIBRATION_POINT_COLUMNS},
    )
    if calibrations:
        batch = with_register(batch, rows, readings, calibrations)
    return Loaded(rows["session_id"], rows["revision"], rows["climate_zone"], batch)


def _of_logs(session_ids: pa.Array, found: Mapping[str, Found]) -> dict[str, NDArray[np.generic]]:
    if not found:
        absent = np.full(len(session_ids), np.nan)
        return dict(zip(_OF_LOGS, (np.zeros(absent.size, np.int8), absent, absent), strict=True))
    each = [found.get(name) for name in session_ids.to_pylist()]
    counts = np.array([(one.tests_in_log, one.tests_left_out) if one else (np.nan, np.nan) for one in each])
    flags = np.array([one is not None for one in each], np.int8)
    return dict(zip(_OF_LOGS, (flags, counts[:, 0], counts[:, 1]), strict=True))


def _gathered(batches: Iterable[pa.RecordBatch]) -> Iterator[pa.RecordBatch]:
    """Small batches of many small files put together, so that a kernel is not called once a file."""
    waiting: list[pa.RecordBatch] = []
    for batch in batches:
        if waiting and sum(one.num_rows for one in waiting) + batch.num_rows > BATCH_ROWS:
            yield _joined(waiting)
            waiting = []
        waiting.append(batch)
    if waiting:
        yield _joined(waiting)


def _joined(batches: Sequence[pa.RecordBatch]) -> pa.RecordBatch:
    return batches[0] if len(batches) == 1 else pa.Table.from_batches(batches).combine_chunks().to_batches()[0]


def _empty() -> pa.RecordBatch:
    schema = tables.SCHEMAS["session"]
    return pa.RecordBatch.from_arrays([pa.array([], field.type) for field in schema], schema=schema)


def _opened(lists: pa.Array) -> tuple[Ints, pa.Array]:
    """Offsets that start at 0, and the elements; our own lists are never null."""
    offsets = lists.offsets.to_numpy().astype(np.int64)
    return offsets - offsets[0], lists.flatten()


def _field(structs: pa.Array, name: str) -> pa.Array:
    return structs.field(structs.type.get_field_index(name))


def _numbers(name: str, values: pa.Array) -> NDArray[np.generic]:
    kind = values.type
    if pa.types.is_string(kind):
        codes = pc.index_in(values, pa.array(CHOICES[name]))
        return _plain(pc.fill_null(codes, -1).cast(pa.int8()))
    if pa.types.is_boolean(kind):
        return _plain(pc.fill_null(values.cast(pa.int8()), -1))
    return _plain(values if pa.types.is_float64(kind) else values.cast(pa.float64(), safe=False))


def _plain(values: pa.Array) -> NDArray[np.generic]:
    array: NDArray[np.generic] = values.to_numpy(zero_copy_only=False)
    return array


def _greatest(lists: pa.Array, name: str) -> NDArray[np.generic]:
    """The greatest of a column of each list, NaN where none is known."""
    offsets, structs = _opened(lists)
    values = _numbers(name, _field(structs, name)).astype(np.float64)
    greatest = ragged.maxima(np.where(np.isnan(values), -np.inf, values), offsets)
    return np.where(np.isfinite(greatest), greatest, np.nan)


def _first(offsets: Ints, values: NDArray[np.generic]) -> NDArray[np.generic]:
    """The first value of each segment, -1 for an empty segment."""
    first = np.full(len(offsets) - 1, -1, np.int8)
    filled = offsets[1:] > offsets[:-1]
    first[filled] = values[offsets[:-1][filled]]
    return first
