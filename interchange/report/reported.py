"""What is found in the values that a source reports, in sentences for a programme officer.

A slip is told as what the values would agree with, never as what is right: the sender knows. Nothing is changed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from typing import Protocol

from interchange.quantities import QUANTITIES
from interchange.units import SLIPS, Slip, unit

ASK = "ask the sender, nothing was changed"
_SPELLED = {"cfm": "ft3/min", "inH2O": "inch of water", "mmH2O": "mm of water"}
_PAIRS = ("4 Pa and 1", "10 Pa and 0.611", "10 Pa and 1")
_LIKELY = {
    "reported_flow_m3_h": "reported flow",
    "reported_flow_pressure_pa": "pressure of the reported flow",
    "reported_air_change_50_per_h": "reported rate at 50 Pa",
    "reported_natural_air_change_per_h": "reported natural rate",
    "reported_exponent": "reported exponent",
    "reported_leakage_area_m2": "reported leakage area",
    "volume_m3": "volume",
    "floor_area_m2": "floor area",
    "envelope_area_m2": "envelope area",
    "height_m": "height",
}


class Found(Protocol):
    """A finding, as `sentences` has it."""

    @property
    def value(self) -> float | None:
        """What was found."""

    @property
    def limit(self) -> float | None:
        """What it was held against."""

    @property
    def details(self) -> Mapping[str, float]:
        """Further numbers."""


def number(value: float) -> str:
    """A number for people: three digits or more, thousands apart, no digits that mean nothing."""
    if math.isnan(value):
        return "unknown"
    if value == 0 or not math.isfinite(value):
        return f"{value:g}"
    decimals = max(0, 2 - math.floor(math.log10(abs(value))))
    text = f"{value:,.{min(decimals, 8)}f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def _slip(found: Found, name: str = "slip") -> Slip | None:
    place = found.details.get(name, -1.0)
    return None if math.isnan(place) or place < 0 else SLIPS[int(place)]


def _value(found: Found) -> str:
    return number(math.nan if found.value is None else found.value)


def spelled(spelling: str) -> str:
    """A unit as people write it."""
    return _SPELLED.get(spelling, spelling)


def would_be(slip: Slip, value: float, subject: str) -> str:
    """What a value was if it holds a slip: the number as it may have been sent, and what that would mean."""
    meant = value / slip.factor
    if slip.of == "number":
        return f"a decimal point had moved by {abs(round(math.log10(slip.factor)))} in one of them"
    base = {"flow": "m3/h", "volume": "m3", "area": "m2", "opening": "cm2", "length": "m", "pressure": "Pa"}[slip.of]
    written = value / float(unit(slip.taken).factor / unit(base).factor)
    sent = f"{number(written)} {spelled(slip.meant)}"
    if slip.taken == base:
        return f"{subject} were in {spelled(slip.meant)} ({sent} = {number(meant)} {base})"
    return f"{subject}, taken for {number(written)} {spelled(slip.taken)}, were {sent}" + (
        "" if slip.meant == base else f" ({number(meant)} {base})"
    )


# --- between values --------------------------------------------------------------------------------------------------


def _flow_and_volume(found: Found) -> tuple[str, str]:
    flow, air, volume = (found.details.get(name, math.nan) for name in ("flow_m3_h", "air_change_per_h", "volume_m3"))
    text = (
        f"Reported {number(flow)} m3/h at 50 Pa and {number(air)} air changes an hour do not fit a volume of "
        f"{number(volume)} m3, which with that flow make {number(flow / volume)}"
    )
    slip, second = _slip(found), _slip(found, "second_slip")
    if found.details.get("natural"):
        divisor = number(flow / volume / air)
        return f"{text}; the air changes look like natural ones, without a fan (divisor {divisor}); {ASK}", ""
    if slip is None:
        return f"{text}; no known slip explains it; {ASK}", ""
    reasons = would_be(
        slip, volume if slip.of == "volume" else flow, "the volume" if slip.of == "volume" else "the flow"
    )
    if second is not None:
        reasons += " and " + would_be(second, volume, "the volume")
    witness = "; other values of the record say so too" if found.details.get("witness") else ""
    return f"{text}; they would if {reasons}{witness}; {ASK}", ""


def _coefficient(found: Found) -> tuple[str, str]:
    told = found.details
    text = (
        f"Reported coefficient {number(told.get('coefficient_m3_h', math.nan))} m3/h and exponent "
        f"{number(told.get('exponent', math.nan))} give {number(told.get('by_law_m3_h', math.nan))} m3/h at "
        f"{number(told.get('pressure_pa', math.nan))} Pa, not {number(told.get('flow_m3_h', math.nan))}"
    )
    if told.get("same"):
        return f"{text}; the coefficient is the flow at that pressure, not at 1 Pa; {ASK}", ""
    slip = _slip(found)
    if slip is None:
        return f"{text}; no known slip explains it; {ASK}", ""
    if slip.of == "pressure":
        return f"{text}; they would agree if the coefficient were for 1 {spelled(slip.meant)}, not 1 Pa; {ASK}", ""
    if slip.of == "number":
        return f"{text}; they would agree if {would_be(slip, 1.0, '')}; {ASK}", ""
    meant, taken = spelled(slip.meant), spelled(slip.taken)
    in_coefficient = f"the coefficient were in {meant} and had been taken for {taken}"
    in_flow = f"the flow were in {taken} and had been taken for {meant}"
    where = {1.0: in_coefficient, 2.0: in_flow}.get(told.get("agrees", 0.0), f"{in_coefficient}, or {in_flow}")
    return f"{text}; they would agree if {where}; {ASK}", ""


def _pairs(found: Found) -> str:
    mask = int(found.details.get("pairs", 0.0))
    return ", or ".join(pair for bit, pair in enumerate(_PAIRS) if mask >> bit & 1)


def _basis(found: Found) -> str:
    pressure, discharge = (found.details.get(name, math.nan) for name in ("pressure_pa", "discharge_coefficient"))
    said = [f"at {number(pressure)} Pa"] * (not math.isnan(pressure))
    said += [f"with discharge coefficient {number(discharge)}"] * (not math.isnan(discharge))
    return f" {' '.join(said)}" if said else ""


def _area(found: Found) -> tuple[str, str]:
    area, flow = found.details.get("area_m2", math.nan), found.details.get("flow_m3_h", math.nan)
    other = "the other values" if math.isnan(flow) else f"{number(flow)} m3/h at 50 Pa"
    text = f"The reported leakage area of {number(1e4 * area)} cm2{_basis(found)} does not go with {other}"
    text += f" ({_value(found)} % off)"
    slip = _slip(found)
    if slip is not None:
        in_flow = slip.of == "flow"
        reasons = would_be(slip, flow if in_flow else 1e4 * area, "the flow" if in_flow else "the area")
        return f"{text}; they would agree if {reasons}; {ASK}", ""
    if _pairs(found):
        return f"{text}; it would agree if it were stated for {_pairs(found)}; {ASK}", ""
    return f"{text}; no known slip explains it; {ASK}", ""


def area_not_stated(found: Found) -> str:
    """A leakage area without its pressure or discharge coefficient."""
    area, pressure, discharge = (
        found.details.get(name, math.nan) for name in ("area_m2", "pressure_pa", "discharge_coefficient")
    )
    lacking = " and ".join(["pressure"] * math.isnan(pressure) + ["discharge coefficient"] * math.isnan(discharge))
    text = f"The reported leakage area of {number(1e4 * area)} cm2{_basis(found)} does not say its {lacking or 'basis'}"
    pairs = _pairs(found)
    if pairs and found.details.get("exponent_known"):
        return f"{text}; it agrees with the reported flow if it is stated for {pairs} (pressure and coefficient)."
    return f"{text}; without it areas cannot be compared."


def _natural(found: Found) -> tuple[str, str]:
    at_50, natural = (number(found.details.get(name, math.nan)) for name in ("at_50_per_h", "natural_per_h"))
    text = f"The rates at 50 Pa and without a fan are {at_50} and {natural} an hour"
    if found.details.get("same"):
        return f"{text}: it looks like one value written twice; {ASK}", ""
    if found.details.get("exchanged"):
        return f"{text}: they look exchanged; {ASK}", ""
    ratio = _value(found)
    return f"{text}: {ratio} to 1, where 10 to 30 are usual; {ASK}", ""


def _exponent(found: Found) -> tuple[str, str]:
    value = _value(found)
    return f"The reported exponent is {value} with r2 of exactly 1: it looks assumed, not measured", ""


def exponent_assumed(found: Found) -> str:
    """A reported exponent that the source, or a single point, says was assumed."""
    value = _value(found)
    return f"The reported exponent, {value}, was assumed, not measured."


# --- single values ---------------------------------------------------------------------------------------------------


def _rooms(found: Found) -> tuple[str, str]:
    volume, floor = (found.details.get(name, math.nan) for name in ("volume_m3", "floor_area_m2"))
    text = f"A volume of {number(volume)} m3 over {number(floor)} m2 of floor makes rooms {_value(found)} m high"
    slip, floor_slip = _slip(found), _slip(found, "floor_slip")
    reasons = [would_be(slip, volume, "the volume")] if slip else []
    reasons += [would_be(floor_slip, floor, "the floor area")] if floor_slip else []
    if not reasons:
        return f"{text}; {ASK}", ""
    return f"{text}; it would be usual if {' and '.join(reasons)}; {ASK}", ""


def _outside(found: Found) -> tuple[str, str]:
    name, value = next(
        ((name, value) for name, value in found.details.items() if name in _LIKELY and not math.isnan(value)),
        ("volume_m3", math.nan),
    )
    ucum = QUANTITIES[name].ucum
    shown = number(value) + {"1": "", "/h": " an hour"}.get(ucum, f" {ucum}")
    text = f"The {_LIKELY[name]} is {shown}, which houses do not have"
    slip = _slip(found)
    if name == "reported_exponent":
        likely = _exponent_looks(value)
        return f"{text}{f'; it looks like {likely}' if likely else ''}; {ASK}", ""
    if slip is None:
        return f"{text}; {ASK}", ""
    if slip.of == "number":
        return f"{text}; it looks like a decimal point moved by {abs(round(math.log10(slip.factor)))}; {ASK}", ""
    return f"{text}; it would be usual if {would_be(slip, value, 'it')}; {ASK}", ""


def _exponent_looks(value: float) -> str:
    if -1.05 <= value <= -0.45:
        return "one with its sign turned"
    if 45.0 <= value <= 105.0:
        return "one in per cent"
    return f"the reciprocal of {number(1.0 / value)}" if 1.1 < value <= 2.0 else ""


SUBJECTS = {
    "reported_flow_fits_volume": "Reported flow against air changes and volume",
    "reported_coefficient_fits_flow": "Reported coefficient and flow",
    "reported_area_stated": "What the reported leakage area is for",
    "reported_area_fits_flow": "Reported leakage area and flow",
    "reported_natural_rate": "Reported natural rate",
    "reported_exponent_measured": "Reported exponent",
    "volume_fits_floor": "Height of the rooms",
    "plausible_sizes": "Size of the house",
    "plausible_reported": "Size of the reported values",
}
FOUND: dict[str, Callable[[Found], tuple[str, str]]] = {
    "reported_flow_fits_volume": _flow_and_volume,
    "reported_coefficient_fits_flow": _coefficient,
    "reported_area_fits_flow": _area,
    "reported_natural_rate": _natural,
    "reported_exponent_measured": _exponent,
    "volume_fits_floor": _rooms,
    "plausible_sizes": _outside,
    "plausible_reported": _outside,
}
MISSING: dict[str, Callable[[Found], str]] = {
    "reported_area_stated": area_not_stated,
    "reported_exponent_measured": exponent_assumed,
}
CAUSES = {
    "not_reported": "the source reports no such value",
    "not_recorded": "cannot be told, because the sizes are not recorded",
    "scatter_not_reported": "cannot be told, because the source does not report how well its points fit",
    "not_a_house": "not looked at, because the building is no house",
}
