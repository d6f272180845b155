"""The calibrated fan: its curve, its openings and its flow reading.

The curve is that of a fan whose pressure rise falls with the square of its flow (from memory):
    Q^2 = s^2 F^2 - (dp / shut-off) F^2,    s speed over full speed, F free flow at full speed through the opening.
The setting is written as the flow the fan gives at the target pressure, so that s needs no name of its own.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .gauges import Gauge
from .house import REFERENCE_DENSITY_KG_M3

LEAST_SQUARE = 1e-12  # [m6/s2]; a fan that is overpowered stops, it does not run backwards


@dataclass(frozen=True, slots=True)
class Fan:
    """A fan with openings, largest first; the sizes are judgement."""

    openings_m3_h: tuple[float, ...] = (9000.0, 4000.0, 1700.0, 700.0, 300.0)  # free flow at full speed
    shut_off_pa: float = 300.0  # pressure rise without flow at full speed
    free_reading_pa: float = 300.0  # fan pressure at free flow, through any opening
    margin: float = 1.4  # the crew takes the smallest opening with this much free flow over the flow it needs
    flow_gain_sd: float = 0.02  # calibration error of the flow, drawn once a test
    gauge: Gauge = field(default_factory=Gauge)

    def opening_for(self, flow_m3_h: float) -> int:
        """Index of the opening for a flow."""
        enough = [i for i, free in enumerate(self.openings_m3_h) if free >= self.margin * flow_m3_h]
        return max(enough, default=0)

    def coefficient_m3_h(self, opening: int) -> float:
        """Flow over root of fan pressure [m3/(h Pa^0.5)] of an opening, at the calibration density of 1.2041 kg/m3."""
        return self.openings_m3_h[opening] / np.sqrt(self.free_reading_pa)

    def delivered(self, setting_m3_s: np.ndarray, opening: int, excess_pa: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        """Flow [m3/s] at an excess of pressure over the target, and its slope with that excess [m3/(s Pa)]."""
        return delivered(setting_m3_s, (self.openings_m3_h[opening] / 3600) ** 2 / self.shut_off_pa, excess_pa)

    def reading_pa(self, flow_m3_s: np.ndarray, coefficient_m3_h: np.ndarray, rho_kg_m3: float) -> np.ndarray:
        """Fan pressure [Pa] at a true flow of air of some density: indicated flow = true flow (rho/rho_cal)^(1/2)."""
        indicated = flow_m3_s * 3600 * np.sqrt(rho_kg_m3 / REFERENCE_DENSITY_KG_M3)
        return (indicated / coefficient_m3_h) ** 2


def delivered(
    setting_m3_s: np.ndarray, fall: np.ndarray | float, excess_pa: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Flow [m3/s] and slope [m3/(s Pa)] of fans whose squared flow falls by `fall` [(m3/s)2/Pa] a pascal of excess."""
    square = setting_m3_s**2 - fall * excess_pa
    flow = np.sqrt(np.maximum(square, LEAST_SQUARE))
    return flow, np.where(square > LEAST_SQUARE, -fall / (2 * flow), 0.0)
