"""Noise of averaged pressures: how much of the wind's turbulence is left in a mean of some seconds.

The reading is taken for a steady pressure plus turbulence whose correlation falls as exp(-lag / time scale).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import ragged
from interchange.analysis.air import Number
from interchange.analysis.batch import Batch, Floats
from interchange.analysis.work import floats


@dataclass(frozen=True, slots=True)
class NoiseDefaults:
    """What is taken for granted of noise where a record is silent. Orders of magnitude, common practice, no source.

    time_scale_s: of turbulence, an eddy of 50 to 100 m in the mean wind. turbulent_pa: standard deviation of single
    readings where no spread is recorded, one for all sessions or one for each. level_spread: standard deviation of the
    logarithm of the noise level, with spreads recorded and without (one or for each). point_s, baseline_s: length of a
    point and of a baseline. reading_s: seconds for each reading where only their number is recorded. gap_s: from one
    point to the next. floor_pa: noise of the gauge in a mean, rounding included. flow_ratio: noise of a flow reading.
    """

    time_scale_s: float = 10.0
    turbulent_pa: Number = 0.5
    level_spread: float = 0.4
    level_spread_unrecorded: Number = 0.9
    point_s: float = 20.0
    baseline_s: float = 60.0
    reading_s: float = 1.0
    gap_s: float = 20.0
    floor_pa: float = 0.05
    flow_ratio: float = 0.005


NOISE = NoiseDefaults()


@dataclass(frozen=True, slots=True)
class Segments:
    """Stretches of averaged pressure: seconds [s], spread of their readings [Pa], 1 over their number [1] or 0."""

    duration_s: Floats
    spread_pa: Floats
    least_share: Floats

    def of(self, rows: NDArray[np.int64]) -> Segments:
        """Those of some rows."""
        return Segments(self.duration_s[rows], self.spread_pa[rows], self.least_share[rows])

    def share(self, time_scale_s: Number) -> Floats:
        """Variance of the mean in parts [1] of that of readings: N readings keep 1/N of it at least."""
        return np.minimum(np.maximum(mean_share(self.duration_s, time_scale_s), self.least_share), 1.0)


def mean_share(duration_s: Number, time_scale_s: Number) -> Floats:
    """Variance of a mean over some seconds [s], in parts [1] of the variance of single readings.

    g = 2a (1 - a (1 - exp(-1/a))), a = time scale / duration.

    References
    ----------
    [1] Lumley and Panofsky (1964), averaging of a process with exponential correlation (from memory); integral of
        2 (1 - u) exp(-u / a) over u from 0 to 1.

    """
    a = time_scale_s / np.asarray(duration_s, dtype=np.float64)
    return np.asarray(2.0 * a * (1.0 + a * np.expm1(-1.0 / a)))


def shared_part(first_s: Floats, second_s: Floats, gap_s: Number, time_scale_s: Number) -> Floats:
    """Covariance of the means of two stretches [s] with a gap [s] between, in parts [1] of the variance of readings.

    tau^2 / (T1 T2) exp(-gap / tau) (1 - exp(-T1 / tau)) (1 - exp(-T2 / tau)): the double integral of exp(-lag / tau).
    """
    within = np.expm1(-first_s / time_scale_s) * np.expm1(-second_s / time_scale_s)
    return np.asarray(time_scale_s**2 / (first_s * second_s) * np.exp(-gap_s / time_scale_s) * within)


def segments(
    duration_s: NDArray[np.generic],
    count: NDArray[np.generic],
    spread_pa: NDArray[np.generic],
    default_s: float,
    defaults: NoiseDefaults = NOISE,
) -> Segments:
    """Stretches out of what is recorded of them, NaN where absent: seconds [s], readings [1], spread [Pa].

    The length is that recorded, else the number of readings times their usual interval, else `default_s`. The spread
    of a single reading says nothing.
    """
    number, spread = floats(count), floats(spread_pa)
    seconds = np.where(floats(duration_s) > 0, floats(duration_s), number * defaults.reading_s)
    seconds = np.where(seconds > 0, seconds, default_s)
    least = np.where(number >= 1, 1.0 / np.where(number >= 1, number, 1.0), 0.0)
    return Segments(seconds, np.where(number <= 1, np.nan, spread), least)


def of_batch(batch: Batch, defaults: NoiseDefaults = NOISE) -> tuple[Segments, Segments, Segments]:
    """Baselines before and after of each run, and points, as stretches."""
    before, after = (
        segments(
            batch.run[f"baseline_{when}_duration_s"],
            batch.run[f"baseline_{when}_count"],
            batch.run[f"baseline_{when}_spread_pa"],
            defaults.baseline_s,
            defaults,
        )
        for when in ("before", "after")
    )
    point = batch.point
    points = segments(
        point["averaging_s"],
        point["sample_count"],
        point["envelope_pressure_spread_pa"],
        defaults.point_s,
        defaults,
    )
    return before, after, points


@dataclass(frozen=True, slots=True)
class Turbulence:
    """Standard deviation of single readings [Pa] in each session, whether spreads tell it, and over how long [s]."""

    deviation_pa: Floats
    told: NDArray[np.bool_]
    seconds: Floats


def turbulence(batch: Batch, defaults: NoiseDefaults = NOISE) -> Turbulence:
    """Turbulence of each session, from the spreads of all its baselines and points.

    They are pooled, sd^2 = S^2 (1 - g), each with its seconds for weight: a spread of less than a minute is too
    uncertain to stand for itself. Where there is none, the default.
    """
    stretches = of_batch(batch, defaults)
    return pooled(batch, stretches, [part.share(defaults.time_scale_s) for part in stretches], defaults)


def pooled(
    batch: Batch, stretches: Sequence[Segments], shares: Sequence[Floats], defaults: NoiseDefaults = NOISE
) -> Turbulence:
    """Turbulence of each session from the stretches of `of_batch` and their shares of variance [1]."""
    point_offsets = batch.point_offsets[batch.run_offsets]
    top = np.zeros(batch.run_offsets.size - 1)
    weight = np.zeros(top.size)
    for part, share, offsets in zip(
        stretches, shares, (batch.run_offsets, batch.run_offsets, point_offsets), strict=True
    ):
        told = np.isfinite(part.spread_pa) & (share < 1.0)
        if not told.any():
            continue
        seconds = np.where(told, part.duration_s, 0.0)
        variance = np.where(told, part.spread_pa**2 / np.where(told, 1.0 - share, 1.0), 0.0)
        top = top + ragged.sums(seconds * variance, offsets)
        weight = weight + ragged.sums(seconds, offsets)
    known = weight > 0
    found = np.sqrt(top / np.where(known, weight, 1.0))
    return Turbulence(np.where(known, found, defaults.turbulent_pa), known, weight)
