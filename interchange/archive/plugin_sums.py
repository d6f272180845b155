"""Checksums of the archive's own plugins as they were at the last commit: a line each, as `sha256sum --check` reads it.

Plugins are edited by people, so a changed one is a question to them until the next commit takes it as it is.
"""

from __future__ import annotations

from pathlib import Path

from interchange.archive import sums
from interchange.files import write_atomically

FOLDER = "plugins"


def path(root: Path) -> Path:
    """Where they are kept."""
    return root / sums.FOLDER / f"{FOLDER}.sha256"


def lines(root: Path) -> list[str]:
    """Those of the files that are there now."""
    files = sorted(file for file in (root / FOLDER).rglob("*") if file.is_file())
    return [sums.line(root, file) for file in files]


def text(found: list[str]) -> bytes:
    """The file of checksums: how many there are, and the lines."""
    return "".join([f"# files of plugins: {len(found)}\n", *found]).encode()


def record(root: Path) -> None:
    """Record them where they changed; an archive that never had plugins gets no file."""
    found = lines(root)
    there = path(root)
    if (found or there.exists()) and not (there.exists() and there.read_bytes() == text(found)):
        write_atomically(there, text(found))
