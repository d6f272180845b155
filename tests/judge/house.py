"""The house: air, leaks and their wind pressures, and the mass balance that gives the pressure inside.

Pressures inside are relative to the undisturbed outdoor pressure at the ground, at the ground; a leak at height z sees
    x = p - Cp q - local + (rho_out - rho_in) g z                         (inside minus outside, stack by hydrostatics)
and passes  m = rho C (rho/rho_ref)^(n-1) (mu/mu_ref)^(1-2n) sign(x) |x|^n,  rho and mu of the air that passes.

References
----------
[1] ASHRAE Handbook Fundamentals (SI), chapter 16: pressure coefficients of low-rise walls (Akins 1979, Wiren 1985) and
    equation 26 for wind angles (Walker and Wilson 1994); table 9, shelter.
[2] ISO 9972 (from memory): reference 20 Cel and 101325 Pa, and density to the power 1-n. ASTM E779 (from memory) and
    Roulet, Ventilation and Airflow in Buildings (2008), equations 4.15 and 4.17: viscosity to the power 2n-1 as well.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

GRAVITY_M_S2 = 9.80665  # conventional value
GAS_CONSTANT_J_KG_K = 287.055  # dry air
REFERENCE_TEMPERATURE_C, REFERENCE_PRESSURE_PA = 20.0, 101325.0  # [2]

FACADES = ("north", "east", "south", "west")
# wall facing the wind, wall behind, the two sides [1]
CP_WINDWARD, CP_LEEWARD, CP_SIDES = 0.6, -0.3, -0.65

LINEAR_BELOW_PA = 1e-3  # the power law has an infinite slope at nought; below this it is a straight line
BALANCED = 1e-10  # residual of the mass balance over the sum of its parts
MOST_ROUNDS = 80
HALVED_EVERY = 12  # Newton's method goes round in circles at a hole of square-root law; halving ends it


def density(temperature_c: float, pressure_pa: float = REFERENCE_PRESSURE_PA) -> float:
    """Density of dry air [kg/m3]."""
    return pressure_pa / (GAS_CONSTANT_J_KG_K * (temperature_c + 273.15))


def viscosity(temperature_c: float) -> float:
    """Dynamic viscosity of air [Pa s], equation 4.17 of Roulet [2]."""
    kelvin = temperature_c + 273.15
    return 1.458e-6 * np.sqrt(kelvin) / (1 + 110.4 / kelvin)


REFERENCE_DENSITY_KG_M3 = density(REFERENCE_TEMPERATURE_C)


@dataclass(frozen=True, slots=True)
class Air:
    """Air on both sides; steady during a test."""

    indoor_c: float = 20.0
    outdoor_c: float = 8.0
    barometer_pa: float = REFERENCE_PRESSURE_PA
    viscosity_counts: bool = False  # leaks feel density only (as ISO 9972) or viscosity too (as ASTM E779) [2]

    def indoor_density(self) -> float:
        return density(self.indoor_c, self.barometer_pa)

    def outdoor_density(self) -> float:
        return density(self.outdoor_c, self.barometer_pa)

    def stack_pa_m(self) -> float:
        """(rho_out - rho_in) g [Pa/m]."""
        return (self.outdoor_density() - self.indoor_density()) * GRAVITY_M_S2


@dataclass(frozen=True, slots=True)
class House:
    """A box with four walls that face north, east, south and west once turned by `turned_deg`, and a ceiling.

    Shares are parts of the whole leakage; each wall's share lies in equal parts at the wall heights, the ceiling's at
    the height of the eaves.
    """

    coefficient_m3_h: float = 200.0  # at reference conditions, 2543 m3/h at 50 Pa
    exponent: float = 0.65  # typical (ASHRAE Handbook Fundamentals; Chan et al. 2013: 0.646)
    eaves_m: float = 5.0
    wall_shares: tuple[float, float, float, float] = (0.22, 0.16, 0.22, 0.16)
    ceiling_share: float = 0.24
    wall_heights_m: tuple[float, ...] = (0.3, 2.5, 4.7)
    ceiling_cp: float = -0.3  # vented loft at any wind angle (from memory)
    shelter: float = 0.9  # factor on the wind speed, class 2 of 5 (table 9 of [1])
    turned_deg: float = 0.0
    door: str = "south"  # the fan's wall
    door_height_m: float = 1.0
    gauge_height_m: float = 1.0
    wall_gusts: float = 0.05  # rms of a wall's own mean pressure over q, beside what the wind brings (judgement)

    def __post_init__(self) -> None:
        total = sum(self.wall_shares) + self.ceiling_share
        if abs(total - 1) > 1e-9:
            raise ValueError(f"the shares of the leakage add up to {total}, expected 1")

    def leaks(self) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        """Share, wall (4 is the ceiling) and height [m] of every leak that is not nought."""
        rows = [
            (share / len(self.wall_heights_m), wall, height)
            for wall, share in enumerate(self.wall_shares)
            for height in self.wall_heights_m
        ]
        rows.append((self.ceiling_share, len(FACADES), self.eaves_m))
        share, wall, height = (np.array(column) for column in zip(*rows, strict=True))
        there = share > 0
        return share[there], wall[there], height[there]

    def wall_cp(self, facade: str, from_deg: np.ndarray) -> np.ndarray:
        """Pressure coefficient of a wall for the direction the wind comes from [deg]."""
        return cp(from_deg - self.turned_deg - 90.0 * FACADES.index(facade))


def cp(angle_deg: np.ndarray) -> np.ndarray:
    """Mean pressure coefficient of a low-rise wall, wind at an angle to its outward normal, equation 26 of [1]."""
    c1, c2, c3, c4 = CP_WINDWARD, CP_LEEWARD, CP_SIDES, CP_SIDES
    cosine, sine = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    root = np.sqrt(np.abs(cosine))
    signed = np.sign(cosine) * root * np.sqrt(root)
    return 0.5 * ((c1 + c2) * root + (c1 - c2) * signed + (c3 + c4) * sine**4 + (c3 - c4) * sine)


@dataclass(frozen=True, slots=True)
class Envelope:
    """The leaks as the mass balance sees them: mass flow [kg/s] at 1 Pa outwards and inwards, and the exponent.

    Of one house (leaks,), or of several side by side (tests, leaks) with exponents (tests, 1).
    """

    outwards: np.ndarray
    inwards: np.ndarray
    exponent: float | np.ndarray

    @classmethod
    def together(cls, houses: list[tuple[House, Air]]) -> Envelope:
        """Several houses side by side, of as many leaks each."""
        each = [cls.of(house, air) for house, air in houses]
        exponent = np.array([[one.exponent] for one in each])
        return cls(np.stack([one.outwards for one in each]), np.stack([one.inwards for one in each]), exponent)

    @classmethod
    def of(cls, house: House, air: Air) -> Envelope:
        n = house.exponent
        flow = house.leaks()[0] * house.coefficient_m3_h / 3600

        def mass(temperature_c: float) -> np.ndarray:
            rho = density(temperature_c, air.barometer_pa)
            thin = (viscosity(temperature_c) / viscosity(REFERENCE_TEMPERATURE_C)) ** (1 - 2 * n)
            return rho * flow * (rho / REFERENCE_DENSITY_KG_M3) ** (n - 1) * (thin if air.viscosity_counts else 1.0)

        return cls(mass(air.indoor_c), mass(air.outdoor_c), n)

    def flows(self, across_pa: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Mass flow outwards through each leak [kg/s] and its slope [kg/(s Pa)]; the last axis is the leak."""
        size = np.maximum(np.abs(across_pa), LINEAR_BELOW_PA)
        side = np.where(across_pa > 0, self.outwards, self.inwards)
        over = side * size ** (self.exponent - 1)
        steepness = np.where(np.abs(across_pa) > LINEAR_BELOW_PA, self.exponent, 1.0)
        return over * across_pa, over * steepness


def balance(
    envelope: Envelope, outside_pa: np.ndarray, fan, start_pa: np.ndarray, leaks: np.ndarray | None = None
) -> tuple[np.ndarray, np.ndarray]:
    """Pressure inside [Pa] at which all mass flows add up to nought, and the residual over the sum of flows.

    `outside_pa` (tests, leaks) is what each leak has against the pressure inside; `fan(p)` gives mass flow outwards
    through the fan and its slope (tests); `leaks` (tests), if given, multiplies all leaks. Newton's method kept inside
    a bracket; the sum rises with p, so it ends.
    """
    low = outside_pa.min(axis=1) - 500.0
    high = outside_pa.max(axis=1) + 500.0
    p = start_pa.copy()
    residual = np.full(p.shape, np.inf)
    for turn in range(MOST_ROUNDS):
        through, slope = envelope.flows(p[:, None] - outside_pa)
        if leaks is not None:
            through, slope = through * leaks[:, None], slope * leaks[:, None]
        fan_flow, fan_slope = fan(p)
        total = through.sum(axis=1) + fan_flow
        residual = np.abs(total) / (np.abs(through).sum(axis=1) + np.abs(fan_flow) + 1e-12)
        open_ = residual > BALANCED
        if not open_.any():
            return p, residual
        low = np.where(total < 0, np.maximum(low, p), low)
        high = np.where(total > 0, np.minimum(high, p), high)
        step = p - total / (slope.sum(axis=1) + fan_slope)
        halved = (low + high) / 2
        step = np.where((step > low) & (step < high), step, halved) if (turn + 1) % HALVED_EVERY else halved
        p = np.where(open_, step, p)
    raise ArithmeticError(f"the mass balance did not close: residual {residual.max():.1e}")
