"""Rows of a part as one Parquet file of the table, in the row groups and the order that suit the part."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from interchange.archive import log, parquet, tables
from interchange.archive.planning import Plan
from interchange.model.question import Trace

# Rows that are read together lie together once they are sorted.
ORDER: dict[log.Part, tuple[str, ...]] = {
    "source": ("import_number",),
    "session": ("contractor", "started_at_utc", "started_at_local", "session_id", "revision"),
    "trace": ("session_id", "revision", "channel_id", "chunk_number"),
    "decision": ("decision_number",),
}
_ROW_GROUP: dict[log.Part, int] = {"source": 16_384, "session": 16_384, "trace": 60, "decision": 16_384}
_GROUP_SAMPLES = 1 << 20  # of long traces fewer stretches make a row group, so that it fits into little memory
_SAMPLED = 4_096


def write(root: Path, part: log.Part, groups: Iterable[pa.Table], sample: pa.Table) -> log.Added:
    """Write tables as the row groups of one durable file; `sample` decides how its floats are encoded."""
    folder = f"part={part}"
    written = parquet.write(root / log.TABLE / folder, groups, sample)
    return log.Added(f"{folder}/{written.path.name}", part, written.size_bytes, written.rows)


def of_plan(root: Path, plan: Plan) -> Iterator[log.Added]:
    """What a commit has planned, a file for each part that it adds to."""
    plain: dict[log.Part, list[dict[str, Any]]] = {"source": plan.journal, "decision": plan.decisions}
    for part, rows in plain.items():
        if rows:
            table = pa.Table.from_pylist(rows, schema=tables.SCHEMAS[part])
            yield write(root, part, [table], table)
    if plan.sessions:
        table = tables.session_rows(plan.sessions)
        yield write(root, "session", _groups("session", table), table)
    if plan.traces:
        yield write(root, "trace", _trace_groups(plan.traces), _trace_sample(plan.traces))


def of_rows(root: Path, part: log.Part, rows: pa.Table) -> log.Added:
    """Rows as they are stored, sorted."""
    ordered = rows.take(pc.sort_indices(rows, [(name, "ascending") for name in ORDER[part]])).combine_chunks()
    step = len(ordered) // _ROW_GROUP["trace"] + 1
    sample = ordered.take(pa.array(range(0, len(ordered), step), pa.int64())) if part == "trace" else ordered
    return write(root, part, _groups(part, ordered), sample)


def _groups(part: log.Part, rows: pa.Table) -> Iterator[pa.Table]:
    first = 0
    lengths = pc.fill_null(pc.list_value_length(rows["values"]), 0).to_pylist() if part == "trace" else None
    while first < rows.num_rows:
        after = min(first + _ROW_GROUP[part], rows.num_rows)
        while lengths and after > first + 1 and sum(lengths[first : after - 1]) >= _GROUP_SAMPLES:
            after -= 1
        yield rows.slice(first, after - first)
        first = after


def _trace_groups(traces: Sequence[tuple[Trace, str]]) -> Iterator[pa.Table]:
    rows: list[dict[str, Any]] = []
    samples = 0
    for row in tables.trace_rows(traces):
        rows.append(row)
        samples += len(row["values"])
        if len(rows) == _ROW_GROUP["trace"] or samples >= _GROUP_SAMPLES:
            table, rows, samples = tables.trace_table(rows), [], 0
            yield table
    if rows:
        yield tables.trace_table(rows)


def _trace_sample(traces: Sequence[tuple[Trace, str]]) -> pa.Table:
    """The beginnings of some traces, enough to tell quantised values from continuous ones."""
    some = traces[:: len(traces) // _ROW_GROUP["trace"] + 1]
    heads = [
        replace(
            trace,
            values=trace.values.slice(0, _SAMPLED),
            time_s=None if trace.time_s is None else trace.time_s.slice(0, _SAMPLED),
        )
        for trace, _ in some
    ]
    return tables.trace_table([row for head in heads for row in tables.trace_rows([(head, "")])])
