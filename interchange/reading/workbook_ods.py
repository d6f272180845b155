"""Reads spreadsheets in OpenDocument (ISO/IEC 26300, `.ods`)."""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta

from interchange.errors import Place
from interchange.reading.workbook_parts import (
    LAST_COLUMN,
    LAST_ROW,
    Budget,
    Grid,
    Limits,
    Package,
    Part,
    Tallies,
    Tally,
    broken,
    locked,
    number,
    plain,
    too_much,
    whole,
)
from interchange.reading.workbook_sheets import CellError, Sheet, Span, Value, Workbook, letters

_CELLS = ("table-cell", "covered-table-cell")
_NOT_OF_THE_CELL = ("annotation", "ruby-text", "frame")  # text within that is not the cell's
_ERROR_TYPE = ("urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0}value-type", "error")
_LONGEST_BLANK = 10_000  # blanks that one element may stand for
_BLANKS = re.compile(r"[ \t\r\n]+")
_DURATION = re.compile(r"(-?)P(?:(\d+)D)?T?(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:[.,]\d+)?)S)?")
_FRACTION = re.compile(r"[.,](\d+)$")


def read(package: Package, limits: Limits) -> Workbook:
    """The sheets of a workbook. Raises WorkbookFault."""
    if "META-INF/manifest.xml" in package.names:
        manifest = _Manifest()
        package.parse("META-INF/manifest.xml", manifest)
        if manifest.encrypted:
            raise locked(package.file)
    part = _Content(package.file, limits)
    if "styles.xml" in package.names:
        package.parse("styles.xml", part)
    package.parse("content.xml", part)
    return Workbook(tuple(part.sheets))


class _Manifest(Part):
    encrypted = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.encrypted = self.encrypted or name == "encryption-data"


class _Styles(Part):
    """What the styles of cells and sheets say."""

    def __init__(self) -> None:
        super().__init__()
        self._style: str | None = None
        self._date_style: str | None = None
        self._parents: dict[str, str] = {}
        self._data_styles: dict[str, str] = {}
        self._with_hours: set[str] = set()
        self._struck: dict[str, bool] = {}
        self.hidden_tables: set[str] = set()

    def start(self, name: str, attributes: dict[str, str]) -> None:
        own = plain(attributes)
        if name == "style":
            self._style = own.get("name", "")
            if "parent-style-name" in own:
                self._parents[self._style] = own["parent-style-name"]
            if "data-style-name" in own:
                self._data_styles[self._style] = own["data-style-name"]
        elif name == "date-style":
            self._date_style = own.get("name", "")
        elif name == "hours" and self._date_style is not None:
            self._with_hours.add(self._date_style)
        elif name == "text-properties" and self._style is not None and "text-line-through-style" in own:
            self._struck[self._style] = own["text-line-through-style"] != "none"
        elif name == "table-properties" and self._style is not None and own.get("display") == "false":
            self.hidden_tables.add(self._style)

    def end(self, name: str) -> None:
        if name == "style":
            self._style = None
        elif name == "date-style":
            self._date_style = None

    def _line(self, style: str) -> list[str]:
        """A style and those it inherits from."""
        line = []
        while style and style not in line:
            line.append(style)
            style = self._parents.get(style, "")
        return line

    def hours(self, style: str) -> bool:
        """Whether a cell style shows the time of a date."""
        named = (self._data_styles[one] for one in self._line(style) if one in self._data_styles)
        return next(named, "") in self._with_hours

    def struck(self, style: str) -> bool:
        """Whether a cell style strikes its text through."""
        return next((self._struck[one] for one in self._line(style) if one in self._struck), False)


class _Content(_Styles):
    """Styles, then the sheets with their cells."""

    def __init__(self, file: str, limits: Limits) -> None:
        super().__init__()
        self.sheets: list[Sheet] = []
        self._file, self._limits, self._budget = file, limits, Budget(limits)
        self._now: _SheetRead | None = None

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if self._now is not None:
            self._now.start(self.path, attributes)
        elif name == "table" and self.path[-2:-1] == ["spreadsheet"]:
            if len(self.sheets) == self._limits.sheets:
                limit = f"{self._limits.sheets:,} sheets"
                raise too_much(Place(self._file), f"more than {limit}", f"at most {limit}")
            self._now = _SheetRead(Grid(self._file, plain(attributes).get("name", ""), self._budget), self)
            self._now.hidden = plain(attributes).get("style-name") in self.hidden_tables
        else:
            super().start(name, attributes)

    def end(self, name: str) -> None:
        if self._now is None:
            super().end(name)
        elif name == "table" and self.path[-2:-1] == ["spreadsheet"]:
            sheet = self._now.sheet()
            if sheet is not None:
                self.sheets.append(sheet)
            self._now = None
        else:
            self._now.end(self.path)

    def characters(self, data: str) -> None:
        if self._now is not None:
            self._now.characters(data)


class _SheetRead:
    """One sheet while it is read."""

    def __init__(self, grid: Grid, styles: _Styles) -> None:
        self.grid, self._styles = grid, styles
        self.hidden, self._copied = False, False
        self._merged: list[Span] = []
        self._hidden_rows: list[int] = []
        self._hidden_columns: list[tuple[int, int]] = []
        self._column_ends: list[int] = []  # last column of each run of alike columns
        self._column_styles: list[str] = []
        self._columns, self._rows, self._column = 0, 0, 0
        self._filtered = False
        self._uncached = Tallies()
        self._commented, self._struck, self._percent = Tally(), Tally(), Tally()
        self._row: dict[str, str] = {}
        self._row_times = 1
        self._values: list[Value] = []
        self._cell: dict[str, str] | None = None
        self._times = 1
        self._paragraphs: list[str] = []
        self._pieces: list[str] | None = None
        self._aside = 0

    def sheet(self) -> Sheet | None:
        """The sheet; none where it is only what another file held, kept beside a link to it."""
        if self._copied:
            return None
        self.grid.close()
        return Sheet(
            self.grid.name,
            self.hidden,
            tuple(self.grid.rows),
            tuple(self._merged),
            tuple(self._hidden_rows),
            self.grid.hidden_columns(self._hidden_columns),
            self._filtered,
            self._uncached.spots,
            (),
            self._commented.spot,
            self._struck.spot,
            self._percent.spot,
        )

    def start(self, path: Sequence[str], attributes: dict[str, str]) -> None:
        """An element begins."""
        name = path[-1]
        if self._cell is not None:
            self._start_in_cell(path, plain(attributes))
        elif name in _CELLS:
            own = plain(attributes)
            # the standard has no type for errors; the extension in use writes one beside the type of the standard
            if _ERROR_TYPE in attributes.items():
                own["value-type"] = "error"
            self._begin_cell(own)
        elif name == "table-row":
            self._row = plain(attributes)
            self._row_times = self._repeated(self._row, "number-rows-repeated", LAST_ROW - self._rows)
            self._values, self._column = [], 0
        elif name == "table-column":
            own = plain(attributes)
            times = self._repeated(own, "number-columns-repeated", LAST_COLUMN - self._columns)
            if own.get("visibility", "visible") != "visible":
                self._hidden_columns.append((self._columns + 1, self._columns + times))
            self._columns += times
            self._column_ends.append(self._columns)
            self._column_styles.append(own.get("default-cell-style-name", ""))
        elif name == "table-source":
            self._copied = True

    def _repeated(self, own: dict[str, str], name: str, most: int) -> int:
        times = whole(own.get(name, "1"))
        if times is None or not 1 <= times <= most:
            raise broken(Place(self.grid.place.file, self._rows + 1), f"'{own.get(name)}' for {name}")
        return times

    def _begin_cell(self, own: dict[str, str]) -> None:
        self._cell, self._paragraphs = own, []
        self._times = self._repeated(own, "number-columns-repeated", LAST_COLUMN - self._column)

    def _start_in_cell(self, path: Sequence[str], own: dict[str, str]) -> None:
        name = path[-1]
        if self._aside or name in _NOT_OF_THE_CELL:
            self._aside += 1
            if name == "annotation":
                self._commented.add(self._rows + 1, self._column + 1)
        elif name == "p" and path[-2] in _CELLS:
            self._pieces = []
        elif self._pieces is not None:
            if name == "s":
                self._pieces.append(" " * min(whole(own.get("c")) or 1, _LONGEST_BLANK))
            elif name == "tab":
                self._pieces.append("\t")
            elif name == "line-break":
                self._pieces.append("\n")

    def characters(self, data: str) -> None:
        """Text: runs of blanks and line ends in the XML mean one blank, and none where a paragraph begins."""
        if self._pieces is not None and not self._aside:
            text = _BLANKS.sub(" ", data)
            self._pieces.append(text if self._pieces else text.lstrip(" "))

    def end(self, path: Sequence[str]) -> None:
        """An element ends."""
        name = path[-1]
        if self._aside:
            self._aside -= 1
        elif name == "p" and self._pieces is not None and path[-2] in _CELLS:
            self._paragraphs.append("".join(self._pieces))
            self._pieces = None
        elif name in _CELLS and self._cell is not None:
            self._end_cell(self._cell)
            self._cell = None
        elif name == "table-row":
            self._end_row()

    def _end_row(self) -> None:
        first = self._rows + 1
        filled = self.grid.add(first, self._values, self._row_times)
        visibility = self._row.get("visibility", "visible")
        if filled and visibility != "visible":
            self._hidden_rows.extend(range(first, first + self._row_times))
            self._filtered = self._filtered or visibility == "filter"
        self._rows += self._row_times

    def _end_cell(self, own: dict[str, str]) -> None:
        row, column = self._rows + 1, self._column + 1
        self._column += self._times
        count = self._times * self._row_times
        style = own.get("style-name") or self._row.get("default-cell-style-name") or self._column_style(column)
        try:
            value = self._value(own, style)
        except (ValueError, LookupError, OverflowError):
            place = Place(self.grid.place.file, row, letters(column))
            raise broken(place, f"a cell that is no {own.get('value-type')}") from None
        rows, columns = (whole(own.get(f"number-{what}-spanned")) or 1 for what in ("rows", "columns"))
        if rows > 1 or columns > 1:
            self.grid.count(row)
            self._merged.append(Span(row, column, row + rows - 1, column + columns - 1))
        if "formula" in own and value is None and own.get("value-type") is None:
            for at in range(column, column + self._times):
                self._uncached.add(row, at, self._row_times)
        if value is None:
            return
        self._values.extend([None] * (column - 1 - len(self._values)))
        self._values.extend([value] * self._times)
        if self._styles.struck(style):
            self._struck.add(row, column, count)
        if own.get("value-type") == "percentage":
            self._percent.add(row, column, count)

    def _column_style(self, column: int) -> str:
        at = bisect_left(self._column_ends, column)
        return self._column_styles[at] if at < len(self._column_styles) else ""

    def _value(self, own: dict[str, str], style: str) -> Value:
        """What the cell holds. Raises ValueError, LookupError or OverflowError where it holds no such thing."""
        kind = own.get("value-type")
        text = "\n".join(self._paragraphs)
        if kind == "error":
            return CellError(text)
        if kind in ("float", "currency", "percentage"):
            return number(own["value"])
        if kind == "date":
            return _moment(own["date-value"], self._styles.hours(style))
        if kind == "time":
            return _clock(own["time-value"])
        if kind == "boolean":
            return {"true": True, "false": False}[own["boolean-value"]]
        return own.get("string-value", text) or None


def _moment(text: str, hours: bool) -> date | datetime:
    """A date, or with a time where there is one or the style shows it; true to the millisecond."""
    if "T" not in text:
        day = date.fromisoformat(text)
        return datetime.combine(day, time()) if hours else day
    fraction = _FRACTION.search(text)
    whole = datetime.fromisoformat(_FRACTION.sub("", text))
    return whole + timedelta(milliseconds=round(float(f"0.{fraction[1]}") * 1000)) if fraction else whole


def _clock(text: str) -> time | timedelta:
    """A time of day, or a duration where no clock shows it: the form keeps both alike."""
    match = _DURATION.fullmatch(text)
    if match is None or not any(match.groups()[1:]):
        raise ValueError(text)
    sign, days, hours, minutes, seconds = match.groups()
    whole = timedelta(days=int(days or 0), hours=int(hours or 0), minutes=int(minutes or 0))
    whole += timedelta(milliseconds=round(float((seconds or "0").replace(",", ".")) * 1000))
    if sign:
        return -whole
    return whole if whole >= timedelta(days=1) else (datetime.min + whole).time()
