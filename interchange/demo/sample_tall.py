"""Samples of the plugin for logs of one value a row with a legend of their channels."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import UTC, datetime

from interchange.demo.layouts_files import tall
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import series, value

PLUGIN_ID = "tall-log-with-legend"

_ABSENT = ("", "OL")
_QUANTITIES = {
    "pressure inside minus outside": "envelope_pressure_pa",
    "fan pressure": "fan_pressure_pa",
    "flow": "flow_m3_h",
    "indoor temperature": "indoor_temperature_c",
    "outdoor temperature": "outdoor_temperature_c",
    "wind speed": "wind_speed_m_s",
    "wind gust": "wind_gust_m_s",
    "wind from": "wind_from_deg",
    "barometer": "barometric_pressure_pa",
}
_OF_GAUGE = ("pressure inside minus outside", "fan pressure")

# channel: first second and step, then its values
_LINES_RECORD = {"Job": "FV-3120", "House": "H-219", "Gauge": "G-0540"}
_LINES_LEGEND = (
    "1|pressure inside minus outside|Pa|north",
    "2|pressure inside minus outside|Pa|manifold",
    "3|wind speed|m/s|",
    "4|wind gust|km/h|",
    "5|indoor temperature|°F|",
)
_LINES_START = 1_772_445_600
_LINES = {
    "1": (
        (0, 1),
        "-1.8 -1.9 -1.5 -1.1 -0.8 -1.0 -1.0 -1.2 -1.3 -1.6 -1.7 -2.4 -2.7 -2.5 -2.7 -2.5 -2.8 -2.8 -2.6 OL -2.9 -2.1 "
        "-2.2 -2.4 -2.5 -2.4 -2.4 -2.0 -1.8 -1.9 -2.0",
    ),
    "2": (
        (0, 1),
        "-1.4 -1.5 -1.6 -1.5 -1.4 -1.3 -1.2 -1.2 -0.9 -1.0 -1.1  -1.0 -1.1 -1.2 -1.1 -1.0 -1.0 -1.1 -1.0 -0.9 -0.8 "
        "-0.9 -0.9 -0.9 -1.1 -1.0 -1.0 -1.1 -0.8 -0.8",
    ),
    "3": ((0, 10), "4.4 4.0 4.9 5.2"),
    "4": ((0, 10), "23.9 22.1  26.4"),
    "5": ((4, 20), "68.7 68.9"),
}

# Every other word of the legend, channels that begin later and go on for longer, names that are not numbers.
_WORDS_RECORD = {"House": "0031", "Job": "0107"}
_WORDS_LEGEND = (
    "baro|barometer|hPa|",
    "dir|wind from|deg|",
    "out|outdoor temperature|°C|",
    "fan|fan pressure|Pa|",
    "q|flow|L/s|",
    "house|pressure inside minus outside|Pa|courtyard",
)
_WORDS_START = 1_775_001_599
_WORDS = {
    "house": ((0, 1), "-32.5 -32.5 -32.7 -32.6 -33.0 -33.3 -33.3 -33.3 -32.6 -33.0 -32.8 -32.7"),
    "fan": ((1, 1), "60.6 60.7 58.9 59.5 60.3 59.6 61.0 61.1 60.0 60.5 60.1"),
    "q": ((1, 2), "1060 1054 1059  1058 1053"),
    "out": ((1, 5), "-4.5 -4.5 -4.4 -4.4"),
    "dir": ((2, 4), "355 360 5"),
    "baro": ((3, 6), "1002.3 1002.4 1002.4"),
}


def _sample(
    name: str,
    record: dict[str, str],
    legend: Sequence[str],
    start: int,
    channels: dict[str, tuple[tuple[int, int], str]],
) -> Sample:
    rows = [
        (first + step * number, channel, text)
        for channel, ((first, step), texts) in channels.items()
        for number, text in enumerate(texts.split(" "))
    ]
    in_time = sorted(rows, key=lambda row: row[0])
    content = tall(
        record,
        [line.split("|") for line in legend],
        [(f"{start + second}", channel, text) for second, channel, text in in_time],
    )
    series_of: list[tuple[Document, Document]] = []
    lines: list[Document] = []
    for channel, words, spelling, line in (entry.split("|") for entry in legend):
        (first, step), texts = channels[channel]
        values = [value(text, spelling, _ABSENT) for text in texts.split(" ")]
        about: Document = {"channel_id": channel, "quantity": _QUANTITIES[words]}
        if line:
            about["line_id"] = line
            lines.append({"line_id": line, "arrangement": "unknown"})
        if "Gauge" in record and words in _OF_GAUGE:
            about["gauge_id"] = "1"
        series_of.append(series(about, values, float(first), float(step)))
    local = datetime.fromtimestamp(start, UTC).replace(tzinfo=None).isoformat()
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": "monitoring",
        "record": {"job_id": record["Job"], "site_id": record["House"]},
        "time": {
            "started_at_as_recorded": f"{start}",
            "started_at_local": local,
            "started_at_utc": f"{local}Z",
            "utc_offset_s": 0,
            "time_zone_from": "source",
            "time_quality": "exact",
        },
        "gauges": [{"gauge_id": "1", "gauge_serial": record["Gauge"]}] if "Gauge" in record else [],
        "reference_lines": lines,
        "channels": [channel for channel, _ in series_of],
    }
    over_range = ("over-range",) if any(text == "OL" for _, _, text in rows) else ()
    traces = tuple(trace for _, trace in series_of)
    return Sample(PLUGIN_ID, name, content, (filled(session),), traces, over_range)


def made() -> list[Sample]:
    """The samples."""
    return [
        _sample("two-lines-and-wind", _LINES_RECORD, _LINES_LEGEND, _LINES_START, _LINES),
        _sample("other-words", _WORDS_RECORD, _WORDS_LEGEND, _WORDS_START, _WORDS),
    ]
