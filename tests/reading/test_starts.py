"""When a test was: from the words of the file, from the zone of the archive, and what clocks skip or repeat."""

from __future__ import annotations

from datetime import UTC, datetime, timedelta

from reading_inputs import LOG, ROWS, SECOND, SECTIONS, answer, sessions, taken, the_problem

from interchange.errors import Place


def test_an_offset_in_the_file_makes_the_time_exact() -> None:
    time = sessions(SECTIONS)[0].time
    assert time.started_at_local == datetime(2026, 2, 3, 10, 42)
    assert time.started_at_utc == datetime(2026, 2, 3, 15, 42, tzinfo=UTC)
    assert (time.utc_offset_s, time.time_zone, time.time_zone_from, time.time_quality) == (
        -18_000,
        None,
        "source",
        "exact",
    )
    log = sessions(LOG)[0].time
    assert (log.started_at_as_recorded, log.started_at_utc) == (
        "2026-02-11T13:05:00+01:00",
        datetime(2026, 2, 11, 12, 5, tzinfo=UTC),
    )


def test_the_zone_of_the_archive_counts_where_the_file_says_none() -> None:
    time = sessions(ROWS, "America/Chicago")[0].time
    assert time.started_at_utc == datetime(2026, 2, 3, 15, 15, tzinfo=UTC)
    assert (time.utc_offset_s, time.time_zone, time.time_zone_from, time.time_quality) == (
        -21_600,
        "America/Chicago",
        "archive",
        "offset_assumed",
    )
    assert sessions(SECTIONS, "America/Chicago")[0].time == sessions(SECTIONS)[0].time


def test_a_date_without_a_clock_is_a_date_only() -> None:
    time = sessions(ROWS.replace("9:15 AM", "n/a"), "America/Chicago")[0].time
    assert (time.started_at_as_recorded, time.started_at_local, time.started_at_utc, time.time_quality) == (
        "02/03/2026",
        datetime(2026, 2, 3),
        None,
        "date_only",
    )


def test_a_day_that_does_not_exist_is_refused() -> None:
    assert str(the_problem(SECTIONS.replace("third", "full").replace("03.02.2026", "31.02.2026"))) == (
        "test.csv, row 6, column 'Started': found '31.02.2026 10:42'; "
        "expected a time that exists, written DD.MM.YYYY hh:mm. Correct the cell in the source."
    )


def test_a_time_of_another_form_is_refused() -> None:
    found = the_problem(ROWS.replace("02/03/2026", "2026-02-03"))
    assert (found.code, found.place, found.expected) == (
        "time-form",
        Place("test.csv", 2, "Test date"),
        "a time written MM/DD/YYYY",
    )


def test_an_hour_that_clocks_skip_is_refused() -> None:
    assert str(the_problem(ROWS.replace("02/03/2026,9:15 AM", "03/08/2026,2:30 AM"), "America/Chicago")) == (
        "test.csv, row 2, column 'Test time': found '03/08/2026 2:30 AM', an hour that clocks in America/Chicago skip "
        "on that day; expected a time that exists. Correct the time in the source, or the time zone of the archive."
    )


def test_an_hour_that_clocks_repeat_is_asked_for_this_file_alone() -> None:
    text = ROWS.replace("11/01/2026,12:15 PM", "11/01/2026,1:30 AM")
    held = taken(text, "America/Chicago")
    assert (held.state, held.mapped.sessions) == ("held", ())
    (question,) = held.mapped.questions
    assert question.subject == "Which of the two times 11/01/2026 1:30 AM in row 3 is meant?"
    assert question.place == Place("test.csv", 3, "Test time")
    assert question.scopes == ("file",)
    assert [(choice.value, choice.consequence) for choice in question.choices] == [
        ("first", "the test began at 2026-11-01T06:30:00Z"),
        ("second", "the test began at 2026-11-01T07:30:00Z"),
    ]
    first, second = (
        taken(text, "America/Chicago", (answer(question.question_id, value),)) for value in ("first", "second")
    )
    (began, later) = (outcome.mapped.sessions[1].time.started_at_utc for outcome in (first, second))
    assert began == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
    assert later is not None
    assert later - began == timedelta(hours=1)
    (other,) = taken(text + SECOND.replace("12:15 PM", "3:00 PM") + "\n", "America/Chicago").mapped.questions
    assert other.question_id != question.question_id
