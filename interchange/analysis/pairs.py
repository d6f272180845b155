"""Two tests of one house: how far the flow changed, with its interval, and whether two results agree.

For each pair r = ln(Q_after / Q_before). Each part of a result's uncertainty is a deviation of its log flow, so

    var(r) = sum over parts of (s_b^2 + s_a^2 - 2 rho s_b s_a) + what widens each half by itself

with rho = 0 for parts that differ between tests (`uncertainty.RANDOM`), and for those of instruments rho = 1 where the
same instrument did both, so that its error cancels, 0 where another one did, -1 where it acts the other way round.
All arrays have one entry a pair.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import bdtr, bdtrc, ndtri

from interchange.analysis.batch import Codes, Floats, Ints
from interchange.analysis.uncertainty import COVERAGE_FACTOR, PARTS
from interchange.analysis.work import DEPRESSURISATION, PRESSURISATION
from interchange.quantities import CHOICES

Flags = NDArray[np.bool_]

YES, NO, CANNOT_TELL = (CHOICES["is_it_real"].index(word) for word in ("yes", "no", "cannot_tell"))
TOO_NARROW, TOO_WIDE, AS_STATED, UNTOLD = (
    CHOICES["stated_intervals"].index(word) for word in ("too_narrow", "too_wide", "as_stated", "cannot_tell")
)
FLOW_PRESSURE_PA = 50.0  # [Pa] of the flows that are compared
SAME_PRESSURE_PA = 5.0  # [Pa] within which two single points share the error of their assumed exponent; a judgement
COVERAGE = 0.95  # [1] share of intervals meant to hold
TAIL = 0.025  # [1] probability of either end of a 95 % interval
FEWEST_PAIRS = 20  # below this nobody can call intervals right: of 20 that all agree Wilson's interval begins at 84 %


@dataclass(frozen=True, slots=True)
class Halves:
    """One half of each pair: flow [m3/h], parts [1] of its log flow's uncertainty, and a limit [1] that widens it."""

    flow_m3_h: Floats
    parts: Mapping[str, Floats]
    wider: Floats


@dataclass(frozen=True, slots=True)
class Change:
    """From before to after: reduction [m3/h] and [%] with its 95 % limits; a rise is negative. NaN without a flow."""

    log_ratio: Floats
    standard_deviation: Floats
    reduction_m3_h: Floats
    reduction_percent: Floats
    low_percent: Floats
    high_percent: Floats

    def is_it_real(self, matched: Flags, least_percent: float = 0.0) -> Codes:
        """Codes of `quantities.CHOICES["is_it_real"]`, one for each pair.

        yes: the whole interval is a reduction; no: the whole interval lies below `least_percent` [%], the smallest
        reduction of practical size, which at 0 means a rise; cannot_tell: else, without an interval, and where the pair
        does not match.
        """
        found = np.select([self.low_percent > 0.0, self.high_percent < least_percent], [YES, NO], CANNOT_TELL)
        return np.where(matched, found, CANNOT_TELL).astype(np.int8)


def change(before: Halves, after: Halves, shared: Mapping[str, Floats]) -> Change:
    """The change of each pair; `shared` holds rho by the name of a part, 0 for those that it does not name.

    Limits are 95 %, of a log ratio taken for normal: 100 (1 - exp(r -+ 1.96 sd)).

    References
    ----------
    [1] JCGM 100:2008 (from memory), 5.2.2: variance of a difference with correlated parts.

    """
    variance = before.wider**2 + after.wider**2
    for name in PARTS:
        one, other = before.parts[name], after.parts[name]
        # (s_b - rho s_a)^2 + (1 - rho^2) s_a^2, which rounding cannot make negative
        rho = shared.get(name, np.zeros(one.size))
        variance = variance + (one - rho * other) ** 2 + (1.0 - rho**2) * other**2
    ratio = np.log(after.flow_m3_h / before.flow_m3_h)
    deviation = np.sqrt(variance)
    half = COVERAGE_FACTOR * deviation
    return Change(
        ratio,
        deviation,
        before.flow_m3_h - after.flow_m3_h,
        -100.0 * np.expm1(ratio),
        -100.0 * np.expm1(ratio + half),
        -100.0 * np.expm1(ratio - half),
    )


def shared_errors(
    same_gauge: Flags,
    same_fan: Flags,
    direction: tuple[Codes, Codes],
    single_point: tuple[Flags, Flags],
    pressure_pa: tuple[Floats, Floats],
    same_zero: Flags,
    same_pressure_pa: float = SAME_PRESSURE_PA,
) -> dict[str, Floats]:
    """Correlation rho [1] between the halves of the errors that instruments and an assumed exponent make.

    `direction` of both halves as codes of `direction_used`: an offset of the gauge acts on a depressurised house the
    other way round than on a pressurised one; where one half is the mean of both, or unknown, nothing is taken to
    cancel. `pressure_pa`: magnitude that a single point was held at. The exponent of one house is off by about the
    same in both halves, so its error cancels where both points stand alike about 50 Pa, within `same_pressure_pa`.
    """
    one, other = direction
    opposite = np.isin(one, (DEPRESSURISATION, PRESSURISATION)) & (one + other == DEPRESSURISATION + PRESSURISATION)
    way = np.select([(one == other) & (one >= 0), opposite], [1.0, -1.0], 0.0)
    near = np.abs(pressure_pa[0] - pressure_pa[1]) <= same_pressure_pa
    side = np.sign((pressure_pa[0] - FLOW_PRESSURE_PA) * (pressure_pa[1] - FLOW_PRESSURE_PA))
    zero = np.where(same_zero, way, 0.0)
    return {
        "zero_noise": zero,
        "zero_shift": zero,
        "gauge_gain": same_gauge.astype(np.float64),
        "gauge_offset": np.where(same_gauge, way, 0.0),
        "fan_flow": same_fan.astype(np.float64),
        "assumed_exponent": np.where(single_point[0] & single_point[1] & near, side, 0.0),
    }


def agrees(found: Change) -> Flags:
    """Whether two results of the same house are one within their joint 95 % interval; false without one."""
    return np.asarray(np.abs(found.log_ratio) <= COVERAGE_FACTOR * found.standard_deviation)


def difference_percent(found: Change) -> Floats:
    """Size of the difference of two results, in per cent of the lesser one: the same whichever is named first."""
    return np.asarray(100.0 * np.expm1(np.abs(found.log_ratio)))


def expected_difference_percent(found: Change) -> Floats:
    """The size [%] that half of the differences should stay below, if the stated uncertainty were right."""
    return np.asarray(100.0 * np.expm1(ndtri(0.75) * found.standard_deviation))


def stated_intervals(agreeing: Ints, pairs: Ints, coverage: float = COVERAGE, fewest: int = FEWEST_PAIRS) -> Codes:
    """What the share that agrees says of intervals meant to hold `coverage` of the time.

    Codes of `quantities.CHOICES["stated_intervals"]`. too_narrow or too_wide: so few, or so many, would agree by chance
    less than once in 40 times (exact binomial tail; Wilson's interval errs more often for few pairs near 95 %).
    as_stated: neither, and there are `fewest` pairs or more; cannot_tell: fewer.
    """
    k, n = np.asarray(agreeing, dtype=np.float64), np.asarray(pairs, dtype=np.int64)
    so_few = bdtr(k, n, coverage)
    so_many = np.where(k > 0, bdtrc(np.maximum(k - 1.0, 0.0), n, coverage), 1.0)
    found = [so_few < TAIL, (so_many < TAIL) & (n > 0), n >= fewest]
    return np.select(found, [TOO_NARROW, TOO_WIDE, AS_STATED], UNTOLD).astype(np.int8)
