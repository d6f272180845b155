"""What detectors of line faults look at: baselines and points of each session in the order in which they were held.

Arrays of groups of sessions with equally many observations lie (observations, sessions), as in `robust_fit`.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import air, noise, ragged
from interchange.analysis.batch import Batch, Floats, Ints
from interchange.analysis.line_faults.features import LineFeatures
from interchange.analysis.work import PRESSURISATION, Work, floats

Flags = NDArray[np.bool_]
BEFORE, POINT, AFTER = range(3)
SHORTEST_S = 8.0  # [s] a stretch whose spread is worth a word on the noise
TURNED_SHARE = 0.5  # [1] of the pressures of a run, from which their sign is taken as read
UNTOLD_PA = 3.0  # [Pa] deviation of single readings where no spread is recorded: a windy day is not ruled out
USUAL_RISE_M, RISE_SPREAD_M = (
    1.2,
    0.9,
)  # [m] neutral level above the gauge where no height is recorded: one or two floors
GAUGE_M = 1.0  # [m] height of a gauge above the ground: on a table or the floor
RISE_SHARE = 0.25  # [1] tolerance of the neutral level, in parts of the height of the house
UNKNOWN_DIFFERENCE_K = 12.0  # [K] standard deviation of indoor less outdoor temperature where they are not recorded


@dataclass(frozen=True, slots=True)
class Seen:
    """Observations of all sessions, one after the other; `offsets` has one entry more than there are sessions.

    what: BEFORE, POINT or AFTER; place: row of the run or the point in the batch; sign: +1 pressurising, -1
    depressurising, 0 for baselines; shown_pa: as recorded, NaN where absent; log_flow: ln(q / (1 m3/h)), NaN without;
    target_pa: magnitude, NaN where not recorded; usable: with pressure, and with flow where it is a point.
    """

    offsets: Ints
    session: Ints
    run: Ints
    what: Ints
    place: Ints
    sign: Floats
    shown_pa: Floats
    log_flow: Floats
    target_pa: Floats
    fan_pa: Floats
    configuration: Ints
    duration_s: Floats
    spread_pa: Floats
    start_s: Floats
    usable: Flags


@dataclass(frozen=True, slots=True)
class Level:
    """Of each session: single readings' deviation [Pa], whether spreads tell it; stack at the gauge [Pa], tolerance."""

    deviation_pa: Floats
    told: Flags
    stack_pa: Floats
    stack_tolerance_pa: Floats


def gathered(work: Work, features: LineFeatures | None = None) -> Seen:
    """Observations of the sessions that are fitted, in the order of their record: before, points, after, run by run.

    A baseline that the source has taken off its points is put back.
    """
    batch = work.batch
    runs = work.direction.size
    per_run = ragged.counts(batch.point_offsets)
    run_of_point = np.repeat(np.arange(runs), per_run)
    shown = floats(batch.point["envelope_pressure_pa"])
    ends = [floats(batch.run[f"baseline_{when}_pressure_pa"]) for when in ("before", "after")]
    told = np.isfinite(np.stack(ends)) if runs else np.zeros((2, 0), np.bool_)
    own = np.where(told.any(axis=0), np.nansum(np.stack(ends), axis=0) / np.maximum(told.sum(axis=0), 1), 0.0)
    taken = np.asarray(batch.point["baseline_removed"]) == 1
    shown = shown + np.where(taken, own[run_of_point], 0.0)
    flow = ragged.sums(work.flow_m3_h, batch.reading_offsets)
    first = np.minimum(batch.reading_offsets[:-1], max(work.flow_m3_h.size - 1, 0))
    one_fan = ragged.counts(batch.reading_offsets) == 1
    fan = np.full(shown.size, np.nan)
    configuration = np.full(shown.size, -1, dtype=np.int64)
    if work.flow_m3_h.size:
        fan = np.where(one_fan, floats(batch.reading["fan_pressure_pa"])[first], np.nan)
        configuration = np.where(one_fan, work.calibration_row[first], -1)
    silent = np.full(runs, np.nan)
    before, after, points = noise.of_batch(batch)
    fitted = work.fitted & (per_run > 0)
    kept_point = fitted[run_of_point] & (batch.point["dropped"] != 1)
    sign = _signs(work, shown, run_of_point)
    start = (None, None, None) if features is None else features.starts()
    run = np.concatenate([np.arange(runs), run_of_point, np.arange(runs)])
    what = np.repeat([BEFORE, POINT, AFTER], [runs, shown.size, runs])
    kept = np.concatenate([fitted & told[0], kept_point, fitted & told[1]])
    place = np.concatenate([np.arange(runs), np.arange(shown.size), np.arange(runs)])
    order = np.lexsort((place, what, run))
    order = order[kept[order]]
    session_of_run = np.repeat(np.arange(batch.run_offsets.size - 1), ragged.counts(batch.run_offsets))

    def side_by_side(at_before: Floats, at_point: Floats, at_after: Floats) -> Floats:
        return np.asarray(np.concatenate([at_before, at_point, at_after])[order])

    log_flow = np.where(flow > 0, np.log(np.where(flow > 0, flow, 1.0)), np.nan)
    session = session_of_run[run[order]]
    pressure = side_by_side(ends[0], shown, ends[1])
    flows = side_by_side(silent, log_flow, silent)
    return Seen(
        offsets=np.searchsorted(session, np.arange(batch.run_offsets.size)).astype(np.int64),
        session=session,
        run=run[order],
        what=what[order],
        place=place[order],
        sign=side_by_side(np.zeros(runs), sign[run_of_point], np.zeros(runs)),
        shown_pa=pressure,
        log_flow=flows,
        target_pa=np.abs(side_by_side(silent, floats(batch.point["target_pressure_pa"]), silent)),
        fan_pa=side_by_side(silent, fan, silent),
        configuration=np.concatenate([np.full(runs, -1), configuration, np.full(runs, -1)])[order],
        duration_s=side_by_side(before.duration_s, points.duration_s, after.duration_s),
        spread_pa=side_by_side(before.spread_pa, points.spread_pa, after.spread_pa),
        start_s=side_by_side(
            *(np.full(n, np.nan) if s is None else s for s, n in zip(start, (runs, shown.size, runs), strict=True))
        ),
        usable=np.isfinite(pressure) & (np.isfinite(flows) | (what[order] != POINT)),
    )


def _signs(work: Work, shown: Floats, run_of_point: Ints) -> Floats:
    """Sign of the pressures of each run: that of its direction, unless nearly all of them have the other one."""
    offsets = work.batch.point_offsets
    total, size = (ragged.sums(np.nan_to_num(part), offsets) for part in (shown, np.abs(shown)))
    as_read = np.where(total > 0, 1.0, -1.0)
    directed = np.where(work.direction == PRESSURISATION, 1.0, -1.0)
    turned = (work.direction < 0) | (as_read * total > TURNED_SHARE * size)
    return np.where(turned, as_read, directed)


def level(work: Work, seen: Seen, features: LineFeatures | None = None) -> Level:
    """Noise and expected stack of each session.

    Noise: (lower) median over the stretches of what their spreads say of single readings, so that a stretch which a
    fault has stirred up does not rule. Stack: -(rho_out - rho_in) g (neutral level - gauge), the neutral level
    near mid-height; tolerances are standard deviations.
    """
    count = seen.offsets.size - 1
    usual = noise.NOISE
    share = noise.mean_share(seen.duration_s, usual.time_scale_s)
    told = np.isfinite(seen.spread_pa) & (seen.duration_s >= SHORTEST_S)
    variance = np.where(told, seen.spread_pa**2 / np.where(told, 1.0 - share, 1.0), np.nan)
    middle = medians(variance, seen.session, count, lower=True)
    known = np.isfinite(middle)
    deviation = np.where(known, np.sqrt(np.where(known, middle, 0.0)), UNTOLD_PA)
    return Level(deviation, known, *stack_pa(work.batch))


def medians(values: Floats, session: Ints, count: int, *, lower: bool = False) -> Floats:
    """Median of the known values of each session, of an even number the lower one if asked; NaN where none is known."""
    known = np.isfinite(values)
    values, session = values[known], session[known]
    order = np.lexsort((values, session))
    values = values[order]
    start = np.searchsorted(session[order], np.arange(count + 1))
    number = np.diff(start)
    found = np.full(count, np.nan)
    there = number > 0
    low = start[:-1][there] + (number[there] - 1) // 2
    high = low if lower else start[:-1][there] + number[there] // 2
    found[there] = 0.5 * (values[low] + values[high])
    return found


def stack_pa(batch: Batch) -> tuple[Floats, Floats]:
    """Pressure inside minus outside that stack makes at the gauge [Pa], and its standard deviation [Pa]."""
    session = batch.session
    height = floats(session["height_m"])
    indoor, outdoor = floats(session["indoor_temperature_c"]), floats(session["outdoor_temperature_c"])
    barometer = floats(session["barometric_pressure_pa"])
    barometer = np.where(np.isnan(barometer), air.STANDARD_PRESSURE_PA, barometer)
    rise = np.where(np.isnan(height), USUAL_RISE_M, np.maximum(height / 2.0 - GAUGE_M, 0.3))
    spread = np.where(np.isnan(height), RISE_SPREAD_M, RISE_SHARE * np.nan_to_num(height))
    unknown = np.isnan(indoor) | np.isnan(outdoor)
    inside = np.where(unknown, 20.0, indoor)
    outside = np.where(unknown, 20.0, outdoor)
    per_metre = air.stack_pressure_pa(inside, outside, 1.0, barometer)
    cold = np.abs(air.stack_pressure_pa(20.0, 20.0 - UNKNOWN_DIFFERENCE_K, 1.0, barometer))
    doubt = np.where(unknown, cold * np.hypot(rise, spread), np.abs(per_metre) * spread)
    return -per_metre * rise, doubt


def groups(seen: Seen, at_once: int = 512) -> Iterator[tuple[Ints, Ints]]:
    """Sessions with equally many usable observations, and rows of those (observations, sessions)."""
    rows = np.flatnonzero(seen.usable)
    offsets = np.searchsorted(seen.session[rows], np.arange(seen.offsets.size))
    size = np.diff(offsets)
    for length in np.unique(size[size > 0]):
        alike = np.flatnonzero(size == length)
        for start in range(0, alike.size, at_once):
            here = alike[start : start + at_once]
            yield here, rows[offsets[:-1][here] + np.arange(length)[:, None]]
