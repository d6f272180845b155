"""What both forms of workbook share: a zip package, looked through in limits before a library opens it, and its sheets.

The libraries read laxly and without limits. So each member that they read is looked through first, as a stream.
"""

from __future__ import annotations

import io
import lzma
import math
import re
import xml.parsers.expat
import zipfile
import zlib
from dataclasses import dataclass

from interchange.errors import Place, Problem
from interchange.reading.containers import ENCRYPTED
from interchange.reading.workbook_sheets import Kind, Sheet, Span, Spot, Value, letters, sheet_file

LAST_ROW, LAST_COLUMN = 1_048_576, 16_384  # as far as sheets of either form go
_DEEPEST = 200  # elements within each other; honest workbooks need about twenty
_LET_GO = ("row", "table-row", "si")  # elements that the libraries let go once they are read
_NUMBER = re.compile(r"\s*[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?\s*")


@dataclass(frozen=True, slots=True)
class Limits:
    """The most a workbook may hold.

    Elements are those of its XML as far as it is read, `held` those of them that a library keeps at one time;
    characters are those of all its sheets as delimited text. How far a member is packed is no measure here: sheets of
    constant columns pack hundreds of times.
    """

    members: int = 20_000
    unpacked_bytes: int = 1 << 30
    elements: int = 20_000_000
    held: int = 500_000
    sheets: int = 200
    cells: int = 5_000_000
    columns: int = 4096
    characters: int = 1 << 28


class WorkbookFault(Exception):
    """Why a workbook cannot be read, as a problem."""

    def __init__(self, problem: Problem) -> None:
        self.problem = problem
        super().__init__(str(problem))


def broken(place: Place, found: str) -> WorkbookFault:
    """A workbook that does not follow its own form."""
    expected, cure = "a whole workbook", "Open it in a spreadsheet program, save it anew and send it again."
    return WorkbookFault(Problem("workbook-broken", place, found, expected, cure, blocks="file"))


def within(count: int, most: int, what: str, place: Place, found: str = "") -> None:
    """Raises WorkbookFault for more than a limit."""
    if count > most:
        found, expected = found or f"more than {most:,} {what}", f"at most {most:,} {what}"
        cure = "Check that this is a test file; export a shorter stretch as CSV if it is one."
        raise WorkbookFault(Problem("workbook-too-large", place, found, expected, cure, blocks="file"))


def locked(file: str) -> WorkbookFault:
    """A workbook that only opens with a password."""
    cure = "Save it without a password and send it again."
    found, expected = "a workbook that needs a password", "a workbook that opens"
    return WorkbookFault(Problem("workbook-password", Place(file), found, expected, cure, blocks="file"))


class Look:
    """Follows the XML of one member: `path` holds the names of the elements around, without their namespaces.

    `text` collects characters while it is a list.
    """

    def __init__(self) -> None:
        self.path: list[str] = []
        self.text: list[str] | None = None

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins; names of its attributes are `namespace}name` or, mostly, plain."""

    def end(self, name: str) -> None:
        """An element ends."""

    def characters(self, data: str) -> None:
        """Text was found."""
        if self.text is not None:
            self.text.append(data)


class Package:
    """The zip package of a workbook. Its members are read as streams, in limits, and never written anywhere.

    `namespaces` are those of the members looked through so far, each with its prefix; `place` is where the reading is,
    for a fault that a library finds.
    """

    def __init__(self, data: bytes, file: str, limits: Limits) -> None:
        self.data, self.file, self.limits, self.place = data, file, limits, Place(file)
        self.namespaces: set[tuple[str | None, str]] = set()
        self._elements, self._cells, self._characters = 0, 0, 0
        try:
            self.zip = zipfile.ZipFile(io.BytesIO(data))
        except (zipfile.BadZipFile, ValueError, NotImplementedError):
            raise broken(Place(file), "a workbook that does not unpack") from None
        members = self.zip.infolist()
        self.names = frozenset(info.filename for info in members)
        unpacked = sum(info.file_size for info in members)
        within(len(members), limits.members, "members", Place(file), f"{len(members):,} members")
        within(unpacked, limits.unpacked_bytes, "bytes", Place(file), f"{unpacked:,} bytes once unpacked")
        if any(info.flag_bits & ENCRYPTED for info in members):
            raise locked(file)

    def look_through(self, member: str, look: Look | None = None, place: Place | None = None) -> None:
        """Lead a look through a member's XML. Entities, and with them external ones, do not exist in workbooks."""
        look, self.place = look or Look(), place or Place(self.file)
        path, where = look.path, self.place
        most, most_held = self.limits.elements, self.limits.held
        held = let_go = 0

        def start(name: str, attributes: dict[str, str]) -> None:
            nonlocal held, let_go
            name = name[name.rfind("}") + 1 :]
            path.append(name)
            self._elements, held = self._elements + 1, held + 1
            if self._elements > most:
                within(self._elements, most, "elements", where, f"more than {most:,} elements up to {member}")
            if held > most_held:
                within(held, most_held, "elements", where, f"more than {most_held:,} elements in one piece of {member}")
            if len(path) > _DEEPEST:
                raise broken(where, f"elements too deep within each other in {member}")
            if name in _LET_GO:
                let_go = held - 1
            look.start(name, attributes)

        def end(_: str) -> None:
            nonlocal held
            if path[-1] in _LET_GO:
                held = let_go
            look.end(path[-1])
            path.pop()

        def refuse(*_: object) -> None:
            raise broken(where, f"a document type in {member}")

        parser = xml.parsers.expat.ParserCreate(namespace_separator="}")
        parser.buffer_text = True
        parser.StartElementHandler, parser.EndElementHandler = start, end
        parser.CharacterDataHandler, parser.StartDoctypeDeclHandler = look.characters, refuse
        parser.StartNamespaceDeclHandler = lambda prefix, space: self.namespaces.add((prefix, space))
        try:
            # reading never goes beyond the size the package states for a member, whatever is packed in it
            with self.zip.open(member) as stream:
                parser.ParseFile(stream)
        except xml.parsers.expat.ExpatError as error:
            raise broken(where, f"no XML in row {error.lineno} of {member}") from None
        except KeyError:
            raise broken(where, f"no {member} in it") from None
        except (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, NotImplementedError, OSError):
            raise broken(where, f"{member}, which does not unpack") from None

    def spend(self, place: Place, cells: int, characters: int) -> None:
        """Count cells and characters. Raises WorkbookFault beyond the limits."""
        self._cells += cells
        self._characters += characters
        within(self._cells, self.limits.cells, "cells", place)
        within(self._characters, self.limits.characters, "characters", place)


def whole(text: str | None) -> int | None:
    """A count or an index, or None where the text is none."""
    return int(text) if text is not None and re.fullmatch("[0-9]{1,9}", text) else None


def number(text: str) -> float:
    """A number as XML writes it. Raises ValueError."""
    value = float(text) if _NUMBER.fullmatch(text) else math.nan
    if not math.isfinite(value):
        raise ValueError(text)
    return value


class Grid:
    """A sheet that is being read, row by row from the top."""

    def __init__(self, package: Package, name: str, hidden: bool) -> None:
        self.name, self.hidden, self.place = name, hidden, Place(sheet_file(package.file, name))
        self.rows: list[tuple[Value, ...]] = []
        self.merged: list[Span] = []
        self.hidden_rows: list[int] = []
        self.hidden_columns: list[tuple[int, int]] = []  # from first to last
        self.filtered = False
        self._package, self._width, self._filled_rows = package, 0, 0
        self._marks: dict[tuple[Kind, int], list[int]] = {}

    def at(self, row: int, column: int = 0) -> Place:
        """The place of a cell or a row."""
        return Place(self.place.file, row, letters(column) or None)

    def add(self, row: int, values: list[Value], times: int = 1, *, hidden: bool = False) -> bool:
        """Put a row, or several alike, at a row number; whether it holds anything."""
        while values and values[-1] is None:
            values.pop()
        if not values:
            return False
        if row <= len(self.rows) or row + times - 1 > LAST_ROW:
            raise broken(self.at(row), f"row {row:,} after row {len(self.rows):,}")
        most, width = self._package.limits.columns, len(values)
        within(width, most, "columns", self.at(row), f"a value in column {letters(width)}")
        # a number is never longer than 25 characters
        characters = sum(len(value) if isinstance(value, str) else 25 for value in values if value is not None)
        self._package.spend(self.at(row), width * times, characters * times)
        self.rows.extend([()] * (row - 1 - len(self.rows)))
        self.rows.extend([tuple(values)] * times)
        if hidden:
            self.hidden_rows.extend(range(row, row + times))
        self._width = max(self._width, width)
        self._filled_rows += times
        return True

    def mark(self, kind: Kind, row: int, column: int, times: int = 1) -> None:
        """Count a cell of a kind, or several from it on: formulas in each column, others together."""
        by_column = column if kind.startswith("formula") else 0
        self._marks.setdefault((kind, by_column), [row, column, 0])[2] += times

    def merge(self, span: Span) -> None:
        """Keep merged cells, as one cell of the limit."""
        self._package.spend(self.at(span.row), 1, 0)
        self.merged.append(span)

    def sheet(self) -> Sheet:
        """The whole sheet; the marks between its cells count as characters."""
        self._package.spend(self.place, 0, self._filled_rows * self._width)
        filled: set[int] = set()
        if self.hidden_columns:
            filled = {column for row in self.rows for column, value in enumerate(row, 1) if value is not None}

        return Sheet(
            self.name,
            self.hidden,
            tuple(self.rows),
            tuple(self.merged),
            tuple(self.hidden_rows),
            tuple(sorted(one for one in filled if any(low <= one <= high for low, high in self.hidden_columns))),
            self.filtered,
            {key: Spot(*self._marks[key]) for key in self._marks},
        )
