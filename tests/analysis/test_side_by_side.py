"""Two lines side by side: cases by hand, and the edges of each guard."""

from __future__ import annotations

import numpy as np
import pytest

from interchange.analysis import clocks
from interchange.analysis import side_by_side as kernel


def rough(seconds: int, time_scale_s: float, seed: int) -> np.ndarray:
    """A first-order series of unit variance."""
    rng = np.random.default_rng(seed)
    kept = np.exp(-1.0 / time_scale_s)
    series = np.empty(seconds)
    series[0] = rng.standard_normal()
    for i, one in enumerate(np.sqrt(1 - kept**2) * rng.standard_normal(seconds - 1), 1):
        series[i] = kept * series[i - 1] + one
    return series


def test_a_line_of_half_the_other_is_half_as_rough_without_any_doubt() -> None:
    first = rough(900, 10.0, 1)
    found = kernel.compare(first, 0.5 * first + 2.0, 1.0)
    assert found.readings == 900
    assert found.second_spread_pa == pytest.approx(0.5 * found.first_spread_pa, rel=1e-12)
    assert (found.ratio.value, found.ratio.low, found.ratio.high) == pytest.approx((0.5, 0.5, 0.5), rel=1e-6)
    assert found.difference_pa.value == pytest.approx(2.0 - 0.5 * first.mean(), abs=1e-12)


def test_spreads_are_standard_deviations_with_one_less_than_the_readings() -> None:
    first = np.tile([1.0, 3.0], 60)
    second = np.tile([0.0, 6.0], 60)
    found = kernel.compare(first, second, 1.0)
    assert found.first_spread_pa == pytest.approx(np.sqrt(120 / 119))
    assert found.second_spread_pa == pytest.approx(3.0 * np.sqrt(120 / 119))
    assert (found.ratio.value, found.difference_pa.value) == pytest.approx((3.0, 1.0))


def test_exchanged_lines_give_the_inverse_ratio_and_the_opposite_difference() -> None:
    first, second = 2.0 * rough(1200, 8.0, 2), rough(1200, 20.0, 3)
    there, back = kernel.compare(first, second, 1.0), kernel.compare(second, first, 1.0)
    assert back.ratio.low == pytest.approx(1.0 / there.ratio.high, rel=1e-6)
    assert back.difference_pa.high == pytest.approx(-there.difference_pa.low, rel=1e-6)


def test_readings_that_hang_together_for_longer_give_wider_limits() -> None:
    half = {
        scale: np.mean(
            [
                np.ptp([c.difference_pa.low, c.difference_pa.high])
                for seed in range(8)
                for c in [kernel.compare(rough(1800, scale, seed), rough(1800, scale, 100 + seed), 1.0)]
            ]
        )
        for scale in (1.0, 16.0)
    }
    # the variance of a mean goes with the time scale; r of steps of 1 s: coth(1/2s)
    exact = np.sqrt(np.tanh(1 / 2.0) / np.tanh(1 / 32.0))
    assert half[16.0] / half[1.0] == pytest.approx(exact, rel=0.25)


def test_the_limits_of_a_mean_hold_where_the_wind_changes_over_minutes() -> None:
    """Of 300 s, about 0: limits made from the fast part alone would hold 0 far too rarely."""
    inside = []
    for seed in range(60):
        found = kernel.compare(np.zeros(1800), rough(1800, 150.0, seed), 2.0)  # 3600 s in steps of 2 s
        inside.append(found.difference_pa.low <= 0.0 <= found.difference_pa.high)
    assert sum(inside) >= 53


def test_too_few_readings_and_a_line_that_stands_still_tell_nothing() -> None:
    few = kernel.compare(rough(119, 5.0, 1), rough(119, 5.0, 2), 1.0)
    assert (few.readings, few.ratio.told, few.difference_pa.told) == (119, False, False)
    still = kernel.compare(rough(600, 5.0, 1), np.full(600, -1.2), 1.0)
    assert (still.ratio.told, still.second_spread_pa) == (False, pytest.approx(0.0, abs=1e-12))
    assert still.difference_pa.told
    both = kernel.compare(np.zeros(600), np.zeros(600), 1.0)
    assert (both.difference_pa.low, both.difference_pa.high) == (0.0, 0.0)
    slow = kernel.slow(rough(600, 5.0, 1), np.full(600, -1.2), 1.0)
    assert not slow.correlation.told


def test_steps_that_differ_and_gaps_are_brought_to_the_longer_step_and_nothing_is_filled_in() -> None:
    first = np.arange(0.0, 60.0, 0.5)
    second = np.concatenate([np.arange(10.0, 30.0, 10.0), np.arange(60.0, 90.0, 10.0)])
    time, a, b = kernel.on_one_clock((first, first), (second, 100.0 + second))
    assert time.tolist() == [10.0, 20.0, 30.0, 40.0, 50.0]
    assert a.tolist() == [10.0, 20.0, 30.0, 40.0, 50.0]
    assert b[:2].tolist() == [110.0, 120.0]
    assert np.isnan(b[3:]).all()


def test_lines_that_were_not_read_at_once_and_a_line_without_readings_have_no_clock_in_common() -> None:
    early, late = np.arange(10.0), np.arange(20.0, 30.0)
    assert kernel.on_one_clock((early, early), (late, late))[0].size == 0
    assert kernel.on_one_clock((early, early), (late, np.full(10, np.nan)))[0].size == 0


def test_missing_readings_count_nothing() -> None:
    first, second = rough(1800, 5.0, 4), 0.5 * rough(1800, 5.0, 5)
    second[600:1200] = np.nan
    found = kernel.compare(first, second, 1.0)
    kept = np.r_[0:600, 1200:1800]
    assert found.readings == 1200
    assert found.ratio.value == pytest.approx(second[kept].std() / first[kept].std())
    assert found.ratio.low < 0.5 < found.ratio.high


def test_water_in_one_line_is_a_jump_where_it_comes_and_where_it_goes() -> None:
    first, second = rough(2400, 3.0, 6), rough(2400, 3.0, 7)
    assert kernel.jumps(first, second, 1.0) == []
    second[700:1000] += 12.0
    (comes, up), (goes, down) = kernel.jumps(first, second, 1.0)
    assert abs(comes - 700) <= 10 and abs(goes - 1000) <= 10
    assert (up, down) == (pytest.approx(12.0, abs=2.0), pytest.approx(-12.0, abs=2.0))
    assert kernel.longest_between([comes, goes], 2400) == slice(goes, 2400)


def test_a_plan_is_the_variance_over_the_square_of_what_is_to_be_seen() -> None:
    known = kernel.Compared(900, 1.0, 1.0, kernel.UNTOLD, kernel.UNTOLD, log_ratio_error_s=60.0)
    # (1.960 + 0.842)^2 = 7.849 (tables of the normal distribution); ln 0.8 = -0.22314
    assert kernel.minutes_to_see(known, 0.8) == pytest.approx(7.849 / 0.22314**2, rel=1e-3)
    assert kernel.minutes_to_see(known, 1.25) == pytest.approx(kernel.minutes_to_see(known, 0.8))
    assert np.isnan(kernel.minutes_to_see(known, 1.0))


def test_the_calmer_line_follows_slow_changes_or_does_not() -> None:
    slow = 3.0 * rough(3600, 400.0, 8)
    first = slow + rough(3600, 5.0, 9)
    follows = kernel.slow(first, 0.5 * slow + 0.1 * rough(3600, 5.0, 10), 1.0)
    assert follows.correlation.low > 0.8
    assert follows.gain == pytest.approx(0.5, rel=0.1)
    blocked = kernel.slow(first, 0.1 * rough(3600, 5.0, 10), 1.0)
    assert blocked.correlation.low < 0.0 < blocked.correlation.high


def test_independent_pairs_of_series_that_do_not_hang_together_are_all_of_them() -> None:
    # r(1) of +1, -1, +1 ... is below 0: nothing is taken off
    assert kernel.independent(np.tile([1.0, -1.0], 20), np.tile([1.0, -1.0], 20)) == 40.0
    assert kernel.independent(np.arange(40.0), np.arange(40.0)) < 8.0


@pytest.mark.parametrize("offset_s", [-290.0, 0.0, 185.0])
def test_a_clock_that_is_off_is_found_where_the_wind_was_recorded_at_the_house_too(offset_s: float) -> None:
    time = np.arange(3600.0)
    wind = 5.0 + rough(3600, 60.0, 11)
    stamp = np.arange(-540.0, 4200.0, 60.0)
    seen = [wind[(time > end - offset_s - 60.0) & (time <= end - offset_s)] for end in stamp]
    speed = np.array([part.mean() if part.size else 5.0 for part in seen])
    found = clocks.clock_offset(time, (), stamp, speed, 60.0, site_wind_m_s=wind)
    assert found.told
    assert found.low_s <= offset_s <= found.high_s
    assert found.high_s - found.low_s < 30.0


def test_a_record_of_another_wind_or_a_short_one_does_not_tell_the_clock() -> None:
    time, stamp = np.arange(3600.0), np.arange(-540.0, 4200.0, 60.0)
    other = clocks.clock_offset(time, (rough(3600, 30.0, 1),), stamp, 5.0 + rough(stamp.size, 2.0, 2), 60.0)
    assert not other.told
    short = clocks.clock_offset(time[:300], (rough(300, 30.0, 1),), stamp, 5.0 + rough(stamp.size, 2.0, 2), 60.0)
    assert short == clocks.NOTHING
    flat = clocks.clock_offset(time, (rough(3600, 30.0, 1),), stamp, np.full(stamp.size, 4.0), 60.0)
    assert flat == clocks.NOTHING
