"""A house as leaks: power law, stack and wind at each leak, mass balance for the pressure indoors.

A leak passes volume flow C s (rho0 / rho)^(1 - n) |dp|^n, counted at the density rho of the air that enters it; C is
the envelope's coefficient at reference density rho0, s the leak's share. Viscosity is left out, as in the simpler of
the correction rules in use, so that such a rule recovers the truth.

References
----------
[1] Density form by dimensions: Q = K rho^(n-1) dp^n where viscosity is left out.
[2] ASHRAE Handbook of Fundamentals, chapter 16: pressure across a leak = inside - outside with stack and wind.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from interchange.demo.air import REFERENCE_DENSITY_KG_M3, Air
from interchange.demo.wind import FACADES_DEG, FACES, Array

_WIDEST_PA = 1000.0  # half of the interval that holds every pressure a house can have here
_HALVINGS = 60  # 1000 Pa / 2^60 lies below the last bit of a reading


Indices = np.ndarray[tuple[int, ...], np.dtype[np.int64]]


@dataclass(frozen=True, slots=True)
class Envelope:
    """Leaks of a house; the arrays have one value a leak."""

    coefficient_m3_h: float  # flow at 1 Pa at reference density
    exponent: float
    share: Array  # of the coefficient, sums to 1
    height_m: Array
    face: Indices  # which of FACES each leak lies on

    def flow_m3_h(self, pressure_pa: float) -> float:
        """Flow [m3/h] through the envelope at a uniform pressure [Pa] at reference conditions."""
        return float(self.coefficient_m3_h * pressure_pa**self.exponent)


def envelope(
    rng: np.random.Generator, *, flow_50_m3_h: float, exponent: float, height_m: float, ceiling: float, floor: float
) -> Envelope:
    """Envelope with a flow [m3/h] at 50 Pa; wall leaks at three heights, split unevenly over the facades."""
    levels = (0.1, 0.5, 0.9)
    walls = rng.uniform(0.6, 1.4, (len(FACADES_DEG), len(levels)))
    share = np.concatenate([(1.0 - ceiling - floor) * (walls / walls.sum()).ravel(), [ceiling, floor]])
    face = np.concatenate([np.repeat(np.arange(len(FACADES_DEG)), len(levels)), [4, 5]])
    heights = np.concatenate([np.tile(levels, len(FACADES_DEG)), [1.0, 0.0]]) * height_m
    return Envelope(flow_50_m3_h / 50.0**exponent, exponent, share, heights, face)


def outward_kg_h(house: Envelope, air: Air, inside_pa: Array, face_pa: Array) -> Array:
    """Net mass flow [kg/h] out through the leaks, shape (seconds,).

    inside_pa [Pa] is the pressure indoors at the ground over undisturbed air outdoors at the ground, shape (seconds,);
    face_pa [Pa] the wind pressure on each face, shape (seconds, 6).
    """
    pressure = inside_pa[:, None] + air.stack_pa_m * house.height_m - face_pa[:, house.face]
    density = np.where(pressure > 0.0, air.indoor_kg_m3, air.outdoor_kg_m3)
    thinner = (REFERENCE_DENSITY_KG_M3 / density) ** (1.0 - house.exponent)
    flow = house.coefficient_m3_h * house.share * thinner * np.abs(pressure) ** house.exponent
    return np.asarray(np.sum(np.sign(pressure) * density * flow, axis=1), dtype=np.float64)


def inside_pressure_pa(house: Envelope, air: Air, fan_out_kg_h: Array, face_pa: Array) -> Array:
    """Pressure indoors at the ground [Pa] at which leaks and fan balance, by halving; shape (seconds,).

    fan_out_kg_h [kg/h] is what the fan moves outwards: positive when depressurising.
    """
    low = np.full(fan_out_kg_h.shape, -_WIDEST_PA)
    high = -low
    for _ in range(_HALVINGS):
        middle = 0.5 * (low + high)
        too_high = outward_kg_h(house, air, middle, face_pa) + fan_out_kg_h > 0.0
        low, high = np.where(too_high, low, middle), np.where(too_high, middle, high)
    return np.asarray(0.5 * (low + high), dtype=np.float64)


def still(seconds: int = 1) -> Array:
    """Wind pressures of still air, shape (seconds, 6)."""
    return np.zeros((seconds, len(FACES)))
