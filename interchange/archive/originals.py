"""Sources as they were received: one compressed file each, named by the hash of its bytes."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO, cast

import pyarrow as pa

from interchange.archive.faults import cannot_read
from interchange.archive.parquet import sha256
from interchange.errors import Place, Problem, SourceError
from interchange.files import Source, fsync_file, fsync_folder

FOLDER = "originals"
_BLOCK_BYTES = 1 << 20


def path(root: Path, source_sha256: str) -> Path:
    """Where the original of a source is kept."""
    return root / FOLDER / source_sha256[:2] / f"{source_sha256}.zst"


def keep(root: Path, sources: Sequence[Source]) -> list[str | None]:
    """Keep sources durably, each once; the hashes of the compressed files.

    A source nobody could read has no hash, so no bytes to keep either: it gives None. Raises SourceError where a
    source no longer gives the bytes it was read with.
    """
    folders: set[Path] = set()
    found = [_keep(root, source, folders) if source.sha256 else None for source in sources]
    for folder in sorted(folders):
        fsync_folder(folder)
    if folders:
        fsync_folder(root / FOLDER)
    return found


def _keep(root: Path, source: Source, folders: set[Path]) -> str:
    target = path(root, source.sha256)
    if not target.exists():
        target.parent.mkdir(parents=True, exist_ok=True)
        folders.add(target.parent)
        part = target.with_name(f".{secrets.token_hex(8)}.part")
        try:
            _compress(source, part)
            fsync_file(part)
            part.replace(target)
        finally:
            part.unlink(missing_ok=True)
    return sha256(target)


@dataclass(frozen=True, slots=True)
class Original:
    """A source as it is kept, unpacked anew each time it is read."""

    place: Path

    def open(self) -> BinaryIO:
        """A fresh stream over the bytes as they were received. Raises ArchiveError where no original is kept."""
        try:
            return cast("BinaryIO", pa.CompressedInputStream(pa.OSFile(str(self.place)), "zstd"))
        except OSError as error:
            raise cannot_read(self.place, error) from None


def source_of(root: Path, name: str, source_sha256: str, size_bytes: int) -> Source:
    """A source to be read again from its original."""
    return Source(name, source_sha256, size_bytes, Original(path(root, source_sha256)))


@contextmanager
def opened(root: Path, source_sha256: str) -> Iterator[BinaryIO]:
    """The bytes of a source as they were received. Raises ArchiveError where no original is kept."""
    with Original(path(root, source_sha256)).open() as stream:
        yield stream


def content_sha256(place: Path) -> str:
    """Hash of the bytes that an original decompresses to. Raises OSError where it does not."""
    digest = hashlib.sha256()
    with pa.CompressedInputStream(pa.OSFile(str(place)), "zstd") as stream:
        while block := stream.read(_BLOCK_BYTES):
            digest.update(block)
    return digest.hexdigest()


def _compress(source: Source, target: Path) -> None:
    digest = hashlib.sha256()
    try:
        stream = source.open()
    except OSError as error:
        raise _changed(source, f"no file that opens ({error.strerror})") from None
    with stream, pa.CompressedOutputStream(pa.OSFile(str(target), "wb"), "zstd") as out:
        while block := stream.read(_BLOCK_BYTES):
            digest.update(block)
            out.write(block)
    if digest.hexdigest() != source.sha256:
        raise _changed(source, "other bytes than a moment ago")


def _changed(source: Source, found: str) -> SourceError:
    expected = "the bytes that were read"
    cure = "Wait until nothing writes to the file, then import it again; nothing was imported."
    return SourceError(Problem("source-changed", Place(source.name), found, expected, cure, blocks="file"))
