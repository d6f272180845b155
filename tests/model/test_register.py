"""Registers as CSV: what comes in goes out again, and every fault is said with its row and column."""

from __future__ import annotations

from datetime import date, timedelta

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.errors import Place, SourceError
from interchange.model import register
from interchange.model.register import CalibrationRow, CrewRow, JobRow, KitRow
from interchange.quantities import CHOICES, QUANTITIES

TARGET = "target_flow_50_m3_h"
KIT = """\
crew,valid_from,valid_to,gauge_serial,fan_serial,arrangement
C1,2025-03-01,2025-09-02,G-0601,F-0611,several_facades
C1,2025-09-03,,0021,F-0093,
C2,2025-03-01,2025-05-11,,,branched
"""
CALIBRATIONS = """\
fan_serial,fan_configuration,fan_calibrated_on,fan_calibration_due_on,fan_coefficient_m3_h,fan_exponent
F-0093,full,2024-05-14,2025-05-14,493.1,0.5
F-0093,full,2025-05-12,2026-05-12,492.0,0.500
F-0093,half,2025-05-12,,1.71e2,.505
"""


def read(name: str, text: str) -> list[register.Row]:
    return [row for _, row in register.read(name, text.encode(), "given.csv")]


def faults(name: str, content: str | bytes) -> list[tuple[str, str, str]]:
    """Place, what was found, what was expected."""
    with pytest.raises(SourceError) as caught:
        register.read(name, content if isinstance(content, bytes) else content.encode(), "given.csv")
    assert all(problem.cure and problem.blocks == "file" for problem in caught.value.problems)
    return [(str(problem.place), problem.found, problem.expected) for problem in caught.value.problems]


def test_rows_are_read_with_their_places_and_absent_cells_are_none() -> None:
    placed = register.read("kit", KIT.encode(), "kit.csv")
    assert [place for place, _ in placed] == [Place("kit.csv", row) for row in (2, 3, 4)]
    assert placed[1][1] == KitRow(
        crew="C1", valid_from=date(2025, 9, 3), gauge_serial="0021", fan_serial="F-0093", arrangement=None
    )


def test_a_calibration_before_the_last_one_is_due_is_no_overlap() -> None:
    one, two, three = read("calibrations", CALIBRATIONS)
    assert isinstance(one, CalibrationRow) and isinstance(two, CalibrationRow) and isinstance(three, CalibrationRow)
    assert one.fan_calibration_due_on is not None and one.fan_calibration_due_on > two.fan_calibrated_on
    assert (three.fan_coefficient_m3_h, three.fan_exponent, three.fan_calibration_due_on) == (171.0, 0.505, None)


@pytest.mark.parametrize(
    "text",
    [
        "﻿" + KIT,
        KIT.replace("\n", "\r\n"),
        KIT.replace("\n", "\n\n"),
        KIT.rstrip(),
        KIT.replace("C1", " C1 ").replace("crew", " crew "),
        KIT.replace("F-0611", '"F-0611"'),
        "arrangement,fan_serial,gauge_serial,valid_to,valid_from,crew\n"
        + "\n".join(",".join(reversed(line.split(","))) for line in KIT.splitlines()[1:]),
    ],
    ids=["mark of UTF-8", "CRLF", "blank lines", "no last line feed", "blanks", "quotation marks", "other order"],
)
def test_what_does_not_matter_changes_nothing(text: str) -> None:
    assert read("kit", text) == read("kit", KIT)


def test_columns_that_may_be_empty_may_be_left_out() -> None:
    assert read("kit", "crew,valid_from\nC1,2025-03-01\n") == [KitRow(crew="C1", valid_from=date(2025, 3, 1))]


DAYS = st.dates(date(2000, 1, 1), date(2100, 1, 1))
TEXTS = st.text(st.characters(min_codepoint=33, max_codepoint=0x2FF, exclude_categories=["Cc", "Zs", "Cf"]), min_size=1)


@settings(max_examples=60, deadline=None)
@given(st.lists(st.tuples(TEXTS, DAYS, st.integers(0, 900), TEXTS), max_size=6, unique_by=lambda row: row[0]))
def test_rows_written_are_read_again_whatever_their_order(rows: list[tuple[str, date, int, str]]) -> None:
    made = [
        CrewRow(crew=crew, valid_from=day, valid_to=day + timedelta(days=length) if length else None, contractor=firm)
        for crew, day, length, firm in rows
    ]
    written = register.csv_bytes("crews", made)
    assert written == register.csv_bytes("crews", made[::-1])
    assert sorted(read("crews", written.decode()), key=str) == sorted(made, key=str)


@given(st.floats(5e-324, 1e300, allow_nan=False), st.floats(0, 1e300))
def test_numbers_come_back_exactly(coefficient: float, least: float) -> None:
    row = CalibrationRow(
        fan_serial="F", fan_configuration="a, \"b\"", fan_calibrated_on=date(2025, 1, 1),
        fan_coefficient_m3_h=coefficient, fan_exponent=0.5, minimum_fan_pressure_pa=least,
    )  # fmt: skip
    assert read("calibrations", register.csv_bytes("calibrations", [row]).decode()) == [row]


@pytest.mark.parametrize(
    ("name", "text", "where", "found", "expected"),
    [
        ("kit", "", "row 1", "no header", "the columns crew, valid_from, valid_to (may be left out)"),
        ("kit", "crew,from,to\n", "row 1", "no 'valid_from'; 'from', which is no column of kit; 'to',", "valid_from"),
        ("kit", "crew;valid_from\n", "row 1", "no 'crew'; no 'valid_from'; 'crew;valid_from', which", "the columns"),
        ("kit", "crew,valid_from,crew\n", "row 1", "'crew' twice", "the columns crew"),
        ("kit", "crew,valid_from\nC1\n", "row 2", "1 cell", "2 cells, as in the header"),
        ("kit", "crew,valid_from\nC1,2025-01-01,\n", "row 2", "3 cells", "2 cells"),
        ("kit", "crew,valid_from\n,2025-01-01\n", "row 2, column 'crew'", "nothing", "a value"),
        ("kit", "crew,valid_from\nC1,\n", "row 2, column 'valid_from'", "nothing", "a value"),
        ("kit", "crew,valid_from\nC1,01.03.2025\n", "row 2, column 'valid_from'", "'01.03.2025'", "as 2026-02-03"),
        ("kit", "crew,valid_from\nC1,20250301\n", "row 2, column 'valid_from'", "'20250301'", "as 2026-02-03"),
        ("kit", "crew,valid_from\nC1,1740787200\n", "row 2, column 'valid_from'", "'1740787200'", "as 2026-02-03"),
        ("kit", "crew,valid_from\nC1,2025-02-29\n", "row 2, column 'valid_from'", "'2025-02-29'", "a day that the cal"),
        ("kit", "crew,valid_from,valid_to\nC1,2025-02-02,2025-02-01\n", "row 2", "values that contr", "a last day"),
        ("kit", "crew,valid_from,arrangement\nC1,2025-02-02,t\n", "row 2, column 'arrangement'", "'t'", "'open_end',"),
        ("kit", "crew,valid_from\n\nC1,2025-02-02\nC\x07,2025-02-02\n", "row 4, column 'crew'", "'C\\x07'", "control"),
        ("kit", 'crew,valid_from\n"C\n1",2025-02-02\n', "row 2, column 'crew'", "'C\\n1'", "text on one line"),
        ("kit", 'crew,valid_from\n\n"C1"x,2025-02-02\n', "row 3", "',' expected after '\"'", "a line of CSV"),
        ("kit", b"crew,valid_from\nC\xe9,2025-02-02\n", "row 2", "bytes that are not text in UTF-8", "CSV in UTF-8"),
        ("jobs", f'job_id,{TARGET}\n1,"1.234,5"\n', f"row 2, column '{TARGET}'", "'1.234,5'", "a decimal point"),
        ("jobs", f"job_id,{TARGET}\n1,1_000\n", f"row 2, column '{TARGET}'", "'1_000'", "decimal point"),
        ("jobs", f"job_id,{TARGET}\n1,nan\n", f"row 2, column '{TARGET}'", "'nan'", "decimal point"),
        ("jobs", f"job_id,{TARGET}\n1,1e999\n", f"row 2, column '{TARGET}'", "'1e999'", "finite"),
        ("jobs", f"job_id,{TARGET}\n1,0\n", f"row 2, column '{TARGET}'", "'0'", "greater than 0"),
    ],
)  # fmt: skip
def test_a_fault_is_said_with_its_place(name: str, text: str | bytes, where: str, found: str, expected: str) -> None:
    (fault,) = faults(name, text)
    assert fault[0] == f"given.csv, {where}"
    assert fault[1].startswith(found)
    assert expected in fault[2]


@pytest.mark.parametrize(
    ("more", "found", "expected"),
    [
        (
            "fan_calibration_due_on\nF,a,2025-01-02,1,1,2025-01-01\n",
            "values that contradict each other",
            "a day it is due that is not before the day of the calibration",
        ),
        (
            "minimum_fan_pressure_pa,maximum_fan_pressure_pa\nF,a,2025-01-02,1,1,10,10\n",
            "values that contradict each other",
            "a least fan pressure below the greatest",
        ),
    ],
)
def test_a_calibration_that_contradicts_itself_is_refused(more: str, found: str, expected: str) -> None:
    head = "fan_serial,fan_configuration,fan_calibrated_on,fan_coefficient_m3_h,fan_exponent,"
    assert faults("calibrations", head + more) == [("given.csv, row 2", found, expected)]


def test_all_faults_of_a_file_are_said_together() -> None:
    text = 'crew,valid_from,contractor\nC1,x,A\n"C\n2",2025-01-01,A\n,2025-01-01,A\nC1,2025-01-01\n'
    assert [fault[0] for fault in faults("crews", text)] == [
        "given.csv, row 2, column 'valid_from'",
        "given.csv, row 3, column 'crew'",
        "given.csv, row 5, column 'crew'",
        "given.csv, row 6",
    ]


@pytest.mark.parametrize(
    ("name", "rows", "found", "expected"),
    [
        (
            "crews",
            ["C1,2025-01-01,2025-01-31,A", "C2,2025-01-15,,A", "C1,2025-01-31,,B"],
            [("row 4", "crew 'C1', 2025-01-31 and later")],
            "row 2 says 2025-01-01 to 2025-01-31",
        ),
        (
            "crews",
            ["C1,2025-06-01,,A", "C1,2025-01-01,,A"],
            [("row 3", "crew 'C1', 2025-01-01 and later")],
            "row 2 says 2025-06-01 and later",
        ),
        (
            "crews",  # the long one reaches over the short one between
            ["C1,2025-01-01,2025-12-31,A", "C1,2025-02-01,2025-02-02,B", "C1,2025-03-01,,A"],
            [("row 3", "crew 'C1', 2025-02-01 to 2025-02-02"), ("row 4", "crew 'C1', 2025-03-01 and later")],
            "row 2 says 2025-01-01 to 2025-12-31",
        ),
        ("crews", ["C1,2025-01-01,2025-01-31,A", "C1,2025-02-01,,A"], [], ""),
        ("jobs", ["0042,H", "42,H", "0042,I"], [("row 4", "job_id '0042', always")], "row 2 says always"),
        (
            "calibrations",
            ["F,full,2025-01-01,2026-01-01,1,1", "F,half,2025-01-01,,1,1", "F,full,2025-01-01,,2,1"],
            [("row 4", "fan_serial 'F', fan_configuration 'full', 2025-01-01")],
            "row 2 says 2025-01-01",
        ),
    ],
    ids=["last day", "earlier one later", "reaching over", "day after", "job twice", "calibrated twice a day"],
)  # fmt: skip
def test_two_rows_that_claim_a_day_of_one_key_are_refused(
    name: str, rows: list[str], found: list[tuple[str, str]], expected: str
) -> None:
    heads = {
        "crews": "crew,valid_from,valid_to,contractor",
        "jobs": "job_id,site_id",
        "calibrations": CALIBRATIONS.splitlines()[0],
    }
    text = "\n".join([heads[name], *rows])
    if not found:
        assert len(read(name, text)) == len(rows)
        return
    said = faults(name, text)
    assert [(place.removeprefix("given.csv, "), what) for place, what, _ in said] == found
    assert all(expected in words for _, _, words in said)


def test_columns_of_registers_stand_in_the_table_of_names() -> None:
    for name, form in register.FORMS.items():
        assert set(register.columns(name)) == set(form.model_fields) <= set(QUANTITIES)
        assert register.columns(name)[: len(form.key)] == form.key
    assert set(CHOICES["arrangement"]) == set(
        KitRow.model_json_schema()["properties"]["arrangement"]["anyOf"][0]["enum"]
    )
    assert JobRow.model_json_schema()["properties"]["target_flow_50_m3_h"]["unit"] == "m3/h"
