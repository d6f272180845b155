"""Two reference lines read side by side: how far their readings spread, how they differ, and how sure that is.

Pure functions over readings of both lines at the same moments, in even steps (`on_one_clock` makes them so); NaN where
a reading is missing. Neighbouring readings in wind are much alike: every interval allows for it. The spread is that of
readings (pressure inside minus line). The pressure inside moves with the wind as well and is in both.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Floats

COVERAGE = 0.95  # [1] of all intervals here
FASTEST_WAVE_S = 240.0  # [s] period of the fastest wave by which the error of a mean is judged (judgement)
LEAST_WAVES, MOST_WAVES = 6, 60  # [1] fewer tell nothing, more add nothing
# The slow part of the error: its time scale [s] (eddies, turns and lulls of the wind) and its power at no frequency
# over that of the rest. All are as likely beforehand (judgement, held against simulated hours).
SLOW_SCALES_S = np.array([20.0, 60.0, 150.0, 300.0, 600.0])
SLOW_POWERS = np.array([0.0, 1.0, 3.0, 10.0, 30.0, 100.0, 300.0])
LEAST_READINGS = 120  # [1] of both lines at the same moment (judgement)
LONGEST_HOLD_S = 2.0  # [s] how far a reading may lie from the moment it is used for, where steps are shorter
SLOW_BLOCK_S = 60.0  # [s] means of a minute hold no gusts (judgement)
JUMP_BLOCK_S = 60.0  # [s] means by which a jump is seen (judgement)
POWER = 0.8  # [1] chance with which a planned record shows the difference (usual, no source)
NORMAL_95 = 1.959964  # [1] 97.5 % quantile of the normal distribution
STILL_PA = 0.003  # [Pa] means of minutes that differ less stand still (judgement)
SAME_SPREAD_PA = 0.03  # [Pa] a spread below it is the gauge's last digit, not the wind (judgement)


@dataclass(frozen=True, slots=True)
class Estimate:
    """A value with its 95 % limits; NaN where the readings do not tell."""

    value: float
    low: float
    high: float

    @property
    def told(self) -> bool:
        """Whether there are limits."""
        return bool(np.isfinite(self.low) and np.isfinite(self.high))


UNTOLD = Estimate(np.nan, np.nan, np.nan)


@dataclass(frozen=True, slots=True)
class Compared:
    """What two lines show over a stretch of time.

    first_spread_pa, second_spread_pa: standard deviations of the readings [Pa]; ratio: second over first [1];
    difference_pa: second minus first, mean [Pa]; log_ratio_error_s: variance of ln ratio times the seconds used [s],
    which is what a plan needs.
    """

    readings: int
    first_spread_pa: float
    second_spread_pa: float
    ratio: Estimate
    difference_pa: Estimate
    log_ratio_error_s: float


@dataclass(frozen=True, slots=True)
class Slow:
    """Whether the lines follow the same slow changes: means of a minute of one against those of the other.

    correlation [1] with limits; gain: slow spread of the second over that of the first [1].
    """

    correlation: Estimate
    gain: float


def on_one_clock(
    first: tuple[Floats, Floats], second: tuple[Floats, Floats], step_s: float | None = None
) -> tuple[Floats, Floats, Floats]:
    """Times [s] in even steps over which both lines were read, and what each read there: the nearest reading.

    Each line is its times [s] and pressures [Pa]. The step is the longer of the lines' median steps unless given. NaN
    where the nearest reading lies further off than half a step (and than `LONGEST_HOLD_S`): gaps are not filled in. All
    are empty where the lines do not overlap.
    """
    there = [np.isfinite(time) & np.isfinite(value) for time, value in (first, second)]
    lines = [(time[ok], value[ok]) for (time, value), ok in zip((first, second), there, strict=True)]
    nothing = np.zeros(0)
    if any(time.size < 2 for time, _ in lines):
        return nothing, nothing, nothing
    lines = [(time[order], value[order]) for time, value in lines for order in [np.argsort(time, kind="stable")]]
    steps = [np.diff(time) for time, _ in lines]
    step = step_s or max(float(np.median(one[one > 0])) if (one > 0).any() else 1.0 for one in steps)
    begin, end = max(time[0] for time, _ in lines), min(time[-1] for time, _ in lines)
    if end < begin:
        return nothing, nothing, nothing
    grid = begin + step * np.arange(int((end - begin) / step + 1e-9) + 1)
    a, b = (_nearest(grid, time, value, max(0.5 * step, min(step, LONGEST_HOLD_S))) for time, value in lines)
    return grid, a, b


def _nearest(grid: Floats, time: Floats, value: Floats, reach_s: float) -> Floats:
    after = np.clip(np.searchsorted(time, grid), 1, time.size - 1)
    place = np.where(grid - time[after - 1] <= time[after] - grid, after - 1, after)
    return np.where(np.abs(time[place] - grid) <= reach_s + 1e-9, value[place], np.nan)


def compare(first_pa: Floats, second_pa: Floats, step_s: float, use: NDArray[np.bool_] | None = None) -> Compared:
    """Spread ratio and mean difference of two lines over the readings in `use`, or all.

    ln ratio = ln(S2^2 / S1^2) / 2. To first order its error is the mean of
    psi(t) = ((x2 - m2)^2 / S2^2 - (x1 - m1)^2 / S1^2) / 2, that of the difference the mean of x2 - x1:
    see `_half_width` for the error of a mean. Readings that are missing or left out count nothing.
    """
    ok = np.isfinite(first_pa) & np.isfinite(second_pa)
    if use is not None:
        ok &= use
    count = int(ok.sum())
    if count < LEAST_READINGS:
        return Compared(count, np.nan, np.nan, UNTOLD, UNTOLD, np.nan)
    a, b = (np.where(ok, one - np.mean(one[ok]), 0.0) for one in (first_pa, second_pa))
    mean = float(np.mean((second_pa - first_pa)[ok]))
    first, second = (float(np.sqrt((one * one).sum() / (count - 1))) for one in (a, b))
    half = _half_width(b - a, count, step_s)
    difference = Estimate(mean, mean - half, mean + half)
    if min(first, second) < SAME_SPREAD_PA:
        return Compared(count, first, second, UNTOLD, difference, np.nan)
    influence = 0.5 * ((b / second) ** 2 - (a / first) ** 2)
    half = _half_width(np.where(ok, influence, 0.0), count, step_s)
    ratio = second / first
    limits = Estimate(ratio, float(ratio * np.exp(-half)), float(ratio * np.exp(half)))
    return Compared(count, first, second, limits, difference, (half / NORMAL_95) ** 2 * count * step_s)


def _half_width(parts: Floats, count: int, step_s: float) -> float:
    """Half the 95 % interval of the mean of `count` parts that hang together; `parts` is 0 where nothing counts.

    Their cosine transform at K slow frequencies f_k = k / (2 T) has variances w (1 + r / (1 + (2 pi f_k tau)^2)) [1]:
    a level, and a slow part of time scale tau. The mean has the variance w (1 + r) / n. w is integrated out (Student's
    t with K degrees of freedom), r and tau over a grid with their likelihood for weight.

    References
    ----------
    [1] Mueller and Watson (2008), Testing models of low-frequency variability, Econometrica 76 (from memory): cosine
        transforms at low frequencies as independent normal variables, whose variances are the spectrum there.

    """
    from scipy.special import stdtr

    lasts_s = parts.size * step_s
    waves = int(np.clip(2.0 * lasts_s / FASTEST_WAVE_S, LEAST_WAVES, MOST_WAVES))
    number = np.arange(1, waves + 1)
    wave = np.cos(np.pi * number[:, None] * ((np.arange(parts.size) + 0.5) / parts.size))
    power = 2.0 * (wave @ parts) ** 2 / count
    if not power.any():
        return 0.0
    slow = 1.0 / (1.0 + (np.pi * number / lasts_s * SLOW_SCALES_S[:, None]) ** 2)
    shape = (1.0 + SLOW_POWERS[:, None, None] * slow).reshape(-1, waves)
    level = (power / shape).mean(axis=1)
    score = -0.5 * np.log(shape).sum(axis=1) - 0.5 * waves * np.log(level)
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    error = np.sqrt(level * np.repeat(1.0 + SLOW_POWERS, SLOW_SCALES_S.size) / count)
    low, high = 0.0, 20.0 * float(error.max())
    for _ in range(40):
        half = 0.5 * (low + high)
        inside = float(weight @ (2.0 * stdtr(waves, half / error) - 1.0))
        low, high = (half, high) if inside < COVERAGE else (low, half)
    return half


def by_part(
    first_pa: Floats, second_pa: Floats, step_s: float, part: NDArray[np.int64], parts: int
) -> tuple[Compared, ...]:
    """The same of each part of the record: bands of wind speed, sectors of wind direction; -1 belongs to none."""
    return tuple(compare(first_pa, second_pa, step_s, part == number) for number in range(parts))


def slow(first_pa: Floats, second_pa: Floats, step_s: float, block_s: float = SLOW_BLOCK_S) -> Slow:
    """Whether the lines follow the same slow changes, from means of whole blocks (a minute).

    The limits are Fisher's, tanh(atanh r +- 1.96 / sqrt(n - 3)), with the n of as many independent blocks as the
    autocorrelation of both series leaves [1].

    References
    ----------
    [1] Bartlett (1935): variance of a correlation between series that hang together (from memory).

    """
    a, b = _blocks(first_pa, second_pa, max(1, round(block_s / step_s)))
    if a.size < 10 or min(a.std(), b.std()) < STILL_PA:
        return Slow(UNTOLD, np.nan)
    r = float(np.clip(np.corrcoef(a, b)[0, 1], -0.999999, 0.999999))
    n = independent(a, b)
    half = NORMAL_95 / np.sqrt(max(n - 3.0, 0.5))
    limits = Estimate(r, float(np.tanh(np.arctanh(r) - half)), float(np.tanh(np.arctanh(r) + half)))
    return Slow(limits, float(b.std() / a.std()))


def independent(first: Floats, second: Floats) -> float:
    """How many independent pairs two series are worth: n / (1 + 2 sum_k (1 - k/n) r1(k) r2(k)), to the first r < 0."""
    n = first.size
    lags = []
    for series in (first, second):
        d = series - series.mean()
        lags.append([float(d[k:] @ d[:-k] / (d @ d)) for k in range(1, max(2, n // 3))])
    total = 0.0
    for k, (r1, r2) in enumerate(zip(*lags, strict=True), 1):
        if r1 <= 0.0 or r2 <= 0.0:
            break
        total += (1 - k / n) * r1 * r2
    return float(n / (1.0 + 2.0 * total))


def jumps(
    first_pa: Floats, second_pa: Floats, step_s: float, least_pa: float = 3.0, errors: float = 8.0
) -> list[tuple[int, float]]:
    """Where the difference of the lines jumps and stays: the reading, and by how much [Pa].

    Water that gets into a tube does that, and so does a tube that is moved; wind does not within a few seconds. A jump
    is one of the mean of `JUMP_BLOCK_S` before to that after, of more than `least_pa` and `errors` times the usual size
    of such a change (median absolute, of neighbours further than a block apart).
    """
    width = max(2, round(JUMP_BLOCK_S / step_s))
    apart = second_pa - first_pa
    ok = np.isfinite(apart)
    if ok.sum() < 6 * width:
        return []
    total = np.concatenate(([0.0], np.cumsum(np.where(ok, apart, 0.0))))
    number = np.concatenate(([0], np.cumsum(ok)))
    mean = (total[width:] - total[:-width]) / np.maximum(number[width:] - number[:-width], 1)
    change = mean[width:] - mean[:-width]
    limit = max(least_pa, errors * 1.4826 * float(np.median(np.abs(change))))
    found = []
    size = np.abs(change)
    while size.max(initial=0.0) > limit:
        place = int(size.argmax())
        found.append((place + width, float(change[place])))
        size[max(0, place - 2 * width) : place + 2 * width] = 0.0
    return sorted(found)


def longest_between(places: list[int], length: int) -> slice:
    """The longest stretch without a jump in it."""
    ends = [0, *places, length]
    start = max(range(len(ends) - 1), key=lambda i: ends[i + 1] - ends[i])
    return slice(ends[start], ends[start + 1])


def minutes_to_see(compared: Compared, ratio: float, power: float = POWER) -> float:
    """Minutes to record so that a spread ratio like this is told from none, in wind and with lines as measured.

    T = V (1.96 + z)^2 / (ln ratio)^2, V the variance of ln ratio times seconds, z the normal quantile of `power`. NaN
    where V is not known or the ratio is 1.
    """
    from scipy.special import ndtri

    if not (ratio > 0.0) or ratio == 1.0:
        return float("nan")
    needed = (NORMAL_95 + float(ndtri(power))) ** 2 / np.log(ratio) ** 2
    return float(compared.log_ratio_error_s * needed / 60.0)


def _blocks(first: Floats, second: Floats, length: int) -> tuple[Floats, Floats]:
    """Means of whole blocks of both where at least half the readings are there."""
    ok = np.isfinite(first) & np.isfinite(second)
    n = first.size // length * length
    there = ok[:n].reshape(-1, length)
    enough = there.sum(axis=1) >= 0.5 * length
    number = np.maximum(there.sum(axis=1), 1)
    a, b = (np.where(ok, one, 0.0)[:n].reshape(-1, length).sum(axis=1) / number for one in (first, second))
    return a[enough], b[enough]
