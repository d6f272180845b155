"""What the best fit leaves of the readings, held against what faults would leave: score tests of patterns.

    x_j = mu + s_j h_j + e_j,  h_j = (q_j / C)^(1/n)    as in `robust`, at one model of noise.

With residual r, covariance S of e and Jacobian J of the unknowns with prior precision P, a fault that adds b a_j to
the readings shows as z = a'S^-1 r / (a'M a)^(1/2), M = S^-1 - S^-1 J (J'S^-1 J + P)^-1 J'S^-1: a standard normal if
there is no fault, whatever the noise. Its size is b = z / (a'M a)^(1/2) [Pa]. z is made smaller by what the pattern
does not explain.

References
----------
[1] Rao (1948): score tests (from memory).

"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from interchange.analysis import robust_fit
from interchange.analysis.batch import Batch, Floats, Ints
from interchange.analysis.line_faults.seen import POINT, Flags, Level, Seen, groups
from interchange.analysis.noise import NOISE, Segments
from interchange.analysis.robust_fit import Observations, Priors, Wind
from interchange.analysis.robust_noise import Facades, Noise, NoiseForm, covariance, in_turn, induced, rounded

FORM = NoiseForm(10.0, 1.0, 0.3, 1.0)  # slow: directions of the wind turn between baselines, beyond what gusts show
EXPONENT, EXPONENT_SD, DIRECTION_SD = 0.65, 0.06, 0.06  # [1] as in `robust.Prior`; directions of real houses differ
SLOW_S, GUST_RATIO = 300.0, 0.4  # as in `robust.Prior`
FACADE_DOUBT = 0.5  # [1] of what wind on the facades does, not corrected but allowed for
OWN_WEIGHT = 4.0  # [1] observations' worth of belief that the noise is as large as the spreads say
LEAST_PA = 1.0  # [Pa] below which the logarithm of a pressure is not looked at
NEAR_POINTS = 1.5  # [1] points within which one counts as near a step
LEAST_SCALE = 0.7  # [1] by which noise may turn out smaller than the spreads say
STILL_UNEXPLAINED = 4.0  # [1] mean square that no pattern explains and noise hardly ever makes
LARGEST_STEP = 3.0  # [1] of the logarithm of a coefficient
LARGE = 8.0  # [1] z of a step that is looked at once more
NO_ZERO_SD_PA = 3.0  # [Pa] of the zero where there is no baseline
PATTERNS = ("zero_after", "zero_points", "drift", "opening", "stream", "configuration")


@dataclass(frozen=True, slots=True)
class Zero:
    """Of each session: z of each pattern (greatest over onsets), its size, observation from which it holds (-1 all).

    size: [Pa] for those of the zero, drift over the whole test and stream at the greatest flow; ln of the coefficient
    for opening and configuration. squares: sum of what the fit leaves over what noise explains [1]; freedom: numbers
    behind it; explained: 1 where one pattern explains it; exponent, zero_pa as fitted; induced_pa as fitted at each
    observation.
    """

    z: dict[str, Floats]
    size: dict[str, Floats]
    onset: dict[str, Floats]
    squares: Floats
    freedom: Floats
    explained: Floats
    exponent: Floats
    zero_pa: Floats
    induced_pa: Floats


def fitted(batch: Batch, seen: Seen, level: Level) -> Zero:
    """Fit sessions with a point or more and try all patterns.

    A large step of the coefficient bends the fit, so what such a step explains is found by taking it out and fitting
    once more.
    """
    found = _pass(batch, seen, level)
    for name in ("opening", "configuration"):
        stepped = np.abs(np.nan_to_num(found.z[name])) > LARGE
        if not stepped.any():
            continue
        size = np.clip(np.nan_to_num(found.size[name]), -LARGEST_STEP, LARGEST_STEP)
        without = replace(
            seen,
            log_flow=seen.log_flow - np.where(_stepped(found, seen, name), size[seen.session], 0.0),
            usable=seen.usable & stepped[seen.session],
        )
        left = _pass(batch, without, level).squares
        scale = np.sqrt((OWN_WEIGHT + left) / (OWN_WEIGHT + np.maximum(found.freedom - 1.0, 0.0)))
        z = np.sqrt(np.maximum(found.squares - left, 0.0)) / np.maximum(scale, LEAST_SCALE)
        better = stepped & (z > np.abs(found.z[name]))
        found.z[name][better] = z[better]
        found.explained[better & (left < STILL_UNEXPLAINED * np.maximum(found.freedom, 1.0))] = 1.0
    return found


def _stepped(found: Zero, seen: Seen, name: str) -> Flags:
    """Observations that the step of a session is found to concern."""
    rows = np.flatnonzero(seen.usable)
    first = np.searchsorted(seen.session[rows], np.arange(found.freedom.size))
    place = np.zeros(seen.usable.size, dtype=np.int64)
    place[rows] = np.arange(rows.size) - first[seen.session[rows]]
    onset = found.onset[name]
    at = np.where(np.isfinite(onset), onset, 0.0).astype(np.int64)
    if name == "opening":
        return np.asarray(place >= at[seen.session])
    start = rows[np.minimum(first + at, rows.size - 1)]
    return np.asarray(seen.configuration == seen.configuration[start][seen.session])


def _pass(batch: Batch, seen: Seen, level: Level) -> Zero:
    count = seen.offsets.size - 1
    z, size, onset = ({name: np.full(count, np.nan) for name in PATTERNS} for _ in range(3))
    squares, freedom, explained, exponent, zero = (np.full(count, np.nan) for _ in range(5))
    induced_pa = np.full(seen.session.size, np.nan)
    found = Zero(z, size, onset, squares, freedom, explained, exponent, zero, induced_pa)
    facade = Facades().of(batch.session["arrangement"])
    for here, rows in groups(seen):
        some = (seen.what[rows] == POINT).any(axis=0)
        if some.any() and rows.shape[0] > 1:
            _group(found, seen, level, facade, here[some], rows[:, some])
    return found


def _group(found: Zero, seen: Seen, level: Level, facade: tuple[Floats, ...], here: Ints, rows: Ints) -> None:
    own = Observations(
        seen.shown_pa[rows],
        seen.sign[rows],
        np.where(seen.sign[rows] == 0, 0.0, np.nan_to_num(seen.log_flow[rows])),
        np.zeros(rows.shape),
        np.where(_both(seen.sign[rows]), seen.sign[rows], 0.0),
    )
    baseline = (own.sign == 0).any(axis=0)
    priors = Priors(
        np.full(here.size, EXPONENT),
        np.full(here.size, EXPONENT_SD**-2),
        np.where(baseline, 0.0, NO_ZERO_SD_PA**-2),
        np.full(here.size, DIRECTION_SD**-2),
    )
    noise, matrix, wind = _covariance(seen, level, facade, own, priors, here, rows)
    fit = robust_fit.fit(own, matrix, np.ones((1, here.size)), priors, wind)
    zero, ratio, at_pivot, n = (part[0] for part in (fit.zero_pa, fit.log_ratio, fit.level, fit.exponent))
    away = np.where(own.sign != 0, (own.log_flow - at_pivot - 0.5 * own.apart * ratio) / n, 0.0)
    h = np.where(own.sign != 0, robust_fit.PIVOT_PA * np.exp(np.clip(away, -20.0, 8.0)), 0.0)
    felt = np.sqrt(h**2 + (1.0 - EXPONENT) * wind.facade_pa[0] ** 2)
    model = zero + np.where(own.sign != 0, own.sign * felt + wind.rise_pa[0], 0.0)
    slope = np.where(own.sign != 0, own.sign * h**2 / np.maximum(felt, 1e-9) / n, 0.0)
    jacobian = np.stack([np.ones(h.shape), -0.5 * slope * own.apart, -slope, -slope * away], axis=-1)
    residual = own.pressure_pa - model
    size = rows.shape[0]
    full = np.moveaxis(matrix[:, :, 0], -1, 0).copy()
    lower = np.tril_indices(size, -1)
    full[:, lower[1], lower[0]] = full[:, lower[0], lower[1]]
    inverse = np.linalg.inv(full)
    precision = np.stack([priors.zero_precision, priors.ratio_precision, np.full(here.size, 1e-12)], axis=-1)
    precision = np.concatenate([precision, priors.exponent_precision[:, None]], axis=-1)
    j = np.moveaxis(jacobian, 1, 0)
    sj = inverse @ j
    inner = np.swapaxes(j, 1, 2) @ sj + precision[:, :, None] * np.eye(4)
    projector = inverse - sj @ np.linalg.solve(inner, np.swapaxes(sj, 1, 2))
    weighed = (inverse @ residual.T[:, :, None])[:, :, 0]
    misfit = np.maximum((weighed * residual.T).sum(axis=1), 0.0)
    freedom = np.full(here.size, size - 2.0) - (size > 3) - (own.apart != 0).any(axis=0)
    unexplained, clear = misfit / np.maximum(freedom, 1.0), np.zeros(here.size)
    for name, patterns, onset in _patterns(seen, rows, own, h, n, noise):
        top = (patterns @ weighed[:, :, None])[:, :, 0]
        below = ((patterns @ projector) * patterns).sum(axis=2)
        told = below > 1e-6
        z = np.where(told, top / np.sqrt(np.where(told, below, 1.0)), 0.0)
        best = np.argmax(np.abs(z), axis=1)
        pick = np.arange(here.size), best
        left = np.maximum(misfit - z[pick] ** 2, 0.0)
        scale = np.sqrt((OWN_WEIGHT + left) / (OWN_WEIGHT + np.maximum(freedom - 1.0, 0.0)))
        found.z[name][here] = z[pick] / np.maximum(scale, LEAST_SCALE)
        if name != "stream":  # which takes up what anything else leaves
            unexplained = np.minimum(unexplained, left / np.maximum(freedom - 1.0, 1.0))
            clear = np.maximum(clear, np.abs(found.z[name][here]))
        found.size[name][here] = np.where(told[pick], top[pick] / np.where(told[pick], below[pick], 1.0), np.nan)
        found.onset[name][here] = onset[best]
    found.squares[here] = misfit
    found.explained[here] = (unexplained < STILL_UNEXPLAINED) & (clear > LARGE)
    _ratios(found, seen, own, here, rows)
    found.freedom[here] = freedom
    found.exponent[here], found.zero_pa[here] = n, zero
    found.induced_pa[rows] = h


def _ratios(found: Zero, seen: Seen, own: Observations, here: Ints, rows: Ints) -> None:
    """Sizes of opening and configuration as ln of a ratio of coefficients, by the points themselves.

    The fit bends to a large step, so its own size of it is too small. Points near the step count for most of it.
    """
    off = own.sign == 0
    base = np.where(off, own.pressure_pa, 0.0).sum(axis=0) / np.maximum(off.sum(axis=0), 1)
    pressure = np.maximum(own.sign * (own.pressure_pa - base), LEAST_PA)
    level = own.log_flow - EXPONENT * np.log(pressure)
    place = np.arange(rows.shape[0])[:, None]
    for name in ("opening", "configuration"):
        at = found.onset[name][here]
        if name == "opening":
            first = np.where(np.isfinite(at), at, 0).astype(np.int64)
            run = seen.run[rows]
            near = np.exp(-np.abs(place + 0.5 - at) / NEAR_POINTS) * (run == run[first, np.arange(here.size)])
            inside = place >= at
        else:
            configuration = seen.configuration[rows]
            chosen = configuration[np.where(np.isfinite(at), at, 0).astype(np.int64), np.arange(here.size)]
            near, inside = np.ones(rows.shape), configuration == chosen
        weights = [np.where(~off & side, near, 0.0) for side in (inside, ~inside)]
        totals = [np.maximum(w.sum(axis=0), 1e-300) for w in weights]
        sizes = [(w * level).sum(axis=0) / total for w, total in zip(weights, totals, strict=True)]
        both = np.all([w.sum(axis=0) > 0 for w in weights], axis=0)
        found.size[name][here] = np.where(both, sizes[0] - sizes[1], found.size[name][here])


def _both(sign: Floats) -> Floats:
    return np.broadcast_to((sign > 0).any(axis=0) & (sign < 0).any(axis=0), sign.shape)


def _covariance(
    seen: Seen, level: Level, facade: tuple[Floats, ...], own: Observations, priors: Priors, here: Ints, rows: Ints
) -> tuple[Floats, Floats, Wind]:
    spread = seen.spread_pa[rows]
    held = Segments(seen.duration_s[rows], spread, np.zeros(rows.shape))
    start = in_turn(held.duration_s, seen.start_s[rows], NOISE.gap_s)
    reading = level.deviation_pa[here]
    corrected, allowed = (part[here] for part in facade[:2])
    found = Noise(
        held,
        start,
        spread,
        reading[None],
        np.full((1, here.size), FORM.time_scale_s),
        np.zeros(here.size),
    )
    usual = FORM.facade_ratio * reading[None]
    induced_pa = induced(own, priors.exponent)
    wide = usual * (allowed + FACADE_DOUBT * corrected)
    rise = Facades().zero_rise
    effects = induced_pa, rounded(own, induced_pa, wide, priors.exponent), rise * wide
    matrix = covariance(found, own, (FORM,), GUST_RATIO, SLOW_S, *effects, priors.exponent, NOISE)
    middle = start + 0.5 * held.duration_s
    return middle, matrix, Wind(usual * corrected, rise * usual * corrected)


def _patterns(
    seen: Seen, rows: Ints, own: Observations, h: Floats, n: Floats, middle: Floats
) -> list[tuple[str, Floats, Floats]]:
    """Name, patterns (tests, patterns, observations), observation from which each holds."""
    size, tests = rows.shape
    order = np.arange(size)
    steps = np.broadcast_to(order[None, :] >= order[1:, None], (tests, size - 1, size)).astype(np.float64)
    run = seen.run[rows].T
    until = steps * (run[:, None, :] == run[:, order[1:], None])
    on = (own.sign != 0).T.astype(np.float64)
    points = np.stack([on, *(on * (run == run[:, [i]]) for i in (0, size - 1))], axis=1)
    lasted = np.maximum(np.ptp(middle, axis=0), 1.0)
    drift = ((middle - middle.mean(axis=0)) / lasted).T
    coefficient = -(own.sign * h / n).T
    moved = steps * coefficient[:, None, :]
    flow = np.exp(np.where(own.sign != 0, own.log_flow - own.log_flow.max(axis=0), -np.inf)).T ** 2
    onset = np.arange(1.0, size)
    found = [
        ("zero_after", np.concatenate([steps, until], axis=1), np.concatenate([onset, onset])),
        ("zero_points", points, np.array([1.0, 1.0, size - 1.0])),
        ("drift", drift[:, None, :], np.array([-1.0])),
        ("opening", np.concatenate([moved, moved * until], axis=1), np.concatenate([onset, onset])),
        ("stream", -flow[:, None, :], np.array([-1.0])),
    ]
    configuration = seen.configuration[rows].T
    changed = (configuration[:, :, None] == configuration[:, None, :]).astype(np.float64)
    whole = (changed * on[:, None, :]).sum(axis=2) >= on.sum(axis=1)[:, None]
    of_one = np.where((whole | (configuration < 0))[:, :, None], 0.0, changed * coefficient[:, None, :])
    return [*found, ("configuration", of_one, order.astype(np.float64))]
