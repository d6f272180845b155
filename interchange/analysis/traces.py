"""What traces of pressure tell beyond averages: how much of the noise is turbulence, how fast, what two lines share.

Pure functions over readings at equal steps in stretches during which nothing was changed: segment i of all is
`pressure_pa[offsets[i]:offsets[i + 1]]`, session j holds the segments `session_offsets[j]` to `session_offsets[j + 1]`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from interchange.analysis import baseline, ragged
from interchange.analysis.batch import Batch, Floats, Ints
from interchange.analysis.work import floats

LONGEST_LAG_S = 60.0  # [s] of the semivariogram
TIME_SCALE_S, TIME_SCALE_SPREAD = 10.0, 0.5  # [s], [1] log-normal prior: eddies of 50 to 100 m in the mean wind
TIME_SCALES_S = np.geomspace(3.0, 40.0, 18)  # [s] over which it is integrated
BLOCK_S = 5.0  # [s] means by which lines are compared: slower than the tubes answer, faster than the wind
LEAST_PAIRS = 20  # [1] of readings a session needs for a lag to count


@dataclass(frozen=True, slots=True)
class Fluctuations:
    """Noise of single readings of each session, NaN where its traces do not tell it.

    turbulent_pa: standard deviation of what readings share [Pa]; time_scale_s: over which they share it [s];
    white_pa: standard deviation of what is new in each second [Pa].
    """

    turbulent_pa: Floats
    time_scale_s: Floats
    white_pa: Floats


@dataclass(frozen=True, slots=True)
class Traced:
    """What traces say of sessions whose averages are in a batch; None, or NaN where they are silent.

    Baselines over all the seconds the fan was off, pressures [Pa] of points, when each began [s from any one moment
    of the session], and fluctuations. Entries are those of the batch's runs (before, after) and points. step_pa [Pa]:
    root mean square of the changes from one reading to the next in baselines and points, which tells how gusty it was
    better than a spread: so many more readings of it are independent. facade_pa [Pa] of sessions: W as in
    `robust_noise`, where more than the one line's own noise tells it.
    """

    fluctuations: Fluctuations | None = None
    before_start_s: Floats | None = None
    after_start_s: Floats | None = None
    point_start_s: Floats | None = None
    before_pa: Floats | None = None
    before_s: Floats | None = None
    after_pa: Floats | None = None
    after_s: Floats | None = None
    point_pa: Floats | None = None
    before_step_pa: Floats | None = None
    after_step_pa: Floats | None = None
    point_step_pa: Floats | None = None
    facade_pa: Floats | None = None


def in_place(batch: Batch, traced: Traced) -> Batch:
    """The batch with what traces say in place of its averages.

    Points from which the source has taken its own baseline get it back first.
    """
    if all(part is None for part in (traced.before_pa, traced.after_pa, traced.point_pa)):
        return batch

    def column(recorded: object, told: Floats | None) -> Floats:
        held = floats(np.asarray(recorded))
        return held if told is None else np.where(np.isfinite(told), told, held)

    run = dict(batch.run)
    for when, pressure, seconds in (
        ("before", traced.before_pa, traced.before_s),
        ("after", traced.after_pa, traced.after_s),
    ):
        for name, told in ((f"baseline_{when}_pressure_pa", pressure), (f"baseline_{when}_duration_s", seconds)):
            run[name] = column(run[name], told)
    own = baseline.mean_baseline_pa(
        *(floats(batch.run[f"baseline_{when}_pressure_pa"]) for when in ("before", "after"))
    )
    taken = np.where(batch.point["baseline_removed"] == 1, ragged.spread_out(own, batch.point_offsets), np.nan)
    whole = column(batch.point["envelope_pressure_pa"], floats(batch.point["envelope_pressure_pa"]) + taken)
    told = np.zeros(taken.size, np.bool_) if traced.point_pa is None else np.isfinite(traced.point_pa)
    point = {
        **batch.point,
        "envelope_pressure_pa": column(whole, traced.point_pa),
        "baseline_removed": np.where(np.isfinite(taken) | told, 0, batch.point["baseline_removed"]),
    }
    return replace(batch, run=run, point=point)


def fluctuations(
    pressure_pa: Floats,
    offsets: Ints,
    session_offsets: Ints,
    *,
    step_s: float = 1.0,
    longest_lag_s: float = LONGEST_LAG_S,
) -> Fluctuations:
    """Split the noise of readings into turbulence and what is new in each second, by semivariogram inside segments.

    gamma(k) = mean of (x(t + k) - x(t))^2 / 2 = w^2 + S^2 (1 - exp(-k / tau)). It needs no mean, so short segments do
    not make turbulence look less and faster than it is, as their autocorrelation does. Least squares with the numbers
    of pairs for weights yield w^2 and S^2, both at least 0, at each tau of a grid; tau is averaged (its logarithm) with
    weights prior times likelihood, one independent value for every 20 s. Sessions with too few readings are NaN.

    References
    ----------
    [1] Matheron (1963): the semivariogram; Cressie (1985): its fit by weighted least squares (both from memory).

    """
    gamma, pairs = _semivariogram(pressure_pa, offsets, session_offsets, round(longest_lag_s / step_s))
    lag = step_s * np.arange(1, gamma.shape[0] + 1)
    told = pairs >= LEAST_PAIRS
    weight = np.where(told, pairs, 0.0)
    gamma = np.where(told, gamma, 0.0)
    seconds = step_s * ragged.sums(ragged.counts(offsets), session_offsets)
    white, turbulent, score = [], [], []
    for tau in TIME_SCALES_S:
        w2, s2, left = _split(gamma, weight, -np.expm1(-lag / tau)[:, None])
        prior = -0.5 * (np.log(tau / TIME_SCALE_S) / TIME_SCALE_SPREAD) ** 2
        score.append(prior - 0.25 * seconds / TIME_SCALE_S * np.log(np.maximum(left, 1e-6)))
        white.append(w2)
        turbulent.append(s2)
    best = np.stack(score)
    share = np.exp(best - best.max(axis=0))
    share /= share.sum(axis=0)
    known = told.sum(axis=0) >= 3
    w2, s2, log_tau = (
        (share * np.broadcast_to(part, share.shape)).sum(axis=0)
        for part in (np.stack(white), np.stack(turbulent), np.log(TIME_SCALES_S)[:, None])
    )
    return Fluctuations(*(np.where(known, v, np.nan) for v in (np.sqrt(s2), np.exp(log_tau), np.sqrt(w2 * step_s))))


def _semivariogram(pressure_pa: Floats, offsets: Ints, session_offsets: Ints, lags: int) -> tuple[Floats, Floats]:
    """Semivariogram [Pa2] and number of pairs, shape (lags, sessions), of lags 1, 2 and so on; only within segments."""
    segment = np.repeat(np.arange(offsets.size - 1), ragged.counts(offsets))
    ends = offsets[session_offsets]
    gamma, pairs = [], []
    for lag in range(1, lags + 1):
        step = pressure_pa[lag:] - pressure_pa[:-lag]
        within = segment[lag:] == segment[:-lag]
        within &= np.isfinite(step)
        square = np.where(within, step * step, 0.0)
        upto = np.minimum(ends, square.size)
        number = ragged.sums(within, upto)
        gamma.append(0.5 * ragged.sums(square, upto) / np.maximum(number, 1.0))
        pairs.append(number)
    return np.stack(gamma), np.stack(pairs)


def _split(gamma: Floats, weight: Floats, basis: Floats) -> tuple[Floats, Floats, Floats]:
    """w^2 and S^2, neither below 0, that fit gamma = w^2 + S^2 basis best; and the share of squares left over."""
    total = np.maximum(weight.sum(axis=0), 1e-300)
    mean_b, mean_g = ((weight * part).sum(axis=0) / total for part in (basis, gamma))
    square_b, cross = ((weight * basis * part).sum(axis=0) / total for part in (basis, gamma))
    spread = np.maximum(square_b - mean_b**2, 1e-300)
    s2 = np.maximum((cross - mean_b * mean_g) / spread, 0.0)
    w2 = mean_g - s2 * mean_b
    s2 = np.where(w2 < 0, cross / np.maximum(square_b, 1e-300), s2)
    w2 = np.maximum(w2, 0.0)
    left = (weight * (gamma - w2 - s2 * basis) ** 2).sum(axis=0)
    all_ = (weight * gamma**2).sum(axis=0)
    return w2, s2, left / np.where(all_ > 0, all_, 1.0)


def first_line_share(
    first_pa: Floats, second_pa: Floats, offsets: Ints, session_offsets: Ints, *, block: int = int(BLOCK_S)
) -> Floats:
    """Share a [1] of the first of two lines in the steadiest mean a x1 + (1 - a) x2 of both, for each session.

    a = (V2 - V12) / (V1 + V2 - 2 V12), within 0 and 1, from covariances of means of `block` readings inside segments.
    Half where the lines do not differ.
    """
    length = ragged.counts(offsets) // block
    taken = np.repeat(offsets[:-1], length * block) + _counted(length * block)
    x, y = (part[taken].reshape(-1, block).mean(axis=1) for part in (first_pa, second_pa))
    blocks = np.concatenate(([0], np.cumsum(length))).astype(np.int64)
    x, y = (part - ragged.spread_out(np.nan_to_num(ragged.means(part, blocks)), blocks) for part in (x, y))
    ends = blocks[session_offsets]
    v1, v2, v12 = (ragged.sums(part, ends) for part in (x * x, y * y, x * y))
    apart = v1 + v2 - 2.0 * v12
    return np.asarray(np.clip(np.where(apart > 0, (v2 - v12) / np.where(apart > 0, apart, 1.0), 0.5), 0.0, 1.0))


def _counted(length: Ints) -> Ints:
    """0, 1, 2 and so on within each of several lengths."""
    return np.asarray(np.arange(length.sum()) - np.repeat(np.cumsum(length) - length, length))
