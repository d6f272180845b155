"""Dry air: density, stack pressure, pressure at an elevation.

References
----------
[1] ASHRAE Handbook of Fundamentals, chapter 1: gas constant of dry air, standard atmosphere (equation 3).
[2] ASHRAE Handbook of Fundamentals, chapter 16, equations 24 and 30: stack pressure.
"""

from __future__ import annotations

from dataclasses import dataclass

GAS_CONSTANT_J_KG_K = 287.055  # dry air [1]
GRAVITY_M_S2 = 9.80665  # standard gravity, NIST Special Publication 811
CELSIUS_ZERO_K = 273.15
STANDARD_PRESSURE_PA = 101_325.0
REFERENCE_DENSITY_KG_M3 = 1.2041  # 20 °C and 101,325 Pa; the truth is stated at it
FAN_DENSITY_KG_M3 = 1.204  # the invented fans are calibrated for it


def density_kg_m3(temperature_c: float, pressure_pa: float) -> float:
    """Density of dry air [kg/m3] = p / (R T)."""
    return pressure_pa / (GAS_CONSTANT_J_KG_K * (temperature_c + CELSIUS_ZERO_K))


def pressure_at_pa(elevation_m: float) -> float:
    """Pressure [Pa] of the standard atmosphere at an elevation [m] above sea level [1]."""
    lapse_per_m, power = 2.25577e-5, 5.2559
    return STANDARD_PRESSURE_PA * float((1.0 - lapse_per_m * elevation_m) ** power)


@dataclass(frozen=True, slots=True)
class Air:
    """Air on both sides of an envelope: temperatures [°C] and pressure [Pa]."""

    indoor_c: float
    outdoor_c: float
    pressure_pa: float

    @property
    def indoor_kg_m3(self) -> float:
        """Density indoors [kg/m3]."""
        return density_kg_m3(self.indoor_c, self.pressure_pa)

    @property
    def outdoor_kg_m3(self) -> float:
        """Density outdoors [kg/m3]."""
        return density_kg_m3(self.outdoor_c, self.pressure_pa)

    @property
    def stack_pa_m(self) -> float:
        """Rise of inside minus outside pressure with height [Pa/m] = (rho_out - rho_in) g [2]."""
        return (self.outdoor_kg_m3 - self.indoor_kg_m3) * GRAVITY_M_S2
