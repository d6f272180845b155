"""Workbooks made for these tests, by libraries and, where these cannot, by hand. Invented values."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Callable

import openpyxl
from openpyxl.worksheet.worksheet import Worksheet

from interchange.errors import Problem
from interchange.reading.workbook_parts import Limits
from interchange.reading.workbook_sheets import Sheet, problems
from interchange.reading.workbooks import DEFAULT, open_workbook

FILE = "tests.xlsx"
FIRST_SHEET = "xl/worksheets/sheet1.xml"


def zipped(members: dict[str, str | bytes], compression: int = zipfile.ZIP_DEFLATED) -> bytes:
    """A zip archive of these members, in this order."""
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", compression) as archive:
        for name, content in members.items():
            archive.writestr(name, content)
    return out.getvalue()


def members(data: bytes) -> dict[str, str | bytes]:
    """The members of a zip archive."""
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        return {name: archive.read(name) for name in archive.namelist()}


def xlsx(build: Callable[[Worksheet], object]) -> bytes:
    """A workbook with one sheet named Log, as openpyxl writes it."""
    book = openpyxl.Workbook()
    sheet = book.active
    assert isinstance(sheet, Worksheet)
    sheet.title = "Log"
    build(sheet)
    return saved(book)


def saved(book: openpyxl.Workbook) -> bytes:
    """The bytes of a workbook."""
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def edited(data: bytes, old: str, new: str, member: str = FIRST_SHEET) -> bytes:
    """The archive with one place of a member changed."""
    parts = members(data)
    content = parts[member]
    text = content.decode() if isinstance(content, bytes) else content
    assert text.count(old) == 1, text
    return zipped({**parts, member: text.replace(old, new)})


def raw(rows: str, after: str = "") -> bytes:
    """A workbook whose only sheet, Log, has these rows as they are written in its XML, and what comes after them."""
    book = openpyxl.Workbook()
    book.worksheets[0].title = "Log"
    book.calculation.fullCalcOnLoad = False
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    content = f'<worksheet xmlns="{main}"><sheetData>{rows}</sheetData>{after}</worksheet>'
    return zipped({**members(saved(book)), FIRST_SHEET: content})


NAMES = " ".join(
    f'xmlns:{short}="urn:oasis:names:tc:opendocument:xmlns:{long}:1.0"'
    for short, long in (
        *(("office", "office"), ("table", "table"), ("text", "text"), ("style", "style")),
        *(("number", "datastyle"), ("manifest", "manifest")),
    )
)
CALCEXT = 'xmlns:calcext="urn:org:documentfoundation:names:experimental:calc:xmlns:calcext:1.0"'
ODS = "application/vnd.oasis.opendocument.spreadsheet"


def ods(tables: str, *, styles: str = "", more: dict[str, str | bytes] | None = None) -> bytes:
    """A spreadsheet in OpenDocument with these tables as they are written in its XML."""
    content = (
        f"<office:document-content {NAMES} {CALCEXT}><office:automatic-styles>{styles}</office:automatic-styles>"
        f"<office:body><office:spreadsheet>{tables}</office:spreadsheet></office:body></office:document-content>"
    )
    entry = f'<manifest:file-entry manifest:full-path="/" manifest:media-type="{ODS}"/>'
    manifest = f"<manifest:manifest {NAMES}>{entry}</manifest:manifest>"
    parts: dict[str, str | bytes] = {"mimetype": ODS, "content.xml": content, "META-INF/manifest.xml": manifest}
    return zipped({**parts, **(more or {})}, zipfile.ZIP_STORED)


def table(rows: str, name: str = "Log", attributes: str = "") -> str:
    """One table of a spreadsheet in OpenDocument."""
    return f'<table:table table:name="{name}" {attributes}>{rows}</table:table>'


def sheets(data: bytes, limits: Limits = DEFAULT) -> tuple[Sheet, ...]:
    """The sheets of a workbook that opens."""
    book = open_workbook(data, FILE, limits)
    assert not isinstance(book, Problem), str(book)
    return book.sheets


def sheet(data: bytes) -> Sheet:
    """The only sheet of a workbook."""
    (only,) = sheets(data)
    return only


def refused(data: bytes, limits: Limits = DEFAULT) -> Problem:
    """Why a workbook does not open."""
    problem = open_workbook(data, FILE, limits)
    assert isinstance(problem, Problem)
    assert problem.blocks == "file"
    return problem


def told(found: Sheet) -> list[str]:
    """Code, what it blocks and the whole message of every problem with a sheet."""
    return [f"{problem.code} {problem.blocks} | {problem}" for problem in problems(found, FILE)]
