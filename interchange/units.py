"""Closed table of unit spellings: what a file writes → UCUM code → exact factor to the unit of the archive.

A spelling that is not here is an error, never a guess: free text is often valid but absurd UCUM ("ft3" is a cubic
femtotonne there), so no spelling is ever handed to a UCUM parser. Factors are exact fractions.

References
----------
[1] NIST Special Publication 811 (2008), appendix B: foot 0.3048 m, inch 0.0254 m, inch of water (conventional)
    249.08891 Pa, pound-force per square inch from pound 0.45359237 kg and standard gravity 9.80665 m/s2.
[2] UCUM 2.2, ucum-essence table: codes and their definitions.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from interchange.quantities import QUANTITIES

_FOOT_M = Fraction("0.3048")
_INCH_M = Fraction("0.0254")
_GRAVITY_M_S2 = Fraction("9.80665")
_POUND_KG = Fraction("0.45359237")
_MERCURY_MM_PA = Fraction(101_325, 760)  # as scipy.constants; UCUM's 133.322 Pa is 3 parts in a million lower
_S_PER_H = 3600
_MIN_PER_H = 60


@dataclass(frozen=True, slots=True)
class Unit:
    """A unit: value in the archive's unit = value * factor + offset."""

    ucum: str
    dimension: str
    factor: Fraction
    offset: Fraction = Fraction(0)


class UnknownUnitError(ValueError):
    """A spelling that the table does not hold."""


class WrongDimensionError(ValueError):
    """A known unit that does not measure the quantity it is given for."""


# UCUM code, dimension, factor to the archive's unit of that dimension, offset, spellings beside the code itself
_UNITS: tuple[tuple[Unit, tuple[str, ...]], ...] = (
    (Unit("Pa", "pressure", Fraction(1)), ("pascal", "pascals")),
    (Unit("hPa", "pressure", Fraction(100)), ("mbar", "mb")),
    (Unit("kPa", "pressure", Fraction(1000)), ()),
    (Unit("daPa", "pressure", Fraction(10)), ()),
    (
        Unit("[in_i'H2O]", "pressure", 1000 * _GRAVITY_M_S2 * _INCH_M),
        ("inH2O", "in H2O", "in. H2O", "in wc", "in. w.c.", "in w.c.", "inwc", "iwc", "in w.g.", "in. w.g.", "inwg"),
    ),
    (Unit("mm[H2O]", "pressure", _GRAVITY_M_S2), ("mmH2O", "mm H2O", "mmwc", "mm w.c.")),
    (Unit("mm[Hg]", "pressure", _MERCURY_MM_PA), ("mmHg", "mm Hg")),
    (Unit("[in_i'Hg]", "pressure", Fraction("25.4") * _MERCURY_MM_PA), ("inHg", "in Hg", "in. Hg")),
    (Unit("[psi]", "pressure", _POUND_KG * _GRAVITY_M_S2 / _INCH_M**2), ("psi", "lbf/in2")),
    (Unit("m3/h", "flow", Fraction(1)), ("m³/h", "m^3/h", "m3/hr", "m³/hr", "cmh")),
    (Unit("m3/min", "flow", Fraction(60)), ("m³/min",)),
    (Unit("m3/s", "flow", Fraction(_S_PER_H)), ("m³/s", "m^3/s")),
    (Unit("L/s", "flow", Fraction(_S_PER_H, 1000)), ("l/s", "lps")),
    (Unit("[cft_i]/min", "flow", _FOOT_M**3 * _MIN_PER_H), ("cfm", "CFM", "ft3/min", "ft³/min")),
    (Unit("m3", "volume", Fraction(1)), ("m³", "m^3", "cubic metres", "cubic meters")),
    (Unit("[cft_i]", "volume", _FOOT_M**3), ("ft3", "ft³", "cu ft", "cu. ft.", "cubic feet", "ft^3")),
    (Unit("m2", "area", Fraction(1)), ("m²", "m^2", "sq m")),
    (Unit("cm2", "area", Fraction(1, 10_000)), ("cm²", "cm^2", "sq cm")),
    (Unit("[sft_i]", "area", _FOOT_M**2), ("ft2", "ft²", "sq ft", "sq. ft.", "square feet", "sf")),
    (Unit("[sin_i]", "area", _INCH_M**2), ("in2", "in²", "sq in", "sq. in.")),
    (Unit("m", "length", Fraction(1)), ("metre", "metres", "meter", "meters")),
    (Unit("cm", "length", Fraction(1, 100)), ()),
    (Unit("mm", "length", Fraction(1, 1000)), ()),
    (Unit("km", "length", Fraction(1000)), ()),
    (Unit("[mi_i]", "length", 5280 * _FOOT_M), ("mi", "mile", "miles")),
    (Unit("[ft_i]", "length", _FOOT_M), ("ft", "feet")),
    (Unit("[in_i]", "length", _INCH_M), ("in", "inch", "inches")),
    (Unit("Cel", "temperature", Fraction(1)), ("°C", "degC", "deg C", "C")),
    (Unit("[degF]", "temperature", Fraction(5, 9), Fraction(-160, 9)), ("°F", "degF", "deg F", "F")),
    (Unit("K", "temperature", Fraction(1), Fraction("-273.15")), ()),
    (Unit("dCel", "temperature", Fraction(1, 10)), ()),
    (Unit("m/s", "speed", Fraction(1)), ()),
    (Unit("dm/s", "speed", Fraction(1, 10)), ()),
    (Unit("km/h", "speed", Fraction(1000, _S_PER_H)), ("kph", "km/hr")),
    (Unit("[mi_i]/h", "speed", 5280 * _FOOT_M / _S_PER_H), ("mph", "mi/h")),
    (Unit("[kn_i]", "speed", Fraction(1852, _S_PER_H)), ("kn", "knot", "knots")),
    (Unit("[ft_i]/min", "speed", _FOOT_M / 60), ("fpm", "ft/min")),
    (Unit("m3/h/m2", "flow per area", Fraction(1)), ("m3/(h m2)", "m³/(h m²)", "m3/(h.m2)", "m³/h/m²")),
    (Unit("[cft_i]/min/[sft_i]", "flow per area", _FOOT_M * _MIN_PER_H), ("cfm/ft2", "cfm/ft²", "cfm/sq ft")),
    (Unit("/h", "air change", Fraction(1)), ("1/h", "h-1", "ACH", "per hour")),
    (Unit("s", "time", Fraction(1)), ("sec", "secs", "second", "seconds")),
    (Unit("min", "time", Fraction(60)), ("minute", "minutes")),
    (Unit("h", "time", Fraction(_S_PER_H)), ("hr", "hour", "hours")),
    (Unit("kg/m3", "density", Fraction(1)), ("kg/m³",)),
    (Unit("deg", "angle", Fraction(1)), ("°", "degrees", "degree")),
    (Unit("1", "ratio", Fraction(1)), ("-",)),
    (Unit("%", "ratio", Fraction(1, 100)), ("percent", "per cent", "pct")),
    (Unit("By", "size", Fraction(1)), ()),
)

_BY_SPELLING: dict[str, Unit] = {spelling: unit for unit, spellings in _UNITS for spelling in (unit.ucum, *spellings)}


def unit(spelling: str) -> Unit:
    """The unit a file means by a spelling. Letter case counts, outer blanks do not. Raises UnknownUnitError."""
    try:
        return _BY_SPELLING[spelling.strip()]
    except KeyError:
        raise UnknownUnitError(spelling) from None


def conversion(spelling: str, name: str) -> tuple[float, float]:
    """Scale and offset that bring values in a spelled unit to the unit of a named quantity.

    value in the quantity's unit = value * scale + offset. Raises UnknownUnitError, or WrongDimensionError where the
    unit does not measure the quantity.
    """
    source, target = unit(spelling), unit(QUANTITIES[name].ucum or "1")
    if source.dimension != target.dimension:
        raise WrongDimensionError(spelling)
    return float(source.factor / target.factor), float((source.offset - target.offset) / target.factor)


# --- slips -----------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Slip:
    """A number meant in one unit and taken for one in another, or (without units) one whose decimal point moved.

    factor [1]: what stands in the record over what was meant.
    """

    of: str
    meant: str
    taken: str
    factor: float


_TAKEN = {
    "flow": (
        *(("cfm", "m3/h"), ("m3/h", "cfm"), ("L/s", "m3/h"), ("m3/h", "L/s"), ("L/s", "cfm"), ("cfm", "L/s")),
        *(("m3/s", "m3/h"), ("m3/min", "m3/h")),
    ),
    "volume": (("ft3", "m3"), ("m3", "ft3")),
    "area": (("ft2", "m2"), ("m2", "ft2")),
    "opening": (
        *(("cm2", "m2"), ("in2", "m2"), ("ft2", "m2"), ("in2", "cm2"), ("cm2", "in2"), ("m2", "cm2"), ("m2", "in2")),
        ("ft2", "in2"),
    ),
    "length": (("ft", "m"), ("m", "ft"), ("cm", "m"), ("mm", "m"), ("in", "m")),
    "pressure": (("inH2O", "Pa"), ("mmH2O", "Pa"), ("hPa", "Pa"), ("kPa", "Pa")),
}

# Slips that are looked for; a check names one by its place here.
SLIPS: tuple[Slip, ...] = (
    *(
        Slip(of, meant, taken, float(unit(taken).factor / unit(meant).factor))
        for of, pairs in _TAKEN.items()
        for meant, taken in pairs
    ),
    *(Slip("number", "", "", factor) for factor in (10.0, 0.1, 100.0, 0.01, 1000.0, 0.001)),
)
