"""The wind of each test: as it recorded it, and as a weather record of the archive has it, with how far to trust it."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import site_wind
from interchange.archive.snapshot import Snapshot
from interchange.archive.store import Store
from interchange.model.question import Trace
from interchange.model.session import Session
from interchange.table import Row, Table, counted

Floats = NDArray[np.float64]
CLOCK_KNOWN = ("exact", "offset_assumed")
_COLUMNS = (
    *("job_id", "site_id", "stage", "started_at_local", "wind_speed_m_s", "wind_gust_m_s", "wind_gust_none_reported"),
    *("wind_from_deg", "wind_averaging_s", "wind_gust_window_s", "wind_height_m", "wind_source", "wind_station"),
    *("wind_distance_m", "wind_apart_s", "wind_beaufort_low", "wind_beaufort_high"),
    *("house_wind_m_s", "house_wind_low_m_s", "house_wind_high_m_s", "session_id"),
)


@dataclass(frozen=True, slots=True)
class Record:
    """The weather records of one station, put together; NaN where it reports nothing. Times are seconds UTC."""

    session: Session
    time_s: Floats
    speed_m_s: Floats
    gust_m_s: Floats
    from_deg: Floats

    @property
    def name(self) -> str:
        """The station as people call it."""
        station = self.session.weather_station
        return station.station_as_recorded or station.station_id or "unnamed station"

    @property
    def averaging_s(self) -> float:
        """Seconds over which its wind is averaged, NaN where it does not say."""
        return self.session.conditions.wind_averaging_s or np.nan


def values(trace: Trace) -> tuple[Floats, Floats]:
    """Times [s from the start of the session] and values of a trace, NaN where missing."""
    held = np.array([np.nan if one is None else one for one in trace.values.to_pylist()], dtype=np.float64)
    if trace.time_s is not None:
        return np.asarray(trace.time_s.to_numpy(zero_copy_only=False), dtype=np.float64), held
    return trace.start_s + (trace.interval_s or 1.0) * np.arange(held.size, dtype=np.float64), held


def records(snapshot: Snapshot) -> list[Record]:
    """The weather records of the archive whose clock is known."""
    found = []
    for session in snapshot.sessions():
        if session.kind != "weather" or session.time.started_at_utc is None:
            continue
        begin = session.time.started_at_utc.timestamp()
        channels = {channel.channel_id: channel.quantity for channel in session.channels}
        series = {channels[trace.channel_id]: values(trace) for trace in snapshot.traces(session.session_id)}
        if "wind_speed_m_s" not in series:
            continue
        time, speed = series["wind_speed_m_s"]
        others = [_at(time, series.get(name)) for name in ("wind_gust_m_s", "wind_from_deg")]
        found.append(Record(session, begin + time, speed, *others))
    return found


def _at(time_s: Floats, series: tuple[Floats, Floats] | None) -> Floats:
    whole = np.full(time_s.size, np.nan)
    if series is not None:
        _, own, other = np.intersect1d(time_s, series[0], return_indices=True)
        whole[own] = series[1][other]
    return whole


def moment_s(session: Session) -> float:
    """Start of a test in seconds UTC, NaN where its clock or its zone is not known."""
    start: datetime | None = session.time.started_at_utc
    return start.timestamp() if start is not None and session.time.time_quality in CLOCK_KNOWN else np.nan


def nearest_record(session: Session, known: Sequence[Record], start_s: float) -> tuple[Record | None, float]:
    """The record to be used for a test, and its time apart [s].

    Of records with an entry within an hour: those of the station that the test names; else the one that is trusted
    most, by time apart and averaging. Where a house stands is usually not known.
    """
    best: tuple[float, float, Record] | None = None
    for record in known:
        named = session.conditions.wind_station
        station = record.session.weather_station
        if named is not None and named not in (station.station_id, station.station_as_recorded):
            continue
        _, apart = site_wind.in_time(np.array([start_s]), record.time_s, record.speed_m_s)
        if np.isfinite(apart[0]):
            error = float(site_wind.log_error(np.nan, apart, record.averaging_s)[0])
            # an hourly log of a station stands behind its log of ten minutes
            if best is None or (error, apart[0]) < best[:2]:
                best = (error, float(apart[0]), record)
    return (None, np.nan) if best is None else (best[2], best[1])


def wind_of_tests(root: Path, version: int | None = None) -> Table:
    """A row for each wind that is known of a test: its own record first, then that of a weather station."""
    snapshot = Store.open(root).snapshot(version)
    known = records(snapshot)
    tests = [session for session in snapshot.sessions() if session.kind not in ("weather", "summary", "not_tested")]
    rows: list[Row] = []
    none = 0
    for session in sorted(tests, key=lambda s: (s.record.job_id or "", str(s.time.started_at_local), s.session_id)):
        own = list(_rows(session, known))
        none += not own
        rows += own
    left_out = (
        [f"{counted(none, 'test')}: neither the test nor a station within an hour tells the wind"] if none else []
    )
    notes = [
        "Wind at the house: power-law profile to the height of the house, or 5 m, and its terrain, or suburban; "
        "shelter by neighbours is not in it. Its limits rest on judgement, not on measurements."
    ]
    return Table(_COLUMNS, rows, left_out, notes)


def _rows(session: Session, known: Sequence[Record]) -> Iterable[Row]:
    own = session.conditions
    head = (session.record.job_id, session.record.site_id, session.record.stage, session.time.started_at_local)
    if own.wind_speed_m_s is not None or own.wind_beaufort_low is not None:
        yield (
            *head,
            *(own.wind_speed_m_s, own.wind_gust_m_s, own.wind_gust_none_reported, own.wind_from_deg),
            *(own.wind_averaging_s, own.wind_gust_window_s, own.wind_height_m, own.wind_source, own.wind_station),
            *(own.wind_distance_m, 0.0, own.wind_beaufort_low, own.wind_beaufort_high, None, None, None),
            session.session_id,
        )
    start = moment_s(session)
    record, apart = nearest_record(session, known, start) if np.isfinite(start) else (None, np.nan)
    if record is None:
        return
    at = np.array([start])
    speed, _ = site_wind.in_time(at, record.time_s, record.speed_m_s)
    # a gust belongs to its own interval, and where none was reported there was none to report
    gust = record.gust_m_s[
        int(np.nanargmin(np.where(np.isnan(record.speed_m_s), np.inf, np.abs(record.time_s - start))))
    ]
    reports = bool(np.isfinite(record.gust_m_s).any())
    turned, _ = site_wind.in_time(at, record.time_s, record.from_deg, turning=True)
    station = record.session.conditions
    house = site_wind.at_house_m_s(
        speed,
        station.wind_height_m or site_wind.STATION_HEIGHT_M,
        session.building.height_m or 5.0,
        house_terrain=session.building.terrain or "suburban",
    )
    wide = np.exp(1.96 * site_wind.log_error(own.wind_distance_m or np.nan, apart, record.averaging_s))
    yield (
        *head,
        *(float(speed[0]), _known(gust), bool(np.isnan(gust)) if reports else None, _known(turned[0])),
        *(station.wind_averaging_s, station.wind_gust_window_s, station.wind_height_m, "station", record.name),
        *(own.wind_distance_m, apart, None, None),
        *(float(house[0]), float((house / wide)[0]), float((house * wide)[0])),
        session.session_id,
    )


def _known(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None
