"""Tables of points: baselines among them, two directions, several tests in one table or in one file."""

from __future__ import annotations

from typing import Any

import pytest
from made_layouts import document, entries, noted, outcome, plugin_of, read, refused, table

from interchange.errors import Place

SIGN = {"sign": "as_recorded", "sign_reason": "made for a test"}
P = {"name": "P", "to": "envelope_pressure_pa", "unit": "Pa", **SIGN}
FLOW = {"name": "Q", "to": "flow_m3_h", "unit": "m3/h"}
SPREAD = {"name": "S", "to": "envelope_pressure_spread_pa", "unit": "Pa"}
SECONDS = {"name": "T", "to": "averaging_s", "unit": "s"}
KIND = {
    "name": "Row",
    "to": "row_is",
    "codes": {"zero before": "baseline_before", "point": "point", "zero after": "baseline_after"},
}

# rows that are baselines

BASELINES = plugin_of(table([KIND, P, SPREAD, SECONDS, FLOW | {"required": False}], "point"))


def _run(text: str, plugin: Any) -> dict[str, Any]:
    (run,) = document(text, plugin)["runs"]
    found: dict[str, Any] = run
    return found


def test_a_row_that_is_a_baseline_is_one_as_it_stands() -> None:
    run = _run("Row,P,S,T,Q\nzero before,-1.5,0.4,60,\npoint,-50,0.9,30,900\nzero after,0.5,0.6,45,\n", BASELINES)
    points = run.pop("points")
    assert run == {
        "run_number": 1,
        "direction": "depressurisation",
        "baseline_before_pressure_pa": -1.5,
        "baseline_before_spread_pa": 0.4,
        "baseline_before_duration_s": 60.0,
        "baseline_after_pressure_pa": 0.5,
        "baseline_after_spread_pa": 0.6,
        "baseline_after_duration_s": 45.0,
    }
    assert points == [
        {
            "envelope_pressure_pa": -50.0,
            "envelope_pressure_spread_pa": 0.9,
            "averaging_s": 30.0,
            "fan_readings": [{"fan_id": "1", "flow_m3_h": 900.0}],
        }
    ]


def test_of_several_rows_on_one_side_the_baseline_is_their_mean() -> None:
    rows = "zero before,-1.5,0.4,60,\nzero before,0.5,0.3,30,\nzero before,-2.0,0.2,30,\nzero before,1.0,,,\n"
    run = _run(f"Row,P,S,T,Q\n{rows}point,-50,0.9,30,900\nzero after,0.5,0.6,45,\n", BASELINES)
    assert {name: value for name, value in run.items() if name.startswith("baseline_before")} == {
        "baseline_before_pressure_pa": pytest.approx((-1.5 + 0.5 - 2.0 + 1.0) / 4),
        "baseline_before_positive_pa": pytest.approx((0.5 + 1.0) / 2),
        "baseline_before_negative_pa": pytest.approx((-1.5 - 2.0) / 2),
        "baseline_before_count": 4,
        "baseline_before_duration_s": 120.0,
    }


def test_a_word_that_says_of_no_row_what_it_is_is_asked() -> None:
    held = outcome("Row,P,S,T,Q\nzero,-1.5,0.4,60,\npoint,-50,0.9,30,900\n", BASELINES)
    assert [question.subject for question in held.mapped.questions] == ["What does 'zero' mean in 'Row'?"]
    assert [choice.value for choice in held.mapped.questions[0].choices] == [
        "point",
        "baseline_before",
        "baseline_after",
        "absent",
    ]


# baselines in columns of the rows of points

IN_COLUMNS = plugin_of(
    table(
        [
            {"name": "D", "to": "direction", "codes": {"out": "depressurisation", "in": "pressurisation"}},
            P,
            {"name": "Z0", "to": "baseline_before_pressure_pa", "unit": "Pa", **SIGN},
            {"name": "Z1", "to": "baseline_after_pressure_pa", "unit": "Pa", **SIGN},
        ],
        "point",
    )
)


def test_a_baseline_in_each_row_of_a_run_is_that_of_the_run() -> None:
    text = "D,P,Z0,Z1\nout,-60,-1.5,-1.0\nin,55,2.0,\nout,-30,-1.5,-1.0\nin,25,2.0,\n"
    down, up = document(text, IN_COLUMNS)["runs"]
    assert [point["envelope_pressure_pa"] for point in down["points"]] == [-60.0, -30.0]
    assert (down["run_number"], down["direction"]) == (1, "depressurisation")
    assert (down["baseline_before_pressure_pa"], down["baseline_after_pressure_pa"]) == (-1.5, -1.0)
    assert (up["run_number"], up["direction"], len(up["points"])) == (2, "pressurisation", 2)
    assert (up["baseline_before_pressure_pa"], "baseline_after_pressure_pa" in up) == (2.0, False)


def test_a_baseline_that_differs_within_a_run_is_located() -> None:
    (problem,) = refused("D,P,Z0,Z1\nout,-60,-1.5,-1.0\nin,55,2.0,\nout,-30,-1.4,-1.0\n", IN_COLUMNS)
    assert (problem.code, problem.place, problem.found) == ("value-differs", Place("test.csv", 4, "Z0"), "'-1.4'")


# points of which one table holds several tests

DATE = {"name": "Day", "to": "started_at_local", "time_format": "%Y-%m-%d"}
SEVERAL = plugin_of(
    table(
        [{"name": "Test", "to": "job_id"}, {"name": "Unit"}, {"name": "House", "to": "site_id"}, DATE, P, FLOW],
        "point",
        session_by=["Test", "Unit"],
    )
)
HEAD = "Test,Unit,House,Day,P,Q\n"


def test_tests_of_one_table_are_told_apart_by_the_texts_of_a_column() -> None:
    text = (
        HEAD
        + "7,a,H,2026-02-03,-60,900\n8,a,K,2026-02-04,-50,800\n7,b,H,2026-02-03,-40,700\n7,a,H,2026-02-03,-30,600\n"
    )
    sessions = read(text, SEVERAL)
    assert [(s.source.source_place, s.record.job_id, s.record.site_id, s.kind) for s in sessions] == [
        ("test 7 / a", "7", "H", "two_point"),
        ("test 8 / a", "8", "K", "single_point"),
        ("test 7 / b", "7", "H", "single_point"),
    ]
    assert [point.envelope_pressure_pa for point in sessions[0].runs[0].points] == [-60.0, -30.0]
    assert len({session.session_id for session in sessions}) == 3
    assert str(sessions[1].time.started_at_local) == "2026-02-04 00:00:00"


@pytest.mark.parametrize(
    ("row", "column", "found"),
    [("7,a,K,2026-02-03,-30,600", "House", "'K'"), ("7,a,H,2026-02-04,-30,600", "Day", "'2026-02-04'")],
)
def test_what_a_test_has_once_may_not_differ_within_it(row: str, column: str, found: str) -> None:
    (problem,) = refused(f"{HEAD}7,a,H,2026-02-03,-60,900\n8,a,K,2026-02-04,-50,800\n{row}\n", SEVERAL)
    assert (problem.code, problem.place, problem.found) == ("value-differs", Place("test.csv", 4, column), found)
    assert problem.expected.endswith("as in row 2: the same in every row of a test")


def test_a_row_that_names_no_test_is_located() -> None:
    found = refused(f"{HEAD}7,a,H,2026-02-03,-60,900\n,,H,2026-02-03,-30,600\n", SEVERAL)
    assert (found[0].code, found[0].place) == ("cell-missing", Place("test.csv", 3, "Test"))


def test_a_table_without_the_column_that_tells_its_tests_apart_is_refused() -> None:
    found = refused("Test,House,Day,P,Q\n7,H,2026-02-03,-60,900\n", SEVERAL)
    assert [(problem.code, problem.place.column) for problem in found] == [("column-missing", "Unit")]


def test_a_table_that_is_one_test_may_hold_fields_of_the_whole_test() -> None:
    plugin = plugin_of(table([{"name": "House", "to": "site_id"}, P, FLOW], "point"))
    assert document("House,P,Q\nH,-60,900\nH,-30,600\n", plugin)["record"] == {"site_id": "H"}
    (problem,) = refused("House,P,Q\nH,-60,900\n,-30,600\n", plugin)
    assert (problem.code, problem.place, problem.found) == ("value-differs", Place("test.csv", 3, "House"), "''")


# several tests in one file by sections that come again

REPEATED = plugin_of(
    entries({"name": "Sheet", "to": "contractor"}),
    entries({"name": "Job", "to": "job_id", "required": True}, sections=["Test"]),
    entries(
        {"name": "Zero", "to": "baseline_before_pressure_pa", "unit": "Pa", **SIGN},
        sections=["Out", "In"],
        directions={"Out": "depressurisation", "In": "pressurisation"},
    ),
    table(
        [P, FLOW],
        "point",
        sections=["Out", "In"],
        directions={"Out": "depressurisation", "In": "pressurisation"},
        required=True,
    ),
    layout={"section_marks": ["[", "]"]},
    recognise={"first_cells": ["[Test]"]},
    session_starts="Test",
)
ONE = "[Test]\nJob,7\n[Out]\nZero,-1\nP,Q\n-60,900\n-30,600\n"
TWO = "[Test]\nJob,8\n[Out]\nP,Q\n-50,800\n[In]\nP,Q\n55,850\n"


def test_a_section_that_comes_again_begins_a_further_test() -> None:
    sessions = read(f"Sheet,Alder\n{ONE}{TWO}", REPEATED)
    assert [(s.source.source_place, s.record.job_id, s.record.contractor) for s in sessions] == [
        ("test 1", "7", "Alder"),
        ("test 2", "8", "Alder"),
    ]
    assert [[(run.direction, len(run.points)) for run in session.runs] for session in sessions] == [
        [("depressurisation", 2)],
        [("depressurisation", 1), ("pressurisation", 1)],
    ]
    assert [session.runs[0].baseline_before_pressure_pa for session in sessions] == [-1.0, None]


def test_each_of_the_tests_is_read_as_it_is_alone() -> None:
    both = [session.model_dump(exclude={"session_id", "source", "kept"}) for session in read(ONE + TWO, REPEATED)]
    alone = [read(text, REPEATED)[0].model_dump(exclude={"session_id", "source", "kept"}) for text in (ONE, TWO)]
    assert both == alone


def test_what_one_of_the_tests_lacks_is_located() -> None:
    (problem,) = refused(ONE + TWO.replace("Job,8\n", ""), REPEATED)
    assert (problem.code, problem.place) == ("key-missing", Place("test.csv", 10, "Job"))
    (problem,) = refused(ONE + "[Test]\nJob,8\n", REPEATED)
    assert (problem.code, problem.place) == ("table-missing", Place("test.csv", 9))
    twice = refused(ONE + TWO.replace("Job,8\n", "Job,8\nJob,9\n"), REPEATED)
    assert [(p.code, p.place.row) for p in twice] == [("key-twice", 10)]
    again = refused(ONE + TWO + "[In]\nP,Q\n55,850\n", REPEATED)
    assert "section-twice" in [p.code for p in again]


def test_a_repeat_is_refused_where_the_layout_holds_one_test_a_file() -> None:
    manifest = REPEATED.manifest.model_copy(update={"session_starts": None})
    plugin = type(REPEATED)(manifest, REPEATED.folder)
    assert {p.code for p in refused(ONE + TWO, plugin)} >= {"section-twice"}


# the count of points makes the kind


@pytest.mark.parametrize(
    ("rows", "kind"), [(1, "single_point"), (2, "two_point"), (3, "multi_point"), (8, "multi_point")]
)
def test_as_many_points_as_there_are_make_the_kind(rows: int, kind: str) -> None:
    plugin = plugin_of(table([P, FLOW], "point"))
    text = "P,Q\n" + "".join(f"-{20 + 5 * row},{500 + row}\n" for row in range(rows))
    assert document(text, plugin)["kind"] == kind
    assert noted(text, plugin) == []


def test_a_row_of_points_without_values_is_still_a_point() -> None:
    plugin = plugin_of(table([P, FLOW], "point"))
    (run,) = document("P,Q\n-60,900\n-30,\n,500\n", plugin)["runs"]
    assert [sorted(point) for point in run["points"]] == [
        ["envelope_pressure_pa", "fan_readings"],
        ["envelope_pressure_pa"],
        ["fan_readings"],
    ]


def test_points_of_both_signs_without_a_direction_have_none() -> None:
    plugin = plugin_of(table([P, FLOW], "point"))
    (run,) = document("P,Q\n-60,900\n55,850\n", plugin)["runs"]
    assert "direction" not in run
    assert [point["envelope_pressure_pa"] for point in run["points"]] == [-60.0, 55.0]
