"""What both forms of workbook are made of: a zip package with XML in it, and sheets that grow row by row in limits."""

from __future__ import annotations

import io
import lzma
import math
import re
import xml.parsers.expat
import zipfile
import zlib
from dataclasses import dataclass, field

from interchange.errors import Place, Problem
from interchange.reading.containers import ENCRYPTED
from interchange.reading.workbook_sheets import Spot, Value, letters, sheet_file

LAST_ROW, LAST_COLUMN = 1_048_576, 16_384  # as far as sheets of either form go
_DEEPEST = 200  # elements within each other; honest workbooks need about twenty


@dataclass(frozen=True, slots=True)
class Limits:
    """The most a workbook may hold.

    Elements are those of its XML as far as it is read; characters are those of all its sheets as delimited text. How
    far a member is packed is no measure here: sheets of constant columns pack hundreds of times.
    """

    members: int = 20_000
    unpacked_bytes: int = 1 << 30
    elements: int = 20_000_000
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


def too_much(place: Place, found: str, expected: str) -> WorkbookFault:
    """A workbook beyond the limits."""
    cure = "Check that this is a test file; export a shorter stretch as CSV if it is one."
    return WorkbookFault(Problem("workbook-too-large", place, found, expected, cure, blocks="file"))


def locked(file: str) -> WorkbookFault:
    """A workbook that only opens with a password."""
    cure = "Save it without a password and send it again."
    found, expected = "a workbook that needs a password", "a workbook that opens"
    return WorkbookFault(Problem("workbook-password", Place(file), found, expected, cure, blocks="file"))


class Package:
    """The zip package of a workbook. Its members are read as streams, in limits, and never written anywhere."""

    def __init__(self, data: bytes, file: str, limits: Limits) -> None:
        self.file, self._limits, self._elements = file, limits, 0
        try:
            self._zip = zipfile.ZipFile(io.BytesIO(data))
        except (zipfile.BadZipFile, ValueError, NotImplementedError):
            raise broken(Place(file), "a workbook that does not unpack") from None
        members = self._zip.infolist()
        self.names = frozenset(info.filename for info in members)
        unpacked = sum(info.file_size for info in members)
        if len(members) > limits.members:
            raise too_much(Place(file), f"{len(members):,} members", f"at most {limits.members:,}")
        if unpacked > limits.unpacked_bytes:
            raise too_much(Place(file), f"{unpacked:,} bytes once unpacked", f"at most {limits.unpacked_bytes:,}")
        if any(info.flag_bits & ENCRYPTED for info in members):
            raise locked(file)

    def parse(self, member: str, part: Part, place: Place | None = None) -> None:
        """Lead a member's XML through a part. Entities, and with them external ones, do not exist in workbooks."""
        place = place or Place(self.file)
        parser = xml.parsers.expat.ParserCreate(namespace_separator="}")
        parser.buffer_text = True
        parser.StartElementHandler = part.start_element
        parser.EndElementHandler = part.end_element
        parser.CharacterDataHandler = part.characters

        def refuse(*_: object) -> None:
            raise broken(place, f"a document type in {member}")

        parser.StartDoctypeDeclHandler = refuse
        part.elements_left = self._limits.elements - self._elements
        try:
            # reading never goes beyond the size the package states for a member, whatever is packed in it
            with self._zip.open(member) as stream:
                parser.ParseFile(stream)
        except xml.parsers.expat.ExpatError as error:
            raise broken(place, f"no XML in row {error.lineno} of {member}") from None
        except KeyError:
            raise broken(place, f"no {member} in it") from None
        except _TooDeepError:
            raise broken(place, f"elements too deep within each other in {member}") from None
        except _TooManyError:
            limit = f"{self._limits.elements:,} elements"
            raise too_much(place, f"more than {limit} up to {member}", f"at most {limit}") from None
        except (zipfile.BadZipFile, zlib.error, lzma.LZMAError, EOFError, NotImplementedError, OSError):
            raise broken(place, f"{member}, which does not unpack") from None
        self._elements = self._limits.elements - part.elements_left


class _TooDeepError(Exception):
    """Elements stand too deep within each other."""


class _TooManyError(Exception):
    """There are more elements than may be."""


class Part:
    """Follows the XML of one member: `path` holds the names of the elements around, without their namespaces.

    `text` collects characters while it is a list.
    """

    def __init__(self) -> None:
        self.path: list[str] = []
        self.text: list[str] | None = None
        self.elements_left = 0

    def start_element(self, name: str, attributes: dict[str, str]) -> None:
        """The parser came upon the start of an element."""
        name = name[name.rfind("}") + 1 :]
        self.path.append(name)
        self.elements_left -= 1
        if self.elements_left < 0:
            raise _TooManyError
        if len(self.path) > _DEEPEST:
            raise _TooDeepError
        self.start(name, attributes)

    def end_element(self, _: str) -> None:
        """The parser came upon the end of an element."""
        self.end(self.path[-1])
        self.path.pop()

    def characters(self, data: str) -> None:
        """The parser came upon text."""
        if self.text is not None:
            self.text.append(data)

    def start(self, name: str, attributes: dict[str, str]) -> None:
        """An element begins; names of its attributes are `namespace}name` or, mostly, plain."""

    def end(self, name: str) -> None:
        """An element ends."""

    def taken(self) -> str:
        """The text collected so far; collecting ends."""
        text = "".join(self.text or ())
        self.text = None
        return text


def whole(text: str | None) -> int | None:
    """A count or an index, or None where the text is none."""
    return int(text) if text is not None and re.fullmatch("[0-9]{1,9}", text) else None


def number(text: str) -> float:
    """A number as XML writes it. Raises ValueError."""
    value = float(text)
    if not math.isfinite(value) or "_" in text:
        raise ValueError(text)
    return value


def plain(attributes: dict[str, str]) -> dict[str, str]:
    """Attributes by their names without namespaces."""
    return {name[name.rfind("}") + 1 :]: value for name, value in attributes.items()}


@dataclass(slots=True)
class Budget:
    """How much more a workbook may hold."""

    limits: Limits
    cells: int = 0
    characters: int = 0

    def spend(self, place: Place, cells: int, characters: int) -> None:
        """Count cells and characters. Raises WorkbookFault beyond the limits."""
        self.cells += cells
        self.characters += characters
        if self.cells > self.limits.cells:
            raise too_much(place, f"more than {self.limits.cells:,} cells", f"at most {self.limits.cells:,} cells")
        if self.characters > self.limits.characters:
            expected = f"at most {self.limits.characters:,} characters"
            raise too_much(place, f"more than {self.limits.characters:,} characters", expected)


@dataclass(slots=True)
class Tally:
    """Counts cells of one kind and keeps the first."""

    first: tuple[int, int] = (0, 0)
    count: int = 0

    def add(self, row: int, column: int, times: int = 1) -> None:
        """Count a cell, or several from it on."""
        if not self.count:
            self.first = (row, column)
        self.count += times

    @property
    def spot(self) -> Spot | None:
        """What was counted."""
        return Spot(*self.first, self.count) if self.count else None


@dataclass(slots=True)
class Tallies:
    """Counts cells of one kind in each column."""

    columns: dict[int, Tally] = field(default_factory=dict)

    def add(self, row: int, column: int, times: int = 1) -> None:
        """Count a cell, or several below it."""
        self.columns.setdefault(column, Tally()).add(row, column, times)

    @property
    def spots(self) -> tuple[Spot, ...]:
        """What was counted, by column."""
        return tuple(Spot(*tally.first, tally.count) for _, tally in sorted(self.columns.items()))


class Grid:
    """A sheet that is being read, row by row from the top."""

    def __init__(self, file: str, name: str, budget: Budget) -> None:
        self.name, self.place = name, Place(sheet_file(file, name))
        self.rows: list[tuple[Value, ...]] = []
        self.width = 0
        self.filled_rows = 0
        self._budget = budget

    def add(self, number: int, values: list[Value], times: int = 1) -> int:
        """Put a row, or several alike, at a row number; how many cells it has up to the last that holds something."""
        while values and values[-1] is None:
            values.pop()
        if not values:
            return 0
        if number <= len(self.rows) or number + times - 1 > LAST_ROW:
            raise broken(Place(self.place.file, number), f"row {number:,} after row {len(self.rows):,}")
        if len(values) > self._budget.limits.columns:
            place, limit = Place(self.place.file, number), self._budget.limits.columns
            raise too_much(place, f"a value in column {letters(len(values))}", f"at most {limit:,} columns")
        # a number is never longer than 25 characters
        characters = sum(len(value) if isinstance(value, str) else 25 for value in values if value is not None)
        self._budget.spend(Place(self.place.file, number), len(values) * times, characters * times)
        self.rows.extend([()] * (number - 1 - len(self.rows)))
        self.rows.extend([tuple(values)] * times)
        self.width = max(self.width, len(values))
        self.filled_rows += times
        return len(values)

    def count(self, row: int) -> None:
        """Count what is kept of a row beside its cells as one of them."""
        self._budget.spend(Place(self.place.file, row), 1, 0)

    def close(self) -> None:
        """Count the marks between the cells of the whole sheet."""
        self._budget.spend(self.place, 0, self.filled_rows * self.width)

    def hidden_columns(self, hidden: list[tuple[int, int]]) -> tuple[int, ...]:
        """Those columns within these ranges, each from first to last, that hold something."""
        if not hidden:
            return ()
        filled = {column for row in self.rows for column, value in enumerate(row, 1) if value is not None}
        return tuple(sorted(column for column in filled if any(low <= column <= high for low, high in hidden)))
