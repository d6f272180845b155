"""What errors of pressures share: the covariance of averaged readings, and what wind on the facades does to them.

Each `NoiseForm` is one belief of what noise is like. Turbulence is shared between means that lie near each other in
time; the slow part over minutes; delta by all points; k goes with gustiness.

Wind presses on each facade differently. A house whose leaks see pressures that differ by W [Pa] (standard deviation
over the leaks) about their mean passes at an induced pressure P the flow C P^n (1 - n (1 - n) W^2 / 2 P^2) to second
order, so P = (h^2 + (1 - n) W^2)^(1/2) with h = (q / C)^(1/n): low points show more pressure than their flow says. And
with the fan off the zero is not the mean over the leaks but where in- and outflow balance: lower, for few leaks face
the wind and many lie in its suction. So the running fan moves the zero up, in either direction.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import noise
from interchange.analysis.batch import Floats
from interchange.analysis.noise import NoiseDefaults, Segments
from interchange.analysis.robust_fit import Observations, summed
from interchange.quantities import CHOICES

STILL_S = 1.0  # [s] time scale of a form whose readings share nothing, as a gauge's own noise


@dataclass(frozen=True, slots=True)
class NoiseForm:
    """One belief of what noise is like: its time scale [s], the rest in parts of the deviation of turbulence [1].

    slow_ratio and fan_ratio: standard deviations of the slow part and of delta, in parts of turbulence that lasts (as
    `Felt` has it). facade_ratio: W, in parts of what is usual at the arrangement of the reference line; 0 for a house
    whose facades all feel the same.
    """

    time_scale_s: float
    slow_ratio: float
    fan_ratio: float
    facade_ratio: float = 0.0


@dataclass(frozen=True, slots=True)
class Felt:
    """What a reference line of some arrangement feels of wind, in parts of the deviation of single readings [1].

    facade_ratio: W. lasting_ratio: turbulence that lasts longer than a second or two; the rest are eddies that the
    house itself makes, which any mean averages out.
    """

    facade_ratio: float
    lasting_ratio: float


@dataclass(frozen=True, slots=True)
class Facades:
    """What lines feel, by arrangement.

    Pressure coefficients of a low-rise house are spread by about 0.45 about their mean over the leaks; a reading at
    one open end moves by about 0.2 to 0.3 of the dynamic pressure (twice a turbulence of 0.25 times the coefficient
    between inside and end, and gusts at the end), one behind a screen or of several ends by half of that. Orders of
    magnitude by this reckoning from pressure coefficients as in ASHRAE Handbook-Fundamentals, chapter 16 (from
    memory); lasting ratios from simulated tests, no source. A line whose arrangement is not told may be any: it is
    taken for one between an open end and the others, and W of `unknown_allowed` widens the interval.
    `zero_rise` [1]: how far the fan lifts the zero, in parts of W; by the same coefficients 0 to 0.25.
    """

    open_end: Felt = Felt(2.0, 0.8)
    branched: Felt = Felt(4.0, 0.5)
    several_facades: Felt = Felt(4.0, 0.4)
    sheltered_end: Felt = Felt(4.0, 0.7)
    unknown: Felt = Felt(2.5, 0.6)
    unknown_allowed: float = 2.0
    zero_rise: float = 0.12

    def of(self, arrangement: NDArray[np.generic]) -> tuple[Floats, Floats, Floats]:
        """W that is corrected, W that is only allowed for, lasting ratio; by codes of arrangement, -1 where absent."""
        code = np.asarray(arrangement, dtype=np.int64)
        felt = [getattr(self, word) for word in CHOICES["arrangement"]] + [self.unknown]
        untold = [word == "unknown" for word in CHOICES["arrangement"]] + [True]
        allowed = np.where(untold, self.unknown_allowed, 0.0)
        return (
            np.array([one.facade_ratio for one in felt])[code],
            allowed[code],
            np.array([one.lasting_ratio for one in felt])[code],
        )


@dataclass(frozen=True, slots=True)
class Noise:
    """Noise of a group of tests: stretches and their starts [s] (observations, tests), levels by form.

    gust_pa (observations, tests) [Pa]: what tells how gusty each was, its spread or the like. deviation_pa and
    time_scale_s, shape (forms, tests): of the part of it that neighbours share; white_2 [Pa2 s] (tests): of what is
    new in each second.
    """

    segment: Segments
    start_s: Floats
    gust_pa: Floats
    deviation_pa: Floats
    time_scale_s: Floats
    white_2: Floats


def in_turn(duration_s: Floats, recorded_s: Floats, gap_s: float) -> Floats:
    """Starts [s] of stretches held one after the other with a gap between; as recorded where all of a test are."""
    start = np.zeros(duration_s.shape)
    for i in range(1, duration_s.shape[0]):
        start[i] = start[i - 1] + duration_s[i - 1] + gap_s
    return np.where(np.all(np.isfinite(recorded_s), axis=0), recorded_s, start)


def covariance(
    found: Noise,
    seen: Observations,
    forms: tuple[NoiseForm, ...],
    gust_ratio: float,
    slow_s: float,
    induced_pa: Floats,
    rounded_pa: Floats,
    risen_pa: Floats,
    exponent: Floats,
    defaults: NoiseDefaults,
) -> Floats:
    """Covariances of the errors [Pa2], shape (observations, observations, forms, tests), lower half.

    `induced_pa` (observations, tests) is about what the fan induces; `rounded_pa` (forms, observations, tests) and
    `risen_pa` (forms, tests) are standard deviations of what facades do to each reading and to the zero.
    """
    size, tests = found.start_s.shape
    segment, start = found.segment, found.start_s
    end = start + segment.duration_s
    middle = 0.5 * (start + end)
    on = (seen.sign != 0).astype(np.float64)
    gust = gust_ratio * _gustiness(found.gust_pa)
    share = [segment.share(tau) for tau in found.time_scale_s]
    total = np.empty((size, size, len(forms), tests))
    for i in range(size):
        for j in range(i + 1):
            gap = np.maximum(np.maximum(start[i], start[j]) - np.minimum(end[i], end[j]), 0.0)
            slow = np.exp(-np.abs(middle[i] - middle[j]) / slow_s)
            alike: dict[float, Floats] = {}
            for k, form in enumerate(forms):
                if form.time_scale_s not in alike:
                    seconds = segment.duration_s[i], segment.duration_s[j]
                    alike[form.time_scale_s] = (
                        share[k][i] if i == j else noise.shared_part(*seconds, gap, found.time_scale_s[k])
                    )
                shared = form.slow_ratio**2 * slow + form.fan_ratio**2 * on[i] * on[j]
                shared = shared + gust[i] * gust[j] if form.time_scale_s > STILL_S else shared
                total[i, j, k] = found.deviation_pa[k] ** 2 * (alike[form.time_scale_s] + shared)
                total[i, j, k] += rounded_pa[k, i] * rounded_pa[k, j] + risen_pa[k] ** 2 * on[i] * on[j]
    for i in range(size):
        total[i, i] += defaults.floor_pa**2 + (defaults.flow_ratio * induced_pa[i] / exponent) ** 2
        total[i, i] += found.white_2 / segment.duration_s[i]
    return total


def induced(seen: Observations, exponent: Floats) -> Floats:
    """About what the fan induces at each observation [Pa], from flows and the furthest reading: 0 at baselines."""
    on = seen.sign != 0
    highest = np.max(np.where(on, seen.log_flow, -np.inf), axis=0)
    reach = np.max(np.where(on, np.abs(seen.pressure_pa), 0.0), axis=0)
    return np.asarray(np.where(on, reach * np.exp((seen.log_flow - highest) / exponent), 0.0))


def rounded(seen: Observations, induced_pa: Floats, facade_pa: Floats, exponent: Floats) -> Floats:
    """What facades add to each reading [Pa], shape (forms, observations, tests), for W [Pa] (forms, tests)."""
    felt = np.sqrt(induced_pa**2 + (1.0 - exponent) * facade_pa[:, None] ** 2)
    return np.asarray(seen.sign * (felt - induced_pa))


def _gustiness(spread: Floats) -> Floats:
    """How far each stretch is gustier than the rest [1]: centred variance over its root mean square, 0 if untold."""
    told = np.isfinite(spread).astype(np.float64)
    variance = np.where(told > 0, spread**2, 0.0)
    number = np.maximum(summed(told), 1.0)
    mean_square = summed(variance) / number
    scaled = np.where(told > 0, variance / np.where(mean_square > 0, mean_square, 1.0), 0.0)
    return np.where((told > 0) & (summed(told) == spread.shape[0]), scaled - summed(scaled) / number, 0.0)
