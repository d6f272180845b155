"""Workbooks in Office Open XML (ISO/IEC 29500, `.xlsx` and `.xlsm`), read by openpyxl.

openpyxl gives values, dates and styles as it streams. What it takes without a word (such as `1_0` for ten), and what it
does not tell of a stream (what is hidden or merged, a formula without its result), is looked up before in the same XML.
"""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from datetime import datetime, time
from functools import cache
from typing import TYPE_CHECKING, Any

from interchange.errors import Place
from interchange.reading.workbook_parts import (
    LAST_COLUMN,
    LAST_ROW,
    Grid,
    Look,
    Package,
    broken,
    number,
    whole,
    within,
)
from interchange.reading.workbook_sheets import CellError, Span, Value, Workbook

if TYPE_CHECKING:
    from openpyxl.cell.read_only import ReadOnlyCell
    from openpyxl.packaging.relationship import Relationship
    from openpyxl.reader.excel import ExcelReader

_NAMESPACES = {  # of the strict form, by those of the transitional one that openpyxl knows
    b"http://purl.oclc.org/ooxml/spreadsheetml/main": b"http://schemas.openxmlformats.org/spreadsheetml/2006/main",
    b"http://purl.oclc.org/ooxml/officeDocument/": b"http://schemas.openxmlformats.org/officeDocument/2006/",
}
_LITERALS = re.compile(r'"[^"]*"|\\.|_.|\*.|\[(?!(?:h+|m+|s+)\])[^\]]*\]', re.IGNORECASE)
_ESCAPE = re.compile(r"_x([0-9A-Fa-f]{4})_")
_CELL = re.compile("([A-Z]{1,3})([1-9][0-9]{0,6})")
_FORMS = {  # of what cells of each kind hold
    **dict.fromkeys(("n", "str", "e"), re.compile(".*", re.DOTALL)),
    **{"s": re.compile("[0-9]{1,9}"), "b": re.compile("[01]")},
    "d": re.compile(r"[0-9]{4}(-[0-9]{2}){2}|([0-9]{4}(-[0-9]{2}){2}T)?[0-9]{2}(:[0-9]{2}){1,2}(\.[0-9]+)?"),
}
_KINDS = {"n": "number", "s": "shared text", "b": "truth value", "d": "date or time"}


def read(package: Package) -> Workbook:
    """The sheets of a workbook. Raises WorkbookFault, ImportError without openpyxl, and whatever openpyxl raises."""
    from openpyxl.styles.stylesheet import apply_stylesheet

    reader, main, pending = _open(package)
    related = {one.Id: one for one in _related(package, reader, main)}
    sheets = []
    for entry in reader.parser.sheets:
        grid = Grid(package, entry.name, entry.state != "visible")
        if entry.id not in related:
            raise broken(grid.place, "a sheet whose cells are nowhere in the workbook")
        if _is(related[entry.id], "worksheet"):
            sheets.append((entry, grid, related[entry.id].target))
    within(len(sheets), package.limits.sheets, "sheets", Place(package.file), f"{len(sheets):,} sheets")
    escaped = _strings_and_styles(package, reader, list(related.values()))
    looks = [_Look(grid, len(reader.shared_strings), pending) for _, grid, _ in sheets]
    for look, (_, grid, target) in zip(looks, sheets, strict=True):
        package.look_through(target, look, grid.place)
        for one in _related(package, reader, target):
            if _is(one, "comments", "table"):
                package.look_through(one.target, look, grid.place)
    apply_stylesheet(reader.archive, reader.wb)
    reader.parser.sheets = [entry for entry, _, _ in sheets]  # it would open charts too
    reader.read_worksheets()
    for look, worksheet in zip(looks, reader.wb.worksheets, strict=True):
        _fill(package, look, worksheet, escaped)
    return Workbook(tuple(grid.sheet() for _, grid, _ in sheets))


def _open(package: Package) -> tuple[ExcelReader, str, bool]:
    """The package as openpyxl opens it, the name of its main part, and whether it calls its formulas out of date."""
    from openpyxl.reader.excel import ExcelReader
    from openpyxl.xml.constants import ARC_CONTENT_TYPES, ARC_WORKBOOK, XLSM, XLSX, XLTM, XLTX

    def opened(data: io.BytesIO) -> ExcelReader:
        reader = ExcelReader(data, read_only=True, data_only=True, keep_links=False)
        reader.read_manifest()
        return reader

    package.look_through(ARC_CONTENT_TYPES)
    reader = opened(io.BytesIO(package.data))
    parts = [part for part in map(reader.package.find, (XLTM, XLTX, XLSM, XLSX)) if part]
    main = parts[0].PartName.lstrip("/") if parts else ARC_WORKBOOK
    package.look_through(main, look := _Book())
    if any(space.startswith("http://purl.oclc.org/ooxml/") for _, space in package.namespaces):
        reader = opened(_transitional(package))
    reader.read_workbook()
    return reader, main, look.pending


def _transitional(package: Package) -> io.BytesIO:
    """The package with the namespaces of the transitional form in place of the strict one's."""
    data = io.BytesIO()
    with zipfile.ZipFile(data, "w", zipfile.ZIP_DEFLATED, compresslevel=1) as copy:
        for name in (name for name in package.names if name.endswith((".xml", ".rels"))):
            content = package.zip.read(name)
            for strict, transitional in _NAMESPACES.items():
                content = content.replace(b'"' + strict, b'"' + transitional)
            copy.writestr(name, content)
    return data


def _related(package: Package, reader: ExcelReader, member: str) -> list[Relationship]:
    """What of the package a member relates to. What lies outside is never opened."""
    from openpyxl.packaging.relationship import get_dependents, get_rels_path

    path = get_rels_path(member)
    if path not in package.names:
        return []
    package.look_through(path, place=package.place)
    with warnings.catch_warnings(action="error"):  # else what is no relation would count as none
        return [one for one in get_dependents(reader.archive, path) if one.TargetMode != "External"]


def _is(one: Relationship, *kinds: str) -> bool:
    return one.Type.rpartition("/")[2] in kinds


def _strings_and_styles(package: Package, reader: ExcelReader, related: list[Relationship]) -> bool:
    """Read the texts that cells share; whether characters that are written by their number can be told from others."""
    from openpyxl.reader.strings import read_string_table
    from openpyxl.xml.constants import ARC_STYLE

    escaped = True
    for one in related:
        if _is(one, "sharedStrings"):
            package.look_through(one.target)
            with reader.archive.open(one.target) as stream:
                reader.shared_strings = read_string_table(stream)
            # this mark says that what follows is no such number; openpyxl drops it
            escaped = b"_x005F_" not in package.zip.read(one.target)
        elif _is(one, "styles") and one.target != ARC_STYLE:  # openpyxl reads none elsewhere, and tells nobody
            raise broken(Place(package.file), f"styles in {one.target}")
    if ARC_STYLE in package.names:
        package.look_through(ARC_STYLE)
    return escaped


class _Book(Look):
    """Whether results of formulas are out of date; where nothing is said, openpyxl says yes."""

    pending = False

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "calcPr":
            self.pending = _true(attributes.get("fullCalcOnLoad"))


class _Look(Look):
    """Looks through a sheet, its comments and its tables."""

    def __init__(self, grid: Grid, strings: int, pending: bool) -> None:
        from openpyxl.utils.cell import column_index_from_string, range_boundaries

        super().__init__()
        self.grid, self.filled = grid, 0
        self.hidden_rows: set[int] = set()
        self._strings, self._pending = strings, pending
        self._column_of, self._range = column_index_from_string, range_boundaries
        self._row, self._column, self._kind, self._formula = 0, 0, "n", False
        self._content: str | None = None

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "c":
            self._begin_cell(attributes)
        elif name == "v":
            if self._content is not None or self.path[-2:-1] != ["c"]:  # openpyxl takes the first
                raise broken(self.grid.at(self._row, self._column), "a further value within a cell")
            self.text = []
        elif name == "f":
            self._formula = True
        elif name == "is" and self._kind == "inlineStr":
            self.filled += 1
        elif name == "row" and self.path[-2:-1] == ["sheetData"]:
            row = whole(attributes.get("r", str(self._row + 1)))
            if row is None or not self._row < row <= LAST_ROW:
                raise broken(self.grid.place, f"row '{attributes.get('r')}' after row {self._row:,}")
            self._row, self._column = row, 0
            if _true(attributes.get("hidden")) or _zero(attributes.get("ht")):
                self.hidden_rows.add(row)
        else:
            self._aside(name, attributes)

    def _aside(self, name: str, attributes: dict[str, str]) -> None:
        if name == "col" and (_true(attributes.get("hidden")) or _zero(attributes.get("width"))):
            low, high = whole(attributes.get("min")), whole(attributes.get("max"))
            if low is not None and high is not None and len(self.grid.hidden_columns) < LAST_COLUMN:
                self.grid.hidden_columns.append((low, high))
        elif name == "mergeCell":
            left, top, right, bottom = self._boundaries("merged cells", attributes)
            self.grid.merge(Span(top, left, bottom, right))
        elif name == "comment":
            column, row, _, _ = self._boundaries("a comment on", attributes)
            self.grid.mark("comment", row, column)
        elif (name == "sheetPr" and _true(attributes.get("filterMode"))) or (
            len(self.path) == 4 and self.path[1:3] == ["autoFilter", "filterColumn"]  # which may be a bare button
        ):
            self.grid.filtered = True

    def _boundaries(self, what: str, attributes: dict[str, str]) -> tuple[int, int, int, int]:
        reference = attributes.get("ref", "")
        try:
            left, top, right, bottom = map(int, self._range(reference))
        except (ValueError, TypeError):  # the latter for whole rows and columns
            raise broken(self.grid.place, f"{what} '{reference}'") from None
        return left, top, right, bottom

    def _begin_cell(self, attributes: dict[str, str]) -> None:
        reference, column = attributes.get("r"), self._column + 1
        if reference is not None:
            match = _CELL.fullmatch(reference)
            column = self._column_of(match[1]) if match is not None and int(match[2]) == self._row else 0
        if not self._column < column <= LAST_COLUMN or self.path[-2:-1] != ["row"]:
            raise broken(self.grid.at(self._row, self._column), f"cell '{reference}' as the next one of this row")
        self._column, self._kind = column, attributes.get("t", "n")
        self._formula, self._content = False, None
        if whole(attributes.get("s", "0")) is None:
            raise broken(self.grid.at(self._row, column), f"'{attributes['s']}', which is no style")

    def end(self, name: str) -> None:
        if name == "v":
            self._content, self.text = "".join(self.text or ()), None
        elif name == "c":
            if self._formula and not self._content and self._kind != "str":
                self.grid.mark("formula-uncached", self._row, self._column)
            elif self._formula and self._pending:
                self.grid.mark("formula-pending", self._row, self._column)
            if self._content and self._kind != "inlineStr":
                self.filled += 1
                try:
                    self._prove(self._kind, self._content)
                except (ValueError, LookupError):
                    found = f"'{self._content}', which is no {_KINDS.get(self._kind, 'cell')}"
                    raise broken(self.grid.at(self._row, self._column), found) from None

    def _prove(self, kind: str, text: str) -> None:
        """Raises ValueError or LookupError where a text is not what its cell says it is."""
        if _FORMS[kind].fullmatch(text) is None or (kind == "s" and int(text) >= self._strings):
            raise ValueError(text)
        if kind == "n":
            number(text)
        if kind == "d":
            datetime.fromisoformat(text if "-" in text else f"2000-01-01T{text}")


def _fill(package: Package, look: _Look, worksheet: Any, escaped: bool) -> None:
    """Read the values of a sheet that was looked through."""
    from openpyxl.utils.datetime import CALENDAR_MAC_1904

    # until then the 1900 system counts a day that was not, and openpyxl gives it the date of the one before
    first_day = datetime(1904, 1, 1) if worksheet.parent.epoch == CALENDAR_MAC_1904 else datetime(1900, 3, 1)
    grid, filled = look.grid, 0
    worksheet.reset_dimensions()
    for row, cells in enumerate(worksheet.iter_rows(), 1):
        package.place = grid.at(row)
        values: list[Value] = []
        for column, cell in enumerate(cells, 1):
            if cell.value is None:
                values.append(None)
                continue
            percent, day_alone = _shown_as(cell.number_format)
            values.append(_value(cell, day_alone, first_day, escaped))
            filled += 1
            if cell.font.strike and values[-1] is not None:
                grid.mark("struck-through", row, column)
            if percent and isinstance(values[-1], float):
                grid.mark("percent", row, column)
        grid.add(row, values, hidden=row in look.hidden_rows)
    if filled != look.filled:  # should openpyxl pass over cells
        raise broken(grid.place, f"{look.filled:,} cells, of which {filled:,} can be read")


@cache
def _shown_as(number_format: str) -> tuple[bool, bool]:
    """Whether a number format, as its first section says, shows percent; whether a day without its time."""
    section = _LITERALS.sub("", number_format).partition(";")[0].lower()
    clock = re.search(r"[hs]|am/pm|a/p", section) is not None
    return "%" in section, re.search("[dmy]", section) is not None and not clock


def _value(cell: ReadOnlyCell, day_alone: bool, first_day: datetime, escaped: bool) -> Value:
    value, kind = cell.value, cell.data_type
    if isinstance(value, str):
        text = _unescaped(value) if escaped else value
        return CellError(value) if kind == "e" else text or None
    if kind == "n":
        return float(value)
    if isinstance(value, datetime):
        if value < first_day:
            return CellError("#VALUE!")  # as openpyxl has it for days after the calendar's end
        return value.date() if day_alone and value.time() == time() else value
    return value  # type: ignore[no-any-return]


def _true(text: str | None) -> bool:
    return text in ("1", "true", "on")


def _zero(text: str | None) -> bool:
    """Whether a height or a width leaves nothing to see."""
    return text is not None and re.fullmatch(r"0+(\.0*)?", text) is not None


def _unescaped(text: str) -> str:
    """Texts write characters that XML may not hold by number; those that no text holds either stay written so."""

    def character(match: re.Match[str]) -> str:
        found = chr(int(match[1], 16))
        return found if found.isprintable() or found in "\t\n\r" else match[0]

    return _ESCAPE.sub(character, text) if "_x" in text else text
