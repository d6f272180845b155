"""Points counted across a row, tests across the columns, tests that are none of the envelope, calibrations."""

from __future__ import annotations

from typing import Any

import pytest
from made_layouts import document, noted, outcome, plugin_of, read, refused, table
from reading_inputs import answer

from interchange.errors import Place
from interchange.model.document import as_document

SIGN = {"sign": "as_recorded", "sign_reason": "made for a test"}
JOB = {"name": "Nr", "to": "job_id"}
ACROSS = plugin_of(
    table(
        [
            JOB,
            {"name": "P{n}", "to": "envelope_pressure_pa", "unit": "Pa", **SIGN},
            {"name": "Q{n}", "to": "flow_m3_h", "unit": "m3/h"},
            {"name": "Plate", "to": "fan_configuration"},
            {"name": "Z", "to": "baseline_before_pressure_pa", "unit": "Pa", **SIGN},
        ],
        numbered=[1, 4],
    )
)
HEAD = "Nr,Z,Plate,P1,P2,P3,P4,Q1,Q2,Q3,Q4\n"


def test_points_counted_across_keep_their_numbers_and_empty_ones_are_none() -> None:
    first, second = (as_document(one) for one in read(HEAD + "7,-1,A,-60,,-40,,900,,700,\n8,,,-50,,,,,500,,\n", ACROSS))
    assert first["runs"] == [
        {
            "run_number": 1,
            "direction": "depressurisation",
            "baseline_before_pressure_pa": -1.0,
            "points": [
                {
                    "point_number": number,
                    "envelope_pressure_pa": pressure,
                    "fan_readings": [{"fan_id": "1", "fan_configuration": "A", "flow_m3_h": flow}],
                }
                for number, pressure, flow in ((1, -60.0, 900.0), (3, -40.0, 700.0))
            ],
        }
    ]
    assert (first["kind"], second["kind"]) == ("two_point", "two_point")
    assert second["runs"][0]["points"] == [
        {"point_number": 1, "envelope_pressure_pa": -50.0},
        {"point_number": 2, "fan_readings": [{"fan_id": "1", "flow_m3_h": 500.0}]},
    ]


def test_of_the_columns_counted_across_the_first_alone_must_be_there() -> None:
    (session,) = read("Nr,Z,Plate,P1,Q1\n7,-1,A,-60,900\n", ACROSS)
    assert len(session.runs[0].points) == 1
    (problem,) = refused("Nr,Z,Plate,P2,Q1\n7,-1,A,-60,900\n", ACROSS)
    assert (problem.code, problem.place.column) == ("column-missing", "P1")


def test_a_column_beyond_the_count_is_kept_and_a_fault_across_is_located() -> None:
    (session,) = read(HEAD.replace("Q4\n", "Q4,P5\n") + "7,-1,A,-60,,,,900,,,,-20\n", ACROSS)
    assert [(kept.kept_name, kept.kept_first) for kept in session.kept] == [("P5", "-20")]
    (problem,) = refused(HEAD + "7,-1,A,-60,,4x,,900,,,\n", ACROSS)
    assert (problem.code, problem.place) == ("not-a-number", Place("test.csv", 2, "P3"))


# a column for each test

STANDING = plugin_of(
    table(
        [
            JOB,
            {"name": "Date", "to": "started_at_local", "time_format": "%d/%m/%Y"},
            {"name": "P", "to": "envelope_pressure_pa", **SIGN},
            {"name": "Q", "to": "flow_m3_h"},
            {"name": "Volume", "to": "volume_m3", "required": False},
            {"name": "Stage", "to": "stage", "codes": {"in": "before"}},
        ],
        header_unit_marks=["(", ")"],
    ),
    layout={"transposed": True, "delimiter": ";", "decimal_mark": ",", "thousands_mark": " "},
    recognise={"header_names": ["Nr", "P"]},
)
TESTS = "Nr;7;;8\nDate;03/02/2026;;04/02/2026\n\nP (Pa);-50,5;;-49\nQ (L/s);1 000;;250\nStage;in;;\nSky;grey;;blue\n"


def test_each_column_of_a_table_that_stands_across_is_a_test() -> None:
    first, second = read(TESTS, STANDING)
    assert [(s.record.job_id, s.source.source_place) for s in (first, second)] == [("7", "column 2"), ("8", "column 4")]
    assert (first.record.stage, second.record.stage) == ("before", None)
    assert str(first.time.started_at_local) == "2026-02-03 00:00:00"
    point = first.runs[0].points[0]
    assert (point.envelope_pressure_pa, point.fan_readings[0].flow_m3_h) == (-50.5, pytest.approx(3600.0))
    assert [(k.kept_name, k.kept_first_row, k.kept_last_row, k.kept_first) for k in second.kept] == [
        ("Sky", 7, 7, "blue")
    ]


@pytest.mark.parametrize(
    ("old", "new", "code", "row", "column"),
    [
        ("-49", "-4x9", "not-a-number", 4, "column 4"),
        ("04/02/2026", "31/02/2026", "no-such-time", 2, "column 4"),
        ("Q (L/s)", "Q (barrels)", "unit-unknown", 5, "Q"),
        ("Sky;grey;;blue", "Volume (m3);1;;-2", "value-refused", 7, "column 4"),
        ("Stage;in", "Nr;in", "header-twice", 6, None),
        ("Stage;in", ";in", "row-unplaced", 6, None),
        ("Sky;grey", 'Sky;"grey', "quote-open", 7, None),
    ],
)
def test_what_is_wrong_in_a_table_that_stands_across_is_located(
    old: str, new: str, code: str, row: int, column: str | None
) -> None:
    found = refused(TESTS.replace(old, new), STANDING)
    assert (code, Place("test.csv", row, column)) in [(problem.code, problem.place) for problem in found]


def test_a_word_of_a_column_is_asked_about_where_it_stands() -> None:
    (question,) = outcome(TESTS.replace("Stage;in;;", "Stage;in;;final"), STANDING).mapped.questions
    assert question.place == Place("test.csv", 6, "column 4")
    done = outcome(
        TESTS.replace("Stage;in;;", "Stage;in;;final"), STANDING, answers=(answer(question.question_id, "after"),)
    )
    assert [session.record.stage for session in done.mapped.sessions] == ["before", "after"]


def test_two_columns_that_say_the_same_are_noted() -> None:
    twice = TESTS.replace("8\n", "7\n").replace("04/02", "03/02").replace("-49", "-50,5").replace("250", "1 000")
    twice = twice.replace("Stage;in;;", "Stage;in;;in")
    (note,) = noted(twice, STANDING)
    assert (note.code, note.place, note.found) == (
        "row-twice",
        Place("test.csv", None, "column 4"),
        "the same test as in column 2",
    )
    assert noted(twice.replace(";;03/02", ";;05/02"), STANDING) == []


def test_names_without_values_and_a_value_beyond_the_names_are_refused() -> None:
    assert [p.code for p in refused("Nr\nDate\nP (Pa)\nQ (L/s)\nStage\n", STANDING)] == ["table-empty"]
    assert "row-unplaced" in [p.code for p in refused(TESTS + ";;;9\n", STANDING)]


# tests of something other than the envelope, and none at all

KINDS = {"house": "by_points", "duct": "other_test", "no access": "not_tested"}
OTHER = plugin_of(
    table(
        [
            JOB,
            {"name": "Kind", "to": "kind", "codes": KINDS, "filled": True},
            {"name": "Kind", "to": "other_test", "codes": {"duct": "duct"}, "missing": ["house", "no access"]},
            {
                "name": "Kind",
                "to": "not_tested_reason",
                "codes": {"no access": "no_access"},
                "missing": ["house", "duct"],
                "whole_text_to": "not_tested_as_recorded",
            },
            {"name": "P", "to": "envelope_pressure_pa", "unit": "Pa", "sign": "by_direction", "sign_reason": "made"},
            {"name": "Q", "to": "flow_m3_h", "unit": "m3/h"},
            {"name": "Plate", "to": "fan_configuration"},
            {"name": "D", "to": "direction", "codes": {"out": "depressurisation"}},
            {"name": "Z", "to": "baseline_before_pressure_pa", "unit": "Pa", **SIGN},
        ]
    ),
    kind=None,
)


def test_readings_of_another_test_become_no_run() -> None:
    text = "Nr,Kind,P,Q,Plate,D,Z\n7,house,50,900,A,out,-1\n8,duct,25,120,ring,,0.5\n9,no access,,,,,\n"
    house, duct, found = (as_document(session) for session in read(text, OTHER))
    assert house["runs"][0]["points"][0]["envelope_pressure_pa"] == -50.0
    assert duct["record"] == {"job_id": "8", "other_test": "duct"}
    assert {name: duct.get(name) for name in ("kind", "other_readings", "runs")} == {
        "kind": "other_test",
        "other_readings": [
            {"other_reading_as_recorded": "baseline before", "other_pressure_pa": 0.5},
            {"other_reading_as_recorded": "ring", "other_pressure_pa": 25.0, "other_flow_m3_h": 120.0},
        ],
        "runs": None,
    }
    assert (found["kind"], "runs" in found) == ("not_tested", False)
    assert found["record"] == {"job_id": "9", "not_tested_reason": "no_access", "not_tested_as_recorded": "no access"}


def test_a_row_that_names_no_kind_is_refused_and_never_a_traceback() -> None:
    found = refused("Nr,Kind,P,Q,Plate,D,Z\n7,,50,900,A,out,-1\n", OTHER)
    assert (found[0].code, found[0].place) == ("cell-missing", Place("test.csv", 2, "Kind"))
    lenient = plugin_of(table([JOB, {"name": "Kind", "to": "kind", "codes": KINDS}]), kind=None)
    (problem,) = refused("Nr,Kind\n7,\n", lenient)
    assert problem.place.row == 2


# calibrations

CALIBRATED = plugin_of(
    table(
        [
            {"name": "Plate", "to": "fan_configuration"},
            {"name": "Fan Pa", "to": "calibration_pressure_pa", "unit": "Pa"},
            {"name": "Flow", "to": "calibration_flow_m3_h", "unit": "m3/h"},
            {"name": "Least", "to": "minimum_fan_pressure_pa", "unit": "Pa", "required": False},
            {"name": "Most", "to": "maximum_fan_pressure_pa", "unit": "Pa", "required": False},
            {"name": "K", "to": "fan_coefficient_m3_h", "unit": "m3/h", "required": False},
            {"name": "m", "to": "fan_exponent", "required": False},
        ],
        "fan_calibration",
        sections=["Fan"],
    ),
    table(
        [
            {"name": "P", "to": "envelope_pressure_pa", "unit": "Pa", **SIGN},
            {"name": "Plate", "to": "fan_configuration"},
            {"name": "Signal", "to": "fan_pressure_pa", "unit": "Pa"},
        ],
        "point",
        header_names=["P", "Signal"],
        sections=["Points"],
    ),
    layout={"section_marks": ["<", ">"]},
    recognise={"first_cells": ["<Points>"]},
)
POINTS = "<Points>\nP,Plate,Signal\n-60,A,58\n-50,A,20\n-40,B,40\n"


def _calibrations(text: str) -> tuple[list[dict[str, Any]], list[int | None]]:
    found = document(text, CALIBRATED)
    readings = [point["fan_readings"][0] for point in found["runs"][0]["points"]]
    return found.get("fan_calibrations", []), [reading.get("calibration_index") for reading in readings]


def test_pairs_of_one_plate_are_one_calibration() -> None:
    table_text = "<Fan>\nPlate,Fan Pa,Flow\nA,15,1900\nB,15,650\nA,60,3800\nB,60,1300\n"
    assert _calibrations(table_text + POINTS) == (
        [
            {
                "fan_id": "1",
                "fan_configuration": "A",
                "calibration_points": [
                    {"calibration_pressure_pa": 15.0, "calibration_flow_m3_h": 1900.0},
                    {"calibration_pressure_pa": 60.0, "calibration_flow_m3_h": 3800.0},
                ],
            },
            {
                "fan_id": "1",
                "fan_configuration": "B",
                "calibration_points": [
                    {"calibration_pressure_pa": 15.0, "calibration_flow_m3_h": 650.0},
                    {"calibration_pressure_pa": 60.0, "calibration_flow_m3_h": 1300.0},
                ],
            },
        ],
        [0, 0, 1],
    )


def test_ranges_of_one_plate_are_told_apart_by_the_signal() -> None:
    head = "<Fan>\nPlate,Fan Pa,Flow,Least,Most,K,m\n"
    rows = "A,,,10,30,480,0.5\nA,,,30,200,490,0.49\nB,,,10,200,170,0.5\n"
    found, indices = _calibrations(head + rows + POINTS)
    assert [(one["fan_configuration"], one["fan_coefficient_m3_h"], one["fan_exponent"]) for one in found] == [
        ("A", 480.0, 0.5),
        ("A", 490.0, 0.49),
        ("B", 170.0, 0.5),
    ]
    assert indices == [1, 0, 2]
    (problem,) = refused(head + rows.replace("A,,,30", "A,,,25") + POINTS, CALIBRATED)
    assert (problem.code, problem.place) == ("calibration-twice", Place("test.csv", 4, "Plate"))


def test_a_signal_outside_every_range_belongs_to_the_nearest() -> None:
    head = "<Fan>\nPlate,Fan Pa,Flow,Least,Most,K,m\n"
    rows = "A,,,21,30,480,0.5\nA,,,31,50,490,0.49\nB,,,10,200,170,0.5\n"
    assert _calibrations(head + rows + POINTS)[1] == [1, 0, 2]


def test_without_calibrations_readings_point_at_none_and_with_others_it_is_noted() -> None:
    assert _calibrations(POINTS) == ([], [None, None, None])
    assert noted(POINTS, CALIBRATED) == []
    (note,) = noted("<Fan>\nPlate,Fan Pa,Flow\nA,15,1900\nA,60,3800\n" + POINTS, CALIBRATED)
    assert (note.code, note.place) == ("calibration-absent", Place("test.csv", 9, "Plate"))
