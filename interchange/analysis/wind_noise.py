"""What the noise of a test could do to its standard result by itself, and what the weather says of that noise.

The mean e_j of a point's readings errs by turbulence that the mean has not averaged out; the line ln Q = ln C + n ln p
moves by -n sum w_j (e_j - zero) / p_j. Pressures p_j are those aimed at, not those recorded, so that no fault of a line
or gauge comes in by them.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from interchange.analysis import noise, points, ragged
from interchange.analysis.batch import Batch, Floats, Ints
from interchange.analysis.noise import NOISE, NoiseDefaults
from interchange.analysis.robust import Prior
from interchange.analysis.traces import Traced
from interchange.analysis.work import Work, floats
from interchange.quantities import CHOICES

USUAL_EXPONENT = 0.65  # [1] as in `robust.Prior`
FAN_RATIO, USUAL_FACADE = 0.25, 1.0  # [1] delta and W, about the middle of the forms in `robust.Prior`
AIR_KG_M3 = 1.2  # [kg/m3] of outdoor air, about
LEAST_PA = 4.0  # [Pa] of a pressure aimed at where no target is recorded
SCALES = np.linspace(-2.0, 2.0, 5)  # [1] of the logarithm of the noise level, in standard deviations
LEVEL_SPREAD = 0.3  # [1] of that level about the spreads of the record


@dataclass(frozen=True, slots=True)
class Limits:
    """Errors of the standard result beyond which a test is wind-affected. Agreed for this project, no standard.

    flow_50, flow_10 [1]: of the flow at 50 and 10 Pa. low_point_pa [Pa]: of the corrected pressure of a point whose
    target is `low_pa` [Pa] or below.
    """

    flow_50: float = 0.05
    flow_10: float = 0.10
    low_point_pa: float = 2.0
    low_pa: float = 20.0


LIMITS = Limits()


@dataclass(frozen=True, slots=True)
class Alone:
    """Probabilities [1] of each session that noise alone moves the flow at 50 Pa, or a low pressure, too far."""

    flow_50: Floats
    low: Floats


def by_noise(
    work: Work, limits: Limits, prior: Prior, defaults: NoiseDefaults, traced: Traced, single: NDArray[np.bool_]
) -> Alone:
    """Probability that noise as large as the spreads say moves the standard result beyond limits.

    The level is the geometric mean of the median over baselines and that over all stretches: a fault that makes points
    noisy leaves the baselines, and the other way round. Normal errors, independent between stretches but for the zero.
    """
    batch = work.batch
    level, spread = _level(work, defaults, traced)
    facade = sum(prior.facades.of(batch.session["arrangement"])[:2]) * USUAL_FACADE * level
    per_session = ragged.counts(batch.run_offsets)
    run_level, run_facade = (np.repeat(part, per_session) for part in (level, facade))
    before, after, stretch = noise.of_batch(batch, defaults)
    tau = defaults.time_scale_s
    there = [np.isfinite(floats(batch.run[f"baseline_{when}_pressure_pa"])) for when in ("before", "after")]
    shares = [part.share(tau) for part in (before, after)]
    zero_share = np.select([there[0] & there[1], there[1]], [(shares[0] + shares[1]) / 4.0, shares[1]], shares[0])
    zero_2 = run_level**2 * (zero_share + FAN_RATIO**2) + (prior.facades.zero_rise * run_facade) ** 2
    pressure, used, run = aimed_at(work)
    point_2 = run_level[run] ** 2 * stretch.share(tau) + defaults.floor_pa**2
    rounded = (1.0 - USUAL_EXPONENT) * run_facade[run] ** 2 / (2.0 * pressure)
    squares = {p: _line_square(pressure, used, batch.point_offsets, p, zero_2, point_2, rounded) for p in (50.0, 10.0)}
    runs = ragged.sums(squares[50.0] > 0, batch.run_offsets)
    deviation_50, deviation_10 = (
        np.sqrt(ragged.sums(squares[p], batch.run_offsets)) / np.maximum(runs, 1.0) for p in (50.0, 10.0)
    )
    deviation_10 = np.where(single, deviation_50, deviation_10)
    low, low_run = low_points(work, limits.low_pa)
    low_deviation = np.sqrt(zero_2[low_run] + point_2[low] + rounded[low] ** 2)
    low_ends = np.searchsorted(low_run, batch.run_offsets).astype(np.int64)
    flow_50, low_flow = np.zeros(level.size), np.zeros(level.size)
    share = np.exp(-0.5 * SCALES**2) / np.exp(-0.5 * SCALES**2).sum()
    low_spread = ragged.spread_out(spread, low_ends)
    for part, step in zip(share, SCALES, strict=True):
        scale = np.exp(step * spread)
        flow_50 += part * outside(np.log1p(limits.flow_50), scale * deviation_50)
        within = np.log1p(-outside(limits.low_point_pa, np.exp(step * low_spread) * low_deviation))
        kept = (1.0 - outside(np.log1p(limits.flow_10), scale * deviation_10)) * np.exp(ragged.sums(within, low_ends))
        low_flow += part * (1.0 - kept)
    return Alone(flow_50, low_flow)


def outside(limit: float, deviation: Floats) -> Floats:
    """Probability that a normal error of mean 0 is beyond a limit on either side, less than 1 by a little."""
    return np.asarray(np.minimum(2.0 * ndtr(-limit / np.maximum(deviation, 1e-12)), 1.0 - 1e-12))


def aimed_at(work: Work) -> tuple[Floats, NDArray[np.bool_], Ints]:
    """Pressure aimed at by each point as a magnitude [Pa], whether the point counts, and its run.

    Where no target is recorded, the pressure the fan made as far as corrected, `LEAST_PA` at least.
    """
    batch = work.batch
    run = np.repeat(np.arange(ragged.counts(batch.point_offsets).size), ragged.counts(batch.point_offsets))
    target = np.abs(floats(batch.point["target_pressure_pa"]))
    flow = ragged.sums(work.flow_m3_h, batch.reading_offsets)
    extrapolated = ragged.any_true(batch.reading["flow_basis"] == points.EXTRAPOLATED_BASIS, batch.reading_offsets)
    used = work.fitted[run] & (batch.point["dropped"] != 1) & ~extrapolated
    used &= np.isfinite(work.induced_pa) & (flow > 0)
    made = np.maximum(np.abs(np.nan_to_num(work.induced_pa)), LEAST_PA)
    return np.where(target > 0, target, made), used, run


def low_points(work: Work, low_pa: float) -> tuple[Ints, Ints]:
    """Points that count and were aimed at a pressure [Pa] or below, in the order of the batch, and their runs."""
    pressure, used, run = aimed_at(work)
    low = np.flatnonzero(used & (pressure <= low_pa))
    return low, run[low]


def _line_square(
    pressure: Floats,
    used: NDArray[np.bool_],
    offsets: Ints,
    at_pa: float,
    zero_2: Floats,
    point_2: Floats,
    rounded: Floats,
) -> Floats:
    """Variance [1] of ln Q at a pressure [Pa] by the line of each run through the points used."""
    x, one = np.log(pressure), used.astype(np.float64)
    count = np.maximum(ragged.sums(one, offsets), 1.0)
    mean = ragged.sums(one * x, offsets) / count
    dx = one * (x - ragged.spread_out(mean, offsets))
    sxx = ragged.sums(dx * dx, offsets)
    per_slope = np.where(sxx > 1e-9, (np.log(at_pa) - mean) / np.where(sxx > 1e-9, sxx, 1.0), 0.0)
    weight = (one / ragged.spread_out(count, offsets) + ragged.spread_out(per_slope, offsets) * dx) / pressure
    common = ragged.sums(weight, offsets)
    shifted = ragged.sums(weight * rounded, offsets)
    return np.asarray(USUAL_EXPONENT**2 * (common**2 * zero_2 + ragged.sums(weight**2 * point_2, offsets) + shifted**2))


def _level(work: Work, defaults: NoiseDefaults, traced: Traced) -> tuple[Floats, Floats]:
    """Standard deviation of readings [Pa] of each session, and of its logarithm [1]."""
    batch = work.batch
    before, after, stretch = noise.of_batch(batch, defaults)
    tau = defaults.time_scale_s
    deviations = [
        part.spread_pa / np.sqrt(np.maximum(1.0 - part.share(tau), 0.05)) for part in (before, after, stretch)
    ]
    sessions = np.arange(batch.run_offsets.size - 1)
    session_of_run = np.repeat(sessions, ragged.counts(batch.run_offsets))
    session_of_point = np.repeat(session_of_run, ragged.counts(batch.point_offsets))
    still = np.concatenate(deviations[:2])
    owner = np.concatenate([session_of_run, session_of_run])
    of_baselines = medians(still, owner, sessions.size)
    of_all = medians(np.concatenate([still, deviations[2]]), np.concatenate([owner, session_of_point]), sessions.size)
    found = np.sqrt(np.where(np.isnan(of_baselines), of_all, of_baselines) * of_all)
    if traced.fluctuations is not None:
        seen = np.hypot(traced.fluctuations.turbulent_pa, traced.fluctuations.white_pa)
        found = np.where(np.isnan(found), seen, found)
    told = np.isfinite(found)
    return np.where(told, found, defaults.turbulent_pa), np.where(told, LEVEL_SPREAD, defaults.level_spread_unrecorded)


def medians(values: Floats, owner: Ints, count: int) -> Floats:
    """Median of the finite values of each owner, 0 to count - 1; NaN where there is none."""
    known = np.isfinite(values)
    values, owner = values[known], owner[known]
    order = np.lexsort((values, owner))
    values = np.append(values[order], np.nan)
    ends = np.searchsorted(owner[order], np.arange(count + 1))
    first, number = ends[:-1], np.diff(ends)
    low = np.where(number > 0, first + (number - 1) // 2, values.size - 1)
    high = np.where(number > 0, first + number // 2, values.size - 1)
    return np.asarray(0.5 * (values[low] + values[high]))


# [1] how far ln of the speed at the house strays from that of a profile, by source. Orders of magnitude, no source.
SPEED_SPREAD = {"on_site_hand": 0.3, "on_site_mast": 0.2, "station": 0.35, "model": 0.4, "observer_word": 0.4}
UNKNOWN_SOURCE_SPREAD = 0.4
ON_SITE = ("on_site_hand", "on_site_mast")
EAVES_M, PROFILE = 4.0, 0.22  # [m], [1] power of height in a suburb (ASHRAE Handbook-Fundamentals, from memory)
FROM_OPEN_COUNTRY = 0.6  # [1] speed at those eaves over that 10 m above open country, same source
HAND_M, MAST_M = 2.0, 10.0  # [m] heights where none is recorded
USUAL_AVERAGING_S = 600.0  # [s] of a mean wind speed
# [1] deviation of readings over the dynamic pressure at the eaves, and over the mean of a baseline; [1] how far ln of
# it strays from one house to the next; [Pa] of a gauge in still air. From simulated tests, no source.
OF_DYNAMIC, OF_BASELINE, HOUSE_SPREAD, BASELINE_SPREAD, STILL_PA = 0.06, 0.3, 0.7, 0.95, 0.08


def told_by_the_rest(batch: Batch, defaults: NoiseDefaults = NOISE) -> NoiseDefaults:
    """The same defaults with what weather and size of the baseline say of noise where no spread is recorded.

    Turbulence is a share of the dynamic pressure at the eaves and of the baseline's magnitude, their geometric mean
    where both are recorded. Speeds of stations, models and words are taken for those 10 m above open country, those on
    site for their height in a suburb; their uncertainty is that of source and of averaging (0.05 of the logarithm for
    each halving of ten minutes). All of it only moves the prior of the noise level, which stays uncertain by a factor
    of two or more: it decides nothing by itself. Of the station's distance a batch tells the source alone.
    """
    session = batch.session
    by_wind, wind_spread = _by_wind(session)
    size = [np.abs(floats(batch.run[f"baseline_{when}_pressure_pa"])) for when in ("before", "after")]
    known = [np.isfinite(part) for part in size]
    number = ragged.sums(known[0], batch.run_offsets) + ragged.sums(known[1], batch.run_offsets)
    total = sum(ragged.sums(np.nan_to_num(part), batch.run_offsets) for part in size)
    by_zero = np.hypot(OF_BASELINE * total / np.where(number > 0, number, np.nan), STILL_PA)
    wind, zero = np.isfinite(by_wind), number > 0
    turbulent = np.select(
        [wind & zero, wind, zero], [np.sqrt(by_wind * by_zero), by_wind, by_zero], defaults.turbulent_pa
    )
    both = 1.0 / np.hypot(1.0 / wind_spread, 1.0 / BASELINE_SPREAD)
    spread = np.select(
        [wind & zero, wind, zero], [both, wind_spread, BASELINE_SPREAD], defaults.level_spread_unrecorded
    )
    return replace(defaults, turbulent_pa=turbulent, level_spread_unrecorded=spread)


def _by_wind(session: Mapping[str, NDArray[np.generic]]) -> tuple[Floats, Floats]:
    """Turbulence [Pa] by the wind speed recorded, NaN where none is, and how far its logarithm may be off [1]."""
    speed, height, averaged = (floats(session[f"wind_{name}"]) for name in ("speed_m_s", "height_m", "averaging_s"))
    source = session["wind_source"].astype(np.int64)
    words = CHOICES["wind_source"]
    spread = np.array([*(SPEED_SPREAD[word] for word in words), UNKNOWN_SOURCE_SPREAD])[source]
    near = np.isin(source, [words.index(word) for word in ON_SITE])
    usual = np.where(source == words.index("on_site_hand"), HAND_M, MAST_M)
    height = np.where(height > 0, height, usual)
    halvings = np.log2(np.maximum(USUAL_AVERAGING_S / np.where(averaged > 0, averaged, USUAL_AVERAGING_S), 1.0))
    at_eaves = speed * np.where(near, (EAVES_M / height) ** PROFILE, FROM_OPEN_COUNTRY)
    turbulent = np.hypot(OF_DYNAMIC * 0.5 * AIR_KG_M3 * at_eaves**2, STILL_PA)
    return turbulent, np.hypot(2.0 * np.hypot(spread, 0.05 * halvings), HOUSE_SPREAD)
