"""Workbooks: known by content, cells as other libraries read them, sheets as text, nothing hidden passed over."""

from __future__ import annotations

import csv
import io
import zipfile
from collections.abc import Sequence
from datetime import date, datetime, time, timedelta
from typing import Any

import odfdo
import openpyxl
import pytest
import python_calamine
from hypothesis import given, settings
from hypothesis import strategies as st
from openpyxl.utils import get_column_letter
from openpyxl.utils.datetime import CALENDAR_MAC_1904
from openpyxl.worksheet.worksheet import Worksheet
from workbook_inputs import edited, members, ods, raw, saved, sheet, sheets, told, xlsx, zipped

from interchange.reading.workbook_sheets import CellError, Sheet, Spot, as_text, letters
from interchange.reading.workbooks import is_workbook

# --- known by content


def test_workbooks_are_known_by_their_content_from_their_first_part() -> None:
    from_library = xlsx(lambda sheet: sheet.append([1]))
    document = odfdo.Document("spreadsheet")
    out = io.BytesIO()
    document.save(out)
    known = {
        "xlsx": from_library,
        "xlsx, its list of content first": zipped(dict(sorted(members(from_library).items()))),
        "ods of a library": out.getvalue(),
        "ods by hand": ods(""),
        "old or with a password": bytes.fromhex("d0cf11e0a1b11ae1") + b"\0" * 600,
    }
    assert {name: is_workbook(data[:65_536]) for name, data in known.items()} == {
        "xlsx": "xlsx",
        "xlsx, its list of content first": "xlsx",
        "ods of a library": "ods",
        "ods by hand": "ods",
        "old or with a password": "compound",
    }


def test_other_files_are_no_workbooks() -> None:
    inner = xlsx(lambda sheet: sheet.append([1]))
    others = (
        b"",
        b"Job number,House\n1,2\n",
        b"PK\x03\x04",
        zipped({"a.csv": "1,2\n", "b.csv": "3,4\n"}),
        zipped({"delivery/test.xlsx": inner}, zipfile.ZIP_STORED),
        zipped({"[Content_Types].xml": "<Types/>", "word/document.xml": "<document/>"}),
        zipped({"mimetype": "application/vnd.oasis.opendocument.text", "content.xml": "<x/>"}, zipfile.ZIP_STORED),
    )
    assert [is_workbook(data) for data in others] == [None] * len(others)


# --- cells


def _of_every_kind(sheet: Worksheet) -> None:
    sheet.append([0.1, 3, "a", True, False, "0042", "#N/A", None, "end"])
    moments: list[tuple[object, str]] = [
        (date(2026, 2, 3), "yyyy-mm-dd"),
        (datetime(2026, 2, 3), "yyyy-mm-dd hh:mm"),
        (datetime(2026, 2, 3, 10, 42), r"dd\.mm\.yyyy\ hh:mm"),
        (datetime(2026, 2, 3, 10, 42), "yyyy-mm-dd"),
        (time(10, 42), "h:mm AM/PM"),
        (timedelta(hours=30, minutes=15), "[h]:mm:ss"),
        (datetime(2026, 2, 3, 23, 59, 59, 250_000), "yyyy-mm-dd hh:mm:ss.000"),
    ]
    for column, (value, number_format) in enumerate(moments, 1):
        sheet.cell(3, column, value).number_format = number_format


def test_cells_keep_their_type_and_every_row_its_number() -> None:
    assert sheet(xlsx(_of_every_kind)).rows == (
        (0.1, 3.0, "a", True, False, "0042", CellError("#N/A"), None, "end"),
        (),
        (
            date(2026, 2, 3),
            datetime(2026, 2, 3),
            datetime(2026, 2, 3, 10, 42),
            datetime(2026, 2, 3, 10, 42),
            time(10, 42),
            timedelta(hours=30, minutes=15),
            datetime(2026, 2, 3, 23, 59, 59, 250_000),
        ),
    )


def test_a_sheet_as_text() -> None:
    found = sheet(xlsx(_of_every_kind))
    assert as_text(found, ",", ".") == (
        "0.1,3,a,TRUE,FALSE,0042,#N/A,,end\n"
        "\n"
        "2026-02-03,2026-02-03T00:00:00,2026-02-03T10:42:00,2026-02-03T10:42:00,10:42:00,30:15:00,"
        "2026-02-03T23:59:59.250,,\n"
    )
    assert as_text(found, ";", ",").startswith("0,1;3;a;TRUE;FALSE;0042;#N/A;;end\n\n2026-02-03;")


@pytest.mark.parametrize(
    ("written", "shown"),
    [
        ("0.10000000000000001", "0.1"),  # as spreadsheets write it, with 17 digits
        ("-50.299999999999997", "-50.3"),
        ("-60", "-60"),
        ("2831.0", "2831"),
        ("1E-3", "0.001"),
        ("123456789012345", "123456789012345"),
        ("0.30000000000000004", "0.30000000000000004"),
    ],
)
def test_numbers_are_exact_and_as_short_as_can_be(written: str, shown: str) -> None:
    found = sheet(raw(f'<row r="1"><c r="A1"><v>{written}</v></c></row>'))
    assert as_text(found, ";", ".") == f"{shown}\n"
    assert as_text(found, ";", ",") == f"{shown.replace('.', ',')}\n"


def test_cells_are_quoted_as_csv_does_and_stay_in_their_row() -> None:
    rows = [['6" plate', "a;b", "two\r\nlines", " blank "], ["x", None, None, "last\tone"]]
    found = sheet(xlsx(lambda sheet: [sheet.append(row) for row in rows]))
    text = as_text(found, ";", ",")
    assert text == '"6"" plate";"a;b";two lines; blank \nx;;;last\tone\n'
    read = list(csv.reader(io.StringIO(text), delimiter=";", strict=True))
    assert read == [['6" plate', "a;b", "two lines", " blank "], ["x", "", "", "last\tone"]]
    assert told(found) == [
        "workbook-line-break note | tests.xlsx, sheet 'Log', row 1, column 'C': found a line break within a cell; "
        "expected one line. Read as a blank."
    ]


def test_rows_with_the_prefix_of_a_key_stand_as_they_are() -> None:
    rows = [["# line A: open end, north"], ["# note", "a", 'say "b"'], ["s", "Pa", "C"], [0, -1.5], ["x,y"]]
    found = sheet(xlsx(lambda sheet: [sheet.append(row) for row in rows]))
    rest = 's,Pa,C\n0,-1.5,\n"x,y",,\n'
    assert as_text(found, ",", ".", "#") == f'# line A: open end, north\n# note,a,say "b"\n{rest}'
    assert as_text(found, ",", ".") == f'"# line A: open end, north",,\n# note,a,"say ""b"""\n{rest}'


# --- held against other libraries

_TEXT = st.text(st.characters(codec="utf-8", exclude_categories=("C",), exclude_characters="\ufffe\uffff"), max_size=8)
_CELL = st.one_of(
    st.none(),
    _TEXT.filter(lambda text: not text.startswith(("=", "#"))),
    st.booleans(),
    st.integers(-(10**12), 10**12),
    st.floats(-1e300, 1e300),
    st.datetimes(datetime(1985, 1, 1), datetime(2099, 12, 31)).map(lambda when: when.replace(microsecond=0)),
)
_ROWS = st.lists(st.lists(_CELL, max_size=5), min_size=1, max_size=6)


def _without_ends(rows: Any) -> list[list[Any]]:
    """Rows without the empty cells and rows at their ends; empty text is nothing."""
    cut = [[None if value in (None, "") and value is not False else value for value in row] for row in rows]
    for row in cut:
        while row and row[-1] is None:
            row.pop()
    while cut and not cut[-1]:
        cut.pop()
    return cut


def _read_by_calamine(data: bytes) -> list[list[Any]]:
    first = python_calamine.load_workbook(io.BytesIO(data)).get_sheet_by_index(0)
    return first.to_python(skip_empty_area=False)


@settings(max_examples=60, deadline=None)
@given(_ROWS)
def test_cells_of_a_workbook_are_as_two_libraries_read_them(rows: list[list[object]]) -> None:
    def build(sheet: Worksheet) -> None:
        for number, row in enumerate(rows, 1):
            for column, value in enumerate(row, 1):
                sheet.cell(number, column, value)

    data = xlsx(build)
    ours = _without_ends(sheet(data).rows)
    theirs = openpyxl.load_workbook(io.BytesIO(data), data_only=True).active
    assert theirs is not None
    assert ours == _without_ends(theirs.iter_rows(values_only=True))
    cells = _read_by_calamine(data)
    # this library gives a date where a time is midnight
    assert ours == [
        [datetime.combine(one, time()) if type(one) is date else one for one in row] for row in _without_ends(cells)
    ]


@settings(max_examples=40, deadline=None)
@given(_ROWS)
def test_cells_of_an_opendocument_spreadsheet_are_as_a_library_reads_them(rows: list[list[object]]) -> None:
    document = odfdo.Document("spreadsheet")
    document.body.clear()
    grid = odfdo.Table("Log")
    for row in rows:
        grid.append_row(odfdo.Row())
        for column, value in enumerate(row):
            grid.set_value((column, grid.height - 1), value)
    document.body.append(grid)
    out = io.BytesIO()
    document.save(out)
    cells = (
        python_calamine.load_workbook(io.BytesIO(out.getvalue())).get_sheet_by_index(0).to_python(skip_empty_area=False)
    )

    def alike(value: Any) -> Any:
        if type(value) is date:
            return datetime.combine(value, time())
        return value.strip() if isinstance(value, str) else value

    ours = [[alike(value) for value in row] for row in sheet(out.getvalue()).rows]
    assert _without_ends(ours) == _without_ends([[alike(value) for value in row] for row in cells])


@pytest.mark.parametrize("column", [1, 26, 27, 52, 702, 703, 16_384])
def test_letters_of_columns(column: int) -> None:
    assert letters(column) == get_column_letter(column)


def _formatted(values: Sequence[object], code: str, *, from_1904: bool = False) -> tuple[Any, ...]:
    """Numbers under a number format, each in a row of its own, as they are read."""
    book = openpyxl.Workbook()
    if from_1904:
        book.epoch = CALENDAR_MAC_1904
    for row, value in enumerate(values, 1):
        cell = book.worksheets[0].cell(row, 1, value)
        cell.number_format = code
    return tuple(value for row in sheet(saved(book)).rows for value in row)


_MORNING, _DAY, _MOMENT = time(6), date(2026, 2, 3), datetime(2026, 2, 3, 6)
_FORMATS = {
    ("General", "0", "0.00", "#,##0.00;[Red]-#,##0.00", '0.0 "days"', r"0.00\ \d", "0.00E+00", "@", "0%", "0.0%"): (
        0.25, 46_056.0, 46_056.25,
    ),
    ("0;yyyy", '[Blue]0.0" Pa"', '_-* #,##0.00 "€"_-', "[$€-407] 0.00", '0.0 "% of all"', '0.0" h"'): (
        0.25, 46_056.0, 46_056.25,
    ),
    ("yyyy-mm-dd", "dd/mm/yyyy;@", "[$-409]d-mmm-yy", "mmm", r"dd\.mm\.yyyy", 'd"."m"."yyyy', "yyyy"): (
        _MORNING, _DAY, _MOMENT,
    ),
    ("h:mm", "h:mm AM/PM", "mm:ss", "[$-F400]h:mm:ss AM/PM", "hh:mm:ss.000", "yyyy-mm-dd hh:mm", "m/d/yy h:mm"): (
        _MORNING, datetime(2026, 2, 3), _MOMENT,
    ),
    ("[h]:mm:ss", "[hh]:mm", "[mm]:ss", "[s]"): (
        timedelta(hours=6), timedelta(46_056), timedelta(46_056, hours=6),
    ),
}  # fmt: skip


@pytest.mark.parametrize(("code", "shown"), [(code, shown) for codes, shown in _FORMATS.items() for code in codes])
def test_numbers_are_dates_and_times_where_their_format_shows_them(code: str, shown: tuple[object, ...]) -> None:
    found = _formatted((0.25, 46_056, 46_056.25), code)
    assert [(type(value), value) for value in found] == [(type(value), value) for value in shown]


def test_percent_is_told_where_a_format_shows_it() -> None:
    def build(sheet: Worksheet) -> None:
        for column, code in enumerate(('0.0 "% of all"', "General", "0.0%", "0%"), 1):
            sheet.cell(1, column, 0.5).number_format = code

    assert sheet(xlsx(build)).spots("percent") == (Spot(1, 3, 2),)


@settings(max_examples=15, deadline=None)
@given(st.lists(st.floats(61, 200_000), min_size=20, max_size=20), st.booleans())
def test_serial_dates_are_days_since_their_epoch(serials: list[float], from_1904: bool) -> None:
    # ISO/IEC 29500-1, 18.17.4.1: whole days since 30 December 1899 from 1 March 1900 on, or since 1 January 1904
    epoch = datetime(1904, 1, 1) if from_1904 else datetime(1899, 12, 30)
    found = _formatted(serials, "yyyy-mm-dd hh:mm", from_1904=from_1904)
    assert len(found) == len(serials)
    for ours, serial in zip(found, serials, strict=True):
        assert isinstance(ours, datetime)
        assert abs(ours - epoch - timedelta(days=serial)) <= timedelta(milliseconds=1)


def test_serial_dates_at_the_ends_of_the_calendar() -> None:
    # ISO/IEC 29500-1, 18.17.4.1: serial 1 is 1 January 1900, 60 the day that was not, 2 958 465 is 31 December 9999;
    # before 61 libraries do not agree, so that no date is read
    none = CellError("#VALUE!")
    found = _formatted((1, 59, 60, 61, 2_958_465, 2_958_466, -1, 1e300), "yyyy-mm-dd")
    assert found == (none, none, none, date(1900, 3, 1), date(9999, 12, 31), none, none, none)
    assert {type(value) for value in found} == {CellError, date}
    # the same, 1904 system: serial 1 is 2 January 1904, 2 957 003 is 31 December 9999
    found = _formatted((1, 60, 2_957_003, 2_957_004, -1), "yyyy-mm-dd", from_1904=True)
    assert found == (date(1904, 1, 2), date(1904, 3, 1), date(9999, 12, 31), none, none)
    assert _formatted((1e300, -1.5), "[h]:mm") == (none, timedelta(-1.5))


def test_a_workbook_that_counts_from_1904_gives_the_dates_it_shows() -> None:
    book = openpyxl.Workbook()
    book.epoch = CALENDAR_MAC_1904
    assert isinstance(book.active, Worksheet)
    book.active.append([date(2026, 2, 3)])
    assert sheet(saved(book)).rows == ((date(2026, 2, 3),),)


# --- what openpyxl does not write


def test_texts_of_all_kinds_and_cells_without_references() -> None:
    strings = (
        '<sst xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
        '<si><t xml:space="preserve"> a </t></si>'
        "<si><r><t>fan </t></r><r><rPr><b/></rPr><t>G-1</t></r><rPh sb='0' eb='3'><t>spoken</t></rPh>"
        "</si><si><t/></si></sst>"
    )
    data = raw(
        '<row><c t="s"><v>0</v></c><c t="s"><v>1</v></c><c t="s"><v>2</v></c>'
        '<c t="inlineStr"><is><r><t>in</t></r><r><t>line</t></r></is></c><c t="str"><f>A1</f>'
        "<v>_x0009__x0000__x00e9_</v></c>"
        '<c t="d"><v>2026-02-03T10:42:00</v></c><c t="d"><v>2026-02-03</v></c><c t="d"><v>10:42:00</v></c></row>'
        '<row r="3"><c r="B3" t="b"><v>0</v></c><c t="e"><v>#DIV/0!</v></c></row>'
    )
    relation = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
    data = edited(
        data,
        "</Relationships>",
        f'<Relationship Id="rIdS" Type="{relation}" Target="/xl/texts.xml"/></Relationships>',
        "xl/_rels/workbook.xml.rels",
    )
    assert sheet(zipped({**members(data), "xl/texts.xml": strings})).rows == (
        (
            *(" a ", "fan G-1", None, "inline", "\t_x0000_é"),
            *(datetime(2026, 2, 3, 10, 42), date(2026, 2, 3), time(10, 42)),
        ),
        (),
        (None, False, CellError("#DIV/0!")),
    )


def test_a_text_that_looks_like_a_character_by_its_number_stays_as_it_is() -> None:
    # ISO/IEC 29500-1, 22.4.2.4: `_x005F_` is the first mark of a text that is no such number
    found = sheet(raw('<row><c t="str"><v>_x005F_x0009_</v></c><c t="inlineStr"><is><t>_x0041_</t></is></c></row>'))
    assert found.rows == (("_x0009_", "A"),)
    main = "http://schemas.openxmlformats.org/spreadsheetml/2006/main"
    relation = "http://schemas.openxmlformats.org/officeDocument/2006/relationships/sharedStrings"
    data = edited(
        raw('<row><c t="s"><v>0</v></c></row>'),
        "</Relationships>",
        f'<Relationship Id="rIdS" Type="{relation}" Target="/xl/texts.xml"/></Relationships>',
        "xl/_rels/workbook.xml.rels",
    )
    for written, read in {"_x005F_x0009_": "_x0009_", "a_x0009_b": "a\tb"}.items():
        strings = f'<sst xmlns="{main}"><si><t>{written}</t></si></sst>'
        assert sheet(zipped({**members(data), "xl/texts.xml": strings})).rows == ((read,),)


def test_the_strict_form_and_prefixed_names_are_read_alike() -> None:
    strict = "http://purl.oclc.org/ooxml/"
    main, relations = f"{strict}spreadsheetml/main", f"{strict}officeDocument/relationships"
    package = "http://schemas.openxmlformats.org/package/2006/relationships"
    types = "http://schemas.openxmlformats.org/package/2006/content-types"
    sheet_main = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet.main+xml"
    data = zipped(
        {
            "[Content_Types].xml": f'<Types xmlns="{types}"><Override PartName="/xl/book.xml" '
            f'ContentType="{sheet_main}"/></Types>',
            "_rels/.rels": f'<Relationships xmlns="{package}"><Relationship Id="r1" '
            f'Type="{relations}/officeDocument" Target="xl/book.xml"/></Relationships>',
            "xl/_rels/book.xml.rels": f'<Relationships xmlns="{package}"><Relationship Id="k" '
            f'Type="{relations}/worksheet" Target="one.xml"/></Relationships>',
            "xl/book.xml": f'<x:workbook xmlns:x="{main}" xmlns:r="{relations}"><x:sheets>'
            '<x:sheet name="A" sheetId="1" r:id="k"/></x:sheets></x:workbook>',
            "xl/one.xml": f'<x:worksheet xmlns:x="{main}"><x:sheetData><x:row r="2"><x:c r="B2"><x:v>1.5</x:v></x:c>'
            "</x:row></x:sheetData></x:worksheet>",
        }
    )
    assert sheets(data) == (Sheet("A", False, ((), (None, 1.5))),)
