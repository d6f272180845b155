"""Stretches of a trace in which something was held: the fan at rest, the fan at one speed."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Floats
from interchange.analysis.changes import core, drift, level_noise, merged, partition, ramps
from interchange.analysis.fan_state import OFF, ON, FanState, pinned
from interchange.analysis.trace import PlateauLimits, Trace, length_s, trimmed

_FLOOR = 1e-3  # of the index's argument, so that a fan that stops has a logarithm
_ONE_LEVEL = 0.3  # [1] an index that ranges over less shows one level, not how far levels lie apart
Stretch = tuple[int, int]  # first reading and the one behind the last


def stretches(trace: Trace, state: FanState) -> list[tuple[int, int, int]]:
    """Start, stop and state of stretches in which nothing was cut and the fan's state stays the same."""
    change = trace.cut.copy()
    change[1:] |= np.diff(state.code) != 0
    bounds = np.concatenate(([0], np.flatnonzero(change[1:]) + 1, [state.code.size]))
    return [(a, b, int(state.code[a])) for a, b in pairwise(bounds.tolist())]


def baselines(trace: Trace, stretches: list[tuple[int, int, int]], limits: PlateauLimits) -> list[Stretch]:
    """Fan at rest, without the seconds in which it ran down or up."""
    found = []
    for start, stop, code in stretches:
        if code != OFF:
            continue
        begin = 0.0 if start == 0 else limits.baseline_start_s
        end = 0.0 if stop == trace.time_s.size else limits.baseline_end_s
        inner = trimmed(trace, start, stop, begin, end)
        if length_s(trace, *inner) >= limits.shortest_baseline_s:
            found.append(inner)
    return found


def points(
    trace: Trace,
    stretches: list[tuple[int, int, int]],
    baselines: list[Stretch],
    state: FanState,
    limits: PlateauLimits,
    *,
    squared: bool,
) -> list[Stretch]:
    """The fan at one speed for a while, by an index of that speed; `squared` where the fan's signal is a flow."""
    running = state.code == ON
    resting = [trace.pressure_pa[a:b] for a, b in baselines]
    zero_pa = float(np.mean(np.concatenate(resting))) if resting else 0.0
    fan = np.maximum(trace.fan - (state.zero if np.isfinite(state.zero) else 0.0), 0.0)
    house = np.abs(trace.pressure_pa - zero_pa)
    index = _speed_index(trace, fan**2 if squared else fan, house, running)
    at_limit = pinned(trace.pressure_pa) | pinned(trace.fan)
    on = [(a, b) for a, b, code in stretches if code == ON]
    block = max(1, round(limits.block_s / trace.step_s))
    quiet = [level_noise(index[a:b], block) for a, b in on if b - a >= 2 * block]
    noise = max(float(np.median(quiet)) if quiet else 0.0, limits.least_noise)
    found = []
    for start, stop in on:
        for first, last in _levels(trace, index, start, stop, noise, limits):
            if at_limit[first:last].mean() < limits.pinned_share:
                found.append((first, last))
    return _not_short(trace, found, limits)


def _speed_index(trace: Trace, fan: Floats, house: Floats, running: NDArray[np.bool_]) -> Floats:
    """The index u with the share of house pressure that makes it quietest over 2 to 4 seconds."""
    if not running.any():
        return np.zeros(fan.size)
    fan = fan / max(float(np.quantile(fan[running], 0.95)), 1e-9)
    house = house / max(float(np.quantile(house[running], 0.95)), 1e-9)
    lags = sorted({max(1, round(lag / trace.step_s)) for lag in (2.0, 3.0, 4.0)})
    pairs = [(lag, np.flatnonzero(running[lag:] & running[:-lag])) for lag in lags if lag < fan.size]
    best, quietest = np.log(np.maximum(fan, _FLOOR)), np.inf
    for share in np.linspace(0.0, 3.0, 13):
        index = np.log(np.maximum(fan + share * house, _FLOOR))
        steps = [np.abs(index[at + lag] - index[at]) for lag, at in pairs if at.size]
        high, low = np.quantile(index[running], (0.92, 0.08))
        restless = float(np.median(np.concatenate(steps))) / max(float(high - low), _ONE_LEVEL) if steps else np.inf
        if restless < quietest:
            best, quietest = index, restless
    return best


def _levels(trace: Trace, index: Floats, start: int, stop: int, noise: float, limits: PlateauLimits) -> list[Stretch]:
    """Pieces of one stretch of a running fan that are long and level, without their edges."""
    values = index[start:stop]
    longest = max(2, round(limits.longest_s / trace.step_s))
    bounds = partition(values, noise, 4.0 * np.log(max(index.size, 2)), longest)
    pieces = merged(values, bounds, noise, limits.errors, limits.same_level)
    sloping = ramps(trace.time_s[start:stop], values, pieces, noise)
    found = []
    for (first, last), ramp in zip(pairwise(pieces.tolist()), sloping.tolist(), strict=True):
        if ramp or length_s(trace, first + start, last + start) < limits.shortest_point_s:
            continue
        inside = bounds[(bounds >= first) & (bounds <= last)]
        inner = core(values, inside, noise, limits.errors, limits.settled_step)
        settled = _settled(trace, index, inner[0] + start, inner[1] + start, noise, limits)
        if settled is not None:
            found.append(settled)
    return found


def _settled(trace: Trace, index: Floats, first: int, last: int, noise: float, limits: PlateauLimits) -> Stretch | None:
    """The level part of a piece, or None: its edges cut, then, as long as it drifts, a third of its start."""
    first, last = trimmed(trace, first, last, limits.point_start_s, limits.point_end_s)
    shortest = limits.shortest_point_s - limits.point_start_s - limits.point_end_s
    while length_s(trace, first, last) >= shortest and last - first > 2:
        slope, error = drift(trace.time_s[first:last], index[first:last], noise)
        if abs(slope) <= max(limits.drift_per_s, limits.errors * error):
            return first, last
        first += max(1, (last - first) // 3)
    return None


def _not_short(trace: Trace, found: list[Stretch], limits: PlateauLimits) -> list[Stretch]:
    """Without pieces that are much shorter than the others: there the fan was on its way to where it was held."""
    length = np.array([length_s(trace, a, b) for a, b in found])
    least = limits.short_share * float(np.median(length)) if length.size > 2 else 0.0
    return [one for one, seconds in zip(found, length, strict=True) if seconds >= least]


def quiet_levels(trace: Trace, limits: PlateauLimits) -> list[Stretch]:
    """Levels about nothing in a pressure that otherwise goes up by large steps: the fan was at rest there."""
    block = max(1, round(limits.block_s / trace.step_s))
    longest = max(2, round(limits.longest_s / trace.step_s))
    edges = np.concatenate(([0], np.flatnonzero(trace.cut[1:]) + 1, [trace.time_s.size]))
    noise = max(level_noise(trace.pressure_pa, block), 1e-3)
    pieces: list[Stretch] = []
    for a, b in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        values = trace.pressure_pa[a:b]
        bounds = partition(values, noise, 4.0 * np.log(trace.time_s.size), longest)
        bounds = merged(values, bounds, noise, limits.errors, limits.pressure_step_pa / 2) + a
        pieces += pairwise(bounds.tolist())
    size = np.array([abs(float(trace.pressure_pa[a:b].mean())) for a, b in pieces])
    spread = np.array([float(trace.pressure_pa[a:b].std()) for a, b in pieces])
    long = np.array([length_s(trace, a, b) >= limits.shortest_point_s for a, b in pieces])
    if not long.any():
        return []
    largest, least = size[long].max(), size[long].min()
    if largest - least < max(limits.pressure_step_pa, limits.errors * float(np.median(spread[long]))):
        return []
    resting = [(a, b, OFF) for (a, b), one in zip(pieces, size, strict=True) if one <= least + 0.25 * (largest - least)]
    return baselines(trace, resting, limits)
