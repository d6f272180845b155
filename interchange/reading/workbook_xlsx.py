"""Reads workbooks in Office Open XML (ISO/IEC 29500, `.xlsx` and `.xlsm`), in its transitional and its strict form."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from datetime import date, datetime, time
from posixpath import join, normpath

from interchange.errors import Place
from interchange.reading.workbook_forms import BUILT_IN, Form, form_of, from_serial
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
    number,
    plain,
    too_much,
    whole,
)
from interchange.reading.workbook_sheets import CellError, Sheet, Span, Value, Workbook, letters, sheet_file

_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")
_REFERENCE = re.compile(r"\$?([A-Z]{1,3})\$?([1-9][0-9]{0,6})")


def read(package: Package, limits: Limits) -> Workbook:
    """The sheets of a workbook. Raises WorkbookFault."""
    budget = Budget(limits)
    tops = _relations(package, "")
    main = next((target for kind, target in tops.values() if kind == "officeDocument"), "xl/workbook.xml")
    book = _Book()
    package.parse(main, book)
    if len(book.sheets) > limits.sheets:
        found, expected = f"{len(book.sheets):,} sheets", f"at most {limits.sheets:,} sheets"
        raise too_much(Place(package.file), found, expected)
    relations = _relations(package, main)
    strings, styles = _Strings(), _Styles()
    for kind, target in relations.values():
        if kind == "sharedStrings":
            package.parse(target, strings)
        elif kind == "styles":
            package.parse(target, styles)
    sheets = []
    for name, hidden, key in book.sheets:
        kind, target = relations.get(key, ("", ""))
        if kind == "worksheet":
            sheets.append(
                _sheet(package, target, _SheetPart(package.file, name, book, strings, styles, budget), hidden)
            )
        elif not kind:
            raise broken(Place(sheet_file(package.file, name)), "a sheet whose cells are nowhere in the workbook")
    return Workbook(tuple(sheets))


def _sheet(package: Package, member: str, part: _SheetPart, hidden: bool) -> Sheet:
    package.parse(member, part, part.grid.place)
    part.grid.close()
    comments, filters = _Comments(), part.filters
    for kind, target in _relations(package, member).values():
        if kind == "comments":
            package.parse(target, comments, part.grid.place)
        elif kind == "table":
            table = _Filters()
            package.parse(target, table, part.grid.place)
            filters = filters or table.active
    return Sheet(
        part.grid.name,
        hidden,
        tuple(part.grid.rows),
        tuple(part.merged),
        tuple(part.hidden_rows),
        part.grid.hidden_columns(part.hidden_columns),
        filters,
        part.uncached.spots,
        part.pending.spots,
        comments.found.spot,
        part.struck.spot,
        part.percent.spot,
    )


def _relations(package: Package, member: str) -> dict[str, tuple[str, str]]:
    """Kind and member of all that a member relates to, by the relation's key.

    A target outside of the package is the name of no member, and nothing else is ever opened.
    """
    folder, _, name = member.rpartition("/")
    path = join(folder, "_rels", f"{name}.rels")
    part = _Relations(folder)
    if path in package.names:
        package.parse(path, part)
    return part.found


class _Relations(Part):
    def __init__(self, folder: str) -> None:
        super().__init__()
        self.found: dict[str, tuple[str, str]] = {}
        self._folder = folder

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "Relationship":
            kind = attributes.get("Type", "").rpartition("/")[2]
            target = normpath(join("/", self._folder, attributes.get("Target", ""))).lstrip("/")
            self.found[attributes.get("Id", "")] = (kind, target)


class _Book(Part):
    """Names, visibility and relations of the sheets; which calendar; whether results of formulas are out of date."""

    def __init__(self) -> None:
        super().__init__()
        self.sheets: list[tuple[str, bool, str]] = []
        self.from_1904 = False
        self.pending = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "sheet":
            own = plain(attributes)
            self.sheets.append((own.get("name", ""), own.get("state", "visible") != "visible", own.get("id", "")))
        elif name == "workbookPr":
            self.from_1904 = _true(attributes.get("date1904"))
        elif name == "calcPr":
            self.pending = _true(attributes.get("fullCalcOnLoad"))


class _Texts(Part):
    """Collects the text of an item: of its runs, but not of the marks that say how it is pronounced."""

    item = "si"

    def __init__(self) -> None:
        super().__init__()
        self.runs: list[str] = []

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == self.item:
            self.runs = []
        elif name == "t" and "rPh" not in self.path:
            self.text = []

    def end(self, name: str) -> None:
        if name == "t" and self.text is not None:
            self.runs.append(self.taken())

    def whole(self) -> str:
        """The text of the item."""
        return _unescaped("".join(self.runs))


class _Strings(_Texts):
    """The texts that cells share."""

    def __init__(self) -> None:
        super().__init__()
        self.found: list[str] = []

    def end(self, name: str) -> None:
        super().end(name)
        if name == "si":
            self.found.append(self.whole())

    def at(self, text: str) -> str:
        """The text of an index. Raises LookupError where there is none."""
        index = whole(text)
        if index is None:
            raise LookupError(text)
        return self.found[index]


class _Styles(Part):
    """Form and strike-through of each cell style."""

    def __init__(self) -> None:
        super().__init__()
        self._formats: dict[int | None, Form] = {}
        self._struck_fonts: list[bool] = []
        self.styles: list[tuple[Form, bool]] = []

    def start(self, name: str, attributes: dict[str, str]) -> None:
        parent = self.path[-2] if len(self.path) > 1 else ""
        if name == "numFmt" and parent == "numFmts":
            self._formats[whole(attributes.get("numFmtId"))] = form_of(attributes.get("formatCode", ""))
        elif name == "font" and parent == "fonts":
            self._struck_fonts.append(False)
        elif name == "strike" and parent == "font" and self._struck_fonts and "fonts" in self.path:
            self._struck_fonts[-1] = _true(attributes.get("val", "1"))
        elif name == "xf" and parent == "cellXfs":
            key, font = whole(attributes.get("numFmtId", "0")), whole(attributes.get("fontId", "0"))
            form = self._formats.get(key) or BUILT_IN.get(key or 0, "number")
            self.styles.append((form, font is not None and self._struck_fonts[font : font + 1] == [True]))


class _Filters(Part):
    """Whether a table is filtered."""

    def __init__(self) -> None:
        super().__init__()
        self.active = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        self.active = self.active or _filters(self.path)


def _filters(path: Sequence[str]) -> bool:
    """Whether an element is what a column of a sheet or a table is filtered by; a column may have a bare button."""
    return len(path) == 4 and path[1:3] == ["autoFilter", "filterColumn"]


class _Comments(Part):
    """Cells with comments."""

    def __init__(self) -> None:
        super().__init__()
        self.found = Tally()

    def start(self, name: str, attributes: dict[str, str]) -> None:
        match = _REFERENCE.match(attributes.get("ref", "")) if name == "comment" else None
        if match is not None:
            self.found.add(int(match[2]), _column(match[1]))


class _SheetPart(_Texts):
    """The cells of one sheet."""

    item = "c"

    def __init__(self, file: str, name: str, book: _Book, strings: _Strings, styles: _Styles, budget: Budget) -> None:
        super().__init__()
        self.grid = Grid(file, name, budget)
        self._book, self._styles = book, styles.styles
        self._readers: dict[str, Callable[[str], Value]] = {
            "n": number,
            "s": strings.at,
            "str": _unescaped,
            "b": lambda text: _TRUTHS[text],
            "e": CellError,
            "d": _from_iso,
        }
        self.merged: list[Span] = []
        self.hidden_rows: list[int] = []
        self.hidden_columns: list[tuple[int, int]] = []
        self.filters = False
        self.uncached, self.pending = Tallies(), Tallies()
        self.struck, self.percent = Tally(), Tally()
        self._row, self._column = 0, 0
        self._row_hidden = False
        self._values: list[Value] = []
        self._cell: dict[str, str] = {}
        self._formula = False
        self._content: str | None = None

    def start(self, name: str, attributes: dict[str, str]) -> None:
        super().start(name, attributes)
        if name == "c":
            self._begin_cell(attributes)
        elif name == "v":
            self.text = []
        elif name == "f":
            self._formula = True
        elif name == "row":
            self._begin_row(attributes)
        elif name == "col":
            if _true(attributes.get("hidden")) or _zero(attributes.get("width")):
                low, high = whole(attributes.get("min")), whole(attributes.get("max"))
                if low is not None and high is not None and len(self.hidden_columns) < LAST_COLUMN:
                    self.hidden_columns.append((low, high))
        elif name == "mergeCell":
            self._merge(attributes.get("ref", ""))
        elif (name == "sheetPr" and _true(attributes.get("filterMode"))) or _filters(self.path):
            self.filters = True

    def end(self, name: str) -> None:
        super().end(name)
        if name == "v":
            self._content = self.taken()
        elif name == "c":
            self._end_cell()
        elif name == "row" and self.grid.add(self._row, self._values) and self._row_hidden:
            self.hidden_rows.append(self._row)

    def _begin_row(self, attributes: dict[str, str]) -> None:
        row = whole(attributes.get("r", str(self._row + 1)))
        if row is None or not self._row < row <= LAST_ROW:
            raise broken(self.grid.place, f"row '{attributes.get('r')}' after row {self._row:,}")
        self._row, self._column, self._values = row, 0, []
        self._row_hidden = _true(attributes.get("hidden")) or _zero(attributes.get("ht"))

    def _begin_cell(self, attributes: dict[str, str]) -> None:
        self._cell, self._formula, self._content = attributes, False, None
        reference = attributes.get("r")
        column = self._column + 1
        if reference is not None:
            match = _REFERENCE.fullmatch(reference)
            column = _column(match[1]) if match is not None and int(match[2]) == self._row else 0
        if not self._column < column <= LAST_COLUMN:
            raise broken(self._place(), f"cell '{reference}' as the next one of this row")
        self._column = column

    def _place(self) -> Place:
        return Place(self.grid.place.file, self._row, letters(self._column) or None)

    def _end_cell(self) -> None:
        kind, style = self._cell.get("t", "n"), whole(self._cell.get("s", "0"))
        form, struck = self._styles[style] if style is not None and style < len(self._styles) else _PLAIN
        try:
            value = self._value(kind, form)
        except (ValueError, LookupError):
            raise broken(self._place(), f"'{self._content}', which is no {_KINDS.get(kind, 'cell')}") from None
        if self._formula and not self._content and kind != "str":
            self.uncached.add(self._row, self._column)
        elif self._formula and self._book.pending:
            self.pending.add(self._row, self._column)
        if value is None:
            return
        self._values.extend([None] * (self._column - 1 - len(self._values)))
        self._values.append(value)
        if struck:
            self.struck.add(self._row, self._column)
        if form == "percent" and isinstance(value, float):
            self.percent.add(self._row, self._column)

    def _value(self, kind: str, form: Form) -> Value:
        """What the cell holds. Raises ValueError or LookupError where it holds no such thing."""
        if kind == "inlineStr":
            return self.whole() or None
        if not self._content:
            return None
        value = self._readers[kind](self._content)
        if kind == "n" and isinstance(value, float) and form not in ("number", "percent"):
            return from_serial(value, form, self._book.from_1904)
        return value or None if isinstance(value, str) else value

    def _merge(self, reference: str) -> None:
        first, _, last = reference.partition(":")
        ends = [_REFERENCE.fullmatch(one) for one in (first, last or first)]
        if ends[0] is None or ends[1] is None:
            raise broken(self.grid.place, f"merged cells '{reference}'")
        (top, left), (bottom, right) = ((int(end[2]), _column(end[1])) for end in ends if end is not None)
        self.grid.count(top)
        self.merged.append(Span(top, left, bottom, right))


_PLAIN: tuple[Form, bool] = ("number", False)
_TRUTHS = {"1": True, "true": True, "0": False, "false": False}
_KINDS = {"n": "number", "s": "shared text", "b": "truth value", "d": "date or time"}


def _true(text: str | None) -> bool:
    return text in ("1", "true", "on")


def _zero(text: str | None) -> bool:
    """Whether a height or a width leaves nothing to see."""
    return text is not None and re.fullmatch(r"0+(\.0*)?", text) is not None


def _column(text: str) -> int:
    column = 0
    for letter in text:
        column = column * 26 + ord(letter) - ord("A") + 1
    return column


def _unescaped(text: str) -> str:
    """Texts write characters that XML may not hold by number; those that no text holds either stay written so."""
    if "_x" not in text:
        return text

    def character(match: re.Match[str]) -> str:
        found = chr(int(match[1], 16))
        return found if found.isprintable() or found in "\t\n\r" else match[0]

    return _ESCAPE.sub(character, text)


def _from_iso(text: str) -> date | datetime | time:
    if "T" in text:
        return datetime.fromisoformat(text)
    return time.fromisoformat(text) if ":" in text else date.fromisoformat(text)
