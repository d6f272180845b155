"""Run by tests as a process of its own: commits that are cut off, hindered, or run beside others.

Arguments: what to do, the archive's folder, then words of that deed.
"""

from __future__ import annotations

import os
import random
import resource
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

from archive_samples import batch_of_imports, imported, monitoring, source

from interchange.archive.store import Store
from interchange.errors import ArchiveError
from interchange.model.amendment import read_value, value_text
from interchange.model.question import Change, Decision
from interchange.model.session import Amendment

WHEN = datetime(2026, 3, 3, 8, 0, tzinfo=UTC)


def exit_after(root: Path, step: str, label: str) -> None:
    """Commit one batch and end the process, without any tidying, right after a step."""

    def cut(done: str) -> None:
        if done == step:
            os._exit(9)

    Store.open(root).commit(batch_of_imports(label, 3), cut)


def change(root: Path, what: str, after_step: Callable[[str], None] = lambda step: None) -> None:
    """One change of each sort, on the tests of the batch `before`."""
    store = Store.open(root)
    tests = {session.record.job_id: session for session in store.snapshot().sessions() if session.record.job_id}
    if what == "undo":
        store.undo("second", Change("office 2", "wrong programme"), after_step)
    elif what == "rewrite":
        store.rewrite(after_step=after_step)
    elif what == "amend":
        of = tests["before-0"]
        was = value_text(of, "volume_m3")
        shall = read_value(of, "volume_m3", str(float(was or 0) + 1))
        amendment = Amendment(
            amended_field="volume_m3",
            amended_from=was,
            amended_to=shall,
            amended_by="office 2",
            amended_why="drawings",
            amended_at_utc=WHEN,
        )
        store.amend({of.session_id: amendment}, after_step)
    else:
        store.decide(Decision(tests["before-1"].session_id, None, "accept", "reviewer 1", "seen", WHEN), after_step)


def change_and_exit_after(root: Path, what: str, step: str) -> None:
    """Make one change and end the process, without any tidying, right after a step."""

    def cut(done: str) -> None:
        if done == step:
            os._exit(9)

    change(root, what, cut)


def all_until_killed(root: Path, label: str) -> None:
    """Imports, amendments, decisions and compaction in turn; say on stdout which are acknowledged."""
    for number in range(10_000):
        Store.open(root).commit(batch_of_imports(f"{label}-{number}", 3))
        print(f"import {label}-{number}", flush=True)
        for what in ("amend", "decide", "rewrite"):
            change(root, what)
            print(what, label, flush=True)


def commit_until_killed(root: Path, label: str) -> None:
    """Commit batch after batch; say on stdout which are acknowledged."""
    store = Store.open(root)
    for number in range(10_000):
        store.commit(batch_of_imports(f"{label}-{number}", 3))
        print(f"{label}-{number}", flush=True)


def commit_beside(root: Path, label: str, count: str) -> None:
    """Commit batches of one's own and each time one that all writers share."""
    for number in range(int(count)):
        store = Store.open(root)
        receipt = store.commit([*batch_of_imports(f"{label}-{number}", 2), *batch_of_imports(f"shared-{number}", 2)])
        print(len(receipt.added), len(receipt.unchanged), flush=True)


def hindered(root: Path, hindrance: str) -> None:
    """Commit where the disk or the rights do not allow it; print the error."""
    store = Store.open(root)
    of = source(os.urandom(100_000), "large.csv")
    session, traces = monitoring(of, [[random.random() for _ in range(60_000)]])
    if hindrance == "rights" and os.getuid() == 0:
        os.setuid(65_534)
    if hindrance.startswith("size"):
        limit = int(hindrance.removeprefix("size"))
        resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    try:
        store.commit([imported(of, session, traces=traces)])
    except ArchiveError as error:
        print(error)
    sys.stdout.write(f"{len(list(store.snapshot().sessions()))} sessions\n")


if __name__ == "__main__":
    deed, folder, *words = sys.argv[1:]
    globals()[deed](Path(folder), *words)
