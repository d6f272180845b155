"""Checksums of the few files whose name cannot carry their hash: log entries, `archive.toml`, registers.

Each is one line as `sha256sum --check` reads it, run in the archive's folder.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

from interchange.archive import log
from interchange.archive.parquet import sha256
from interchange.files import write_atomically

FOLDER = "checksums"


def path(root: Path, target: Path) -> Path:
    """Where the checksum of a file is kept."""
    return root / FOLDER / f"{target.stem}.sha256"


def line(root: Path, target: Path) -> str:
    """The checksum line of a file as it is now."""
    return _line(root, target, sha256(target))


def _line(root: Path, target: Path, digest: str) -> str:
    return f"{digest}  {target.relative_to(root).as_posix()}\n"


def record(root: Path, target: Path) -> None:
    """Record the checksum of a file as it is now."""
    write_atomically(path(root, target), line(root, target).encode())


def replace(root: Path, target: Path, content: bytes) -> None:
    """Give a file new bytes. Whatever cuts this off, one line of its checksum file is that of the bytes it has."""
    new = _line(root, target, hashlib.sha256(content).hexdigest())
    if target.exists():
        write_atomically(path(root, target), (line(root, target) + new).encode())
    write_atomically(target, content)
    write_atomically(path(root, target), new.encode())


def without(root: Path, version: int) -> list[Path]:
    """The log entry of a version, and those before it whose writer was cut off before it recorded a checksum."""
    entries = []
    while version >= 0 and not path(root, log.entry(root, version)).exists():
        entries.append(log.entry(root, version))
        version -= 1
    return entries
