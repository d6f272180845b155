"""Samples of the plugin for tables of one test a column."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from interchange.demo.layouts_rows import TRANSPOSED_NAMES, transposed
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import kept, value

PLUGIN_ID = "transposed-table"

_ABSENT = ("", "n.d.")
_FIRST_COLUMN = 2  # column of the file that holds the first test
_STAGES = {"avant": "before", "après": "after", "intermédiaire": "interim", "contrôle": "inspection"}
_BEAUFORT = {"calme": (0, 1), "faible": (2, 3), "modéré": (4, 5), "fort": (6, 8)}
_BLANKS = dict.fromkeys(map(ord, " \u00a0\u202f"))  # blank, no-break blank, narrow no-break blank

# name, then a cell a test
_FOUR = """\
Dossier|FV-3081|FV-3082|FV-3083|0047
Maison|H-151|H-151|H-153|0012
Étape|avant|après|intermédiaire|contrôle
Date|12/03/2026|02/04/2026|12/03/2026|03/04/2026
Heure|09:40|14:05|11:20|16:30
Équipe|É2|É2|É2|É1
Pression au repos (Pa)|-1,4|-0,8|0,6|-1,1
Pression (Pa)|-50,3|-49,8|50,6|-50,0
Diaphragme|ouvert|moyen|ouvert|moyen
Débit (m³/h)|2 640|1\u00a0482|2 215|1 390
Volume (m³)|402,5|402,5|1 018|365
Surface (m²)|161|161|372,4|148
Température intérieure (°C)|20,5|21,0|19,8|20,2
Température extérieure (°C)|8,0|13,5|9,1|-0,5
Vent|faible|calme|modéré|fort
Débit à 50 Pa (m³/h)|2 630|1 486|2 198|1 390
Remarques|hotte scotchée ; trappe ouverte||porte "B"|
"""

# Rows in another order, a row that nobody asked for, marks: a test without its pressure, one without a fan's setting
# and without a result of its own.
_FEW = """\
Maison|H-160|H-161
Dossier|FV-3090|FV-3091
Date|15/04/2026|15/04/2026
Heure|08:00|10:45
Code clé|4417|n.d.
Étape|avant|avant
Pression (Pa)|n.d.|-38,9
Pression au repos (Pa)|-2,4|
Débit (m³/h)|3\u202f905|3 120
Diaphragme|ouvert|n.d.
Débit à 50 Pa (m³/h)|3 950|n.d.
Vent|n.d.|
Volume (m³)|n.d.|512,0
Équipe||É1
Surface (m²)||
Température extérieure (°C)|11,5|
Température intérieure (°C)|n.d.|
Remarques||ventilateur à fond, 50 Pa non atteint
"""


def _session(column: int, cells: dict[str, str]) -> Document:
    def text(name: str) -> str | None:
        return None if cells[name] in _ABSENT else cells[name]

    def read(name: str, spelling: str) -> float | None:
        return value(cells[name].translate(_BLANKS), spelling, _ABSENT)

    pressure_pa, reported_m3_h = read("Pression (Pa)", "Pa"), read("Débit à 50 Pa (m³/h)", "m³/h")
    direction = None
    if pressure_pa is not None:
        direction = "depressurisation" if pressure_pa < 0 else "pressurisation"
    reading = {
        "fan_id": "1",
        "fan_configuration": text("Diaphragme"),
        "flow_m3_h": read("Débit (m³/h)", "m³/h"),
        "flow_basis": "indicated",
    }
    point = {
        "envelope_pressure_pa": pressure_pa,
        "baseline_removed": None if pressure_pa is None else False,
        "fan_readings": [filled(reading)],
    }
    run = {
        "run_number": 1,
        "direction": direction,
        "baseline_before_pressure_pa": read("Pression au repos (Pa)", "Pa"),
        "points": [filled(point)],
    }
    record = {
        "crew": text("Équipe"),
        "job_id": text("Dossier"),
        "site_id": text("Maison"),
        "stage": _STAGES[cells["Étape"]],
    }
    wind = text("Vent")
    low, high = _BEAUFORT[wind] if wind else (None, None)
    conditions = {
        "indoor_temperature_c": read("Température intérieure (°C)", "°C"),
        "outdoor_temperature_c": read("Température extérieure (°C)", "°C"),
        "wind_source": "observer_word" if wind else None,
        "wind_as_recorded": wind,
        "wind_beaufort_low": low,
        "wind_beaufort_high": high,
    }
    as_recorded = f"{cells['Date']} {cells['Heure']}"
    stray = [
        kept(name, [(row, text(name) or "")], "tests")
        for row, name in enumerate(cells, 1)
        if name == "Remarques" or name not in TRANSPOSED_NAMES
    ]
    groups = {
        "record": filled(record),
        "time": {
            "started_at_as_recorded": as_recorded,
            "started_at_local": datetime.strptime(as_recorded, "%d/%m/%Y %H:%M").isoformat(),
        },
        "building": filled({"volume_m3": read("Volume (m³)", "m³"), "floor_area_m2": read("Surface (m²)", "m²")}),
        "conditions": filled(conditions),
        "reported": filled(
            {
                "reported_flow_m3_h": reported_m3_h,
                "reported_flow_pressure_pa": None if reported_m3_h is None else 50.0,
            }
        ),
        "runs": [filled(run)],
        "kept": [pointer for pointer in stray if pointer],
    }
    return {"source_place": f"column {column}", "schema_version": 1, "kind": "single_point", **filled(groups)}


def _sample(name: str, table: str, encoding: str) -> Sample:
    lines = [line.split("|") for line in table.splitlines()]
    names: Sequence[str] = [line[0] for line in lines]
    tests = [dict(zip(names, texts, strict=True)) for texts in zip(*(line[1:] for line in lines), strict=True)]
    sessions = tuple(_session(column, cells) for column, cells in enumerate(tests, _FIRST_COLUMN))
    return Sample(PLUGIN_ID, name, transposed(tests, names, encoding), sessions)


def made() -> list[Sample]:
    """The samples."""
    return [_sample("four-tests", _FOUR, "cp1252"), _sample("rows-in-another-order", _FEW, "utf-8")]
