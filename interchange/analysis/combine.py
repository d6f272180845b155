"""From runs to sessions: directions averaged, areas and air changes, shares of each correction, notes.

A session with several runs gets the mean of its runs within each direction, then the mean over directions, of the
flow at each pressure. Its coefficient and exponent are those of the power law through the mean flows at 10 and 50 Pa,
so that they give back both; the mean of two power laws is not one itself. Limits of a mean are combined in quadrature.

Shares are steps from the flow the crew saw to the flow of the rule set, each against the one before it, so their
factors multiply: prod(1 + share / 100) = flow by the rule set / flow as displayed, exactly (logarithms add up).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import areas, handbook, powerlaw, ragged
from interchange.analysis.batch import Batch, Codes, Floats
from interchange.analysis.leakage import EXCLUSIONS, FLOW_PRESSURE_PA, LOW_FLOW_PRESSURE_PA, SHARES, note_bit
from interchange.analysis.work import Line, Work, floats
from interchange.quantities import CHOICES

SAME_PRESSURE_PA = 0.01  # [Pa] a reported flow this near to 50 Pa is one at 50 Pa
BOTH = CHOICES["direction_used"].index("both")
# The correction behind each share but the last, which is that of reference conditions.
_STAGES = ("baseline", "calibration", "fan_density", "envelope_density")


class Means:
    """Means over the runs of each session: within each direction first, then over directions."""

    def __init__(self, work: Work, valid: NDArray[np.bool_]) -> None:
        self.offsets = work.batch.run_offsets
        self.valid = valid
        self.run_count = ragged.sums(valid, self.offsets)
        of_direction = np.zeros(valid.size)
        self.direction_count = np.zeros(self.run_count.size)
        for code in (-1, *range(len(CHOICES["direction"]))):
            here = valid & (work.direction == code)
            count = ragged.sums(here, self.offsets)
            self.direction_count += count > 0
            of_direction = np.where(here, np.repeat(count, ragged.counts(self.offsets)), of_direction)
        shared = of_direction * np.repeat(self.direction_count, ragged.counts(self.offsets))
        self.weight = np.where(valid, 1.0 / np.where(valid, shared, 1.0), 0.0)

    def of(self, values: NDArray[np.generic]) -> Floats:
        """Weighted mean; NaN where a session has no result."""
        weighted = np.where(self.valid, self.weight * floats(values), 0.0)
        return np.where(self.run_count > 0, ragged.sums(weighted, self.offsets), np.nan)

    def quadrature(self, half_widths: Floats) -> Floats:
        """Half-width of the mean of independent runs."""
        squares = np.where(self.valid, (self.weight * half_widths) ** 2, 0.0)
        return np.where(self.run_count > 0, np.sqrt(ragged.sums(squares, self.offsets)), np.nan)

    def least(self, values: NDArray[np.generic], sign: float = 1.0) -> Floats:
        """Least value (greatest with sign -1) over the runs with a result."""
        found = ragged.minima(np.where(self.valid, sign * floats(values), np.inf), self.offsets)
        return np.where(self.run_count > 0, sign * found, np.nan)


def of_sessions(work: Work, runs: Mapping[str, NDArray[np.generic]]) -> dict[str, NDArray[np.generic]]:
    """Results of each session out of those of its runs; notes go into the work's mask."""
    valid = np.isfinite(floats(runs["flow_50_m3_h"]))
    means = Means(work, valid)
    single = means.run_count == 1
    run_50 = floats(runs["flow_50_m3_h"])
    flow_50, flow_10 = means.of(run_50), means.of(runs["flow_10_m3_h"])
    secant = np.log(flow_50 / flow_10) / np.log(FLOW_PRESSURE_PA / LOW_FLOW_PRESSURE_PA)
    through_both = powerlaw.from_log(np.log(flow_50) - secant * np.log(FLOW_PRESSURE_PA))
    exponent = np.where(single, means.of(runs["exponent"]), secant)
    coefficient = np.where(single, means.of(runs["flow_coefficient_m3_h"]), through_both)
    half_50 = means.quadrature(run_50 * np.log(floats(runs["flow_50_high_m3_h"]) / run_50)) / flow_50
    half_n_run = floats(runs["exponent_high"]) - floats(runs["exponent"])
    half_n = means.quadrature(half_n_run * run_50) / flow_50
    assumed = ragged.any_true(valid & work.exponent_assumed, means.offsets)
    area, area_pressure, area_discharge = _leakage_areas(work, means)
    volume = floats(work.batch.session["volume_m3"])
    result: dict[str, NDArray[np.generic]] = {
        "direction_used": _direction_used(work, means),
        "point_count": ragged.sums(np.where(valid, runs["point_count"], 0), means.offsets).astype(np.int64),
        "lowest_pressure_pa": means.least(runs["lowest_pressure_pa"]),
        "highest_pressure_pa": means.least(runs["highest_pressure_pa"], -1.0),
        "flow_coefficient_m3_h": coefficient,
        "exponent": exponent,
        "exponent_low": exponent - half_n,
        "exponent_high": exponent + half_n,
        "exponent_assumed": np.where(means.run_count > 0, assumed, -1).astype(np.int8),
        "correlation_r2": means.least(runs["correlation_r2"]),
        "flow_50_m3_h": flow_50,
        "flow_50_low_m3_h": flow_50 * powerlaw.from_log(-half_50),
        "flow_50_high_m3_h": flow_50 * powerlaw.from_log(half_50),
        "flow_10_m3_h": flow_10,
        "flow_4_m3_h": means.of(runs["flow_4_m3_h"]),
        "air_change_50_per_h": areas.air_changes_per_h(flow_50, volume),
        **_for_size(work, means, flow_50),
        "leakage_area_m2": area,
        "leakage_area_pressure_pa": area_pressure,
        "leakage_area_discharge_coefficient": area_discharge,
        "difference_percent": _difference_percent(work.batch, flow_50),
        "points_found_in_trace": work.batch.session["points_found_in_trace"],
    }
    _note_results(work, means, runs)
    return result | _shares(work, means)


def _direction_used(work: Work, means: Means) -> Codes:
    """Direction of the runs behind the result: that of them all, both, or -1 where unknown or none."""
    code = np.where(means.direction_count > 1, BOTH, means.least(work.direction, -1.0))
    return np.where(means.run_count > 0, code, -1).astype(np.int8)


def _leakage_areas(work: Work, means: Means) -> tuple[Floats, Floats, Floats]:
    """Leakage area of the mean flow at its pressure, with its pressure and discharge coefficient."""
    if work.leakage_area is None:
        nothing = np.full(means.run_count.size, np.nan)
        return nothing, nothing, nothing
    pressure, discharge, density = work.leakage_area
    flow = means.of(powerlaw.flow_m3_h(work.log_coefficient, work.exponent, pressure))
    known = np.where(means.run_count > 0, 1.0, np.nan)
    return areas.leakage_area_m2(flow, pressure, discharge, density), pressure * known, discharge * known


def _for_size(work: Work, means: Means, flow_50: Floats) -> dict[str, NDArray[np.generic]]:
    """Leakage for the size of the house, NaN where its areas or height are not recorded."""
    session = work.batch.session
    flow_4 = means.of(powerlaw.flow_m3_h(work.log_coefficient, work.exponent, handbook.ELA_PRESSURE_PA))
    area_4 = areas.leakage_area_m2(
        flow_4, handbook.ELA_PRESSURE_PA, handbook.ELA_DISCHARGE_COEFFICIENT, handbook.ELA_AIR_DENSITY_KG_M3
    )
    specific = handbook.specific_leakage_area(area_4, floats(session["floor_area_m2"]))
    return {
        "air_permeability_50_m3_h_m2": handbook.flow_per_area_m3_h_m2(flow_50, floats(session["envelope_area_m2"])),
        "specific_leakage_rate_50_m3_h_m2": handbook.flow_per_area_m3_h_m2(flow_50, floats(session["floor_area_m2"])),
        "specific_leakage_area": specific,
        "normalised_leakage": handbook.normalised_leakage(specific, floats(session["height_m"])),
    }


def _difference_percent(batch: Batch, flow_50: Floats) -> Floats:
    """Recomputed against reported flow [%]: the reported flow at 50 Pa, else reported air changes times volume."""
    session = batch.session
    at_50 = np.abs(floats(session["reported_flow_pressure_pa"]) - FLOW_PRESSURE_PA) < SAME_PRESSURE_PA
    stated = np.where(at_50, floats(session["reported_flow_m3_h"]), np.nan)
    by_air_change = floats(session["reported_air_change_50_per_h"]) * floats(session["volume_m3"])
    return np.asarray(100.0 * (flow_50 / np.where(np.isnan(stated), by_air_change, stated) - 1.0))


def _shares(work: Work, means: Means) -> dict[str, NDArray[np.generic]]:
    """Percent by which each correction moved the flow at 50 Pa, in the order in which they were made."""
    flows = flows_50_m3_h(work, means)
    return {
        name: 100.0 * (then / before - 1.0) for name, before, then in zip(SHARES, flows[:-1], flows[1:], strict=True)
    }


def flows_50_m3_h(work: Work, means: Means) -> list[Floats]:
    """Flow of each session at 50 Pa [m3/h] as displayed, then after the correction behind each of `SHARES`."""
    log_50 = _log_flow_50(work, work.displayed)
    flows = [means.of(powerlaw.from_log(log_50))]
    for stage in (*_STAGES, "reference"):
        if stage == "reference" and work.log_reference_factor is not None:
            log_50 = log_50 + work.log_reference_factor
        elif stage in work.stage_log_flow:
            log_50 = _log_flow_50(work, replace(work.line, log_flow=work.stage_log_flow[stage]))
        flows.append(means.of(powerlaw.from_log(log_50)))
    return flows


def _log_flow_50(work: Work, line: Line) -> Floats:
    return powerlaw.log_flow_of(*work.sums(line), FLOW_PRESSURE_PA, work.assumed_exponent)


def _note_results(work: Work, means: Means, runs: Mapping[str, NDArray[np.generic]]) -> None:
    fitted = work.note_mask & note_bit("kind_not_fitted") == 0
    there = means.run_count > 0
    used = ragged.any_true(floats(runs["point_count"]) > 0, means.offsets)
    left_out = ragged.any_true(np.sum([runs[name] for name in EXCLUSIONS], axis=0) > 0, means.offsets)
    fruitless = ragged.any_true(~means.valid & (ragged.counts(work.batch.point_offsets) > 0), means.offsets)
    session = work.batch.session
    tests, left = floats(session["tests_in_log"]), floats(session["tests_left_out"])
    only_one_point = work.assumed_exponent is not None and work.law is None
    too_many = ragged.any_true(floats(runs["point_count"]) > 1, means.offsets) & only_one_point
    for code, sessions in (
        ("no_usable_point", fitted & ~used),
        ("too_few_points", fitted & used & ~there & ~too_many),
        ("too_many_points", fitted & ~there & too_many),
        ("points_left_out", fitted & left_out),
        ("run_left_out", there & fruitless),
        ("directions_averaged", means.direction_count > 1),
        ("points_found_in_trace", fitted & (session["points_found_in_trace"] == 1)),
        ("several_tests_in_log", fitted & (tests > 1) & ~(left > 0)),
        ("later_tests_left_out", fitted & (left > 0)),
    ):
        work.note_mask |= np.where(sessions, note_bit(code), 0)
