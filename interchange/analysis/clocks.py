"""How far the clock of a weather record is off that of the gauge, told from the wind that both have seen.

Pure functions. The record gives a mean wind for each interval, stamped with its end. For every offset that is possible
the readings of the gauge are averaged over the same intervals, and it is asked how well they tell the wind.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

import numpy as np

from interchange.analysis.batch import Floats
from interchange.analysis.side_by_side import independent

FURTHEST_S = 600.0  # [s] beyond the largest offset that is looked for clocks are wrong, not off (judgement)
STEP_S = 5.0  # [s] between the offsets tried
LEAST_INTERVALS = 5  # [1] of the record within the readings
FAST_BLOCK_S = 10.0  # [s] what moves within it is the building's own gusts, whose size goes with the wind (judgement)
WORTH_SHARE = 0.25  # [1] limits that span more than this part of what was possible beforehand tell nothing


@dataclass(frozen=True, slots=True)
class Offset:
    """Stamp of the record less the time of the gauge [s], with 95 % limits; whether the records tell anything of it.

    correlation: how well the readings tell the wind at the best offset [1].
    """

    offset_s: float
    low_s: float
    high_s: float
    correlation: float
    told: bool


NOTHING = Offset(np.nan, -FURTHEST_S, FURTHEST_S, np.nan, False)


def clock_offset(
    time_s: Floats,
    pressures_pa: tuple[Floats, ...],
    stamp_s: Floats,
    speed_m_s: Floats,
    averaging_s: float,
    site_wind_m_s: Floats | None = None,
    furthest_s: float = FURTHEST_S,
) -> Offset:
    """Offset of a weather record against readings in even steps at `time_s` [s], NaN where missing.

    An event at time t of the gauge is stamped t + offset. At each offset the squared wind is regressed on subsets of:
    the means of the lines and the rms of what is fast in them, or on the wind at the site alone where it was recorded.
    The likelihood of a subset of k of n independent intervals, with a unit-information prior [1], is
    (1 + n)^((n - 1 - k) / 2) / (1 + n (1 - R^2))^((n - 1) / 2). Its sum over subsets, times a prior that holds all
    offsets up to `furthest_s` equally likely, gives the limits. They widen to all that was possible where the records
    do not go together.

    References
    ----------
    [1] Liang, Paulo, Molina, Clyde, Berger (2008), Mixtures of g priors, JASA 103 (from memory).

    """
    step = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    signals = _signals(pressures_pa, site_wind_m_s, step)
    offsets = np.arange(-furthest_s, furthest_s + 0.5 * STEP_S, STEP_S)
    known = np.isfinite(speed_m_s)
    stamp, wind = stamp_s[known], speed_m_s[known] ** 2
    means, inside = _means(time_s, step, signals, stamp, averaging_s, offsets)
    always = inside.all(axis=0)  # the same intervals for every offset, or their number would decide
    if always.sum() < LEAST_INTERVALS or np.ptp(wind[always]) == 0.0:
        return NOTHING
    y = wind[always] - wind[always].mean()
    x = means[:, :, always] - means[:, :, always].mean(axis=2, keepdims=True)
    count = min(independent(y, y), float(y.size))
    log, correlation = _likelihood(x, y, count)
    weight = np.exp(log - log.max())
    weight /= weight.sum()
    upto = np.cumsum(weight)
    low, middle, high = (float(np.interp(share, upto, offsets + 0.5 * STEP_S)) for share in (0.025, 0.5, 0.975))
    best = float(correlation[int(log.argmax())])
    return Offset(middle, low, high, best, high - low < WORTH_SHARE * 2.0 * furthest_s)


def _signals(pressures_pa: tuple[Floats, ...], site: Floats | None, step_s: float) -> list[Floats]:
    if site is not None:
        return [site**2]
    width = max(2, round(FAST_BLOCK_S / step_s))
    fast = []
    for one in pressures_pa:
        filled = np.where(np.isfinite(one), one, np.nanmean(one) if np.isfinite(one).any() else 0.0)
        smooth = np.convolve(filled, np.ones(width) / width, mode="same")
        fast.append(np.where(np.isfinite(one), (filled - smooth) ** 2, np.nan))
    return [*pressures_pa, *fast]


def _means(
    time_s: Floats, step_s: float, signals: list[Floats], stamp_s: Floats, averaging_s: float, offsets_s: Floats
) -> tuple[Floats, np.ndarray]:
    """Mean of each signal over each interval at each offset (signals, offsets, stamps), and whether it is all there."""
    end = stamp_s - offsets_s[:, None]
    first, last = (np.searchsorted(time_s, edge, side="right") for edge in (end - averaging_s, end))
    inside = np.ones(end.shape, dtype=np.bool_)
    means = []
    for signal in signals:
        ok = np.isfinite(signal)
        total = np.concatenate(([0.0], np.cumsum(np.where(ok, signal, 0.0))))
        number = np.concatenate(([0], np.cumsum(ok)))
        count = number[last] - number[first]
        inside &= count >= 0.8 * averaging_s / step_s
        means.append((total[last] - total[first]) / np.maximum(count, 1))
    return np.stack(means), inside


def _likelihood(x: Floats, y: Floats, count: float) -> tuple[Floats, Floats]:
    """Log likelihood of each offset, summed over subsets of at most two signals, and the best correlation there."""
    logs, fits = [np.zeros(x.shape[1]) + 1e-9], [np.zeros(x.shape[1])]
    for size in (1, 2):
        for chosen in combinations(range(x.shape[0]), size):
            r2 = _explained(x[list(chosen)], y)
            logs.append(0.5 * (count - 1 - size) * np.log1p(count) - 0.5 * (count - 1) * np.log1p(count * (1.0 - r2)))
            fits.append(np.sqrt(r2))
    stacked = np.stack(logs)
    top = stacked.max(axis=0)
    return top + np.log(np.exp(stacked - top).mean(axis=0)), np.stack(fits)[stacked.argmax(axis=0), np.arange(top.size)]


def _explained(x: Floats, y: Floats) -> Floats:
    """R^2 of y on the signals (k, offsets, intervals), for each offset."""
    gram = np.einsum("aoi,boi->oab", x, x)
    gram += 1e-12 * np.trace(gram, axis1=1, axis2=2)[:, None, None] * np.eye(x.shape[0]) + 1e-300 * np.eye(x.shape[0])
    cross = np.einsum("aoi,i->oa", x, y)
    fitted = np.linalg.solve(gram, cross[..., None])[..., 0]
    return np.asarray(np.clip((fitted * cross).sum(axis=1) / (y @ y), 0.0, 1.0 - 1e-9))
