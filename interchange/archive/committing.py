"""One commit: files written, one log entry put after the newest version, everything durable; or nothing at all."""

from __future__ import annotations

import random
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from deltalake.exceptions import DeltaError

from interchange.archive import locking, log, plugin_sums, sums, tables
from interchange.archive.faults import cannot_write, fault
from interchange.archive.snapshot import Snapshot
from interchange.files import fsync_file, fsync_folder

# What a commit of files that are ready does, in this order; `after_step` is called with each name once it is done.
STEPS = ("parquet", "folders", "log entry", "log durable", "checksums")
_ATTEMPTS = 100
_FIRST_WAIT_S = 0.01
_LONGEST_WAIT_S = 1.0

AfterStep = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Prepared:
    """Files written for a log entry after a certain version, and what that entry says besides."""

    written: tuple[log.Added, ...]
    entry_number: int
    hides: bool = False
    tests: bool = False
    removed: tuple[log.Added, ...] = ()


Prepare = Callable[[Snapshot, "Prepared | None"], "Prepared | None"]


def commit(root: Path, prepare: Prepare, after_step: AfterStep) -> int:
    """Commit what `prepare` makes for the newest version; the number of the version that holds it.

    It is called anew whenever another writer was first, with what it made before, and may give that again. None ends
    without a commit. Raises ArchiveError where the archive cannot be written; it then is as it was.
    """
    last: Prepared | None = None
    try:
        with locking.alone(root):
            for before in _turns(root):
                work = None
                try:
                    work = prepare(before, last)
                finally:
                    if last is not None and work is not last:
                        discard(root, last.written)
                if work is None:
                    return before.version
                after_step("parquet")
                last = work
                if (number := _publish(before, work, after_step)) is not None:
                    after_step("log entry")
                    make_log_durable(root, number, after_step)
                    return number
    except (OSError, DeltaError) as error:
        raise cannot_write(root, error) from None
    discard(root, last.written if last else ())
    cure = "Wait until the other writers are done and try again; nothing was changed."
    raise fault("archive-busy", root, f"{_ATTEMPTS} commits by others", "a turn to commit", cure)


def collected(root: Path, files: Iterable[log.Added]) -> tuple[log.Added, ...]:
    """The files, once all are written; where one cannot be, those before it go again."""
    written: list[log.Added] = []
    try:
        written.extend(files)
    except BaseException:
        discard(root, written)
        raise
    return tuple(written)


def discard(root: Path, written: Sequence[log.Added]) -> None:
    """Take away files that no log entry names."""
    for file in written:
        (root / log.TABLE / file.path).unlink(missing_ok=True)


def make_log_durable(root: Path, version: int, after_step: AfterStep = lambda step: None) -> None:
    """Make the entries up to a version durable, and record checksums of those that have none yet."""
    entries = sums.without(root, version)
    for entry in entries:
        fsync_file(entry)
    fsync_folder(log.entry(root, version).parent)
    after_step("log durable")
    for entry in entries:
        sums.record(root, entry)
    plugin_sums.record(root)
    after_step("checksums")


def _turns(root: Path) -> Iterator[Snapshot]:
    """The newest version, again and again, with pauses that grow."""
    for attempt in range(_ATTEMPTS):
        if attempt:
            time.sleep(random.uniform(0, min(_LONGEST_WAIT_S, _FIRST_WAIT_S * 2**attempt)))
        newest = log.read(root)
        try:
            if log.grow(newest, tables.union_schema()):
                newest = log.read(root)
        except log.OvertakenError:
            continue
        yield Snapshot(root, newest)


def _publish(before: Snapshot, work: Prepared, after_step: AfterStep) -> int | None:
    """Number of the version that names the files written, None where another writer was first."""
    root, failure = before.root, None
    try:
        for file in work.written:
            fsync_folder((root / log.TABLE / file.path).parent)
        fsync_folder(root / log.TABLE)
        after_step("folders")
        log.append(
            before.log, work.written, work.entry_number, hides=work.hides, tests=work.tests, removed=work.removed
        )
    except (log.OvertakenError, OSError, DeltaError) as error:
        failure = error
    number = log.find(root, before.version, work.written[0].path)
    if number is not None:
        return number
    if isinstance(failure, log.OvertakenError):
        return None
    discard(root, work.written)  # only files that no log entry names: a failed call can still have written its entry
    raise failure or AssertionError("a commit without failure is in the log")
