"""What a file holds that no test can be, or that does not go together: refused or noted at its place, never silent."""

from __future__ import annotations

import pytest
from reading_inputs import LOG, ROWS, SECTIONS, SHEET, made_plugin, problems, sessions, source, taken, the_problem

from interchange.errors import Place, Problem
from interchange.model.base import Record
from interchange.model.mapping import TARGETS
from interchange.model.session import Conditions, Point, bounds
from interchange.reading import collect
from interchange.reading.door import read_source

HEAD, FIRST, SECOND = ROWS.splitlines()
PLAIN = SECTIONS.replace("third", "full")  # without the note that an opening has no calibration
PLAIN_LOG = LOG.replace("OL", "-2.00").replace("20.3,\n", "20.3,4.0\n")


def _blocking(text: str) -> list[Problem]:
    return [problem for problem in problems(text) if problem.blocks != "note"]


# rows that are no point and no test


def test_a_row_of_means_below_the_points_is_refused() -> None:
    mean = PLAIN.replace("[Result]", ";;-40,2;0,8;30;;25,7;2408\n[Result]")
    assert str(the_problem(mean)) == (
        "test.csv, row 45, column 'Point': found ''; expected a value in every row. "
        "Fill in the cell; if the row is a mean, a total or a footer, remove it."
    )


# when the test was


@pytest.mark.parametrize("year", ["1026", "1984", "2100", "2126"])
def test_a_start_in_a_year_without_tests_is_refused(year: str) -> None:
    assert str(the_problem(ROWS.replace("02/03/2026", f"02/03/{year}"))) == (
        f"test.csv, row 2, column 'Test date': found '02/03/{year}'; expected a start in the years 1985 to 2099. "
        "Correct the cell in the source."
    )
    assert the_problem(PLAIN.replace("03.02.2026", f"03.02.{year}")).place == Place("test.csv", 6, "Started")


@pytest.mark.parametrize("year", ["1985", "2099"])
def test_the_first_and_the_last_year_are_taken(year: str) -> None:
    start = sessions(ROWS.replace("02/03/2026", f"02/03/{year}"))[0].time.started_at_local
    assert start is not None
    assert start.year == int(year)


def test_a_test_without_a_date_is_noted_once_with_its_count() -> None:
    undated = FIRST.replace("02/03/2026", "")
    outcome = taken(f"{HEAD}\n{SECOND}\n{undated}\n{undated.replace('9:15 AM', '')}\n")
    assert len(outcome.mapped.sessions) == 3
    (found,) = outcome.mapped.problems
    assert (found.blocks, str(found)) == (
        "note",
        "test.csv, row 3: found no date; expected the date of the test. "
        "Add it to the source if it is known; the time of the test stays unknown until then. "
        "(2 times; this is the first)",
    )
    whole = the_problem(PLAIN.replace("Started;03.02.2026 10:42\n", ""))
    assert (whole.code, whole.place, whole.blocks) == ("start-unknown", Place("test.csv"), "note")


def test_a_date_that_cannot_be_read_is_not_said_to_be_absent_too() -> None:
    assert the_problem(ROWS.replace("02/03/2026", "soon")).code == "time-form"


# values of a log


@pytest.mark.parametrize(
    ("old", "new", "column", "found", "expected"),
    [
        ("-1.84", "-999", "line A Pa", "'-999'", "inside minus outside, signed as recorded: -500 Pa or more"),
        ("-1.12", "500.5", "line B Pa", "'500.5'", "inside minus outside, signed as recorded: 500 Pa or less"),
        ("20.3,3.9", "200,3.9", "indoor C", "'200'", "air temperature indoors: a number less than 90 °C"),
        ("3.9\n", "-1\n", "wind m/s", "'-1'", "mean wind speed: 0 m/s or more"),
    ],
)  # fmt: skip
def test_a_value_of_a_log_is_held_to_the_range_of_its_field(
    old: str, new: str, column: str, found: str, expected: str
) -> None:
    problem = the_problem(PLAIN_LOG.replace(old, new, 1))
    assert (problem.code, problem.place, problem.blocks) == ("value-refused", Place("test.csv", 10, column), "session")
    assert problem.found == found
    assert problem.expected.endswith(expected)


def test_values_of_a_log_beyond_both_ends_are_one_problem_at_the_first_of_them() -> None:
    rows = [f"{second},-1.0,-1.2,20.3,3.9" for second in range(2000)]
    rows[1500], rows[1700], rows[1999] = "1500,700,-1,20,3", "1700,-501,-1,20,3", "1999,-999,-1,20,3"
    problem = the_problem(LOG[: LOG.index("0,-1.84")] + "\n".join(rows) + "\n")
    assert (problem.place, problem.found, problem.count) == (Place("test.csv", 1510, "line A Pa"), "'700'", 3)


def test_the_ends_of_a_range_belong_to_it() -> None:
    assert problems(PLAIN_LOG.replace("-1.84", "-500").replace("-1.12", "500").replace("3.9", "0")) == []


@pytest.mark.parametrize(
    ("form", "name"),
    [(form, name) for form in (Point, Conditions) for name in sorted(TARGETS["sample"] & form.model_fields.keys())],
)
def test_the_bounds_told_are_those_the_model_keeps(form: type[Record], name: str) -> None:
    beyond = {"greater_than": 0.0, "greater_than_equal": -0.001, "less_than": 0.0, "less_than_equal": 0.001}
    for kind, bound in bounds(name):
        with pytest.raises(ValueError) as refused:
            form.model_validate({name: bound + beyond[kind]})
        assert {fault["type"] for fault in refused.value.errors()} == {kind}  # type: ignore[attr-defined]


def test_some_bounds_are_known() -> None:
    assert bounds("indoor_temperature_c") == (("greater_than", -90.0), ("less_than", 90.0))
    assert bounds("envelope_pressure_pa") == (("greater_than_equal", -500.0), ("less_than_equal", 500.0))
    assert bounds("flow_m3_h") == ()
    assert bounds("time_s") == ()


# what does not go together


def test_two_points_of_one_number_are_noted_and_both_taken() -> None:
    text = PLAIN.replace("2;30;30,1", "1;30;30,1")
    assert len(sessions(text)[0].runs[0].points) == 2
    found = the_problem(text)
    assert (found.blocks, str(found)) == (
        "note",
        "test.csv, row 36, column 'Point': found '1' for a second time in this run; expected each point number once. "
        "Check that no point was copied; both are taken.",
    )


def test_a_kind_of_test_that_its_points_contradict_is_noted() -> None:
    found = the_problem(PLAIN.replace("multi-point", "one-point"))
    assert (found.blocks, str(found)) == (
        "note",
        "test.csv, row 11, column 'Procedure': found 3 points; expected one point, as the kind 'single point' says. "
        "Check which is right, the kind of test or the points; all of them are taken.",
    )
    start, end = PLAIN.index("[Pressurisation]"), PLAIN.index("[Depressurisation]")
    single = PLAIN[:start] + PLAIN[end:]
    found = the_problem(single)
    assert (found.place, found.found, found.expected) == (
        Place("test.csv", 11, "Procedure"),
        "1 point",
        "several points, as the kind 'multi point' says",
    )
    assert the_problem(single.replace("Procedure;multi-point\n", "")).place == Place("test.csv")
    assert problems(single.replace("multi-point", "one-point")) == []


def test_the_pressures_are_stated_to_hold_the_baseline_still() -> None:
    for text in (ROWS, PLAIN):
        for session in sessions(text):
            assert [point.baseline_removed for run in session.runs for point in run.points] == [
                False for run in session.runs for _ in run.points
            ]
    (session,) = sessions(f"{HEAD}\n{FIRST.replace('-50.2', '')}\n")
    assert session.runs[0].points[0].baseline_removed is None


# a row at fault as a whole


def test_a_header_that_comes_again_is_one_problem() -> None:
    assert str(the_problem(f"{HEAD}\n{FIRST}\n{HEAD}\n{SECOND}\n{HEAD}\n")) == (
        "test.csv, row 3: found the header a second time; expected rows of values below one header. "
        "Remove the row; give each test a file of its own if these are two. (2 times; this is the first)"
    )
    points = "Point;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow\n"
    found = the_problem(PLAIN.replace("2;30;30,1", f"{points};Pa;Pa;Pa;s;;Pa;m³/h\n2;30;30,1"))
    assert (found.code, found.place) == ("header-again", Place("test.csv", 36))


def test_a_header_that_comes_again_in_a_long_table_is_found_too() -> None:
    rows = [f"{second},-1,-1,20,3" for second in range(400)]
    rows[300] = "elapsed s , line A Pa,line B Pa,indoor C,wind m/s"
    found = the_problem(LOG[: LOG.index("0,-1.84")] + "\n".join(rows) + "\n")
    assert (found.code, found.place, found.count) == ("header-again", Place("test.csv", 310), 1)


def test_two_logs_in_one_file_are_told_by_their_second_header() -> None:
    assert [(p.code, p.place.row, p.count) for p in problems(PLAIN_LOG + PLAIN_LOG)][:1] == [("header-again", 21, 1)]


def test_shifted_cells_are_one_problem_of_the_row() -> None:
    cells = FIRST.split(",")
    shifted = ",".join([*cells[:5], "x", *cells[5:-1]])
    assert str(the_problem(f"{HEAD}\n{shifted}\n{SECOND}\n")) == (
        "test.csv, row 2: found 4 cells that do not fit their columns, the first 'Alder & Co' under 'Baseline (Pa)'; "
        "expected there a number with a decimal point. "
        "Compare the row with the original: its cells may be shifted."
    )


def test_two_cells_at_fault_are_told_each() -> None:
    found = problems(ROWS.replace("2100", "x").replace("1750", "z"))
    assert [(p.code, p.place.column) for p in found] == [
        ("not-a-number", "Fan flow (cfm)"),
        ("not-a-number", "Floor area (sq ft)"),
    ]


def test_one_mark_in_many_cells_is_no_shift() -> None:
    found = problems(ROWS.replace("2100,14000,1750,68", "?,?,?,?"))
    assert [(p.code, p.count) for p in found] == [("not-a-number", 1)] * 4


def test_a_wrong_decimal_mark_in_many_cells_is_no_shift() -> None:
    found = _blocking(PLAIN.replace("1;50;50,2;0,9;30;full;41,2", "1;50.0;50.2;0.9;30;full;41.2"))
    assert {p.code for p in found} == {"number-mark"}
    assert len(found) == 4


def test_rows_below_the_header_that_are_no_units_are_one_problem() -> None:
    assert str(the_problem(PLAIN.replace(";Pa;Pa;Pa;s;;Pa;m³/h\n", "", 1))) == (
        "test.csv, row 34: found numbers where the row of units should stand; "
        "expected the unit of each column below its name. Put the row of units back."
    )


def test_units_that_begin_with_a_digit_are_no_numbers() -> None:
    for unit in ("1", "1/h"):
        found = problems(PLAIN.replace(";m³/h;;Pa;kg/m³", f";m³/h;{unit};Pa;kg/m³"))
        assert "units-missing" not in [problem.code for problem in found]


def test_a_plugin_without_a_column_of_dates_gets_the_note_too() -> None:
    outcome = read_source(source("Nr,P\n07,-50\n"), [made_plugin(SHEET)])
    assert [(p.code, p.place.row) for p in outcome.mapped.problems] == [("start-unknown", 2)]


def test_a_log_of_one_row_proves_no_step() -> None:
    found = the_problem(LOG[: LOG.index("1,OL")])
    assert (found.place, found.blocks, found.found) == (
        Place("test.csv", 10, "elapsed s"),
        "session",
        "a log of one row",
    )


def test_words_of_a_shifted_row_are_not_asked_for() -> None:
    cells = FIRST.split(",")
    shifted = ",".join([*cells[:5], "x", *cells[5:-1]])
    assert taken(f"{HEAD}\n{shifted}\n{SECOND}\n").mapped.questions == ()
    (question,) = taken(f"{HEAD}\n{shifted}\n{SECOND.replace('test-out', 'final')}\n").mapped.questions
    assert question.subject == "What does 'final' mean in 'Stage'?"


def test_problems_beyond_many_keep_their_count(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(collect, "_MANY", 7)
    found = collect.Collector()
    for row in range(1, 101):
        for column in ("a", "b"):
            found.add(Problem("not-a-number", Place("f", row, column), f"'{row}'", "a number", "", blocks="session"))
    assert [(p.place.row, p.place.column, p.count) for p in found.problems] == [(1, "a", 100), (1, "b", 100)]
