"""The archive's registers: a CSV file each, with its checksum. Names and paths need neither pyarrow nor pydantic."""

from __future__ import annotations

import fcntl
import hashlib
import os
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from interchange.archive.faults import cannot_read, cannot_write
from interchange.errors import ArchiveError, Place, SourceError
from interchange.files import fsync_folder

if TYPE_CHECKING:
    from interchange.model.register import CalibrationRow, Placed, Row

FOLDER = "registers"
NAMES = ("jobs", "crews", "kit", "calibrations")


@dataclass(frozen=True, slots=True)
class Added:
    """What became of the rows of a file, and how many the register now has."""

    new: int
    known_already: int
    rows: int


@dataclass(frozen=True, slots=True)
class Calibrations:
    """The register of fan calibrations, and a short hash of it that results carry in their names."""

    rows: tuple[CalibrationRow, ...]
    fingerprint: str


def path(root: Path, name: str) -> Path:
    """The file of a register."""
    return root / FOLDER / f"{name}.csv"


def create(root: Path) -> None:
    """Write all registers of a new archive, without rows."""
    from interchange.archive import sums
    from interchange.model import register

    for name in NAMES:
        sums.replace(root, path(root, name), register.csv_bytes(name, ()))


def read(root: Path, name: str) -> tuple[Row, ...]:
    """The rows of a register; none where the archive is older than registers. Raises ArchiveError on damage."""
    return tuple(row for _, row in _placed(name, path(root, name), _bytes(path(root, name))))


def calibrations(root: Path) -> Calibrations:
    """The register of fan calibrations. Raises ArchiveError on damage."""
    file = path(root, "calibrations")
    content = _bytes(file)
    rows: Any = tuple(row for _, row in _placed("calibrations", file, content))
    return Calibrations(rows, _short_hash(content))


def fingerprint(root: Path) -> str:
    """That of the register of fan calibrations as it is now."""
    return _short_hash(_bytes(path(root, "calibrations")))


def add(root: Path, name: str, rows: Sequence[Placed]) -> Added:
    """Put rows into a register beside those that are there, all or none; the same row again changes nothing.

    Raises SourceError where a row claims days of its key that another row of the register has, ArchiveError where the
    archive cannot be read or written; the register then is as it was.
    """
    from interchange.archive import sums
    from interchange.model import register

    file = path(root, name)
    try:
        file.parent.mkdir(exist_ok=True)
        with _alone(file.parent):
            there = _placed(name, file, _bytes(file))
            known = {row for _, row in there}
            new = [(place, row) for place, row in rows if row not in known]
            faults = register.overlaps([*((_within(root, place), row) for place, row in there), *new])
            if faults:
                raise SourceError(*faults)
            union = [row for _, row in (*there, *new)]
            if new:
                sums.replace(root, file, register.csv_bytes(name, union))
            fsync_folder(root)
    except OSError as error:
        raise cannot_write(root, error) from None
    return Added(len(new), len(rows) - len(new), len(union))


def _within(root: Path, place: Place) -> Place:
    return Place(f"the register ({Path(place.file).relative_to(root)})", place.row)


@contextmanager
def _alone(folder: Path) -> Iterator[None]:
    """Wait until no other process is writing a register, and keep others waiting."""
    handle = os.open(folder, os.O_RDONLY)
    try:
        fcntl.flock(handle, fcntl.LOCK_EX)
        yield
    finally:
        os.close(handle)


def _placed(name: str, file: Path, content: bytes | None) -> list[Placed]:
    if content is None:
        return []
    from interchange.model import register

    try:
        return register.read(name, content, str(file))
    except SourceError as error:
        raise ArchiveError(*error.problems) from None


def _bytes(file: Path) -> bytes | None:
    try:
        return file.read_bytes()
    except FileNotFoundError:
        return None  # the archive is older than registers
    except OSError as error:
        raise cannot_read(file, error) from None


def _short_hash(content: bytes | None) -> str:
    return hashlib.sha256(content or b"").hexdigest()[:8]
