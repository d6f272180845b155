"""Budget of uncertainty of the plain result: which part contributes what to the log flow at 50, 10 and 4 Pa.

The line ln Q = ln C + n ln dp is linear in its readings: ln Q(p) = sum w_j (ln Q_j - n ln dp_j) + n ln p with
w_j = 1/N + (ln p - mean x)(x_j - mean x) / S_xx (weighted alike for a weighted fit), or w = 1 for a single point. So
an error common to the pressures of a run moves it by -n sum(w_j / dp_j), and one of a single point by -n w_j / dp_j,
to first order in error over dp.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache

import numpy as np
from numpy.polynomial import Chebyshev
from numpy.typing import NDArray
from scipy.special import stdtrit

from interchange.analysis import air, baseline, noise, plain, powerlaw, ragged
from interchange.analysis.air import Number
from interchange.analysis.batch import Batch, Floats, Ints
from interchange.analysis.noise import NOISE, NoiseDefaults
from interchange.analysis.work import PRESSURISATION, Work, floats

PRESSURES_PA = (50.0, 10.0, 4.0)  # [Pa] the budget is made for; the order of its columns
COVERAGE_FACTOR = plain.COVERAGE_FACTOR
LIMITS_TO_SD = 3.0**-0.5  # [1] of values anywhere within limits (JCGM 100:2008, 4.3.7, from memory)
# Accuracies where none is recorded: [Pa], [1], [1]. Common practice, no source; limits, not standard deviations.
GAUGE_ACCURACY_PA, GAUGE_ACCURACY_RATIO, FAN_ACCURACY_RATIO = 0.15, 0.01, 0.04
TRUSTED_FREEDOM = 4.0  # [1] degrees of freedom granted to noise from spreads against the scatter of points
LEAST_FREEDOM = 3.0  # [1] degrees of freedom of noise that is hardly known
# Where a temperature is not recorded, air counts as that of reference; it is within these limits of it [K]. Common
# practice, no source: work in all seasons, houses that are lived in.
OUTDOOR_LIMIT_K, INDOOR_LIMIT_K = 25.0, 5.0
REFERENCE_AIR_C = 20.0  # [degrees Celsius] of air whose temperature is not recorded
_POLYNOMIAL_DEGREE = 12  # [1] of Student's t over 1 / freedom; 10 errs by 6e-12, 12 by 7e-14
EXPONENT_SD = 0.06  # [1] of exponents among houses, as the prior of `robust`

# Parts of the budget, each a standard deviation of the log flow. Those of the first line differ between runs.
RANDOM = ("zero_noise", "zero_shift", "point_noise", "fitted_exponent")
SYSTEMATIC = ("gauge_gain", "gauge_offset", "fan_flow", "assumed_exponent", "outdoor_temperature", "indoor_temperature")
OF_AIR = ("outdoor_temperature", "indoor_temperature")
PARTS = (*RANDOM, *SYSTEMATIC)


@dataclass(frozen=True, slots=True)
class Instruments:
    """Accuracy limits of gauge [Pa] and [1] and of the fan's flow [1], for each session, and which are assumed."""

    gauge_pa: Floats
    gauge_ratio: Floats
    fan_ratio: Floats
    gauge_assumed: NDArray[np.bool_]
    fan_assumed: NDArray[np.bool_]

    def of(self, sessions: Ints) -> Instruments:
        """Those of some sessions."""
        return Instruments(
            self.gauge_pa[sessions],
            self.gauge_ratio[sessions],
            self.fan_ratio[sessions],
            self.gauge_assumed[sessions],
            self.fan_assumed[sessions],
        )

    def log_flow_sd(self, exponent: Floats, pressure_pa: float) -> Floats:
        """Standard deviation [1] that they give the log flow at a pressure [Pa]: n (ratio + Pa / p) and fan's ratio.

        A gauge's error that never changes would cancel with the baseline; a certificate does not say that its does.
        """
        gauge = exponent * np.hypot(self.gauge_ratio, self.gauge_pa / pressure_pa)
        return np.asarray(LIMITS_TO_SD * np.hypot(gauge, self.fan_ratio))


def instruments(gauge_accuracy_pa: Floats, gauge_accuracy_ratio: Floats, fan_accuracy_ratio: Floats) -> Instruments:
    """Accuracies as recorded [Pa], [1], [1], one entry a session, NaN where absent: then the default stands.

    Of a gauge with one of the two recorded, the other is taken for 0: that is how its certificate states it.
    """
    no_gauge = np.isnan(gauge_accuracy_pa) & np.isnan(gauge_accuracy_ratio)
    no_fan = np.isnan(fan_accuracy_ratio)
    return Instruments(
        np.where(no_gauge, GAUGE_ACCURACY_PA, np.nan_to_num(gauge_accuracy_pa)),
        np.where(no_gauge, GAUGE_ACCURACY_RATIO, np.nan_to_num(gauge_accuracy_ratio)),
        np.where(no_fan, FAN_ACCURACY_RATIO, fan_accuracy_ratio),
        no_gauge,
        no_fan,
    )


def default_instruments(sessions: int) -> Instruments:
    """The defaults for a number of sessions."""
    absent = np.full(sessions, np.nan)
    return instruments(absent, absent, absent)


@dataclass(frozen=True, slots=True)
class Budget:
    """Standard deviations of the log flow, shape (sessions, pressures), pressures as in `PRESSURES_PA`; NaN for none.

    `parts` by the names of `PARTS`; they add up in squares to `total`. zero_noise: baselines and what they fail to
    average out. zero_shift: what the zero moved between before and after, beyond that noise. point_noise: of points
    where the line is known best; fitted_exponent: what it adds away from there. gauge_gain, gauge_offset, fan_flow:
    accuracy of instruments. assumed_exponent: away from a single point. outdoor_temperature, indoor_temperature: of air
    whose density was not corrected for, since nobody wrote its temperature down. `noise_told`: whether spreads told the
    noise.
    """

    parts: Mapping[str, Floats]
    total: Floats
    noise_told: NDArray[np.bool_]
    instruments: Instruments

    def limits(self, log_flow: Floats) -> tuple[Floats, Floats]:
        """Limits [m3/h] that hold 95 % about log flows of the same shape."""
        half = COVERAGE_FACTOR * self.total
        return powerlaw.from_log(log_flow - half), powerlaw.from_log(log_flow + half)


def result_columns(found: Budget, session: Mapping[str, NDArray[np.generic]]) -> dict[str, Floats]:
    """The budget beside the flows of sessions, by the names of `quantities`: limits, and parts in per cent."""
    columns = {}
    with np.errstate(divide="ignore"):
        log_flow = np.log(np.stack([floats(session[f"flow_{p:.0f}_m3_h"]) for p in PRESSURES_PA])).T
    low, high = found.limits(log_flow)
    for place, pressure in enumerate(PRESSURES_PA):
        columns[f"flow_{pressure:.0f}_full_low_m3_h"] = low[:, place]
        columns[f"flow_{pressure:.0f}_full_high_m3_h"] = high[:, place]
    for place, pressure in enumerate(PRESSURES_PA[:2]):
        for name in PARTS:
            columns[f"{name}_{pressure:.0f}_percent"] = 100.0 * found.parts[name][:, place]
    return columns


def budget(
    work: Work,
    *,
    exponent_sd: Number = EXPONENT_SD,
    defaults: NoiseDefaults = NOISE,
    gear: Instruments | None = None,
) -> Budget:
    """Make the budget of each session whose runs have been fitted, by a line or by a single point.

    Noise of a mean comes from pooled spreads, count and averaging (`noise`). Spreads over T seconds know its level with
    f0 = T / (2 tau) degrees of freedom, the default with less than one; f = N - 2 come from the scatter of the points
    about their line, whose square may be r of what was expected. So the squares of all noise are multiplied by
    (f0 + f r) / (f0 + f), f0 for once no more than 4, as tau is only supposed, and by (t / 1.96)^2, with the 97.5 %
    quantile of Student's t of f0 + f, 3 at least: the level stays uncertain. A baseline that moved by d beyond its
    own noise left the zero anywhere within d / 2 of the mean. Parts of runs are independent for `RANDOM` and common
    for `SYSTEMATIC`.
    What wind does to the pressures at the facades is no part of it: in wind of 7 m/s and more, lines behind a screen or
    of several ends hold the truth at 10 Pa in three of four simulated tests only. `robust` has it.
    `exponent_sd` [1] for each session, or one for all. `gear`: accuracies, defaults if None.

    References
    ----------
    [1] JCGM 100:2008 (from memory): propagation, limits as rectangular distributions.
    [2] Sherman and Palmiter (1995): the parts of a fan-pressurisation test's uncertainty (from memory).

    """
    offsets = work.batch.run_offsets
    sessions = offsets.size - 1
    kit = default_instruments(sessions) if gear is None else gear
    told = work.once(_pressure_noise, work.batch, defaults).told
    of_runs = _of_runs(work, kit, np.broadcast_to(np.asarray(exponent_sd, dtype=np.float64), sessions), defaults)
    valid = np.isfinite(work.exponent) & np.isfinite(of_runs["point_noise"])
    weight = _run_weights(work, valid, ragged.counts(offsets))
    there = ragged.any_true(valid, offsets)
    parts, squares = {}, np.zeros((len(PRESSURES_PA), sessions))
    for name, values in of_runs.items():
        shared = weight * (values if valid.all() else np.where(valid, values, 0.0))
        common = name in SYSTEMATIC
        total = np.abs(ragged.sums(shared, offsets)) if common else np.sqrt(ragged.sums(shared**2, offsets))
        parts[name] = np.broadcast_to(total if there.all() else np.where(there, total, np.nan), squares.shape).T
        squares += parts[name].T ** 2
    return Budget(parts, np.sqrt(squares).T, told, kit)


def _run_weights(work: Work, valid: NDArray[np.bool_], per_session: Ints) -> Floats:
    """Weight of each run in its session: equal within a direction, then equal over directions, as results have it."""
    found = np.zeros(valid.size)
    directions = np.zeros(per_session.size)
    for code in np.unique(work.direction):
        here = valid & (work.direction == code)
        count = ragged.sums(here, work.batch.run_offsets)
        directions += count > 0
        found = np.where(here, 1.0 / np.maximum(np.repeat(count, per_session), 1.0), found)
    return np.asarray(found / np.maximum(np.repeat(directions, per_session), 1.0))


def _of_runs(work: Work, kit: Instruments, exponent_sd: Floats, defaults: NoiseDefaults) -> dict[str, Floats]:
    """Parts of each run by the names of `PARTS`, shape (pressures, runs), or (runs,) where they are all alike."""
    noise_of = work.once(_pressure_noise, work.batch, defaults)
    along, _ = work.sums(work.line)
    levers = work.once(_levers, along)
    n = work.exponent
    pressure_2, flow_2 = n * n * noise_of.point_2, defaults.flow_ratio**2
    factor = _level_factor(work, along.count, pressure_2 * levers.pressure.usual + flow_2, noise_of.freedom)
    zero_2, zero_shift = _zero(work, factor * noise_of.before_2, factor * noise_of.after_2)
    level_2, slope_2, cross = (
        factor * (pressure_2 * by_pressure + flow_2 * by_flow)
        for by_pressure, by_flow in zip(levers.pressure.of_line(), levers.flow.of_line(), strict=True)
    )
    nearer = cross / np.where(slope_2 > 0, slope_2, np.inf)  # how far below the mean of x the line is known best
    at_best = np.sqrt(np.maximum(level_2 - nearer * cross, 0.0))
    per_session = ragged.counts(work.batch.run_offsets)
    gauge_pa, gauge_ratio, fan_ratio, assumed_sd = (
        np.repeat(part, per_session) for part in (kit.gauge_pa, kit.gauge_ratio, kit.fan_ratio, exponent_sd)
    )
    away = np.log(PRESSURES_PA)[:, None] - along.mean_x
    common = np.abs(n * (levers.level + away * levers.slope))
    return {
        "zero_noise": np.sqrt(zero_2) * common,
        "zero_shift": zero_shift * common,
        "point_noise": at_best,
        "fitted_exponent": np.abs(away + nearer) * np.sqrt(slope_2),
        "gauge_gain": LIMITS_TO_SD * gauge_ratio * n,
        "gauge_offset": LIMITS_TO_SD * gauge_pa * common,
        "fan_flow": LIMITS_TO_SD * fan_ratio,
        "assumed_exponent": np.where(work.exponent_assumed, assumed_sd * np.abs(away), 0.0),
        **_unrecorded_air(work),
    }


def _unrecorded_air(work: Work) -> dict[str, Floats]:
    """What temperatures that are not recorded leave of the log flow of each run, signed; 0 where none was needed.

    Corrected for all densities, ln Q holds +1/2 ln(density in the fan) and -n ln(density in the leaks): minus 1 for
    each flow brought to the leaks, plus 1 - n to reference conditions. Air is outdoors in the leaks when the fan takes
    air out, and in the fan when it blows in; so both directions together nearly cancel. ln density goes with -ln T.
    """
    if "envelope_density" not in work.stages and work.log_reference_factor is None:
        return {name: np.zeros(work.exponent.size) for name in OF_AIR}
    in_leaks = -work.exponent
    inward = work.direction == PRESSURISATION
    per_session = ragged.counts(work.batch.run_offsets)
    found = {}
    for name, limit_k, leaking in (
        ("outdoor_temperature", OUTDOOR_LIMIT_K, ~inward),
        ("indoor_temperature", INDOOR_LIMIT_K, inward),
    ):
        unknown = np.repeat(np.isnan(floats(work.batch.session[f"{name}_c"])), per_session)
        density_sd = LIMITS_TO_SD * limit_k / (REFERENCE_AIR_C + air.KELVIN)
        found[name] = np.where(unknown, density_sd * np.where(leaking, in_leaks, 0.5), 0.0)
    return found


@dataclass(frozen=True, slots=True)
class _Carried:
    """What a variance of each point's pressure, times 1 / dp^2, or of its log flow becomes, for each run.

    level_2, slope_2, cross: in the line's level at the mean of x, its slope, and their covariance. `usual`: the
    weighted mean of the points' own.
    """

    level_2: Floats
    slope_2: Floats
    cross: Floats
    usual: Floats

    def of_line(self) -> tuple[Floats, Floats, Floats]:
        """Level, slope, covariance."""
        return self.level_2, self.slope_2, self.cross


@dataclass(frozen=True, slots=True)
class _Levers:
    """How errors of readings reach a run's line, whatever the flows.

    level, slope [1/Pa]: sum of w_j / dp_j at the mean of x, and what each unit of ln p adds to it.
    """

    level: Floats
    slope: Floats
    pressure: _Carried
    flow: _Carried


def _levers(along: powerlaw.Abscissas) -> _Levers:
    """With weights u of a mean of 1: w_j = u_j / N at the mean of x, and u_j (x_j - mean x) / S_xx per unit of ln p."""
    offsets, dx = along.offsets, along.from_mean
    count = np.maximum(along.count, 1).astype(np.float64)
    xx = np.where(along.xx > 0, along.xx, np.inf)
    relative = np.exp(-along.log_pressure)

    own = along.weighted(relative)
    level, slope = ragged.sums(own, offsets) / count, ragged.sums(own * dx, offsets) / xx
    if along.weight is None:
        flow = _Carried(1.0 / count, 1.0 / xx, np.zeros(count.size), np.ones(count.size))
    else:
        flow = _carried(along, along.weight, count, xx)
    return _Levers(level, slope, _carried(along, own * relative, count, xx), flow)


def _carried(along: powerlaw.Abscissas, variance: Floats, count: Floats, xx: Floats) -> _Carried:
    """What becomes of a variance of points, each once times its weight."""
    twice = along.weighted(variance)
    by_dx = twice * along.from_mean
    level, slope, cross = (ragged.sums(each, along.offsets) for each in (twice, by_dx * along.from_mean, by_dx))
    usual = level if along.weight is None else ragged.sums(variance, along.offsets)
    return _Carried(level / count**2, slope / xx**2, cross / (count * xx), usual / count)


@dataclass(frozen=True, slots=True)
class _PressureNoise:
    """Of each run: variances of baseline before, after and of a point [Pa2]; degrees of freedom they are known with.

    told: of each session, whether spreads told the level.
    """

    before_2: Floats
    after_2: Floats
    point_2: Floats
    freedom: Floats
    told: NDArray[np.bool_]


def _pressure_noise(batch: Batch, defaults: NoiseDefaults) -> _PressureNoise:
    tau, floor = defaults.time_scale_s, defaults.floor_pa**2
    per_session = ragged.counts(batch.run_offsets)
    stretches = noise.of_batch(batch, defaults)
    before, after, points = shares = [part.share(tau) for part in stretches]
    found = noise.pooled(batch, stretches, shares, defaults)
    freedom = np.where(found.told, found.seconds / (2.0 * tau), 0.5 / defaults.level_spread_unrecorded**2)
    level_2 = np.repeat(found.deviation_pa**2, per_session)
    of_points = ragged.means(points, batch.point_offsets)
    before_2, after_2, point_2 = (level_2 * share + floor for share in (before, after, of_points))
    return _PressureNoise(before_2, after_2, point_2, np.repeat(freedom, per_session), found.told)


def _zero(work: Work, before_2: Floats, after_2: Floats) -> tuple[Floats, Floats]:
    """Variance of each run's mean baseline [Pa2], and what its shift leaves [Pa], from variances of both ends [Pa2].

    Where no baseline is recorded, one of usual length is taken to have been made.
    """
    first, last = (floats(work.batch.run[f"baseline_{when}_pressure_pa"]) for when in ("before", "after"))
    both = np.isfinite(first) & np.isfinite(last)
    zero_2 = np.where(both, (before_2 + after_2) / 4.0, np.where(np.isfinite(last), after_2, before_2))
    moved = np.nan_to_num(baseline.baseline_shift_pa(first, last)) ** 2 - before_2 - after_2
    return zero_2, 0.5 * LIMITS_TO_SD * np.sqrt(np.maximum(moved, 0.0))


def _level_factor(work: Work, count: Ints, expected: Floats, freedom: Floats) -> Floats:
    """What squares of noise are to be multiplied by in each run, for its scatter and for what stays uncertain.

    `expected`: mean square [1] that noise alone gives the points; `freedom`: with how many degrees it is known.
    """
    left = np.maximum(count - 2, 0)
    seen = np.zeros(count.size) if work.law is None else work.law.residual_square_sum
    ratio_sum = np.where(left > 0, seen / np.where(expected > 0, expected, np.inf), 0.0)
    supposed = np.minimum(freedom, TRUSTED_FREEDOM)
    wider = student_t(np.maximum(freedom + left, LEAST_FREEDOM)) / COVERAGE_FACTOR
    return np.asarray((supposed + ratio_sum) / (supposed + left) * wider**2)


def student_t(freedom: Floats) -> Floats:
    """97.5 % quantile of Student's t [1] with 3 degrees of freedom or more, which need not be whole.

    A polynomial in 1 / freedom, drawn through scipy's quantile once: that is dear, this is not. Of relative error
    below 1e-12.
    """
    return np.asarray(_student_t_polynomial()(1.0 / freedom))


@cache
def _student_t_polynomial() -> Chebyshev:
    def quantile(inverse: Floats) -> Floats:
        return np.asarray(stdtrit(1.0 / inverse, 0.975))

    return Chebyshev.interpolate(quantile, _POLYNOMIAL_DEGREE, domain=[0.0, 1.0 / LEAST_FREEDOM])
