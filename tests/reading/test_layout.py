"""Every physical row has one owner; what fits no block is a problem at its row, never shifted, never dropped."""

from __future__ import annotations

import pytest
from hypothesis import example, given
from hypothesis import strategies as st
from reading_inputs import LOG, ROWS, SECTIONS, SHEET, made_plugin, plugin, problems, source, the_problem

from interchange.errors import Place
from interchange.reading import body
from interchange.reading.door import read
from interchange.reading.extract import Entry, Extract, Owner
from interchange.reading.layout import texts_of

LAYOUTS = {"one-row-a-test": ROWS, "sectioned-points": SECTIONS, "wide-log-two-lines": LOG}


def _assert_tiled(extract: Extract, rows: int) -> None:
    assert extract.row_count == rows
    owned = [row for owner in extract.owners for row in range(owner.first_row, owner.last_row + 1)]
    assert owned == list(range(1, rows + 1))


def _physical_rows(text: str) -> int:
    """Rows as an editor counts them, by the standard library's universal line ends."""
    import io

    return len(io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf-8").readlines())


@pytest.mark.parametrize("name", LAYOUTS)
def test_owners_tile_the_rows_of_a_whole_file(name: str) -> None:
    extract = read(source(LAYOUTS[name]), plugin(name))
    assert extract.problems == ()
    _assert_tiled(extract, _physical_rows(LAYOUTS[name]))


def test_each_row_of_the_log_has_the_owner_it_should() -> None:
    extract = read(source(LOG + "\n"), plugin("wide-log-two-lines"))
    assert extract.owners == (
        Owner(1, 8, "entry", 0),
        Owner(9, 9, "header", 1),
        Owner(10, 12, "row", 1),
        Owner(13, 13, "blank", None),
    )


_PIECES = st.sampled_from(
    ["\n", "\r\n", "\r", ";", ",", '"', "#", "[", "]", "[Test]\n", "Point;Target\n", "Nr,P\n", "1,2\n", "a;b;c\n", " "]
)


@given(st.sampled_from(sorted(LAYOUTS)), st.lists(st.tuples(st.integers(0, 2000), _PIECES), max_size=6))
def test_owners_tile_the_rows_of_any_file(name: str, edits: list[tuple[int, str]]) -> None:
    text = LAYOUTS[name]
    for at, piece in edits:
        text = text[:at] + piece + text[at:]
    _assert_tiled(read(source(text), plugin(name)), _physical_rows(text))


_CELLS = st.sampled_from(["", " ", "\t", "a", "1.5", "-2", " 3", '"4"', '"5,6"', '7"'])
_FULL_ROWS = st.lists(_CELLS, min_size=2, max_size=2)
_ANY_ROWS = st.lists(_CELLS, min_size=1, max_size=4)


@given(st.lists(_FULL_ROWS, min_size=1, max_size=4) | st.lists(_FULL_ROWS | _ANY_ROWS, min_size=1, max_size=6))
@example([["", ""], ["1", "2"]])
@example([[" ", ""], ["1", "2"]])
@example([["1", "2"], ["\t", ""], ["3", "4"]])
@example([['"1"', '"2"']])
def test_the_quick_way_and_the_row_by_row_way_agree(rows: list[list[str]]) -> None:
    text = "Nr,P\n" + "".join(",".join(row) + "\n" for row in rows)
    few_rows = body.FEW_ROWS
    found = []
    try:
        for few in (0, 10**9):
            body.FEW_ROWS = few
            found.append(read(source(text), made_plugin(SHEET)))
    finally:
        body.FEW_ROWS = few_rows
    quick, slow = found
    assert (quick.owners, quick.problems) == (slow.owners, slow.problems)
    assert [table.rows for table in quick.tables] == [table.rows for table in slow.tables]


def test_cells_and_rows_of_a_long_table_stand_where_they_stood() -> None:
    lines = [f"{number:04},{number}.5" for number in range(1, 301)]
    (table,) = read(source("Nr,P\n" + "\n".join(lines) + "\n"), made_plugin(SHEET)).tables
    assert (table.header, table.header_row, table.section) == (("Nr", "P"), 1, None)
    assert texts_of(table, 0).to_pylist() == [line.split(",")[0] for line in lines]
    assert texts_of(table, 1).to_pylist() == [line.split(",")[1] for line in lines]
    assert texts_of(table, -1).to_pylist() == list(range(2, 302))


def test_entries_carry_section_text_unit_and_row() -> None:
    entries = read(source(SECTIONS), plugin("sectioned-points")).entries
    assert Entry("test.csv", "House", "Volume", "412,5", "m³", 14, 2) in entries
    assert Entry("test.csv", None, "Airtightness record", "version 2", None, 1, 0) in entries


def test_an_unknown_section_is_kept_row_by_row() -> None:
    entries = read(source(SECTIONS + "[Birds]\nSeen;3;finches;west\n"), plugin("sectioned-points")).entries
    assert entries[-1] == Entry("test.csv", "Birds", "Seen", "3;finches;west", None, 49, None)


def test_blank_rows_within_and_after_a_table_shift_no_row_number() -> None:
    (table,) = read(source("Nr,P\n1,5\n\n ,\n2,6\n,\n\n"), made_plugin(SHEET)).tables
    assert texts_of(table, -1).to_pylist() == [2, 5]


def test_a_row_cut_in_the_middle_is_located() -> None:
    assert str(the_problem(LOG.replace("1,OL,-1.20,20.3,\n", "1,OL,-1\n"))) == (
        "test.csv, row 11: found 3 cells; expected 5 cells, one for each name of the header in row 9. "
        "Restore the row from the original: it may be cut, or a cell may hold the mark that separates cells."
    )


def test_a_row_with_a_cell_too_many_is_located_even_in_a_long_table() -> None:
    lines = [f"{second},1.0,2.0,20.0,3.0" for second in range(500)]
    lines[321] = "321,1,0,2.0,20.0,3.0"
    found = the_problem(LOG[: LOG.index("0,-1.84")] + "\n".join(lines) + "\n")
    assert (found.code, found.place, found.found) == (
        "row-width",
        Place("test.csv", 331),
        "6 cells",
    )


def test_a_row_may_have_empty_cells_beyond_its_table_only_where_the_header_has_them() -> None:
    (table,) = read(source("Nr,P,,\n1,5,,\n2,6,\n3,7\n"), made_plugin(SHEET)).tables
    assert texts_of(table, 1).to_pylist() == ["5", "6", "7"]


def test_a_longer_row_is_whole_where_no_other_leaves_its_last_cell_empty_and_else_may_be_shifted() -> None:
    many = "".join(f"{number},6\n" for number in range(3 * body.FEW_ROWS))
    for text in ("Nr,P\n1,5,\n2,6,\n", "Nr,P\n1,5,,\n2,6\n", "Nr,P,\n1,5,,\n2,6,\n", f"Nr,P\n1,5,\n{many}"):
        (table,) = (extract := read(source(text), made_plugin(SHEET))).tables
        assert (texts_of(table, 1)[0].as_py(), extract.problems) == ("5", ())
    # 1,5 may be one number here, and what stood after it shifted
    for text in ("Nr,P\n1,5,\n2,\n3,6\n", f"Nr,P\n1,5,\n{many}7,\n"):
        (problem,) = read(source(text), made_plugin(SHEET)).problems
        assert (problem.code, problem.place) == ("row-width", Place("test.csv", 2))
        assert problem.found == "3 cells, the last of them empty"


def test_rows_of_another_stretch_of_a_long_table_count_too(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(body, "SLICE_BYTES", 4 * body.FEW_ROWS)
    filled = "1,6\n" * (2 * body.FEW_ROWS)
    for last, codes in (("6", []), ("", ["row-width"])):
        text = f"Nr,P\n{filled}{filled}1,{last}\n2,5,\n".replace("1,6\n", f"1,{last}\n", 1)
        assert [problem.code for problem in read(source(text), made_plugin(SHEET)).problems] == codes
    only_quick = "Nr,P\n" + "1, \n" * (3 * body.FEW_ROWS) + "2,5,\n"
    assert [problem.code for problem in read(source(only_quick), made_plugin(SHEET)).problems] == ["row-width"]


def test_a_header_above_footers_alone_is_refused() -> None:
    manifest = made_plugin(SHEET.replace('decimal_mark = "."', 'decimal_mark = "."\nfooter_marks = ["Total"]'))
    (problem,) = read(source("Nr,P\nTotal,0\n"), manifest).problems
    assert (problem.code, problem.place) == ("table-empty", Place("test.csv", 1))


def test_a_quotation_mark_without_its_pair_swallows_no_row() -> None:
    found = the_problem(ROWS.replace("loft hatch taped", '"loft hatch taped'))
    assert (found.code, found.place, found.blocks) == ("quote-open", Place("test.csv", 2), "file")


def test_a_line_break_within_a_cell_is_refused_at_both_rows() -> None:
    (found,) = problems(ROWS.replace("loft hatch taped", '"loft\nhatch"'))
    assert (found.code, found.place, found.count) == ("quote-open", Place("test.csv", 2), 2)


def test_a_total_below_the_table_is_refused() -> None:
    assert the_problem(ROWS + "Total,2\n").code == "row-width"
    found = the_problem(SECTIONS.replace("[Result]", "Mean;-60,3\n[Result]"))
    assert (found.code, found.place) == ("row-width", Place("test.csv", 45))


def test_rows_after_a_table_has_ended_are_refused() -> None:
    found = the_problem(LOG + "# note: resumed\n3,1,1,20,3\n4,1,1,20,3\n")
    assert (found.code, found.place, found.count) == ("row-unplaced", Place("test.csv", 14), 2)


def test_a_header_without_rows_is_refused() -> None:
    assert str(the_problem(ROWS.splitlines()[0] + "\n")) == (
        "test.csv, row 1: found a header without rows below it; expected at least one row. Export the test again."
    )


def test_a_header_that_names_a_column_twice_is_refused() -> None:
    found = the_problem(ROWS.replace("Crew,Contractor", "Crew,Crew", 1))
    assert (found.code, found.place) == ("header-twice", Place("test.csv", 1, "Crew"))


def test_a_section_that_comes_twice_is_refused() -> None:
    assert [problem.code for problem in problems(SECTIONS + "[House]\nVolume;400;m³\n")] == ["section-twice"]


@pytest.mark.parametrize(
    ("row", "code"), [("Height", "entry-cut"), (";540;cm", "entry-cut"), ("Height;540;cm;2", "entry-width")]
)
def test_a_key_row_that_is_not_whole_is_refused(row: str, code: str) -> None:
    found = the_problem(SECTIONS.replace("Height;540;cm", row))
    assert (found.code, found.place) == (code, Place("test.csv", 15))


def test_a_table_without_its_row_of_units_is_refused() -> None:
    found = [p for p in problems(SECTIONS.replace(";Pa;Pa;Pa;s;;Pa;m³/h\n", "", 1)) if p.blocks == "file"]
    assert {(p.code, p.place.row) for p in found} == {("units-missing", 34)}


def test_a_last_row_without_a_line_end_is_noted_and_taken() -> None:
    found = the_problem(LOG.replace("OL", "-2").removesuffix("\n"))
    assert str(found) == (
        "test.csv, row 12: found a last row without a line end; its last value '4.4' may be cut short; "
        "expected a line end after every row. "
        "Check against the original that the file was not cut short."
    )
    assert found.blocks == "note"
