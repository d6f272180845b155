"""Where the level of a series changes: optimal partitioning, and merging of pieces that hardly differ."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Floats, Ints

_NORMAL_MAD = 0.6745  # median of |z| of a normal variable
SLOW = 1.25  # what differences of three lose of noise that is as slow as the blocks are long
TELLING = 5.0  # standard errors between a ramp and a level that tell one from the other


def level_noise(values: Floats, block: int) -> float:
    """Standard deviation [unit of values] of single values, as far as it matters for means of many.

    From neighbouring means of `block` values, so that slow noise counts as what it does to a mean; the median, so that
    steps do not count. Two of them differ by noise and slope, three of them, less the slope, by noise: the lesser
    counts. Shorter blocks where there are too few values; 0 where there are hardly any.
    """
    block = max(1, min(block, values.size // 6))
    count = values.size // block
    if count < 3:
        return 0.0
    means = values[: count * block].reshape(count, block).mean(axis=1)
    first = float(np.median(np.abs(np.diff(means)))) / np.sqrt(2.0)
    second = float(np.median(np.abs(np.diff(means, 2)))) / np.sqrt(6.0)
    return float(min(first, SLOW * second) / _NORMAL_MAD * np.sqrt(block))


def partition(values: Floats, noise: float, penalty: float, longest: int) -> Ints:
    """Bounds of the pieces of constant level that explain a series best: 0, ..., its length.

    Least sum over pieces of (sum of squares about the piece's mean) / noise^2 + penalty, found exactly with pruning
    of starts that cannot win any more; no piece is longer than `longest` values.

    References
    ----------
    [1] Killick, Fearnhead, Eckley 2012, optimal detection of changepoints with a linear computational cost, J. Am.
        Stat. Assoc. 107 (from memory).

    """
    size = values.size
    centred = values - values.mean() if size else values
    total = np.concatenate(([0.0], np.cumsum(centred)))
    square = np.concatenate(([0.0], np.cumsum(centred**2)))
    best = np.empty(size + 1)
    best[0] = -penalty
    came_from = np.zeros(size + 1, dtype=np.int64)
    starts = np.zeros(1, dtype=np.int64)
    scale = 1.0 / max(noise, 1e-12) ** 2
    for stop in range(1, size + 1):
        part = total[stop] - total[starts]
        cost = best[starts] + scale * (square[stop] - square[starts] - part**2 / (stop - starts))
        winner = int(cost.argmin())
        best[stop] = cost[winner] + penalty
        came_from[stop] = starts[winner]
        keep = (cost <= best[stop]) & (starts > stop - longest)
        starts = np.append(starts[keep], stop)
    bounds = [size]
    while bounds[-1] > 0:
        bounds.append(int(came_from[bounds[-1]]))
    return np.array(bounds[::-1], dtype=np.int64)


def merged(values: Floats, bounds: Ints, noise: float, errors: float, least_step: float) -> Ints:
    """Bounds after neighbours were joined, the most alike first, as long as two differ by too little.

    Too little is less than `errors` standard errors of the difference, or less than `least_step`.
    """
    counts = np.diff(bounds)
    sums = np.diff(np.concatenate(([0.0], np.cumsum(values)))[bounds])
    while counts.size > 1:
        step = np.abs(np.diff(sums / counts))
        error = noise * np.sqrt(1.0 / counts[1:] + 1.0 / counts[:-1])
        ratio = step / np.maximum(errors * error, least_step)
        at = int(ratio.argmin())
        if ratio[at] >= 1.0:
            break
        sums[at] += sums[at + 1]
        counts[at] += counts[at + 1]
        sums, counts = np.delete(sums, at + 1), np.delete(counts, at + 1)
        bounds = np.delete(bounds, at + 1)
    return bounds


def drift(times: Floats, values: Floats, noise: float) -> tuple[float, float]:
    """Slope of a straight line through a piece [unit of values / s] and its standard error."""
    centred = times - times.mean()
    spread = float((centred**2).sum())
    if spread == 0.0:
        return 0.0, np.inf
    return float((centred * values).sum()) / spread, noise / np.sqrt(spread)


def core(values: Floats, bounds: Ints, noise: float, errors: float, step: float) -> tuple[int, int]:
    """The longest of the pieces between bounds, with its neighbours as far as their level is the same.

    The same is within `errors` standard errors, or within `step`.
    """
    counts = np.diff(bounds)
    means = np.add.reduceat(values[: bounds[-1]], bounds[:-1]) / counts
    at = int(counts.argmax())
    error = noise * np.sqrt(1.0 / counts + 1.0 / counts[at])
    alike = np.abs(means - means[at]) <= np.maximum(errors * error, step)
    others = np.flatnonzero(~alike)
    before, after = others[others < at], others[others > at]
    first = int(before[-1]) + 1 if before.size else 0
    last = int(after[0]) if after.size else counts.size
    return int(bounds[first]), int(bounds[last])


def ramps(times: Floats, values: Floats, bounds: Ints, noise: float) -> NDArray[np.bool_]:
    """Which pieces are cut out of a ramp: their own slope is nearer to that from neighbour to neighbour than to none.

    Stairs have level treads, however the next ones lie. Pieces too short to tell are judged together; where they do
    not tell together, or a piece is higher or lower than both neighbours, nothing is a ramp.
    """
    size = bounds.size - 1
    ramp = np.zeros(size, dtype=np.bool_)
    if size < 2:
        return ramp
    spans = [slice(a, b) for a, b in pairwise(bounds.tolist())]
    level = np.array([values[one].mean() for one in spans])
    middle = np.array([times[one].mean() for one in spans])
    own, error = np.array([drift(times[one], values[one], noise) for one in spans]).T
    left, right = np.maximum(np.arange(size) - 1, 0), np.minimum(np.arange(size) + 1, size - 1)
    way = (level[right] - level[left]) / (middle[right] - middle[left])
    goes_on = (level[right] - level) * (level - level[left]) >= 0
    power = np.where(goes_on, np.abs(way) / error, 0.0)
    likeness = np.divide(own, way, out=np.zeros(size), where=power > 0)
    sure = power >= TELLING
    ramp[sure] = likeness[sure] > 0.5
    weight = np.where(sure, 0.0, power**2)
    if weight.sum() >= TELLING**2 and float((weight * likeness).sum()) > 0.5 * float(weight.sum()):
        ramp |= (weight > 0) & goes_on
    return ramp
