"""A still test of which everything can be worked out by hand: one house, perfect instruments, no stack."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .case import Case
from .fan import Fan
from .faults import Fault
from .gauges import PERFECT_GAUGE
from .house import Air, House
from .procedure import multi_point
from .results import Run
from .simulation import simulate
from .wind import Wind

N, C = 0.62, 200.0
DOWN, UP = "depressurisation", "pressurisation"
# all leaks at the height of the gauge and air of 20 Cel on both sides: no stack, and reference conditions
LEVEL = House(C, N, wall_shares=(0.4, 0.2, 0.2, 0.2), ceiling_share=0.0, wall_heights_m=(1.0,), wall_gusts=0.0)
ONE_OPENING = Fan(openings_m3_h=(9000.0,), flow_gain_sd=0.0, gauge=PERFECT_GAUGE)
K = 9000 / np.sqrt(300)
STILL = Case(LEVEL, Air(20.0, 20.0), Wind(0.0), gauge=PERFECT_GAUGE, fan=ONE_OPENING)
SHORT = multi_point(targets_pa=(50.0, 30.0, 18.0, 10.0), baseline_s=20, station_s=10, settle_s=10)
POINTS = np.array([60.0, 55, 50, 45, 40, 35, 30, 25, 20, 10])


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def run_with(*planted: Fault, **changes) -> Run:
    """The only run of a still test with faults."""
    return simulate(replace(STILL, faults=planted, **changes), rng()).runs[0]


def own_line(pressure: np.ndarray, flow: np.ndarray) -> tuple[float, float]:
    """Flow at 50 Pa and exponent of the least-squares line."""
    exponent, log_c = np.polyfit(np.log(pressure), np.log(flow), 1)
    return float(np.exp(log_c) * 50**exponent), float(exponent)
