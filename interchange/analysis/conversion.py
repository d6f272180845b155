"""Reported values carried to another pressure, with what the flow exponent leaves open.

    Q2 = Q1 (p2 / p1)^n            ln Q2 has the standard deviation s |ln(p2 / p1)|, s that of n
    A2 = A1 (C1 / C2) (p2 / p1)^(n - 1/2)        the same

so limits of 95 % are the value times exp(-+ 1.96 s |ln(p2 / p1)|): exact for an exponent that is normal about n. At
p2 = p1 nothing is added. What the reported value itself may err comes on top, as a standard deviation of its
logarithm where it is known.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import areas
from interchange.analysis.air import Number
from interchange.analysis.batch import Floats
from interchange.analysis.robust import PRIOR
from interchange.analysis.uncertainty import COVERAGE_FACTOR

EXPONENT, EXPONENT_SD = float(PRIOR.exponent), float(PRIOR.exponent_sd)  # [1] among houses; sources in `robust.Prior`
REPORTED_EXPONENT_SD = 0.02  # [1] of a measured exponent whose error is not stated; common practice, no source
USABLE_EXPONENT = (0.4, 1.1)  # [1] a reported exponent outside is a slip, and that of houses is taken


@dataclass(frozen=True, slots=True)
class Converted:
    """A value, and the lower and upper end of its 95 % interval, in the value's unit."""

    value: Floats
    low: Floats
    high: Floats


@dataclass(frozen=True, slots=True)
class Exponent:
    """Exponents [1] with their standard deviations [1], and which are assumed for want of a usable one."""

    value: Floats
    sd: Floats
    assumed: NDArray[np.bool_]


def exponent_of(
    reported: Number, assumed_by_source: NDArray[np.bool_] | bool = False, standard_error: Number = REPORTED_EXPONENT_SD
) -> Exponent:
    """The exponent to convert with: the reported one [1] with its standard error, or that of houses, 0.65 +- 0.06.

    One that the source assumed keeps its value and gets the spread of houses.
    """
    n = np.asarray(reported, dtype=np.float64)
    usable = (n >= USABLE_EXPONENT[0]) & (n <= USABLE_EXPONENT[1])
    measured = usable & ~np.asarray(assumed_by_source)
    return Exponent(
        np.where(usable, n, EXPONENT), np.where(measured, standard_error, EXPONENT_SD), np.asarray(~measured)
    )


def _carried(value: Number, away: Number, sd: Number, log_sd: Number) -> Converted:
    half = COVERAGE_FACTOR * np.sqrt((np.asarray(sd) * away) ** 2 + np.asarray(log_sd) ** 2)
    middle = np.asarray(value, dtype=np.float64)
    return Converted(middle, middle * np.exp(-half), middle * np.exp(half))


def flow_at(
    flow_m3_h: Number, pressure_pa: Number, to_pa: Number, exponent: Number, exponent_sd: Number, log_sd: Number = 0.0
) -> Converted:
    """Flow [m3/h] at a pressure [Pa] carried to another: Q (to / p)^n. `log_sd` [1]: of ln Q as reported."""
    away = np.log(np.asarray(to_pa, dtype=np.float64) / pressure_pa)
    return _carried(np.asarray(flow_m3_h) * np.exp(np.asarray(exponent) * away), away, exponent_sd, log_sd)


def flow_of_air_changes(
    air_change_per_h: Number,
    volume_m3: Number,
    pressure_pa: Number,
    to_pa: Number,
    exponent: Number,
    exponent_sd: Number,
    log_sd: Number = 0.0,
) -> Converted:
    """Flow [m3/h] at a pressure [Pa] from air changes [1/h] at another and their volume [m3]: n50 V (to / p)^n."""
    flow = np.asarray(air_change_per_h, dtype=np.float64) * volume_m3
    return flow_at(flow, pressure_pa, to_pa, exponent, exponent_sd, log_sd)


def area_of_flow(
    flow_m3_h: Number,
    pressure_pa: Number,
    to_pa: Number,
    discharge_coefficient: Number,
    air_density_kg_m3: Number,
    exponent: Number,
    exponent_sd: Number,
    log_sd: Number = 0.0,
) -> Converted:
    """Leakage area [m2] at a pressure [Pa] and discharge coefficient [1] from the flow [m3/h] at another pressure.

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 16, equation 41 (read).

    """
    flow = flow_at(flow_m3_h, pressure_pa, to_pa, exponent, exponent_sd, log_sd)
    return Converted(
        *(
            areas.leakage_area_m2(one, to_pa, discharge_coefficient, air_density_kg_m3)
            for one in (flow.value, flow.low, flow.high)
        )
    )


def area_at(
    area_m2: Number,
    pressure_pa: Number,
    discharge_coefficient: Number,
    to_pa: Number,
    to_discharge_coefficient: Number,
    exponent: Number,
    exponent_sd: Number,
    log_sd: Number = 0.0,
) -> Converted:
    """Leakage area [m2] stated for one pressure and discharge coefficient, stated for another pair.

    A2 = A1 (C1 / C2) (p2 / p1)^(n - 1/2).

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 16, equation 42 (read).

    """
    away = np.log(np.asarray(to_pa, dtype=np.float64) / pressure_pa)
    ratio = np.asarray(discharge_coefficient) / to_discharge_coefficient
    middle = np.asarray(area_m2) * ratio * np.exp((np.asarray(exponent) - 0.5) * away)
    return _carried(middle, away, exponent_sd, log_sd)
