"""What traces say of line and handling faults, worked out in one pass; sessions without traces have none of it.

A trace is cut into stretches in which one thing was held or changed: stretch i of all is
`pressure_pa[offsets[i]:offsets[i + 1]]`, session j holds the stretches `session_offsets[j]` to
`session_offsets[j + 1]`, in order of time and without gaps, at equal steps.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import ragged
from interchange.analysis.batch import Floats, Ints

Flags = NDArray[np.bool_]
BEFORE, POINT, AFTER, MOVING, RESTING = range(5)
SESSIONS_AT_ONCE = 128  # [1] so that padded arrays stay small
DEAD_WINDOW_S = 5.0  # [s] over which a reading that stands at zero beside a running fan is no chance
DEAD_LASTS = 0.8  # [1] of the windows from the first one on
RUNNING_FAN_SHARE, RUNNING_FAN_PA = 0.5, 1.0  # [1, Pa] of the lowest point's fan pressure, from which the fan runs
DEAD_MEAN_PA, DEAD_SPREAD_PA = 0.6, 0.2  # [Pa] of a gauge that compares the room with itself: its zero and own noise
BLOCK_S = 5.0  # [s] means in which readings are held against the fan
LAGS_S = (10.0, 20.0, 40.0, 80.0, 160.0)  # [s] first-order lags tried beside none
EXPONENTS = (0.55, 0.65, 0.75)  # [1] tried for the pressure that the fan's flow implies
RUNNING_SHARE = 0.05  # [1] of the greatest flow, from which the fan counts as running
GAUGE_LAGS = 2  # [1] of the lags, from none on, that the averaging of a gauge may make
FAN_ZERO_PA, FAN_NOISE_PA = 0.1, 0.05  # [Pa] zero and noise of a fan gauge
HELD_STILL_S = 3.0  # [s] left out of stretches with the fan off: the pressure comes to rest


@dataclass(frozen=True, slots=True)
class Stretches:
    """Traces of sessions; what: BEFORE, POINT, AFTER, MOVING (fan on) or RESTING (fan off), `place` the row of the run
    or the point in the batch (-1 where not known), `log_coefficient` ln of flow [m3/h] over root of fan pressure [Pa].
    """

    pressure_pa: Floats
    fan_pa: Floats
    offsets: Ints
    session_offsets: Ints
    what: Ints
    place: Ints
    log_coefficient: Floats
    step_s: float = 1.0


@dataclass(frozen=True, slots=True)
class LineFeatures:
    """Features by run, by point and by session; NaN where traces are silent.

    By run and point: starts [s]; fast_pa: deviation of what is new in each reading; means of the reading and of the fan
    pressure in baselines [Pa]; trends: last third of a point less its first, of the reading [Pa] and of ln flow [1].
    By session: fan_slope, fan_slope_sd [1]: fan pressure over reading with the fan off; fan_follows [1]: z of that
    slope by their changes alone; dead_share [1] of the seconds with the fan running in which the reading stands at
    zero, from dead_from_s on; response [1]: share of the reading's variance that the fan explains; lag_s, lag_gain [1]:
    lag that explains the reading best, ln of what it leaves less than the averaging of a gauge does; seconds traced.
    """

    before_start_s: Floats
    point_start_s: Floats
    after_start_s: Floats
    before_fast_pa: Floats
    point_fast_pa: Floats
    after_fast_pa: Floats
    before_pa: Floats
    after_pa: Floats
    before_fan_pa: Floats
    after_fan_pa: Floats
    point_trend_pa: Floats
    point_flow_trend: Floats
    fan_slope: Floats
    fan_slope_sd: Floats
    fan_follows: Floats
    dead_share: Floats
    dead_from_s: Floats
    response: Floats
    lag_s: Floats
    lag_gain: Floats
    seconds: Floats

    def starts(self) -> tuple[Floats, Floats, Floats]:
        """Starts of baselines before, points, baselines after [s]."""
        return self.before_start_s, self.point_start_s, self.after_start_s


def features(traces: Stretches, runs: int, points: int) -> LineFeatures:
    """Features of traces whose sessions have so many runs and points in the batch."""
    length = ragged.counts(traces.offsets)
    first = traces.offsets[:-1]
    session = np.repeat(np.arange(traces.session_offsets.size - 1), ragged.counts(traces.session_offsets))
    begun = traces.offsets[traces.session_offsets[:-1]][session]
    start_s = np.asarray(traces.step_s * (first - begun), dtype=np.float64)
    second = np.zeros(traces.pressure_pa.size)
    if second.size > 2:
        second[1:-1] = np.diff(traces.pressure_pa, 2) ** 2 / 6.0
    inner = np.ones(second.size, np.bool_)
    inner[first[length > 0]] = False
    inner[traces.offsets[1:][length > 0] - 1] = False
    pairs = ragged.sums(inner, traces.offsets)
    total = ragged.sums(np.where(inner, second, 0.0), traces.offsets)
    fast = np.sqrt(np.where(pairs > 3, total / np.maximum(pairs, 1.0), np.nan))
    mean, fan = (ragged.means(part, traces.offsets) for part in (traces.pressure_pa, traces.fan_pa))

    def at(what: int, values: Floats, rows: int) -> Floats:
        found = np.full(rows, np.nan)
        here = (traces.what == what) & (traces.place >= 0)
        found[traces.place[here]] = values[here]
        return found

    slope, slope_sd, follows = _fan_off(traces, session, first, length)
    dead_share, dead_from_s = _dead(traces, session)
    response, lag, gain = _response(traces)
    trend_pa, flow_trend = _trends(traces, first, length)
    return LineFeatures(
        before_start_s=at(BEFORE, start_s, runs),
        point_start_s=at(POINT, start_s, points),
        after_start_s=at(AFTER, start_s, runs),
        before_fast_pa=at(BEFORE, fast, runs),
        point_fast_pa=at(POINT, fast, points),
        after_fast_pa=at(AFTER, fast, runs),
        before_pa=at(BEFORE, mean, runs),
        after_pa=at(AFTER, mean, runs),
        before_fan_pa=at(BEFORE, fan, runs),
        after_fan_pa=at(AFTER, fan, runs),
        point_trend_pa=at(POINT, trend_pa, points),
        point_flow_trend=at(POINT, flow_trend, points),
        fan_slope=slope,
        fan_slope_sd=slope_sd,
        fan_follows=follows,
        dead_share=dead_share,
        dead_from_s=dead_from_s,
        response=response,
        lag_s=lag,
        lag_gain=gain,
        seconds=traces.step_s * ragged.sums(length, traces.session_offsets),
    )


def _part(values: Floats, start: Ints, stop: Ints) -> Floats:
    """Means of parts of a flat array; NaN where a part is empty."""
    total = np.concatenate([[0.0], np.cumsum(values - (centre := values.mean() if values.size else 0.0))])
    number = stop - start
    return np.where(number > 0, (total[stop] - total[start]) / np.maximum(number, 1) + centre, np.nan)


def _trends(traces: Stretches, first: Ints, length: Ints) -> tuple[Floats, Floats]:
    """Last third less first third of each stretch: of the reading [Pa], and of ln flow [1]."""
    third = length // 3
    ends = (first, first + third), (first + length - third, first + length)
    early, late = (_part(traces.pressure_pa, *end) for end in ends)
    fan_early, fan_late = (_part(traces.fan_pa, *end) for end in ends)
    told = (fan_early > RUNNING_FAN_PA) & (fan_late > RUNNING_FAN_PA)
    ratio = np.where(told, fan_late, 1.0) / np.where(told, fan_early, 1.0)
    return late - early, np.where(told, 0.5 * np.log(ratio), np.nan)


def _fan_off(traces: Stretches, session: Ints, first: Ints, length: Ints) -> tuple[Floats, Floats, Floats]:
    """Slope of fan pressure with the reading over seconds with the fan off, its standard error, z of the changes alone.

    The zero of the fan gauge is in doubt by `FAN_ZERO_PA`; readings within a block count for one.
    """
    wanted = np.repeat(np.isin(traces.what, (BEFORE, AFTER)), length)
    wanted &= np.arange(wanted.size) - np.repeat(first, length) >= HELD_STILL_S / traces.step_s
    ends = traces.offsets[traces.session_offsets]
    x, y = (np.where(wanted, part, 0.0) for part in (traces.pressure_pa, traces.fan_pa))
    number = ragged.sums(wanted, ends)
    sx, sy, xx, xy, yy = (ragged.sums(part, ends) for part in (x, y, x * x, x * y, y * y))
    some = number > 2.0 * BLOCK_S
    alone = np.maximum(number, 1.0)
    spread = np.maximum(xx - sx * sx / alone, 1e-9)
    by_spread = (xy - sx * sy / alone) / spread
    left = np.maximum(yy - sy * sy / alone - by_spread**2 * spread, 0.0) / alone
    noise = (left + FAN_NOISE_PA**2) * BLOCK_S / traces.step_s
    zero = noise / FAN_ZERO_PA**2  # seconds that the doubt of the zero is worth
    weighed = number + zero
    slope_weight = np.maximum(xx - sx * sx / weighed, 1e-9)
    slope = (xy - sx * sy / weighed) / slope_weight
    follows = _follows(x, y, wanted, traces, ends)
    error = np.sqrt(noise / slope_weight)
    return np.where(some, slope, np.nan), np.where(some, error, np.nan), np.where(some, follows, np.nan)


def _follows(x: Floats, y: Floats, wanted: Flags, traces: Stretches, ends: Ints) -> Floats:
    """z of the slope of y over x by their changes within stretches."""
    number = ragged.sums(wanted, traces.offsets)
    own = [ragged.sums(part, traces.offsets) / np.maximum(number, 1.0) for part in (x, y)]
    dx, dy = (np.where(wanted, p - ragged.spread_out(m, traces.offsets), 0.0) for p, m in zip((x, y), own, strict=True))
    xx, xy, yy = (ragged.sums(part, ends) for part in (dx * dx, dx * dy, dy * dy))
    slope = xy / np.maximum(xx, 1e-9)
    left = np.maximum(yy - slope * xy, 0.0) / np.maximum(ragged.sums(wanted, ends), 1.0)
    noise = (left + FAN_NOISE_PA**2) * BLOCK_S / traces.step_s
    return np.asarray(np.abs(slope) * np.sqrt(np.maximum(xx, 1e-9) / noise))


def _dead(traces: Stretches, session: Ints) -> tuple[Floats, Floats]:
    """Share of the seconds with the fan running in windows that stand at zero, and when the first begins [s].

    They count if the reading stays there, as that of a line that is off does; one with water in it passes by. A fan
    that is only starting does not count: its pressure must reach a share of that at the points.
    """
    size = max(round(DEAD_WINDOW_S / traces.step_s), 2)
    count = traces.session_offsets.size - 1
    usual = np.full(count, np.nan)
    points = traces.what == POINT
    np.fmin.at(usual, session[points], ragged.means(traces.fan_pa, traces.offsets)[points])
    on = np.isin(traces.what, (POINT, MOVING))
    window, of = [], []
    for shift in (0, size // 2):  # twice, half a window apart
        number = np.where(on, np.maximum(ragged.counts(traces.offsets) - shift, 0) // size, 0)
        taken = np.repeat(traces.offsets[:-1] + shift, number * size)
        taken = taken + np.arange(taken.size) - np.repeat(np.cumsum(number * size) - number * size, number * size)
        window.append(taken.reshape(-1, size))
        of.append(np.repeat(session, number))
    rows, own = np.concatenate(window), np.concatenate(of)
    readings = traces.pressure_pa[rows] if rows.size else np.zeros((0, size))
    fan = traces.fan_pa[rows].mean(axis=1) if rows.size else np.zeros(0)
    running = np.abs(fan) > np.maximum(RUNNING_FAN_SHARE * np.abs(usual[own]), RUNNING_FAN_PA)
    rows, own, readings = rows[running], own[running], readings[running]
    dead = (np.abs(readings.mean(axis=1)) < DEAD_MEAN_PA) & (readings.std(axis=1) < DEAD_SPREAD_PA)
    block = np.cumsum(~on)  # times the fan ran, each until it was stopped
    of_block = np.repeat(block, ragged.counts(traces.offsets))[rows[:, 0]] if rows.size else np.zeros(0, dtype=np.int64)
    most = int(block[-1]) + 1 if block.size else 1
    first = np.full(most, np.iinfo(np.int64).max)
    np.minimum.at(first, of_block[dead], rows[dead, 0])
    later = np.bincount(of_block, rows[:, 0] >= first[of_block], most)
    lasts = np.bincount(of_block, dead, most) >= DEAD_LASTS * np.maximum(later, 1.0)
    dead &= lasts[of_block]
    some = np.bincount(own, minlength=count)
    share = np.where(some > 0, np.bincount(own, dead, count) / np.maximum(some, 1), np.nan)
    begun = traces.offsets[traces.session_offsets[:-1]]
    since = np.full(count, np.nan)
    np.fmin.at(since, own[dead], traces.step_s * (rows[dead, 0] - begun[own[dead]]))
    return share, since


def _response(traces: Stretches) -> tuple[Floats, Floats, Floats]:
    """Share of variance the fan explains, best lag [s], log gain by that lag; by means of blocks, chunk by chunk."""
    size = max(round(BLOCK_S / traces.step_s), 1)
    count = traces.session_offsets.size - 1
    ends = traces.offsets[traces.session_offsets]
    coefficient = np.repeat(_filled(traces), ragged.counts(traces.offsets))
    root = np.exp(coefficient) * np.sqrt(np.maximum(traces.fan_pa, 0.0))
    response, lag, gain = (np.full(count, np.nan) for _ in range(3))
    number = (ends[1:] - ends[:-1]) // size
    for start in range(0, count, SESSIONS_AT_ONCE):
        here = np.arange(start, min(start + SESSIONS_AT_ONCE, count))
        most = int(number[here].max(initial=0))
        if most < 6:
            continue
        block = np.arange(most)[:, None]
        there = block < number[here]
        rows = np.where(there, ends[:-1][here] + block * size, 0)[:, :, None] + np.arange(size)
        x, flow = traces.pressure_pa[rows].mean(axis=2), root[rows].mean(axis=2)
        sign = np.sign(np.where(there & (flow > 0), x, 0.0).sum(axis=0))
        answer = _best_lag(np.where(there, x, 0.0), np.where(there, flow, 0.0), there.astype(np.float64), size, traces)
        response[here], lag[here], gain[here] = answer
        response[here] = np.where(sign == 0, 0.0, response[here])
    return response, lag, gain


def _best_lag(x: Floats, flow: Floats, weight: Floats, size: int, traces: Stretches) -> tuple[Floats, Floats, Floats]:
    highest = np.maximum(flow.max(axis=0), 1e-9)
    total = np.maximum(weight.sum(axis=0), 1.0)
    sign = _running_sign(x, flow)
    centred = weight * (x - (weight * x).sum(axis=0) / total)
    variance = np.maximum((centred**2).sum(axis=0), 1e-9)
    left = np.full((1 + len(LAGS_S), x.shape[1]), np.inf)
    for exponent in EXPONENTS:
        implied = sign * (flow / highest) ** (1.0 / exponent)
        for i, lag in enumerate((0.0, *LAGS_S)):
            followed = implied if lag == 0.0 else _lagged(implied, np.exp(-size * traces.step_s / lag))
            y = weight * (followed - (weight * followed).sum(axis=0) / total)
            slope = np.maximum((y * centred).sum(axis=0) / np.maximum((y * y).sum(axis=0), 1e-9), 0.0)
            left[i] = np.minimum(left[i], ((centred - slope * y) ** 2).sum(axis=0))
    left = left + 0.1**2 * total  # [Pa2] resolution of a gauge
    best = np.argmin(left, axis=0)
    gain = np.log(left[:GAUGE_LAGS].min(axis=0) / left[GAUGE_LAGS:].min(axis=0))
    explained = 1.0 - left[0] / (variance + 0.1**2 * total)
    return np.asarray(explained), np.array((0.0, *LAGS_S))[best], gain


def _filled(traces: Stretches) -> Floats:
    """Coefficients of all stretches: with the fan off that of the stretch before, at the beginning of that after."""
    known = np.isfinite(traces.log_coefficient)
    session = np.repeat(np.arange(traces.session_offsets.size - 1), ragged.counts(traces.session_offsets))
    place = np.arange(known.size)
    earlier = np.maximum.accumulate(np.where(known, place, -1))
    later = np.minimum.accumulate(np.where(known, place, known.size)[::-1])[::-1]
    own = (earlier >= 0) & (session[np.maximum(earlier, 0)] == session)
    taken = np.where(own, earlier, np.minimum(later, known.size - 1))
    usable = known[taken] & (session[taken] == session) if known.size else known
    return np.where(usable, np.nan_to_num(traces.log_coefficient)[taken], 0.0) if known.size else np.zeros(0)


def _running_sign(x: Floats, flow: Floats) -> Floats:
    """Sign of each stretch with the fan on: that of its own sum of readings, so that both directions have theirs."""
    on = flow > RUNNING_SHARE * flow.max(axis=0)
    sign = np.zeros(x.shape)
    total, begun = np.zeros(x.shape[1]), np.zeros(x.shape[1], dtype=np.int64)
    for i in range(x.shape[0] + 1):
        ended = ~on[i] if i < x.shape[0] else np.ones(x.shape[1], np.bool_)
        for j in np.flatnonzero(ended & (begun < i) & (total != 0)):
            sign[begun[j] : i, j] = np.sign(total[j])
        if i < x.shape[0]:
            total = np.where(on[i], total + x[i], 0.0)
            begun = np.where(on[i], begun, i + 1)
    return sign


def _lagged(values: Floats, kept: float) -> Floats:
    found = np.empty_like(values)
    last = values[0]
    for i in range(values.shape[0]):
        last = kept * last + (1.0 - kept) * values[i]
        found[i] = last
    return found
