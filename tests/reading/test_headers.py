"""Headers as sheets have them: units within names, rows of units and notes, two rows, titles, footers, hints."""

from __future__ import annotations

import pytest
from made_layouts import PRESSURE, document, entries, noted, outcome, plugin_of, read, refused, table

from interchange.errors import Place
from interchange.model.session import Kept
from interchange.reading.body import FEW_ROWS

JOB = {"name": "Nr", "to": "job_id"}
FLOW = {"name": "Flow", "to": "flow_m3_h"}
VOLUME = {"name": "Volume", "to": "volume_m3"}


def _flow(session: object) -> float:
    flow: float = session.runs[0].points[0].fan_readings[0].flow_m3_h  # type: ignore[attr-defined]
    return flow


# units within the names of the header

MARKED = plugin_of(table([JOB, FLOW, VOLUME], header_unit_marks=["(", ")"]))


def test_a_unit_between_marks_in_the_header_is_that_of_its_column() -> None:
    first, second = read("Nr,Flow (L/s),Volume (ft3)\n7,100,1000\n8,50,1000\n", MARKED)
    assert (_flow(first), _flow(second)) == (pytest.approx(360.0), pytest.approx(180.0))
    assert first.building.volume_m3 == pytest.approx(1000 * 0.3048**3)


def test_another_unit_in_the_header_gives_other_values() -> None:
    (cubic,) = read("Nr,Flow (m3/h),Volume (m3)\n7,100,1000\n", MARKED)
    assert (_flow(cubic), cubic.building.volume_m3) == (100.0, 1000.0)


@pytest.mark.parametrize(
    ("header", "code", "column"),
    [
        ("Nr,Flow (L/s),Volume (barrels)", "unit-unknown", "Volume"),
        ("Nr,Flow (L/s),Volume (L/s)", "unit-dimension", "Volume"),
        ("Nr,Flow (L/min/Pa),Volume (m3)", "unit-unknown", "Flow"),
    ],
)
def test_a_unit_in_the_header_that_cannot_be_right_is_located(header: str, code: str, column: str) -> None:
    (problem,) = refused(f"{header}\n7,100,1000\n", MARKED)
    assert (problem.code, problem.place) == (code, Place("test.csv", 1, column))


def test_a_header_without_the_unit_it_should_hold_is_asked_about() -> None:
    found = outcome("Nr,Flow,Volume (m3)\n7,100,1000\n", MARKED)
    assert (found.state, [question.subject for question in found.mapped.questions]) == (
        "held",
        ["Which unit has 'Flow'?"],
    )


def test_a_unit_in_a_header_that_comes_again_is_compared_with_it() -> None:
    again = plugin_of(table([JOB, FLOW, VOLUME], header_unit_marks=["(", ")"]), layout={"header_repeats": True})
    text = "Nr,Flow (L/s),Volume (m3)\n7,100,1000\nNr,Flow (m3/h),Volume (m3)\n8,100,1000\n"
    found = refused(text, again)
    assert {problem.place.row for problem in found} == {3}
    assert len(read(text.replace("m3/h", "L/s"), again)) == 2


# rows between header and values


@pytest.mark.parametrize("rows", [["units", "ignored"], ["ignored", "units"]])
def test_rows_below_the_header_are_units_or_passed_over(rows: list[str]) -> None:
    plugin = plugin_of(table([JOB, FLOW], below_header=rows))
    lines = {"units": ",L/s", "ignored": "each test,at the fan"}
    text = "\n".join(["Nr,Flow", *(lines[role] for role in rows), "7,100", ""])
    (session,) = read(text, plugin)
    assert (_flow(session), session.source.source_place) == (pytest.approx(360.0), "row 4")
    (problem,) = refused(text.replace("L/s", "barrels"), plugin)
    assert (problem.code, problem.place) == ("unit-unknown", Place("test.csv", 2 + rows.index("units"), "Flow"))


def test_a_row_passed_over_by_the_layout_is_no_row_of_values() -> None:
    plugin = plugin_of(table([JOB, FLOW | {"unit": "m3/h"}], below_header=["ignored"]))
    (session,) = read("Nr,Flow\n6,90\n7,100\n", plugin)
    assert session.record.job_id == "7"


def test_a_header_of_two_rows_names_its_columns_by_both() -> None:
    columns = [
        {"name": "House / Nr", "to": "job_id"},
        {"name": "House / Volume", "to": "volume_m3", "unit": "m3"},
        {"name": "Test / P", **{key: value for key, value in PRESSURE.items() if key != "name"}},
        {"name": "Test / Flow", "to": "flow_m3_h", "unit": "m3/h"},
    ]
    plugin = plugin_of(
        table(columns, header_names=["House", "Test"], header_rows=2), recognise={"header_names": ["House", "Test"]}
    )
    text = "House,,Test,\nNr,Volume,P,Flow\n7,300,-50,900\n"
    (session,) = read(text, plugin)
    assert (session.record.job_id, session.building.volume_m3) == ("7", 300.0)
    (point,) = session.runs[0].points
    assert (point.envelope_pressure_pa, point.fan_readings[0].flow_m3_h) == (-50.0, 900.0)
    (problem,) = refused("House,,Test,\nNr,Nr,P,Flow\n7,300,-50,900\n", plugin)
    assert (problem.code, problem.place.row, problem.place.column) == ("header-twice", 1, "House / Nr")
    (problem,) = refused("House,,Test,\nNr,Volume,P,Flux\n7,300,-50,900\n", plugin)
    assert (problem.code, problem.place.column) == ("column-missing", "Test / Flow")


def test_a_column_without_a_name_can_be_mapped_and_else_is_kept() -> None:
    named = plugin_of(table([{"name": "", "to": "job_id"}, PRESSURE]))
    (session,) = read(",P\n7,-50\n", named)
    assert session.record.job_id == "7"
    bare = plugin_of(table([JOB, PRESSURE]))
    (session,) = read("Nr,,P\n7,gusty,-50\n", bare)
    assert [(one.kept_name, one.kept_first) for one in session.kept] == [("column 2", "gusty")]
    (problem,) = refused("Nr,P,\n7,-50,gusty\n", bare)  # nothing says that the empty end of a header is a column
    assert (problem.code, problem.place) == ("row-width", Place("test.csv", 2))


# titles, footers, headers on every page

PAGES = plugin_of(
    table([JOB, PRESSURE]),
    layout={"titles": True, "footer_marks": ["Total", "Page"], "header_repeats": True, "thousands_mark": ","},
)


def test_titles_footers_and_further_headers_are_passed_over_and_the_first_two_kept() -> None:
    text = 'List of tests\n"1,000 houses",x\n\nNr,P\n7,-50\nPage 1 of 2\nNr,P\n8,-49\nTotal,2\n'
    first, second = read(text, PAGES)
    assert [(s.record.job_id, s.source.source_place) for s in (first, second)] == [("7", "row 5"), ("8", "row 8")]
    assert first.kept == (
        Kept(
            kept_name="titles",
            kept_first_row=1,
            kept_last_row=2,
            kept_count=2,
            kept_first="List of tests",
            kept_last='"1,000 houses",x',
        ),
        Kept(
            kept_name="footers",
            kept_first_row=6,
            kept_last_row=9,
            kept_count=2,
            kept_first="Page 1 of 2",
            kept_last="Total,2",
        ),
    )
    assert second.kept == ()


def test_they_are_found_in_a_long_table_too() -> None:
    lines = [f"{number},-50" for number in range(3 * FEW_ROWS)]
    lines[FEW_ROWS] = "Total,17"
    lines[2 * FEW_ROWS] = "Nr,P"
    sessions = read("\n".join(["Nr,P", *lines, ""]), PAGES)
    places = [session.source.source_place for session in sessions]
    assert len(places) == 3 * FEW_ROWS - 2
    assert {f"row {FEW_ROWS + 2}", f"row {2 * FEW_ROWS + 2}"} & set(places) == set()


def test_where_the_layout_knows_none_they_are_refused() -> None:
    plain = plugin_of(table([JOB, PRESSURE]))
    assert [p.code for p in refused("List of tests\nNr,P\n7,-50\n", plain)] == ["row-unplaced"]
    assert [p.code for p in refused("Nr,P\n7,-50\nNr,P\n8,-49\n", plain)] == ["header-again"]
    assert [p.code for p in refused("Nr,P\n7,-50\nPage 1 of 2\n", plain)] == ["row-width"]


def test_a_title_after_the_table_is_no_title() -> None:
    found = refused("Nr,P\n7,-50\nclosing words\n", PAGES)
    assert [(problem.code, problem.place.row) for problem in found] == [("row-width", 3)]
    keys = plugin_of(table([JOB, PRESSURE]), layout={"titles": True, "key_prefix": "#", "key_separator": ":"})
    found = refused("Nr,P\n7,-50\n# sky: grey\nclosing words\n", keys)
    assert [(problem.code, problem.place.row) for problem in found] == [("row-unplaced", 4)]


def test_rows_above_the_header_that_look_like_tests_are_refused() -> None:
    names = ["Nr", "P", "A", "B", "C", "D"]
    plugin = plugin_of(table([JOB, PRESSURE]), layout={"titles": True, "header_repeats": True})
    header, rows = ",".join(names), "7,-50,1,2,,\n"
    assert len(read(f"Office,North,2019\n{header}\n{rows}{header}\n{rows}", plugin)) == 2
    # where the first header is damaged the second is the first to be known, and a page of tests stands above it
    (problem,) = refused(f"Office,North,2019\n{header.replace('Nr', 'No')}\n{rows}{header}\n{rows}", plugin)
    assert (problem.code, problem.place, problem.count) == ("title-like-row", Place("test.csv", 2), 2)


# the separator hint of spreadsheets


def test_a_first_row_that_names_the_separator_is_passed_over() -> None:
    plugin = plugin_of(table([JOB, PRESSURE]), layout={"delimiter": ";", "decimal_mark": ","})
    (session,) = read("sep=;\nNr;P\n7;-50,5\n", plugin)
    assert (session.runs[0].points[0].envelope_pressure_pa, session.source.source_place) == (-50.5, "row 3")
    assert session.kept == ()
    assert [p.code for p in refused("sep=,\nNr;P\n7;-50,5\n", plugin)] == ["row-unplaced"]
    comma = plugin_of(table([JOB, PRESSURE]))
    assert read("sep=,\nNr,P\n7,-50.5\n", comma)[0].source.source_place == "row 3"
    assert [p.code for p in refused("sep=;\nNr,P\n7,-50.5\n", comma)] == ["row-unplaced"]


# cells apart by blanks


def test_cells_may_stand_apart_by_any_run_of_blanks() -> None:
    plugin = plugin_of(table([JOB, PRESSURE]), layout={"delimiter": "blanks"})
    first, second = read(" Nr   P\n  7\t-50.5\n 81   -49 \n", plugin)
    assert (first.runs[0].points[0].envelope_pressure_pa, second.record.job_id) == (-50.5, "81")
    (problem,) = refused("Nr   P\n7   -50.5\n8\n", plugin)
    assert (problem.code, problem.place) == ("row-width", Place("test.csv", 3))
    assert [p.code for p in refused("Nr P\n7 -50.5 0\n", plugin)] == ["row-width"]


# encodings

CUBE = table([JOB, FLOW | {"name": "Flow", "unit_from": "header"}], header_unit_marks=["[", "]"])


@pytest.mark.parametrize(
    ("encodings", "encoding"),
    [(["cp850"], "cp850"), (["latin-1"], "latin-1"), (["cp1252"], "cp1252"), (["cp1252"], "utf-16")],
)
def test_each_encoding_gives_the_same_session(encodings: list[str], encoding: str) -> None:
    plugin = plugin_of(CUBE, layout={"encodings": encodings})
    (session,) = read("Nr,Flow [m³/h],Straße\nü7,100,é\n".encode(encoding), plugin)
    assert (session.record.job_id, _flow(session), session.source.source_encoding) == ("ü7", 100.0, encoding)
    assert [(kept.kept_name, kept.kept_first) for kept in session.kept] == [("Straße", "é")]


def test_text_read_in_the_wrong_encoding_is_an_unknown_unit_and_no_wrong_value() -> None:
    plugin = plugin_of(CUBE, layout={"encodings": ["cp1252"]})
    (problem,) = refused("Nr,Flow [m³/h]\n7,100\n".encode(), plugin)
    assert (problem.code, problem.place, problem.found) == (
        "unit-unknown",
        Place("test.csv", 1, "Flow"),
        "the unit 'mÂ³/h'",
    )


def test_an_entry_above_a_table_of_tests_holds_for_each_of_them() -> None:
    plugin = plugin_of(
        entries({"name": "crew", "to": "crew"}),
        table([JOB, PRESSURE]),
        layout={"key_prefix": "#", "key_separator": ":"},
    )
    text = "# crew: C7\n# sky: grey\nNr,P\n7,-50\n8,-51\n"
    assert [session.record.crew for session in read(text, plugin)] == ["C7", "C7"]
    assert [len(session.kept) for session in read(text, plugin)] == [1, 0]
    assert noted(text, plugin) == []
    assert document(text.replace("8,-51\n", ""), plugin)["kept"][0]["kept_name"] == "sky"
