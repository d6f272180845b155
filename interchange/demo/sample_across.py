"""Samples of the plugin for sheets whose points are counted across."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.demo.layouts_rows import ACROSS_COLUMNS, MOST_POINTS, across
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import kept, kind_of, spreadsheet_time, value

PLUGIN_ID = "one-row-points-across"

_ABSENT = ("", "-")
_FIRST_ROW = 2  # physical row of the first test
_STAGES = {"first": "before", "mid": "interim", "last": "after", "check": "inspection"}
_DIRECTIONS = {"out": "depressurisation", "in": "pressurisation"}
_REASONS = {"no access": "no_access", "declined": "declined", "too windy": "weather", "unsafe": "hazard"}

# Each line: entries, then pressures, then flows. Both directions of one house are two rows; a duct test; four houses
# that were not tested, one of them with the wind that stopped it.
_STREET = (
    "Ref=R-501|Property=P-018|Visit=first|Started=46063.3958333333|Test=envelope|Direction=out|Zero before (Pa)=-1.4|"
    "Zero after (Pa)=-1.2|Opening=ring A|Volume (ft3)=14850|Inside (°F)=68.5|Outside (°F)=41|Altitude (ft)=394|"
    "Wind (mph)=4.5|Gust (mph)=9|Comment=attic hatch taped"
    "/60.1 52.4 45.2 38.0 30.4 21.7 15.0/2041 1836 1691 1500 1277 1010 789",
    "Ref=R-502|Property=P-018|Visit=first|Started=46063.4131944444|Test=envelope|Direction=in|Zero before (Pa)=0.6|"
    "Zero after (Pa)=-0.3|Opening=ring A|Volume (ft3)=14850|Inside (°F)=68.5|Outside (°F)=41.5|Altitude (ft)=394|"
    "Wind (mph)=5|Gust (mph)=11"
    "/60.1 51.6 45.3 38.2 29.7 22.1 15.3/2122 1907 1762 1579 1346 1096 859",
    "Ref=R-503|Property=P-018|Visit=first|Started=46063.4340277778|Test=duct|Opening=ring C|Inside (°F)=69/25.0 12.2/"
    "139 92",
    "Ref=R-504|Property=P-021|Visit=last|Started=46064.375|Test=no access",
    "Ref=R-505|Property=P-022|Visit=mid|Started=46064.4270833333|Test=declined|Comment=tenant ill, ring again in May",
    "Ref=R-506|Property=P-025|Visit=first|Started=46065.5625|Test=too windy|Wind (mph)=26|Gust (mph)=41",
    "Ref=R-507|Property=P-027|Visit=check|Started=46066.3645833333|Test=unsafe|Comment=smell of gas",
    "Ref=R-508|Property=P-031|Visit=last|Started=46066.6354166667|Test=envelope|Direction=out|Zero before (Pa)=-0.9|"
    "Zero after (Pa)=-1.1|Opening=ring B|Volume (ft3)=11230|Inside (°F)=66|Outside (°F)=37|Altitude (ft)=407|"
    "Wind (mph)=3|Gust (mph)=6"
    "/59.8 55.3 49.8 45.1 39.8 35.4 30.3 24.7 19.7 15.1/1254 1210 1115 1031 959 872 787 692 591 489",
)

# Holes among the points, a pressure without a flow and a flow without a pressure, marks, a column that nobody asked
# for, ids with leading zeros, no day at all.
_HOLES = (
    "Ref=0061|Property=0007|Visit=mid|Started=46070.5|Test=envelope|Direction=out|Zero before (Pa)=-2.1|"
    "Zero after (Pa)=-|Volume (ft3)=-|Inside (°F)=64|Outside (°F)=-4|Wind (mph)=-|Key safe=left of the door"
    "/49.6 - 34.8  20.3 12.0/1468   1299 832",
    "Ref=0062|Property=0009|Visit=last|Test=no access|Key safe=none",
    "Ref=0063|Visit=check|Started=46071.6805671296|Test=duct|Opening=-/25.0/-",
    "Ref=0064|Property=0012|Visit=check|Started=46071.7083333333|Test=envelope|Direction=in|Opening=open|"
    "Wind (mph)=0|Comment=one point only, fan moved/50.0/2310",
)


def _cells(line: str) -> dict[str, str]:
    entries, pressures, flows = line.split("/") if "/" in line else (line, "", "")
    cells = dict(entry.split("=") for entry in entries.split("|"))
    cells |= {f"P{number} (Pa)": text for number, text in enumerate(pressures.split(" "), 1)}
    return cells | {f"F{number} (cfm)": text for number, text in enumerate(flows.split(" "), 1)}


def _session(row: int, cells: dict[str, str], columns: Sequence[str]) -> Document:
    def text(column: str) -> str | None:
        return None if cells.get(column, "") in _ABSENT else cells[column]

    def read(column: str, spelling: str) -> float | None:
        return value(cells.get(column, ""), spelling, _ABSENT)

    test = cells["Test"]
    direction = _DIRECTIONS.get(cells.get("Direction", ""))
    opening = text("Opening")
    points: list[Document] = []
    others: list[Document] = []
    for number in range(1, MOST_POINTS + 1):
        pressure_pa, flow_m3_h = read(f"P{number} (Pa)", "Pa"), read(f"F{number} (cfm)", "cfm")
        if pressure_pa is None and flow_m3_h is None:
            continue
        if test == "duct":
            reading = {"other_pressure_pa": pressure_pa, "other_flow_m3_h": flow_m3_h}
            others.append(filled({"other_reading_as_recorded": opening, **reading}))
            continue
        point: Document = {"point_number": number}
        if pressure_pa is not None:
            signed_pa = -pressure_pa if direction == "depressurisation" else pressure_pa
            point |= {"envelope_pressure_pa": signed_pa, "baseline_removed": False}
        if flow_m3_h is not None:
            flow = {"flow_m3_h": flow_m3_h, "flow_basis": "indicated"}
            point["fan_readings"] = [filled({"fan_id": "1", "fan_configuration": opening, **flow})]
        points.append(point)
    kind = {"envelope": kind_of(len(points)), "duct": "other_test"}.get(test, "not_tested")
    run = {
        "run_number": 1,
        "direction": direction,
        "baseline_before_pressure_pa": read("Zero before (Pa)", "Pa"),
        "baseline_after_pressure_pa": read("Zero after (Pa)", "Pa"),
        "points": points,
    }
    record = {
        "job_id": text("Ref"),
        "site_id": text("Property"),
        "stage": _STAGES[cells["Visit"]],
        "not_tested_reason": _REASONS.get(test),
        "not_tested_as_recorded": test if kind == "not_tested" else None,
        "other_test": "duct" if test == "duct" else None,
        "other_test_as_recorded": "duct" if test == "duct" else None,
    }
    started = text("Started")
    wind_m_s, gust_m_s = read("Wind (mph)", "mph"), read("Gust (mph)", "mph")
    conditions = {
        "indoor_temperature_c": read("Inside (°F)", "°F"),
        "outdoor_temperature_c": read("Outside (°F)", "°F"),
        "wind_speed_m_s": wind_m_s,
        "wind_gust_m_s": gust_m_s,
        "wind_source": None if wind_m_s is None and gust_m_s is None else "on_site_hand",
    }
    stray = [column for column in columns if column == "Comment" or column not in ACROSS_COLUMNS]
    groups = {
        "record": filled(record),
        "time": {
            "started_at_as_recorded": started,
            "started_at_local": spreadsheet_time(started).isoformat(),
        }
        if started
        else {},
        "building": filled({"volume_m3": read("Volume (ft3)", "cu ft"), "elevation_m": read("Altitude (ft)", "ft")}),
        "conditions": filled(conditions),
        "runs": [filled(run)] if test == "envelope" else [],
        "other_readings": others,
        "kept": [found for name in stray if (found := kept(name, [(row, cells.get(name, ""))], "tests"))],
    }
    return {"source_place": f"row {row}", "schema_version": 1, "kind": kind, **filled(groups)}


def _sample(name: str, lines: Sequence[str], columns: Sequence[str]) -> Sample:
    rows = [_cells(line) for line in lines]
    sessions = tuple(_session(row, cells, columns) for row, cells in enumerate(rows, _FIRST_ROW))
    problems = tuple("start-unknown" for cells in rows if not cells.get("Started"))
    return Sample(PLUGIN_ID, name, across(rows, columns), sessions, (), problems)


def made() -> list[Sample]:
    """The samples."""
    with_key_safe = ("Key safe", *ACROSS_COLUMNS)
    return [_sample("a-street", _STREET, ACROSS_COLUMNS), _sample("holes", _HOLES, with_key_safe)]
