"""Run by tests as a process of its own: commits that are cut off, hindered, or run beside others.

Arguments: what to do, the archive's folder, then words of that deed.
"""

from __future__ import annotations

import os
import random
import resource
import sys
from pathlib import Path

from archive_samples import batch_of_imports, imported, monitoring, source

from interchange.archive.store import Store
from interchange.errors import ArchiveError


def exit_after(root: Path, step: str, label: str) -> None:
    """Commit one batch and end the process, without any tidying, right after a step."""

    def cut(done: str) -> None:
        if done == step:
            os._exit(9)

    Store.open(root).commit(batch_of_imports(label, 3), cut)


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
