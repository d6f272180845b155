"""An archive on disk: making it, opening it, and committing imports so that each is there whole or not at all."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any, BinaryIO

import pyarrow as pa
from deltalake.exceptions import DeltaError

from interchange.archive import log, originals, parquet, planning, registers, settings, sums, tables
from interchange.archive.faults import cannot_write, fault
from interchange.archive.planning import Plan
from interchange.archive.settings import Settings
from interchange.archive.snapshot import Snapshot
from interchange.errors import Place, Problem, SourceError
from interchange.files import fsync_file, fsync_folder
from interchange.model.question import Change, Decision, Delivery, Import, Trace
from interchange.model.session import Amendment

# What a commit does, in this order; `after_step` is called with each name once it is done.
STEPS = ("originals", "parquet", "folders", "log entry", "log durable", "checksums")
FOLDERS = (log.TABLE, originals.FOLDER, sums.FOLDER, registers.FOLDER, "derived", "plugins")

_ROW_GROUP = {"source": 16_384, "session": 16_384, "trace": 60}
_GROUP_SAMPLES = 1 << 20  # of long traces fewer stretches make a row group, so that it fits into little memory
_SAMPLED = 4_096
_ATTEMPTS = 100
_FIRST_WAIT_S = 0.01
_LONGEST_WAIT_S = 1.0


@dataclass(frozen=True, slots=True)
class Receipt:
    """What a commit did, as session ids; given only once everything is durable.

    `hidden` are sessions that were current and that the newer reading of their source no longer holds.
    """

    version: int
    added: tuple[str, ...] = ()
    unchanged: tuple[str, ...] = ()
    replaced: tuple[str, ...] = ()
    hidden: tuple[str, ...] = ()


class Store:
    """An archive on disk. Any number of processes may read and commit at once, on a local disk."""

    def __init__(self, root: Path, agreed: Settings) -> None:
        self.root = root
        self.settings = agreed

    @classmethod
    def create(cls, root: Path, agreed: Settings) -> Store:
        """Make an archive in a folder that is empty or not there yet. Raises ArchiveError where it cannot."""
        root = log.usable(root)
        try:
            root.mkdir(parents=True, exist_ok=True)
            if any(root.iterdir()):
                cure = "Give the name of a new folder, or open the archive that is there."
                raise fault("archive-folder", root, "a folder with something in it", "an empty folder", cure)
            for folder in FOLDERS:
                (root / folder).mkdir()
            empty = {part: schema.empty_table() for part, schema in tables.SCHEMAS.items()}
            written = [_write(root, part, [table], table) for part, table in empty.items()]
            for file in written:
                fsync_folder((root / log.TABLE / file.path).parent)
            log.create(root, tables.union_schema(), written)
            fsync_folder(root / log.TABLE)
            _make_log_durable(root, 0)
            registers.create(root)
            settings.write(root, agreed)  # last: what has no archive.toml is no archive
            sums.record(root, root / settings.FILE_NAME)
            fsync_folder(root.parent)
        except (OSError, DeltaError) as error:
            raise cannot_write(root, error) from None
        return cls(root, agreed)

    @classmethod
    def open(cls, root: Path) -> Store:
        """Open an archive. Raises ArchiveError where there is none, or it is damaged or of a newer format."""
        root = log.usable(root)
        store = cls(root, settings.read(root))
        log.read(root)
        return store

    def snapshot(self, version: int | None = None) -> Snapshot:
        """The archive as it is now, or as an earlier version left it."""
        return Snapshot(self.root, log.read(self.root, version))

    def original(self, sha256: str) -> AbstractContextManager[BinaryIO]:
        """The bytes of a source as received, as a stream to be used in `with`."""
        return originals.opened(self.root, sha256)

    def commit(
        self,
        imports: Sequence[Import],
        after_step: Callable[[str], None] = lambda step: None,
        delivery: Delivery | None = None,
    ) -> Receipt:
        """Take imports in, all or none of them, and return once they are durable.

        What people amended of a test that is read anew is amended again where the field still holds what it held;
        where it does not, that becomes a question. Raises ArchiveError where the archive cannot be written,
        SourceError where a source has changed since it was read; the archive then is as it was. An import that another
        writer brought in first counts as unchanged.
        """
        if not imports:
            return Receipt(log.read(self.root).number)
        _check(imports)
        try:
            kept = originals.keep(self.root, [one.source for one in imports])
        except OSError as error:
            raise cannot_write(self.root, error) from None
        after_step("originals")
        try:
            return self._transact(lambda before: planning.of_imports(before, imports, kept, delivery), after_step)
        except (pa.ArrowInvalid, OverflowError):
            raise SourceError(*_too_large(imports)) from None

    def undo(self, delivery: str, change: Change, after_step: Callable[[str], None] = lambda step: None) -> Receipt:
        """Let everything that a delivery brought stand no more, and what stood before it stand again.

        Originals, journal and stored rows stay. Raises UsageError where the archive has no such delivery or it has been
        undone, ArchiveError where the archive cannot be written.
        """
        return self._transact(lambda before: planning.of_undo(before, delivery, change), after_step)

    def amend(
        self, amendments: Mapping[str, Amendment], after_step: Callable[[str], None] = lambda step: None
    ) -> Receipt:
        """Change one field of each of some current tests, by their ids; their readings as they came stay stored.

        Raises UsageError where the field does not hold what the amendment says, or cannot hold what it shall;
        ArchiveError where the archive cannot be written.
        """
        return self._transact(lambda before: planning.of_amendments(before, amendments), after_step)

    def decide(self, decision: Decision, after_step: Callable[[str], None] = lambda step: None) -> Receipt:
        """Put on record what a reviewer decided of a current test. Raises ArchiveError where it cannot be written."""
        return self._transact(lambda before: planning.of_decision(before, decision), after_step)

    def _transact(self, planned: Callable[[Snapshot], Plan], after_step: Callable[[str], None]) -> Receipt:
        """Write what is planned after the newest version; planned anew whenever another writer was first."""
        try:
            for attempt in range(_ATTEMPTS):
                before = self.snapshot()
                plan = planned(before)
                written = self._write(plan)
                after_step("parquet")
                try:
                    number = self._publish(before, written, plan, after_step)
                except log.OvertakenError:
                    time.sleep(random.uniform(0, min(_LONGEST_WAIT_S, _FIRST_WAIT_S * 2**attempt)))
                    continue
                _make_log_durable(self.root, number, after_step)
                return Receipt(number, *map(tuple, (plan.added, plan.unchanged, plan.replaced, plan.hidden)))
        except (OSError, DeltaError) as error:
            raise cannot_write(self.root, error) from None
        cure = "Wait until the other writers are done and try again; nothing was changed."
        raise fault("archive-busy", self.root, f"{_ATTEMPTS} commits by others", "a turn to commit", cure)

    def _write(self, plan: Plan) -> list[log.Added]:
        written: list[log.Added] = []
        try:
            plain_rows: dict[log.Part, list[dict[str, Any]]] = {"source": plan.journal, "decision": plan.decisions}
            for part, plain in plain_rows.items():
                if plain:
                    table = pa.Table.from_pylist(plain, schema=tables.SCHEMAS[part])
                    written.append(_write(self.root, part, [table], table))
            if plan.sessions:
                rows = tables.session_rows(plan.sessions)
                size = _ROW_GROUP["session"]
                groups = [rows.slice(first, size) for first in range(0, rows.num_rows, size)]
                written.append(_write(self.root, "session", groups, rows))
            if plan.traces:
                written.append(_write(self.root, "trace", _trace_groups(plan.traces), _trace_sample(plan.traces)))
        except BaseException:
            self._discard(written)
            raise
        return written

    def _publish(
        self, before: Snapshot, written: Sequence[log.Added], plan: Plan, after_step: Callable[[str], None]
    ) -> int:
        failure: Exception | None = None
        try:
            for file in written:
                fsync_folder((self.root / log.TABLE / file.path).parent)
            fsync_folder(self.root / log.TABLE)
            after_step("folders")
            hides = bool(plan.replaced or plan.hidden)
            log.append(before.log, written, plan.last_number, hides=hides, tests=bool(plan.journal))
        except (log.OvertakenError, OSError, DeltaError) as error:
            failure = error
        number = log.find(self.root, before.version, written[0].path)
        if number is None:  # only files that no log entry names may go: a failed call can still have written its entry
            self._discard(written)
            raise failure or AssertionError("a commit without failure is in the log")
        after_step("log entry")
        return number

    def _discard(self, written: Sequence[log.Added]) -> None:
        for file in written:
            (self.root / log.TABLE / file.path).unlink(missing_ok=True)


def _check(imports: Sequence[Import]) -> None:
    """Refuse what reading must never hand over: such an archive could not be read back."""
    for one in imports:
        ids = [session.session_id for session in one.mapped.sessions]
        counts = {(s.session_id, c.channel_id): c.sample_count for s in one.mapped.sessions for c in s.channels}
        traced = {(trace.session_id, trace.channel_id): len(trace.values) for trace in one.mapped.traces}
        if one.state != "imported" and (ids or traced):
            raise ValueError(f"{one.source.name} is {one.state}, so it has no sessions")
        if one.state == "imported" and not one.source.sha256:
            raise ValueError(f"{one.source.name} is imported, so its hash is known")
        if len(set(ids)) != len(ids):
            raise ValueError(f"{one.source.name} has one session id twice")
        expected = {key: count for key, count in counts.items() if count or key in traced}
        if traced != expected or len(traced) != len(one.mapped.traces):
            raise ValueError(f"{one.source.name} has traces that are not those of its channels")


def _too_large(imports: Sequence[Import]) -> list[Problem]:
    """The sources with a whole number that no column can hold."""
    found = []
    for one in imports:
        try:
            tables.session_rows((session, "") for session in one.mapped.sessions)
        except (pa.ArrowInvalid, OverflowError) as error:
            cure = "Correct the value in the source and import it again; nothing was imported."
            expected = "whole numbers below 2 to the power of 63"
            found.append(Problem("value-too-large", Place(one.source.name), str(error), expected, cure, blocks="file"))
    return found


def _write(root: Path, part: log.Part, groups: Any, sample: pa.Table) -> log.Added:
    folder = f"part={part}"
    written = parquet.write(root / log.TABLE / folder, groups, sample)
    return log.Added(f"{folder}/{written.path.name}", part, written.size_bytes, written.rows)


def _trace_groups(traces: Sequence[tuple[Trace, str]]) -> Any:
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


def _make_log_durable(root: Path, version: int, after_step: Callable[[str], None] = lambda step: None) -> None:
    entries = sums.without(root, version)
    for entry in entries:
        fsync_file(entry)
    fsync_folder(log.entry(root, version).parent)
    after_step("log durable")
    for entry in entries:
        sums.record(root, entry)
    after_step("checksums")
