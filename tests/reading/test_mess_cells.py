"""Cells as they come in practice: marks, dates, ids and words for the wind, each read right or told at its place."""

from __future__ import annotations

from datetime import date, datetime
from typing import Any

import pytest
from made_layouts import PRESSURE, document, noted, outcome, plugin_of, read, refused, table
from reading_inputs import HEAD, LOG, ROWS, SECOND, problems, sessions, the_problem

from interchange.errors import Place

JOB = {"name": "Nr", "to": "job_id"}

# empty is absent


def test_an_empty_cell_is_absent_and_never_zero() -> None:
    (_, second) = sessions(ROWS.replace("1500,68,41,,n/a,", ",,,,n/a,").replace("12000,", ","))
    assert second.building.model_dump(exclude_none=True) == {}
    conditions = second.conditions
    assert (conditions.indoor_temperature_c, conditions.outdoor_temperature_c) == (None, None)
    assert second.runs[0].baseline_before_pressure_pa is None
    (zero, _) = sessions(ROWS.replace("68,32", "32,0").replace("-1.2", "0.0"))
    assert zero.conditions.indoor_temperature_c == pytest.approx(0.0, abs=1e-12)
    assert zero.runs[0].baseline_before_pressure_pa == 0.0


# words in cells of numbers

WORDS = ["OL", "---", "ERR", "LO", "#N/A", "#DIV/0!", "inf", "-inf", "NaN", "null", "****", "< 5", ">100"]


@pytest.mark.parametrize("word", WORDS)
def test_a_word_in_a_cell_of_numbers_is_refused_unless_the_layout_says_what_it_means(word: str) -> None:
    text = f"Nr,P\n1,-50\n2,{word}\n3,-49\n"
    (problem,) = refused(text, plugin_of(table([JOB, PRESSURE])))
    assert (problem.code, problem.place, problem.found) == (
        "not-a-number",
        Place("test.csv", 3, "P"),
        f"'{word}'",
    )
    over = plugin_of(table([JOB, PRESSURE]), layout={"over_range": [word]})
    values = [_pressure(session) for session in read(text, over)]
    assert values == [-50.0, None, -49.0]
    assert [(p.code, p.place, p.blocks) for p in noted(text, over)] == [
        ("over-range", Place("test.csv", 3, "P"), "cell")
    ]
    missing = plugin_of(table([JOB, PRESSURE]), layout={"missing": ["", word]})
    assert [_pressure(session) for session in read(text, missing)] == [-50.0, None, -49.0]
    assert noted(text, missing) == []


def _pressure(session: Any) -> float | None:
    points = session.runs[0].points if session.runs else ()
    return points[0].envelope_pressure_pa if points else None


@pytest.mark.parametrize("mark", ["-99", "999", "9999", "-999.0"])
def test_a_number_that_stands_for_no_value_is_refused_or_absent_and_never_a_pressure(mark: str) -> None:
    text = f"Nr,P\n1,-50\n2,{mark}\n"
    absent = plugin_of(table([JOB, PRESSURE]), layout={"missing": ["", mark]})
    assert [_pressure(session) for session in read(text, absent)] == [-50.0, None]
    if mark != "-99":  # which is a pressure that can be
        (problem,) = refused(text, plugin_of(table([JOB, PRESSURE])))
        assert (problem.code, problem.place) == ("value-refused", Place("test.csv", 3, "P"))


# dates


def _started(text: str, form: str, **layout: Any) -> datetime | None:
    columns = [JOB, {"name": "D", "to": "started_at_local", "time_format": form}]
    (session,) = read(f"Nr;D\n1;{text}\n", plugin_of(table(columns), layout={"delimiter": ";"} | layout))
    return session.time.started_at_local


@pytest.mark.parametrize(
    ("text", "form", "when"),
    [
        ("03/02/2026", "%d/%m/%Y", datetime(2026, 2, 3)),
        ("03/02/2026", "%m/%d/%Y", datetime(2026, 3, 2)),
        ("3.2.26", "%d.%m.%y", datetime(2026, 2, 3)),
        ("31.12.85", "%d.%m.%y", datetime(2085, 12, 31)),  # two digits are stated to mean 20yy
        ("46056.4375", "days since 1899-12-30", datetime(2026, 2, 3, 10, 30)),
        ("46056", "days since 1899-12-30", datetime(2026, 2, 3)),
        ("44594.4375", "days since 1904-01-01", datetime(2026, 2, 3, 10, 30)),
        ("1770114600", "epoch s", datetime(2026, 2, 3, 10, 30)),
        ("1770114600250", "epoch ms", datetime(2026, 2, 3, 10, 30, 0, 250_000)),
        ("2026-02-03 24:00", "%Y-%m-%d %H:%M", datetime(2026, 2, 4)),
        ("02/03/2026 12:05 AM", "%m/%d/%Y %I:%M %p", datetime(2026, 2, 3, 0, 5)),
        ("02/03/2026 12:05 PM", "%m/%d/%Y %I:%M %p", datetime(2026, 2, 3, 12, 5)),
        ("2026-02-03 10:30:15.5", "%Y-%m-%d %H:%M:%S.%f", datetime(2026, 2, 3, 10, 30, 15, 500_000)),
    ],
)
def test_a_start_is_read_in_the_stated_form(text: str, form: str, when: datetime) -> None:
    assert _started(text, form) == when


@pytest.mark.parametrize(
    ("text", "form", "code"),
    [
        ("02/31/2026", "%m/%d/%Y", "no-such-time"),
        ("13/02/2026", "%m/%d/%Y", "no-such-time"),
        ("03/02/26", "%d/%m/%Y", "time-form"),
        ("03/02/2026", "%d/%m/%y", "time-form"),
        ("46056", "%d/%m/%Y", "time-form"),
        ("03/02/2026", "days since 1899-12-30", "time-form"),
        ("0", "days since 1899-12-30", "year-refused"),
        ("46056", "days since 1904-01-01", None),
        ("1770114600000", "epoch s", "no-such-time"),
        ("1770114600", "epoch ms", "year-refused"),
        ("nan", "epoch s", "time-form"),
        ("1970-01-01 00:00", "%Y-%m-%d %H:%M", "year-refused"),
        ("2026-02-03 24:01", "%Y-%m-%d %H:%M", "no-such-time"),
        ("24:00", "%H:%M", "no-such-time"),
    ],
)
def test_a_start_of_another_form_is_located_or_four_years_off_where_nothing_shows_it(
    text: str, form: str, code: str | None
) -> None:
    columns = [JOB, {"name": "D", "to": "started_at_local", "time_format": form}]
    plugin = plugin_of(table(columns), layout={"delimiter": ";"})
    if code is None:  # the two day systems of spreadsheets differ by 1462 days: only the plugin can say which it is
        assert _started(text, form) == datetime(2030, 2, 4)
        return
    (problem,) = refused(f"Nr;D\n1;{text}\n", plugin)
    assert (problem.code, problem.place, problem.found) == (code, Place("test.csv", 2, "D"), f"'{text}'")


def test_an_end_before_its_start_is_noted_and_left_out_and_the_text_is_kept() -> None:
    columns = [
        JOB,
        {"name": "From", "to": "started_at_local", "time_format": "%Y-%m-%d %H:%M"},
        {"name": "To", "to": "ended_at_local", "time_format": "%H:%M"},
    ]
    plugin = plugin_of(table(columns))
    (after,) = read("Nr,From,To\n1,2026-02-03 10:30,11:05\n", plugin)
    assert after.time.ended_at_local == datetime(2026, 2, 3, 11, 5)
    text = "Nr,From,To\n1,2026-02-03 10:30,10:29\n"
    (before,) = read(text, plugin)
    assert (before.time.ended_at_local, before.time.ended_at_as_recorded) == (None, "10:29")
    (problem,) = noted(text, plugin)
    assert (problem.code, problem.place, problem.blocks) == ("end-before-start", Place("test.csv", 2, "To"), "cell")


# ids


@pytest.mark.parametrize("text", ["0042", "00000000000000000001", "1.23E+15", "1,234", "7.0", "+7", " 7 ", "1e5"])
def test_an_id_stays_the_text_it_is(text: str) -> None:
    (session,) = read(f"Nr;P\n{text};-50\n", plugin_of(table([JOB, PRESSURE]), layout={"delimiter": ";"}))
    assert session.record.job_id == text.strip()


# the wind


@pytest.mark.parametrize("word", ["5", "5-10", "N/A", "Breezy", "gusty"])
def test_a_text_for_the_wind_that_the_plugin_does_not_know_is_asked_and_never_a_speed(word: str) -> None:
    found = outcome(
        f"Nr,Wind\n1,{word}\n",
        plugin_of(
            table([JOB, {"name": "Wind", "to": "wind_as_recorded", "beaufort": {"calm": [0, 1], "breezy": [3, 4]}}])
        ),
    )
    (question,) = found.mapped.questions
    assert (found.state, question.place) == ("held", Place("test.csv", 2, "Wind"))
    assert [choice.value for choice in question.choices] == ["0-1", "3-4", "absent"]


def test_a_wind_without_its_unit_is_asked_about() -> None:
    plugin = plugin_of(table([JOB, {"name": "Wind", "to": "wind_speed_m_s"}], header_unit_marks=["(", ")"]))
    held = outcome("Nr,Wind\n1,10\n", plugin)
    assert [choice.value for choice in held.mapped.questions[0].choices] == ["m/s", "km/h", "mph", "knots"]
    # one mile is 1609.344 m (international yard and pound agreement of 1959)
    assert document("Nr,Wind (mph)\n1,10\n", plugin)["conditions"]["wind_speed_m_s"] == pytest.approx(4.4704)


# rows that are none of the table


@pytest.mark.parametrize("line", ["*7F", "CRC 1A2B", "checksum,0x1A2B,,,", "-- end of record --"])
def test_a_checksum_below_a_log_is_located_or_kept_where_the_layout_knows_it(line: str) -> None:
    found = problems(LOG.replace("OL", "-2").replace("20.3,\n", "20.3,1\n") + f"{line}\n")
    assert {problem.place.row for problem in found} == {13}
    assert {problem.blocks for problem in found} <= {"file", "session"}
    plugin = plugin_of(table([JOB, PRESSURE]), layout={"footer_marks": [line[:2]]})
    (session,) = read(f"Nr,P\n1,-50\n{line}\n", plugin)
    assert [(one.kept_name, one.kept_first_row, one.kept_first) for one in session.kept] == [("footers", 3, line)]


def test_columns_in_another_order_and_renamed_ones() -> None:
    plugin = plugin_of(table([JOB, PRESSURE, {"name": "Q", "to": "flow_m3_h", "unit": "m3/h"}]))
    straight, turned = (document(text, plugin)["runs"] for text in ("Nr,P,Q\n1,-50,900\n", "Q,Nr,P\n900,1,-50\n"))
    assert straight == turned
    (problem,) = refused("Nr,P,Flow\n1,-50,900\n", plugin)
    assert (problem.code, problem.place.column) == ("column-missing", "Q")
    (problem,) = refused("Nr,P,P\n1,-50,900\n", plugin_of(table([JOB, PRESSURE])))
    assert (problem.code, problem.place) == ("header-twice", Place("test.csv", 1, "P"))


def test_a_test_that_stands_twice_is_noted_and_a_second_one_of_the_same_values_is_not() -> None:
    twice = f"{HEAD}\n{SECOND}\n{SECOND}\n"
    assert the_problem(twice.replace("49.8", "-49.8")).code == "row-twice"
    retest = f"{HEAD}\n{SECOND}\n{SECOND.replace('12:15 PM', '1:45 PM')}\n".replace("49.8", "-49.8")
    assert [session.source.source_place for session in sessions(retest)] == ["row 2", "row 3"]
    assert problems(retest) == []


def test_dates_of_calibrations_are_days() -> None:
    columns = [JOB, {"name": "C", "to": "gauge_calibrated_on", "time_format": "days since 1899-12-30"}]
    (session,) = read("Nr,C\n1,45789\n", plugin_of(table(columns)))
    assert session.gauges[0].gauge_calibrated_on == date(2025, 5, 12)
