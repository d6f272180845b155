"""Taking turns on folders where the file system alone does not keep writers apart.

On a local disk a log entry is put in place in one step or refused, so nobody locks. Network folders do not promise
that: there writers take an advisory lock for the time of a commit, and people are told.
"""

from __future__ import annotations

import fcntl
import warnings
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

FILE_NAME = "commit.lock"
MOUNTS = Path("/proc/self/mounts")  # Linux; elsewhere nothing tells, and folders count as local
# as Linux names file systems that other machines or programs serve
_NETWORK = ("nfs", "cifs", "smb", "fuse", "9p", "afs", "ceph", "glusterfs", "lustre")


class NetworkFolderWarning(UserWarning):
    """The archive lies in a network folder."""


def network(folder: Path, mounts: Path | None = None) -> str | None:
    """The kind of network file system that a folder lies on, None where it is none or nothing tells."""
    try:
        rows = [line.split(" ") for line in (mounts or MOUNTS).read_text().splitlines()]
    except OSError:
        return None
    where = folder.resolve()
    found = ""
    longest = -1
    for row in rows:
        point = Path(row[1].replace("\\040", " "))
        if where.is_relative_to(point) and len(point.parts) >= longest:  # of two on one place the later one counts
            found, longest = row[2], len(point.parts)
    return found if found.startswith(_NETWORK) and found != "fuseblk" else None  # fuseblk: a local disk


def warn(root: Path) -> None:
    """Say it, once in a process, where an archive lies in a network folder."""
    kind = network(root)
    if kind:
        warnings.warn(
            f"{root} lies in a network folder ({kind}). Several people may read it; let one at a time write to it, and "
            "keep a copy elsewhere: such folders do not promise that what was reported as written survives.",
            NetworkFolderWarning,
            stacklevel=2,
        )


@contextmanager
def alone(root: Path) -> Iterator[None]:
    """On a network folder, wait for one's turn and hold it; elsewhere do nothing."""
    if network(root) is None:
        yield
        return
    with (root / FILE_NAME).open("ab") as file:
        fcntl.lockf(file, fcntl.LOCK_EX)
        yield
