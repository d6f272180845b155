"""Reference lines: where the tube ends outdoors, and how it answers.

The tube leaves the house at the height of the gauge and is as cold as the air outdoors, so the height of its end drops
out. Each end passes its tube (a first-order lag), the ends meet in a manifold that takes their mean and has a time
constant of its own. A laminar restriction damps without moving the mean.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

from .house import FACADES, House
from .wind import WindSeries, turbulence

YARD = "yard"
LOCAL_LENGTH_M = 5.0  # size of the eddies a building makes, about its height (judgement)


@dataclass(frozen=True, slots=True)
class Line:
    """Ends (a facade or "yard") of one reference line.

    `exposure` multiplies the wind pressure at every end. `end_gusts` is the rms of pressure at one end over the dynamic
    pressure, beside what wind speed and direction bring, of all frequencies. An end in the yard feels a coefficient
    that is drawn once a test, with the standard deviation `yard_cp_sd`.
    """

    name: str
    ends: tuple[str, ...]
    tube_s: float = 0.3  # plain tube of some metres (judgement)
    manifold_s: float = 0.0
    exposure: float = 1.0
    end_gusts: float = 0.15  # rms coefficients of low-rise walls are 0.1 to 0.3 (from memory), less the wind's own part
    yard_cp_sd: float = 0.1  # open end near the ground: neither static nor total pressure (judgement)

    def __post_init__(self) -> None:
        for end in self.ends:
            if end not in (*FACADES, YARD):
                raise ValueError(f"no such end of a line: {end!r}, expected one of {(*FACADES, YARD)}")


def open_end(facade: str = "north") -> Line:
    """One open end at a wall."""
    return Line(f"open end, {facade}", (facade,))


def yard_end() -> Line:
    """One open end in the yard."""
    return Line("open end, yard", (YARD,))


def several_facades(facades: tuple[str, ...] = FACADES) -> Line:
    """Ends at several walls that meet undamped."""
    return Line("several facades", facades)


def branched_damped(facades: tuple[str, ...] = FACADES, manifold_s: float = 12.0) -> Line:
    """Ends at several walls that meet in a damped manifold.

    12 s: 0.1 m of capillary of 0.5 mm bore before a litre of air, tau = 128 mu L V / (pi d^4 p).
    """
    return Line("branched, damped", facades, manifold_s=manifold_s)


def sheltered_end(facade: str = "north") -> Line:
    """One end behind a screen at a wall; the screen passes a third of the wind pressure (judgement)."""
    return Line(f"sheltered end, {facade}", (facade,), exposure=0.33)


def lagged(series: np.ndarray, time_constant_s: float, step_s: float) -> np.ndarray:
    """A first-order lag, exact for an input that stays the same within a step; it starts settled."""
    if time_constant_s == 0.0:
        return series
    kept = np.exp(-step_s / time_constant_s)
    return lfilter([1 - kept], [1.0, -kept], series, zi=[kept * series[0]])[0]


def at_gauge(
    line: Line, house: House, wind: WindSeries, dynamic_pa: np.ndarray, step_s: float, rng: np.random.Generator
) -> np.ndarray:
    """Wind pressure that reaches the gauge through the line [Pa], one value a time step."""
    ends = []
    for end in line.ends:
        share = rng.normal(0.0, line.yard_cp_sd) if end == YARD else house.wall_cp(end, wind.from_deg)
        felt = line.exposure * dynamic_pa * (share + line.end_gusts * building_gusts(wind, step_s, rng))
        ends.append(lagged(felt, line.tube_s, step_s))
    return lagged(np.mean(ends, axis=0), line.manifold_s, step_s)


def building_gusts(wind: WindSeries, step_s: float, rng: np.random.Generator) -> np.ndarray:
    """Turbulence that the building itself makes, nought without wind.

    Of unit variance, less what is faster than the steps (a fifth at 5 m/s).
    """
    steps = len(wind.speed_m_s)
    mean_speed = wind.speed_m_s.mean()
    return turbulence(LOCAL_LENGTH_M / mean_speed, steps, step_s, rng) if mean_speed else np.zeros(steps)
