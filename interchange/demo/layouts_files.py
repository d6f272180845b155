"""Invented layouts that are a file to each record, written from texts: logs, sectioned records, weather, companions.

Cells come in as texts already, so that what a file says is decided where it is meant, not here.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence

Rows = Sequence[Sequence[str]]

LOG_TITLE = "log of a fan test"
LOG_HEAD = (
    ("stamp", "outside minus inside", "fan", "flow", "indoor", "outdoor"),
    ("", "Pa", "Pa", "L/s", "C", "C"),
)
LEGEND_COLUMNS = ("Channel", "Records", "Unit", "Line")
SAMPLE_COLUMNS = ("Stamp", "Channel", "Value")
FAN_PRESSURE_UNITS = {
    "Volumen": "m³",
    "Grundfläche": "m²",
    "Hüllfläche": "m²",
    "Innentemperatur": "°C",
    "Außentemperatur": "°C",
    "Luftdruck": "hPa",
}
FAN_TABLE_COLUMNS = ("Blende", "Ventilatordruck [Pa]", "Volumenstrom [m³/h]", "Bezugsdichte [kg/m³]")
FAN_PRESSURE_COLUMNS = (
    *("Nr", "Art", "Druckdifferenz [Pa]", "Streuung [Pa]", "Dauer [s]", "Blende", "Ventilatordruck [Pa]"),
)
WEATHER_COLUMNS = ("day", "wind km/h", "gust km/h", "from deg", "air C", "pressure hPa")
ARCHIVE_COLUMNS = (
    *("STATION", "DATE", "SOURCE", "LATITUDE", "LONGITUDE", "ELEVATION", "NAME", "REPORT_TYPE", "CALL_SIGN"),
    *("QUALITY_CONTROL", "WND", "CIG", "VIS", "TMP", "DEW", "SLP", "OC1"),
)
POINTS_UNITS = {"Volume": "m3", "Indoor": "C", "Outdoor": "C"}
POINTS_COLUMNS = ("Step", "Pressure Pa", "Spread Pa", "Seconds", "Plate", "Fan Pa", "Flow m3/h")
BASELINE_COLUMNS = ("Phase", "Mean Pa", "Spread Pa", "Seconds")
COMPANION_WEATHER_COLUMNS = ("Time", "Wind m/s", "Gust m/s", "From deg")


def test_log(keys: Mapping[str, str], rows: Rows, head: Rows = LOG_HEAD) -> bytes:
    """A log of a whole fan test: its title, keys, columns with units, a row a second."""
    above = [f"% {LOG_TITLE}", *(f"% {name} = {text}" for name, text in keys.items())]
    return _bytes([*above, *_joined([*head, *rows], "\t")])


def tall(record: Mapping[str, str], channels: Rows, samples: Rows) -> bytes:
    """A log of one value of one channel a row, with a legend of its channels."""
    return _bytes(
        [
            "[Record]",
            *_joined(record.items(), "|"),
            "[Channels]",
            *_joined([LEGEND_COLUMNS, *channels], "|"),
            "[Samples]",
            *_joined([SAMPLE_COLUMNS, *samples], "|"),
        ]
    )


def fan_pressure(head: Mapping[str, str], calibration: Rows, runs: Sequence[tuple[str, Rows]], encoding: str) -> bytes:
    """A record of points with the fan's pressure only; without calibration rows there is no such section."""
    lines = ["<Messung>", *_joined(_entries(head, FAN_PRESSURE_UNITS), ";")]
    if calibration:
        lines += ["<Kalibrierung>", *_joined([FAN_TABLE_COLUMNS, *calibration], ";")]
    for section, rows in runs:
        lines += [f"<{section}>", *_joined([FAN_PRESSURE_COLUMNS, *rows], ";")]
    return _bytes(lines, encoding)


def weather_log(keys: Mapping[str, str], rows: Rows, columns: Sequence[str] = WEATHER_COLUMNS) -> bytes:
    """A weather station's log: keys with their units, then a row a record."""
    return _bytes([*(f"@ {name}: {text}" for name, text in keys.items()), *_joined([columns, *rows], "\t")])


def weather_archive(station: Mapping[str, str], rows: Sequence[Mapping[str, str]]) -> bytes:
    """An hourly archive of one station: what is the same in each row, and the rows; absent names are empty cells."""
    lines = [ARCHIVE_COLUMNS, *([{**station, **row}.get(name, "") for name in ARCHIVE_COLUMNS] for row in rows)]
    return _bytes(",".join(f'"{cell}"' for cell in line) for line in lines)


def points(head: Mapping[str, str], rows: Rows) -> bytes:
    """The points of a test whose baselines and weather stand in companions."""
    entries = _entries(head, POINTS_UNITS)
    return _bytes(_joined([("Points record", "3"), *entries, POINTS_COLUMNS, *rows], ","))


def baseline(rows: Rows) -> bytes:
    """The companion that holds the baselines."""
    return _bytes(_joined([("Baseline record", "3"), BASELINE_COLUMNS, *rows], ","))


def companion_weather(rows: Rows) -> bytes:
    """The companion that holds the weather, by the time elapsed since the start of the test."""
    return _bytes(_joined([("Weather record", "3"), COMPANION_WEATHER_COLUMNS, *rows], ","))


def _entries(head: Mapping[str, str], units: Mapping[str, str]) -> list[Sequence[str]]:
    return [(name, text, units[name]) if name in units else (name, text) for name, text in head.items()]


def _joined(lines: Iterable[Sequence[str]], delimiter: str) -> list[str]:
    return [delimiter.join(line) for line in lines]


def _bytes(lines: Iterable[str], encoding: str = "utf-8") -> bytes:
    return ("\n".join(lines) + "\n").encode(encoding)
