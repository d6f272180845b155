"""The unit table against NIST SP 811 and scipy.constants, which know nothing of each other's spelling."""

from __future__ import annotations

from fractions import Fraction

import pytest
import scipy.constants as sc
from check_values import Value, holds_for

from interchange.quantities import QUANTITIES
from interchange.units import conversion, unit

S_PER_H = 3600.0

# id of the value -> spelling in the table, factor from the archive's unit to the value's unit
SPELLED = {
    "unit-cfm": ("cfm", 1 / S_PER_H),
    "unit-inH2O-conv": ("inH2O", 1.0),
    "unit-ft2": ("ft2", 1.0),
    "unit-ft3": ("ft3", 1.0),
    "unit-in2": ("in2", 1.0),
    "unit-mph": ("mph", 1.0),
    "unit-psi": ("psi", 1.0),
    "unit-mmHg": ("mmHg", 1.0),
    "unit-degF_interval": ("degF", 1.0),
    "water-mm": ("mmH2O", 1.0),
}


@holds_for("unit-*", "water-mm")
def test_factor_of_a_unit(value: Value):
    spelling, to_value_unit = SPELLED[value.id]
    value.holds(float(unit(spelling).factor) * to_value_unit)


# A quantity, a spelling, and what scipy.constants says 1 of it is in the quantity's unit.
BY_SCIPY = [
    ("envelope_pressure_pa", "hPa", sc.hecto),
    ("envelope_pressure_pa", "mbar", sc.milli * sc.bar),
    ("envelope_pressure_pa", "kPa", sc.kilo),
    ("envelope_pressure_pa", "psi", sc.psi),
    ("envelope_pressure_pa", "mmHg", sc.mmHg),
    ("envelope_pressure_pa", "inHg", sc.inch / sc.milli * sc.mmHg),
    ("envelope_pressure_pa", "mmH2O", 1000 * sc.g * sc.milli),
    ("envelope_pressure_pa", "inH2O", 1000 * sc.g * sc.inch),
    ("flow_m3_h", "m3/s", sc.hour),
    ("flow_m3_h", "L/s", sc.liter * sc.hour),
    ("flow_m3_h", "cfm", sc.foot**3 / sc.minute * sc.hour),
    ("volume_m3", "ft3", sc.foot**3),
    ("floor_area_m2", "ft2", sc.foot**2),
    ("floor_area_m2", "cm2", sc.centi**2),
    ("reported_leakage_area_m2", "in2", sc.inch**2),
    ("height_m", "ft", sc.foot),
    ("height_m", "in", sc.inch),
    ("height_m", "cm", sc.centi),
    ("height_m", "mm", sc.milli),
    ("wind_speed_m_s", "mph", sc.mph),
    ("wind_speed_m_s", "km/h", sc.kmh),
    ("wind_speed_m_s", "kn", sc.knot),
    ("wind_speed_m_s", "fpm", sc.foot / sc.minute),
    ("averaging_s", "min", sc.minute),
    ("averaging_s", "h", sc.hour),
]


@pytest.mark.parametrize(("name", "spelling", "factor"), BY_SCIPY, ids=[f"{row[1]} of {row[0]}" for row in BY_SCIPY])
def test_conversion_equals_scipy_constants(name: str, spelling: str, factor: float):
    assert conversion(spelling, name) == (pytest.approx(factor, rel=1e-14), 0.0)


# Exact by definition: NIST SP 811 (2008), appendix B (from memory).
EXACT = {
    "ft": Fraction(3048, 10_000),
    "in": Fraction(254, 10_000),
    "mph": Fraction(44_704, 100_000),
    "kn": Fraction(1852, 3600),
    "mmH2O": Fraction("9.80665"),
    "inH2O": Fraction("249.08891"),
    "psi": Fraction("0.45359237") * Fraction("9.80665") / Fraction("0.0254") ** 2,
    "in2": Fraction("0.00064516"),
    "ft2": Fraction("0.09290304"),
    "ft3": Fraction("0.028316846592"),
    "cfm": Fraction("0.028316846592") * 60,
}


@pytest.mark.parametrize("spelling", EXACT)
def test_factor_is_exact(spelling: str):
    assert unit(spelling).factor == EXACT[spelling]


@pytest.mark.parametrize(
    ("spelling", "shown", "celsius"),
    [
        ("degF", 32.0, 0.0),
        ("degF", 212.0, 100.0),
        ("degF", -40.0, -40.0),
        ("degF", 68.0, 20.0),
        ("K", 273.15, 0.0),
        ("K", 293.15, 20.0),
        ("degC", 20.5, 20.5),
    ],
)
def test_temperatures_equal_scipy_constants_and_the_fixed_points(spelling: str, shown: float, celsius: float):
    scale, offset = conversion(spelling, "indoor_temperature_c")
    names = {"degF": "Fahrenheit", "K": "Kelvin", "degC": "Celsius"}
    assert shown * scale + offset == pytest.approx(celsius, abs=1e-12)
    assert shown * scale + offset == pytest.approx(sc.convert_temperature(shown, names[spelling], "Celsius"), abs=1e-12)


def test_every_quantity_with_a_unit_takes_its_own_unit_unchanged():
    own = {name: conversion(quantity.ucum, name) for name, quantity in QUANTITIES.items() if quantity.ucum}
    assert {name: pair for name, pair in own.items() if pair != (1.0, 0.0)} == {}
