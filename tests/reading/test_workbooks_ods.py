"""Spreadsheets in OpenDocument, written by hand as the standard and the programs in use have them."""

from __future__ import annotations

import zipfile
from datetime import date, datetime

from workbook_inputs import FILE, ODS, members, ods, sheet, sheets, table, zipped

from interchange.reading.workbook_sheets import CellError, Sheet, Span, Spot, as_text, problems
from interchange.reading.workbooks import is_workbook


def test_negative_and_long_durations() -> None:
    found = sheet(
        ods(
            table(
                "<table:table-row>"
                + "".join(
                    f'<table:table-cell office:value-type="time" office:time-value="{text}"/>'
                    for text in ("PT10H42M00S", "PT30H15M00S", "-PT00H00M01.5S", "P2DT1H", "PT09H05M07,25S")
                )
                + "</table:table-row>"
            )
        )
    )
    assert as_text(found, ";", ",") == "10:42:00;30:15:00;-00:00:01.500;49:00:00;09:05:07.250\n"


def _row(cells: str, attributes: str = "") -> str:
    return f"<table:table-row {attributes}>{cells}</table:table-row>"


def _number(value: float, attributes: str = "") -> str:
    return f'<table:table-cell office:value-type="float" office:value="{value}" {attributes}/>'


def test_repeated_cells_and_rows_of_opendocument() -> None:
    blank = '<table:table-cell table:number-columns-repeated="2"/>'
    end = '<table:table-cell table:number-columns-repeated="16380"/>'
    twice = _number(1, 'table:number-columns-repeated="2"')
    found = sheet(
        ods(
            table(
                _row(f"{twice}{blank}{_number(2)}", 'table:number-rows-repeated="2"')
                + _row(blank, 'table:number-rows-repeated="2"')
                + "<table:table-header-rows>" + _row(_number(3) + end) + "</table:table-header-rows>"
                + _row(end, 'table:number-rows-repeated="1048571"')
            )
        )
    )  # fmt: skip
    assert found.rows == ((1.0, 1.0, None, None, 2.0),) * 2 + ((), (), (3.0,))


def test_texts_of_opendocument() -> None:
    found = sheet(
        ods(
            table(
                _row(
                    '<table:table-cell office:value-type="string"><office:annotation><text:p>why</text:p>'
                    "</office:annotation><text:p>a<text:s text:c=\"2\"/>b <text:span>c</text:span>\n  d</text:p>"
                    "<text:p>e<text:tab/>f<text:line-break/>g</text:p></table:table-cell>"
                    '<table:table-cell office:value-type="string" office:string-value="0042"><text:p>42</text:p>'
                    "</table:table-cell><table:table-cell><text:p>untyped</text:p></table:table-cell>"
                )
            )
        )
    )  # fmt: skip
    assert found.rows == (("a  b c d\ne\tf\ng", "0042", "untyped"),)
    assert found.spots("comment") == (Spot(1, 1, 1),)


def test_blanks_around_text_and_notes_within_it_are_not_the_text() -> None:
    plain = "<table:table-cell><!-- aside --><text:p>a<!-- aside -->b<?aside?></text:p></table:table-cell>"
    assert sheet(ods(table(_row(plain + "<!-- aside -->")))).rows == (("ab",),)
    note = "<office:annotation><text:p>why</text:p><text:p>so</text:p></office:annotation>"
    cell = f"<table:table-cell><text:p>\n  a{note}b</text:p></table:table-cell>"
    assert sheet(ods(table(_row(cell)))).rows == (("ab",),)


def test_what_is_repeated_counts_as_often_as_it_is() -> None:
    formula = '<table:table-cell table:formula="of:=1+1" table:number-columns-repeated="2"/>'
    found = sheet(ods(table(_row(formula, 'table:number-rows-repeated="3"'))))
    assert found.spots("formula-uncached") == (Spot(1, 1, 3), Spot(1, 2, 3))


def test_values_of_opendocument() -> None:
    cells = [
        'office:value-type="float" office:value="0.1"',
        'office:value-type="currency" office:value="12.5"',
        'office:value-type="percentage" office:value="0.97"',
        'office:value-type="boolean" office:boolean-value="true"',
        'office:value-type="date" office:date-value="2026-02-03"',
        'office:value-type="date" office:date-value="2026-02-03T10:42:00.250000003"',
        'office:value-type="string" office:string-value="" calcext:value-type="error" table:formula="of:=1/0"',
        'calcext:value-type="error" office:value-type="string"',
        'table:formula="of:=1+1"',
        'office:value-type="string" office:string-value="" table:formula="of:=&quot;&quot;"',
    ]
    body = "".join(
        f"<table:table-cell {cell}>{'<text:p>#DIV/0!</text:p>' if 'error' in cell else ''}</table:table-cell>"
        for cell in cells
    )
    found = sheet(ods(table(_row(body))))
    when = datetime(2026, 2, 3, 10, 42, 0, 250_000)
    assert found.rows == ((0.1, 12.5, 0.97, True, date(2026, 2, 3), when, CellError("#DIV/0!"), CellError("#DIV/0!")),)
    assert [isinstance(value, CellError) for value in found.rows[0][6:]] == [True, True]
    assert found.spots("formula-uncached") == (Spot(1, 9, 1),)
    assert found.spots("percent") == (Spot(1, 3, 1),)


def test_a_date_and_time_at_midnight_stays_one_where_its_style_shows_the_time() -> None:
    styles = (
        '<number:date-style style:name="N1"><number:year/></number:date-style>'
        '<number:date-style style:name="N2"><number:year/><number:hours/></number:date-style>'
        '<style:style style:name="ce1" style:family="table-cell" style:data-style-name="N1"/>'
        '<style:style style:name="ce2" style:family="table-cell" style:data-style-name="N2"/>'
        '<style:style style:name="ce3" style:family="table-cell" style:parent-style-name="ce2"/>'
    )
    columns = (
        '<table:table-column table:number-columns-repeated="3"/>'
        '<table:table-column table:default-cell-style-name="ce2"/>'
    )
    cell = '<table:table-cell office:value-type="date" office:date-value="2026-02-03" {}/>'
    cells = "".join(cell.format(f'table:style-name="{name}"') for name in ("ce1", "ce2", "ce3")) + cell.format("")
    day, midnight = date(2026, 2, 3), datetime(2026, 2, 3)
    assert sheet(ods(table(columns + _row(cells)), styles=styles)).rows == ((day, midnight, midnight, midnight),)


def test_what_opendocument_hides_merges_filters_and_strikes_istold() -> None:
    styles = (
        '<style:style style:name="ta2" style:family="table">'
        '<style:table-properties table:display="false"/></style:style>'
        '<style:style style:name="ce1" style:family="table-cell">'
        '<style:text-properties style:text-line-through-style="solid"/></style:style>'
    )
    first = table(
        '<table:table-column/><table:table-column table:visibility="collapse"/>'
        + _row(_number(1, 'table:number-columns-spanned="2"') + _number(9).replace("table-cell", "covered-table-cell"))
        + _row(_number(2) + _number(3), 'table:visibility="collapse"')
        + _row(_number(4, 'table:style-name="ce1"'), 'table:visibility="filter" table:number-rows-repeated="2"')
        + _row("<table:table-cell/>", 'table:visibility="collapse"')
    )  # fmt: skip
    copied = table('<table:table-source/>' + _row(_number(5)), "'file:///elsewhere'#Sheet")  # fmt: skip
    found = sheets(ods(first + table(_row(_number(6)), "Two", 'table:style-name="ta2"') + copied, styles=styles))
    assert found == (
        Sheet(
            "Log",
            False,
            ((1.0, 9.0), (2.0, 3.0), (4.0,), (4.0,)),
            merged=(Span(1, 1, 1, 2),),
            hidden_rows=(2, 3, 4),
            hidden_columns=(2,),
            filtered=True,
            marks={("struck-through", 0): Spot(3, 1, 2)},
        ),
        Sheet("Two", True, ((6.0,),)),
    )
    assert [problem.code for problem in problems(found[0], FILE)] == [
        *("workbook-filter", "workbook-hidden-rows", "workbook-hidden-columns", "workbook-merged"),
        *("workbook-covered", "workbook-struck-through"),
    ]


def test_a_spreadsheet_of_another_media_type_is_none() -> None:
    parts = members(ods(table("")))
    assert is_workbook(zipped({**parts, "mimetype": ODS.replace("spreadsheet", "text")}, zipfile.ZIP_STORED)) is None
