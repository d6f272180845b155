"""Is this test wind-affected? What the wind has made of the standard result, by the best estimate of the same test.

The standard result and the estimate in wind stand on the same readings, so what instruments do to both is left out.
At a node of the estimate's posterior (level L = ln Q at 25 Pa and exponent n, jointly normal) the standard flow at p
errs by ln Q_standard - L - n ln(p / 25 Pa), and a point of corrected pressure d and flow q by d - h,
h = 25 Pa exp((ln q - L) / n). Given n, each limit on these is an interval of L, so that all are kept where L lies in
the cut of the intervals: a normal integral, exact; n is integrated over by Gauss and Hermite.

A fault of line or gauge also makes standard and estimate differ, and no wind. So the probability is capped by what the
noise could do by itself (`wind_noise`): its log odds are at most those of the noise alone plus `CAP`.

Limits of what can be seen: the record shows what wind has done as far as points scatter about their line or baselines
differ. An error that all of them share, and one in line with another exponent, is seen by the usual exponent of
houses alone.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import expit, logit, ndtr

from interchange.analysis import points, ragged, wind_noise
from interchange.analysis.batch import Codes, Floats
from interchange.analysis.noise import NOISE, NoiseDefaults
from interchange.analysis.powerlaw import from_log
from interchange.analysis.robust import PRIOR, Estimate, Prior
from interchange.analysis.robust_fit import EXPONENT_BOUNDS, PIVOT_PA, Posterior, mixture_quantile, summed
from interchange.analysis.traces import Traced
from interchange.analysis.wind_noise import LIMITS, Limits
from interchange.analysis.work import PRESSURISATION, Work, floats
from interchange.quantities import CHOICES

CAP = 4.0  # [1] log odds by which the readings may outweigh what the noise alone would do (simulated tests, no source)
# [Pa] noise of gauge and flow beside which turbulence counts, and factors [1] on the posterior's standard deviations
# for the one and the other (simulated tests, no source): see `width`
GAUGE_PA, GAUGE_FACTOR, WIND_FACTOR = 0.3, 0.7, 1.25
EXPONENT_NODES = 15  # [1] of Gauss-Hermite: within 0.003 of 61 in probability, where 7 missed by 0.013
CERTAIN = 1e-9  # [1] probabilities are kept that far from 0 and 1
NOTHING_ELSE = -1  # code of no word


@dataclass(frozen=True, slots=True)
class Affected:
    """Columns of each session by the names of `quantities`, NaN where the record does not allow an answer.

    `cannot_tell`: no answer.
    """

    session: Mapping[str, NDArray[np.generic]]
    cannot_tell: NDArray[np.bool_]


def affected(
    work: Work,
    result: Mapping[str, NDArray[np.generic]],
    estimate: Estimate,
    *,
    limits: Limits = LIMITS,
    cap: float = CAP,
    prior: Prior = PRIOR,
    defaults: NoiseDefaults = NOISE,
    traced: Traced | None = None,
) -> Affected:
    """Whether wind has moved the standard result of each session beyond limits, at 50 Pa and at low pressure.

    `work` and `result` are those of a rule set, `estimate` that of the same work, with the same prior, defaults and
    traces. A single point has an assumed exponent, so its flow errs at 10 Pa as it does at 50 Pa. Errors of flows in
    per cent of what they would have been without wind, with limits that hold 90 %. Where the readings do not yield
    a result and an estimate, as after a wrong sign, the noise alone stands for the probability and no error is told.

    No answer for a single point without a baseline, even with weather, which never decides alone; nor where nothing
    tells the noise: no spreads, no traces, not two points, and of a single point whose baseline the source took off
    without stating it no weather either. Give `wind_noise.told_by_the_rest` for defaults, here and to the estimate, so
    that weather and the size of a baseline count where no spread is recorded.

    References
    ----------
    [1] Abramowitz and Stegun (1964), 25.4.46: Gauss-Hermite quadrature (from memory).

    """
    told = Traced() if traced is None else traced
    fixed = work.exponent_assumed | ~np.isfinite(work.exponent)
    single = ~ragged.any_true(~fixed, work.batch.run_offsets) & ragged.any_true(
        work.exponent_assumed, work.batch.run_offsets
    )
    factor = np.where(single, 1.0, width(estimate.session["robust_turbulence_pa"]))
    posterior = _widened(estimate.posterior, factor)
    log_flow = {p: _log(floats(result[f"flow_{p}_m3_h"])) for p in (50, 10)}
    alone = wind_noise.by_noise(work, limits, prior, defaults, told, single)
    error_50 = _error(posterior, log_flow[50], 50.0)
    error_10 = _error(posterior, log_flow[10], 10.0)
    error_10 = np.where(single, error_50[0], error_10[0]), np.where(single, error_50[1], error_10[1])
    read = (summed(posterior.weight) > 0) & np.isfinite(log_flow[50]) & np.isfinite(log_flow[10])
    low = np.where(
        single, _beyond(posterior, *error_10, limits.flow_10), _low(work, estimate, posterior, log_flow[10], limits)
    )
    evidence, cannot_tell = _evidence(work, estimate, told, single)
    columns: dict[str, NDArray[np.generic]] = {}
    for name, by_readings, by_noise in (
        ("wind_flow_50", _beyond(posterior, *error_50, limits.flow_50), alone.flow_50),
        ("wind_low", low, alone.low),
    ):
        found = np.where(read, capped(by_readings, by_noise, cap), by_noise)
        columns[f"{name}_probability"] = np.where(cannot_tell, np.nan, found)
        columns[f"{name}_by_noise_probability"] = np.where(cannot_tell, np.nan, by_noise)
    for pressure, (mean, deviation) in ((50, error_50), (10, error_10)):
        columns |= _told(f"wind_error_{pressure}", posterior, mean, deviation, read & ~cannot_tell)
    columns["wind_evidence"] = evidence
    return Affected(columns, cannot_tell)


def _told(
    name: str, posterior: Posterior, mean: Floats, deviation: Floats, there: NDArray[np.bool_]
) -> dict[str, NDArray[np.generic]]:
    """A predicted error in per cent, with the limits that hold 90 % of its posterior."""
    found = {"": summed(posterior.weight * mean)}
    for end, part in (("_low", 0.05), ("_high", 0.95)):
        found[end] = mixture_quantile(part, posterior.weight, mean, deviation)
    return {
        f"{name}{end}_percent": 100.0 * (from_log(np.where(there, log, np.nan)) - 1.0) for end, log in found.items()
    }


def capped(probability: Floats, alone: Floats, cap: float = CAP) -> Floats:
    """Probability [1] by the readings, its log odds no more than those of the noise alone plus `cap`."""
    most = logit(np.clip(alone, CERTAIN, 1.0 - CERTAIN)) + cap
    return np.asarray(expit(np.minimum(logit(np.clip(probability, CERTAIN, 1.0 - CERTAIN)), most)))


def width(turbulence_pa: Floats) -> Floats:
    """Factor [1] on the standard deviations of the estimate, for errors that wind has made, from turbulence [Pa].

    Errors of gauge and flow readings are the same without wind, so they count less than in the estimate; what wind
    does to a house is more than the model knows, so it counts more.
    """
    gauge, wind = (GAUGE_PA * GAUGE_FACTOR) ** 2, (WIND_FACTOR * turbulence_pa) ** 2
    return np.asarray(np.sqrt((gauge + wind) / (GAUGE_PA**2 + turbulence_pa**2)))


def _widened(posterior: Posterior, factor: Floats) -> Posterior:
    """The same with the standard deviations of each session times a factor [1]."""
    names = ("level_variance", "covariance", "exponent_variance")
    return replace(posterior, **{name: factor**2 * getattr(posterior, name) for name in names})


def _log(flow: Floats) -> Floats:
    return np.asarray(np.log(np.where(flow > 0, flow, np.nan)))


def _error(posterior: Posterior, log_flow: Floats, pressure_pa: float) -> tuple[Floats, Floats]:
    """Mean and standard deviation [1] of ln(standard / true flow) at a pressure [Pa], shape (nodes, sessions)."""
    away = np.log(pressure_pa / PIVOT_PA)
    variance = posterior.level_variance + away * (2.0 * posterior.covariance + away * posterior.exponent_variance)
    return log_flow - posterior.level - away * posterior.exponent, np.sqrt(np.maximum(variance, 0.0))


def _beyond(posterior: Posterior, mean: Floats, deviation: Floats, limit: float) -> Floats:
    """Probability that a ratio of flows whose logarithm is a mixture of normals differs from 1 by more than a limit."""
    low, high = np.log1p(-limit), np.log1p(limit)
    return summed(posterior.weight * (ndtr((low - mean) / deviation) + ndtr((mean - high) / deviation)))


def _low(work: Work, estimate: Estimate, posterior: Posterior, log_flow_10: Floats, limits: Limits) -> Floats:
    """Probability that the flow at 10 Pa or any low point errs by more than its limit."""
    abscissa, share = np.polynomial.hermite_e.hermegauss(EXPONENT_NODES)
    deviation = np.sqrt(posterior.exponent_variance)
    exponent = np.clip(posterior.exponent + abscissa[:, None, None] * deviation, *EXPONENT_BOUNDS)
    mean = posterior.level + posterior.covariance / posterior.exponent_variance * (exponent - posterior.exponent)
    left = posterior.level_variance - posterior.covariance**2 / posterior.exponent_variance
    away = np.log(10.0 / PIVOT_PA)
    least = log_flow_10 - np.log1p(limits.flow_10) - away * exponent
    most = log_flow_10 - np.log1p(-limits.flow_10) - away * exponent
    _cut_by_points(work, estimate, exponent, least, most, limits)
    spread = np.sqrt(np.maximum(left, 1e-300))
    kept = np.maximum(ndtr((most - mean) / spread) - ndtr((least - mean) / spread), 0.0)
    return np.asarray(1.0 - summed(posterior.weight * summed(share[:, None, None] / share.sum() * kept)))


def _cut_by_points(
    work: Work, estimate: Estimate, exponent: Floats, least: Floats, most: Floats, limits: Limits
) -> None:
    """Narrow the levels between which no limit is broken, in place, by those of each low point in turn."""
    batch = work.batch
    low, run = wind_noise.low_points(work, limits.low_pa)
    session = np.repeat(np.arange(batch.run_offsets.size - 1), ragged.counts(batch.run_offsets))[run]
    first = np.searchsorted(session, session)  # of its session
    place = np.arange(low.size) - first
    constant, slope = (part[run] for part in estimate.log_reference)
    both = estimate.direction_count[session] == 2
    apart = np.where(both, np.where(work.direction[run] == PRESSURISATION, 0.5, -0.5), 0.0)
    induced = work.induced_pa[low] * points.signs(batch, work.direction, work.induced_pa)[run]
    log_flow = np.log(ragged.sums(work.flow_m3_h, batch.reading_offsets)[low]) + constant
    with np.errstate(divide="ignore"):  # -inf, where a limit reaches down to 0 Pa
        upper, lower = (
            np.log(np.maximum(induced + part, 0.0) / PIVOT_PA) for part in (limits.low_point_pa, -limits.low_point_pa)
        )
    for turn in range(int(place.max()) + 1 if place.size else 0):
        here = np.flatnonzero(place == turn)
        at = session[here]
        flow = log_flow[here] - apart[here] * estimate.posterior.log_ratio[:, at]
        n = exponent[..., at]
        least[..., at] = np.maximum(least[..., at], flow - n * (upper[here] - slope[here]))
        most[..., at] = np.minimum(most[..., at], flow - n * (lower[here] - slope[here]))


def _evidence(
    work: Work, estimate: Estimate, traced: Traced, single: NDArray[np.bool_]
) -> tuple[Codes, NDArray[np.bool_]]:
    """What an answer stands on, as codes of `CHOICES`, and where there is none."""
    words = CHOICES["wind_evidence"]
    batch = work.batch
    by_trace = np.zeros(single.size, np.bool_)
    if traced.fluctuations is not None:
        by_trace = np.isfinite(traced.fluctuations.turbulent_pa)
    several = ragged.sums(ragged.counts(work.line.offsets), batch.run_offsets) >= 2
    ends = [np.isfinite(floats(batch.run[f"baseline_{when}_pressure_pa"])) for when in ("before", "after")]
    zero = ragged.any_true(ends[0] | ends[1], batch.run_offsets)
    by_source = ragged.any_true(batch.point["baseline_removed"] == 1, batch.point_offsets)
    weather = np.isfinite(floats(batch.session["wind_speed_m_s"]))
    noise_told = estimate.noise_told | by_trace
    one = zero | (ragged.any_true(by_source, batch.run_offsets) & (noise_told | weather))
    cannot_tell = ~np.where(single, one, noise_told | several)
    code = np.select(
        [single, by_trace, noise_told],
        [words.index(word) for word in ("one_point", "traces", "averages")],
        words.index("points"),
    )
    return np.where(cannot_tell, NOTHING_ELSE, code).astype(np.int8), cannot_tell
