"""Samples of the plugin for tests whose baselines and weather stand in files beside their points."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from interchange.demo.layouts_files import baseline, companion_weather, points
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import kept, kind_of, series, value

PLUGIN_ID = "points-with-companions"

_STAGES = {"before": "before", "after": "after", "interim": "interim", "inspection": "inspection"}
_NAMES = frozenset({"Job", "House", "Stage", "Started", "Volume", "Indoor", "Outdoor"})

# channel, quantity, unit
_CHANNELS = (
    ("wind", "wind_speed_m_s", "m/s"),
    ("gust", "wind_gust_m_s", "m/s"),
    ("from", "wind_from_deg", "deg"),
)

_THREE_FILES = {
    "Job": "FV-3071",
    "House": "H-171",
    "Stage": "after",
    "Started": "2026-05-20 14:05",
    "Volume": "377",
    "Indoor": "20.4",
    "Outdoor": "15.0",
}
_THREE_FILES_POINTS = (
    "1,-59.9,0.7,30,open,40.4,3126",
    "2,-50.6,0.6,30,open,33.3,2839",
    "3,-39.9,0.6,30,open,23.4,2379",
    "4,-30.0,0.5,30,open,16.5,1999",
    "5,-19.7,0.5,30,open,9.5,1515",
)
_THREE_FILES_BASELINE = ("before,-1.22,0.38,60", "after,-1.05,0.41,60")
# elapsed time by the minute, begun half a minute after the test
_THREE_FILES_WEATHER = """\
00:00:30,2.1,3.9,240
00:01:30,2.4,,250
00:02:30,1.8,3.1,
00:03:30,,3.3,265
00:04:30,2.9,4.8,360
"""

# Air pressed in, no weather, empty cells, a key that nobody asked for, a house without a stated volume.
_TWO_FILES = {
    "Stage": "before",
    "Job": "0204",
    "Started": "2026-05-21 09:00",
    "Cellar door": "open",
    "Outdoor": "-3.5",
}
_TWO_FILES_POINTS = ("1,52.4,,20,half,77.5,1548", "2,35.1,0.9,,half,,1193", "3,24.8,1.1,20,,28.8,934")
_TWO_FILES_BASELINE = ("before,0.35,,30",)

# Weather from the start on, and no more baseline than one after the points.
_CHECKED = {"Job": "0205", "House": "0019", "Stage": "inspection", "Started": "2026-06-02 16:40", "Volume": "290.5"}
_CHECKED_POINTS = ("1,-50.2,0.5,30,half,70.9,1479",)
_CHECKED_BASELINE = ("after,-0.64,0.22,45",)
_CHECKED_WEATHER = """\
00:00:00,0.9,1.6,95
00:00:10,1.2,1.6,100
"""

# Little more than the points, and the last of the words for the stage.
_LITTLE = {"Job": "0206", "Stage": "interim", "Started": "2026-06-03 08:20"}
_LITTLE_POINTS = ("1,-50.6,0.6,30,open,33.3,2839", "2,-30.0,0.5,30,open,16.5,1999")
_LITTLE_BASELINE = ("before,-1.1,0.3,60", "after,-0.9,0.3,60")


def _point(line: str) -> Document:
    step, pressure, spread, seconds, plate, fan, flow = line.split(",")
    reading = {
        "fan_id": "1",
        "fan_configuration": plate or None,
        "fan_pressure_pa": value(fan, "Pa"),
        "flow_m3_h": value(flow, "m3/h"),
        "flow_basis": "indicated",
    }
    point = {
        "point_number": int(step),
        "envelope_pressure_pa": value(pressure, "Pa"),
        "envelope_pressure_spread_pa": value(spread, "Pa"),
        "averaging_s": value(seconds, "s"),
        "baseline_removed": False,
        "fan_readings": [filled(reading)],
    }
    return filled(point)


def _baselines(lines: Sequence[str]) -> Document:
    found: Document = {}
    for phase, mean, spread, seconds in (line.split(",") for line in lines):
        found[f"baseline_{phase}_pressure_pa"] = value(mean, "Pa")
        found[f"baseline_{phase}_spread_pa"] = value(spread, "Pa")
        found[f"baseline_{phase}_duration_s"] = value(seconds, "s")
    return filled(found)


def _elapsed_s(text: str) -> float:
    hours, minutes, seconds = map(int, text.split(":"))
    return float(hours * 3600 + minutes * 60 + seconds)


def _sample(
    name: str, head: dict[str, str], lines: Sequence[str], baseline_lines: Sequence[str], weather_lines: str
) -> Sample:
    weather = [line.split(",") for line in weather_lines.splitlines()]
    channels: list[Document] = []
    traces: list[Document] = []
    if weather:
        start_s, second_s = _elapsed_s(weather[0][0]), _elapsed_s(weather[1][0])
        for column, (channel_id, quantity, spelling) in enumerate(_CHANNELS, 1):
            values = [value(row[column], spelling) for row in weather]
            about = {"channel_id": channel_id, "quantity": quantity}
            channel, trace = series(about, values, start_s, second_s - start_s)
            channels.append(channel)
            traces.append(trace)
    read = [_point(line) for line in lines]
    record = {"job_id": head["Job"], "site_id": head.get("House"), "stage": _STAGES[head["Stage"]]}
    conditions = {
        "indoor_temperature_c": value(head.get("Indoor", ""), "C"),
        "outdoor_temperature_c": value(head.get("Outdoor", ""), "C"),
    }
    run = {
        "run_number": 1,
        "direction": "depressurisation" if read[0]["envelope_pressure_pa"] < 0 else "pressurisation",
        **_baselines(baseline_lines),
        "points": read,
    }
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": kind_of(len(read)),
        "record": filled(record),
        "time": {
            "started_at_as_recorded": head["Started"],
            "started_at_local": datetime.fromisoformat(head["Started"]).isoformat(),
        },
        "building": filled({"volume_m3": value(head.get("Volume", ""), "m3")}),
        "conditions": filled(conditions),
        "channels": channels,
        "runs": [run],
        # the mark of the layout is row 1
        "kept": [kept(key, [(row, text)]) for row, (key, text) in enumerate(head.items(), 2) if key not in _NAMES],
    }
    companions = {"baseline": baseline([line.split(",") for line in baseline_lines])}
    if weather:
        companions["weather"] = companion_weather(weather)
    content = points(head, [line.split(",") for line in lines])
    return Sample(PLUGIN_ID, name, content, (filled(session),), tuple(traces), companions=companions)


def made() -> list[Sample]:
    """The samples."""
    return [
        _sample("three-files", _THREE_FILES, _THREE_FILES_POINTS, _THREE_FILES_BASELINE, _THREE_FILES_WEATHER),
        _sample("two-files", _TWO_FILES, _TWO_FILES_POINTS, _TWO_FILES_BASELINE, ""),
        _sample("one-point-checked", _CHECKED, _CHECKED_POINTS, _CHECKED_BASELINE, _CHECKED_WEATHER),
        _sample("little", _LITTLE, _LITTLE_POINTS, _LITTLE_BASELINE, ""),
    ]
