"""What a workbook holds, sheet by sheet: typed cells, the sheet as delimited text, and what such a text cannot show."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import Literal, NamedTuple

from interchange.errors import Place, Problem

_LOOKED_AT = 5_000_000  # merged ranges of an honest workbook do not overlap, and cover fewer cells


class CellError(str):
    """What a formula gives that failed, such as `#DIV/0!`."""

    __slots__ = ()


Value = str | float | bool | date | datetime | time | timedelta | None  # the type says what the cell holds
Kind = Literal["formula-uncached", "formula-pending", "comment", "struck-through", "percent"]


class Spot(NamedTuple):
    """The first of some cells and how many there are. Rows and columns count from 1."""

    row: int
    column: int
    times: int


class Span(NamedTuple):
    """Merged cells, from the first row and column to the last, both of them within."""

    row: int
    column: int
    last_row: int
    last_column: int


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet. `rows` begin with row 1 of the sheet, each up to its last cell that holds something.

    Hidden rows and columns are those that hold something. `marks` are cells of which there is something to tell, by its
    kind and their column; of column 0 are kinds that are told once a sheet.
    """

    name: str
    hidden: bool
    rows: tuple[tuple[Value, ...], ...]
    merged: tuple[Span, ...] = ()
    hidden_rows: tuple[int, ...] = ()
    hidden_columns: tuple[int, ...] = ()
    filtered: bool = False
    marks: Mapping[tuple[Kind, int], Spot] = field(default_factory=dict)

    def spots(self, kind: str) -> tuple[Spot, ...]:
        """Cells of a kind, by column."""
        return tuple(self.marks[key] for key in sorted(self.marks) if key[0] == kind)

    @property
    def width(self) -> int:
        """How many columns hold something."""
        return max(map(len, self.rows), default=0)


@dataclass(frozen=True, slots=True)
class Workbook:
    """Sheets in the order of their tabs."""

    sheets: tuple[Sheet, ...]


def letters(column: int) -> str:
    """A column as spreadsheets name it: 1 is A, 27 is AA."""
    text = ""
    while column:
        column, rest = divmod(column - 1, 26)
        text = chr(ord("A") + rest) + text
    return text


def sheet_file(file: str, name: str) -> str:
    """How a sheet is named to people where a file would be."""
    return f"{file}, sheet '{name}'"


def as_text(sheet: Sheet, delimiter: str, decimal_mark: str, key_prefix: str | None = None) -> str:
    """The sheet as delimited text: its row 7 is row 7 of the text, and every row that is not blank has the same width.

    `delimiter` is one character. Numbers are exact; dates and times are ISO 8601, durations `30:15:00`, truth values
    TRUE or FALSE. A line break within a cell becomes a blank, since the text is read row by row. Rows that begin with
    `key_prefix` stand as they are, since in such layouts they are not cut into cells.
    """
    width = sheet.width
    text = io.StringIO()
    writer = csv.writer(text, delimiter=delimiter, lineterminator="\n")
    for row in sheet.rows:
        if row:
            cells = [_shown(value, decimal_mark) for value in row]
            if key_prefix is not None and cells[0].startswith(key_prefix):
                text.write(delimiter.join(cells) + "\n")
            else:
                writer.writerow(cells + [""] * (width - len(cells)))
        else:
            text.write("\n")
    return text.getvalue()


def _shown(value: Value, decimal_mark: str) -> str:
    if isinstance(value, str):
        return _on_one_line(value) if _breaks(value) else value
    if isinstance(value, bool):
        return "TRUE" if value else "FALSE"
    if isinstance(value, float):
        text = repr(value)
        return text.removesuffix(".0") if decimal_mark == "." else text.removesuffix(".0").replace(".", decimal_mark)
    if isinstance(value, datetime | time):
        return value.isoformat(timespec="milliseconds" if value.microsecond else "seconds")
    if isinstance(value, date):
        return value.isoformat()
    return "" if value is None else _duration(value)


def _duration(value: timedelta) -> str:
    milliseconds = round(value / timedelta(milliseconds=1))
    seconds, rest = divmod(abs(milliseconds), 1000)
    minutes, seconds = divmod(seconds, 60)
    hours, minutes = divmod(minutes, 60)
    text = f"{hours:02}:{minutes:02}:{seconds:02}" + (f".{rest:03}" if rest else "")
    return f"-{text}" if milliseconds < 0 else text


def _breaks(text: str) -> bool:
    return "\n" in text or "\r" in text


def _on_one_line(text: str) -> str:
    return text.replace("\r\n", " ").replace("\n", " ").replace("\r", " ")


def problems(sheet: Sheet, file: str) -> list[Problem]:
    """What of a sheet its text does not show, each kind at its first place; formulas without a result block it.

    A hidden sheet is not read, so that all there is to say is that it is there.
    """
    name = sheet_file(file, sheet.name)
    if sheet.hidden:
        found, cure = f"a hidden sheet of {len(sheet.rows):,} rows", "It was not read; show it if it holds a test."
        return [Problem("workbook-hidden-sheet", Place(name), found, "sheets that are shown", cure)] * bool(sheet.rows)
    rows, columns, merged = sheet.hidden_rows, sheet.hidden_columns, sheet.merged
    spots: dict[str, Iterable[Spot]] = {
        "filter": [Spot(0, 0, 1)] * sheet.filtered,
        "hidden-rows": [Spot(row, 0, len(rows)) for row in rows[:1]],
        "hidden-columns": [Spot(0, column, len(columns)) for column in columns[:1]],
        "merged": [Spot(span.row, span.column, len(merged)) for span in merged[:1]],
        "covered": _first(_covered(sheet)),
        "line-break": _first(_broken_lines(sheet)),
    }
    return [
        Problem(
            f"workbook-{code}",
            Place(name, spot.row or None, letters(spot.column) or None),
            words + _detail(sheet, code, spot),
            expected,
            cure,
            spot.times,
            "session" if code.startswith("formula") else "note",
        )
        for code, (words, expected, cure) in _TOLD.items()
        for spot in spots.get(code, sheet.spots(code))
    ]


def _detail(sheet: Sheet, code: str, spot: Spot) -> str:
    if code in ("hidden-rows", "hidden-columns"):
        what = code.removesuffix("s").replace("-", " ")
        return f"a {what}" if spot.times == 1 else f"{spot.times:,} {what}s"
    if code == "merged":
        first = sheet.merged[0]
        return f" {letters(first.column)}{first.row}:{letters(first.last_column)}{first.last_row}"
    return f", {_shown(sheet.rows[spot.row - 1][spot.column - 1], '.')}" if code == "percent" else ""


def _first(cells: Iterable[tuple[int, int]]) -> list[Spot]:
    """The first of some cells, given as row and column, and their count."""
    found = list(cells)
    return [Spot(*found[0], len(found))] if found else []


def _broken_lines(sheet: Sheet) -> Iterator[tuple[int, int]]:
    for number, row in enumerate(sheet.rows, 1):
        for column, value in enumerate(row, 1):
            if isinstance(value, str) and _breaks(value):
                yield number, column


def _covered(sheet: Sheet) -> Iterator[tuple[int, int]]:
    """Cells beneath merged ones that hold something all the same."""
    cells = (
        (row, column, value)
        for span in sheet.merged
        for row, values in enumerate(sheet.rows[span.row - 1 : span.last_row], span.row)
        for column, value in enumerate((*values[span.column - 1 : span.last_column], None), span.column)
    )
    firsts = {(span.row, span.column) for span in sheet.merged}
    for row, column, value in islice(cells, _LOOKED_AT):
        if value is not None and (row, column) not in firsts:
            yield row, column


_READ = "It was read like the others; remove it if it does not belong to the test."
_CALCULATED = "a value, or a formula with its result"
_CALCULATE = "Open the workbook in a spreadsheet program, save it there and send it again."
_TOLD = {  # what was found, what was expected, what to do
    "formula-uncached": ("a formula without its result", _CALCULATED, _CALCULATE),
    "formula-pending": (
        "the result of a formula in a workbook that asks to be calculated",
        _CALCULATED,
        _CALCULATE,
    ),
    "filter": (
        "an active filter",
        "all rows shown",
        "The rows that it hides were read like the others; remove what does not belong.",
    ),
    "hidden-rows": ("", "all rows shown", _READ),
    "hidden-columns": ("", "all columns shown", _READ),
    "merged": (
        "merged cells",
        "each cell by itself",
        "The value was read at the first of the cells, the others are empty; undo the merge if they hold it too.",
    ),
    "covered": ("a value beneath merged cells, which nobody sees", "none", _READ),
    "line-break": ("a line break within a cell", "one line", "Read as a blank."),
    "comment": ("a comment", "what matters in cells", "Comments are not read: write what matters into a cell."),
    "struck-through": ("a value struck through", "only values that hold", _READ),
    "percent": (
        "a number shown as percent",
        "a plain number",
        "The number was read, not the percent: check that the plugin's unit is right for it.",
    ),
}
