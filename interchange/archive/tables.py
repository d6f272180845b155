"""The tables' columns, derived from the session model; sessions, traces and imports as rows, and back.

Groups that a session has once are spread into columns of their fields' names, lists become list<struct>.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict
from datetime import datetime
from itertools import pairwise
from types import UnionType
from typing import Annotated, Any, Literal, Union, get_args, get_origin

import pyarrow as pa
import pyarrow.compute as pc
from pydantic import ValidationError

from interchange import __version__
from interchange.archive.log import Part
from interchange.errors import ArchiveError, Place, Problem
from interchange.model.base import Record
from interchange.model.document import revision, validation_problems
from interchange.model.question import Change, Choice, Delivery, Import, Question, Trace
from interchange.model.session import Session

CHUNK_SAMPLES = 65_536
_PIECE_SAMPLES = 1 << 20

_SCALARS: dict[str, pa.DataType] = {
    "str": pa.string(),
    "int": pa.int64(),
    "float": pa.float64(),
    "bool": pa.bool_(),
    "date": pa.date32(),
    "NaiveDatetime": pa.timestamp("us"),
    "AwareDatetime": pa.timestamp("us", "UTC"),
}


def _type(annotation: Any) -> pa.DataType:
    """Arrow type of a model field: Optional and Annotated fall away, closed lists of words are their words' type."""
    origin, inner = get_origin(annotation), get_args(annotation)
    if origin in (Union, UnionType):
        (annotation,) = (one for one in inner if one is not type(None))
        return _type(annotation)
    if origin is Annotated:
        return _type(inner[0])
    if origin is Literal:
        return _SCALARS[type(inner[0]).__name__]
    if origin is tuple:
        return pa.list_(_type(inner[0]))
    if issubclass(annotation, Record):
        return pa.struct(_fields(annotation))
    return _SCALARS[annotation.__name__]


def _fields(record: type[Record]) -> list[pa.Field]:
    return [pa.field(name, _type(info.annotation)) for name, info in record.model_fields.items()]


def _group(annotation: Any) -> type[Record] | None:
    return annotation if isinstance(annotation, type) and issubclass(annotation, Record) else None


_GROUPS: dict[str, tuple[str, ...]] = {
    name: tuple(group.model_fields)
    for name, info in Session.model_fields.items()
    if (group := _group(info.annotation)) is not None
}


def _session_fields() -> Iterator[pa.Field]:
    for name, info in Session.model_fields.items():
        group = _group(info.annotation)
        yield from _fields(group) if group else [pa.field(name, _type(info.annotation))]
        if name == "session_id":
            yield pa.field("revision", pa.string())


_PLACE = (("file", pa.string()), ("row", pa.int64()), ("column", pa.string()))
_CHOICE = pa.struct([(name, pa.string()) for name in ("value", "words", "evidence", "consequence")])
_PROBLEM = pa.struct(
    [
        ("code", pa.string()),
        *_PLACE,
        ("found", pa.string()),
        ("expected", pa.string()),
        ("cure", pa.string()),
        ("count", pa.int64()),
        ("blocks", pa.string()),
    ]
)
_QUESTION = pa.struct(
    [
        ("question_id", pa.string()),
        ("subject", pa.string()),
        ("why", pa.string()),
        *_PLACE,
        ("choices", pa.list_(_CHOICE)),
        ("scopes", pa.list_(pa.string())),
    ]
)

SCHEMAS: dict[Part, pa.Schema] = {
    "source": pa.schema(
        [
            ("import_number", pa.int64()),
            ("imported_at_utc", pa.timestamp("us", "UTC")),
            ("program_version", pa.string()),
            ("source_sha256", pa.string()),
            ("source_name", pa.string()),
            ("source_size_bytes", pa.int64()),
            ("original_sha256", pa.string()),
            ("import_state", pa.string()),
            ("plugin_id", pa.string()),
            ("plugin_version", pa.string()),
            ("plugin_fingerprint", pa.string()),
            ("session_ids", pa.list_(pa.string())),
            ("revisions", pa.list_(pa.string())),
            ("problems", pa.list_(_PROBLEM)),
            ("questions", pa.list_(_QUESTION)),
            ("delivery", pa.string()),
            ("sender", pa.string()),
            ("changed_by", pa.string()),
            ("changed_why", pa.string()),
        ]
    ),
    "session": pa.schema(list(_session_fields())),
    "trace": pa.schema(
        [
            ("session_id", pa.string()),
            ("revision", pa.string()),
            ("channel_id", pa.string()),
            ("chunk_number", pa.int64()),
            ("start_s", pa.float64()),
            ("interval_s", pa.float64()),
            ("time_s", pa.list_(pa.float64())),
            ("values", pa.list_(pa.float64())),
        ]
    ),
    "decision": pa.schema(
        [
            ("decision_number", pa.int64()),
            ("decided_at_utc", pa.timestamp("us", "UTC")),
            ("session_id", pa.string()),
            ("revision", pa.string()),
            ("use", pa.string()),
            ("decision", pa.string()),
            ("decided_by", pa.string()),
            ("decided_why", pa.string()),
        ]
    ),
}


def union_schema() -> pa.Schema:
    """The columns of all parts, as the one Delta table declares them."""
    return pa.unify_schemas([pa.schema([("part", pa.string())]), *SCHEMAS.values()])


def stored_revision(session: Session, traces: Sequence[Trace]) -> str:
    """Revision of a session with its traces: that of its document where it has none."""
    content = revision(session)
    if not traces:
        return content
    digest = hashlib.sha256(content.encode())
    for trace in sorted(traces, key=lambda trace: trace.channel_id):
        digest.update(
            json.dumps(
                [trace.channel_id, trace.start_s, trace.interval_s, len(trace.values), trace.values.null_count]
            ).encode()
        )
        for values in (trace.values, trace.time_s):
            if values is None:
                continue
            for part in _pieces(values):
                digest.update(memoryview(pc.fill_null(part, 0.0).to_numpy(zero_copy_only=False)))
            for part in _pieces(values) if values.null_count else ():
                digest.update(part.is_valid().cast(pa.uint8()).to_numpy(zero_copy_only=False).tobytes())
    return digest.hexdigest()[:24]


def _pieces(values: Any) -> Iterator[pa.Array]:
    for first in range(0, len(values), _PIECE_SAMPLES):
        yield values.slice(first, _PIECE_SAMPLES)


def session_rows(sessions: Iterable[tuple[Session, str]]) -> pa.Table:
    """Sessions, each with its stored revision, as rows of the session part."""
    rows = []
    for session, stored in sessions:
        row: dict[str, Any] = {"revision": stored}
        for name, value in session.model_dump().items():
            row.update(value if name in _GROUPS else {name: value})
        rows.append(row)
    return pa.Table.from_pylist(rows, schema=SCHEMAS["session"])


def sessions(rows: pa.RecordBatch) -> Iterator[Session]:
    """The sessions of rows of the session part."""
    for row in rows.to_pylist():
        document = {name: row[name] for name in Session.model_fields if name not in _GROUPS}
        document.update({group: {name: row[name] for name in names} for group, names in _GROUPS.items()})
        try:
            yield Session.model_validate(document)
        except ValidationError as error:
            raise ArchiveError(*validation_problems(error, f"test {row['session_id']}")) from None


def trace_rows(traces: Iterable[tuple[Trace, str]]) -> Iterator[dict[str, Any]]:
    """Traces, each with its session's stored revision, as rows of the trace part, one a chunk."""
    for trace, stored in traces:
        for number, first in enumerate(range(0, max(len(trace.values), 1), CHUNK_SAMPLES)):
            times = None if trace.time_s is None else trace.time_s.slice(first, CHUNK_SAMPLES)
            start = trace.start_s + first * (trace.interval_s or 0.0)
            yield {
                "session_id": trace.session_id,
                "revision": stored,
                "channel_id": trace.channel_id,
                "chunk_number": number,
                "start_s": times[0].as_py() if times is not None and number else start,
                "interval_s": trace.interval_s,
                "time_s": times,
                "values": trace.values.slice(first, CHUNK_SAMPLES),
            }


def trace_table(rows: Sequence[Mapping[str, Any]]) -> pa.Table:
    """Rows of the trace part as a table; sample arrays are joined, never turned into Python numbers."""
    columns = []
    for field in SCHEMAS["trace"]:
        cells = [row[field.name] for row in rows]
        columns.append(_lists(cells) if pa.types.is_list(field.type) else pa.array(cells, field.type))
    return pa.Table.from_arrays(columns, schema=SCHEMAS["trace"])


def _lists(cells: Sequence[pa.Array | None]) -> pa.Array:
    offsets, end = [], 0
    for cell in cells:
        offsets.append(end if cell is not None else None)
        end += len(cell) if cell is not None else 0
    parts = [cell.cast(pa.float64()) for cell in cells if cell is not None]
    values = pa.concat_arrays(parts) if parts else pa.array([], pa.float64())
    return pa.ListArray.from_arrays(pa.array([*offsets, end], pa.int32()), values)


def traces(rows: pa.Table) -> tuple[Trace, ...]:
    """The traces that rows of the trace part hold, their chunks joined in order."""
    ordered = rows.sort_by([("channel_id", "ascending"), ("chunk_number", "ascending")]).combine_chunks()
    found = []
    channels = ordered["channel_id"].to_pylist()
    firsts = [index for index, name in enumerate(channels) if index == 0 or channels[index - 1] != name]
    for first, after in pairwise([*firsts, len(channels)]):
        chunk = ordered.slice(first, after - first)
        head = {name: chunk[name][0].as_py() for name in ("session_id", "channel_id", "start_s", "interval_s")}
        timed = chunk["time_s"][0].is_valid
        times = chunk["time_s"].combine_chunks().flatten() if timed else None
        found.append(Trace(**head, time_s=times, values=chunk["values"].combine_chunks().flatten()))
    return tuple(found)


def journal_row(
    one: Import,
    revisions: Mapping[str, str],
    questions: Sequence[Question] = (),
    *,
    number: int,
    when: datetime,
    original_sha256: str | None,
    delivery: Delivery | None = None,
) -> dict[str, Any]:
    """One import try as a row of the journal; `revisions` gives those of its sessions by id, in order.

    `questions` came up beside those of reading.
    """
    return {
        "import_number": number,
        "imported_at_utc": when,
        "program_version": __version__,
        "source_sha256": one.source.sha256 or None,
        "source_name": one.source.name,
        "source_size_bytes": one.source.size_bytes if one.source.sha256 else None,
        "original_sha256": original_sha256,
        "import_state": one.state,
        "plugin_id": one.plugin_id,
        "plugin_version": one.plugin_version,
        "plugin_fingerprint": one.plugin_fingerprint,
        "session_ids": list(revisions),
        "revisions": list(revisions.values()),
        "problems": [_placed(asdict(problem)) for problem in one.mapped.problems],
        "questions": [_placed(asdict(question)) for question in (*one.mapped.questions, *questions)],
        "delivery": delivery.name if delivery else None,
        "sender": delivery.sender if delivery else None,
    }


def changed_row(
    newest: Mapping[str, Any], state: str, revisions: Mapping[str, str], *, number: int, when: datetime, change: Change
) -> dict[str, Any]:
    """A row that changes what stands of a source without reading it anew; `newest` is the row it stands by so far."""
    return {
        **{name: newest[name] for name in SCHEMAS["source"].names},
        "import_number": number,
        "imported_at_utc": when,
        "program_version": __version__,
        "import_state": state,
        "session_ids": list(revisions),
        "revisions": list(revisions.values()),
        "problems": [],
        "questions": [],
        "changed_by": change.who,
        "changed_why": change.why,
    }


def _placed(row: dict[str, Any]) -> dict[str, Any]:
    place = row.pop("place")
    return {**row, **place}


def problem(row: dict[str, Any]) -> Problem:
    """A problem out of the journal."""
    return Problem(**_unplaced(row))


def question(row: dict[str, Any]) -> Question:
    """A question out of the journal."""
    choices = tuple(Choice(**choice) for choice in row["choices"])
    return Question(**{**_unplaced(row), "choices": choices, "scopes": tuple(row["scopes"])})


def _unplaced(row: dict[str, Any]) -> dict[str, Any]:
    rest = {name: value for name, value in row.items() if name not in ("file", "row", "column")}
    return {**rest, "place": Place(row["file"], row["row"], row["column"])}
