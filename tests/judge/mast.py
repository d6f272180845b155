"""A weather record beside a test: mean speed, gust and direction at a mast some way off, on a clock of its own.

Wind at the mast and at the house share their slow changes and not their eddies: the two go together at a frequency f by
the root coherence exp(-a f D/U) [1], D the distance and U the mean speed; the rest of the mast's wind is its own. The
time an eddy takes from one to the other is left out: what still coheres is slower than that.

References
----------
[1] Davenport, The spectrum of horizontal gustiness near the ground (1961): exponential coherence, a about 7 to 10 (from
    memory).
[2] WMO Guide No. 8, chapter 5: means of 10 min; a gust is the largest mean of 3 s (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .gauges import rounded
from .steps import STEP_S, STEPS_A_SECOND
from .wind import OPEN_COUNTRY, Terrain, Wind, WindSeries, blow, speed_at

DECAY = 10.0  # a of [1]
LATEST_CLOCK_S = 300.0  # a clock is drawn up to so much fast or slow


@dataclass(frozen=True, slots=True)
class Mast:
    """Where the mast stands and how it records; a clock offset of None is drawn, within 5 min either way."""

    height_m: float = 10.0
    distance_m: float = 2000.0
    terrain: Terrain = OPEN_COUNTRY
    averaging_s: int = 600  # [2]
    gust_s: int = 3  # [2]
    clock_offset_s: float | None = None
    site_sd: float = 0.1  # of its mean speed over what the profile gives, 2 km away and more (judgement)
    speed_resolution_m_s: float = 0.1
    direction_resolution_deg: float = 10.0

    def __post_init__(self) -> None:
        if self.averaging_s % self.gust_s or self.averaging_s <= 0:
            raise ValueError(f"averaging_s is {self.averaging_s}, expected whole gusts of {self.gust_s} s")


@dataclass(frozen=True, slots=True)
class WeatherRecord:
    """One row an interval, stamped with its end [s] on the clock of the mast; a test begins at 0 of a right clock.

    An event of time t of a right clock is stamped t + `true_clock_offset_s`, which nobody on site knows.
    """

    time_s: np.ndarray
    speed_m_s: np.ndarray
    gust_m_s: np.ndarray
    from_deg: np.ndarray
    height_m: float
    distance_m: float
    averaging_s: int
    true_clock_offset_s: float


def beside(mast: Mast, wind: Wind, eaves_m: float, house: WindSeries, rng: np.random.Generator) -> WeatherRecord:
    """The record of all intervals that the time of a wind series at the eaves falls into."""
    offset = mast.clock_offset_s
    if offset is None:
        offset = rng.uniform(-LATEST_CLOCK_S, LATEST_CLOCK_S)
    lasts_s = len(house.speed_m_s) * STEP_S
    first = np.floor(offset / mast.averaging_s) * mast.averaging_s  # stamps of the clock of the mast
    count = int(np.ceil((lasts_s + offset - first) / mast.averaging_s))
    before = round((offset - first) * STEPS_A_SECOND)
    steps = count * mast.averaging_s * STEPS_A_SECOND
    along, across, from_deg = at_mast(mast, wind, eaves_m, house, before, steps, rng)
    by_gust = _blocks(np.hypot(along, across), mast.gust_s * STEPS_A_SECOND).mean(axis=-1)
    by_mean = _blocks(by_gust, mast.averaging_s // mast.gust_s)
    turned = np.degrees(np.arctan2(*(_blocks(x, steps // count).mean(axis=-1) for x in (across, along))))
    return WeatherRecord(
        time_s=first + mast.averaging_s * np.arange(1, count + 1.0),
        speed_m_s=rounded(by_mean.mean(axis=-1), mast.speed_resolution_m_s),
        gust_m_s=rounded(by_mean.max(axis=-1), mast.speed_resolution_m_s),
        from_deg=rounded((from_deg + turned) % 360, mast.direction_resolution_deg) % 360,
        height_m=mast.height_m,
        distance_m=mast.distance_m,
        averaging_s=mast.averaging_s,
        true_clock_offset_s=float(offset),
    )


def at_mast(
    mast: Mast, wind: Wind, eaves_m: float, house: WindSeries, before: int, steps: int, rng: np.random.Generator
) -> tuple[np.ndarray, np.ndarray, float]:
    """Wind at the mast along and across the mean direction [m/s] (steps,), and that direction [deg].

    The series of the house begins `before` steps after that of the mast; where there is none, the mast's stands alone.
    """
    here = replace(wind, terrain=mast.terrain)
    away = min(mast.distance_m / 2000.0, 1.0)
    mean = speed_at(here, mast.height_m) * np.exp(rng.normal(0.0, mast.site_sd) * away)
    from_deg = float(np.degrees(np.arctan2(*(f(np.radians(house.from_deg)).mean() for f in (np.sin, np.cos)))))
    if mean == 0.0:
        return np.zeros(steps), np.zeros(steps), from_deg
    own = blow(replace(here, from_deg=0.0), mast.height_m, steps, STEP_S, rng)
    at_house = speed_at(wind, eaves_m)
    shared = blow(replace(wind, from_deg=0.0), eaves_m, max(steps, before + len(house.speed_m_s)), STEP_S, rng)
    speed, turned = shared.speed_m_s.copy(), shared.from_deg.copy()
    there = slice(before, before + len(house.speed_m_s))
    speed[there], turned[there] = house.speed_m_s, house.from_deg - from_deg
    frequency_hz = np.fft.rfftfreq(steps, STEP_S)
    together = np.exp(-DECAY * frequency_hz * mast.distance_m / mean)
    parts = []
    for direction, average in ((np.cos, 1.0), (np.sin, 0.0)):
        mine = own.speed_m_s * direction(np.radians(own.from_deg)) / speed_at(here, mast.height_m) - average
        theirs = (speed * direction(np.radians(turned)))[:steps] / at_house - average
        mixed = together * np.fft.rfft(theirs) + np.sqrt(1 - together**2) * np.fft.rfft(mine)
        parts.append(mean * (average + np.fft.irfft(mixed, steps)))
    return parts[0], parts[1], from_deg


def _blocks(series: np.ndarray, length: int) -> np.ndarray:
    return series.reshape(-1, length)
