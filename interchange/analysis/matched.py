"""Where in a trace its declared points and baselines lie: cheap, for tests that say what they held.

A point's mean, spread and seconds are those of some stretch of its trace with the fan running. Moving means find it,
for all points of a test at once; nothing is searched for that was not declared (`plateaus` does that). A stretch in
which the fan rests is a baseline as a whole.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import fan_state
from interchange.analysis.batch import Floats, Ints
from interchange.analysis.trace import LIMITS, PlateauLimits

PRESSURE_PA = 0.06  # [Pa] by which a recorded mean or spread may differ from that of its stretch: rounded to 0.1
FAN_RATIO = 0.1  # [1] of ln fan pressure: of a zero taken off, or of means of roots
FAN_DRIFT = 0.1  # [1] of ln fan pressure from the first half of a point to its second
LEAST_SUM = 1e-9  # [Pa] of fan pressures, so that their logarithms are there
TRIM_S = 4.0  # [s] left out after the fan stops: the pressure comes to rest
SHORTEST_BASELINE_S = 10.0  # [s] less tells nothing of a zero


@dataclass(frozen=True, slots=True)
class Declared:
    """Points of one test as recorded, NaN where absent: mean and spread [Pa] as the trace shows them, fan [Pa], [s]."""

    pressure_pa: Floats
    spread_pa: Floats
    fan_pa: Floats
    seconds: Floats


@dataclass(frozen=True, slots=True)
class Matched:
    """Places in a trace: of each declared point, -1 where none fits; and of stretches in which the fan rests."""

    start: Ints
    stop: Ints
    rest_start: Ints
    rest_stop: Ints


def match(
    pressure_pa: Floats, fan_pa: Floats, step_s: float, points: Declared, *, limits: PlateauLimits = LIMITS
) -> Matched:
    """Find declared points and fan-off stretches in a trace at equal steps [s]; NaN where a reading is missing.

    Of a point's stretches that fit within `PRESSURE_PA` and `FAN_RATIO`, the one that fits best and drifts least is
    taken; one whose spread and fan pressure are both not recorded is not looked for, since a ramp passes every mean.
    """
    start = np.full(points.pressure_pa.size, -1)
    length = np.where(np.isfinite(points.seconds), np.round(np.nan_to_num(points.seconds) / step_s), 0).astype(np.int64)
    known = np.isfinite(pressure_pa) & np.isfinite(fan_pa)
    code = np.full(pressure_pa.size, fan_state.NEITHER, dtype=np.int8)
    code[known] = fan_state.fan_state(fan_pa[known], limits.fan_off_pa, limits.fan_off_share, limits.fan_zero_pa).code
    told = np.isfinite(points.pressure_pa) & (np.isfinite(points.spread_pa) | np.isfinite(points.fan_pa))
    on = (code == fan_state.ON).astype(np.float64)
    x, f = (np.where(known, part, 0.0) for part in (pressure_pa, fan_pa))
    sums = [_running(part) for part in (on, x, x * x, f)]
    for number in np.unique(length[told & (length > 3)]):
        if number <= pressure_pa.size:
            here = np.flatnonzero(told & (length == number))
            start[here] = _best(sums, int(number), points, here)
    stop = np.where(start < 0, -1, start + length)
    return Matched(start, stop, *_resting(code, step_s))


def _running(values: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(values)])


def _best(sums: list[Floats], number: int, points: Declared, here: Ints) -> Ints:
    """Start of the best stretch of so many readings for some points, -1 where none fits."""
    on, x, xx, f = sums
    running = np.flatnonzero(on[number:] - on[:-number] == number)
    mean = (x[running + number] - x[running]) / number
    half = number // 2
    found = np.full(here.size, -1)
    for i, place in enumerate(here.tolist()):
        off = (mean - points.pressure_pa[place]) / PRESSURE_PA
        near = np.flatnonzero(np.abs(off) <= 1.0)
        first = running[near]
        if not first.size:
            continue
        last, begun = first + number, f[first]
        spread = np.sqrt(np.maximum(xx[last] - xx[first] - number * mean[near] ** 2, 0.0) / (number - 1))
        fan = np.maximum(f[last] - begun, LEAST_SUM)
        early, late = np.maximum(f[first + half] - begun, LEAST_SUM), np.maximum(f[last] - f[last - half], LEAST_SUM)
        wanted, driven = points.spread_pa[place], points.fan_pa[place]
        nothing = np.zeros(first.size)
        of_spread = nothing if np.isnan(wanted) else (spread - wanted) / PRESSURE_PA
        of_fan = nothing if np.isnan(driven) else np.log(fan / (number * max(driven, LEAST_SUM))) / FAN_RATIO
        drift = np.log(late / early) / FAN_DRIFT
        score = off[near] ** 2 + of_spread**2 + of_fan**2 + drift**2
        best = int(np.argmin(np.where((np.abs(of_spread) <= 1.0) & (np.abs(of_fan) <= 1.0), score, np.inf)))
        if abs(of_spread[best]) <= 1.0 and abs(of_fan[best]) <= 1.0:
            found[i] = first[best]
    return found


def _resting(code: NDArray[np.int8], step_s: float) -> tuple[Ints, Ints]:
    """Stretches in which the fan rests, without the seconds after it stopped."""
    off = np.concatenate([[False], code == fan_state.OFF, [False]])
    edges = np.flatnonzero(off[1:] != off[:-1])
    start, stop = edges[::2], edges[1::2]
    start = start + np.where(start > 0, round(TRIM_S / step_s), 0)
    long = (stop - start) * step_s >= SHORTEST_BASELINE_S
    return start[long], stop[long]
