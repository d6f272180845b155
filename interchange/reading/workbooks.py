"""Workbooks: known by their content, opened into sheets of typed cells. No macro runs, no link is followed."""

from __future__ import annotations

import warnings
from typing import Literal

from interchange.errors import Place, Problem
from interchange.reading import workbook_ods, workbook_xlsx
from interchange.reading.workbook_parts import Limits, Package, WorkbookFault, broken, locked
from interchange.reading.workbook_sheets import Workbook

Kind = Literal["xlsx", "ods", "compound"]

_MEMBER = b"PK\x03\x04"
_NAME_AT = 30  # where the name of a zip package's first member begins; its length stands at 26
_ODS = b"mimetypeapplication/vnd.oasis.opendocument.spreadsheet"
_XLSX_BEGINS = (b"[Content_Types].xml", b"_rels/", b"docProps/", b"customXml/", b"xl/")
_COMPOUND = bytes.fromhex("d0cf11e0a1b11ae1")  # compound binary file: holds old workbooks, and those with a password
_WITH_PASSWORD = "EncryptedPackage".encode("utf-16-le")
DEFAULT = Limits()


def is_workbook(head: bytes) -> Kind | None:
    """Which form of workbook begins so, by its content alone; a zip archive of other files is none.

    `head` are at least the first 64 kB, or all. `compound` is an old binary form, which `open_workbook` refuses.
    """
    if head.startswith(_COMPOUND):
        return "compound"
    if not head.startswith(_MEMBER):
        return None
    if head.startswith(_ODS, _NAME_AT):
        return "ods"
    return "xlsx" if head.startswith(_XLSX_BEGINS, _NAME_AT) and _has_member(head, b"xl/") else None


def _has_member(head: bytes, folder: bytes) -> bool:
    at = 0
    while at >= 0:
        if head.startswith(folder, at + _NAME_AT):
            return True
        at = head.find(_MEMBER, at + 1)
    return False


def open_workbook(data: bytes, file: str, limits: Limits = DEFAULT) -> Workbook | Problem:
    """The sheets of a workbook, in the order of their tabs, or why it cannot be read."""
    kind = is_workbook(data)
    package = None
    try:
        if kind == "compound":
            if _WITH_PASSWORD in data:
                raise locked(file)
            return _other_form(file, "an old binary file, perhaps a workbook (.xls)")
        package = Package(data, file, limits)
        if "xl/workbook.bin" in package.names:
            return _other_form(file, "a binary workbook (.xlsb)")
        with warnings.catch_warnings(action="ignore"):  # of what the libraries leave aside, such as the look of cells
            return workbook_ods.read(package) if kind == "ods" else workbook_xlsx.read(package)
    except WorkbookFault as fault:
        return fault.problem
    except ImportError as error:
        return _without_extra(file, (error.name or "library").partition(".")[0])
    except Exception as error:  # whatever the libraries make of a workbook that does not follow its form
        return broken(package.place if package else Place(file), f"what does not open ({type(error).__name__})").problem


def _other_form(file: str, found: str) -> Problem:
    cure = "Open it in a spreadsheet program and save it as .xlsx."
    return Problem("workbook-form", Place(file), found, "a workbook in the form .xlsx or .ods", cure, blocks="file")


def _without_extra(file: str, library: str) -> Problem:
    found, expected = f"a workbook, but no {library} to read it", "the extra 'spreadsheets'"
    cure = "Run pip install 'airtightness-interchange[spreadsheets]', or save each sheet as CSV."
    return Problem("workbook-extra", Place(file), found, expected, cure, blocks="file")


def nothing(file: str) -> Problem:
    """A workbook in which no sheet holds anything."""
    expected, cure = "a sheet with a test", "Check that this is the right workbook."
    return Problem(
        "workbook-empty",
        Place(file),
        "a workbook without a visible sheet that holds rows",
        expected,
        cure,
        blocks="file",
    )


def several_layouts(file: str, first: str, second: str) -> Problem:
    """A workbook whose sheets belong to different plugins."""
    found, cure = f"sheets in the layouts of {first} and {second}", "Save each sheet as a file of its own."
    return Problem("workbook-several-layouts", Place(file), found, "sheets of one layout", cure, blocks="file")
