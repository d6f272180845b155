"""Adds rows to the archive's registers and shows them."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from interchange.archive import registers, settings
from interchange.archive.log import usable
from interchange.errors import Place, Problem, SourceError, UsageError
from interchange.model import register
from interchange.table import Table, counted


@dataclass(frozen=True, slots=True)
class Added:
    """What became of the rows of a file."""

    name: str
    new: int
    known_already: int
    rows: int

    @property
    def summary(self) -> str:
        """One sentence, and what to do next."""
        text = f"{self.new} new, {self.known_already} known already; the register {self.name} has "
        text += f"{counted(self.rows, 'row')}."
        if self.new and self.name == "calibrations":
            text += " Results from before no longer hold: run the recompute command."
        return text


def add_to_register(root: Path, name: str, file: Path) -> Added:
    """Put the rows of a CSV file into a register of the archive, all or none.

    Raises UsageError for an unknown register, SourceError, with a problem for each fault, where the file is not such
    a table or a row claims days that another row has, ArchiveError where the archive cannot be read or written.
    """
    _known(name)
    root = usable(root)
    settings.read(root)
    try:
        content = file.read_bytes()
    except OSError as error:
        found = error.strerror or str(error)
        cure = "Give the name of a file that you may read."
        raise SourceError(
            Problem("file-unreadable", Place(str(file)), found, "a CSV file", cure, blocks="file")
        ) from None
    added = registers.add(root, name, register.read(name, content, file.name))
    return Added(name, added.new, added.known_already, added.rows)


def show_register(root: Path, name: str) -> Table:
    """The rows of a register, by key and day. Raises UsageError for an unknown one, ArchiveError for the archive."""
    _known(name)
    root = usable(root)
    settings.read(root)
    columns = register.columns(name)
    rows = registers.read(root, name)
    return Table(columns, [tuple(getattr(row, column) for column in columns) for row in rows])


def _known(name: str) -> None:
    if name not in registers.NAMES:
        expected = "one of " + ", ".join(registers.NAMES)
        cure = "Give the name of a register, then that of the file."
        raise UsageError(Problem("register-unknown", Place("command line"), f"'{name}'", expected, cure))
