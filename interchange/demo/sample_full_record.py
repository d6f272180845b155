"""Samples of the plugin for sectioned records that go through every key, column and most words of its closed lists.

The files' texts stand in `sample_full_texts`; what they mean is worked out here, from tables of the contract.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from datetime import datetime
from typing import Any

from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_full_texts import FULL, NOT_NOTED, OTHER_WORDS
from interchange.demo.sample_records import ARRANGEMENTS, DIRECTIONS, PLUGIN_ID, day, started
from interchange.demo.sample_values import value

# How a text is taken: by its words, by a function, or, where None, as a number in the unit that stands beside it.
How = Mapping[str, Any] | Callable[[str], Any] | None
Line = Sequence[str]


def _words(words: str) -> dict[str, str]:
    """A closed list whose words the session takes over, with its own sign between two of them."""
    return {word: word.replace(" ", "_").replace("-", "_") for word in words.split("|")}


_YES = {"yes": True, "no": False}
_NOT_NOTED = {"not noted": "unknown"}
_ON = {**_words("off|on"), **_NOT_NOTED}
_KNOWN = {**_words("measured|drawings|estimated|assumed"), **_NOT_NOTED}
_STATES = {**_words("open|closed|sealed"), **_NOT_NOTED}
_BOUNDARIES = {**_words("whole building|guarded"), "unit, total": "unit_total", "unit, to outside": "unit_to_outside"}

# name in the file, where it stands in the session, how it is taken
_RECORD: dict[str, tuple[str, How]] = {
    "Programme": ("programme", str),
    "Job": ("job_id", str),
    "House": ("site_id", str),
    "Stage": ("stage", str),
    "Visit": ("visit_number", int),
    "Attempt": ("attempt_number", int),
    "Retest of": ("retest_of", str),
    "Replaces": ("supersedes", str),
    "Result of record": ("result_of_record", _YES),
    "Title": ("title_as_recorded", str),
    "Contractor": ("contractor", str),
    "Crew": ("crew", str),
    "Tester": ("tester", str),
}
_HOUSE: dict[str, tuple[str, How]] = {
    "Volume": ("volume_m3", None),
    "Volume takes in": ("volume_definition", str),
    "Volume from": ("volume_source", _KNOWN),
    "Floor area": ("floor_area_m2", None),
    "Floor area takes in": ("floor_area_definition", str),
    "Floor area from": ("floor_area_source", _KNOWN),
    "Envelope area": ("envelope_area_m2", None),
    "Envelope area takes in": ("envelope_area_definition", str),
    "Envelope area from": ("envelope_area_source", _KNOWN),
    "Height": ("height_m", None),
    "Storeys": ("storeys", None),
    "Built": ("year_built", int),
    "Type": (
        "building_type",
        _words("detached|semi-detached|terraced|apartment|manufactured|non-residential|other"),
    ),
    "Foundation": ("foundation", _words("slab|crawl space|basement|piers|mixed|other")),
    "Garage attached": ("attached_garage", _YES),
    "Elevation": ("elevation_m", None),
    "Terrain": ("terrain", _words("open water|open country|suburban|city")),
    "Shielding": ("shielding", _words("none|light|moderate|heavy|very heavy")),
    "Climate zone": ("climate_zone", str),
    "Boundary": ("boundary", _BOUNDARIES),
    "Basement within": ("basement_included", _YES),
    "Garage within": ("garage_included", _YES),
}
_PREPARATION: dict[str, tuple[str, How]] = {
    "How": ("preparation_as_recorded", str),
    "Exhaust fans": ("exhaust_fans", _ON),
    "Combustion appliances": ("combustion_appliances", _ON),
    "Why this direction": ("direction_reason", str),
}
_OPENINGS = ("Attic hatch", "Fireplace damper", "Windows", "Vents")
_AIR: dict[str, tuple[str, How]] = {
    "Indoor": ("indoor_temperature_c", None),
    "Outdoor": ("outdoor_temperature_c", None),
    "Indoor humidity": ("indoor_relative_humidity", None),
    "Outdoor humidity": ("outdoor_relative_humidity", None),
    "Barometer": ("barometric_pressure_pa", None),
    "Wind": ("wind_speed_m_s", None),
    "Wind averaged over": ("wind_averaging_s", None),
    "Gust": ("wind_gust_m_s", None),
    "Gust over": ("wind_gust_window_s", None),
    "No gust": ("wind_gust_none_reported", _YES),
    "Wind from": ("wind_from_deg", None),
    "Wind height": ("wind_height_m", None),
    "Wind by": ("wind_source", {"hand": "on_site_hand", "mast": "on_site_mast", **_words("station|model")}),
    "Wind station": ("wind_station", str),
    "Wind station distance": ("wind_distance_m", None),
    "Precipitation": ("precipitation", {**_words("none|rain|snow"), **_NOT_NOTED}),
    "Ground": ("ground", {**_words("dry|wet|frozen|snow-covered"), **_NOT_NOTED}),
}
_GAUGE: dict[str, tuple[str, How]] = {
    "Gauge": ("gauge_serial", str),
    "Gauge calibrated": ("gauge_calibrated_on", day),
    "Gauge due": ("gauge_calibration_due_on", day),
    "Gauge accuracy": ("gauge_accuracy_pa", None),
    "Gauge accuracy of reading": ("gauge_accuracy_ratio", None),
    "Gauge resolution": ("gauge_resolution_pa", None),
}
_FAN: dict[str, tuple[str, How]] = {
    "Fan": ("fan_serial", str),
    "Fan calibrated": ("fan_calibrated_on", day),
    "Fan due": ("fan_calibration_due_on", day),
    "Fan accuracy": ("fan_accuracy_ratio", None),
    "Fan pressure against": ("fan_reference_at", {**_words("room|outdoors"), **_NOT_NOTED}),
}
_LINE: dict[str, tuple[str, How]] = {
    "Line end": ("arrangement", ARRANGEMENTS),
    "Line length": ("line_length_m", None),
    "Line bore": ("line_bore_m", None),
    "Line end fitted with": ("line_end_treatment", str),
    "Line damping": ("line_damping", str),
    "Line faces": ("line_facade_deg", None),
    "Line end height": ("line_end_height_m", None),
    "Line end from fan": ("line_end_to_fan_m", None),
    "Line end from wall": ("line_end_to_wall_m", None),
    "Line leaves by": (
        "line_path",
        {**_words("door panel|window|wall opening|other"), "under the door": "under_door", **_NOT_NOTED},
    ),
    "Line looked at": ("line_dry_check", {**_words("dry|water found"), "not looked at": "not_checked"}),
    "Indoor port": ("indoor_port_at", str),
}
_CALIBRATION: dict[str, tuple[str, How]] = {
    "Opening": ("fan_configuration", str),
    "Coefficient": ("fan_coefficient_m3_h", None),
    "Exponent": ("fan_exponent", None),
    "Reference density": ("reference_air_density_kg_m3", None),
    "Least fan pressure": ("minimum_fan_pressure_pa", None),
    "Greatest fan pressure": ("maximum_fan_pressure_pa", None),
}
_RUN: dict[str, tuple[str, How]] = {"Fan held": ("fan_held", _words("by hand|automatic"))} | {
    f"Baseline {phase}{name}": (f"baseline_{phase}_{field}", how)
    for phase in ("before", "after")
    for name, field, how in (
        ("", "pressure_pa", None),
        (" positive", "positive_pa", None),
        (" negative", "negative_pa", None),
        (" spread", "spread_pa", None),
        (" count", "count", int),
        (" seconds", "duration_s", None),
        (" covered", "fan_covered", _YES),
    )
}
_POINT: dict[str, tuple[str, How]] = {
    "Point": ("point_number", int),
    "Target": ("target_pressure_pa", None),
    "Envelope": ("envelope_pressure_pa", None),
    "Spread": ("envelope_pressure_spread_pa", None),
    "Count": ("sample_count", int),
    "Seconds": ("averaging_s", None),
    "Left out": ("dropped", _YES),
    "Why": ("dropped_reason", str),
    "Given up": ("given_up", _YES),
}
_READING: dict[str, tuple[str, How]] = {
    "Opening": ("fan_configuration", str),
    "Fan pressure": ("fan_pressure_pa", None),
    "Flow": ("flow_m3_h", None),
    "Flow is": ("flow_basis", _words("indicated|at device|envelope|extrapolated|summed")),
    "Extrapolated to": ("extrapolated_to_pa", None),
    "With exponent": ("extrapolated_with_exponent", None),
}
_RESULT: dict[str, tuple[str, How]] = {
    "Flow at 50 Pa": ("reported_flow_m3_h", None),
    "Air changes at 50 Pa": ("reported_air_change_50_per_h", None),
    "Natural air changes": ("reported_natural_air_change_per_h", None),
    "Coefficient": ("reported_coefficient_m3_h", None),
    "Exponent": ("reported_exponent", None),
    "Exponent assumed": ("reported_exponent_assumed", _YES),
    "Correlation r": ("reported_correlation_r", None),
    "Correlation r2": ("reported_correlation_r2", None),
    "Leakage area": ("reported_leakage_area_m2", None),
    "Area at": ("reported_leakage_area_pressure_pa", None),
    "Discharge coefficient": ("reported_leakage_area_discharge_coefficient", None),
    "Method": ("reported_method", str),
    "Result is": ("reported_basis", {**_words("measured|estimated|default"), **_NOT_NOTED}),
}


def _taken(lines: Sequence[Line], *tables: Mapping[str, tuple[str, How]]) -> Document:
    """Fields of one or more tables, out of lines of a name, a text and a unit; an empty text is none."""
    known = {name: entry for table in tables for name, entry in table.items()}
    found: Document = {}
    for name, text, *unit in lines:
        if text and name in known:
            field, how = known[name]
            if how is None:
                found[field] = value(text, unit[0] if unit and unit[0] else "1")
            else:
                found[field] = how(text) if callable(how) else how[text]
    return found


def _sections(text: str) -> dict[str, list[Line]]:
    found: dict[str, list[Line]] = {}
    for line in text.splitlines()[1:]:
        if line.startswith("["):
            cells = found.setdefault(line.strip("[]"), [])
        elif line:
            cells.append(line.split(";"))
    return found


def _rows(lines: Sequence[Line]) -> list[list[Line]]:
    """Rows of a table below its names and units, each as lines of a name, a text and a unit."""
    names, units, *rows = lines
    return [list(zip(names, row, units, strict=True)) for row in rows]


def _calibration_index(reading: Document, calibrations: Sequence[Document]) -> int | None:
    named = [
        (index, one)
        for index, one in enumerate(calibrations)
        if one["fan_configuration"] == reading.get("fan_configuration")
    ]
    if len(named) > 1:  # a calibration in ranges
        shown = reading["fan_pressure_pa"]
        named = [
            one for one in named if one[1]["minimum_fan_pressure_pa"] <= shown <= one[1]["maximum_fan_pressure_pa"]
        ]
    return named[0][0] if named else None


def _point(row: Sequence[Line], calibrations: Sequence[Document]) -> Document:
    reading = _taken(row, _READING)
    if reading:
        reading = filled(
            {
                "fan_id": "1",
                "flow_basis": "indicated",
                **reading,
                "calibration_index": _calibration_index(reading, calibrations),
            }
        )
    point = _taken(row, _POINT)
    if "envelope_pressure_pa" in point:
        point["baseline_removed"] = False
    return filled({**point, "fan_readings": [reading] if reading else []})


def _run(number: int, section: str, lines: Sequence[Line], calibrations: Sequence[Document]) -> Document:
    head = next(index for index, line in enumerate(lines) if line[0] == "Point")
    return {
        "run_number": number,
        "direction": DIRECTIONS[section],
        **_taken(lines[:head], _RUN),
        "points": [_point(row, calibrations) for row in _rows(lines[head:])],
    }


def _session(text: str) -> Document:
    sections = _sections(text)
    texts = {section: {line[0]: line[1] for line in lines} for section, lines in sections.items()}
    test, house, preparation, kit, result = (
        texts.get(section, {}) for section in ("Test", "House", "Preparation", "Kit", "Result")
    )
    gauge, fan = (_taken(sections.get("Kit", ()), table) for table in (_GAUGE, _FAN))
    line = {**_taken(sections.get("Kit", ()), _LINE), "arrangement_as_recorded": kit.get("Line end")}
    calibrations = [
        {"fan_id": "1", **_taken(row, _CALIBRATION)} for row in _rows(sections.get("Fan calibration", ((), ())))
    ]
    runs = [section for section in sections if section in DIRECTIONS]
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": "multi_point",
        "record": _taken(sections["Test"], _RECORD),
        "time": {**started(test), **_ended(test)},
        "building": filled(
            {**_taken(sections.get("House", ()), _HOUSE), "boundary_as_recorded": house.get("Boundary")}
        ),
        "preparation": _taken(sections.get("Preparation", ()), _PREPARATION),
        "conditions": _taken(sections.get("Air", ()), _AIR),
        "reported": filled(
            {
                **_taken(sections.get("Result", ()), _RESULT),
                "reported_flow_pressure_pa": 50.0 if "Flow at 50 Pa" in result else None,
            }
        ),
        "openings": [
            {"opening": name.lower(), "opening_state": _STATES[said], "opening_as_recorded": said}
            for name, said in preparation.items()
            if name in _OPENINGS
        ],
        "gauges": [{"gauge_id": "1", **gauge}] if gauge else [],
        "fans": [{"fan_id": "1", **fan}] if fan else [],
        "fan_calibrations": calibrations,
        "reference_lines": [{"line_id": "1", **line}],
        "runs": [_run(number, section, sections[section], calibrations) for number, section in enumerate(runs, 1)],
    }
    return filled(session)


def _ended(test: Mapping[str, str]) -> Document:
    if "Ended" not in test:
        return {}
    local = datetime.strptime(test["Ended"], "%d.%m.%Y %H:%M").isoformat()
    return {"ended_at_as_recorded": test["Ended"], "ended_at_local": local}


def made() -> list[Sample]:
    """The samples."""
    return [
        Sample(PLUGIN_ID, name, text.encode(encoding), (_session(text),))
        for name, text, encoding in (
            ("all-that-can-be-said", FULL, "cp1252"),
            ("other-words", OTHER_WORDS, "utf-8"),
            ("much-not-noted", NOT_NOTED, "cp1252"),
        )
    ]
