"""Samples of the plugins for weather: a station's own log, and an hourly archive."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from datetime import datetime, timedelta

from interchange.demo.layouts_files import ARCHIVE_COLUMNS, WEATHER_COLUMNS, weather_archive, weather_log
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import kept, series, spreadsheet_time, value
from interchange.demo.shapes_files import STATION

STATION_LOG = "station-weather-log"
ARCHIVE = "hourly-weather-archive"

_ABSENT = ("", "---", "none", "-999")
_CALM = "0"

# column, channel, quantity, unit
_LOG_CHANNELS = (
    ("wind km/h", "wind", "wind_speed_m_s", "km/h"),
    ("gust km/h", "gust", "wind_gust_m_s", "km/h"),
    ("from deg", "from", "wind_from_deg", "deg"),
    ("air C", "air", "outdoor_temperature_c", "C"),
    ("pressure hPa", "pressure", "barometric_pressure_pa", "hPa"),
)
# every ten minutes; each mark for missing once, and a calm
_RIDGE = """\
46080.000000 14.2 none 230 6.1 1002.3
46080.006944 14.7 23.4 218 6.2 1002.2
46080.013889 12.3 23.0 213 6.4 1002.5
46080.020833 11.5 --- 211 6.3 1002.6
46080.027778 5.4 none 195 6.3 1002.6
46080.034722 0.0 none 0 6.2 1002.7
46080.041667 4.0 none 188 6.1 -999
46080.048611 13.1 16.7 210 6.3 1002.7
46080.055556 14.9 16.3 207 6.3 1002.6
46080.062500 15.0 21.4 360 -999 1002.6
46080.069444 17.4 25.5 228 6.0 1002.7
46080.076389 --- --- --- 6.2 1002.6
46080.083333 22.4 34.6 217 6.1 1002.4
"""
# every hour over midnight, by a clock behind UTC; less is known of the station; a column that nobody asked for
_LAKE_KEYS = {
    "UTC offset": "-05:00",
    "station": "OSTREL LAKE",
    "latitude": "44.9 deg",
    "longitude": "-73.25 deg",
    "wind height": "3.5 m",
    "mast": "on the boat house",
}
_LAKE = """\
46044.833333 7.8 14.0 294 -6.6 994.3
46044.875000 7.1 14.6 290 -6.6 994.2 0.2
46044.916667 8.0  292 -5.9 994.6 0.4
46044.958333 9.5 15.3 296 -4.7 994.5
46045.000000 6.9 15.9 301 0.0 994.3 1.1
46045.041667 7.9 17.7  -5.8 994.3
"""

# column, part of its cell, marks for missing, channel, quantity, unit
_ARCHIVE_CHANNELS = (
    ("WND", 3, ("", "9999"), "wind", "wind_speed_m_s", "0.1 m/s"),
    ("OC1", 0, ("", "9999"), "gust", "wind_gust_m_s", "0.1 m/s"),
    ("WND", 0, ("", "999"), "from", "wind_from_deg", "deg"),
    ("TMP", 0, ("", "+9999"), "air", "outdoor_temperature_c", "0.1 °C"),
)
_MAPPED = frozenset({"STATION", "DATE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME", "WND", "TMP", "OC1"})
_VALE = {
    "STATION": "99900199999",
    "SOURCE": "4",
    "LATITUDE": "52.3917",
    "LONGITUDE": "-1.8612",
    "ELEVATION": "96.0",
    "NAME": "FENNICK VALE, XX",
    "REPORT_TYPE": "FM-15",
    "CALL_SIGN": "99999",
    "QUALITY_CONTROL": "V020",
}
_VALE_START = "2026-01-05T13:00:00"
# WND, CIG, VIS, TMP, DEW, SLP, OC1: a calm, each mark for missing, no gust in most hours
_VALE_ROWS = (
    "160,1,N,0046,1|00457,1,M,N|016000,1,9,9|+0061,1|+0039,1|10123,1|0093,1",
    "170,1,N,0051,1|00457,1,M,N|016000,1,9,9|+0064,1|+0038,1|10119,1|",
    "160,1,N,0041,1|00610,1,M,N|012000,1,9,9|+0058,1|+0040,1|10117,1|",
    "999,9,C,0000,1|22000,1,9,N|012000,1,9,9|+0047,1|+0041,1|10118,1|",
    "999,9,V,0015,1|22000,1,9,N|009000,1,9,9|+0032,1|+0030,1||",
    "360,1,N,0026,1|99999,9,9,N|999999,9,9,9|+9999,9|+9999,9|99999,9|9999,9",
    "350,1,N,9999,9|99999,9,9,N|007000,1,9,9|+0000,1|-0004,1|10126,1|",
    "340,1,N,0077,1|01500,1,M,N|016000,1,9,9|-0012,1|-0031,1|10131,1|0129,1",
)
_CAPE = {
    "STATION": "99900799999",
    "SOURCE": "4",
    "LATITUDE": "-41.05",
    "LONGITUDE": "174.9",
    "ELEVATION": "-2.0",
    "NAME": "OSTREL CAPE, XX",
    "REPORT_TYPE": "FM-12",
    "QUALITY_CONTROL": "V020",
}
_CAPE_START = "2026-02-28T22:00:00"
_CAPE_ROWS = (
    "020,1,N,0103,1|||+0184,1|||0154,1",
    "030,1,N,0118,1|||+0179,1|||0170,1",
    "030,1,N,0123,1|||+0176,1|||0180,1",
    "040,1,N,0113,1|||+0171,1|||0165,1",
)


def _split(texts: Sequence[tuple[Document, Sequence[float | None]]], interval_s: float) -> tuple[list[Document], ...]:
    pairs = [series(about, values, 0.0, interval_s) for about, values in texts]
    return [channel for channel, _ in pairs], [trace for _, trace in pairs]


def _stated(keys: dict[str, str], key: str, spelling: str) -> float | None:
    return value(keys[key].removesuffix(f" {spelling}"), spelling) if key in keys else None


def _station_log(name: str, keys: dict[str, str], lines: str, interval_s: float, extra: Sequence[str] = ()) -> Sample:
    columns = (*WEATHER_COLUMNS, *extra)
    rows = [(line.split(" ") + [""] * len(extra))[: len(columns)] for line in lines.splitlines()]
    texts = dict(zip(columns, zip(*rows, strict=True), strict=True))

    def values(column: str, spelling: str) -> list[float | None]:
        absent: Collection[str] = (*_ABSENT, _CALM) if column == "from deg" else _ABSENT
        return [value(text, spelling, absent) for text in texts[column]]

    channels, traces = _split(
        [
            ({"channel_id": channel, "quantity": quantity}, values(column, spelling))
            for column, channel, quantity, spelling in _LOG_CHANNELS
        ],
        interval_s,
    )
    local = spreadsheet_time(rows[0][0])
    hours = int(keys["UTC offset"].removesuffix(":00"))
    conditions = {
        "wind_averaging_s": _stated(keys, "wind averaging", "s"),
        "wind_gust_window_s": _stated(keys, "gust window", "s"),
        "wind_height_m": _stated(keys, "wind height", "m"),
        "wind_source": "station",
    }
    station = {
        "station_id": keys.get("station id"),
        "station_as_recorded": keys["station"],
        "station_latitude_deg": _stated(keys, "latitude", "deg"),
        "station_longitude_deg": _stated(keys, "longitude", "deg"),
        "station_elevation_m": _stated(keys, "elevation", "m"),
    }
    first_row = len(keys) + 2  # keys and header stand above it
    stray = [
        *(kept(key, [(row, text)]) for row, (key, text) in enumerate(keys.items(), 1) if key not in STATION),
        *(kept(column, list(enumerate(texts[column], first_row))) for column in extra),
    ]
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": "weather",
        "time": _time(rows[0][0], local, hours),
        "conditions": filled(conditions),
        "weather_station": filled(station),
        "channels": channels,
        "kept": stray,
    }
    return Sample(STATION_LOG, name, weather_log(keys, rows, columns), (filled(session),), tuple(traces))


def _time(as_recorded: str, local: datetime, hours: int) -> Document:
    return {
        "started_at_as_recorded": as_recorded,
        "started_at_local": local.isoformat(),
        "started_at_utc": (local - timedelta(hours=hours)).isoformat() + "Z",
        "utc_offset_s": hours * 3600,
        "time_zone_from": "source",
        "time_quality": "exact",
    }


def _archive(name: str, station: dict[str, str], start: str, lines: Sequence[str]) -> Sample:
    first = datetime.fromisoformat(start)
    codes = [dict(zip(ARCHIVE_COLUMNS[-7:], line.split("|"), strict=True)) for line in lines]
    rows = [{"DATE": (first + timedelta(hours=hour)).isoformat(), **cells} for hour, cells in enumerate(codes)]
    channels, traces = _split(
        [
            (
                {"channel_id": channel, "quantity": quantity},
                [value(row[column].split(",")[part], spelling, absent) if row[column] else None for row in rows],
            )
            for column, part, absent, channel, quantity, spelling in _ARCHIVE_CHANNELS
        ],
        3600.0,
    )
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": "weather",
        "time": _time(start, first, 0),
        "conditions": {"wind_source": "station"},
        "weather_station": {
            "station_id": station["STATION"],
            "station_as_recorded": station["NAME"],
            "station_latitude_deg": value(station["LATITUDE"], "deg"),
            "station_longitude_deg": value(station["LONGITUDE"], "deg"),
            "station_elevation_m": value(station["ELEVATION"], "m"),
        },
        "channels": channels,
        "kept": [
            pointer
            for column in ARCHIVE_COLUMNS
            if column not in _MAPPED
            and (pointer := kept(column, [(n, {**station, **row}.get(column, "")) for n, row in enumerate(rows, 2)]))
        ],
    }
    return Sample(ARCHIVE, name, weather_archive(station, rows), (session,), tuple(traces))


def made() -> list[Sample]:
    """The samples."""
    return [
        _station_log("ten-minutes", STATION, _RIDGE, 600.0),
        _station_log("hourly", _LAKE_KEYS, _LAKE, 3600.0, extra=("rain mm",)),
        _archive("a-winter-day", _VALE, _VALE_START, _VALE_ROWS),
        _archive("few-codes", _CAPE, _CAPE_START, _CAPE_ROWS),
    ]
