"""What a workbook holds, sheet by sheet: typed cells, the sheet as delimited text, and what such a text cannot show."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from itertools import islice
from typing import NamedTuple

from interchange.errors import Blocks, Place, Problem

_LOOKED_AT = 5_000_000  # merged ranges of an honest workbook do not overlap, and cover fewer cells


class CellError(str):
    """What a formula gives that failed, such as `#DIV/0!`."""

    __slots__ = ()


Value = str | float | bool | date | datetime | time | timedelta | None  # the type says what the cell holds


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

    Hidden rows and columns are those that hold something. `uncached` are formulas without a result, a spot for each
    column; `pending` those whose results the workbook itself calls out of date.
    """

    name: str
    hidden: bool
    rows: tuple[tuple[Value, ...], ...]
    merged: tuple[Span, ...] = ()
    hidden_rows: tuple[int, ...] = ()
    hidden_columns: tuple[int, ...] = ()
    filtered: bool = False
    uncached: tuple[Spot, ...] = ()
    pending: tuple[Spot, ...] = ()
    commented: Spot | None = None
    struck: Spot | None = None
    percent: Spot | None = None

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
        hidden, cure = f"a hidden sheet of {len(sheet.rows):,} rows", "It was not read; show it if it holds a test."
        return (
            [Problem("workbook-hidden-sheet", Place(name), hidden, "sheets that are shown", cure)] if sheet.rows else []
        )
    found = [*_formulas(sheet, name), *_hidden(sheet, name)]

    def note(code: str, spot: Spot | None, words: str, expected: str, cure: str) -> None:
        if spot is not None:
            found.append(_at(code, name, spot, words, expected, cure))

    if sheet.merged:
        first = sheet.merged[0]
        note(
            "workbook-merged",
            Spot(first.row, first.column, len(sheet.merged)),
            f"merged cells {_span(first)}",
            "each cell by itself",
            "The value was read at the first of the cells, the others are empty; undo the merge if they hold it too.",
        )
    note("workbook-covered", _covered(sheet), "a value beneath merged cells, which nobody sees", "none", _READ)
    note("workbook-line-break", _broken_lines(sheet), "a line break within a cell", "one line", "Read as a blank.")
    note("workbook-comment", sheet.commented, "a comment", "what matters in cells", _UNREAD)
    note("workbook-struck-through", sheet.struck, "a value struck through", "only values that hold", _READ)
    note(
        "workbook-percent",
        sheet.percent,
        f"a number shown as percent, {_value(sheet, sheet.percent)}",
        "a plain number",
        "The number was read, not the percent: check that the plugin's unit is right for it.",
    )
    return found


def _formulas(sheet: Sheet, name: str) -> Iterator[Problem]:
    kinds = (
        ("workbook-formula-uncached", sheet.uncached, "a formula without its result"),
        ("workbook-formula-pending", sheet.pending, "the result of a formula in a workbook that asks to be calculated"),
    )
    for code, spots, words in kinds:
        for spot in spots:
            yield _at(code, name, spot, words, "a value, or a formula with its result", _CALCULATE, "session")


def _hidden(sheet: Sheet, name: str) -> Iterator[Problem]:
    if sheet.filtered:
        found, cure = (
            "an active filter",
            "The rows that it hides were read like the others; remove what does not belong.",
        )
        yield Problem("workbook-filter", Place(name), found, "all rows shown", cure)
    if sheet.hidden_rows:
        rows = sheet.hidden_rows
        place, found = Place(name, rows[0]), _many(len(rows), "hidden row")
        yield Problem("workbook-hidden-rows", place, found, "all rows shown", _READ, len(rows))
    if sheet.hidden_columns:
        columns = sheet.hidden_columns
        place, found = Place(name, None, letters(columns[0])), _many(len(columns), "hidden column")
        yield Problem("workbook-hidden-columns", place, found, "all columns shown", _READ, len(columns))


def _many(count: int, words: str) -> str:
    return f"a {words}" if count == 1 else f"{count:,} {words}s"


def _at(code: str, name: str, spot: Spot, found: str, expected: str, cure: str, blocks: Blocks = "note") -> Problem:
    place = Place(name, spot.row, letters(spot.column))
    return Problem(code, place, found, expected, cure, spot.times, blocks)


def _span(span: Span) -> str:
    return f"{letters(span.column)}{span.row}:{letters(span.last_column)}{span.last_row}"


def _value(sheet: Sheet, spot: Spot | None) -> str:
    return "" if spot is None else _shown(sheet.rows[spot.row - 1][spot.column - 1], ".")


def spot_of(cells: Iterable[tuple[int, int]]) -> Spot | None:
    """The first of some cells, given as row and column, and their count."""
    first, count = None, 0
    for cell in cells:
        first = first or cell
        count += 1
    return None if first is None else Spot(*first, count)


def _broken_lines(sheet: Sheet) -> Spot | None:
    return spot_of(
        (number, column)
        for number, row in enumerate(sheet.rows, 1)
        for column, value in enumerate(row, 1)
        if isinstance(value, str) and _breaks(value)
    )


def _covered(sheet: Sheet) -> Spot | None:
    """Cells beneath merged ones that hold something all the same."""
    cells = (
        (row, column, value)
        for span in sheet.merged
        for row, values in enumerate(sheet.rows[span.row - 1 : span.last_row], span.row)
        for column, value in enumerate((*values[span.column - 1 : span.last_column], None), span.column)
    )
    firsts = {(span.row, span.column) for span in sheet.merged}
    return spot_of(
        (row, column)
        for row, column, value in islice(cells, _LOOKED_AT)
        if value is not None and (row, column) not in firsts
    )


_READ = "It was read like the others; remove it if it does not belong to the test."
_UNREAD = "Comments are not read: write what matters into a cell."
_CALCULATE = "Open the workbook in a spreadsheet program, save it there and send it again."
