"""Workbooks that are broken, locked or beyond all measure are refused with their place, and never with a traceback."""

from __future__ import annotations

import random
import zipfile

import pytest
from openpyxl.comments import Comment
from workbook_inputs import FIRST_SHEET, NAMES, edited, members, ods, raw, refused, sheets, table, xlsx, zipped

from interchange.errors import Place, Problem
from interchange.reading.workbook_parts import Limits
from interchange.reading.workbook_sheets import as_text, problems
from interchange.reading.workbooks import open_workbook

_SAVE = "expected a whole workbook. Open it in a spreadsheet program, save it anew and send it again."


def _plain() -> bytes:
    return xlsx(lambda sheet: [sheet.append([number, "text", 1.5]) for number in range(20)])


def test_old_and_locked_workbooks_are_told_apart() -> None:
    compound = bytes.fromhex("d0cf11e0a1b11ae1") + b"\0" * 600
    assert str(refused(compound)) == (
        "tests.xlsx: found an old binary file, perhaps a workbook (.xls); expected a workbook in the form .xlsx or "
        ".ods. Open it in a spreadsheet program and save it as .xlsx."
    )
    password = (
        "tests.xlsx: found a workbook that needs a password; expected a workbook that opens. "
        "Save it without a password and send it again."
    )
    assert str(refused(compound + "EncryptedPackage".encode("utf-16-le"))) == password
    locked = f"<manifest:manifest {NAMES}><manifest:encryption-data/></manifest:manifest>"
    assert str(refused(ods(table(""), more={"META-INF/manifest.xml": locked}))) == password
    flagged = bytearray(ods(table("")))
    flagged[flagged.index(b"PK\x01\x02") + 8] |= 1
    assert str(refused(bytes(flagged))) == password


def test_a_binary_workbook_is_refused() -> None:
    assert refused(zipped({**members(_plain()), "xl/workbook.bin": b"\0"})).code == "workbook-form"


@pytest.mark.parametrize(
    ("rows", "place", "found"),
    [
        ('<row r="2"/><row r="2"/>', "", "row '2' after row 2"),
        ('<row r="4000000000"/>', "", "row '4000000000' after row 0"),
        ('<row r="1048577"/>', "", "row '1048577' after row 0"),
        ('<row r="x"/>', "", "row 'x' after row 0"),
        ('<row r="1"><c r="B1"/><c r="A1"/></row>', ", row 1, column 'B'", "cell 'A1' as the next one of this row"),
        ('<row r="1"><c r="B7"/></row>', ", row 1", "cell 'B7' as the next one of this row"),
        ('<row r="1"><c r="ZZZ1"/></row>', ", row 1", "cell 'ZZZ1' as the next one of this row"),
        ('<row r="1"><c r="B1"><v>1_0</v></c></row>', ", row 1, column 'B'", "'1_0', which is no number"),
        ('<row r="1"><c r="B1"><v>nan</v></c></row>', ", row 1, column 'B'", "'nan', which is no number"),
        ('<row r="1"><c r="B1" t="s"><v>0</v></c></row>', ", row 1, column 'B'", "'0', which is no shared text"),
        ('<row r="1"><c r="B1" t="s"><v>-1</v></c></row>', ", row 1, column 'B'", "'-1', which is no shared text"),
        ('<row r="1"><c r="B1" t="b"><v>2</v></c></row>', ", row 1, column 'B'", "'2', which is no truth value"),
        ('<row r="1"><c r="B1" t="d"><v>2</v></c></row>', ", row 1, column 'B'", "'2', which is no date or time"),
        ('<row r="1"><c r="B1" t="q"><v>2</v></c></row>', ", row 1, column 'B'", "'2', which is no cell"),
        ('<row r="1"><c r="B1"><v>1</v><v>2</v></c></row>', ", row 1, column 'B'", "a further value within a cell"),
        ('<row r="1"><c r="A1"><c r="B1"/></c></row>', ", row 1, column 'A'", "cell 'B1' as the next one of this row"),
        ('<row r="1"><c r="B1"><v>1e999</v></c></row>', ", row 1, column 'B'", "'1e999', which is no number"),
        ('<row r="1"><c r="B1"><v>\uff12</v></c></row>', ", row 1, column 'B'", "'\uff12', which is no number"),
        ('<row r="1"><c r="B1" t="b"><v>true</v></c></row>', ", row 1, column 'B'", "'true', which is no truth value"),
        ('<row r="1"><c r="B1" s="-1"><v>2</v></c></row>', ", row 1, column 'B'", "'-1', which is no style"),
        ('<row r="1"><c r="B1" s="99"><v>2</v></c></row>', ", row 1", "what does not open (IndexError)"),
        *(
            (
                f'<row r="1"><c r="B1" t="d"><v>{text}</v></c></row>',
                ", row 1, column 'B'",
                f"'{text}', which is no date or time",
            )
            for text in ("2026-02-30", "2026-02-03T10:42:00Z", "2026-02-03 and more", "24:10", "PT5H")
        ),
    ],
)
def test_a_fault_of_a_cell_is_told_at_its_place(rows: str, place: str, found: str) -> None:
    assert str(refused(raw(rows))) == f"tests.xlsx, sheet 'Log'{place}: found {found}; {_SAVE}"


@pytest.mark.parametrize(
    "cell",
    [
        'office:value-type="float"',
        'office:value-type="float" office:value="inf"',
        'office:value-type="date" office:date-value="2026-02-30"',
        'office:value-type="time" office:time-value="PT"',
        'office:value-type="time" office:time-value="P99999999999D"',
        'office:value-type="boolean" office:boolean-value="yes"',
        'office:value-type="float" office:value="1_0"',
        'office:value-type="percentage" office:value="0,5"',
        'office:value-type="time" office:time-value="P1M"',
        'office:value-type="time" office:time-value="10:42:00"',
        'office:value-type="sometime" office:value="5"',
    ],
)
def test_a_fault_of_a_cell_of_opendocument_is_told_at_its_place(cell: str) -> None:
    kind = cell.split('"')[1]
    row = f"<table:table-row><table:table-cell/><table:table-cell {cell}/></table:table-row>"
    found = f"tests.xlsx, sheet 'Log', row 1, column 'B': found a cell that is no {kind}; {_SAVE}"
    assert str(refused(ods(table(row)))) == found


@pytest.mark.parametrize("times", ["0", "-1", "x", "99999999999999999999", "16385"])
def test_a_cell_cannot_be_repeated_beyond_the_sheet(times: str) -> None:
    row = f'<table:table-row><table:table-cell table:number-columns-repeated="{times}"/></table:table-row>'
    found = f"tests.xlsx, sheet 'Log', row 1: found '{times}' for number-columns-repeated; {_SAVE}"
    assert str(refused(ods(table(row)))) == found


def test_missing_members_and_sheets_are_told() -> None:
    parts = members(_plain())
    del parts[FIRST_SHEET]
    assert str(refused(zipped(parts))) == f"tests.xlsx, sheet 'Log': found no {FIRST_SHEET} in it; {_SAVE}"
    gone = edited(_plain(), "worksheets/sheet1.xml", "other.xml", "xl/_rels/workbook.xml.rels")
    assert refused(gone).found == "no xl/other.xml in it"
    unlinked = edited(_plain(), 'r:id="rId1"', 'r:id="rId99"', "xl/workbook.xml")
    assert refused(unlinked).found == "a sheet whose cells are nowhere in the workbook"


def test_what_the_library_would_pass_over_is_refused() -> None:
    foreign = '<row r="1"><c r="A1"><v>1</v></c><c xmlns="urn:other" r="B1"><v>2</v></c></row>'
    assert sheets(raw(foreign.replace(' xmlns="urn:other"', "")))[0].rows == ((1.0, 2.0),)
    assert refused(raw(foreign)).found == "2 cells, of which 1 can be read"
    relations = "xl/_rels/workbook.xml.rels"
    parts = members(_plain())
    moved = edited(zipped({**parts, "xl/other.xml": parts["xl/styles.xml"]}), "styles.xml", "other.xml", relations)
    assert refused(moved).found == "styles in xl/other.xml"
    wrong = xlsx(lambda sheet: setattr(sheet["A1"], "comment", Comment("why", "tk")))
    wrong = edited(wrong, 'comments" Target', 'comments" Goal', "xl/worksheets/_rels/sheet1.xml.rels")
    assert refused(wrong).place == Place("tests.xlsx, sheet 'Log'")


def test_other_namespaces_than_those_of_opendocument_are_refused() -> None:
    content = members(ods(table("")))["content.xml"]
    assert isinstance(content, bytes)
    for prefix in ("office", "table", "text", "style", "number", "calcext"):
        start = content.index(f"xmlns:{prefix}=".encode()) + len(f'xmlns:{prefix}="')
        end = content.index(b'"', start)
        data = ods(table(""), more={"content.xml": content[:start] + b"urn:other" + content[end:]})
        assert refused(data).found == f"'urn:other' for {prefix}"


def test_blanks_without_end_are_refused() -> None:
    def text(count: str) -> bytes:
        cell = f'<table:table-cell><text:p>a<text:s text:c="{count}"/>b</text:p></table:table-cell>'
        return ods(table(f"<table:table-row>{cell}</table:table-row>"))

    assert sheets(text("3"))[0].rows == (("a   b",),)
    for count in ("10001", "-1", "x", "9" * 30):
        assert refused(text(count)).found == f"'{count}' blanks within a text"


def test_entities_and_document_types_are_refused() -> None:
    bomb = '<!DOCTYPE x [<!ENTITY a "aaaaaaaaaa"><!ENTITY b "&a;&a;&a;&a;">]>'
    looked_through = ("xl/workbook.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels", "[Content_Types].xml")
    for member in (FIRST_SHEET, *looked_through):
        parts = members(_plain())
        content = parts[member]
        assert isinstance(content, bytes)
        at = content.index(b"?>") + 2 if content.startswith(b"<?") else 0
        data = zipped({**parts, member: content[:at] + bomb.encode() + content[at:]})
        assert refused(data).found == f"a document type in {member}"


def test_elements_too_deep_are_refused() -> None:
    deep = "<a>" * 100_000 + "</a>" * 100_000
    assert refused(raw("", deep)).found == f"elements too deep within each other in {FIRST_SHEET}"
    assert refused(ods(deep)).found == "elements too deep within each other in content.xml"


def test_a_member_that_unpacks_to_far_too_much_is_refused_before_it_is_unpacked() -> None:
    data = bytearray(zipped({**members(_plain()), "xl/media/zeros.bin": b"0" * 1000}))
    size = (1000).to_bytes(4, "little")
    data[:] = data.replace(size, (1 << 30).to_bytes(4, "little"))
    problem = refused(bytes(data))
    assert problem.code == "workbook-too-large"
    assert problem.found.endswith(" bytes once unpacked")


def test_a_member_that_lies_about_its_size_is_not_read_beyond_it() -> None:
    content = members(_plain())[FIRST_SHEET]
    data = _plain()
    size = len(content).to_bytes(4, "little")
    assert data.count(size) == 2
    assert refused(data.replace(size, (100).to_bytes(4, "little"))).code == "workbook-broken"


@pytest.mark.parametrize(
    ("limits", "found"),
    [
        (Limits(cells=59), "more than 59 cells"),
        (Limits(characters=200), "more than 200 characters"),
        (Limits(columns=2), "a value in column C"),
        (Limits(sheets=0), "1 sheets"),
        (Limits(members=3), "9 members"),
        (Limits(elements=100), "more than 100 elements up to xl/styles.xml"),
        (Limits(held=20), "more than 20 elements in one piece of xl/styles.xml"),
    ],
)
def test_limits(limits: Limits, found: str) -> None:
    problem = refused(_plain(), limits)
    assert (problem.code, problem.found) == ("workbook-too-large", found)


def test_rows_that_a_library_lets_go_do_not_count_as_one_piece() -> None:
    rows = "".join(f'<row r="{number}"><c><v>1</v></c></row>' for number in range(1, 500))
    assert len(sheets(raw(rows), Limits(held=300))[0].rows) == 499
    cells = "<c><v>1</v></c>" * 200
    assert refused(raw(f"<row>{cells}</row>"), Limits(held=300)).found.startswith("more than 300 elements in one piece")
    cell = '<table:table-cell office:value-type="float" office:value="1"/>'
    row = f"<table:table-row>{cell * 20}</table:table-row>"
    assert len(sheets(ods(table(row * 50)), Limits(held=100))[0].rows) == 50
    row = f"<table:table-row>{cell * 200}</table:table-row>"
    assert refused(ods(table(row)), Limits(held=100)).found == "more than 100 elements in one piece of content.xml"


def test_merged_cells_count_as_cells() -> None:
    data = raw("<row/>", '<mergeCell ref="A1:B1"/>' * 8)
    assert len(sheets(data, Limits(cells=8))) == 1
    assert refused(data, Limits(cells=7)).found == "more than 7 cells"
    row = '<table:table-row><table:table-cell table:number-rows-spanned="2"/></table:table-row>'
    assert refused(ods(table(row * 8)), Limits(cells=7)).found == "more than 7 cells"


def test_a_sheet_that_packs_a_thousand_times_is_read() -> None:
    rows = "<row><c><v>20.3</v></c></row>" * 60_000
    data = raw(rows)
    assert len(data) * 100 < len(rows)
    assert len(sheets(data)[0].rows) == 60_000


def test_limits_hold_for_what_opendocument_repeats() -> None:
    cell = '<table:table-cell office:value-type="float" office:value="1" table:number-columns-repeated="1000"/>'
    rows = f'<table:table-row table:number-rows-repeated="1048576">{cell}</table:table-row>'
    assert refused(ods(table(rows))).found == "more than 5,000,000 cells"
    assert refused(ods(table("") * 201)).found == "more than 200 sheets"


def test_a_wide_and_long_sheet_of_few_cells_is_refused_for_the_text_it_would_be() -> None:
    tall = "<table:table-cell><text:p>x</text:p></table:table-cell>"
    wide = f'<table:table-cell table:number-columns-repeated="4000"/>{tall}'
    rows = (
        f"<table:table-row>{wide}</table:table-row>"
        f'<table:table-row table:number-rows-repeated="1000000">{tall}</table:table-row>'
    )
    assert refused(ods(table(rows))).found == "more than 268,435,456 characters"
    corner = '<row r="1"><c r="CV1"><v>1</v></c></row>' + "<row><c><v>1</v></c></row>" * 10
    assert len(sheets(raw(corner))) == 1
    assert refused(raw(corner), Limits(characters=1000)).found == "more than 1,000 characters"


def test_a_workbook_at_the_limits_is_read() -> None:
    (found,) = sheets(_plain(), Limits(cells=60, sheets=1, columns=3))
    assert len(found.rows) == 20


@pytest.mark.parametrize("data", [_plain(), ods(table("<table:table-row/>"))], ids=["xlsx", "ods"])
def test_a_workbook_cut_anywhere_is_refused(data: bytes) -> None:
    for end in range(0, len(data) - 1, 37):
        assert refused(data[:end]).code == "workbook-broken"


@pytest.mark.parametrize(
    ("form", "member"),
    [("xlsx", name) for name in (FIRST_SHEET, "xl/workbook.xml", "xl/styles.xml", "xl/_rels/workbook.xml.rels")]
    + [("ods", "content.xml")],
)
def test_a_workbook_with_any_byte_changed_is_read_or_refused(form: str, member: str) -> None:
    day = 'office:value-type="date" office:date-value="2026-02-03"'
    row = f'<table:table-row><table:table-cell {day} table:number-columns-repeated="3"/></table:table-row>'
    data = ods(table(row)) if form == "ods" else _plain()
    parts = members(data)
    chance = random.Random(f"{form} {member}")
    for _ in range(300):
        content = bytearray(parts[member])  # type: ignore[arg-type]
        content[chance.randrange(len(content))] = chance.choice(b'0123456789ABx<>/"= \xff')
        book = open_workbook(zipped({**parts, member: bytes(content)}, zipfile.ZIP_STORED), "test")
        if isinstance(book, Problem):
            assert book.blocks == "file"
            continue
        for sheet in book.sheets:
            assert as_text(sheet, ";", ",").count("\n") == len(sheet.rows)
            problems(sheet, "test")
