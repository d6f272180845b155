"""Dates, clocks and offsets, held against the standard library; clocks that skip or repeat an hour."""

from __future__ import annotations

from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.reading.times import (
    Moment,
    NoSuchTimeError,
    TimeFormError,
    form_in_words,
    in_utc,
    moment,
    offset_in_zone_s,
    on_clock,
)

BERLIN = ZoneInfo("Europe/Berlin")


@given(st.datetimes(datetime(1000, 1, 1), datetime(9999, 12, 31)))
def test_what_the_standard_library_writes_is_read(when: datetime) -> None:
    when = when.replace(microsecond=0)
    for form in ("%Y-%m-%dT%H:%M:%S", "%d.%m.%Y %H:%M:%S", "%m/%d/%Y %I:%M:%S %p"):
        assert moment(when.strftime(form), form) == Moment(when.date(), when.time())


@pytest.mark.parametrize(
    ("text", "clock"),
    [("12:00 AM", time(0)), ("12:30 PM", time(12, 30)), ("1:05 pm", time(13, 5)), ("11:59 PM", time(23, 59))],
)
def test_the_twelve_hour_clock(text: str, clock: time) -> None:
    assert moment(text, "%I:%M %p") == Moment(clock=clock)


@pytest.mark.parametrize(
    ("text", "form"),
    [
        ("31.02.2026", "%d.%m.%Y"),
        ("29.02.2026", "%d.%m.%Y"),
        ("13/14/2026", "%m/%d/%Y"),
        ("25:00", "%H:%M"),
        ("24:00", "%H:%M"),
        ("10:60", "%H:%M"),
        ("13:00 AM", "%I:%M %p"),
        ("0:10 AM", "%I:%M %p"),
        ("+19:00", "%z"),
        ("+05:75", "%z"),
    ],
)
def test_times_that_no_clock_or_calendar_shows(text: str, form: str) -> None:
    with pytest.raises(NoSuchTimeError):
        moment(text, form)


@pytest.mark.parametrize(("text", "form"), [("3.2.26", "%d.%m.%Y"), ("10.42", "%H:%M"), ("noon", "%H:%M"), ("5", "%z")])
def test_texts_of_another_form(text: str, form: str) -> None:
    with pytest.raises(TimeFormError):
        moment(text, form)


@pytest.mark.parametrize(
    ("text", "offset_s"), [("Z", 0), ("+00:00", 0), ("-05:00", -18_000), ("+0530", 19_800), ("-03:30", -12_600)]
)
def test_offsets(text: str, offset_s: int) -> None:
    assert moment(text, "%z") == Moment(offset_s=offset_s)


def test_a_leap_day_is_read() -> None:
    assert moment("29.02.2024", "%d.%m.%Y") == Moment(date(2024, 2, 29))


def test_the_form_in_words() -> None:
    assert form_in_words("%m/%d/%Y %I:%M %p") == "MM/DD/YYYY hh:mm AM/PM"


# In Berlin clocks went from 2:00 to 3:00 on 29 March 2026 and go from 3:00 back to 2:00 on 25 October 2026
# (directive 2000/84/EC: last Sundays of March and October, 1:00 UTC).
@pytest.mark.parametrize(
    ("local", "how_often"),
    [
        (datetime(2026, 3, 29, 1, 59), "once"),
        (datetime(2026, 3, 29, 2, 0), "never"),
        (datetime(2026, 3, 29, 2, 59), "never"),
        (datetime(2026, 3, 29, 3, 0), "once"),
        (datetime(2026, 10, 25, 1, 59), "once"),
        (datetime(2026, 10, 25, 2, 0), "twice"),
        (datetime(2026, 10, 25, 2, 59), "twice"),
        (datetime(2026, 10, 25, 3, 0), "once"),
    ],
)
def test_how_often_a_clock_shows_a_time(local: datetime, how_often: str) -> None:
    assert on_clock(local, BERLIN) == how_often


def test_the_two_passes_of_a_repeated_hour_are_an_hour_apart() -> None:
    local = datetime(2026, 10, 25, 2, 30)
    first, second = (in_utc(local, offset_in_zone_s(local, BERLIN, fold)) for fold in (0, 1))
    assert (first, second) == (datetime(2026, 10, 25, 0, 30, tzinfo=UTC), first + timedelta(hours=1))
