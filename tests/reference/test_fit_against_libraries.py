"""Fits and limits of thousands of random segments, against scipy.stats and statsmodels, segment by segment.

Segments hold 0 to 40 points; empty and one-point segments stand first, in the middle and last, and side by side.
The libraries see one segment at a time and know nothing of offsets. Everything agrees to 1e-9, relative.
"""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction
from math import sqrt

import numpy as np
import pytest
import scipy.stats
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.analysis import powerlaw, ragged

TOLERANCE = 1e-9
SEGMENTS = 3000
LONGEST = 40
SEED = 20260211


@dataclass(frozen=True)
class Bag:
    x: np.ndarray
    y: np.ndarray
    offsets: np.ndarray

    def segments(self) -> list[tuple[np.ndarray, np.ndarray]]:
        return [
            (self.x[a:b], self.y[a:b])
            for a, b in zip(self.offsets[:-1].tolist(), self.offsets[1:].tolist(), strict=True)
        ]


def bag_of(lengths: np.ndarray, rng: np.random.Generator) -> Bag:
    """Pressures between 4 and 100 Pa, exponents 0.4 to 1.05, scatter from next to nothing to 30 %."""
    offsets = np.concatenate(([0], np.cumsum(lengths))).astype(np.int64)
    each = np.repeat(np.arange(len(lengths)), lengths)
    x = rng.uniform(np.log(4), np.log(100), offsets[-1])
    ln_c, n = rng.uniform(2, 8, len(lengths)), rng.uniform(0.4, 1.05, len(lengths))
    scatter = 10 ** rng.uniform(-3, -0.5, len(lengths))
    return Bag(x, ln_c[each] + n[each] * x + scatter[each] * rng.normal(size=len(x)), offsets)


@pytest.fixture(scope="module")
def bag() -> Bag:
    rng = np.random.default_rng(SEED)
    lengths = rng.integers(0, LONGEST + 1, SEGMENTS)
    edges, middle = np.array([0, 1, 0, 0, 2, 1]), SEGMENTS // 2
    lengths[:6], lengths[middle : middle + 6], lengths[-6:] = edges, edges[::-1], edges[::-1]
    assert lengths[0] == lengths[-1] == 0
    return bag_of(lengths, rng)


@pytest.fixture(scope="module")
def law(bag: Bag) -> powerlaw.PowerLaw:
    return powerlaw.fit(bag.x, bag.y, bag.offsets)


def expected(bag: Bag, least: int, work) -> np.ndarray:
    """What a library makes of each segment of at least so many points; NaN for the others."""
    width = len(work(*next(pair for pair in bag.segments() if len(pair[0]) >= 3)))
    return np.array([work(x, y) if len(x) >= least else [np.nan] * width for x, y in bag.segments()])


def test_lines_equal_linregress(bag: Bag, law: powerlaw.PowerLaw):
    def line(x: np.ndarray, y: np.ndarray) -> list[float]:
        result = scipy.stats.linregress(x, y)
        return [result.slope, result.intercept]

    found = np.stack([law.exponent, law.log_coefficient], axis=1)
    np.testing.assert_allclose(found, expected(bag, 2, line), rtol=TOLERANCE, atol=0, equal_nan=True)
    assert law.point_count.tolist() == [len(x) for x, _ in bag.segments()]


def test_errors_of_lines_equal_linregress(bag: Bag, law: powerlaw.PowerLaw):
    """scipy takes the errors from 1 - r^2, which loses digits when r is near 1: held where 1 - r^2 is above 1e-6.

    The exact arithmetic of `test_errors_of_a_nearly_perfect_line_are_exact` stands in for it below that.
    """

    def errors(x: np.ndarray, y: np.ndarray) -> list[float]:
        result = scipy.stats.linregress(x, y)
        return [result.stderr, result.intercept_stderr, result.rvalue**2]

    found = np.stack([law.exponent_standard_error, law.log_coefficient_standard_error, law.correlation_r2], axis=1)
    theirs = expected(bag, 3, errors)
    scattered = theirs[:, 2] < 1 - 1e-6
    assert scattered.sum() > 2700
    np.testing.assert_allclose(found[scattered], theirs[scattered], rtol=TOLERANCE, atol=0)
    assert np.isnan(found[law.point_count < 3, :2]).all()  # two points fit any line: no errors, not errors of 0
    assert np.isfinite(found[law.point_count >= 3]).all()


def test_errors_of_lines_equal_statsmodels(bag: Bag, law: powerlaw.PowerLaw):
    """Every segment of three points or more; statsmodels works with residuals, so nearly perfect lines count too."""

    def errors(x: np.ndarray, y: np.ndarray) -> list[float]:
        result = sm.OLS(y, sm.add_constant(x)).fit()
        return [result.bse[1], result.bse[0], result.rsquared]

    found = np.stack([law.exponent_standard_error, law.log_coefficient_standard_error, law.correlation_r2], axis=1)
    found[law.point_count < 3] = np.nan
    np.testing.assert_allclose(found, expected(bag, 3, errors), rtol=TOLERANCE, atol=0, equal_nan=True)


@pytest.mark.parametrize("power", [-1.0, 2.0])
def test_weighted_lines_and_their_limits_equal_statsmodels(bag: Bag, power: float):
    """Weights are the flow to a power; statsmodels takes them as they come, whatever their unit."""
    few = Bag(bag.x[: bag.offsets[600]], bag.y[: bag.offsets[600]], bag.offsets[:601])

    def line(x: np.ndarray, y: np.ndarray) -> list[float]:
        result = sm.WLS(y, sm.add_constant(x), weights=np.exp(power * y)).fit()
        frame = result.get_prediction([[1.0, np.log(10.0)]]).summary_frame()
        return [result.params[1], *result.params[:1], *result.bse[::-1], result.rsquared, frame["mean_ci_upper"].item()]

    law = powerlaw.fit(few.x, few.y, few.offsets, 7.0 * np.exp(power * few.y))
    at_10 = law.log_coefficient + law.exponent * np.log(10.0) + powerlaw.log_flow_half_width(law, 10.0)
    errors = [law.exponent_standard_error, law.log_coefficient_standard_error, law.correlation_r2]
    found = np.stack([law.exponent, law.log_coefficient, *errors, at_10], axis=1)
    found[law.point_count < 3] = np.nan
    np.testing.assert_allclose(found, expected(few, 3, line), rtol=1e-8, atol=1e-10, equal_nan=True)
    along = powerlaw.abscissas(few.x, few.offsets, np.exp(power * few.y))
    weighted_at = powerlaw.log_flow_of(along, powerlaw.line_sums(along, few.y), 10.0)
    straight = law.log_coefficient + law.exponent * np.log(10.0)
    np.testing.assert_allclose(weighted_at, straight, rtol=TOLERANCE, equal_nan=True)


def test_stations_are_the_means_of_the_readings_nearest_to_them(bag: Bag):
    """Each segment by itself, in plain numpy; a point belongs to 50 Pa above 25 Pa, their geometric mean."""
    pressures, flows, offsets = powerlaw.drawn_together(bag.x, bag.y, bag.offsets, 50.0, 12.5)
    for i, (x, y) in enumerate(bag.segments()):
        parts = [part for part in (np.exp(x) < 25.0, np.exp(x) >= 25.0) if part.any()]
        here = slice(offsets[i], offsets[i + 1])
        np.testing.assert_allclose(np.exp(pressures[here]), [np.exp(x)[p].mean() for p in parts], rtol=TOLERANCE)
        np.testing.assert_allclose(np.exp(flows[here]), [np.exp(y)[p].mean() for p in parts], rtol=TOLERANCE)
    assert offsets.size == bag.offsets.size


@pytest.mark.parametrize("points", [3, 5, 11, 40])
def test_errors_of_a_nearly_perfect_line_are_exact(points: int):
    """Scatter of 1e-6 in ln Q, sums in rational numbers: no rounding but that of the last square root."""
    rng = np.random.default_rng(points)
    x = np.log(rng.uniform(5, 100, points))
    y = 5.5 + 0.65 * x + 1e-6 * rng.normal(size=points)
    xs, ys = [Fraction(value) for value in x.tolist()], [Fraction(value) for value in y.tolist()]
    x_mean, y_mean = sum(xs) / points, sum(ys) / points
    s_xx = sum((value - x_mean) ** 2 for value in xs)
    slope = sum((a - x_mean) * (b - y_mean) for a, b in zip(xs, ys, strict=True)) / s_xx
    residuals = sum((b - y_mean - slope * (a - x_mean)) ** 2 for a, b in zip(xs, ys, strict=True))
    slope_variance = residuals / (points - 2) / s_xx
    law = powerlaw.fit(x, y, np.array([0, points]))
    assert law.exponent[0] == pytest.approx(float(slope), rel=TOLERANCE)
    assert law.exponent_standard_error[0] == pytest.approx(sqrt(slope_variance), rel=TOLERANCE)
    expected_intercept_error = sqrt(slope_variance * sum(value**2 for value in xs) / points)
    assert law.log_coefficient_standard_error[0] == pytest.approx(expected_intercept_error, rel=TOLERANCE)


@pytest.mark.parametrize("pressure_pa", [4.0, 10.0, 50.0])
@pytest.mark.parametrize("confidence", [0.95, 0.80])
def test_limits_equal_statsmodels(bag: Bag, pressure_pa: float, confidence: float):
    """Band of the mean line (`mean_ci_*`, not `obs_ci_*`) and limits of the exponent."""
    few = Bag(bag.x[: bag.offsets[400]], bag.y[: bag.offsets[400]], bag.offsets[:401])

    def limits(x: np.ndarray, y: np.ndarray) -> list[float]:
        result = sm.OLS(y, sm.add_constant(x)).fit()
        frame = result.get_prediction([[1.0, np.log(pressure_pa)]]).summary_frame(alpha=1 - confidence)
        low, high = result.conf_int(alpha=1 - confidence)[1]
        return [frame["mean_ci_lower"].item(), frame["mean_ci_upper"].item(), low, high]

    law = powerlaw.fit(few.x, few.y, few.offsets)
    middle = law.log_coefficient + law.exponent * np.log(pressure_pa)
    half_width = powerlaw.log_flow_half_width(law, pressure_pa, confidence)
    found = np.stack([middle - half_width, middle + half_width, *powerlaw.exponent_limits(law, confidence)], axis=1)
    np.testing.assert_allclose(found, expected(few, 3, limits), rtol=TOLERANCE, atol=TOLERANCE, equal_nan=True)


def test_flow_at_a_pressure_equals_linregress(bag: Bag, law: powerlaw.PowerLaw):
    def flow(x: np.ndarray, y: np.ndarray) -> list[float]:
        result = scipy.stats.linregress(x, y)
        return [np.exp(result.intercept + result.slope * np.log(50.0))]

    found = powerlaw.flow_m3_h(law.log_coefficient, law.exponent, 50.0)[:, None]
    np.testing.assert_allclose(found, expected(bag, 2, flow), rtol=TOLERANCE, atol=0, equal_nan=True)


@pytest.mark.parametrize("confidence", [0.5, 0.8, 0.9, 0.95, 0.99])
def test_students_t_equals_scipy_stats(confidence: float):
    counts = np.arange(0, 60)
    quantiles = scipy.stats.t.ppf(1 - (1 - confidence) / 2, np.maximum(counts - 2, 1))
    quantiles[counts < 3] = np.nan
    np.testing.assert_allclose(powerlaw.student_t(counts, confidence), quantiles, rtol=TOLERANCE, equal_nan=True)


def test_a_segment_of_one_pressure_has_no_line():
    """Equal pressures, wherever they stand, draw no line; scipy refuses them outright."""
    x = np.log(np.array([50.0, 50.0, 50.0, 10.0, 20.0, 40.0, 25.0, 25.0]))
    y = np.log(np.array([900.0, 905.0, 910.0, 300.0, 470.0, 740.0, 560.0, 565.0]))
    law = powerlaw.fit(x, y, np.array([0, 3, 6, 8]))
    assert np.isnan(law.exponent).tolist() == [True, False, True]
    assert np.isnan(law.log_coefficient).tolist() == [True, False, True]
    assert np.isnan(law.exponent_standard_error).tolist() == [True, False, True]
    with pytest.raises(ValueError, match="identical"):
        scipy.stats.linregress(x[:3], y[:3])


segment_lengths = st.lists(st.sampled_from([0, 0, 1, 1, 2, 3, 5, 9, 40]), min_size=1, max_size=12)


@settings(max_examples=60, deadline=None)
@given(lengths=segment_lengths, seed=st.integers(0, 2**32 - 1))
def test_a_line_does_not_know_its_neighbours(lengths: list[int], seed: int):
    bag = bag_of(np.array(lengths), np.random.default_rng(seed))
    together = powerlaw.fit(bag.x, bag.y, bag.offsets)
    for i, (x, y) in enumerate(bag.segments()):
        alone = powerlaw.fit(x, y, np.array([0, len(x)]))
        for name in ("exponent", "log_coefficient", "exponent_standard_error", "correlation_r2"):
            found, lone = getattr(together, name)[i], getattr(alone, name)[0]
            assert found == lone or (np.isnan(found) and np.isnan(lone)), (i, name)


@settings(max_examples=60, deadline=None)
@given(lengths=segment_lengths, seed=st.integers(0, 2**32 - 1))
def test_segment_reductions_equal_numpy_on_each_segment(lengths: list[int], seed: int):
    bag = bag_of(np.array(lengths), np.random.default_rng(seed))
    parts = [y for _, y in bag.segments()]
    assert ragged.counts(bag.offsets).tolist() == lengths
    np.testing.assert_allclose(ragged.sums(bag.y, bag.offsets), [part.sum() for part in parts], rtol=1e-12)
    for reduced, by_numpy in ((ragged.means, np.mean), (ragged.minima, np.min), (ragged.maxima, np.max)):
        expected_values = [by_numpy(part) if len(part) else np.nan for part in parts]
        np.testing.assert_allclose(reduced(bag.y, bag.offsets), expected_values, rtol=1e-12, equal_nan=True)
    high = bag.x > np.log(50)
    keep_each = [(x > np.log(50)) for x, _ in bag.segments()]
    assert ragged.any_true(high, bag.offsets).tolist() == [bool(kept.any()) for kept in keep_each]
    assert ragged.kept(bag.offsets, high).tolist() == [0, *np.cumsum([kept.sum() for kept in keep_each]).tolist()]
    numbers = np.arange(float(len(lengths)))
    assert ragged.spread_out(numbers, bag.offsets).tolist() == np.repeat(numbers, lengths).tolist()
