"""Sample of the plugin for sheets of one test a row."""

from __future__ import annotations

from datetime import datetime
from typing import Any

from interchange.demo.layouts import FIRST_SHEET_ROW, SHEET_COLUMNS, sheet
from interchange.demo.sample import Document, Sample, filled, number

PLUGIN_ID = "one-row-a-test"

_ABSENT = ("", "n/a", "-", "OL", "ERR")
_STAGES = {"test-in": "before", "test-out": "after", "interim": "interim", "inspection": "inspection"}
_BEAUFORT = {"calm": (0, 1), "light": (1, 2), "breezy": (3, 4), "windy": (5, 7)}

# leading zeros, a quoted remark, an empty baseline, marks for missing and over range, a pressurised house, noon
_LINES = (
    "0042|0007|test-in|02/03/2026|9:15 AM|A1|Ostrel Retrofit|-1.3|-50.2|full|1520|12430|1485|68|39|calm|1516|"
    "attic hatch taped, ash pan out",
    "0042|0007|test-out|02/24/2026|12:05 PM|A1|Ostrel Retrofit|-0.9|-49.6|half|948|12430|1485|67|42|light|953|",
    "0043|0011|test-in|02/04/2026|10:40 AM|A2|Ostrel Retrofit||-50.4|full|1334|10210|1220|69|36|calm|1327|",
    "0044|0012|test-in|02/04/2026|2:20 PM|A2|Ostrel Retrofit|ERR|OL|full|1490|11875|1410|70|44|windy|1490|"
    "leakage noted before the gusts, pressure after",
    "0045|0015|interim|02/05/2026|8:50 AM|A1|Ostrel Retrofit|1.1|50.7|full|1287|9940|n/a|66|35|light|1275|pressurised",
    "0046|0016|inspection|02/05/2026|1:30 PM|n/a|Ostrel Retrofit|-1.6|-50.1|half|1012|n/a|1180|-|n/a||1011|",
    "0047|0018|test-in|02/06/2026|11:05 AM|A2|Ostrel Retrofit|-2.4|-38.9|full|2391|15120|1806|64|31|breezy|2815|"
    "fan at its end",
    '0048|0019|test-in|02/06/2026|3:45 PM|A1|Ostrel Retrofit|-0.7|-50.0|n/a|1176|10865|1298|68|40|light|1176|door "B"',
)


def _session(row: int, cells: dict[str, str]) -> Document:
    def text(column: str) -> str | None:
        return None if cells[column] in _ABSENT else cells[column]

    def value(column: str, spelling: str, quantity: str) -> float | None:
        found = text(column)
        return None if found is None else number(found, spelling, quantity)

    pressure_pa = value("House pressure (Pa)", "Pa", "envelope_pressure_pa")
    removed = None if pressure_pa is None else False
    wind = text("Wind")
    low, high = _BEAUFORT[wind] if wind else (None, None)
    started = datetime.strptime(f"{cells['Test date']} {cells['Test time']}", "%m/%d/%Y %I:%M %p")
    direction = None
    if pressure_pa is not None:
        direction = "depressurisation" if pressure_pa < 0 else "pressurisation"
    reading = {
        "fan_id": "1",
        "fan_configuration": text("Fan setting"),
        "flow_m3_h": value("Fan flow (cfm)", "cfm", "flow_m3_h"),
        "flow_basis": "indicated",
    }
    run = {
        "run_number": 1,
        "direction": direction,
        "baseline_before_pressure_pa": value("Baseline (Pa)", "Pa", "baseline_before_pressure_pa"),
        "points": [
            filled(
                {"envelope_pressure_pa": pressure_pa, "baseline_removed": removed, "fan_readings": [filled(reading)]}
            )
        ],
    }
    groups: dict[str, Any] = {
        "record": filled(
            {
                "contractor": text("Contractor"),
                "crew": text("Crew"),
                "job_id": text("Job number"),
                "site_id": text("House"),
                "stage": _STAGES[cells["Stage"]],
            }
        ),
        "time": {
            "started_at_as_recorded": f"{cells['Test date']} {cells['Test time']}",
            "started_at_local": started.isoformat(),
        },
        "building": filled(
            {
                "volume_m3": value("Volume (cu ft)", "cu ft", "volume_m3"),
                "floor_area_m2": value("Floor area (sq ft)", "sq ft", "floor_area_m2"),
            }
        ),
        "conditions": filled(
            {
                "indoor_temperature_c": value("Indoor (F)", "F", "indoor_temperature_c"),
                "outdoor_temperature_c": value("Outdoor (F)", "F", "outdoor_temperature_c"),
                "wind_source": "observer_word" if wind else None,
                "wind_as_recorded": wind,
                "wind_beaufort_low": low,
                "wind_beaufort_high": high,
            }
        ),
        "reported": {
            "reported_flow_m3_h": value("Leakage at 50 Pa (cfm)", "cfm", "reported_flow_m3_h"),
            "reported_flow_pressure_pa": 50.0,
        },
        "runs": [filled(run)],
    }
    remark = text("Remarks")
    if remark is not None:
        groups["kept"] = [
            {
                "kept_section": "tests",
                "kept_name": "Remarks",
                "kept_first_row": row,
                "kept_last_row": row,
                "kept_count": 1,
                "kept_first": remark,
                "kept_last": remark,
            }
        ]
    return {"source_place": f"row {row}", "schema_version": 1, "kind": "single_point", **filled(groups)}


def made() -> list[Sample]:
    """The samples."""
    rows = [dict(zip(SHEET_COLUMNS, line.split("|"), strict=True)) for line in _LINES]
    sessions = tuple(_session(number, row) for number, row in enumerate(rows, FIRST_SHEET_ROW))
    problems = tuple("over-range" for column in SHEET_COLUMNS if any(row[column] in ("OL", "ERR") for row in rows))
    return [Sample(PLUGIN_ID, "eight-tests", sheet(rows), sessions, (), problems)]
