"""Samples of the plugin for records of points with the fan's pressure only."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from fractions import Fraction

from interchange.demo.layouts_files import fan_pressure
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import exact, kept, kind_of, value

PLUGIN_ID = "points-fan-pressure-only"

_STAGES = {"vorher": "before", "nachher": "after", "Zwischenstand": "interim", "Kontrolle": "inspection"}
_BEAUFORT = {"windstill": (0, 1), "leichter Wind": (1, 3), "mäßiger Wind": (4, 5), "starker Wind": (6, 8)}
_DIRECTIONS = {"Unterdruck": "depressurisation", "Überdruck": "pressurisation"}
_NAMES = frozenset(
    {"Auftrag", "Haus", "Zeitpunkt", "Beginn", "Ende", "Volumen", "Grundfläche", "Hüllfläche", "Innentemperatur"}
    | {"Außentemperatur", "Luftdruck", "Wind", "Messgerät", "Gebläse", "Gebläse geprüft"}
)

Runs = Sequence[tuple[str, Sequence[str]]]

_BOTH = {
    "Auftrag": "FV-3055",
    "Haus": "H-160",
    "Zeitpunkt": "vorher",
    "Beginn": "14.04.2026 09:12",
    "Ende": "14.04.2026 09:41",
    "Volumen": "402,0",
    "Grundfläche": "161,0",
    "Hüllfläche": "395,5",
    "Innentemperatur": "20,9",
    "Außentemperatur": "11,2",
    "Luftdruck": "1009,5",
    "Wind": "leichter Wind",
    "Messgerät": "G-0601",
    "Gebläse": "F-0611",
    "Gebläse geprüft": "03.11.2025",
}
_TABLE = (
    "offen;15;1905;1,204",
    "offen;60;3812;1,204",
    "offen;200;6960;1,204",
    "A;15;671;1,204",
    "A;60;1352;1,204",
    "A;120;1919;1,204",
)
_BOTH_RUNS = (
    (
        "Unterdruck",
        (
            "1;Nullmessung vorher;-1,3;0,4;60;;",
            "2;Messpunkt;-61,2;0,8;30;offen;63,3",
            "3;Messpunkt;-51,5;0,7;30;offen;50,2",
            "4;Messpunkt;-43,6;0,7;30;offen;39,9",
            "5;Messpunkt;-33,7;0,6;30;offen;28,8",
            "6;Messpunkt;-25,1;0,6;30;offen;19,9",
            "7;Messpunkt;-15,9;0,5;30;A;85,9",
            "8;Nullmessung nachher;-1,1;0,5;60;;",
        ),
    ),
    (
        "Überdruck",
        (
            "1;Nullmessung vorher;-1,25;0,5;30;;",
            "2;Nullmessung vorher;0,5;0,4;30;;",
            "3;Nullmessung vorher;-0,75;0,4;40;;",
            "4;Messpunkt;59,5;0,9;30;offen;59,3",
            "5;Messpunkt;51,0;0,8;30;offen;48,3",
            "6;Messpunkt;42,4;0,7;30;offen;38,6",
            "7;Messpunkt;33,5;0,7;30;offen;28,5",
            "8;Messpunkt;24,2;0,6;30;offen;18,4",
            "9;Nullmessung nachher;-1,5;0,5;30;;",
            "10;Nullmessung nachher;-0,5;0,4;30;;",
        ),
    ),
)

# The calibration is not in the file.
_WITHOUT_TABLE = {
    "Auftrag": "FV-3058",
    "Haus": "H-163",
    "Zeitpunkt": "nachher",
    "Beginn": "12.05.2026 16:05",
    "Ende": "12.05.2026 16:24",
    "Volumen": "1188,5",
    "Innentemperatur": "22,0",
    "Außentemperatur": "18,4",
    "Wind": "mäßiger Wind",
    "Gebläse": "F-0611",
}
_WITHOUT_TABLE_RUNS = (
    (
        "Überdruck",
        (
            "1;Nullmessung vorher;0,6;0,9;120;;",
            "2;Messpunkt;54,9;1,4;60;A;81,5",
            "3;Messpunkt;45,6;1,3;60;A;64,3",
            "4;Messpunkt;35,6;1,1;60;A;45,8",
            "5;Messpunkt;24,8;1,2;60;A;28,8",
            "6;Nullmessung nachher;0,9;0,8;120;;",
        ),
    ),
)

# Empty cells, no baseline afterwards, an opening without a stated density, a remark that nobody asked for, frost.
_SPARSE = {
    "Zeitpunkt": "Kontrolle",
    "Auftrag": "0512",
    "Beginn": "02.01.2026 08:00",
    "Außentemperatur": "-11,5",
    "Luftdruck": "",
    "Wind": "windstill",
    "Bemerkung": "Kellertür zu, Ofen kalt",
}
_SPARSE_TABLE = ("B;30;325;", "B;120;657;")
_SPARSE_RUNS = (
    (
        "Unterdruck",
        (
            "1;Nullmessung vorher;-2,4;;;;",
            "2;Messpunkt;-50,4;;20;B;104,0",
            "3;Messpunkt;-35,2;0,4;;B;67,5",
            "4;Messpunkt;;;;B;41,0",
        ),
    ),
)
# No zero readings, and a reading that swings more than it should.
_GALE = {
    "Auftrag": "0513",
    "Haus": "0077",
    "Zeitpunkt": "Zwischenstand",
    "Beginn": "03.01.2026 15:30",
    "Innentemperatur": "19,5",
    "Wind": "starker Wind",
    "Messgerät": "G-0604",
}
_GALE_RUNS = (("Unterdruck", ("1;Messpunkt;-48,9;4,6;30;A;70,5", "2;Messpunkt;-30,3;5,1;30;A;38,2")),)


def _clock(text: str | None, name: str) -> Document:
    if not text:
        return {}
    return {f"{name}_as_recorded": text, f"{name}_local": datetime.strptime(text, "%d.%m.%Y %H:%M").isoformat()}


def _baseline(rows: Sequence[Sequence[str]], when: str) -> Document:
    if not rows:
        return {}
    if len(rows) == 1:
        _, _, pressure, spread, seconds, _, _ = rows[0]
        stated = {
            "pressure_pa": value(pressure, "Pa"),
            "spread_pa": value(spread, "Pa"),
            "duration_s": value(seconds, "s"),
        }
    else:
        pressures = [exact(row[2], "Pa") for row in rows]
        stated = {
            "pressure_pa": _mean(pressures),
            "positive_pa": _mean([pressure for pressure in pressures if pressure > 0]),
            "negative_pa": _mean([pressure for pressure in pressures if pressure < 0]),
            "count": len(rows),
            "duration_s": float(sum(exact(row[4], "s") for row in rows)),
        }
    return filled({f"baseline_{when}_{name}": found for name, found in stated.items()})


def _mean(values: Sequence[Fraction]) -> float | None:
    return float(sum(values, Fraction(0)) / len(values)) if values else None


def _point(row: Sequence[str], openings: Sequence[str]) -> Document:
    number, _, pressure, spread, seconds, opening, fan = row
    reading = {
        "fan_id": "1",
        "fan_configuration": opening,
        "fan_pressure_pa": value(fan, "Pa"),
        "calibration_index": openings.index(opening) if openings else None,
    }
    point = {
        "point_number": int(number),
        "envelope_pressure_pa": value(pressure, "Pa"),
        "envelope_pressure_spread_pa": value(spread, "Pa"),
        "averaging_s": value(seconds, "s"),
        "baseline_removed": False if pressure else None,
        "fan_readings": [filled(reading)],
    }
    return filled(point)


def _run(number: int, section: str, rows: Sequence[Sequence[str]], openings: Sequence[str]) -> Document:
    return {
        "run_number": number,
        "direction": _DIRECTIONS[section],
        **_baseline([row for row in rows if row[1] == "Nullmessung vorher"], "before"),
        **_baseline([row for row in rows if row[1] == "Nullmessung nachher"], "after"),
        "points": [_point(row, openings) for row in rows if row[1] == "Messpunkt"],
    }


def _calibration(opening: str, table: Sequence[Sequence[str]]) -> Document:
    own = [row for row in table if row[0] == opening]
    points = [
        {"calibration_pressure_pa": value(pressure, "Pa"), "calibration_flow_m3_h": value(flow, "m³/h")}
        for _, pressure, flow, _ in own
    ]
    density = value(own[0][3], "kg/m³")
    return filled(
        {
            "fan_id": "1",
            "fan_configuration": opening,
            "reference_air_density_kg_m3": density,
            "calibration_points": points,
        }
    )


def _sample(name: str, head: dict[str, str], calibration: Sequence[str], runs: Runs, encoding: str) -> Sample:
    table = [line.split(";") for line in calibration]
    cells = [(section, [line.split(";") for line in lines]) for section, lines in runs]
    openings = list(dict.fromkeys(row[0] for row in table))
    wind = head["Wind"]
    low, high = _BEAUFORT[wind]

    def read(key: str, spelling: str) -> float | None:
        return value(head.get(key, ""), spelling)

    tested = head.get("Gebläse geprüft")
    fan = {
        "fan_serial": head.get("Gebläse"),
        "fan_calibrated_on": datetime.strptime(tested, "%d.%m.%Y").date().isoformat() if tested else None,
    }
    record = {"job_id": head["Auftrag"], "site_id": head.get("Haus"), "stage": _STAGES[head["Zeitpunkt"]]}
    building = {
        "volume_m3": read("Volumen", "m³"),
        "floor_area_m2": read("Grundfläche", "m²"),
        "envelope_area_m2": read("Hüllfläche", "m²"),
    }
    conditions = {
        "indoor_temperature_c": read("Innentemperatur", "°C"),
        "outdoor_temperature_c": read("Außentemperatur", "°C"),
        "barometric_pressure_pa": read("Luftdruck", "hPa"),
        "wind_source": "observer_word",
        "wind_as_recorded": wind,
        "wind_beaufort_low": low,
        "wind_beaufort_high": high,
    }
    made = [_run(number, section, rows, openings) for number, (section, rows) in enumerate(cells, 1)]
    session = {
        "source_place": "file",
        "schema_version": 1,
        "kind": kind_of(sum(len(run["points"]) for run in made)),
        "record": filled(record),
        "time": {**_clock(head["Beginn"], "started_at"), **_clock(head.get("Ende"), "ended_at")},
        "building": filled(building),
        "conditions": filled(conditions),
        "gauges": [{"gauge_id": "1", "gauge_serial": head["Messgerät"]}] if "Messgerät" in head else [],
        "fans": [{"fan_id": "1", **filled(fan)}] if filled(fan) else [],
        "fan_calibrations": [_calibration(opening, table) for opening in openings],
        "runs": made,
        # the heading of the section is row 1
        "kept": [
            kept(key, [(row, text)], "Messung") for row, (key, text) in enumerate(head.items(), 2) if key not in _NAMES
        ],
    }
    return Sample(PLUGIN_ID, name, fan_pressure(head, table, cells, encoding), (filled(session),))


def made() -> list[Sample]:
    """The samples."""
    return [
        _sample("both-directions", _BOTH, _TABLE, _BOTH_RUNS, "cp1252"),
        _sample("calibration-elsewhere", _WITHOUT_TABLE, (), _WITHOUT_TABLE_RUNS, "utf-8"),
        _sample("sparse", _SPARSE, _SPARSE_TABLE, _SPARSE_RUNS, "utf-8"),
        _sample("gale", _GALE, (), _GALE_RUNS, "cp1252"),
    ]
