"""What a crew brings: gauge, fan, reference line. Described only by what they show.

The fan is an orifice: fan pressure goes with rho Q^2, so its display, which takes air of 1.204 kg/m3 for granted, reads
Q_shown = Q sqrt(rho / 1.204) where air of density rho passes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

import numpy as np

from interchange.demo.air import FAN_DENSITY_KG_M3
from interchange.demo.wind import FACES, Array, Wind

GAUGE_NOISE_PA = 0.12  # standard deviation of a 1 s reading; assumption
FAN_NOISE = 0.006  # of a 1 s fan pressure, relative; assumption
SHELTERED_SHARE = 0.25  # of the wind pressure that reaches a sheltered end; assumption
_END_EDDIES = 0.7  # small eddies at one tube end over those of its face; assumption


@dataclass(frozen=True, slots=True)
class Gauge:
    """A pressure gauge: its serial number, date of calibration and true gain (1 is perfect)."""

    serial: str
    calibrated_on: date
    gain: float

    def readings_pa(self, rng: np.random.Generator, true_pa: Array) -> Array:
        """What the gauge reads each second [Pa]."""
        return np.asarray(self.gain * true_pa + GAUGE_NOISE_PA * rng.standard_normal(true_pa.shape), dtype=np.float64)


@dataclass(frozen=True, slots=True)
class Opening:
    """Opening of a fan: shown flow = coefficient * fan pressure ** exponent within a span of fan pressures."""

    name: str
    coefficient_m3_h: float
    exponent: float
    least_pa: float
    most_pa: float

    def flow_m3_h(self, pressure_pa: Array | float) -> Array:
        """Flow [m3/h] that the display derives from a fan pressure [Pa]."""
        return np.asarray(self.coefficient_m3_h * np.power(pressure_pa, self.exponent), dtype=np.float64)

    def pressure_pa(self, shown_m3_h: float) -> float:
        """Fan pressure [Pa] at which the display shows a flow [m3/h]."""
        return float((shown_m3_h / self.coefficient_m3_h) ** (1.0 / self.exponent))


@dataclass(frozen=True, slots=True)
class Fan:
    """A fan: serial number, date of calibration, openings from widest to narrowest, true gain of its display."""

    serial: str
    calibrated_on: date
    openings: tuple[Opening, ...]
    gain: float

    def opening_for(self, shown_m3_h: float) -> Opening:
        """The narrowest opening that can pass a flow [m3/h]: crews use it for its larger signal."""
        fitting = [opening for opening in self.openings if opening.pressure_pa(shown_m3_h) <= opening.most_pa]
        return fitting[-1] if fitting else self.openings[0]

    def shown_m3_h(self, true_m3_h: float, density_kg_m3: float) -> float:
        """Flow [m3/h] the display shows for a true flow [m3/h] of air of a density [kg/m3]."""
        return self.gain * true_m3_h * float(np.sqrt(density_kg_m3 / FAN_DENSITY_KG_M3))


@dataclass(frozen=True, slots=True)
class Line:
    """A reference line: how its end is arranged, the facades its ends lie at, length [m], damping [s]."""

    arrangement: str
    facades: tuple[str, ...]
    length_m: float
    damping_s: float

    def end_pa(self, rng: np.random.Generator, wind: Wind) -> Array:
        """Pressure [Pa] over undisturbed air that the gauge gets from outdoors, shape (seconds,)."""
        faces = [FACES.index(facade) for facade in self.facades]
        seconds = wind.face_pa.shape[0]
        own = _END_EDDIES * wind.eddy_pa * rng.standard_normal((seconds, len(faces)))
        mean = np.mean(wind.face_pa[:, faces] + own, axis=1)
        share = SHELTERED_SHARE if self.arrangement == "sheltered" else 1.0
        return damped(share * mean, self.damping_s)


def damped(values: Array, damping_s: float) -> Array:
    """First-order lag with a time constant [s] on values at 1 s; 0 means none. The mean is kept."""
    if damping_s == 0.0:
        return values
    share = 1.0 - np.exp(-1.0 / damping_s)
    lagged = np.empty_like(values)
    level = values[0]
    for second, value in enumerate(values):
        level = level + share * (value - level)
        lagged[second] = level
    return lagged
