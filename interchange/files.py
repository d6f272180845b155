"""Sources of bytes, and writing that is either there whole or not at all and survives a power cut."""

from __future__ import annotations

import io
import os
import zipfile
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, Protocol, cast


class Packed(Protocol):
    """Bytes that lie packed somewhere on disk."""

    def open(self) -> BinaryIO:
        """A fresh stream over the unpacked bytes."""
        ...


@dataclass(frozen=True, slots=True)
class ZipMember:
    """A file within a zip archive on disk, unpacked anew each time it is read."""

    archive: Path
    member: str

    def open(self) -> BinaryIO:
        """A fresh stream over the unpacked bytes."""
        with zipfile.ZipFile(self.archive) as archive:
            return cast("BinaryIO", archive.open(self.member))


@dataclass(frozen=True, slots=True)
class Source:
    """One delivered file: a name to show people, the hash and size of its bytes, and the bytes again when asked.

    `content` is the path of a file on disk, what is packed in an archive, or the bytes themselves.
    """

    name: str
    sha256: str
    size_bytes: int
    content: Path | Packed | bytes

    def open(self) -> BinaryIO:
        """A fresh stream over the bytes."""
        if isinstance(self.content, bytes):
            return io.BytesIO(self.content)
        return self.content.open("rb") if isinstance(self.content, Path) else self.content.open()


def fsync_folder(folder: Path) -> None:
    """Make the names in a folder durable."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def fsync_file(path: Path) -> None:
    """Make the bytes of a file durable."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def write_atomically(path: Path, data: bytes) -> None:
    """Write `data` under a temporary name, make it durable, and give it its name in one step."""
    part = path.with_name(f".{path.name}.{os.urandom(4).hex()}.part")
    try:
        with part.open("wb") as handle:
            handle.write(data)
            handle.flush()
            os.fsync(handle.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    fsync_folder(path.parent)
