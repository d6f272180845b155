"""Sample of the plugin for logs of two reference lines."""

from __future__ import annotations

from interchange.demo.layouts import log
from interchange.demo.sample import Document, Sample, number

PLUGIN_ID = "wide-log-two-lines"

_KEYS = {
    "log": "zero flow, two reference lines",
    "job": "FV-2052",
    "house": "H-141",
    "started": "2026-02-20T11:15:00+00:00",
    "gauge": "G-0420",
    "line A": "open end; north facade",
    "line B": "branched; north and east facade",
    "averaging": "1 s",
}

# line A, line B, indoor, wind: one over range, one missing
_LINES = """\
-1.84,-1.12,20.3,3.9
-2.31,-1.20,20.3,4.4
-2.05,-1.25,20.3,4.2
-1.47,-1.21,20.3,3.8
-0.92,-1.13,20.3,3.1
-1.18,-1.09,20.3,3.3
-1.66,-1.10,20.3,3.7
-2.74,-1.24,20.3,4.6
-3.95,-1.51,20.4,5.3
-4.62,-1.83,20.4,5.8
OL,-2.21,20.4,6.7
-5.03,-2.48,20.4,6.1
-3.88,-2.52,20.4,5.2
-3.10,-2.44,20.4,4.7
-2.42,-2.27,20.4,4.3
-1.71,,20.4,3.6
-1.30,-1.86,20.4,3.2
-0.85,-1.66,20.4,2.8
-0.41,-1.45,20.4,2.2
0.12,-1.21,20.4,1.6
-0.07,-1.02,20.4,1.9
-0.66,-0.93,20.4,2.6
-1.09,-0.92,20.3,3.0
-1.52,-0.97,20.3,3.5
-1.93,-1.08,20.3,3.9
-2.28,-1.22,20.3,4.2
-2.16,-1.31,20.3,4.1
-1.75,-1.33,20.3,3.8
-1.44,-1.31,20.3,3.4
-1.21,-1.27,20.3,3.2
"""

# channel, quantity, unit, reference line
_CHANNELS = (
    ("line A", "envelope_pressure_pa", "Pa", "A"),
    ("line B", "envelope_pressure_pa", "Pa", "B"),
    ("indoor", "indoor_temperature_c", "C", None),
    ("wind", "wind_speed_m_s", "m/s", None),
)


def made() -> list[Sample]:
    """The samples."""
    cells = [line.split(",") for line in _LINES.splitlines()]
    channels: list[Document] = []
    traces: list[Document] = []
    for column, (channel, quantity, spelling, line) in enumerate(_CHANNELS):
        texts = [row[column] for row in cells]
        values = [None if text in ("", "OL") else number(text, spelling, quantity) for text in texts]
        pressure = {"line_id": line, "gauge_id": "1"} if line else {}
        channels.append(
            {
                "channel_id": channel,
                "quantity": quantity,
                **pressure,
                "start_s": 0.0,
                "interval_s": 1.0,
                "averaging_s": 1.0,
                "sample_count": len(values),
                "missing_count": values.count(None),
            }
        )
        traces.append(
            {"source_place": "file", "channel_id": channel, "start_s": 0.0, "interval_s": 1.0, "values": values}
        )
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": "monitoring",
        "record": {"job_id": _KEYS["job"], "site_id": _KEYS["house"]},
        "time": {
            "started_at_as_recorded": _KEYS["started"],
            "started_at_local": "2026-02-20T11:15:00",
            "started_at_utc": "2026-02-20T11:15:00Z",
            "utc_offset_s": 0,
            "time_zone_from": "source",
            "time_quality": "exact",
        },
        "gauges": [{"gauge_id": "1", "gauge_serial": _KEYS["gauge"]}],
        "reference_lines": [
            {"line_id": "A", "arrangement": "open_end", "arrangement_as_recorded": _KEYS["line A"]},
            {"line_id": "B", "arrangement": "branched", "arrangement_as_recorded": _KEYS["line B"]},
        ],
        "channels": channels,
    }
    content = log(_KEYS, [[f"{second}", *row] for second, row in enumerate(cells)])
    return [Sample(PLUGIN_ID, "half-a-minute", content, (session,), tuple(traces), ("over-range",))]
