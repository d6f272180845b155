"""Samples of the plugin for logs of a whole fan test, a row a second."""

from __future__ import annotations

from datetime import datetime, timedelta

from interchange.demo.layouts_files import LOG_HEAD, LOG_TITLE, test_log
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import exact, kept, series, value

PLUGIN_ID = "wide-log-one-second"

_ABSENT = ("", "OL")

# column, channel, quantity, unit, whether the gauge shows it
_CHANNELS = (
    ("outside minus inside", "envelope", "envelope_pressure_pa", "Pa", True),
    ("fan", "fan", "fan_pressure_pa", "Pa", True),
    ("flow", "flow", "flow_m3_h", "L/s", False),
    ("indoor", "indoor", "indoor_temperature_c", "C", False),
    ("outdoor", "outdoor", "outdoor_temperature_c", "C", False),
)

_RAMP_KEYS = {
    "job": "FV-3107",
    "house": "H-204",
    "stage": "before",
    "volume": "362 m3",
    "gauge": "G-0533",
    "averaging": "1 s",
}
# Fan off, up to one pressure, held, off again. No flow is shown while the fan's pressure is low.
_RAMP_START = "2026-03-04 13:20:05"
_RAMP = """\
1.6,0.0,,20.8,6.1
1.7,0.0,,20.8,6.1
1.8,0.0,,20.8,6.1
1.1,0.0,,20.8,6.1
0.7,0.0,,20.8,6.1
1.3,0.0,,20.8,6.1
1.4,0.0,,20.8,6.1
0.9,0.0,,20.8,6.1
6.6,3.4,252,20.8,6.1
12.4,9.2,414,20.8,6.1
18.5,16.2,550,20.8,6.1
24.7,23.6,664,20.8,6.1
30.6,32.9,784,20.8,6.1
36.4,40.3,868,20.8,6.1
43.0,51.1,976,20.8,6.1
49.1,61.8,1074,20.8,6.1
50.5,63.5,1089,20.8,6.1
50.2,61.9,1076,20.8,6.1
50.1,63.4,1088,20.8,6.1
50.3,61.7,1074,20.8,6.1
50.0,63.5,1089,20.8,6.1
50.6,62.7,1083,20.7,6.1
51.6,64.9,1101,20.7,6.1
51.1,64.3,1096,20.7,6.1
51.5,66.0,1111,20.7,6.1
51.9,65.3,1104,20.7,6.1
51.6,64.1,1095,20.7,6.1
51.5,64.6,1099,20.7,6.1
51.6,64.3,1096,20.7,6.1
51.4,64.2,1095,20.7,6.1
41.7,48.9,956,20.7,6.1
32.9,35.7,816,20.7,6.1
23.9,23.1,657,20.7,6.1
15.0,12.0,473,20.7,6.1
5.7,2.7,,20.7,6.1
0.5,0.0,,20.7,6.1
0.0,0.0,,20.7,6.1
-0.4,0.0,,20.7,6.1
1.4,0.0,,20.7,6.1
1.8,0.0,,20.7,6.1
"""

# Across midnight, air pressed in, marks for missing and for over range, a key and a column of remarks that
# nobody asked for, no house, no gauge, nothing on averaging.
_MARKS_KEYS = {"stage": "inspection", "job": "0093", "cellar door": "open"}
_MARKS_START = "2026-03-31 23:59:57"
_MARKS = """\
-0.8,0.0,,,9.4,fan off
-24.6,61.0,,19.9,9.4,
-50.2,OL,1502,19.9,,gust
OL,OL,1497,19.9,9.4,
-49.9,204.7,1493,OL,9.4,
,204.1,1490,19.9,9.4,
-50.4,205.0,1495,,9.3,fan off
"""

# Keys in another order, and the other words for the stage.
_ORDER_KEYS = {
    "averaging": "0.5 s",
    "gauge": "G-0533",
    "volume": "362.0 m3",
    "stage": "after",
    "house": "H-204",
    "job": "FV-3119",
}
_ORDER_START = "2026-03-18 09:00:00"
_ORDER = """\
0.9,0.0,,21.0,8.8
25.3,18.4,586,21.0,8.8
50.2,46.1,928,21.0,8.8
49.8,45.2,919,21.0,8.9
"""
_INTERIM_KEYS = {"job": "FV-3112", "stage": "interim", "gauge": "0077"}
_INTERIM_START = "2026-03-11 12:00:00"
_INTERIM = """\
50.4,51.7,983,,
50.1,51.0,976,,7.5
49.7,50.2,968,20.0,7.5
"""


def _sample(name: str, keys: dict[str, str], start: str, lines: str, remarks: bool) -> Sample:
    cells = [line.split(",") for line in lines.splitlines()]
    first = datetime.fromisoformat(start)
    stamps = [f"{first + timedelta(seconds=second)}" for second in range(len(cells))]
    head = [[*LOG_HEAD[0], "remark"], [*LOG_HEAD[1], ""]] if remarks else LOG_HEAD
    content = test_log(keys, [[stamp, *row] for stamp, row in zip(stamps, cells, strict=True)], head)

    averaging_s = value(keys["averaging"].removesuffix(" s"), "s") if "averaging" in keys else None
    gauge = {"gauge_id": "1"} if "gauge" in keys else {}
    channels: list[Document] = []
    traces: list[Document] = []
    for column, (heading, channel_id, quantity, spelling, of_gauge) in enumerate(_CHANNELS):
        factor = -1 if heading == "outside minus inside" else 1
        texts = [row[column] for row in cells]
        values = [None if text in _ABSENT else float(factor * exact(text, spelling)) for text in texts]
        about = {"channel_id": channel_id, "quantity": quantity, **(gauge if of_gauge else {})}
        channel, trace = series(about, values, 0.0, 1.0, averaging_s)
        channels.append(channel)
        traces.append(trace)

    rows_above = 1 + len(keys) + len(head)
    stray_keys = [kept(key, [(row, text)]) for row, (key, text) in enumerate(keys.items(), 2) if key not in _RAMP_KEYS]
    remark = [kept("remark", [(row, texts[-1]) for row, texts in enumerate(cells, rows_above + 1)])] if remarks else []
    title: Document = {"kept_name": LOG_TITLE, "kept_first_row": 1, "kept_last_row": 1, "kept_count": 1}
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": "multi_point",
        "record": filled({"job_id": keys["job"], "site_id": keys.get("house"), "stage": keys["stage"]}),
        "time": {"started_at_as_recorded": start, "started_at_local": first.isoformat()},
        "building": {"volume_m3": value(keys["volume"].removesuffix(" m3"), "m3")} if "volume" in keys else {},
        "gauges": [{"gauge_id": "1", "gauge_serial": keys["gauge"]}] if "gauge" in keys else [],
        "channels": channels,
        "kept": [title, *stray_keys, *remark],
    }
    over_range = ["over-range" for column in zip(*cells, strict=True) if "OL" in column]
    return Sample(PLUGIN_ID, name, content, (filled(session),), tuple(traces), tuple(over_range))


def made() -> list[Sample]:
    """The samples."""
    return [
        _sample("one-pressure", _RAMP_KEYS, _RAMP_START, _RAMP, remarks=False),
        _sample("marks", _MARKS_KEYS, _MARKS_START, _MARKS, remarks=True),
        _sample("keys-in-another-order", _ORDER_KEYS, _ORDER_START, _ORDER, remarks=False),
        _sample("few-keys", _INTERIM_KEYS, _INTERIM_START, _INTERIM, remarks=False),
    ]
