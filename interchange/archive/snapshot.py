"""The archive as one commit left it: reading rows, sessions, traces and the journal, all of current sessions only."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from interchange.archive import grown, tables
from interchange.archive.faults import cannot_read
from interchange.archive.log import Part, Version
from interchange.errors import Problem
from interchange.model.question import Decision, Question, Trace
from interchange.model.session import Session

if TYPE_CHECKING:
    import duckdb

BATCH_ROWS = 16_384
STANDING = ("imported", "amended", "undone")  # states of journal rows that say which sessions of a source stand
_KEY = ("session_id", "revision")
Where = Mapping[str, Collection[Any]]


@dataclass(frozen=True, slots=True)
class JournalEntry:
    """One attempt to import one source."""

    import_number: int
    imported_at_utc: datetime
    program_version: str
    source_sha256: str | None
    source_name: str
    source_size_bytes: int | None
    original_sha256: str | None
    import_state: Literal["imported", "held", "refused", "amended", "undone"]
    plugin_id: str | None
    plugin_version: str | None
    plugin_fingerprint: str | None
    session_ids: tuple[str, ...]
    revisions: tuple[str, ...]
    problems: tuple[Problem, ...]
    questions: tuple[Question, ...]
    delivery: str | None
    sender: str | None
    changed_by: str | None
    changed_why: str | None


class Snapshot:
    """Read access to one version; later commits do not change it. Its methods raise ArchiveError on damage."""

    def __init__(self, root: Path, version: Version) -> None:
        self.root = root
        self.log = version

    @property
    def version(self) -> int:
        """Number of the commit that this snapshot shows."""
        return self.log.number

    def batches(
        self,
        part: Part,
        columns: Sequence[str] | None = None,
        where: Where | None = None,
        every_revision: bool = False,
    ) -> Iterator[pa.RecordBatch]:
        """Rows of a part, at most 16,384 a batch; of the session and trace parts those of current sessions.

        `columns` are names or paths of nested columns as Parquet writes them
        ("runs.list.element.points.list.element.envelope_pressure_pa"); only they are read. `where` keeps rows whose
        column holds one of the values given for it. `every_revision` adds revisions that are no longer current.
        """
        hidden = None if part in ("source", "decision") or every_revision else self._hidden
        for path in self.log.files[part]:
            try:
                with pq.ParquetFile(path) as file:
                    yield from _rows(file, tables.SCHEMAS[part], columns, where or {}, hidden)
            except (OSError, pa.ArrowException) as error:
                raise cannot_read(path, error) from None

    def sessions(
        self,
        session_ids: Collection[str] | None = None,
        job_ids: Collection[str] | None = None,
        every_revision: bool = False,
    ) -> Iterator[Session]:
        """Sessions as documents: those with the ids or job numbers given, or all."""
        limits = {"session_id": session_ids, "job_id": job_ids}
        where = {name: values for name, values in limits.items() if values is not None}
        for batch in self.batches("session", where=where, every_revision=every_revision):
            yield from tables.sessions(batch)

    def traces(self, session_id: str) -> tuple[Trace, ...]:
        """The traces of a current session, in the order of their channels' names."""
        rows = list(self.batches("trace", where={"session_id": [session_id]}))
        return tables.traces(pa.Table.from_batches(rows, tables.SCHEMAS["trace"]))

    def journal(self) -> Iterator[JournalEntry]:
        """Every attempt to import something, oldest first."""
        rows = pa.Table.from_batches(self.batches("source"), tables.SCHEMAS["source"]).sort_by("import_number")
        for row in rows.to_pylist():
            for name in ("session_ids", "revisions"):
                row[name] = tuple(row[name])
            row["problems"] = tuple(map(tables.problem, row["problems"]))
            row["questions"] = tuple(map(tables.question, row["questions"]))
            yield JournalEntry(**row)

    def decisions(self) -> Iterator[Decision]:
        """Every decision on record, oldest first."""
        rows = pa.Table.from_batches(self.batches("decision"), tables.SCHEMAS["decision"]).sort_by("decision_number")
        for row in rows.drop_columns(["decision_number", "revision"]).to_pylist():
            yield Decision(**row)

    def sql(self, wanted: Collection[str] | None = None) -> duckdb.DuckDBPyConnection:
        """A locked connection with the views for people, all or those wanted.

        Run what a stranger wrote through `query.query` instead.
        """
        from interchange.archive import views

        connection = views.connect()
        views.fill(connection, self.root, self.log, wanted)
        return connection

    def taken_in(self, source_sha256: Collection[str] | None = None) -> pa.Table:
        """Columns import_number, source_sha256, session_ids, revisions, import_state of the rows that count.

        Oldest first; of all sources, or of those given. The newest row of a source says what stands of it: as it was
        imported, as it was amended, or what is left after its delivery was undone. Every stored revision of a
        source's sessions stands in one of its rows.
        """
        columns = ("import_number", "source_sha256", "session_ids", "revisions", "import_state")
        where: dict[str, Collection[Any]] = {"import_state": STANDING}
        if source_sha256 is not None:
            where["source_sha256"] = source_sha256
        schema = pa.schema([tables.SCHEMAS["source"].field(name) for name in columns])
        rows = pa.Table.from_batches(self.batches("source", columns, where), schema)
        return rows.sort_by("import_number").combine_chunks()

    @cached_property
    def current(self) -> pa.Table:
        """Columns session_id and revision of the current sessions: the newest row that counts of each source.

        A later attempt that was held or refused takes nothing away.
        """
        rows = self.taken_in()
        newest = rows.group_by("source_sha256").aggregate([("import_number", "max")])["import_number_max"]
        rows = rows.filter(pc.is_in(rows["import_number"], newest.combine_chunks())).combine_chunks()
        lists = {"session_id": rows["session_ids"], "revision": rows["revisions"]}
        return pa.table({name: pc.list_flatten(values) for name, values in lists.items()})

    @cached_property
    def _hidden(self) -> pa.Array | None:
        """Keys of the stored revisions that are not current; they are few. None where there are none."""
        if not self.log.hides:
            return None
        keys = pa.chunked_array([_key(batch) for batch in self.batches("session", _KEY, every_revision=True)])
        return keys.filter(pc.invert(pc.is_in(keys, _key(self.current)))).combine_chunks()


def _rows(
    file: pq.ParquetFile, schema: pa.Schema, columns: Sequence[str] | None, where: Where, hidden: pa.Array | None
) -> Iterator[pa.RecordBatch]:
    shape = grown.wanted(schema, columns)
    if not set(where) <= set(file.schema_arrow.names):
        return  # the file is older than the column, which so holds none of the values
    groups = [
        group
        for group in range(file.num_row_groups)
        if not where
        or (
            _may_hold(file.metadata.row_group(group), where)
            and pc.any(_wanted(file.read_row_group(group, columns=list(where)), where)).as_py()
        )
    ]
    keys = () if hidden is None else _KEY
    read = None if columns is None else list(dict.fromkeys([*columns, *where, *keys]))
    for batch in file.iter_batches(BATCH_ROWS, row_groups=groups, columns=read):
        kept = batch.filter(_wanted(batch, where)) if where else batch
        if hidden is not None and kept.num_rows:
            kept = kept.filter(pc.invert(pc.is_in(_key(kept), hidden)))
        if kept.num_rows:
            yield grown.filled(kept, shape)


def _may_hold(group: pq.RowGroupMetaData, where: Where) -> bool:
    """Whether the least and greatest values of a row group leave room for the values wanted."""
    for number in range(group.num_columns):
        column = group.column(number)
        values = where.get(column.path_in_schema)
        found = column.statistics if values is not None else None
        if found is None or not found.has_min_max or not isinstance(found.min, str | int):
            continue
        if not any(found.min <= value <= found.max for value in values or ()):
            return False
    return True


def _wanted(rows: pa.Table | pa.RecordBatch, where: Where) -> Any:
    mask: Any = None
    for name, values in where.items():
        one = pc.is_in(rows[name], pa.array(list(values), rows.schema.field(name).type))
        mask = one if mask is None else pc.and_(mask, one)
    return mask


def _key(rows: pa.Table | pa.RecordBatch) -> Any:
    joined = pc.binary_join_element_wise(rows["session_id"], rows["revision"], " ")
    return joined.combine_chunks() if isinstance(joined, pa.ChunkedArray) else joined
