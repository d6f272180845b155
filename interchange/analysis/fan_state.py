"""Whether a fan runs or rests, second by second, from its own pressure or flow; and readings stuck at a gauge's end."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Codes, Floats

OFF, NEITHER, ON = 0, 1, 2
_TOP_READINGS = 9  # a fan that ran for a point shows at least so many readings near its greatest
_PINNED_SHARE = 0.5  # of the readings that share a gauge's greatest value with their neighbours, by chance few


@dataclass(frozen=True, slots=True)
class FanState:
    """State of each reading, and the mean signal of the fan at rest, NaN where it never rested."""

    code: Codes
    zero: float


def fan_state(fan: Floats, least: float, share: float, zero_reach: float) -> FanState:
    """States from the fan's signal, finite numbers of one unit.

    A fan that never shows `least` rests all the time. Otherwise it runs above `least`, or above `share` of its
    greatest signal where that is less; below, it rests as far as it shows no more than `zero_reach`, or four times its
    noise, above its usual signal there. Between the two nothing is said: it runs up or down, or air drives it.
    """
    code = np.full(fan.size, OFF, dtype=np.int8)
    if not fan.size:
        return FanState(code, np.nan)
    reach = fan.size - min(_TOP_READINGS, fan.size)
    top = float(np.partition(fan, reach)[reach])
    if top < least:
        return FanState(code, float(fan.mean()))
    code[:] = ON
    low = fan < min(least, share * top)
    zero = np.nan
    if low.any():
        zero = float(np.median(fan[low]))
        together = low[1:] & low[:-1]
        noise = float(np.median(np.abs(np.diff(fan)[together]))) if together.any() else 0.0
        off = low & (fan <= zero + max(zero_reach, 4.0 * noise))
        code[low] = NEITHER
        code[off] = OFF
        zero = float(fan[off].mean())
    return FanState(code, zero)


def pinned(values: Floats) -> NDArray[np.bool_]:
    """Readings at the end of a gauge's range: of greatest size, in a row, though readings otherwise move about.

    Nothing is pinned where neighbouring readings mostly differ by less than two of the gauge's steps: there it is
    usual that a level repeats one value.
    """
    nothing = np.zeros(values.size, dtype=np.bool_)
    if values.size < _TOP_READINGS:
        return nothing
    size = np.abs(values)
    top = size >= size.max() - 1e-9
    steps = np.abs(np.diff(values))[~(top[1:] & top[:-1])]
    moved = steps[steps > 1e-9]
    if not moved.size or float(np.median(steps)) < 2.0 * float(moved.min()):
        return nothing
    beside = np.zeros(values.size)
    beside[1:] += top[:-1]
    beside[:-1] += top[1:]
    in_row = top & (beside > 0)
    return in_row if in_row.sum() >= max(3, _PINNED_SHARE * top.sum()) else nothing
