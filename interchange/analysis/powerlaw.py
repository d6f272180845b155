"""The power law of leakage, Q = C dp^n: fits over segments, standard errors, limits, reference conditions."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from interchange.analysis import ragged
from interchange.analysis.air import Number
from interchange.analysis.batch import Floats, Ints

# [1] sum of squared deviations of ln dp below which pressures are one pressure: 1 part in a million between two points
SAME_PRESSURE_SQUARE_SUM = 0.5e-12
LARGEST_LOGARITHM = 700.0  # [1] float64 ends at 709


@dataclass(frozen=True, slots=True)
class PowerLaw:
    """Fits, one for each segment; NaN where a segment does not determine a value.

    point_count [1]; log_coefficient ln(C / (1 m3/h)); exponent [1]; their standard errors; correlation_r2 [1];
    mean_log_pressure and log_pressure_square_sum: mean of x = ln(dp / 1 Pa) and sum of (x - mean)^2.
    residual_square_sum: R.
    """

    point_count: Ints
    log_coefficient: Floats
    exponent: Floats
    log_coefficient_standard_error: Floats
    exponent_standard_error: Floats
    correlation_r2: Floats
    mean_log_pressure: Floats
    log_pressure_square_sum: Floats
    residual_square_sum: Floats


def fit(log_pressure: Floats, log_flow: Floats, offsets: Ints, weight: Floats | None = None) -> PowerLaw:
    """Least squares of ln Q on ln dp in each segment, each point with a weight (> 0, any unit) or all with the same.

    `log_pressure` is ln(dp / 1 Pa) of the induced pressure's magnitude, `log_flow` ln(Q / (1 m3/h)); segment i runs
    from offsets[i] to offsets[i + 1]. Two different pressures are needed for a line, three points for its errors.

    n = S_xy / S_xx, ln C = ybar - n xbar, s^2 = R / (N - 2), S_n = s / sqrt(S_xx), S_lnC = S_n sqrt(sum x^2 / N),
    r^2 = 1 - R / S_yy, with R the sum of squared residuals. Assumes that pressure is exact, the scatter of ln Q the
    same at all points, and that points err independently; in wind none of the three holds. With weights, brought to a
    mean of 1 in each segment, every sum and mean is a weighted one, and the scatter goes with 1 / sqrt(weight).

    References
    ----------
    [1] Roulet (2008), Ventilation and Airflow in Buildings, equations 7.13 to 7.16 and 7.26 (read).
    [2] ISO 9972 annex C, ASTM E779 annex A1 (from memory): the same algebra.

    """
    along = abscissas(log_pressure, offsets, weight)
    return law_of(along, log_flow, line_sums(along, log_flow))


@dataclass(frozen=True, slots=True)
class Abscissas:
    """x = ln(dp / 1 Pa) of points, offsets and weights brought to a mean of 1 in each segment (None: all alike).

    Of each segment: points [1], mean of x, S_xx = sum (x - xbar)^2, NaN where there is no line. `from_mean` is
    x - xbar. With weights sums and means are weighted ones.
    """

    log_pressure: Floats
    offsets: Ints
    weight: Floats | None
    count: Ints
    mean_x: Floats
    from_mean: Floats
    xx: Floats

    def weighted(self, values: Floats) -> Floats:
        """Values of points [any unit], each times its weight."""
        return values if self.weight is None else self.weight * values


def abscissas(log_pressure: Floats, offsets: Ints, weight: Floats | None = None) -> Abscissas:
    """What a line needs to know of its pressures, whatever the flows; arguments as in `fit`."""
    share = None if weight is None else of_mean_one(weight, offsets)
    mean_x = ragged.means(log_pressure if share is None else share * log_pressure, offsets)
    dx = log_pressure - ragged.spread_out(mean_x, offsets)
    xx = ragged.sums((dx if share is None else share * dx) * dx, offsets)
    xx = np.where(xx > SAME_PRESSURE_SQUARE_SUM, xx, np.nan)
    return Abscissas(log_pressure, offsets, share, ragged.counts(offsets), mean_x, dx, xx)


@dataclass(frozen=True, slots=True)
class LineSums:
    """What flows add to `Abscissas` for a line, of each segment [1]: mean of y = ln(Q / (1 m3/h)), S_xy, slope."""

    mean_y: Floats
    xy: Floats
    exponent: Floats


def line_sums(along: Abscissas, log_flow: Floats) -> LineSums:
    """Mean of y, S_xy = sum (x - xbar) y and n = S_xy / S_xx; `log_flow` as in `fit`."""
    mean_y = ragged.means(along.weighted(log_flow), along.offsets)
    xy = ragged.sums(along.weighted(along.from_mean) * log_flow, along.offsets)
    return LineSums(mean_y, xy, xy / along.xx)


def law_of(along: Abscissas, log_flow: Floats, sums: LineSums) -> PowerLaw:
    """The fit and its errors, as in `fit`."""
    count, exponent = along.count, sums.exponent
    syy, rest = scatter(along, log_flow, sums)
    variance = np.where(count > 2, rest / np.maximum(count - 2, 1), np.nan)
    exponent_error = np.sqrt(variance / along.xx)
    mean_square_x = along.xx / np.maximum(count, 1) + along.mean_x * along.mean_x
    r2 = np.where((count > 2) & (syy > 0), 1.0 - rest / np.where(syy > 0, syy, np.nan), np.nan)
    return PowerLaw(
        point_count=count,
        log_coefficient=sums.mean_y - exponent * along.mean_x,
        exponent=exponent,
        log_coefficient_standard_error=exponent_error * np.sqrt(mean_square_x),
        exponent_standard_error=exponent_error,
        correlation_r2=r2,
        mean_log_pressure=along.mean_x,
        log_pressure_square_sum=along.xx,
        residual_square_sum=rest,
    )


def scatter(along: Abscissas, log_flow: Floats, sums: LineSums) -> tuple[Floats, Floats]:
    """S_yy = sum (y - ybar)^2 and R, the sum of squared residuals, of each segment [1]."""
    dy = log_flow - ragged.spread_out(sums.mean_y, along.offsets)
    residual = ragged.spread_out(sums.exponent, along.offsets)
    residual *= along.from_mean
    residual -= dy
    syy, rest = (ragged.sums(along.weighted(each * each), along.offsets) for each in (dy, residual))
    return syy, rest


def of_mean_one(weight: Floats, offsets: Ints) -> Floats:
    """Weights [any unit] of each segment, brought to a mean of 1."""
    return np.asarray(weight / ragged.spread_out(ragged.means(weight, offsets), offsets))


def drawn_together(
    log_pressure: Floats, log_flow: Floats, offsets: Ints, primary_pa: float, secondary_pa: float
) -> tuple[Floats, Floats, Ints]:
    """Points of each segment drawn together to the mean pressure and mean flow of the two stations they belong to.

    A point belongs to the station [Pa] whose logarithm is nearer to its own. Means are of pressures [Pa] and flows
    [m3/h], not of logarithms. A station without a point is left out: arguments and result as in `fit`, with two points
    in a segment at most. The line through both is n = ln(Q1 / Q2) / ln(dp1 / dp2), ln C = ln Q1 - n ln dp1.

    References
    ----------
    [1] ASTM E1827, two-point technique (from memory); averages at a primary and a secondary station from its terms
        (read).

    """
    high = at_primary(log_pressure, primary_pa, secondary_pa)
    segment = np.repeat(np.arange(offsets.size - 1), ragged.counts(offsets))
    station = 2 * segment + high  # low one first in each segment
    size = 2 * (offsets.size - 1)
    count = np.bincount(station, minlength=size)
    there = count > 0
    pressure = np.bincount(station, np.exp(log_pressure), size)[there] / count[there]
    flow = np.bincount(station, np.exp(log_flow), size)[there] / count[there]
    kept = np.concatenate(([0], np.cumsum(there.reshape(-1, 2).sum(axis=1)))).astype(np.int64)
    return np.log(pressure), np.log(flow), kept


def at_primary(log_pressure: Floats, primary_pa: float, secondary_pa: float) -> NDArray[np.bool_]:
    """Whether a point belongs to the first of two stations [Pa]; of a tie it does."""
    return np.asarray(np.abs(log_pressure - np.log(primary_pa)) <= np.abs(log_pressure - np.log(secondary_pa)))


def log_flow_of(along: Abscissas, sums: LineSums, pressure_pa: float, assumed_exponent: float | None = None) -> Floats:
    """ln(Q / (1 m3/h)) at a pressure [Pa] by lines whose sums are known, without its errors.

    Where a segment holds one point, the assumed exponent draws the line, if one is given.
    """
    exponent = sums.exponent
    if assumed_exponent is not None:
        exponent = np.where(along.count == 1, assumed_exponent, exponent)
    return np.asarray(sums.mean_y + exponent * (np.log(pressure_pa) - along.mean_x))


def one_point(log_pressure: Number, log_flow: Number, exponent: Number) -> Floats:
    """ln(C / (1 m3/h)) from one point, with an exponent that is assumed: ln C = ln Q - n ln dp.

    References
    ----------
    [1] ASTM E1827, single-point technique (from memory).

    """
    return np.asarray(log_flow - np.asarray(exponent) * log_pressure)


def from_log(logarithm: Number) -> Floats:
    """The number of a natural logarithm; NaN where no float can hold it, as after a fit that determines nothing."""
    log = np.asarray(logarithm, dtype=np.float64)
    return np.asarray(np.exp(np.where(np.abs(log) < LARGEST_LOGARITHM, log, np.nan)))


def flow_m3_h(log_coefficient: Number, exponent: Number, pressure_pa: float) -> Floats:
    """Flow [m3/h] at a pressure [Pa]: Q = C dp^n, with ln(C / (1 m3/h)) given."""
    return from_log(np.asarray(log_coefficient) + np.asarray(exponent) * np.log(pressure_pa))


def student_t(point_count: Ints, confidence: float) -> Floats:
    """Two-sided quantile of Student's t with N - 2 degrees of freedom; NaN for fewer than three points.

    References
    ----------
    [1] scipy.special.stdtrit; tables in any statistics text (3.182 for 3 degrees of freedom and 0.95).

    """
    counts, inverse = np.unique(point_count, return_inverse=True)  # the quantile is dear and counts are few
    freedom = np.where(counts > 2, counts - 2, np.nan)
    return np.asarray(stdtrit(freedom, 0.5 + confidence / 2.0)[inverse])


def exponent_limits(law: PowerLaw, confidence: float = 0.95) -> tuple[Floats, Floats]:
    """Lower and upper limit of the exponent [1]: n -+ t S_n."""
    half = student_t(law.point_count, confidence) * law.exponent_standard_error
    return law.exponent - half, law.exponent + half


def log_flow_half_width(law: PowerLaw, pressure_pa: float, confidence: float = 0.95) -> Floats:
    """Half-width of the confidence band of ln Q at a pressure [Pa]: t S_n sqrt(S_xx / N + (x - xbar)^2).

    It is the band of the mean line, not of a new reading, and knows only the scatter of the points: nothing of
    errors they share (baseline, gauge, fan).

    References
    ----------
    [1] ISO 9972 annex C, ASTM E779 annex A1 (from memory); any text on linear regression.

    """
    away = np.log(pressure_pa) - law.mean_log_pressure
    mean_square = law.log_pressure_square_sum / np.maximum(law.point_count, 1)
    spread = law.exponent_standard_error * np.sqrt(mean_square + away * away)
    return np.asarray(student_t(law.point_count, confidence) * spread)


def reference_conditions_factor(
    exponent: Number,
    leak_air_density_kg_m3: Number,
    reference_air_density_kg_m3: Number,
    leak_air_viscosity_pa_s: Number | None = None,
    reference_air_viscosity_pa_s: Number | None = None,
) -> Floats:
    """Factor [1] that brings the flow coefficient to reference conditions.

    C0 / C = (rho / rho0)^(1 - n), and times (mu / mu0)^(2n - 1) where viscosities [Pa s] are given; rho and mu are
    those of the air that flows through the leaks: outdoor air when depressurising, indoor air when pressurising.
    The two forms differ by 1.6 % at 0 degrees Celsius and n = 0.65.

    References
    ----------
    [1] ISO 9972, EN 13829 (from memory): density alone.
    [2] Roulet (2008), equation 4.15 (read), ASTM E779 (from memory): density and viscosity.

    """
    n = np.asarray(exponent, dtype=np.float64)
    log_factor = (1.0 - n) * np.log(np.asarray(leak_air_density_kg_m3) / reference_air_density_kg_m3)
    if leak_air_viscosity_pa_s is not None and reference_air_viscosity_pa_s is not None:
        log_factor = log_factor + (2.0 * n - 1.0) * np.log(
            np.asarray(leak_air_viscosity_pa_s) / reference_air_viscosity_pa_s
        )
    return from_log(log_factor)
