"""The simplest reading of every shape the demo delivers, for its tests alone: no code of the toolkit."""

from __future__ import annotations

import csv
import io
import json
from datetime import date, datetime, timedelta
from typing import NamedTuple

from plain_recomputing import CFM_M3_H, Fit, amount, at_reference, density, line

from interchange.resources import shipped

ROOT = shipped("demo_archive")
HOUSE_PA = 101_325.0 * (1.0 - 2.25577e-5 * 120.0) ** 5.2559
STAGES = {
    **{word: "before" for word in ("before", "test-in", "first", "vorher", "avant")},
    **{word: "after" for word in ("after", "test-out", "last", "nachher", "après")},
    **{word: "interim" for word in ("interim", "mid")},
    **{word: "inspection" for word in ("inspection", "check")},
}


class Run(NamedTuple):
    sign: float
    induced_pa: list[float]
    shown_m3_h: list[float]
    zero_pa: tuple[float | None, float | None]


class Plain(NamedTuple):
    """One test as its file tells it."""

    job_id: str
    site_id: str
    stage: str
    runs: list[Run]
    indoor_c: float = 20.0
    outdoor_c: float = 20.0
    barometer_pa: float = HOUSE_PA
    displayed_m3_h: float | None = None
    volume_m3: float | None = None

    def fit(self) -> Fit:
        found = [self._of(run) for run in self.runs]
        flows, exponents = zip(*found, strict=True)
        return Fit(sum(flows) / len(flows), sum(exponents) / len(exponents), self.displayed_m3_h or 0.0)

    def _of(self, run: Run) -> tuple[float, float]:
        air = [density(degrees, self.barometer_pa) for degrees in (self.indoor_c, self.outdoor_c)]
        if len(run.induced_pa) == 1:
            flow = at_reference(run.shown_m3_h[0], 0.65, run.sign, *air)
            return flow * (50.0 / abs(run.induced_pa[0])) ** 0.65, 0.65
        from math import exp, log

        exponent, constant = line([log(abs(p)) for p in run.induced_pa], [log(q) for q in run.shown_m3_h])
        return at_reference(exp(constant), exponent, run.sign, *air) * 50.0**exponent, exponent


def deliveries(root=ROOT) -> list[dict]:
    return json.loads((root / "truth.json").read_text(encoding="utf-8"))["deliveries"]


def content_of(file: str, root=ROOT) -> bytes:
    outer, within, inner = file.partition(".zip/")
    if not within:
        return (root / "deliveries" / file).read_bytes()
    from zipfile import ZipFile

    with ZipFile(root / "deliveries" / f"{outer}.zip") as archive:
        return archive.read(inner)


def text_of(content: bytes) -> str:
    if content.startswith(b"\xff\xfe"):
        return content.decode("utf-16")
    try:
        return content.decode("utf-8-sig")
    except UnicodeDecodeError:
        return content.decode("cp1252")


_FIRST_WORDS = {
    "Job number,": "A",
    "House,": "A",
    "Airtightness record;": "B",
    "# log:": "C",
    "Ref,": "D",
    "% log": "E",
    "[Record]": "F",
    "<Messung>": "G",
    "Test,": "H",
    "Dossier;": "I",
    "@ station": "K",
    '"STATION"': "L",
    "Points record": "M",
}


def shape_of(content: bytes) -> str:
    text = text_of(content)
    if "No,Property,When,Outcome" in text:
        return "J"
    return next((letter for words, letter in _FIRST_WORDS.items() if text.startswith(words)), "?")


def table(text: str, delimiter: str = ",") -> list[dict[str, str]]:
    return list(csv.DictReader(io.StringIO(text, newline=""), delimiter=delimiter))


def number(text: str) -> float | None:
    return float(text) if text not in ("", "-", "n/a", "OL") else None


def celsius(fahrenheit: str) -> float:
    return (float(fahrenheit) - 32.0) / 1.8


def told_in(delivery: dict, root=ROOT) -> dict[str, Plain]:
    """Tests of the envelope in a delivery by their place; a test without any reading is left out."""
    content = content_of(delivery["file"], root)
    readers = {"A": _sheet, "B": _record, "D": _across, "E": _trace, "G": _german, "H": _both, "I": _transposed}
    shape = shape_of(content)
    if shape == "M":
        beside = {name: text_of(content_of(name, root)) for name in delivery["companions"]}
        return {"file": _points(text_of(content), beside)}
    return readers[shape](text_of(content), root) if shape in readers else {}


def _sheet(text, _root):
    found = {}
    for place, row in enumerate(table(text), 2):
        pressure, flow = number(row["House pressure (Pa)"]), number(row["Fan flow (cfm)"])
        zero = number(row["Baseline (Pa)"])
        shown = number(row["Leakage at 50 Pa (cfm)"])
        runs = []
        if pressure is not None and flow is not None:
            induced = pressure - (zero or 0.0)
            runs = [Run(pressure, [induced], [flow * CFM_M3_H], (zero, None))]
        found[f"row {place}"] = Plain(
            *(row["Job number"], row["House"], STAGES[row["Stage"]], runs),
            *(celsius(row["Indoor (F)"]), celsius(row["Outdoor (F)"]), HOUSE_PA),
            None if shown is None else shown * CFM_M3_H,
            float(row["Volume (cu ft)"]) * 0.3048**3,
        )
    return found


def _across(text, _root):
    found = {}
    for place, row in enumerate(table(text), 2):
        if row["Test"] != "envelope":
            continue
        sign = -1.0 if row["Direction"] == "out" else 1.0
        zeros = number(row["Zero before (Pa)"]), number(row["Zero after (Pa)"])
        zero = sum(zeros) / 2.0
        there = [n for n in range(1, 11) if row[f"P{n} (Pa)"]]
        induced = [sign * float(row[f"P{n} (Pa)"]) - zero for n in there]
        flows = [float(row[f"F{n} (cfm)"]) * CFM_M3_H for n in there]
        altitude = float(row["Altitude (ft)"]) * 0.3048
        barometer = 101_325.0 * (1.0 - 2.25577e-5 * altitude) ** 5.2559
        air = celsius(row["Inside (°F)"]), celsius(row["Outside (°F)"]), barometer
        found[f"row {place}"] = Plain(
            row["Ref"], row["Property"], STAGES[row["Visit"]], [Run(sign, induced, flows, zeros)], *air
        )
    return found


def french(text: str) -> float | None:
    return None if text in ("", "n.d.") else float(text.replace(" ", "").replace(",", "."))


def _transposed(text, _root):
    named = {cells[0]: cells[1:] for cells in (row.split(";") for row in text.splitlines())}
    found = {}
    for index in range(len(named["Dossier"])):
        cell = {name: cells[index] for name, cells in named.items()}
        zero, pressure = french(cell["Pression au repos (Pa)"]), french(cell["Pression (Pa)"])
        run = Run(pressure, [pressure - (zero or 0.0)], [french(cell["Débit (m³/h)"])], (zero, None))
        found[f"column {index + 2}"] = Plain(
            *(cell["Dossier"], cell["Maison"], STAGES[cell["Étape"]], [run]),
            *(french(cell["Température intérieure (°C)"]), french(cell["Température extérieure (°C)"]), HOUSE_PA),
            *(french(cell["Débit à 50 Pa (m³/h)"]), french(cell["Volume (m³)"])),
        )
    return found


def _record(text, _root):
    from plain_recomputing import sections

    parts = sections(text)
    test = {cells[0]: cells[1] for cells in parts["Test"]}
    air = {cells[0]: amount(cells[1]) for cells in parts["Air"]}
    runs = []
    for name, sign in (("Depressurisation", -1.0), ("Pressurisation", 1.0)):
        if name in parts:
            entry = {cells[0]: cells[1] for cells in parts[name]}
            zeros = amount(entry["Baseline before"]), amount(entry["Baseline after"])
            points = [cells for cells in parts[name] if cells[0].isdigit()]
            induced = [amount(cells[2]) - sum(zeros) / 2.0 for cells in points]
            runs.append(Run(sign, induced, [amount(cells[7]) for cells in points], zeros))
    result = {cells[0]: amount(cells[1]) for cells in parts["Result"]}
    of_air = air["Indoor"], air["Outdoor"], air["Barometer"] * 100.0
    return {"file": Plain(test["Job"], test["House"], STAGES[test["Stage"]], runs, *of_air, result["Flow at 50 Pa"])}


def register(name: str, root=ROOT) -> list[dict[str, str]]:
    return table((root / "registers" / f"{name}.csv").read_text(encoding="utf-8"))


def law_of(fan: str, configuration: str, day: date, root=ROOT) -> tuple[float, float]:
    """Coefficient and exponent that held for a fan on a day, from the register."""
    rows = [row for row in register("calibrations", root) if row["fan_serial"] == fan]
    latest = max(row["fan_calibrated_on"] for row in rows if row["fan_calibrated_on"] <= f"{day}")
    row = next(r for r in rows if (r["fan_configuration"], r["fan_calibrated_on"]) == (configuration, latest))
    return float(row["fan_coefficient_m3_h"]), float(row["fan_exponent"])


def german_parts(text: str) -> dict[str, list[list[str]]]:
    found: dict[str, list[list[str]]] = {}
    for row in text.splitlines():
        if row.startswith("<"):
            found[row[1:-1]] = []
        else:
            found[list(found)[-1]].append(row.split(";"))
    return found


def _german(text, root):
    parts = german_parts(text)
    head = {cells[0]: cells[1] for cells in parts["Messung"]}
    day = datetime.strptime(head["Beginn"], "%d.%m.%Y %H:%M").date()
    runs = []
    for name, sign in (("Unterdruck", -1.0), ("Überdruck", 1.0)):
        rows = parts.get(name, [])[1:]
        if not rows:
            continue
        zeros = tuple(amount(cells[2]) for cells in rows if cells[1].startswith("Nullmessung"))
        points = [cells for cells in rows if cells[1] == "Messpunkt"]
        flows = []
        for cells in points:
            if "Kalibrierung" in parts:
                flows.append(_by_table(parts["Kalibrierung"][1:], cells[5], amount(cells[6])))
            else:
                coefficient, exponent = law_of(head["Gebläse"], cells[5], day, root)
                flows.append(coefficient * amount(cells[6]) ** exponent)
        runs.append(Run(sign, [amount(cells[2]) - sum(zeros) / len(zeros) for cells in points], flows, zeros))
    air = amount(head["Innentemperatur"]), amount(head["Außentemperatur"]), amount(head["Luftdruck"]) * 100.0
    return {"file": Plain(head["Auftrag"], head["Haus"], STAGES[head["Zeitpunkt"]], runs, *air)}


def _by_table(rows: list[list[str]], configuration: str, pressure: float) -> float:
    from math import exp, log

    points = [(amount(cells[1]), amount(cells[2])) for cells in rows if cells[0] == configuration]
    low = max((point for point in points if point[0] <= pressure), default=points[0])
    high = min((point for point in points if point[0] > pressure), default=points[-1])
    if low == high:
        low = points[-2]
    share = (log(pressure) - log(low[0])) / (log(high[0]) - log(low[0]))
    return exp(log(low[1]) + share * (log(high[1]) - log(low[1])))


def _both(text, _root):
    found: dict[str, Plain] = {}
    rows = table(text)
    for job in dict.fromkeys(row["Test"] for row in rows):
        mine = [row for row in rows if row["Test"] == job]
        runs = []
        for word, sign in (("depressurise", -1.0), ("pressurise", 1.0)):
            used = [row for row in mine if row["Direction"] == word and row["Used"] == "yes"]
            if used:
                flows = [sum(float(row[f"Flow {n} (L/s)"] or 0.0) for n in (1, 2)) * 3.6 for row in used]
                zeros = float(used[0]["Baseline start (Pa)"]), float(used[0]["Baseline end (Pa)"])
                runs.append(Run(sign, [float(row["Pressure (Pa)"]) for row in used], flows, zeros))
        found[f"test {job}"] = Plain(job, mine[0]["House"], STAGES[mine[0]["Stage"]], runs)
    return found


def _points(text: str, beside: dict[str, str]) -> Plain:
    rows = [row.split(",") for row in text.splitlines()]
    head = {cells[0]: cells[1] for cells in rows if not cells[0].isdigit()}
    points = [cells for cells in rows if cells[0].isdigit()]
    baseline = next(text for name, text in beside.items() if name.endswith("-baseline.csv"))
    zeros = tuple(float(row.split(",")[1]) for row in baseline.splitlines()[2:])
    induced = [float(cells[1]) - sum(zeros) / len(zeros) for cells in points]
    run = Run(induced[0], induced, [float(cells[6]) for cells in points], zeros)
    return Plain(
        head["Job"], head["House"], STAGES[head["Stage"]], [run], float(head["Indoor"]), float(head["Outdoor"])
    )


def _trace(text, _root):
    """Five points of 40 s after 20 s each, between two baselines of a minute: as the crew's plan has it."""
    lines = text.splitlines()
    keys = dict(row[2:].split(" = ") for row in lines if row.startswith("% ") and " = " in row)
    rows = [row.split("\t") for row in lines if row[:2] == "20"]
    times = [datetime.strptime(cells[0], "%Y-%m-%d %H:%M:%S") for cells in rows]
    assert times == [times[0] + timedelta(seconds=second) for second in range(len(rows))]
    inside = [-float(cells[1]) for cells in rows]
    zeros = sum(inside[:60]) / 60.0, sum(inside[-60:]) / 60.0
    held = [slice(80 + 60 * n, 120 + 60 * n) for n in range(5)]
    induced = [sum(inside[part]) / 40.0 - sum(zeros) / 2.0 for part in held]
    flows = [3.6 * sum(float(cells[3]) for cells in rows[part]) / 40.0 for part in held]
    run = Run(induced[0], induced, flows, zeros)
    return {
        "file": Plain(keys["job"], keys["house"], STAGES[keys["stage"]], [run], float(rows[0][4]), float(rows[0][5]))
    }
