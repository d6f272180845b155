"""An archive on disk: making it, opening it, and committing imports so that each is there whole or not at all."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

import pyarrow as pa
from deltalake.exceptions import DeltaError

from interchange.archive import (
    committing,
    compaction,
    locking,
    log,
    originals,
    parts,
    planning,
    registers,
    settings,
    sums,
    tables,
)
from interchange.archive.committing import AfterStep, Prepared
from interchange.archive.compaction import Keep, Rewritten
from interchange.archive.faults import cannot_write, fault
from interchange.archive.planning import Plan
from interchange.archive.settings import Settings
from interchange.archive.snapshot import Snapshot
from interchange.errors import Place, Problem, SourceError
from interchange.files import fsync_folder
from interchange.model.question import Change, Decision, Delivery, Import
from interchange.model.session import Amendment

# What a commit does, in this order; `after_step` is called with each name once it is done.
STEPS = ("originals", *committing.STEPS)
FOLDERS = (log.TABLE, originals.FOLDER, sums.FOLDER, registers.FOLDER, "derived", "plugins")


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
            written = [parts.write(root, part, [table], table) for part, table in empty.items()]
            for file in written:
                fsync_folder((root / log.TABLE / file.path).parent)
            log.create(root, tables.union_schema(), written)
            fsync_folder(root / log.TABLE)
            committing.make_log_durable(root, 0)
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
        locking.warn(root)
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
        after_step: AfterStep = lambda step: None,
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

    def undo(self, delivery: str, change: Change, after_step: AfterStep = lambda step: None) -> Receipt:
        """Let everything that a delivery brought stand no more, and what stood before it stand again.

        Originals, journal and stored rows stay. Raises UsageError where the archive has no such delivery or it has been
        undone, ArchiveError where the archive cannot be written.
        """
        return self._transact(lambda before: planning.of_undo(before, delivery, change), after_step)

    def amend(self, amendments: Mapping[str, Amendment], after_step: AfterStep = lambda step: None) -> Receipt:
        """Change one field of each of some current tests, by their ids; their readings as they came stay stored.

        Raises UsageError where the field does not hold what the amendment says, or cannot hold what it shall;
        ArchiveError where the archive cannot be written.
        """
        return self._transact(lambda before: planning.of_amendments(before, amendments), after_step)

    def decide(self, decision: Decision, after_step: AfterStep = lambda step: None) -> Receipt:
        """Put on record what a reviewer decided of a current test. Raises ArchiveError where it cannot be written."""
        return self._transact(lambda before: planning.of_decision(before, decision), after_step)

    def rewrite(
        self,
        keep: Keep | None = None,
        after_step: AfterStep = lambda step: None,
        most_bytes: int = compaction.MOST_BYTES,
    ) -> Rewritten:
        """Put the small files of each part together into sorted ones, in one commit that changes no row.

        A new file takes about `most_bytes` of memory while it is made. The old ones stay, for those who are reading
        them and for older versions, until `compaction.sweep` takes them. `keep` says by part which rows of a table go
        on; a part named in it is written anew as a whole. Raises ArchiveError where the archive cannot be read or
        written, or holds columns that only a newer release knows.
        """
        work: Prepared | None = None

        def prepare(before: Snapshot, last: Prepared | None) -> Prepared | None:
            nonlocal work
            # rows that others added meanwhile can wait, unless some of them must not go on
            work = last if last and keep is None and compaction.fits(last, before) else None
            work = work or compaction.prepared(before, keep, most_bytes)
            return work

        version = committing.commit(self.root, prepare, after_step)
        if work is None:
            return Rewritten(version)
        sizes = (sum(file.size_bytes for file in files) for files in (work.removed, work.written))
        return Rewritten(version, len(work.removed), len(work.written), *sizes)

    def _transact(self, planned: Callable[[Snapshot], Plan], after_step: AfterStep) -> Receipt:
        """Write what is planned after the newest version; planned anew whenever another writer was first."""
        plan = Plan()

        def prepare(before: Snapshot, last: Prepared | None) -> Prepared:
            nonlocal plan
            plan = planned(before)
            written = committing.collected(self.root, parts.of_plan(self.root, plan))
            hides = bool(plan.replaced or plan.hidden)
            return Prepared(written, plan.last_number, hides, tests=bool(plan.journal))

        version = committing.commit(self.root, prepare, after_step)
        return Receipt(version, *map(tuple, (plan.added, plan.unchanged, plan.replaced, plan.hidden)))


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
