"""Whether a reported leakage area says what it is for, and goes with the reported flow."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from interchange.analysis import areas
from interchange.analysis.batch import Batch, Floats
from interchange.analysis.check import Check, judged
from interchange.analysis.leakage import FLOW_PRESSURE_PA, Leakage
from interchange.analysis.reported import (
    AREA_DENSITY_KG_M3,
    SAME_PA,
    contradiction,
    exponent_used,
    flow_at_50_m3_h,
    level_of,
    other_flows,
)
from interchange.analysis.slips import candidates, explain
from interchange.analysis.work import floats
from interchange.quantities import FAIL, MISSING, SUSPECT

# [Pa], [1] pairs that areas are stated with: ASTM E779, CAN/CGSB-149.10, ISO 9972 (ASHRAE Handbook, chapter 16, read
# for the first two, the third from memory). A check names them by a mask with bit k for pair k.
AREA_PAIRS = ((4.0, 1.0), (10.0, 0.611), (10.0, 1.0))


def _area_logs(batch: Batch, leakage: Leakage, any_pair: bool = False) -> tuple[Floats, Floats, Floats]:
    """ln(area / area of the reported flow) by what the source states, and by each pair; what rounding may do to it.

    NaN for a pair that what is stated rules out (with `any_pair` it rules out none), and for the statement itself
    unless it is whole.
    """
    session = batch.session
    area = floats(session["reported_leakage_area_m2"])
    pressure = floats(session["reported_leakage_area_pressure_pa"])
    discharge = floats(session["reported_leakage_area_discharge_coefficient"])
    flow, _ = flow_at_50_m3_h(batch)
    others = other_flows(batch, leakage)
    for road in ("air_changes", "coefficient"):
        flow = np.where(np.isnan(flow), others[road], flow)
    exponent, doubt = exponent_used(batch)

    def log_of(at_pa: Floats, coefficient: Floats) -> Floats:
        through = flow * (at_pa / FLOW_PRESSURE_PA) ** exponent
        return np.asarray(np.log(area / areas.leakage_area_m2(through, at_pa, coefficient, AREA_DENSITY_KG_M3)))

    by_pair = []
    for at_pa, coefficient in AREA_PAIRS:
        possible = (np.isnan(pressure) | (np.abs(pressure - at_pa) < SAME_PA)) & (
            np.isnan(discharge) | (np.abs(discharge - coefficient) < 0.02)
        )
        size = np.full(area.size, 1.0)
        by_pair.append(np.where(possible | any_pair, log_of(at_pa * size, coefficient * size), np.nan))
    away = np.abs(np.log(np.where(np.isnan(pressure), AREA_PAIRS[0][0], pressure) / FLOW_PRESSURE_PA))
    return log_of(pressure, discharge), np.array(by_pair), doubt * away


def _agreeing(by_pair: Floats, tolerance: Floats) -> Floats:
    """Mask of the pairs of pressure and discharge coefficient with which the area agrees."""
    bits = 2.0 ** np.arange(len(AREA_PAIRS))
    return np.asarray(((np.abs(by_pair) <= tolerance) * bits[:, None]).sum(axis=0))


def reported_area_stated(batch: Batch, leakage: Leakage, *, agree_percent: float = 8.0) -> Check:
    """Whether a reported leakage area says its pressure and discharge coefficient; missing where it does not.

    An area at 10 Pa with 0.611 is about twice one at 4 Pa with 1. Details: area_m2, pressure_pa,
    discharge_coefficient, pairs (mask of AREA_PAIRS that agree with the reported flow within `agree_percent`),
    exponent_known (1 where the source reports one: without it no pair can be told).
    """
    session = batch.session
    area = floats(session["reported_leakage_area_m2"])
    pressure = floats(session["reported_leakage_area_pressure_pa"])
    discharge = floats(session["reported_leakage_area_discharge_coefficient"])
    _, by_pair, rounding = _area_logs(batch, leakage)
    stated = np.where(np.isnan(area), np.nan, 2.0 - np.isnan(pressure) - np.isnan(discharge))
    check = judged(stated, stated < 2, limit=2.0, cause="not_reported")
    return replace(
        check,
        level=np.where(stated < 2, MISSING, check.level).astype(np.int8),
        details={
            "area_m2": area,
            "pressure_pa": pressure,
            "discharge_coefficient": discharge,
            "pairs": _agreeing(by_pair, np.log1p(agree_percent / 100.0) + rounding),
            "exponent_known": floats(~np.isnan(floats(session["reported_exponent"]))),
        },
    )


def reported_area_fits_flow(
    batch: Batch,
    leakage: Leakage,
    *,
    limit_percent: float = 10.0,
    slip_percent: float = 6.0,
    surely_factor: float = 1.5,
) -> Check:
    """Whether a reported leakage area goes with the reported flow; value: against the area of that flow [%].

    A = Q(p) sqrt(rho / (2 p)) / C_d, with Q(p) by the reported exponent (or 0.65, which widens the limit) and an air
    density of 1.2 kg/m3. Where the source does not state pressure and coefficient both, the area passes if one of
    AREA_PAIRS agrees, and is suspect at most. Details: the values, slip, residual_percent, pairs.
    """
    session = batch.session
    stated, by_pair, rounding = _area_logs(batch, leakage)
    distance = np.where(np.isnan(by_pair), np.inf, np.abs(by_pair))
    best = np.take_along_axis(by_pair, np.argmin(distance, axis=0)[None, :], axis=0)[0]
    whole = ~np.isnan(floats(session["reported_leakage_area_pressure_pa"])) & ~np.isnan(
        floats(session["reported_leakage_area_discharge_coefficient"])
    )
    log_ratio = np.where(whole, stated, best)
    possible = [*candidates("opening"), *candidates("flow", -1.0), *candidates("number")]
    found = explain(log_ratio, possible, np.log1p(slip_percent / 100.0) + rounding)
    tolerance = np.log1p(limit_percent / 100.0) + rounding
    level = level_of(log_ratio, tolerance, found.slip, surely_factor)
    firm = whole & ~np.isnan(floats(session["reported_exponent"]))
    level = np.where((level == FAIL) & ~firm, SUSPECT, level).astype(np.int8)
    _, all_pairs, _ = _area_logs(batch, leakage, any_pair=True)
    return contradiction(
        log_ratio,
        level,
        found,
        limit_percent,
        np.where(np.isnan(floats(session["reported_leakage_area_m2"])), "not_reported", "nothing_reported"),
        area_m2=floats(session["reported_leakage_area_m2"]),
        pressure_pa=floats(session["reported_leakage_area_pressure_pa"]),
        discharge_coefficient=floats(session["reported_leakage_area_discharge_coefficient"]),
        flow_m3_h=flow_at_50_m3_h(batch)[0],
        pairs=_agreeing(all_pairs, np.log1p(slip_percent / 100.0) + rounding),
    )
