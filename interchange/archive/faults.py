"""How this floor words its errors, so that the same trouble reads the same wherever it is met."""

from __future__ import annotations

import errno
import os
import re
from pathlib import Path

from interchange.errors import ArchiveError, Blocks, Place, Problem

VERIFY = "Run the archive's verify command to see what is harmed, and put those files back from a copy."

_CURES = {
    errno.ENOSPC: "Free some space on the disk and import again; what was there before is whole.",
    errno.EDQUOT: "Raise the quota or free some space and import again; what was there before is whole.",
    errno.EFBIG: "Raise the limit on the size of files and import again; what was there before is whole.",
    errno.EROFS: "Make the disk writable, or work on a copy.",
    errno.EACCES: "Ask the owner of the archive for the right to write in it, or work on a copy.",
    errno.EPERM: "Ask the owner of the archive for the right to write in it, or work on a copy.",
}


def problem(code: str, path: Path, found: str, expected: str, cure: str, *, blocks: Blocks = "file") -> Problem:
    """A problem at a file or folder of the archive."""
    return Problem(code, Place(str(path)), found, expected, cure, blocks=blocks)


def fault(code: str, path: Path, found: str, expected: str, cure: str) -> ArchiveError:
    """One problem as an error."""
    return ArchiveError(problem(code, path, found, expected, cure))


def cannot_write(root: Path, error: Exception) -> ArchiveError:
    """A write that the disk or its owner refused."""
    number = error.errno if isinstance(error, OSError) else None
    if number is None and (named := re.search(r"os error (\d+)", str(error))):  # as libraries in Rust word it
        number = int(named[1])
    cure = _CURES.get(number or 0, "Remove the cause and import again; what was there before is whole.")
    if number in (errno.EACCES, errno.EPERM):
        found = "a folder that you may not write in"
    else:
        found = f"that nothing can be written ({first_line(error) if number is None else os.strerror(number)})"
    return fault("archive-not-written", root, found, "a folder that takes what is written", cure)


def cannot_read(path: Path, error: BaseException) -> ArchiveError:
    """A file of the archive that does not read as it was written."""
    return fault("archive-damaged", path, first_line(error), "the file as it was committed", VERIFY)


def first_line(error: BaseException) -> str:
    """What an error says on one line, without the colours and the stack that some libraries append."""
    lines = [line.strip() for line in re.sub(r"\x1b\[[0-9;]*m", "", str(error)).strip().splitlines()]
    causes = [line.removeprefix("↳").strip() for line in lines[1:] if line.startswith("↳")]
    return ": ".join([*lines[:1], *causes]) or type(error).__name__
