"""What a sheet as text cannot show is told: hidden, filtered, merged, struck through, and formulas without results."""

from __future__ import annotations

import openpyxl
from openpyxl.comments import Comment
from openpyxl.styles import Font
from openpyxl.worksheet.filters import AutoFilter
from openpyxl.worksheet.table import Table
from openpyxl.worksheet.worksheet import Worksheet
from workbook_inputs import edited, raw, saved, sheet, sheets, told, xlsx

from interchange.reading.workbook_sheets import Span, Spot, as_text


def test_a_formula_without_its_result_blocks_and_an_empty_result_does_not() -> None:
    data = raw(
        '<row r="2"><c r="B2"><f>1+1</f></c><c r="C2" t="str"><f>IF(1,"","x")</f><v></v></c>'
        '<c r="D2"><f>1+1</f><v>2</v></c></row><row r="3"><c r="B3"><f>1+1</f><v/></c><c r="E3"><f>2</f></c></row>'
    )
    found = sheet(data)
    assert found.rows == ((), (None, None, None, 2.0))
    expected = (
        "a formula without its result; expected a value, or a formula with its result. "
        "Open the workbook in a spreadsheet program, save it there and send it again."
    )
    assert told(found) == [
        f"workbook-formula-uncached session | tests.xlsx, sheet 'Log', row 2, column 'B': found {expected} "
        "(2 times; this is the first)",
        f"workbook-formula-uncached session | tests.xlsx, sheet 'Log', row 3, column 'E': found {expected}",
    ]


def test_formulas_as_a_library_writes_them_have_no_result() -> None:
    found = sheet(xlsx(lambda sheet: sheet.append([1, "=A1+1", '=CONCATENATE("a","b")'])))
    assert found.marks == {("formula-uncached", 2): Spot(1, 2, 1), ("formula-uncached", 3): Spot(1, 3, 1)}
    assert found.rows == ((1.0,),)


def test_results_that_the_workbook_itself_calls_out_of_date_block() -> None:
    data = raw('<row r="1"><c r="A1"><v>3</v></c><c r="B1"><f>A1+1</f><v>0</v></c></row>')
    assert told(sheet(data)) == []
    assert told(sheet(edited(data, ' fullCalcOnLoad="0"', "", "xl/workbook.xml"))) == []
    found = sheet(edited(data, 'fullCalcOnLoad="0"', 'fullCalcOnLoad="1"', "xl/workbook.xml"))
    assert told(found) == [
        "workbook-formula-pending session | tests.xlsx, sheet 'Log', row 1, column 'B': found the result of a formula "
        "in a workbook that asks to be calculated; expected a value, or a formula with its result. "
        "Open the workbook in a spreadsheet program, save it there and send it again."
    ]


def test_hidden_rows_and_columns_are_told_where_they_hold_something() -> None:
    def build(sheet: Worksheet) -> None:
        for _ in range(6):
            sheet.append([1, 2, None, 4])
        for row in (3, 5, 40):
            sheet.row_dimensions[row].hidden = True
        for column in "BC":
            sheet.column_dimensions[column].hidden = True

    found = sheet(xlsx(build))
    assert (found.hidden_rows, found.hidden_columns) == ((3, 5), (2,))
    assert as_text(found, ",", ".") == "1,2,,4\n" * 6
    read = "It was read like the others; remove it if it does not belong to the test."
    assert told(found) == [
        "workbook-hidden-rows note | tests.xlsx, sheet 'Log', row 3: found 2 hidden rows; expected all rows shown. "
        f"{read} (2 times; this is the first)",
        "workbook-hidden-columns note | tests.xlsx, sheet 'Log', column 'B': found a hidden column; "
        f"expected all columns shown. {read}",
    ]


def test_rows_and_columns_without_height_or_width_are_hidden() -> None:
    rows = '<row ht="0" customHeight="1"><c><v>1</v></c></row><row ht="0.75"><c><v>2</v></c><c><v>3</v></c></row>'
    columns = '<cols><col min="2" max="16384" width="0" customWidth="1"/></cols>'
    found = sheet(raw(rows, columns))
    assert (found.hidden_rows, found.hidden_columns) == ((1,), (2,))


def test_a_hidden_sheet_is_told_and_nothing_else_of_it() -> None:
    book = openpyxl.Workbook()
    for name, state in (("Notes", "hidden"), ("Deep", "veryHidden"), ("Empty", "hidden")):
        made = book.create_sheet(name)
        made.sheet_state = state
        if name != "Empty":
            made.append(["=1+1", 5])
    found = sheets(saved(book))
    assert [(one.name, one.hidden) for one in found] == [
        ("Sheet", False), ("Notes", True), ("Deep", True), ("Empty", True)
    ]  # fmt: skip
    assert [told(one) for one in found] == [
        [],
        *(
            [
                f"workbook-hidden-sheet note | tests.xlsx, sheet '{name}': found a hidden sheet of 1 rows; "
                "expected sheets that are shown. It was not read; show it if it holds a test."
            ]
            for name in ("Notes", "Deep")
        ),
        [],
    ]


def test_a_filter_is_told_where_it_is_active() -> None:
    def build(sheet: Worksheet, *, active: bool) -> None:
        for value in ("Stage", "test-in", "test-out"):
            sheet.append([value])
        sheet.auto_filter.ref = "A1:A3"
        if active:
            sheet.auto_filter.add_filter_column(0, ["test-in"])

    assert told(sheet(xlsx(lambda sheet: build(sheet, active=False)))) == []
    assert told(sheet(xlsx(lambda sheet: build(sheet, active=True)))) == [
        "workbook-filter note | tests.xlsx, sheet 'Log': found an active filter; expected all rows shown. "
        "The rows that it hides were read like the others; remove what does not belong."
    ]


def test_a_filter_of_a_table_within_a_sheet_istold() -> None:
    def build(sheet: Worksheet, *, active: bool) -> None:
        for value in ("Stage", "test-in"):
            sheet.append([value])
        made = Table(displayName="T", ref="A1:A2", autoFilter=AutoFilter(ref="A1:A2"))
        if active:
            made.autoFilter.add_filter_column(0, ["test-in"])
        sheet.add_table(made)

    assert sheet(raw("<row/>", '<sheetPr filterMode="1"/>')).filtered
    assert [sheet(xlsx(lambda sheet, on=on: build(sheet, active=on))).filtered for on in (False, True)] == [False, True]


def test_merged_cells_and_values_beneath_them_aretold() -> None:
    def build(sheet: Worksheet) -> None:
        sheet["A1"] = "House"
        sheet["A3"] = "Stage"
        sheet.merge_cells("A1:C1")
        sheet.merge_cells("A3:A4")

    found = sheet(xlsx(build))
    assert found.merged == (Span(1, 1, 1, 3), Span(3, 1, 4, 1))
    assert as_text(found, ",", ".") == "House\n\nStage\n"
    merged = (
        "workbook-merged note | tests.xlsx, sheet 'Log', row 1, column 'A': found merged cells A1:C1; expected each "
        "cell by itself. The value was read at the first of the cells, the others are empty; "
        "undo the merge if they hold it too. (2 times; this is the first)"
    )
    assert told(found) == [merged]
    rows = "<row><c><v>1</v></c><c><v>7</v></c><c/></row><row/><row><c><v>2</v></c></row>"
    merges = '<mergeCells><mergeCell ref="A1:C1"/><mergeCell ref="A3:A4"/></mergeCells>'
    assert told(sheet(raw(rows, merges))) == [
        merged,
        "workbook-covered note | tests.xlsx, sheet 'Log', row 1, column 'B': found a value beneath merged cells, "
        "which nobody sees; expected none. It was read like the others; remove it if it does not belong to the test.",
    ]


def test_comments_strike_through_and_percent_aretold() -> None:
    def build(sheet: Worksheet) -> None:
        sheet.append([1.5, 2.5, 0.97])
        sheet["B1"].font = Font(strike=True)
        sheet["D1"].font = Font(strike=True)
        sheet["C1"].number_format = "0%"
        sheet["A1"].comment = Comment("gauge was moved", "tk")

    assert told(sheet(xlsx(build))) == [
        "workbook-comment note | tests.xlsx, sheet 'Log', row 1, column 'A': found a comment; expected what matters "
        "in cells. Comments are not read: write what matters into a cell.",
        "workbook-struck-through note | tests.xlsx, sheet 'Log', row 1, column 'B': found a value struck through; "
        "expected only values that hold. It was read like the others; remove it if it does not belong to the test.",
        "workbook-percent note | tests.xlsx, sheet 'Log', row 1, column 'C': found a number shown as percent, 0.97; "
        "expected a plain number. The number was read, not the percent: check that the plugin's unit is right for it.",
    ]
