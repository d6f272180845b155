"""Samples of the plugin for tables that hold several tests, two fans and both directions."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from interchange.demo.layouts_rows import BOTH_COLUMNS, both_directions
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import kept, kind_of, value

PLUGIN_ID = "both-directions-one-table"

_FIRST_ROW = 2  # physical row of the first point
_STAGES = {"before": "before", "after": "after", "interim": "interim", "inspection": "inspection"}
_SIGNS = {"depressurise": ("depressurisation", -1), "pressurise": ("pressurisation", 1)}
_DROPPED = {"yes": False, "no": True}

# What is the same in every row of a test, and its rows: direction, step, pressure, plate and flow of each fan,
# baseline at start and end, used, why not.
_LARGE_HOUSE = (
    "FV-3061|H-188|before|2026-05-04|9:15 AM|9:52 AM",
    (
        "depressurise|1|59.6|open|803|open|804|-1.6|-1.4|yes|",
        "depressurise|2|50.2|open|714|open|711|-1.6|-1.4|yes|",
        "depressurise|3|40.2|open|613|open|616|-1.6|-1.4|yes|",
        "depressurise|4|29.9|open|1010|||-1.6|-1.4|yes|",
        "depressurise|5|19.6|open|766|||-1.6|-1.4|no|gust",
        "pressurise|1|59.7|open|824|open|818|-1.3|-1.5|yes|",
        "pressurise|2|50.2|open|729|open|728|-1.3|-1.5|yes|",
        "pressurise|3|40.3|open|639|open|635|-1.3|-1.5|yes|",
        "pressurise|4|29.9|open|1039|||-1.3|-1.5|yes|",
        "pressurise|5|20.0|open|803|||-1.3|-1.5|yes|",
    ),
)
_SMALL_HOUSE = (
    "FV-3062|H-190|after|2026-05-04|12:05 PM|12:31 PM",
    (
        "depressurise|1|55.2|half|575|||0.4|0.7|yes|",
        "depressurise|2|45.2|half|506|||0.4|0.7|yes|",
        "depressurise|3|35.4|half|427|||0.4|0.7|yes|",
        "depressurise|4|24.7|half|334|||0.4|0.7|no|door opened, point repeated",
        "depressurise|5|24.9|half|338|||0.4|0.7|yes|",
        "depressurise|6|15.3|half|247|||0.4|0.7|yes|",
    ),
)

# Rows of two tests taken in turn, directions too: only the columns tell them apart. A plate without a flow, a flow
# without a plate, a point without a pressure, no baselines, no word on use, a column that nobody asked for.
_IN_TURN_COLUMNS = (*BOTH_COLUMNS[:6], "Weather", *BOTH_COLUMNS[6:])
_IN_TURN = (
    "0311|0042|interim|2026-05-11|2:10 PM||dull|pressurise|1|49.9|half|614|shut||||yes|",
    "0312|0043|inspection|2026-05-11|12:40 AM|1:05 AM||depressurise|1|50.3||588||||-0.6||",
    "0311|0042|interim|2026-05-11|2:10 PM|||depressurise|1|50.1|half|602|||-0.8|||",
    "0311|0042|interim|2026-05-11|2:10 PM||rain|pressurise|2|39.8|half|525|shut||||yes|",
    "0312|0043|inspection|2026-05-11|12:40 AM|1:05 AM||depressurise|2||half|||||-0.6|no|not held",
    "0311|0042|interim|2026-05-11|2:10 PM||dry|depressurise|2|29.9|half|439|||-0.8||yes|",
)


def _point(cells: dict[str, str]) -> Document:
    _, sign = _SIGNS[cells["Direction"]]
    point: Document = {"point_number": int(cells["Step"])}
    pressure_pa = value(cells["Pressure (Pa)"], "Pa")
    if pressure_pa is not None:
        point |= {"envelope_pressure_pa": sign * pressure_pa, "baseline_removed": True}
    point |= filled({"dropped": _DROPPED.get(cells["Used"]), "dropped_reason": cells["Why not"] or None})
    readings: list[Document] = []
    for fan in ("1", "2"):
        plate, flow_m3_h = cells[f"Plate {fan}"] or None, value(cells[f"Flow {fan} (L/s)"], "L/s")
        if plate is not None or flow_m3_h is not None:
            flow = {"flow_m3_h": flow_m3_h, "flow_basis": None if flow_m3_h is None else "indicated"}
            readings.append(filled({"fan_id": fan, "fan_configuration": plate, **flow}))
    return {**point, "fan_readings": readings}


def _clock(cells: dict[str, str], column: str, name: str) -> Document:
    if not cells[column]:
        return {}
    text = f"{cells['Date']} {cells[column]}"
    local = datetime.strptime(text, "%Y-%m-%d %I:%M %p")
    written = cells[column] if name == "ended_at" else text
    return {f"{name}_as_recorded": written, f"{name}_local": local.isoformat()}


def _session(test: str, rows: dict[int, dict[str, str]], columns: Sequence[str]) -> Document:
    first = next(iter(rows.values()))
    runs: list[Document] = []
    for number, direction in enumerate(dict.fromkeys(cells["Direction"] for cells in rows.values()), 1):
        own = [cells for cells in rows.values() if cells["Direction"] == direction]
        run = {
            "run_number": number,
            "direction": _SIGNS[direction][0],
            "baseline_before_pressure_pa": value(own[0]["Baseline start (Pa)"], "Pa"),
            "baseline_after_pressure_pa": value(own[0]["Baseline end (Pa)"], "Pa"),
            "points": [_point(cells) for cells in own],
        }
        runs.append(filled(run))
    stray = [column for column in columns if column not in BOTH_COLUMNS]
    groups = {
        "record": {"job_id": test, "site_id": first["House"], "stage": _STAGES[first["Stage"]]},
        "time": {**_clock(first, "Start", "started_at"), **_clock(first, "End", "ended_at")},
        "runs": runs,
        "kept": [found for name in stray if (found := kept(name, [(row, cells[name]) for row, cells in rows.items()]))],
    }
    return {"source_place": f"test {test}", "schema_version": 1, "kind": kind_of(len(rows)), **filled(groups)}


def _sample(name: str, lines: Sequence[str], columns: Sequence[str]) -> Sample:
    rows = [dict(zip(columns, line.split("|"), strict=True)) for line in lines]
    tests = dict.fromkeys(cells["Test"] for cells in rows)
    sessions = tuple(
        _session(test, {row: cells for row, cells in enumerate(rows, _FIRST_ROW) if cells["Test"] == test}, columns)
        for test in tests
    )
    return Sample(PLUGIN_ID, name, both_directions(rows, columns), sessions)


def made() -> list[Sample]:
    """The samples."""
    whole = [f"{head}|{line}" for head, lines in (_LARGE_HOUSE, _SMALL_HOUSE) for line in lines]
    return [_sample("two-fans", whole, BOTH_COLUMNS), _sample("in-turn", _IN_TURN, _IN_TURN_COLUMNS)]
