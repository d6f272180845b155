"""Compares two reference lines that were read side by side, in one record or many."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import clocks, site_wind
from interchange.analysis import side_by_side as kernel
from interchange.analysis.clocks import Offset
from interchange.analysis.side_by_side import Compared, Slow
from interchange.archive.snapshot import Snapshot
from interchange.archive.store import Store
from interchange.model.session import Channel, Session
from interchange.operations.select import select_sessions
from interchange.operations.weather import Floats, Record, moment_s, nearest_record, records, values
from interchange.report.heads import Units
from interchange.report.lines import HONEST, Said, left_out_words, sentences
from interchange.report.picture_of_lines import Panels
from interchange.table import Row, Table

BANDS_M_S = (0.0, 3.0, 6.0, np.inf)  # calm, breezy, windy
SECTORS = ("north", "east", "south", "west")
PRESSURE, SPEED, FROM = "envelope_pressure_pa", "wind_speed_m_s", "wind_from_deg"
_COLUMNS = (
    *("job_id", "started_at_local", "first_line", "second_line", "compared_part", "minutes_compared"),
    *("wind_speed_m_s", "first_spread_pa", "second_spread_pa", "spread_ratio", "spread_ratio_low", "spread_ratio_high"),
    *("line_difference_pa", "line_difference_low_pa", "line_difference_high_pa"),
    *("slow_correlation", "slow_correlation_low", "slow_correlation_high"),
    *("clock_offset_s", "clock_offset_low_s", "clock_offset_high_s", "minutes_to_see", "site_id", "session_id"),
)
_PAGE = (*_COLUMNS[:1], *_COLUMNS[2:15])


@dataclass(frozen=True, slots=True)
class Beside:
    """The tables, data and the shorter one for people; what is said of each record; what a picture shows of each."""

    table: Table
    page: Table
    said: tuple[tuple[str, tuple[str, ...]], ...]
    pictures: tuple[Panels, ...]
    units: Units


@dataclass(slots=True)
class _Hour:
    """Both lines of one record on one clock, and the wind beside them; NaN where a value is missing."""

    session: Session
    names: tuple[str, str]
    gauges: tuple[str | None, str | None]
    time_s: Floats
    first_pa: Floats
    second_pa: Floats
    step_s: float
    speed_m_s: Floats
    from_deg: Floats
    wind_is: str | None
    parts: list[tuple[str, Compared, float]] = field(default_factory=list)
    slow: Slow = field(default_factory=lambda: Slow(kernel.UNTOLD, np.nan))
    offset: Offset | None = None
    notes: list[str] = field(default_factory=list)


def compare_lines(
    root: Path, names: Sequence[str] = (), plan_ratio: float | None = None, version: int | None = None
) -> Beside:
    """Compare the lines of the records named, or of all that hold two.

    Raises UsageError for a name that no test has, ArchiveError for an archive that cannot be used.
    """
    store = Store.open(root)
    snapshot = store.snapshot(version)
    chosen = select_sessions(snapshot, names) if names else _monitoring(snapshot)
    known = records(snapshot)
    hours, left_out = [], []
    for session in chosen:
        found, why = _hours(snapshot, session, known)
        hours += found
        if why is not None:
            left_out.append(left_out_words(session.record.job_id or session.session_id, why))
    for hour in hours:
        _compare(hour, known)
    _swapped(hours)
    rows = [row for hour in hours for row in _rows(hour, plan_ratio)]
    table = Table(_COLUMNS, rows, left_out, [HONEST] if hours else [])
    places = [_COLUMNS.index(name) for name in _PAGE]
    page = replace(table, columns=_PAGE, rows=[tuple(row[i] for i in places) for row in rows])
    said = tuple((_title(hour), tuple(sentences(_for_words(hour, plan_ratio)))) for hour in hours)
    return Beside(table, page, said, tuple(map(_panels, hours)), store.settings.units)


def _monitoring(snapshot: Snapshot) -> list[Session]:
    sessions = [session for session in snapshot.sessions() if session.kind == "monitoring"]
    return sorted(sessions, key=lambda s: (s.record.job_id or "", str(s.time.started_at_local), s.session_id))


def _hours(snapshot: Snapshot, session: Session, known: Sequence[Record]) -> tuple[list[_Hour], str | None]:
    """Every line of a record against its first one, or why there is nothing to compare."""
    if session.kind != "monitoring":
        return [], "not_monitoring"
    lines: dict[str, Channel] = {}
    for channel in session.channels:
        if channel.quantity == PRESSURE:
            lines.setdefault(channel.line_id or channel.channel_id, channel)
    if len(lines) < 2:
        return [], "one_line"
    series = {trace.channel_id: values(trace) for trace in snapshot.traces(session.session_id)}
    (first_name, first), *others = lines.items()
    hours = []
    for name, other in others:
        time, a, b = kernel.on_one_clock(series[first.channel_id], series[other.channel_id])
        if not (np.isfinite(a) & np.isfinite(b)).any():
            continue
        step = float(time[1] - time[0]) if time.size > 1 else 1.0
        a = a + _zero(session, series, first, other)
        gauges = (_gauge(session, first), _gauge(session, other))
        wind = _wind(session, series, time, known)
        hours.append(_Hour(session, (first_name, name), gauges, time, a, b, step, *wind))
    return hours, None if hours else "no_overlap"


def _gauge(session: Session, channel: Channel) -> str | None:
    """What tells a gauge from others, over records."""
    serials = {gauge.gauge_id: gauge.gauge_serial for gauge in session.gauges}
    serial = serials.get(channel.gauge_id or "")
    return f"{serial} {channel.gauge_id}" if serial else None


def _zero(session: Session, series: dict[str, tuple[Floats, Floats]], first: Channel, other: Channel) -> float:
    """What the other gauge reads more than the first on one common line [Pa], where that was recorded; else 0."""
    by_line: dict[str, dict[str, str]] = {}
    for channel in session.channels:
        if channel.quantity == PRESSURE and channel.line_id and channel.gauge_id:
            by_line.setdefault(channel.line_id, {})[channel.gauge_id] = channel.channel_id
    for gauges in by_line.values():
        if first.gauge_id != other.gauge_id and {first.gauge_id, other.gauge_id} <= set(gauges):
            mine, theirs = (series[gauges[str(gauge)]] for gauge in (first.gauge_id, other.gauge_id))
            _, a, b = kernel.on_one_clock(mine, theirs)
            if np.isfinite(b - a).any():
                return float(np.nanmean(b - a))
    return 0.0


def _wind(
    session: Session, series: dict[str, tuple[Floats, Floats]], time_s: Floats, known: Sequence[Record]
) -> tuple[Floats, Floats, str | None]:
    """Wind speed and direction at the moments of the readings, and where they are from: the record itself first."""
    own = {channel.quantity: series[channel.channel_id] for channel in session.channels}
    speed, turned, source = np.full(time_s.size, np.nan), np.full(time_s.size, np.nan), None
    start = moment_s(session)
    record = nearest_record(session, known, start)[0] if np.isfinite(start) else None
    if SPEED in own:
        speed, source = site_wind.in_time(time_s, *own[SPEED], furthest_s=120.0)[0], "own"
    elif record is not None:
        speed, source = site_wind.in_time(start + time_s, record.time_s, record.speed_m_s)[0], "station"
    if FROM in own:
        turned = site_wind.in_time(time_s, *own[FROM], furthest_s=120.0, turning=True)[0]
    elif record is not None:
        turned = site_wind.in_time(start + time_s, record.time_s, record.from_deg, turning=True)[0]
    return speed, turned, source


def _compare(hour: _Hour, known: Sequence[Record]) -> None:
    found = kernel.jumps(hour.first_pa, hour.second_pa, hour.step_s)
    if found:
        kept = kernel.longest_between([place for place, _ in found], hour.time_s.size)
        minutes = (hour.time_s.size - (kept.stop - kept.start)) * hour.step_s / 60.0
        at = ", ".join(f"{size:+.1f} Pa at minute {hour.time_s[place] / 60.0:.0f}" for place, size in found)
        hour.notes.append(
            f"The difference of the lines jumps ({at}), as water in a tube or a moved tube makes it; only the longest "
            f"stretch without a jump is used, {minutes:.0f} min are left out."
        )
        for name in ("time_s", "first_pa", "second_pa", "speed_m_s", "from_deg"):
            setattr(hour, name, getattr(hour, name)[kept])
    a, b, step = hour.first_pa, hour.second_pa, hour.step_s
    hour.parts.append(("all", kernel.compare(a, b, step), _mean(hour.speed_m_s)))
    hour.slow = kernel.slow(a, b, step)
    for words, part in (*_bands(hour), *_sectors(hour)):
        one = kernel.compare(a, b, step, part)
        if one.ratio.told and not part.all():
            hour.parts.append((words, one, _mean(hour.speed_m_s[part])))
    start = moment_s(hour.session)
    record = nearest_record(hour.session, known, start)[0] if np.isfinite(start) else None
    if record is not None:
        averaging = record.averaging_s if np.isfinite(record.averaging_s) else 600.0
        site = hour.speed_m_s if hour.wind_is == "own" else None
        hour.offset = clocks.clock_offset(
            hour.time_s, (a, b), record.time_s - start, record.speed_m_s, averaging, site_wind_m_s=site
        )


def _mean(series: Floats) -> float:
    return float(np.nanmean(series)) if np.isfinite(series).any() else np.nan


def _bands(hour: _Hour) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    """Minutes by the mean wind of each: a gust must not choose the readings that it makes."""
    wide = max(1, round(60.0 / hour.step_s))
    minute = np.arange(hour.speed_m_s.size) // wide
    known = np.isfinite(hour.speed_m_s)
    count = np.maximum(np.bincount(minute, known), 1)
    mean = (np.bincount(minute, np.where(known, hour.speed_m_s, 0.0)) / count)[minute]
    for low, high in pairwise(BANDS_M_S):
        words = f"wind {low:.0f} m/s and more" if np.isinf(high) else f"wind {low:.0f} to {high:.0f} m/s"
        yield words, known & (mean >= low) & (mean < high)


def _sectors(hour: _Hour) -> Iterator[tuple[str, NDArray[np.bool_]]]:
    sector = np.floor((np.nan_to_num(hour.from_deg, nan=-999.0) + 45.0) / 90.0).astype(int) % 4
    for number, words in enumerate(SECTORS):
        yield f"wind from the {words}", np.isfinite(hour.from_deg) & (sector == number)


def _swapped(hours: Sequence[_Hour]) -> None:
    """Say what records tell in which the same lines changed gauges: half the sum is the lines', the rest theirs."""
    for i, one in enumerate(hours):
        for other in hours[i + 1 :]:
            known = None not in one.gauges and one.gauges[0] != one.gauges[1]
            same = (one.session.record.site_id, one.names) == (other.session.record.site_id, other.names)
            if known and same and one.gauges == other.gauges[::-1]:
                a, b = (hour.parts[0][1].difference_pa.value for hour in (one, other))
                words = (
                    f"With the gauges swapped between two records the lines differ by {(a + b) / 2:+.2f} Pa and the "
                    f"gauges by {(a - b) / 2:+.2f} Pa (means of both)."
                )
                one.notes.append(words)
                other.notes.append(words)


def _rows(hour: _Hour, plan_ratio: float | None) -> Iterator[Row]:
    for number, (part, found, wind) in enumerate(hour.parts):
        slow = hour.slow.correlation if number == 0 else kernel.UNTOLD
        offset = hour.offset if number == 0 and hour.offset is not None and hour.offset.told else None
        minutes = kernel.minutes_to_see(found, plan_ratio) if plan_ratio is not None else np.nan
        told: tuple[Any, ...] = (
            *(found.readings * hour.step_s / 60.0, wind, found.first_spread_pa, found.second_spread_pa),
            *(found.ratio.value, found.ratio.low, found.ratio.high),
            *(found.difference_pa.value, found.difference_pa.low, found.difference_pa.high),
            *(slow.value, slow.low, slow.high),
            *((offset.offset_s, offset.low_s, offset.high_s) if offset else (None, None, None)),
            minutes,
        )
        yield (
            *(hour.session.record.job_id, hour.session.time.started_at_local, *hour.names, part),
            *(None if value is None or not np.isfinite(value) else float(value) for value in told),
            *(hour.session.record.site_id, hour.session.session_id),
        )


def _title(hour: _Hour) -> str:
    started = hour.session.time.started_at_local
    when = "" if started is None else f", {started:%Y-%m-%d %H:%M}"
    return f"Job {hour.session.record.job_id or 'unknown'}{when}: {hour.names[1]} against {hour.names[0]}"


def _for_words(hour: _Hour, plan_ratio: float | None) -> Said:
    words = {
        line.line_id: line.arrangement_as_recorded or line.arrangement.replace("_", " ")
        for line in hour.session.reference_lines
        if line.arrangement != "unknown" or line.arrangement_as_recorded
    }
    _, whole, wind = hour.parts[0]
    return Said(
        names=hour.names,
        ends=(words.get(hour.names[0], "not recorded"), words.get(hour.names[1], "not recorded")),
        minutes=whole.readings * hour.step_s / 60.0,
        wind_m_s=wind,
        wind_is=hour.wind_is,
        spreads_pa=(whole.first_spread_pa, whole.second_spread_pa),
        ratio=(whole.ratio.value, whole.ratio.low, whole.ratio.high),
        difference_pa=(whole.difference_pa.value, whole.difference_pa.low, whole.difference_pa.high),
        slow=(hour.slow.correlation.value, hour.slow.correlation.low, hour.slow.correlation.high),
        offset=None if hour.offset is None else (hour.offset.offset_s, hour.offset.low_s, hour.offset.high_s),
        offset_told=hour.offset is not None and hour.offset.told,
        notes=tuple(hour.notes),
        plan=None if plan_ratio is None else (plan_ratio, kernel.minutes_to_see(whole, plan_ratio)),
    )


def _panels(hour: _Hour) -> Panels:
    """Minutes for the scatter, and at most some 600 readings for the panels over time."""
    wide = max(1, round(60.0 / hour.step_s))
    whole = hour.time_s.size // wide * wide
    parts = [x[:whole].reshape(-1, wide) for x in (hour.first_pa, hour.second_pa, hour.speed_m_s)]
    full = np.isfinite(parts[0] + parts[1]).mean(axis=1) >= 0.5
    spread = [np.nanstd(part[full], axis=1) for part in parts[:2]]
    wind = np.array([_mean(row) for row in parts[2][full]])
    thin = max(1, hour.time_s.size // 600)
    seen = slice(None, None, thin)
    minutes = (hour.time_s - hour.time_s[0]) / 60.0
    return Panels(
        title=_title(hour),
        names=hour.names,
        wind_m_s=wind.tolist(),
        spreads_pa=(spread[0].tolist(), spread[1].tolist()),
        minutes=minutes[seen].tolist(),
        pressures_pa=(hour.first_pa[seen].tolist(), hour.second_pa[seen].tolist()),
        slow_minutes=((np.arange(full.size)[full] + 0.5) * wide * hour.step_s / 60.0).tolist(),
        slow_difference_pa=(np.nanmean(parts[1][full], axis=1) - np.nanmean(parts[0][full], axis=1)).tolist(),
    )
