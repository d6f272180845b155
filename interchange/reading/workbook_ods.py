"""Spreadsheets in OpenDocument (ISO/IEC 26300, `.ods`), read by odfdo, row by row as lxml streams them.

odfdo gives cells, styles and text. It takes `1_0` for ten and leaves out fractions of a second in durations, so what an
attribute writes as a number, a date or a duration is proved and taken here.
"""

from __future__ import annotations

import re
from datetime import date, datetime, time, timedelta
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
    locked,
    number,
    whole,
    within,
)
from interchange.reading.workbook_sheets import CellError, Span, Value, Workbook

if TYPE_CHECKING:
    from odfdo import Element

_SPACES = {
    prefix: f"urn:oasis:names:tc:opendocument:xmlns:{name}:1.0"
    for prefix, name in zip(
        ("office", "table", "text", "style", "number", "draw"),
        ("office", "table", "text", "style", "datastyle", "drawing"),
        strict=True,
    )
} | {"calcext": "urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0"}
_OFFICE, _TABLE, _TEXT = (f"{{{_SPACES[prefix]}}}" for prefix in ("office", "table", "text"))
_ASIDE_TAGS = (_OFFICE + "annotation", _TEXT + "ruby-text", f"{{{_SPACES['draw']}}}frame")
_STREAMED = (
    *(_TABLE + name for name in ("table", "table-column", "table-row", "table-source")),
    _OFFICE + "automatic-styles",
)
_CELLS = ("table:table-cell", "table:covered-table-cell")
_ASIDE = "descendant::office:annotation|descendant::text:ruby-text|descendant::draw:frame"  # not the cell's own text
_LONGEST_BLANK = 10_000  # blanks that one element may stand for
_BLANKS = re.compile(r"[ \t\r\n]+")
_DURATION = re.compile(r"(-?)P(?:(\d+)D)?(?:T(?:(\d+)H)?(?:(\d+)M)?(?:(\d+(?:[.,]\d+)?)S)?)?", re.ASCII)


def read(package: Package) -> Workbook:
    """The sheets of a workbook. Raises WorkbookFault, ImportError without odfdo, and whatever lxml and odfdo raise."""
    from lxml import etree
    from odfdo import Element

    for member in ("META-INF/manifest.xml", "styles.xml", "content.xml"):
        if member in package.names or member == "content.xml":
            package.look_through(member, _Look(package.file))
    for prefix, space in package.namespaces:
        if space != _SPACES.get(prefix or "", space):
            raise broken(Place(package.file), f"'{space}' for {prefix}")
    styles, sheets = _Styles(), list[_Sheet]()
    if "styles.xml" in package.names:
        styles.add(Element.from_tag(etree.fromstring(package.zip.read("styles.xml"))))
    depth, sheet = 0, None
    with package.zip.open("content.xml") as stream:
        safely = {"resolve_entities": False, "remove_comments": True, "remove_pis": True}
        for event, element in etree.iterparse(stream, ("start", "end"), tag=_STREAMED, **safely):
            if element.tag == _TABLE + "table":
                depth += 1 if event == "start" else -1
                if event == "start" and depth == 1 and element.getparent().tag == _OFFICE + "spreadsheet":
                    sheets.append(sheet := _Sheet(package, Element.from_tag(element), styles))
                    within(len(sheets), package.limits.sheets, "sheets", Place(package.file))
                elif depth == 0:
                    sheet = None
            elif event == "end" and element.tag == _OFFICE + "automatic-styles":
                styles.add(Element.from_tag(element))
            elif event == "end" and sheet is not None and depth == 1:
                sheet.add(element)
    # without what another file held, kept beside a link to it
    return Workbook(tuple(one.grid.sheet() for one in sheets if not one.copied))


def _tidy(row: Any) -> bool:
    """Make one blank of blanks and line ends in the XML; whether there is text that is not its cell's."""
    for node in row.iter():
        if node.text:
            node.text = _BLANKS.sub(" ", node.text)
        if node.tail:
            node.tail = _BLANKS.sub(" ", node.tail)
    for paragraph in row.iter(_TEXT + "p"):
        if paragraph.text:
            paragraph.text = paragraph.text.lstrip(" ")
    return any(True for _ in row.iter(*_ASIDE_TAGS))


class _Look(Look):
    """Looks for what encrypts the package, and for blanks without end."""

    def __init__(self, file: str) -> None:
        super().__init__()
        self._file = file

    def start(self, name: str, attributes: dict[str, str]) -> None:
        if name == "encryption-data":
            raise locked(self._file)
        if name == "s" and (whole(attributes.get(_TEXT[1:] + "c", "1")) or _LONGEST_BLANK + 1) > _LONGEST_BLANK:
            raise broken(Place(self._file), f"'{attributes[_TEXT[1:] + 'c']}' blanks within a text")


class _Styles:
    """What the styles of cells and sheets say."""

    def __init__(self) -> None:
        self._named: dict[tuple[str, str], Element] = {}
        self._with_hours: set[str] = set()
        self.struck, self.hours = cache(self._struck), cache(self._hours)

    def add(self, part: Element) -> None:
        """Take the styles of a part of the document."""
        for style in part.get_elements("descendant::style:style"):
            own = style.get_attribute_string
            if name := own("style:name"):
                self._named[own("style:family") or "", name] = style
        for style in part.get_elements("descendant::number:date-style[number:hours]"):
            self._with_hours.add(style.get_attribute_string("style:name") or "")

    def _first(self, name: str, path: str, attribute: str) -> str:
        """What a cell style, or the nearest of those it inherits from, says; nothing where none does."""
        seen = set()
        while name not in seen and (style := self._named.get(("table-cell", name))) is not None:
            seen.add(name)
            for element in style.get_elements(path):
                if found := element.get_attribute_string(attribute):
                    return found
            name = style.get_attribute_string("style:parent-style-name") or ""
        return ""

    def _struck(self, style: str) -> bool:
        return self._first(style, "style:text-properties", "style:text-line-through-style") not in ("", "none")

    def _hours(self, style: str) -> bool:
        return self._first(style, "self::*", "style:data-style-name") in self._with_hours

    def hides(self, table: str) -> bool:
        """Whether a style hides its sheet."""
        style = self._named.get(("table", table))
        found = style.get_elements("style:table-properties") if style is not None else []
        return any(one.get_attribute_string("table:display") == "false" for one in found)


class _Sheet:
    """One sheet while it is read."""

    def __init__(self, package: Package, table: Element, styles: _Styles) -> None:
        own = table.get_attribute_string
        self.grid = Grid(package, own("table:name") or "", styles.hides(own("table:style-name") or ""))
        self.copied = False
        self._package, self._styles = package, styles
        self._rows = 0
        self._columns: list[str] = []  # styles

    def _repeated(self, element: Element, what: str, most: int) -> int:
        text = element.get_attribute_string(f"table:number-{what}-repeated")
        times = 1 if text is None else whole(text)
        if times is None or not 1 <= times <= most:
            raise broken(self.grid.at(self._rows + 1), f"'{text}' for number-{what}-repeated")
        return times

    def add(self, element: Any) -> None:
        """A part of the sheet that is read to its end. Rows are let go then."""
        from odfdo import Element

        if element.tag == _TABLE + "table-row":
            asides = _tidy(element)
            self._add_row(Element.from_tag(element), asides)
            element.clear()
            while element.getprevious() is not None:
                del element.getparent()[0]
        elif element.tag == _TABLE + "table-column":
            self._add_column(Element.from_tag(element))
        else:
            self.copied = True

    def _add_column(self, column: Element) -> None:
        own, first = column.get_attribute_string, len(self._columns) + 1
        times = self._repeated(column, "columns", LAST_COLUMN + 1 - first)
        self._columns += [own("table:default-cell-style-name") or ""] * times
        if own("table:visibility") not in (None, "visible"):
            self.grid.hidden_columns.append((first, first + times - 1))

    def _add_row(self, line: Element, asides: bool) -> None:
        own, values, row, column = line.get_attribute_string, list[Value](), self._rows + 1, 1
        self._package.place = self.grid.at(row)
        times = self._repeated(line, "rows", LAST_ROW - self._rows)
        row_style = own("table:default-cell-style-name")
        for cell in line.children:
            if cell.tag not in _CELLS:
                continue
            for aside in cell.get_elements(_ASIDE) if asides else ():
                if aside.tag == "office:annotation":
                    self.grid.mark("comment", row, column)
                aside.delete()
            wide = self._repeated(cell, "columns", LAST_COLUMN + 1 - column)
            column_style = self._columns[column - 1] if column <= len(self._columns) else ""
            style = cell.get_attribute_string("table:style-name") or row_style or column_style
            self._add_cell(cell, style, values, (row, column, times, wide))
            column += wide
        visibility = own("table:visibility")
        hidden = visibility not in (None, "visible")
        if self.grid.add(row, values, times, hidden=hidden) and visibility == "filter":
            self.grid.filtered = True
        self._rows += times

    def _add_cell(self, cell: Element, style: str, values: list[Value], area: tuple[int, int, int, int]) -> None:
        (row, column, times, wide), own = area, cell.get_attribute_string
        kind = own("office:value-type")
        # the standard has no type for errors; the extension in use writes one beside the type of the standard
        try:
            value = _value(cell, "error" if own("calcext:value-type") == "error" else kind)
        except (ValueError, LookupError, OverflowError):
            raise broken(self.grid.at(row, column), f"a cell that is no {kind}") from None
        rows, columns = whole(own("table:number-rows-spanned")) or 1, whole(own("table:number-columns-spanned")) or 1
        if rows > 1 or columns > 1:
            self.grid.merge(Span(row, column, row + rows - 1, column + columns - 1))
        if value is None:
            if own("table:formula") is not None and kind is None:
                for at in range(column, column + wide):
                    self.grid.mark("formula-uncached", row, at, times)
            return
        if type(value) is date and self._styles.hours(style):
            value = datetime.combine(value, time())
        values += [None] * (column - 1 - len(values)) + [value] * wide
        if self._styles.struck(style):
            self.grid.mark("struck-through", row, column, times * wide)
        if kind == "percentage":
            self.grid.mark("percent", row, column, times * wide)


def _value(cell: Element, kind: str | None) -> Value:
    """What the cell holds. Raises ValueError, LookupError or OverflowError where it holds no such thing."""
    own = cell.get_attribute_string
    if kind in ("float", "currency", "percentage"):
        return number(own("office:value") or "")
    if kind == "date":
        return _moment(own("office:date-value") or "")
    if kind == "time":
        return _clock(own("office:time-value") or "")
    if kind == "boolean":
        return {"true": True, "false": False}[own("office:boolean-value") or ""]
    if kind not in ("string", "error", None):
        raise ValueError(kind)
    text = own("office:string-value") if kind != "error" else None
    if text is None:
        text = "\n".join(_text(one) for one in cell.children if one.tag == "text:p")
    return CellError(text) if kind == "error" else text or None


def _text(paragraph: Element) -> str:
    text = paragraph.inner_text
    return text if text[:1] != " " or paragraph.get_elements("descendant::text:s") else text.lstrip(" ")


def _moment(text: str) -> date | datetime:
    """A date, or with a time where there is one; true to the millisecond."""
    if "T" not in text:
        return date.fromisoformat(text)
    moment = datetime.fromisoformat(text) + timedelta(microseconds=500)
    return moment.replace(microsecond=moment.microsecond // 1000 * 1000)


def _clock(text: str) -> time | timedelta:
    """A time of day, or a duration where no clock shows it: the form keeps both alike."""
    match = _DURATION.fullmatch(text)
    if match is None or not any(match.groups()[1:]):
        raise ValueError(text)
    sign, days, hours, minutes, seconds = match.groups()
    length = timedelta(days=int(days or 0), hours=int(hours or 0), minutes=int(minutes or 0))
    length += timedelta(milliseconds=round(float((seconds or "0").replace(",", ".")) * 1000))
    if sign:
        return -length
    return length if length >= timedelta(days=1) else (datetime.min + length).time()
