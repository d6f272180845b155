"""Times of logs in every form a layout can state, and how they step; the standard library is the outside check."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta, timezone
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from made_layouts import entries, noted, outcome, plugin_of, read, refused, table

from interchange.errors import Place
from interchange.reading.body import FEW_ROWS

MONTHS = ["Jan", "Fév", "Mär", "Apr.", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec"]
WIND = {"name": "W", "to": "wind_speed_m_s", "unit": "m/s", "channel": "wind"}
BEGAN = datetime(2026, 2, 11, 9, 58, 30)


def _log(form: str | None, *, uneven: bool = False, unit: str | None = None, **more: Any) -> Any:
    time = {"name": "T", "to": "time_s" if unit or form == ELAPSED else "sampled_at"}
    time |= {"time_format": form} if form else {"unit": unit}
    layout = {"month_names": MONTHS, "delimiter": ";"}
    return plugin_of(table([time, WIND], "sample", uneven=uneven), kind="weather", layout=layout, **more)


ELAPSED = "%H:%M:%S"


def _text(stamps: list[str]) -> str:
    return "T;W\n" + "".join(f"{stamp};3.5\n" for stamp in stamps)


def _days_since(first: datetime) -> Callable[[datetime], str]:
    return lambda when: f"{(when - first) / timedelta(days=1):.8f}"


# form, how the standard library writes it, and the steps it can show
FORMS: list[tuple[str, Callable[[datetime], str], float]] = [
    ("%Y-%m-%d %H:%M:%S", lambda when: when.strftime("%Y-%m-%d %H:%M:%S"), 1.0),
    ("%Y-%m-%dT%H:%M:%S.%f", lambda when: when.strftime("%Y-%m-%dT%H:%M:%S.%f"), 0.25),
    ("%d.%m.%y %H:%M:%S", lambda when: when.strftime("%d.%m.%y %H:%M:%S"), 30.0),
    ("%m/%d/%Y %I:%M:%S %p", lambda when: when.strftime("%m/%d/%Y %I:%M:%S %p"), 90.0),
    ("%d %b %Y %H:%M", lambda when: f"{when.day} {MONTHS[when.month - 1]} {when:%Y %H:%M}", 60.0),
    ("epoch s", lambda when: f"{when.replace(tzinfo=UTC).timestamp():.0f}", 10.0),
    ("epoch s", lambda when: f"{when.replace(tzinfo=UTC).timestamp():.3f}", 0.125),
    ("epoch ms", lambda when: f"{when.replace(tzinfo=UTC).timestamp() * 1000:.0f}", 0.5),
    ("days since 1899-12-30", _days_since(datetime(1899, 12, 30)), 600.0),
    ("days since 1904-01-01", _days_since(datetime(1904, 1, 1)), 600.0),
    ("%Y-%m-%d %H:%M:%S%z", lambda when: when.strftime("%Y-%m-%d %H:%M:%S-05:00"), 1.0),
]


@pytest.mark.parametrize(("form", "write", "step_s"), FORMS)
@pytest.mark.parametrize("count", [3, 3 * FEW_ROWS])
def test_each_form_gives_the_same_start_and_step(
    form: str, write: Callable[[datetime], str], step_s: float, count: int
) -> None:
    began = BEGAN if "%S" in form or "%M" not in form else BEGAN.replace(second=0)
    stamps = [write(began + timedelta(seconds=step_s * index)) for index in range(count)]
    found = outcome(_text(stamps), _log(form))
    assert found.state == "imported", [str(problem) for problem in found.mapped.problems]
    (session,), (trace,) = found.mapped.sessions, found.mapped.traces
    assert (session.time.started_at_local, session.time.started_at_as_recorded) == (began, stamps[0])
    assert (trace.start_s, trace.interval_s, trace.time_s, len(trace.values)) == (0.0, step_s, None, count)
    in_utc = {"epoch s": 0, "epoch ms": 0, "%Y-%m-%d %H:%M:%S%z": -18_000}.get(form)
    if in_utc is None:
        assert (session.time.started_at_utc, session.time.utc_offset_s) == (None, None)
    else:
        zone = timezone(timedelta(seconds=in_utc))
        assert session.time.started_at_utc == began.replace(tzinfo=zone)
        assert (session.time.utc_offset_s, session.time.time_quality) == (in_utc, "exact")


@pytest.mark.parametrize(
    ("form", "stamps", "row"),
    [
        ("%Y-%m-%d %H:%M:%S", ["2026-02-11 09:00:00", "2026-02-30 09:00:01"], 3),
        ("%Y-%m-%d %H:%M:%S", ["2026-02-11 09:00:00", "2026-02-11 09:00:61"], 3),
        ("%Y-%m-%d %H:%M:%S", ["2026-02-11 25:00:00", "2026-02-11 09:00:01"], 2),
        ("%m/%d/%Y %I:%M:%S %p", ["02/11/2026 13:00:00 AM", "02/11/2026 01:00:01 PM"], 2),
        ("%m/%d/%Y %I:%M:%S %p", ["02/11/2026 01:00:00 PM", "11/13/2026", "02/11/2026 01:00:02 PM"], 3),
        ("%m/%d/%Y %H:%M:%S", ["02/11/2026 01:00:00", "13/02/2026 01:00:01"], 3),
        ("%d %b %Y %H:%M", ["11 Feb 2026 09:00", "11 Fév 2026 09:01"], 2),
        ("epoch s", ["1770800000", "17708x0001"], 3),
        ("days since 1899-12-30", ["46064.5", "2026-02-11"], 3),
        ("%Y-%m-%d %H:%M:%S%z", ["2026-02-11 09:00:00+19:00", "2026-02-11 09:00:01+01:00"], 2),
    ],
)
def test_a_stamp_that_is_no_time_is_located(form: str, stamps: list[str], row: int) -> None:
    (problem,) = refused(_text(stamps), _log(form))
    assert (problem.code, problem.place, problem.found) == (
        "time-form",
        Place("test.csv", row, "T"),
        f"'{stamps[row - 2]}'",
    )


def test_the_clock_may_show_24_o_clock_at_the_end_of_a_day_and_nowhere_else() -> None:
    stamps = ["2026-02-11 23:50", "2026-02-11 24:00", "2026-02-12 00:10"]
    (trace,) = outcome(_text(stamps), _log("%Y-%m-%d %H:%M")).mapped.traces
    assert trace.interval_s == 600.0
    (problem,) = [p for p in refused(_text([*stamps, "2026-02-12 24:20"]), _log("%Y-%m-%d %H:%M"))][:1]
    assert (problem.code, problem.place.row) == ("time-form", 5)


def test_noon_and_midnight_of_a_twelve_hour_clock() -> None:
    stamps = ["02/11/2026 11:30 PM", "02/12/2026 12:00 AM", "02/12/2026 12:30 AM"]
    (trace,) = outcome(_text(stamps), _log("%m/%d/%Y %I:%M %p")).mapped.traces
    assert trace.interval_s == 1800.0
    stamps = ["02/11/2026 11:30 AM", "02/11/2026 12:00 PM", "02/11/2026 12:30 PM"]
    (trace,) = outcome(_text(stamps), _log("%m/%d/%Y %I:%M %p")).mapped.traces
    assert trace.interval_s == 1800.0


def test_an_offset_that_changes_within_a_log_changes_no_step() -> None:
    # clocks in Berlin went from 2:00 to 3:00 on 29 March 2026 (directive 2000/84/EC)
    stamps = ["2026-03-29 01:59:59+01:00", "2026-03-29 03:00:00+02:00", "2026-03-29 03:00:01+02:00"]
    found = outcome(_text(stamps), _log("%Y-%m-%d %H:%M:%S%z"))
    assert found.mapped.traces[0].interval_s == 1.0
    assert found.mapped.sessions[0].time.started_at_utc == datetime(2026, 3, 29, 0, 59, 59, tzinfo=UTC)


def test_date_and_clock_may_stand_in_two_columns() -> None:
    columns = [
        {"name": "D", "to": "sampled_at", "time_format": "%Y-%m-%d"},
        {"name": "H", "to": "sampled_at", "time_format": "%H:%M"},
        WIND,
    ]
    plugin = plugin_of(table(columns, "sample"), kind="weather")
    found = outcome("D,H,W\n2026-02-11,23:30,3\n2026-02-12,00:00,4\n2026-02-12,00:30,5\n", plugin)
    assert found.mapped.traces[0].interval_s == 1800.0
    assert found.mapped.sessions[0].time.started_at_local == datetime(2026, 2, 11, 23, 30)


@given(st.datetimes(datetime(1986, 1, 1), datetime(2098, 12, 31)), st.sampled_from([0.25, 1.0, 60.0, 3600.0]))
def test_any_start_is_read_to_the_microsecond(began: datetime, step_s: float) -> None:
    began = began.replace(microsecond=began.microsecond // 1000 * 1000)
    stamps = [(began + timedelta(seconds=step_s * index)).strftime("%Y-%m-%dT%H:%M:%S.%f") for index in range(3)]
    found = outcome(_text(stamps), _log("%Y-%m-%dT%H:%M:%S.%f"))
    assert found.mapped.sessions[0].time.started_at_local == began
    assert found.mapped.traces[0].interval_s == step_s


# elapsed times


def test_elapsed_times_may_begin_late_and_run_beyond_a_day() -> None:
    found = outcome(_text(["23:59:00", "24:00:00", "24:01:00", "100:00:00"][:3]), _log(ELAPSED))
    (trace,) = found.mapped.traces
    assert (trace.start_s, trace.interval_s) == (86_340.0, 60.0)
    channel = found.mapped.sessions[0].channels[0]
    assert (channel.start_s, channel.interval_s) == (86_340.0, 60.0)
    assert "start-unknown" in [problem.code for problem in found.mapped.problems]


@pytest.mark.parametrize("stamp", ["0:00:61", "0:60:00", "1:00", "x"])
def test_an_elapsed_time_that_is_none_is_located(stamp: str) -> None:
    (problem,) = refused(_text(["0:00:01", stamp, "0:00:03"]), _log(ELAPSED))
    assert (problem.code, problem.place) == ("time-form", Place("test.csv", 3, "T"))


def test_a_time_that_is_absent_or_no_number_is_told_once() -> None:
    for stamp, code in (("", "time-missing"), ("x", "not-a-number")):
        (problem,) = refused(_text(["0.5", stamp, "1.5"]), _log(None, unit="min"))
        assert (problem.code, problem.place) == (code, Place("test.csv", 3, "T"))
    (problem,) = refused(_text(["2026-02-11 10:00", "", "2026-02-11 10:20"]), _log("%Y-%m-%d %H:%M"))
    assert (problem.code, problem.place) == ("time-missing", Place("test.csv", 3, "T"))


def test_elapsed_times_may_be_counts_of_their_unit() -> None:
    (trace,) = outcome(_text(["0.5", "1.0", "1.5"]), _log(None, unit="min")).mapped.traces
    assert (trace.start_s, trace.interval_s) == (30.0, 30.0)


def test_a_log_starts_as_much_later_as_its_first_stamp_after_the_start_that_the_file_states() -> None:
    plugin = plugin_of(
        entries({"name": "began", "to": "started_at_local", "time_format": "%Y-%m-%d %H:%M"}),
        table([{"name": "T", "to": "sampled_at", "time_format": "%Y-%m-%d %H:%M:%S"}, WIND], "sample", uneven=True),
        kind="weather",
        layout={"key_prefix": "#", "key_separator": "="},
    )
    text = "# began = 2026-02-11 10:00\nT,W\n2026-02-11 10:02:30,1\n2026-02-11 10:02:31,2\n2026-02-11 10:02:40,3\n"
    found = outcome(text, plugin)
    (session,), (trace,) = found.mapped.sessions, found.mapped.traces
    assert session.time.started_at_local == datetime(2026, 2, 11, 10)
    assert (trace.start_s, session.channels[0].start_s) == (150.0, 150.0)
    assert trace.time_s is not None
    assert trace.time_s.to_pylist() == [150.0, 151.0, 160.0]


# uneven logs

STAMPS = ["2026-02-11 10:00", "2026-02-11 10:10", "2026-02-11 10:40", "2026-02-11 10:50", "2026-02-11 11:00"]


def test_an_uneven_log_keeps_its_own_times_and_a_gap_is_noted() -> None:
    plugin = _log("%Y-%m-%d %H:%M", uneven=True)
    (trace,) = outcome(_text(STAMPS), plugin).mapped.traces
    assert (trace.interval_s, trace.time_s.to_pylist()) == (None, [0.0, 600.0, 2400.0, 3000.0, 3600.0])  # type: ignore[union-attr]
    (note,) = noted(_text(STAMPS), plugin)
    assert (note.blocks, str(note)) == (
        "note",
        "test.csv, row 4, column 'T': found 2400 s after 600 s; "
        "expected steps of 600 s throughout, as between most rows. "
        "Nothing need be done: each record keeps its own time.",
    )
    (channel,) = read(_text(STAMPS), plugin)[0].channels
    assert (channel.interval_s, channel.sample_count) == (None, 5)


def test_a_log_that_may_be_uneven_and_is_not_has_a_step() -> None:
    (trace,) = outcome(_text(STAMPS[:2]), _log("%Y-%m-%d %H:%M", uneven=True)).mapped.traces
    assert (trace.interval_s, trace.time_s) == (600.0, None)


def test_a_gap_in_a_log_that_may_not_be_uneven_is_refused() -> None:
    assert [(p.code, p.place.row) for p in refused(_text(STAMPS), _log("%Y-%m-%d %H:%M"))] == [("time-gap", 4)]


@pytest.mark.parametrize("uneven", [True, False])
@pytest.mark.parametrize("stamp", ["2026-02-11 09:50", "2026-02-11 10:10"])
def test_a_step_back_or_a_stamp_twice_is_refused(uneven: bool, stamp: str) -> None:
    found = refused(_text([*STAMPS[:2], stamp, *STAMPS[2:]]), _log("%Y-%m-%d %H:%M", uneven=uneven))
    assert ("time-step-back", 4) in [(problem.code, problem.place.row) for problem in found]


def test_a_log_of_one_record_keeps_its_time_where_steps_may_differ() -> None:
    (trace,) = outcome(_text(STAMPS[:1]), _log("%Y-%m-%d %H:%M", uneven=True)).mapped.traces
    assert (trace.interval_s, trace.time_s.to_pylist()) == (None, [0.0])  # type: ignore[union-attr]
    assert [p.code for p in refused(_text(STAMPS[:1]), _log("%Y-%m-%d %H:%M"))] == ["log-of-one-row"]


# the offset that a layout states


@pytest.mark.parametrize(("offset_s", "zone"), [(0.0, None), (3600.0, "America/Chicago"), (-19_800.0, None)])
def test_an_offset_that_the_layout_states_makes_the_time_exact(offset_s: float, zone: str | None) -> None:
    plugin = _log("%Y-%m-%d %H:%M", constants={"utc_offset_s": offset_s})
    (session,) = read(_text(STAMPS[:2]), plugin, zone=zone)
    assert session.time.started_at_utc == datetime(2026, 2, 11, 10, tzinfo=timezone(timedelta(seconds=offset_s)))
    assert (session.time.utc_offset_s, session.time.time_quality, session.time.time_zone_from) == (
        offset_s,
        "exact",
        "source",
    )


def test_an_offset_that_the_file_gives_goes_before_that_of_the_layout() -> None:
    plugin = plugin_of(
        entries({"name": "offset", "to": "utc_offset_s", "time_format": "%z"}),
        table([{"name": "T", "to": "sampled_at", "time_format": "%Y-%m-%d %H:%M"}, WIND], "sample"),
        kind="weather",
        layout={"key_prefix": "#", "key_separator": "="},
        constants={"utc_offset_s": 0.0},
    )
    rows = "T,W\n2026-02-11 10:00,1\n2026-02-11 10:10,1\n"
    offsets = [read(head + rows, plugin)[0].time.utc_offset_s for head in ("# offset = +02:00\n", "")]
    assert offsets == [7200, 0]


@pytest.mark.parametrize("stamp", ["0", "86400", "-1", "5000000000"])
def test_a_clock_that_was_never_set_is_refused(stamp: str) -> None:
    plugin = plugin_of(
        table([{"name": "T", "to": "sampled_at", "time_format": "epoch s"}, WIND], "sample", uneven=True),
        kind="monitoring",
    )
    (problem,) = refused(f"T,W\n{stamp},3\n", plugin)
    assert (problem.code, problem.place, problem.found) == ("year-refused", Place("test.csv", 2, "T"), f"'{stamp}'")


def test_weather_may_be_older_than_any_test() -> None:
    stamps = ["1931-02-11 10:00", "1931-02-11 11:00"]
    assert str(read(_text(stamps), _log("%Y-%m-%d %H:%M"))[0].time.started_at_local) == "1931-02-11 10:00:00"
