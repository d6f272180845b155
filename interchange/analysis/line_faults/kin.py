"""Faults that only show among several tests: one record twice, and a fan opening that was not the one claimed."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise, product

import numpy as np

from interchange.analysis import ragged
from interchange.analysis.batch import Batch, Floats, Ints
from interchange.analysis.line_faults.seen import Flags
from interchange.analysis.work import floats

COARSE_PA = 1.0  # [Pa] to which pressures of a copy may have been rounded
COARSE_FLOW_M3_H, FLOW_SHARE = 1.0, 5e-4  # [m3/h, 1] the same of flows: nobody finds them again so closely
LEAST_SHARE = 0.9  # [1] of the points side by side that must agree
NEAR_PAIRS = 64  # [1] sessions looked at beside each other in one bin, so that a flood of copies stays cheap
# [1] ln of what a flow is worth that agrees: with decimals, in whole m3/h, within rounding
EXACT_LOG_ODDS, WHOLE_LOG_ODDS, NEAR_LOG_ODDS = 8.0, 4.0, 2.0
LEAST_LOG_ODDS = (
    4.0  # [1] that a pair must be worth: more than one point within rounding, or one exact with its baseline
)
ALIKE_SD = 0.10  # [1] of ln flow between tests of one house without work between them: two instruments and weather
WORK_SD = 0.35  # [1] where work on the house may lie between them
RATIO_SD = 0.02  # [1] of a calibration
MISTAKE_SHARE = 0.02  # [1] of tests with a wrong opening


@dataclass(frozen=True, slots=True)
class Copies:
    """Pairs of sessions that hold the same readings: which, share of the points side by side that agree [0 to 1], ln of
    the odds against chance.
    """

    first: Ints
    second: Ints
    share: Floats
    log_odds: Floats


@dataclass(frozen=True, slots=True)
class Configuration:
    """Of each session: probability that another opening was used than the record claims, ratio of coefficients that
    would put it right [1], tests of the same house it was held against.
    """

    probability: Floats
    ratio: Floats
    siblings: Ints


def copies(batch: Batch) -> Copies:
    """Find sessions that share readings, whole or in part, exact or rounded.

    Flows of two neighbouring points make a fingerprint (flow, pressure and baseline of the first point), so a record
    cut short at either end is found by what is left of it; each run by itself. Fingerprints fall into bins
    on grids half a step apart, so that a rounded copy shares one of them. Those that meet are compared point by point.
    """
    pressure = floats(batch.point["envelope_pressure_pa"])
    flow = ragged.sums(floats(batch.reading["flow_m3_h"]), batch.reading_offsets)
    offsets, zero = batch.point_offsets, floats(batch.run["baseline_before_pressure_pa"])
    number = ragged.counts(offsets)
    run = np.repeat(np.arange(number.size), number)
    place = np.arange(run.size) - np.repeat(offsets[:-1], number)
    log_flow = np.log(np.where(flow > 0, flow, np.nan)) / (4.0 * FLOW_SHARE)
    lone = np.stack([log_flow, pressure / (2.0 * COARSE_PA), zero[run] / (2.0 * COARSE_PA)], axis=1)
    next_ = np.flatnonzero(run[1:] == run[:-1]) if run.size else np.zeros(0, dtype=np.int64)
    ahead = np.flatnonzero(place == 0)
    marks = ((np.stack([log_flow[next_], log_flow[next_ + 1]], axis=1), next_), (lone[ahead], ahead))
    pairs = np.unique(np.concatenate([_met(values, run[rows], place[rows]) for values, rows in marks]), axis=0)
    found = [_agreement(pressure, flow, zero, offsets, *row) for row in pairs.tolist()]
    share, odds = (np.array([one[i] for one in found], dtype=np.float64) for i in (0, 1))
    session = np.repeat(np.arange(batch.run_offsets.size - 1), ragged.counts(batch.run_offsets))[pairs[:, :2]]
    session = np.sort(session.reshape(-1, 2), axis=1)
    odds = np.where(session[:, 0] == session[:, 1], -1.0, odds)
    best = np.lexsort((-odds, session[:, 1], session[:, 0]))
    fresh = np.ones(best.size, np.bool_)
    fresh[1:] = np.any(session[best][1:] != session[best][:-1], axis=1)
    kept = best[fresh & (odds[best] >= LEAST_LOG_ODDS)]
    return Copies(session[kept, 0], session[kept, 1], share[kept], odds[kept])


def _met(values: Floats, run: Ints, place: Ints) -> Ints:
    """Rows (run, other run, how many points the other is behind) whose values share a bin on some grid."""
    usable = np.isfinite(values).all(axis=1)
    values, run, place = values[usable], run[usable], place[usable]
    met = [np.zeros((0, 3), dtype=np.int64)]
    for shifts in product((0.0, 0.5), repeat=values.shape[1]):
        key = np.floor(values + np.array(shifts)).astype(np.int64)
        order = np.lexsort((run, *key.T))
        for apart in range(1, min(NEAR_PAIRS, order.size)):
            one, other = order[:-apart], order[apart:]
            same = np.all(key[one] == key[other], axis=1)
            if not same.any():
                break
            same &= run[one] != run[other]
            one, other = one[same], other[same]
            met.append(np.stack([run[one], run[other], place[other] - place[one]], axis=1))
    return np.concatenate(met)


def _agreement(
    pressure: Floats, flow: Floats, zero: Floats, offsets: Ints, one: int, other: int, behind: int
) -> tuple[float, float]:
    """Share of the points side by side that agree, and ln of the odds against chance (-1 where too few do)."""
    first, second = offsets[one] + max(-behind, 0), offsets[other] + max(behind, 0)
    length = int(min(offsets[one + 1] - first, offsets[other + 1] - second))
    a, b = slice(first, first + length), slice(second, second + length)
    apart = np.abs(flow[a] - flow[b])
    near = (apart <= np.maximum(FLOW_SHARE * flow[a], 0.5 * COARSE_FLOW_M3_H)) & (
        np.abs(pressure[a] - pressure[b]) <= 0.5 * COARSE_PA + 1e-9
    )
    exact = near & (apart <= 1e-9 * flow[a])
    share = float(near.mean()) if length else 0.0
    worth = np.where(flow[a] == np.round(flow[a]), WHOLE_LOG_ODDS, EXACT_LOG_ODDS)
    baseline = zero[one] == zero[other] and zero[one] != 0.0
    odds = np.where(exact, worth, np.where(near, NEAR_LOG_ODDS, 0.0)).sum() + NEAR_LOG_ODDS * baseline
    return share, float(odds - NEAR_LOG_ODDS) if share >= LEAST_SHARE else -1.0


def wrong_configuration(
    house: Ints, flow_50_m3_h: Floats, ratios: Floats, *, same_stage: Flags | None = None
) -> Configuration:
    """Hold flows at 50 Pa of each house against each other, at the ratios that another opening would make.

    `house` (sessions) codes of houses, -1 unknown; `ratios` (sessions, openings) of the coefficient of each other
    opening of that fan to the one claimed [1], NaN where there is none; `same_stage`: of tests with no work between
    them, all by default. Each test is held against the median of the others of its house; with one other, nobody knows
    which of the two is wrong, so each gets half.

    Posterior: share of mistakes over the openings, against none; ln flow is normal about the others' with `ALIKE_SD`,
    or `WORK_SD` where work may lie between.
    """
    count = flow_50_m3_h.size
    log = np.log(np.where(flow_50_m3_h > 0, flow_50_m3_h, np.nan))
    stage = np.ones(count, np.bool_) if same_stage is None else same_stage
    probability, ratio = np.full(count, np.nan), np.full(count, np.nan)
    siblings = np.zeros(count, dtype=np.int64)
    known = np.flatnonzero((house >= 0) & np.isfinite(log))
    order = known[np.argsort(house[known], kind="stable")]
    edges = np.flatnonzero(np.diff(house[order], prepend=-1, append=-2))
    for start, stop in pairwise(edges):
        own = order[start:stop]
        if own.size < 2:
            continue
        siblings[own] = own.size - 1
        for place, i in enumerate(own):
            others = np.delete(log[own], place)
            spread = (ALIKE_SD if stage[own].all() else WORK_SD) * np.sqrt(1.0 + 1.0 / others.size)
            away = log[i] - np.median(others)
            tried = np.log(ratios[i])
            there = np.isfinite(tried) & (np.abs(tried) > 3.0 * RATIO_SD)
            fit = np.exp(-0.5 * ((away + tried[there]) / spread) ** 2)
            wrong = MISTAKE_SHARE * fit.sum() / max(int(there.sum()), 1)
            found = wrong / (wrong + (1.0 - MISTAKE_SHARE) * np.exp(-0.5 * (away / spread) ** 2) + 1e-30)
            probability[i] = found * (0.5 if own.size == 2 else 1.0)
            ratio[i] = np.exp(tried[there][np.argmax(fit)]) if there.any() else np.nan
    return Configuration(probability, ratio, siblings)
