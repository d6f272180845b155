"""Walks files, folders and zip archives into sources, in the same order every time. Takes nothing on trust."""

from __future__ import annotations

import hashlib
import lzma
import stat
import zipfile
import zlib
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path, PurePosixPath

from interchange.errors import Place, Problem
from interchange.files import Source, ZipMember

ENCRYPTED = 0x1
_PIECE_BYTES = 1 << 20


@dataclass(frozen=True, slots=True)
class ZipLimits:
    """The most a zip archive may hold. A small member may have any ratio."""

    members: int = 20_000
    inflated_bytes: int = 1 << 30
    ratio: int = 200
    ratio_from_bytes: int = 1 << 20


DEFAULT = ZipLimits()


def walk(paths: Iterable[Path], limits: ZipLimits = DEFAULT) -> Iterator[Source | Problem]:
    """Every file in the order of the list, folders by name; a problem stands in the place of what cannot be taken.

    A source is named by its file name, or by its way below the folder or zip archive it was found in.
    """
    for path in paths:
        yield from _walk(path, path.name or str(path), limits)


def _walk(path: Path, name: str, limits: ZipLimits) -> Iterator[Source | Problem]:
    try:
        mode = path.lstat().st_mode
        if stat.S_ISLNK(mode):
            yield _refused("link", name, "a symbolic link", "a file or a folder", "Give the file it points to.")
        elif stat.S_ISDIR(mode):
            for inner in sorted(path.iterdir()):
                if inner.name.startswith("."):
                    yield _hidden(f"{name}/{inner.name}")
                else:
                    yield from _walk(inner, f"{name}/{inner.name}", limits)
        elif not stat.S_ISREG(mode):
            yield _refused("not-a-file", name, "a device, pipe or socket", "a file or a folder", "Leave it out.")
        elif path.suffix.lower() == ".zip":
            yield from _walk_zip(path, name, limits)
        else:
            with path.open("rb") as stream:
                digest = hashlib.file_digest(stream, "sha256").hexdigest()
                yield Source(name, digest, stream.tell(), path)
    except OSError as error:
        yield _refused(
            "file-unreadable",
            name,
            error.strerror or str(error),
            "a file that can be read",
            "Check that it is there and that you may read it.",
        )


def _walk_zip(path: Path, name: str, limits: ZipLimits) -> Iterator[Source | Problem]:
    try:
        with zipfile.ZipFile(path) as archive:
            members = sorted((info for info in archive.infolist() if not info.is_dir()), key=lambda info: info.filename)
            fault = _archive_fault(members, name, limits)
            if fault is not None:
                yield fault
                return
            for info in members:
                member = f"{name}/{info.filename}"
                fault = _name_fault(info, member) or _content_fault(info, member, limits)
                if fault is not None:
                    yield fault
                    continue
                yield _member(archive, info, member, path)
    except (zipfile.BadZipFile, ValueError):
        yield _refused("zip-broken", name, "a zip archive that does not open", "a whole zip archive", _AGAIN)


_AGAIN = "Pack the files again, or give them unpacked."


def _archive_fault(members: list[zipfile.ZipInfo], name: str, limits: ZipLimits) -> Problem | None:
    if len(members) > limits.members:
        found, expected = f"{len(members):,} members", f"at most {limits.members:,} members"
        return _refused("zip-too-many-members", name, found, expected, "Pack fewer files into one archive.")
    inflated = sum(info.file_size for info in members)
    if inflated > limits.inflated_bytes:
        found, expected = f"{inflated:,} bytes once unpacked", f"at most {limits.inflated_bytes:,} bytes"
        return _refused("zip-too-large", name, found, expected, "Pack fewer files into one archive.")
    return None


def _name_fault(info: zipfile.ZipInfo, member: str) -> Problem | None:
    parts = PurePosixPath(info.filename.replace("\\", "/"))
    if parts.is_absolute() or ".." in parts.parts or ":" in info.filename:
        found = "a member whose name leads out of the archive"
        return _refused("zip-member-name", member, found, "a name below the archive", _AGAIN)
    if any(part.startswith(".") or part == "__MACOSX" for part in parts.parts):
        return _hidden(member)
    return None


def _content_fault(info: zipfile.ZipInfo, member: str, limits: ZipLimits) -> Problem | None:
    if stat.S_ISLNK(info.external_attr >> 16):
        return _refused("link", member, "a symbolic link", "a file", _AGAIN)
    if info.flag_bits & ENCRYPTED:
        return _refused("zip-encrypted", member, "a member that needs a password", "a member that opens", _AGAIN)
    if info.filename.lower().endswith(".zip"):
        found = "a zip archive within a zip archive"
        return _refused("zip-nested", member, found, "test files", "Unpack the inner archive first.")
    if info.file_size > limits.ratio_from_bytes and info.file_size > limits.ratio * max(info.compress_size, 1):
        found = f"{info.compress_size:,} bytes that unpack to {info.file_size:,}"
        expected = f"a member at most {limits.ratio} times its packed size"
        return _refused("zip-ratio", member, found, expected, "Give this file unpacked.")
    return None


def _member(archive: zipfile.ZipFile, info: zipfile.ZipInfo, member: str, path: Path) -> Source | Problem:
    digest, size = hashlib.sha256(), 0
    try:
        # reading never goes beyond the size the archive states for a member, whatever is packed in it
        with archive.open(info) as stream:
            while piece := stream.read(_PIECE_BYTES):
                digest.update(piece)
                size += len(piece)
    except (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, NotImplementedError, OSError):
        return _refused("zip-broken", member, "a member that does not unpack", "a whole member", _AGAIN)
    return Source(member, digest.hexdigest(), size, ZipMember(path, info.filename))


def _hidden(name: str) -> Problem:
    return Problem("hidden", Place(name), "a hidden file", "a test file", "Rename it if it is one; it was left out.")


def _refused(code: str, name: str, found: str, expected: str, cure: str) -> Problem:
    return Problem(code, Place(name), found, expected, cure, blocks="file")
