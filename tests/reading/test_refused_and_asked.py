"""What cannot be right is refused at its cell; what a file does not prove is asked, and an answer settles it."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading_inputs import LOG, ROWS, SECTIONS, answer, problems, sessions, taken, the_problem

from interchange.errors import Place
from interchange.model.session import FanReading
from interchange.reading.cells import MISSING_CURE

# what is refused


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        (
            "2100",
            "12x",
            "test.csv, row 2, column 'Fan flow (cfm)': found '12x'; expected a number with a decimal point. "
            f"Correct the cell. {MISSING_CURE}",
        ),
        (
            "-50.2",
            "NaN",
            "test.csv, row 2, column 'House pressure (Pa)': found 'NaN'; expected a number with a decimal point. "
            f"Correct the cell. {MISSING_CURE}",
        ),
        (
            "2100",
            '"1,505"',
            "test.csv, row 2, column 'Fan flow (cfm)': found '1,505'; "
            "expected a number with a decimal point and no thousands mark, as the plugin states. "
            "Correct the cell, or state in the plugin's layout what its marks mean.",
        ),
        (
            "14000",
            "-14000",
            "test.csv, row 2, column 'Volume (cu ft)': found '-14000'; "
            "expected inside volume of the tested space: a number greater than 0 cu ft. "
            "Correct the cell in the source, or the unit or the field that the plugin states for it.",
        ),
        (
            "68,32",
            "68,999",
            "test.csv, row 2, column 'Outdoor (F)': found '999'; "
            "expected air temperature outdoors: a number less than 140 °F. "
            "Correct the cell in the source, or the unit or the field that the plugin states for it. "
            f"{MISSING_CURE}",
        ),
    ],
    ids=["letter in a number", "NaN", "two readings of a mark", "negative volume", "999 for missing"],
)
def test_a_cell_that_cannot_be_right_refuses_the_file(old: str, new: str, text: str) -> None:
    assert str(the_problem(ROWS.replace(old, new, 1))) == text


def test_a_row_of_totals_as_wide_as_the_table_is_refused() -> None:
    assert str(the_problem(ROWS + "Total,,,,,,,,,,3600,26000,,,,,,\n")) == (
        "test.csv, row 4, column 'House': found ''; expected a value in every row. "
        "Fill in the cell; if the row is a mean, a total or a footer, remove it."
    )


def test_a_negative_spread_within_a_point_is_located() -> None:
    found = next(p for p in problems(SECTIONS.replace("30,1;0,8", "30,1;-0,8")) if p.blocks != "note")
    assert (found.code, found.place, found.found) == ("value-refused", Place("test.csv", 36, "Spread"), "'-0,8'")


def test_problems_of_many_rows_are_counted_and_listed_together() -> None:
    found = problems(ROWS.replace("2100", "x").replace("1500,12000", "y,12000").replace("1750", "z"))
    assert [(p.code, p.place.row, p.place.column, p.count) for p in found] == [
        ("not-a-number", 2, "Fan flow (cfm)", 2),
        ("not-a-number", 2, "Floor area (sq ft)", 1),
    ]


def test_over_range_leaves_out_one_value_and_keeps_the_rest() -> None:
    outcome = taken(ROWS.replace("2100", "OL"))
    assert [(p.code, p.blocks, p.place) for p in outcome.mapped.problems] == [
        ("over-range", "cell", Place("test.csv", 2, "Fan flow (cfm)"))
    ]
    (reading,) = outcome.mapped.sessions[0].runs[0].points[0].fan_readings
    assert reading == FanReading(fan_id="1", fan_configuration="plate 2")


def test_a_missing_column_is_named_with_what_the_header_holds() -> None:
    cut = "".join(",".join(line.split(",")[:10] + line.split(",")[11:]) + "\n" for line in ROWS.splitlines())
    assert str(the_problem(cut)) == (
        "test.csv, row 1, column 'Fan flow (cfm)': found a header that holds 'Job number', 'House', 'Stage', "
        "'Test date', 'Test time', 'Crew', 'Contractor', 'Baseline (Pa)', 'House pressure (Pa)', 'Fan setting', "
        "'Volume (cu ft)', 'Floor area (sq ft)', 'Indoor (F)', 'Outdoor (F)', 'Wind', 'Leakage at 50 Pa (cfm)', "
        "'Remarks'; expected the column 'Fan flow (cfm)'. "
        "Export with this column, or correct its name in the header."
    )


def test_a_run_without_points_and_a_file_without_runs_are_refused() -> None:
    start, end = SECTIONS.index("Point;", SECTIONS.index("[Depress")), SECTIONS.index("[Result]")
    found = [p for p in problems(SECTIONS[:start] + SECTIONS[end:]) if p.blocks != "note"]
    assert [(p.code, p.found) for p in found] == [("table-missing", "no table in section [Depressurisation]")]
    none = SECTIONS[: SECTIONS.index("[Press")] + SECTIONS[end:]
    assert [(p.code, p.found) for p in problems(none)] == [("table-missing", "no table")]


def test_a_key_that_comes_twice_is_refused() -> None:
    found = the_problem(SECTIONS.replace("House;H-1", "House;H-1\nHouse;H-2"))
    assert (found.code, found.place, found.found) == (
        "key-twice",
        Place("test.csv", 5, "House"),
        "the key a second time, after row 4",
    )


def test_an_opening_calibrated_twice_is_refused() -> None:
    found = [p for p in problems(SECTIONS.replace("half;171,0", "full;171,0")) if p.blocks != "note"]
    assert [(p.code, p.place) for p in found] == [("calibration-twice", Place("test.csv", 30, "Opening"))]


@pytest.mark.parametrize(
    ("unit", "code", "found"),
    [
        ("m²", "unit-dimension", "the unit 'm²', which measures something else"),
        ("M3", "unit-unknown", "the unit 'M3'"),
    ],
)
def test_a_unit_that_cannot_be_right_is_refused(unit: str, code: str, found: str) -> None:
    problem = next(p for p in problems(SECTIONS.replace("412,5;m³", f"412,5;{unit}")) if p.blocks != "note")
    assert (problem.code, problem.place, problem.found) == (code, Place("test.csv", 14, "Volume"), found)


def test_a_unit_in_the_row_below_the_header_is_checked_too() -> None:
    problem = next(p for p in problems(SECTIONS.replace(";m³/h;;Pa;kg/m³", ";m³/h;;m;kg/m³")) if p.blocks != "note")
    assert (problem.code, problem.place) == ("unit-dimension", Place("test.csv", 28, "Least fan pressure"))


def test_other_units_give_the_same_session() -> None:
    other = SECTIONS.replace("1009,5;hPa", "100,95;kPa").replace("540;cm", "5,4;m").replace("20,5;°C", "293,65;K")
    (session,), (plain,) = sessions(other), sessions(SECTIONS)
    assert session.conditions.model_dump() == pytest.approx(plain.conditions.model_dump())
    assert session.building.model_dump() == pytest.approx(plain.building.model_dump())


@pytest.mark.parametrize(
    ("old", "new", "code", "row"),
    [
        ("2,-2.31", "0.5,-2.31", "time-step-back", 12),
        ("1,OL", "0,OL", "time-step-back", 11),
        ("1,OL", ",OL", "time-missing", 11),
    ],
)
def test_a_log_of_uneven_steps_is_refused(old: str, new: str, code: str, row: int) -> None:
    more = LOG + "".join(f"{second},-1,-1,20,3\n" for second in range(3, 8))
    found = [p for p in problems(more.replace("\n" + old, "\n" + new)) if p.blocks == "session"]
    assert (found[0].code, found[0].place) == (code, Place("test.csv", row, "elapsed s"))


@pytest.mark.parametrize("times", [(2, 1, 0), (0, 0, 0), (7, 7, 7)])
def test_a_log_that_runs_evenly_but_not_forward_is_refused(times: tuple[int, ...]) -> None:
    head = LOG[: LOG.index("0,-1.84")]
    found = the_problem(head + "".join(f"{second},-1,-1,20,3\n" for second in times))
    assert (found.code, found.place, found.count) == ("time-step-back", Place("test.csv", 11, "elapsed s"), 2)


def test_a_gap_says_between_which_times() -> None:
    more = LOG + "".join(f"{second},-1,-1,20,3\n" for second in (3, 4, 9, 10, 11))
    (found,) = [p for p in problems(more) if p.blocks == "session"]
    assert str(found) == (
        "test.csv, row 15, column 'elapsed s': found 9 s after 4 s; "
        "expected steps of 1 s throughout, as between most rows. "
        "Export the log again, whole; or give each stretch without a gap a file of its own."
    )


def test_an_even_log_may_begin_late_and_step_in_tenths() -> None:
    rows = "".join(f"{5 + step / 10:.1f},-1,-1,20,3\n" for step in range(4000))
    (session,) = sessions(LOG[: LOG.index("0,-1.84")] + rows)
    channel = session.channels[0]
    assert (channel.start_s, channel.interval_s, channel.sample_count) == (5.0, 0.1, 4000)


@given(
    st.sampled_from([ROWS.encode(), SECTIONS.encode(), SECTIONS.encode("cp1252"), LOG.encode()]),
    st.lists(st.tuples(st.integers(0, 1500), st.integers(0, 12), st.binary(max_size=6)), min_size=1, max_size=4),
    st.sampled_from([None, "Europe/Berlin"]),
)
def test_no_file_whatever_ends_in_a_traceback_or_half_imported(
    data: bytes, edits: list[tuple[int, int, bytes]], zone: str | None
) -> None:
    for at, length, piece in edits:
        data = data[:at] + piece + data[at + length :]
    outcome = taken(data, zone)
    assert bool(outcome.mapped.sessions) == (outcome.state == "imported")
    assert outcome.state == "imported" or outcome.mapped.problems or outcome.mapped.questions
    assert outcome.state == "imported" or outcome.mapped.traces == ()


# what is asked


def test_a_word_that_the_plugin_does_not_know_is_asked_once_for_the_layout() -> None:
    held = taken(ROWS.replace("test-in", "final").replace("test-out", "final"))
    assert held.state == "held"
    (question,) = held.mapped.questions
    assert (question.subject, question.why, question.place) == (
        "What does 'final' mean in 'Stage'?",
        "The plugin knows 'test-in', 'test-out', 'interim', 'inspection'. "
        "Correct the source, or add the code to the plugin, and import again.",
        Place("test.csv", 2, "Stage"),
    )
    assert [choice.value for choice in question.choices] == ["before", "interim", "after", "inspection", "absent"]
    (other,) = taken(ROWS.replace("test-in", "final")).mapped.questions
    assert other.question_id == question.question_id
    done = taken(ROWS.replace("test-in", "final"), answers=(answer(question.question_id, "after"),))
    assert done.mapped.sessions[0].record.stage == "after"
    left = taken(ROWS.replace("test-in", "final"), answers=(answer(question.question_id, "absent"),))
    assert (left.state, left.mapped.sessions[0].record.stage) == ("imported", None)


def test_an_answer_that_is_no_choice_does_not_count() -> None:
    text = ROWS.replace("test-in", "final")
    (question,) = taken(text).mapped.questions
    assert taken(text, answers=(answer(question.question_id, "whatever"),)).state == "held"


def test_a_word_for_the_wind_is_asked_as_a_band() -> None:
    (question,) = taken(ROWS.replace("breezy", "gusty")).mapped.questions
    assert [choice.value for choice in question.choices] == ["0-1", "1-2", "3-4", "5-7", "absent"]
    done = taken(ROWS.replace("breezy", "gusty"), answers=(answer(question.question_id, "5-7"),))
    conditions = done.mapped.sessions[0].conditions
    assert (conditions.wind_as_recorded, conditions.wind_beaufort_low, conditions.wind_beaufort_high) == ("gusty", 5, 7)


def test_a_unit_that_the_file_does_not_write_is_asked() -> None:
    text = SECTIONS.replace("412,5;m³", "412,5")
    (question,) = taken(text).mapped.questions
    assert question.subject == "Which unit has 'Volume' in section [House]?"
    assert [(choice.value, choice.consequence) for choice in question.choices] == [
        ("m3", "'412,5' is read in m3"),
        ("ft3", "'412,5' is read in ft3"),
    ]
    done = taken(text, answers=(answer(question.question_id, "ft3"),))
    assert done.mapped.sessions[0].building.volume_m3 == pytest.approx(412.5 * 0.3048**3)


def test_a_value_that_is_missing_needs_no_unit() -> None:
    (session,) = sessions(SECTIONS.replace("412,5;m³", ""))
    assert session.building.volume_m3 is None


def test_signs_against_the_heading_are_asked() -> None:
    text = SECTIONS.replace("1;-60;-60,3", "1;60;60,3")
    (question,) = taken(text).mapped.questions
    assert question.subject == (
        "Section [Depressurisation] holds only envelope pressures above zero. Which is right, the heading or the signs?"
    )
    heading = taken(text, answers=(answer(question.question_id, "heading"),)).mapped.sessions[0].runs[1]
    assert (heading.direction, heading.baseline_before_pressure_pa, heading.points[0].envelope_pressure_pa) == (
        "depressurisation",
        1.35,
        -60.3,
    )
    signs = taken(text, answers=(answer(question.question_id, "signs"),)).mapped.sessions[0].runs[1]
    assert (signs.direction, signs.baseline_before_pressure_pa, signs.points[0].envelope_pressure_pa) == (
        "pressurisation",
        -1.35,
        60.3,
    )


def test_a_problem_that_blocks_goes_before_a_question() -> None:
    outcome = taken(ROWS.replace("test-in", "final").replace("2100", "x"))
    assert (outcome.state, len(outcome.mapped.questions), outcome.mapped.sessions) == ("refused", 1, ())
