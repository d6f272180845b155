"""Gauss-Newton fit of many tests with equally many observations, in pascal, at every node of a grid of noise models.

Arrays lie with the tests along the last axis and are worked on element by element only, sums over observations
written out: so a test comes out the same to the last bit whether it is alone or among many.
"""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np
from scipy.special import ndtr

from interchange.analysis.batch import Floats, Ints

PIVOT_PA = 25.0  # [Pa] pressure the level of a line is told at, about the middle of usual points
FIRST_ITERATIONS, NODE_ITERATIONS, BISECTIONS = 10, 4, 26
PATIENCE = 40  # [1] iterations for tests that have not come to rest by then
LARGEST_STEP = (20.0, 0.2, 0.5, 0.1)  # [Pa, 1, 1, 1] of one iteration, in the order of the unknowns
EXPONENT_BOUNDS = (0.25, 1.5)  # [1] beyond what any opening can have, so that iterations stay finite
LOG_PRESSURE_BOUNDS = (-20.0, 8.0)  # [1] of ln(h / 1 Pa), for the same reason
SETTLED = 0.01  # [1] largest last step of level and exponent, in posterior standard deviations, plus rounding
SETTLED_WEIGHT = 0.99  # [1] of the nodes at which it must be so


@dataclass(frozen=True, slots=True)
class Observations:
    """What was seen, shape (observations, tests). Baselines have sign 0 and log flow 0.

    pressure_pa signed [Pa]; sign +1 pressurising, -1 depressurising; log_flow ln(q / (1 m3/h)) plus what part of the
    reference factor does not depend on the exponent; log_shift: what part grows with it; apart: -1, 0 or +1, which of
    two directions the observation belongs to, 0 where there is one.
    """

    pressure_pa: Floats
    sign: Floats
    log_flow: Floats
    log_shift: Floats
    apart: Floats


@dataclass(frozen=True, slots=True)
class Priors:
    """Normal priors of each test: exponent [1], zero [Pa] (precision 0 where flat), log ratio of directions [1]."""

    exponent: Floats
    exponent_precision: Floats
    zero_precision: Floats
    ratio_precision: Floats


@dataclass(frozen=True, slots=True)
class Posterior:
    """Normal posteriors at each node, shape (nodes, tests); weights sum to 1 over nodes.

    level is ln Q at `PIVOT_PA`, log_scale the logarithm of the node's scale. `settled` (tests): weight of the nodes
    at which iterations came to rest.
    """

    weight: Floats
    log_scale: Floats
    zero_pa: Floats
    log_ratio: Floats
    level: Floats
    exponent: Floats
    level_variance: Floats
    covariance: Floats
    exponent_variance: Floats
    settled: Floats

    def put(self, tests: Ints, other: Posterior) -> None:
        """Put those of some tests in their places."""
        for part in fields(Posterior):
            getattr(self, part.name)[..., tests] = getattr(other, part.name)


def empty(nodes: int, tests: int) -> Posterior:
    """Posteriors of no weight, to be filled."""
    each = {part.name: np.full((nodes, tests), np.nan) for part in fields(Posterior)}
    return Posterior(**{**each, "weight": np.zeros((nodes, tests)), "settled": np.zeros(tests)})


@dataclass(frozen=True, slots=True)
class Wind:
    """What wind on the facades does, shape (forms, tests): spread W [Pa] over the leaks, rise of the zero [Pa]."""

    facade_pa: Floats
    rise_pa: Floats


def fit(seen: Observations, covariance_pa2: Floats, scale: Floats, priors: Priors, wind: Wind) -> Posterior:
    """Fit x = mu + rise + s (h^2 + (1 - n) W^2)^(1/2), h = P exp((ln q - level) / n), to each test at each node.

    Baselines are x = mu. The n beside W is that of the prior.

    covariance_pa2 (observations, observations, forms, tests) [Pa2], lower half, gives equally likely forms of the
    covariance; scale (scales, tests) multiplies their standard deviations, from -2 to +2 standard deviations of its
    logarithm in equal steps. A node is a form with a scale. Weights are prior times Laplace evidence. Tests that do
    not come to rest soon are given more iterations.

    References
    ----------
    [1] Gauss-Newton and Laplace's approximation: any text on Bayesian computation (from memory).

    """
    found = _fit(seen, covariance_pa2, scale, priors, wind, NODE_ITERATIONS)
    restless = np.flatnonzero(found.settled < SETTLED_WEIGHT)
    if restless.size:
        longer = _fit(
            Observations(*(getattr(seen, part.name)[:, restless] for part in fields(Observations))),
            covariance_pa2[..., restless],
            scale[:, restless],
            Priors(*(getattr(priors, part.name)[restless] for part in fields(Priors))),
            Wind(wind.facade_pa[:, restless], wind.rise_pa[:, restless]),
            PATIENCE,
        )
        found.put(restless, longer)
    return found


def _fit(
    seen: Observations, covariance_pa2: Floats, scale: Floats, priors: Priors, wind: Wind, iterations: int
) -> Posterior:
    factor, log_determinant = _cholesky(covariance_pa2)
    middle_form, middle = covariance_pa2.shape[2] // 2, scale.shape[0] // 2
    one = np.s_[:, :, middle_form : middle_form + 1]
    start = _start(seen, priors)
    once = Wind(*(part[middle_form : middle_form + 1] for part in (wind.facade_pa, wind.rise_pa)))
    first = _iterate(seen, factor[one], scale[None, middle : middle + 1], priors, once, start, FIRST_ITERATIONS)[0]
    forms, scales = covariance_pa2.shape[2], scale.shape[0]
    start = np.repeat(np.repeat(first, forms, axis=1), scales, axis=2)
    unknown, root, misfit, step = _iterate(seen, factor, scale[None], priors, wind, start, iterations)
    nodes = scales * forms
    flat = (nodes, -1)
    steps = np.linspace(-2.0, 2.0, scales)
    evidence = (
        -0.5 * steps[:, None] ** 2
        - 0.5 * misfit
        - 0.5 * log_determinant[:, None, :]
        - seen.pressure_pa.shape[0] * np.log(scale)
        - np.log(root[0, 0] * root[1, 1] * root[2, 2] * root[3, 3])
    ).reshape(nodes, -1)
    weight = np.exp(evidence - np.max(evidence, axis=0))
    weight = weight / summed(weight)
    low = root[2, 2], root[3, 2], root[3, 3]
    exponent_variance = 1.0 / low[2] ** 2
    covariance = -low[1] / (low[0] * low[2] ** 2)
    level_variance = (1.0 + (low[1] / low[2]) ** 2) / low[0] ** 2
    still = (np.abs(step[2]) <= SETTLED * np.sqrt(level_variance) + 1e-9) & (
        np.abs(step[3]) <= SETTLED * np.sqrt(exponent_variance) + 1e-9
    )
    return Posterior(
        weight=weight,
        log_scale=np.repeat(np.log(scale)[None], forms, axis=0).reshape(flat),
        zero_pa=unknown[0].reshape(flat),
        log_ratio=unknown[1].reshape(flat),
        level=unknown[2].reshape(flat),
        exponent=unknown[3].reshape(flat),
        level_variance=level_variance.reshape(flat),
        covariance=covariance.reshape(flat),
        exponent_variance=exponent_variance.reshape(flat),
        settled=summed(np.where(still.reshape(flat), weight, 0.0)),
    )


def mixture_quantile(probability: float, weight: Floats, mean: Floats, deviation: Floats) -> Floats:
    """Quantile of a mixture of normals, shape (nodes, tests) to (tests), by bisection."""
    low = np.min(mean - 6.0 * deviation, axis=0)
    high = np.max(mean + 6.0 * deviation, axis=0)
    for _ in range(BISECTIONS):
        half = 0.5 * (low + high)
        below = summed(weight * ndtr((half - mean) / deviation)) < probability
        low, high = np.where(below, half, low), np.where(below, high, half)
    return np.asarray(0.5 * (low + high))


def summed(values: Floats) -> Floats:
    """Sum over the first axis, one after the other: numpy's own sum takes another order for one test than for many."""
    total: Floats = values[0].copy()
    for value in values[1:]:
        total += value
    return total


def _cholesky(matrix: Floats) -> tuple[Floats, Floats]:
    """Lower root of each matrix along the first two axes, its diagonal inverted, and log determinants of matrices."""
    size = matrix.shape[0]
    root = np.zeros_like(matrix)
    log_determinant = np.zeros(matrix.shape[2:])
    for j in range(size):
        column = matrix[j:, j].copy()
        for k in range(j):
            column -= root[j:, k] * root[j, k]
        pivot = np.sqrt(column[0])
        log_determinant += 2.0 * np.log(pivot)
        root[j, j] = 1.0 / pivot
        root[j + 1 :, j] = column[1:] / pivot
    return root, log_determinant


def _whiten(factor: Floats, columns: Floats) -> None:
    """Solve L y = columns in place; factor (m, m, forms, tests), columns (m, columns, forms, scales, tests)."""
    for i in range(columns.shape[0]):
        row = columns[i]
        row *= factor[i, i][:, None]
        rest = columns[i + 1 :]
        rest -= factor[i + 1 :, i][:, None, :, None] * row


def _start(seen: Observations, priors: Priors) -> Floats:
    """A first guess (4, 1, 1, tests): mean of baselines, then the level of the points at the prior's exponent."""
    off = (seen.sign == 0).astype(np.float64)
    zero = summed(off * seen.pressure_pa) / np.maximum(summed(off), 1.0)
    induced = seen.sign * (seen.pressure_pa - zero)
    pressure = np.where(off > 0, 0.0, np.maximum(induced, 0.5))
    weight = pressure**2
    level = seen.log_flow - priors.exponent * (np.log(np.maximum(pressure, 0.5) / PIVOT_PA) - seen.log_shift)
    mean = summed(weight * level) / summed(weight)
    return np.stack([zero, np.zeros_like(zero), mean, priors.exponent])[:, None, None, :]


def _iterate(
    seen: Observations, factor: Floats, scale: Floats, priors: Priors, wind: Wind, unknown: Floats, times: int
) -> tuple[Floats, Floats, Floats, Floats]:
    """Unknowns (zero, log ratio, level, exponent), root of the Hessian, misfit with priors, last step."""
    unknown = unknown.copy()
    size, tests = seen.pressure_pa.shape
    shape = unknown.shape[1:]
    per_variance = 1.0 / scale**2
    precision = np.stack([priors.zero_precision, priors.ratio_precision, np.zeros(tests), priors.exponent_precision])
    centre = np.stack([np.zeros(tests)] * 3 + [priors.exponent])
    on = (seen.sign != 0)[:, None, None, :]
    pressure, sign, log_flow, log_shift, apart = (
        part[:, None, None, :]
        for part in (seen.pressure_pa, seen.sign, seen.log_flow, seen.log_shift, 0.5 * seen.apart)
    )
    rounding = ((1.0 - priors.exponent) * wind.facade_pa**2)[:, None, :]
    pressure = pressure - np.where(on, wind.rise_pa[:, None, :], 0.0)
    columns = np.empty((size, 5, *shape))
    columns[:, 0] = 1.0
    _whiten(factor, columns[:, :1])
    step = np.zeros_like(unknown)
    for count in range(times + 1):
        zero, ratio, level, exponent = unknown
        away = np.where(on, (log_flow - level - apart * ratio) / exponent, 0.0)
        logarithm = np.clip(np.log(PIVOT_PA) + log_shift + away, *LOG_PRESSURE_BOUNDS)
        square = np.exp(2.0 * logarithm)
        felt = np.sqrt(square + rounding)
        slope = np.where(on, sign * square / felt, 0.0) / exponent
        columns[:, 1] = -slope * apart
        columns[:, 2] = -slope
        columns[:, 3] = -slope * away
        columns[:, 4] = pressure - zero - np.where(on, sign * felt, 0.0)
        _whiten(factor, columns[:, 1:])
        products = np.zeros((5, 5, *shape))
        for row in columns:
            for i in range(5):
                products[i:, i] += row[i:] * row[i]
        products *= per_variance
        gradient = products[4, :4] - precision[:, None, None, :] * (unknown - centre[:, None, None, :])
        hessian = products[:4, :4]
        for i in range(4):
            hessian[i, i] += precision[i]
        root, _ = _cholesky(hessian)
        if count == times:
            break
        step = _solve(root, gradient)
        for i, most in enumerate(LARGEST_STEP):
            unknown[i] += np.clip(step[i], -most, most)
        unknown[3] = np.clip(unknown[3], *EXPONENT_BOUNDS)
    strain = precision[:, None, None, :] * (unknown - centre[:, None, None, :]) ** 2
    misfit = products[4, 4] + summed(strain)
    for i in range(4):
        root[i, i] = 1.0 / root[i, i]
    return unknown, root, misfit, step


def _solve(root: Floats, right: Floats) -> Floats:
    """Solve L L' y = right for a root with inverted diagonal."""
    size = right.shape[0]
    found = right.copy()
    for i in range(size):
        found[i] *= root[i, i]
        found[i + 1 :] -= root[i + 1 :, i] * found[i]
    for i in reversed(range(size)):
        found[i] *= root[i, i]
        found[:i] -= root[i, :i] * found[i]
    return found
