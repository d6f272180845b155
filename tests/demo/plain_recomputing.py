"""The simplest reading and recomputing of the demo's files, for its tests alone: no code of the toolkit.

Recomputing follows the usual steps: subtract the baseline, flow at the density of the air in the fan (orifice:
square root of densities), flow through the envelope (mass), coefficient at 20 °C and 101,325 Pa with density to the
power 1 - n. Formulas: ATTMA TSL2 2010 A.1.4 for the second step; the others as ISO 9972 has them, from memory.
"""

from __future__ import annotations

import csv
import io
import math
from typing import NamedTuple

FAN_DENSITY_KG_M3 = 1.204
REFERENCE_KG_M3 = 101_325.0 / (287.055 * 293.15)
CFM_M3_H = 0.3048**3 * 60.0


class Fit(NamedTuple):
    flow_50_m3_h: float
    exponent: float
    displayed_50_m3_h: float


def density(temperature_c: float, pressure_pa: float) -> float:
    return pressure_pa / (287.055 * (temperature_c + 273.15))


def at_reference(shown_m3_h: float, exponent: float, sign: float, indoor: float, outdoor: float) -> float:
    in_fan, in_leaks, left = (indoor, outdoor, indoor) if sign < 0 else (outdoor, indoor, outdoor)
    through_fan = shown_m3_h * math.sqrt(FAN_DENSITY_KG_M3 / in_fan)
    return through_fan * left / in_leaks * (in_leaks / REFERENCE_KG_M3) ** (1.0 - exponent)


def sheet_rows(content: bytes) -> list[dict[str, str]]:
    return list(
        csv.DictReader(
            io.StringIO(content.decode("utf-16" if content.startswith(b"\xff\xfe") else "utf-8-sig"), newline="")
        )
    )


def one_point(row: dict[str, str]) -> Fit:
    pressure, shown = float(row["House pressure (Pa)"]), float(row["Fan flow (cfm)"]) * CFM_M3_H
    indoor, outdoor = ((float(row[name]) - 32.0) / 1.8 for name in ("Indoor (F)", "Outdoor (F)"))
    barometer = 101_325.0 * (1.0 - 2.25577e-5 * 120.0) ** 5.2559
    induced = pressure - float(row["Baseline (Pa)"] or 0.0)
    flow = at_reference(shown, 0.65, induced, density(indoor, barometer), density(outdoor, barometer))
    displayed = float(row["Leakage at 50 Pa (cfm)"]) * CFM_M3_H
    return Fit(flow * (50.0 / abs(induced)) ** 0.65, 0.65, displayed)


def line(x: list[float], y: list[float]) -> tuple[float, float]:
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    above = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True))
    slope = above / sum((a - mean_x) ** 2 for a in x)
    return slope, mean_y - slope * mean_x


def sections(text: str) -> dict[str, list[list[str]]]:
    found: dict[str, list[list[str]]] = {}
    for cells in (row.split(";") for row in text.splitlines()[1:] if row):
        if cells[0].startswith("["):
            found[cells[0][1:-1]] = []
        else:
            found[list(found)[-1]].append(cells)
    return found


def amount(text: str) -> float:
    return float(text.replace(",", "."))


def by_direction(text: str) -> list[tuple[float, float]]:
    """Flow at 50 Pa at reference conditions, and exponent, of each direction in a record."""
    parts = sections(text)
    air = {cells[0]: amount(cells[1]) for cells in parts["Air"]}
    indoor, outdoor = (density(air[name], air["Barometer"] * 100.0) for name in ("Indoor", "Outdoor"))
    found = []
    for name, sign in (("Depressurisation", -1.0), ("Pressurisation", 1.0)):
        if name in parts:
            entry = {cells[0]: cells[1] for cells in parts[name]}
            zero = (amount(entry["Baseline before"]) + amount(entry["Baseline after"])) / 2.0
            points = [cells for cells in parts[name] if cells[0].isdigit()]
            x = [math.log(abs(amount(cells[2]) - zero)) for cells in points]
            y = [math.log(amount(cells[7])) for cells in points]
            exponent, constant = line(x, y)
            flow = at_reference(math.exp(constant), exponent, sign, indoor, outdoor) * 50.0**exponent
            found.append((flow, exponent))
    return found


def many_points(text: str) -> Fit:
    flows, exponents = zip(*by_direction(text), strict=True)
    result = {cells[0]: amount(cells[1]) for cells in sections(text)["Result"]}
    return Fit(sum(flows) / len(flows), sum(exponents) / len(exponents), result["Flow at 50 Pa"])
