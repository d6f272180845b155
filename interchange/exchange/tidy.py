"""Sessions as tidy tables: one value a cell, SI units in the column names."""

from __future__ import annotations

import io
from collections.abc import Iterable, Iterator
from typing import Any, get_origin

from interchange.model.base import Record
from interchange.model.question import Trace
from interchange.model.session import FanReading, Point, Run, Session
from interchange.table import Row, Table

# The fields that a session has once, by their group.
_GROUPS = {
    group: tuple(name for name, one in info.annotation.model_fields.items() if get_origin(one.annotation) is not tuple)
    for group, info in Session.model_fields.items()
    if isinstance(info.annotation, type) and issubclass(info.annotation, Record)
}


def parquet_bytes(table: Table) -> bytes:
    """The table as a Parquet file."""
    import pyarrow as pa
    import pyarrow.parquet as pq

    columns = list(zip(*table.rows, strict=True)) if table.rows else [()] * len(table.columns)
    sink = io.BytesIO()
    pq.write_table(
        pa.table([pa.array(column) for column in columns], names=list(table.columns)), sink, compression="zstd"
    )
    return sink.getvalue()


def tests_table(sessions: Iterable[Session]) -> Table:
    """One row a record of any kind: what it has once, and the fields that come from a register, a space between."""
    columns = ("session_id", "kind", *(name for names in _GROUPS.values() for name in names), "from_register")
    return Table(columns, [tuple(_single_values(session)) for session in sessions])


def points_table(sessions: Iterable[Session]) -> Table:
    """One row a fan reading, with its point, its run's number and direction, and the id of its test."""
    point_names = [name for name in Point.model_fields if name != "fan_readings"]
    reading_names = list(FanReading.model_fields)
    columns = ("session_id", "run_number", "direction", *point_names, *reading_names)
    return Table(
        columns,
        [
            row
            for session in sessions
            for run in session.runs
            for row in _point_rows(session, run, point_names, reading_names)
        ],
    )


def runs_table(sessions: Iterable[Session]) -> Table:
    """One row a run: its direction and the baselines about it."""
    names = [name for name in Run.model_fields if name != "points"]
    return Table(
        ("session_id", *names),
        [(session.session_id, *(getattr(run, name) for name in names)) for session in sessions for run in session.runs],
    )


def traces_table(traces: Iterable[Trace]) -> Table:
    """One row a value of a channel, with its second from the start of the test."""
    return Table(
        ("session_id", "channel_id", "time_s", "value"),
        [
            (trace.session_id, trace.channel_id, second, value)
            for trace in traces
            for second, value in zip(_seconds(trace), trace.values.to_pylist(), strict=True)
        ],
    )


def _seconds(trace: Trace) -> list[float]:
    if trace.time_s is not None:
        seconds: list[float] = trace.time_s.to_pylist()
        return seconds
    step = trace.interval_s or 0.0  # a single value has no step
    return [trace.start_s + i * step for i in range(len(trace.values))]


def _single_values(session: Session) -> Iterator[Any]:
    yield from (session.session_id, session.kind)
    for group, names in _GROUPS.items():
        yield from (getattr(getattr(session, group), name) for name in names)
    yield " ".join(session.from_register) or None


def _point_rows(session: Session, run: Run, point_names: list[str], reading_names: list[str]) -> Iterator[Row]:
    for point in run.points:
        for reading in point.fan_readings or (None,):
            yield (
                session.session_id,
                run.run_number,
                run.direction,
                *(getattr(point, name) for name in point_names),
                *(getattr(reading, name, None) for name in reading_names),
            )
