"""Samples of the plugin for sectioned records: one with the usual sections, one with little."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime, timedelta
from typing import Any

from interchange.demo.layouts import CALIBRATION_HEAD, POINT_HEAD, entries, sectioned
from interchange.demo.sample import Document, Sample, filled, number

PLUGIN_ID = "sectioned-points"

ARRANGEMENTS = {
    "open end": "open_end",
    "branched": "branched",
    "several facades": "several_facades",
    "sheltered": "sheltered_end",
    "not noted": "unknown",
}
DIRECTIONS = {"Depressurisation": "depressurisation", "Pressurisation": "pressurisation"}

# name in the file, unit it is written in, name in the session
_BUILDING = (
    ("Volume", "m³", "volume_m3"),
    ("Floor area", "m²", "floor_area_m2"),
    ("Envelope area", "m²", "envelope_area_m2"),
    ("Height", "m", "height_m"),
    ("Elevation", "m", "elevation_m"),
)
_AIR = (
    ("Indoor", "°C", "indoor_temperature_c"),
    ("Outdoor", "°C", "outdoor_temperature_c"),
    ("Barometer", "hPa", "barometric_pressure_pa"),
    ("Wind", "m/s", "wind_speed_m_s"),
    ("Gust", "m/s", "wind_gust_m_s"),
    ("Wind from", "°", "wind_from_deg"),
)
_BASELINES = (
    ("Baseline before", "Pa", "baseline_before_pressure_pa"),
    ("Baseline before spread", "Pa", "baseline_before_spread_pa"),
    ("Baseline before seconds", "s", "baseline_before_duration_s"),
    ("Baseline after", "Pa", "baseline_after_pressure_pa"),
    ("Baseline after spread", "Pa", "baseline_after_spread_pa"),
    ("Baseline after seconds", "s", "baseline_after_duration_s"),
)
_RESULT = (
    ("Flow at 50 Pa", "m³/h", "reported_flow_m3_h"),
    ("Air changes at 50 Pa", "1/h", "reported_air_change_50_per_h"),
    ("Coefficient", "m³/h", "reported_coefficient_m3_h"),
    ("Exponent", "1", "reported_exponent"),
    ("Correlation r2", "1", "reported_correlation_r2"),
)

_FULL_TEST = {
    "Job": "FV-2051",
    "House": "H-140",
    "Stage": "after",
    "Started": "19.02.2026 14:08",
    "UTC offset": "+00:00",
    "Contractor": "Harrow Insulation",
    "Crew": "C1",
    "Tester": "md",
    "Procedure": "multi-point",
}
_FULL_HOUSE = {
    "Volume": "338,5",
    "Floor area": "135,0",
    "Envelope area": "344,0",
    "Height": "5,2",
    "Elevation": "105",
}
_FULL_AIR = {
    "Indoor": "19,8",
    "Outdoor": "-1,5",
    "Barometer": "1021,5",
    "Wind": "1,1",
    "Gust": "1,9",
    "Wind from": "360",
}
_FULL_KIT = {
    "Gauge": "G-0420",
    "Gauge calibrated": "12.05.2025",
    "Fan": "F-0097",
    "Fan calibrated": "03.09.2025",
    "Line end": "branched",
    "Line length": "8",
}
_FULL_OPENINGS = ("full;487,5;0,500;10;1,204", "half;169,8;0,505;15;1,204", "quarter;57,9;0,507;15;1,204")
_FULL_DOWN = {
    "Baseline before": "-1,62",
    "Baseline before spread": "0,31",
    "Baseline before seconds": "60",
    "Baseline after": "-1,55",
    "Baseline after spread": "0,28",
    "Baseline after seconds": "60",
}
_FULL_DOWN_POINTS = (
    "1;-60;-60,4;0,5;30;half;100,5;1742",
    "2;-50;-50,1;0,4;30;half;79,1;1543",
    "3;-40;-40,6;0,4;30;half;59,8;1340",
    "4;-30;-29,8;0,3;30;half;39,5;1087",
    "5;-20;-20,3;0,3;30;quarter;197,9;845",
)
_FULL_UP = {
    "Baseline before": "-1,58",
    "Baseline before spread": "0,33",
    "Baseline before seconds": "60",
    "Baseline after": "-1,49",
    "Baseline after spread": "0,30",
    "Baseline after seconds": "60",
}
_FULL_UP_POINTS = (
    "1;60;60,2;0,5;30;half;101,2;1748",
    "2;50;49,7;0,4;30;half;78,9;1542",
    "3;40;40,3;0,4;30;half;59,8;1340",
    "4;30;30,5;0,3;30;half;41,8;1118",
    "5;20;19,6;0,3;30;quarter;189,6;827",
)
_FULL_RESULT = {
    "Flow at 50 Pa": "1540",
    "Air changes at 50 Pa": "4,55",
    "Coefficient": "118,4",
    "Exponent": "0,656",
    "Correlation r2": "0,9868",
}

_LITTLE_TEST = {
    "Job": "0173",
    "Stage": "inspection",
    "Started": "05.03.2026 09:30",
    "UTC offset": "-05:00",
    "Procedure": "multi-point",
}
_LITTLE_UP = {"Baseline before": "0,40"}
_LITTLE_POINTS = (
    "1;55;54,8;0,9;20;full;38,2;3041",
    "2;45;45,3;0,8;20;full;29,7;2681",
    "3;35;34,9;0,8;20;full;21,2;2265",
    "4;25;25,2;0,7;20;full;14,0;1841",
)


def _values(pairs: dict[str, str], fields: tuple[tuple[str, str, str], ...]) -> Document:
    return {field: number(pairs[name], unit, field) for name, unit, field in fields if name in pairs}


def day(text: str) -> str:
    """A date of the layout, as the session has it."""
    return datetime.strptime(text, "%d.%m.%Y").date().isoformat()


def started(test: dict[str, str]) -> Document:
    """When the test began, by the keys of its first section."""
    local = datetime.strptime(test["Started"], "%d.%m.%Y %H:%M")
    sign = -1 if test["UTC offset"].startswith("-") else 1
    hours, minutes = test["UTC offset"][1:].split(":")
    offset_s = sign * (int(hours) * 3600 + int(minutes) * 60)
    return {
        "started_at_as_recorded": test["Started"],
        "started_at_local": local.isoformat(),
        "started_at_utc": (local - timedelta(seconds=offset_s)).isoformat() + "Z",
        "utc_offset_s": offset_s,
        "time_zone_from": "source",
        "time_quality": "exact",
    }


def _point(line: str, openings: list[str]) -> Document:
    point, target, envelope, spread, seconds, opening, fan, flow = line.split(";")
    reading: dict[str, Any] = {
        "fan_id": "1",
        "fan_configuration": opening,
        "fan_pressure_pa": number(fan, "Pa", "fan_pressure_pa"),
        "flow_m3_h": number(flow, "m³/h", "flow_m3_h"),
        "flow_basis": "indicated",
    }
    if opening in openings:
        reading["calibration_index"] = openings.index(opening)
    return {
        "point_number": int(point),
        "target_pressure_pa": number(target, "Pa", "target_pressure_pa"),
        "envelope_pressure_pa": number(envelope, "Pa", "envelope_pressure_pa"),
        "envelope_pressure_spread_pa": number(spread, "Pa", "envelope_pressure_spread_pa"),
        "averaging_s": number(seconds, "s", "averaging_s"),
        "baseline_removed": False,
        "fan_readings": [reading],
    }


def _calibration(line: str) -> Document:
    opening, coefficient, exponent, least, density = line.split(";")
    return {
        "fan_id": "1",
        "fan_configuration": opening,
        "fan_coefficient_m3_h": number(coefficient, "m³/h", "fan_coefficient_m3_h"),
        "fan_exponent": number(exponent, "1", "fan_exponent"),
        "reference_air_density_kg_m3": number(density, "kg/m³", "reference_air_density_kg_m3"),
        "minimum_fan_pressure_pa": number(least, "Pa", "minimum_fan_pressure_pa"),
    }


def _kit(kit: dict[str, str]) -> Document:
    if not kit:
        return {}
    line = {
        "line_id": "1",
        "arrangement": ARRANGEMENTS[kit["Line end"]],
        "arrangement_as_recorded": kit["Line end"],
        "line_length_m": number(kit["Line length"], "m", "line_length_m"),
    }
    gauge = {
        "gauge_id": "1",
        "gauge_serial": kit["Gauge"],
        "gauge_calibrated_on": day(kit["Gauge calibrated"]),
    }
    fan = {"fan_id": "1", "fan_serial": kit["Fan"], "fan_calibrated_on": day(kit["Fan calibrated"])}
    return {"gauges": [gauge], "fans": [fan], "reference_lines": [line]}


Runs = tuple[tuple[str, dict[str, str], tuple[str, ...]], ...]


def _sample(
    name: str,
    *,
    encoding: str,
    test: dict[str, str],
    house: dict[str, str],
    air: dict[str, str],
    kit: dict[str, str],
    openings: tuple[str, ...],
    runs: Runs,
    result: dict[str, str],
) -> Sample:
    calibration = [*CALIBRATION_HEAD, *(line.split(";") for line in openings)] if openings else []
    sections: list[tuple[str, Sequence[Sequence[str]]]] = [
        ("Test", entries(test)),
        ("House", entries(house)),
        ("Air", entries(air)),
        ("Kit", entries(kit)),
        ("Fan calibration", calibration),
        *(
            (section, [*entries(pairs), *POINT_HEAD, *(row.split(";") for row in rows)])
            for section, pairs, rows in runs
        ),
        ("Result", entries(result)),
    ]
    opening_names = [line.split(";")[0] for line in openings]
    record = {
        "contractor": test.get("Contractor"),
        "crew": test.get("Crew"),
        "tester": test.get("Tester"),
        "job_id": test["Job"],
        "site_id": test.get("House"),
        "stage": test["Stage"],
    }
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": "multi_point",
        "record": filled(record),
        "time": started(test),
        "building": _values(house, _BUILDING),
        "conditions": _values(air, _AIR),
        "reported": {**_values(result, _RESULT), **({"reported_flow_pressure_pa": 50.0} if result else {})},
        **_kit(kit),
        "fan_calibrations": [_calibration(line) for line in openings],
        "runs": [
            {
                "run_number": run_number,
                "direction": DIRECTIONS[section],
                **_values(pairs, _BASELINES),
                "points": [_point(row, opening_names) for row in rows],
            }
            for run_number, (section, pairs, rows) in enumerate(runs, 1)
        ],
    }
    content = sectioned([section for section in sections if section[1]], encoding)
    return Sample(PLUGIN_ID, name, content, (filled(session),))


def made() -> list[Sample]:
    """The samples."""
    return [
        _sample(
            "both-directions",
            encoding="cp1252",
            test=_FULL_TEST,
            house=_FULL_HOUSE,
            air=_FULL_AIR,
            kit=_FULL_KIT,
            openings=_FULL_OPENINGS,
            runs=(
                ("Depressurisation", _FULL_DOWN, _FULL_DOWN_POINTS),
                ("Pressurisation", _FULL_UP, _FULL_UP_POINTS),
            ),
            result=_FULL_RESULT,
        ),
        _sample(
            "little",
            encoding="utf-8",
            test=_LITTLE_TEST,
            house={},
            air={},
            kit={},
            openings=(),
            runs=(("Pressurisation", _LITTLE_UP, _LITTLE_POINTS),),
            result={},
        ),
    ]
