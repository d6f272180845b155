"""Whether the values that a source reports agree among themselves, and which one known slip explains it if not.

Reported values stay as they are. A contradiction between two of them is proven by what the words mean; that a slip
explains it is likely, never certain: the sender knows. Checks of areas stand in
`reported_areas`, of single values in `reported_alone`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import areas
from interchange.analysis.batch import Batch, Floats
from interchange.analysis.check import Check, Flags, judged
from interchange.analysis.conversion import EXPONENT, EXPONENT_SD
from interchange.analysis.leakage import FLOW_PRESSURE_PA, SHARES, Leakage
from interchange.analysis.slips import NONE, Explained, candidates, explain, log_rounding
from interchange.analysis.uncertainty import COVERAGE_FACTOR
from interchange.analysis.work import floats
from interchange.quantities import FAIL, PASS, SUSPECT
from interchange.units import SLIPS

AREA_DENSITY_KG_M3 = 1.2  # [kg/m3] of areas that do not state theirs (ASHRAE Handbook, chapter 16, read)
SAME_PA = 0.01  # [Pa] pressures this near are one


def flow_at_50_m3_h(batch: Batch) -> tuple[Floats, Floats]:
    """Reported flow brought to 50 Pa [m3/h], and what the exponent may err in its logarithm (95 %)."""
    session = batch.session
    flow, pressure = floats(session["reported_flow_m3_h"]), floats(session["reported_flow_pressure_pa"])
    exponent, doubt = exponent_used(batch)
    away = np.log(FLOW_PRESSURE_PA / pressure)
    there = np.abs(pressure - FLOW_PRESSURE_PA) < SAME_PA
    return np.where(there, flow, flow * np.exp(exponent * away)), np.where(there, 0.0, doubt * np.abs(away))


def exponent_used(batch: Batch) -> tuple[Floats, Floats]:
    """Reported exponent, or the usual one, and how far it may be off: by rounding, or 95 % of houses."""
    reported = floats(batch.session["reported_exponent"])
    usable = (reported >= 0.4) & (reported <= 1.1)
    rounding = np.where(usable, reported, 1.0) * log_rounding(np.where(usable, reported, 1.0))
    return np.where(usable, reported, EXPONENT), np.where(usable, rounding, COVERAGE_FACTOR * EXPONENT_SD)


def other_flows(batch: Batch, leakage: Leakage) -> dict[str, Floats]:
    """Flow at 50 Pa [m3/h] by each road other than the reported flow itself; NaN where there is none."""
    session = batch.session
    exponent, _ = exponent_used(batch)
    measured = ~np.isnan(floats(session["reported_exponent"]))
    pressure = floats(session["reported_leakage_area_pressure_pa"])
    discharge = floats(session["reported_leakage_area_discharge_coefficient"])
    discharge = np.where(np.isnan(discharge) & (np.abs(pressure - 4.0) < SAME_PA), 1.0, discharge)
    of_unit = areas.leakage_area_m2((pressure / FLOW_PRESSURE_PA) ** exponent, pressure, discharge, AREA_DENSITY_KG_M3)
    return {
        "air_changes": floats(session["reported_air_change_50_per_h"]) * floats(session["volume_m3"]),
        "coefficient": floats(session["reported_coefficient_m3_h"])
        * FLOW_PRESSURE_PA ** np.where(measured, exponent, np.nan),
        "area": np.where(measured, floats(session["reported_leakage_area_m2"]) / of_unit, np.nan),
        "readings": floats(leakage.session["flow_50_m3_h"]),
    }


def _near(one: Floats, other: Floats, percent: float) -> Flags:
    return np.asarray(np.abs(np.log(one / other)) <= np.log1p(percent / 100.0))


def level_of(log_ratio: Floats, tolerance: Floats, slip: NDArray[np.int64], surely_factor: float) -> NDArray[np.int8]:
    """Pass, suspect, or fail where a slip explains a contradiction or nothing between two values could."""
    sure = (slip != NONE) | (np.abs(log_ratio) > np.log(surely_factor))
    return np.where(np.abs(log_ratio) <= tolerance, PASS, np.where(sure, FAIL, SUSPECT)).astype(np.int8)


def contradiction(
    log_ratio: Floats,
    level: NDArray[np.int8],
    found: Explained,
    limit_percent: float,
    cause: str | NDArray[np.str_],
    **details: Floats,
) -> Check:
    """A check of two values that ought to be one; value and effect are how far they are apart [%]."""
    value = 100.0 * np.expm1(log_ratio)
    check = judged(
        value,
        level != PASS,
        limit=limit_percent,
        effect_percent=100.0 * np.expm1(np.abs(log_ratio)),
        cause=cause,
    )
    known = ~np.isnan(value)
    told = {"slip": floats(found.slip), "residual_percent": found.residual_percent, **details}
    return replace(check, level=np.where(known, level, check.level).astype(np.int8), details=told)


def reported_flow_fits_volume(
    batch: Batch,
    leakage: Leakage,
    *,
    limit_percent: float = 10.0,
    slip_percent: float = 3.0,
    surely_factor: float = 1.5,
    natural_low: float = 10.0,
    natural_high: float = 30.0,
    natural_most_per_h: float = 2.0,
    volume_low_m3: float = 30.0,
    volume_high_m3: float = 3000.0,
) -> Check:
    """Whether reported flow and air changes at 50 Pa go together with the volume; value: flow over them [%].

    Q / (n50 V) is 1 by definition. Up to `limit_percent` it may err, as many sources correct one of both for the
    density of the air and not the other; rounding of the air changes comes on top. Beyond that, the slip is named that
    brings it within `slip_percent` of 1. Two slips are named only where the volume by itself is none of a house
    (`volume_low_m3` to `volume_high_m3`) and its slip brings it there. A rate of a house without a fan
    (`natural_most_per_h` and less) that is 1/10 to 1/30 of Q / V is named as such: see `reported_natural_rate`.

    Details: the values; slip, second_slip (places in SLIPS, -1 for none), residual_percent, natural (1 where the air
    changes look like natural ones), witness (1 where coefficient, leakage area or readings agree with the flow meant).
    """
    session = batch.session
    flow, doubt = flow_at_50_m3_h(batch)
    air, volume = floats(session["reported_air_change_50_per_h"]), floats(session["volume_m3"])
    log_ratio = np.log(flow / (air * volume))
    rounding = log_rounding(air) + doubt
    close = np.log1p(slip_percent / 100.0) + rounding
    tolerance = np.log1p(limit_percent / 100.0) + rounding
    one = explain(log_ratio, [*candidates("flow"), *candidates("volume", -1.0), *candidates("number")], close)
    one, second = _with_volume_slip(log_ratio, one, volume, volume_low_m3, volume_high_m3, close)
    natural_too = _near(air, floats(session["reported_natural_air_change_per_h"]), slip_percent + 5.0)
    ratio = np.exp(log_ratio)
    natural = (ratio >= natural_low) & (ratio <= natural_high) & (air <= natural_most_per_h)
    natural &= natural_too | (one.slip == NONE)
    slip = np.where(natural, NONE, one.slip)
    level = level_of(log_ratio, tolerance, np.where(natural, 0, slip), surely_factor)
    meant = np.where(slip == NONE, np.nan, flow * np.exp(-log_ratio))
    speak = [_near(other, meant, 6.0) for name, other in other_flows(batch, leakage).items() if name != "air_changes"]
    cause = np.where(np.isnan(volume), "volume_unknown", "nothing_reported")
    return contradiction(
        log_ratio,
        level,
        Explained(slip, np.where(natural, np.nan, one.residual_percent)),
        limit_percent,
        cause,
        flow_m3_h=flow,
        air_change_per_h=air,
        volume_m3=volume,
        second_slip=floats(second),
        natural=floats(natural),
        witness=floats(np.any(speak, axis=0)),
    )


def _with_volume_slip(
    log_ratio: Floats, one: Explained, volume: Floats, low: float, high: float, close: Floats
) -> tuple[Explained, NDArray[np.int64]]:
    """Where the volume is none of a house and no single slip explains the ratio: that of the volume, and another."""
    second = np.full(log_ratio.size, NONE)
    for candidate in candidates("volume"):
        log_factor = np.log(SLIPS[candidate.slip].factor)
        meant = volume * np.exp(-log_factor)
        proven = ((volume < low) | (volume > high)) & (meant >= low) & (meant <= high)
        rest = explain(log_ratio + log_factor, candidates("flow"), close)
        both = proven & (rest.slip != NONE) & (slip_is(one.slip, "flow") | (one.slip == NONE))
        one = Explained(
            np.where(both, rest.slip, one.slip), np.where(both, rest.residual_percent, one.residual_percent)
        )
        second = np.where(both, candidate.slip, second)
    return one, second


def slip_is(slip: NDArray[np.int64], of: str) -> Flags:
    """Whether slips are of a kind."""
    return np.isin(slip, [place for place, known in enumerate(SLIPS) if known.of == of])


def reported_coefficient_fits_flow(
    batch: Batch,
    leakage: Leakage,
    *,
    limit_percent: float = 10.0,
    slip_percent: float = 4.0,
    surely_factor: float = 1.5,
) -> Check:
    """Whether reported coefficient and exponent give the reported flow, or air changes times volume; value: [%].

    C p^n / Q is 1 by definition. A coefficient per (inch of water)^n instead of Pa^n makes it 249^n, one that is the
    flow at the pressure itself p^n. Details: the values, slip, residual_percent; in_pressure (1 where the slip is in
    the unit of pressure), same (1 where the coefficient is the flow), agrees (1 where air changes speak for the flow,
    2 where they speak for the coefficient, 0 where for neither).
    """
    session = batch.session
    coefficient, exponent = floats(session["reported_coefficient_m3_h"]), floats(session["reported_exponent"])
    by_air = other_flows(batch, leakage)["air_changes"]
    stated, pressure = floats(session["reported_flow_m3_h"]), floats(session["reported_flow_pressure_pa"])
    known = ~np.isnan(stated * pressure)
    flow, pressure = np.where(known, stated, by_air), np.where(known, pressure, FLOW_PRESSURE_PA)
    by_law = coefficient * pressure**exponent
    log_ratio = np.log(by_law / flow)
    rounding = exponent * log_rounding(exponent) * np.abs(np.log(pressure))
    rounding = np.minimum(rounding, np.log1p(limit_percent / 100.0))
    close = np.log1p(slip_percent / 100.0) + rounding
    possible = [*candidates("flow"), *candidates("pressure", -exponent), *candidates("number")]
    found = explain(log_ratio, possible, close)
    same = _near(coefficient, flow, 0.1)
    slip = np.where(same, NONE, found.slip)
    tolerance = np.log1p(limit_percent / 100.0) + rounding
    level = level_of(log_ratio, tolerance, np.where(same, 0, slip), surely_factor)
    at_50 = coefficient * FLOW_PRESSURE_PA**exponent
    agrees = np.select([known & _near(by_air, flow_at_50_m3_h(batch)[0], 10.0), _near(by_air, at_50, 10.0)], [1.0, 2.0])
    return contradiction(
        log_ratio,
        level,
        Explained(slip, np.where(same, np.nan, found.residual_percent)),
        limit_percent,
        "nothing_reported",
        coefficient_m3_h=coefficient,
        exponent=exponent,
        flow_m3_h=flow,
        pressure_pa=pressure,
        by_law_m3_h=by_law,
        same=floats(same),
        agrees=agrees,
    )


def reported_agrees(batch: Batch, leakage: Leakage, *, limit_percent: float = 3.0, slip_percent: float = 8.0) -> Check:
    """Whether the source's own result can be reproduced: as displayed, or after any of this rule set's corrections.

    Value: flow at 50 Pa against the reported one [%], after the number of corrections, made in order, that brings it
    nearest. Sources differ in which they make: many subtract the baseline and leave the densities alone. Detail `slip`
    is the place in SLIPS of the one that would bring the reported flow within `slip_percent`, -1 for none.
    """
    corrected = 1.0 + floats(leakage.session["difference_percent"]) / 100.0
    factors = np.array([1.0 + floats(leakage.session[share]) / 100.0 for share in SHARES])
    made = np.cumprod(np.concatenate([np.ones((1, corrected.size)), factors]), axis=0)
    stages = 100.0 * (corrected / made[-1] * made - 1.0)
    stages[-1] = 100.0 * (corrected - 1.0)
    distance = np.where(np.isnan(stages), np.inf, np.abs(stages))
    nearest = stages[np.argmin(distance, axis=0), np.arange(corrected.size)]
    nearest = np.where(np.isinf(distance.min(axis=0)), np.nan, nearest)
    cause = np.where(np.isnan(floats(leakage.session["flow_50_m3_h"])), "no_result", "nothing_reported")
    bad = np.abs(nearest) > limit_percent
    check = judged(nearest, bad, when_bad=SUSPECT, limit=limit_percent, effect_percent=np.abs(nearest), cause=cause)
    by_units = explain(-np.log1p(nearest / 100.0), candidates("flow"), np.log1p(slip_percent / 100.0))
    return replace(check, details={"slip": np.where(bad, by_units.slip, -1).astype(np.float64)})
