"""Baselines and points out of a trace: made logs whose levels are known, and what nobody may make of the others."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import combinations, pairwise
from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from interchange.analysis import changes, plateaus
from interchange.analysis.declared import agreement
from interchange.analysis.plateaus import BASELINE, POINT, Plateaus, are_repeats, find, means
from interchange.analysis.runs_of_trace import AFTER, BEFORE, BETWEEN
from interchange.analysis.trace import LIMITS, on_clock

Array = NDArray[np.float64]
COEFFICIENT, EXPONENT, FAN = 200.0, 0.65, 150.0  # invented house [m3/h at 1 Pa], and fan [m3/h at 1 Pa, root]
ZERO_PA, FAN_ZERO_PA = -1.0, 0.1
STAIRS = [(60, 0, 0), (40, 60, 60), (40, 45, 45), (40, 30, 30), (40, 20, 20), (60, 0, 0)]


def log(levels: Sequence[tuple[float, float, float]], *, step_s: float = 1.0, sign: int = -1, seed: int = 0) -> Any:
    """Seconds, house pressure, fan pressure; the fan makes stretches of (seconds, Pa at the start, Pa at the end)."""
    rng = np.random.default_rng(seed)
    held = np.concatenate([np.linspace(a, b, round(s / step_s)) for s, a, b in levels])
    fan = (COEFFICIENT * held**EXPONENT / FAN) ** 2 * (1 + 0.002 * rng.standard_normal(held.size))
    fan += FAN_ZERO_PA + 0.03 * rng.standard_normal(held.size)
    return np.arange(held.size) * step_s, ZERO_PA + sign * held + 0.05 * rng.standard_normal(held.size), fan


def points(found: Plateaus) -> list[tuple[int, int]]:
    here = found.points
    return list(zip(found.start[here].tolist(), found.stop[here].tolist(), strict=True))


def baselines(found: Plateaus) -> list[tuple[int, int, int, int]]:
    here = ~found.points
    columns = (found.start, found.stop, found.run, found.when)
    return list(zip(*(column[here].tolist() for column in columns), strict=True))


def same(one: Plateaus, other: Plateaus) -> None:
    for name in ("start", "stop", "kind", "run", "test", "when", "seconds", "count", "configuration"):
        assert getattr(one, name).tolist() == getattr(other, name).tolist(), name


# --- levels ----------------------------------------------------------------------------------------------------------


def test_stairs_are_points_without_their_edges_and_the_fan_at_rest_is_a_baseline() -> None:
    found = find(*log(STAIRS))
    assert points(found) == [(62, 98), (102, 138), (142, 178), (182, 218)]
    assert baselines(found) == [(0, 59, 1, BEFORE), (224, 280, 1, AFTER)]
    assert found.pressure_pa[found.points] == pytest.approx([-61, -46, -31, -21], abs=0.03)
    assert found.pressure_pa[~found.points] == pytest.approx([-1, -1], abs=0.03)
    assert found.pressure_spread_pa == pytest.approx([0.05] * 6, rel=0.4)
    assert found.seconds.tolist() == [59, 36, 36, 36, 36, 56] == found.count.tolist()
    assert found.direction.tolist() == [-1] * 6 and found.test.tolist() == [1] * 6
    assert found.fan_zero == pytest.approx(FAN_ZERO_PA, abs=0.01)


def test_one_level_is_one_point() -> None:
    found = find(*log([(30, 0, 0), (20, 50, 50), (20, 0, 0)]))
    assert points(found) == [(32, 48)]
    assert baselines(found) == [(0, 29, 1, BEFORE), (54, 70, 1, AFTER)]


def test_a_flow_stands_for_the_fan_where_its_pressure_is_not_logged() -> None:
    time, pressure, fan = log(STAIRS)
    by_flow = find(time, pressure, None, FAN * np.sqrt(np.maximum(fan - FAN_ZERO_PA, 0.0)))
    assert points(by_flow) == points(find(time, pressure, fan))
    assert np.isnan(by_flow.fan_zero)


@pytest.mark.parametrize("seconds", [20, 60, 120, 300, 600, 1200])
def test_a_ramp_is_never_a_point(seconds: int) -> None:
    found = find(*log([(60, 0, 0), (seconds, 0, 60), (40, 60, 60), (seconds, 60, 10), (40, 10, 10), (60, 0, 0)]))
    assert found.points.sum() == 2
    high, low = found.pressure_pa[found.points]
    assert high == pytest.approx(-61, abs=1.0) and low == pytest.approx(-11, abs=0.3)


def test_a_ramp_in_wind_is_never_a_point() -> None:
    time, pressure, fan = log([(60, 0, 0), (600, 10, 60), (60, 0, 0)])
    pressure = pressure + 1.5 * np.random.default_rng(1).standard_normal(time.size)
    assert points(find(time, pressure, fan)) == []


def test_a_slow_gauge_smears_the_steps_but_not_the_points() -> None:
    time, pressure, fan = log(STAIRS)
    smeared = [np.convolve(np.pad(one, (9, 0), mode="edge"), np.full(10, 0.1), mode="valid") for one in (pressure, fan)]
    found = find(time, *smeared)
    assert found.pressure_pa[found.points] == pytest.approx([-61, -46, -31, -21], abs=0.2)
    assert found.pressure_pa[~found.points] == pytest.approx([-1, -1], abs=0.6)


def test_a_small_correction_of_the_fan_is_not_averaged_into_the_point() -> None:
    found = find(*log([(30, 0, 0), (12, 51.5, 51.5), (30, 50, 50), (30, 0, 0)]))
    assert points(found) == [(44, 70)]


@pytest.mark.parametrize(("share", "second", "told_by_flow"), [(0.6, 52, False), (0.7, 54, True)])
def test_another_opening_parts_what_the_index_makes_look_alike(share: float, second: float, told_by_flow: bool) -> None:
    # fan + 3 x is the same: 0.6 and 1 of the fan pressure at 60 and 52 Pa, or 0.7 and 1 at 60 and 54 Pa
    time, pressure, fan = log([(60, 0, 0), (40, 60, 60), (40, second, second), (60, 0, 0)])
    wide = np.arange(time.size) < 100
    fan = np.where(wide, fan * share * (second / 60) ** 1.3, fan)
    flow = FAN * np.sqrt(np.maximum(fan, 0.0)) * np.where(wide, 1 / np.sqrt(share * (second / 60) ** 1.3), 1.0)
    found = find(time, pressure, fan, flow if told_by_flow else None)
    assert found.pressure_pa[found.points] == pytest.approx([-61, -1 - second], abs=0.1)


def test_gusts_that_lower_the_pressure_and_raise_the_flow_do_not_part_a_point() -> None:
    time, pressure, fan = log([(30, 0, 0), (150, 50, 50), (30, 0, 0)])
    gust = np.where((time >= 30) & (time < 180), np.sin(2 * np.pi * (time - 30) / 75), 0.0)
    found = find(time, pressure + 10.0 * gust, fan * (1 + 0.2 * gust))
    assert points(found) == [(32, 178)]


@pytest.mark.parametrize("seconds", [60, 120])
def test_pieces_of_a_ramp_too_short_to_tell_are_told_together(seconds: int) -> None:
    count = 0
    for seed in range(10):
        time, pressure, fan = log([(60, 0, 0), (seconds, 10, 60), (60, 0, 0)], seed=seed)
        rng = np.random.default_rng(seed)
        gusts = 2.0 * np.convolve(rng.standard_normal(time.size), np.exp(-np.arange(60) / 10) / 2.2, mode="same")
        count += len(points(find(time, pressure + gusts, fan * (1 + 0.02 * rng.standard_normal(time.size)))))
    assert count <= 10  # 23 and 54 where each is told alone


def test_a_channel_that_tells_the_opening_parts_points_and_names_it() -> None:
    time, pressure, fan = log([(30, 0, 0), (60, 50, 50), (30, 0, 0)])
    found = find(time, pressure, fan, configuration=np.where(np.arange(time.size) < 60, 0, 1))
    assert found.configuration[found.points].tolist() == [0, 1]
    assert points(found) == [(32, 58), (62, 88)]


# --- runs and tests --------------------------------------------------------------------------------------------------


def test_both_directions_are_two_runs_and_share_the_rest_between() -> None:
    down, up = log(STAIRS), log(STAIRS, sign=1, seed=1)
    time = np.arange(2 * down[0].size, dtype=float)
    found = find(time, np.concatenate([down[1], up[1]]), np.concatenate([down[2], up[2]]))
    assert found.run[found.points].tolist() == [1] * 4 + [2] * 4
    assert found.direction[found.points].tolist() == [-1] * 4 + [1] * 4
    assert [one[2:] for one in baselines(found)] == [(1, BEFORE), (1, AFTER), (2, BEFORE), (2, AFTER)]
    assert found.test.max() == 1


def test_a_short_rest_changes_the_opening_a_longer_one_before_the_same_pressures_begins_a_repeat() -> None:
    first = [(40, 50, 50), (40, 40, 40), (40, 0, 0), (40, 30, 30), (40, 20, 20)]
    found = find(*log([(30, 0, 0), *first, (120, 0, 0), (40, 50, 50), (40, 20, 20), (30, 0, 0)]))
    assert found.run[found.points].tolist() == [1, 1, 1, 1, 2, 2]
    assert found.test.max() == 1
    assert [one[3] for one in baselines(found)] == [BEFORE, BETWEEN, BETWEEN, AFTER, BEFORE, AFTER]


def test_after_a_long_rest_the_same_direction_is_another_test() -> None:
    pieces = [(30, 0, 0), (40, 50, 50), (40, 40, 40), (700, 0, 0), (40, 50, 50), (40, 40, 40), (30, 0, 0)]
    found = find(*log(pieces))
    assert found.test[found.points].tolist() == [1, 1, 2, 2] == found.run[found.points].tolist()


def test_a_rest_before_other_pressures_is_no_repeat_and_a_long_one_before_the_other_direction_no_other_test() -> None:
    goes_on = find(*log([(30, 0, 0), (40, 50, 50), (120, 0, 0), (40, 30, 30), (30, 0, 0)]))
    assert goes_on.run[goes_on.points].tolist() == [1, 1]
    down, up = log([(30, 0, 0), (40, 50, 50), (700, 0, 0)]), log([(40, 50, 50), (30, 0, 0)], sign=1)
    pressure, fan = (np.concatenate([down[part], up[part]]) for part in (1, 2))
    turned = find(np.arange(pressure.size, dtype=float), pressure, fan)
    assert turned.run[turned.points].tolist() == [1, 2] and turned.test.max() == 1


def test_tests_are_repeats_only_as_far_as_their_flows_agree() -> None:
    pieces = [(30, 0, 0), (40, 50, 50), (40, 40, 40), (700, 0, 0), (40, 50, 50), (40, 40, 40), (30, 0, 0)]
    time, pressure, fan = log(pieces)
    found = find(time, pressure, fan)
    flow = np.sqrt(np.maximum(means(found, fan), 0.0))
    assert are_repeats(found, flow)
    assert not are_repeats(found, np.where(found.test == 2, 1.2 * flow, flow))
    assert not are_repeats(found, np.where(found.test == 2, np.nan, flow))


# --- what the log does not prove -------------------------------------------------------------------------------------


def test_without_a_fan_there_are_no_points_and_baselines_only_where_pressure_steps() -> None:
    time, pressure, _ = log(STAIRS)
    found = find(time, pressure)
    assert baselines(found) == [(0, 59, 0, BEFORE), (224, 280, 0, BEFORE)]
    assert points(found) == [] and found.direction.tolist() == [0, 0]


@pytest.mark.parametrize("seed", range(5))
def test_wind_alone_is_neither_baseline_nor_point(seed: int) -> None:
    gusts = np.convolve(np.random.default_rng(seed).standard_normal(3600), np.exp(-np.arange(60) / 10), mode="same")
    assert find(np.arange(3600.0), 1.5 * gusts).start.tolist() == []


def test_a_fan_that_is_never_at_rest_gives_points_without_baselines() -> None:
    time, pressure, fan = log(STAIRS)
    found = find(time[60:220], pressure[60:220], fan[60:220])
    assert found.points.all() and found.points.sum() == 4
    assert np.isnan(found.fan_zero)


def test_low_fan_pressures_are_left_out_and_never_taken_for_a_baseline() -> None:
    time, pressure, fan = log([(60, 0, 0), (40, 60, 60), (40, 30, 30), (40, 6, 6), (40, 4, 4), (60, 0, 0)])
    fan = (fan - FAN_ZERO_PA) / 12
    found = find(time, pressure, fan)
    assert found.pressure_pa[found.points] == pytest.approx([-61, -31], abs=0.1)
    assert found.pressure_pa[~found.points] == pytest.approx([-1, -1], abs=0.1)


def test_a_fan_gauge_off_by_two_pascals_still_tells_rest_but_its_zero_is_not_believed() -> None:
    time, pressure, fan = log(STAIRS)
    found = find(time, pressure, fan + 1.9)
    assert points(found) == points(find(time, pressure, fan))
    assert np.isnan(found.fan_zero)


def test_readings_at_the_end_of_the_gauge_are_no_point() -> None:
    time, pressure, fan = log([(30, 0, 0), (40, 60, 60), (40, 30, 30), (30, 0, 0)])
    gusts = 3.0 * np.random.default_rng(2).standard_normal(time.size)
    cut = np.maximum(pressure + gusts, -60.0)
    found = find(time, cut, fan)
    assert found.pressure_pa[found.points] == pytest.approx([-31], abs=1.5)


def test_a_coarse_gauge_that_repeats_its_greatest_value_is_not_at_its_end() -> None:
    time, pressure, fan = log(STAIRS)
    found = find(time, np.round(pressure), np.round(fan))
    assert found.pressure_pa.tolist() == pytest.approx([-1, -61, -46, -31, -21, -1], abs=0.1)


def test_a_gap_cuts_a_point_and_missing_readings_do_not_count() -> None:
    time, pressure, fan = log([(30, 0, 0), (60, 50, 50), (60, 30, 30), (30, 0, 0)])
    pressure[100:103] = np.nan
    fan[110] = np.nan
    there = (np.arange(time.size) < 50) | (np.arange(time.size) >= 75)
    found = find(time[there], pressure[there], fan[there])
    at = found.points
    assert time[there][found.start[at]].tolist() == [32, 77, 92]
    assert time[there][found.stop[at] - 1].tolist() == [47, 87, 147]
    assert found.count[at].tolist() == [16, 11, 52]
    assert found.seconds[at].tolist() == [16, 11, 56]


@pytest.mark.parametrize(
    ("time", "pressure", "fan", "kinds"),
    [
        ([], [], [], []),
        ([0.0], [1.0], [0.0], []),
        (range(100), [np.nan] * 100, [np.nan] * 100, []),
        (range(100), [0.0] * 100, [0.0] * 100, [BASELINE]),
        (range(100), [-50.0] * 100, [60.0] * 100, [POINT]),
        (range(100), [-50.0] * 100, [np.nan] * 100, []),
    ],
    ids=["empty", "one reading", "all missing", "at rest", "held", "fan missing"],
)
def test_logs_of_next_to_nothing(time: Any, pressure: Any, fan: Any, kinds: list[int]) -> None:
    assert find(*(np.array(list(one), dtype=float) for one in (time, pressure, fan))).kind.tolist() == kinds


# --- what changes nothing --------------------------------------------------------------------------------------------


def gusty(step_s: float = 1.0) -> tuple[Array, Array, Array]:
    time, pressure, fan = log(STAIRS, step_s=step_s)
    rng = np.random.default_rng(5)
    gusts = np.convolve(rng.standard_normal(time.size), np.exp(-np.arange(60) * step_s / 10), mode="same")
    return time, pressure + 0.4 * gusts, fan * (1 - 0.003 * gusts)


def test_a_shifted_clock_changes_nothing() -> None:
    time, pressure, fan = gusty()
    same(find(time, pressure, fan), find(time + 1_772_445_600.0, pressure, fan))


def test_a_mirrored_sign_mirrors_the_pressures_and_the_direction() -> None:
    time, pressure, fan = gusty()
    one, other = find(time, pressure, fan), find(time, -pressure, fan)
    same(one, other)
    assert other.pressure_pa.tolist() == (-one.pressure_pa).tolist()
    assert other.direction.tolist() == (-one.direction).tolist()


@pytest.mark.parametrize("step_s", [0.5, 2.0, 6.0])
def test_other_steps_find_the_same_levels(step_s: float) -> None:
    found = find(*log(STAIRS, step_s=step_s))
    assert found.pressure_pa == pytest.approx([-1, -61, -46, -31, -21, -1], abs=0.05)
    assert found.seconds == pytest.approx([59, 36, 36, 36, 36, 56], abs=2 * step_s)


def test_uneven_steps_find_the_same_levels() -> None:
    time, pressure, fan = log(STAIRS)
    some = np.sort(np.random.default_rng(3).choice(time.size, 200, replace=False))
    found = find(time[some], pressure[some], fan[some])
    assert found.pressure_pa == pytest.approx([-1, -61, -46, -31, -21, -1], abs=0.05)


def test_readings_that_are_missing_are_as_good_as_left_out() -> None:
    time, pressure, fan = gusty()
    gone = np.random.default_rng(4).random(time.size) < 0.1
    holes = find(time, np.where(gone, np.nan, pressure), fan)
    closed = find(time[~gone], pressure[~gone], fan[~gone])
    assert holes.pressure_pa.tolist() == closed.pressure_pa.tolist()
    assert time[holes.start].tolist() == time[~gone][closed.start].tolist()


def test_limits_are_heard() -> None:
    trace = log([(30, 0, 0), (20, 50, 50), (20, 0, 0)])
    assert points(find(*trace, limits=replace(LIMITS, shortest_point_s=25.0))) == []
    assert find(*trace, limits=replace(LIMITS, shortest_baseline_s=20.0)).kind.tolist() == [BASELINE, POINT]


# --- parts -----------------------------------------------------------------------------------------------------------


def test_the_fan_pressure_of_a_point_yields_its_mean_flow() -> None:
    # by hand: roots of 100 and 144 Pa above a zero of 4 Pa are 10 and 12, mean 11, squared 121
    found = plateaus.Plateaus(*([np.array([0])] + [np.array([2])] + [np.zeros(1)] * 10), fan_zero=4.0)
    assert means(found, np.array([104.0, 148.0]), 0.5, 4.0) == pytest.approx([121.0], rel=1e-12)
    assert means(found, np.array([104.0, 148.0])) == pytest.approx([126.0], rel=1e-12)
    assert np.isnan(means(found, np.array([np.nan, np.nan]))).all()


@pytest.mark.parametrize("seed", range(4))
def test_the_partition_is_the_best_of_all(seed: int) -> None:
    rng = np.random.default_rng(seed)
    values = np.repeat(rng.normal(0, 1, 3), 4) + rng.normal(0, 0.4, 12)

    def cost(cuts: Sequence[int]) -> float:
        pieces = [values[a:b] for a, b in pairwise((0, *cuts, values.size))]
        return sum(float(((one - one.mean()) ** 2).sum()) / 0.3**2 + 5.0 for one in pieces)

    every = (cuts for count in range(12) for cuts in combinations(range(1, 12), count))
    best = min(every, key=cost)
    assert changes.partition(values, 0.3, 5.0, 100).tolist() == [0, *best, 12]


def test_no_piece_of_a_partition_is_longer_than_allowed() -> None:
    bounds = changes.partition(np.zeros(100), 1.0, 5.0, 30)
    assert np.diff(bounds).max() <= 30 and bounds[-1] == 100


def test_noise_of_levels_is_that_of_white_readings_and_knows_no_steps_and_no_slope() -> None:
    white = 0.3 * np.random.default_rng(6).standard_normal(20_000)
    assert changes.level_noise(white, 5) == pytest.approx(0.3, rel=0.05)
    steps = np.repeat(np.arange(200.0) % 7, 100)
    assert changes.level_noise(white + steps, 5) == pytest.approx(0.3, rel=0.1)
    assert changes.level_noise(white + np.arange(20_000.0), 5) == pytest.approx(1.25 * 0.3, rel=0.1)


def test_a_slower_channel_is_read_at_its_nearest_second() -> None:
    clock = np.arange(6.0)
    assert on_clock(clock, np.array([0.0, 2.0]), np.array([5.0, 7.0])).tolist()[:4] == [5.0, 5.0, 7.0, 7.0]
    assert np.isnan(on_clock(clock, np.array([0.0, 2.0]), np.array([5.0, 7.0]))[4:]).all()
    assert np.isnan(on_clock(clock, np.zeros(0), np.zeros(0))).all()


def test_declared_points_are_held_against_the_nearest_found_one_of_their_sign() -> None:
    # by hand: 30 s, tau 10 s: g = 2/3 (1 - (1 - exp(-3)) / 3) = 0.4555; error 1.2 sqrt(g / (1 - g)) and 0.05
    spread, seconds = np.full(4, 1.2), np.full(4, 30.0)
    held = agreement(np.array([-50.0, -30.0, 30.0, -5.0]), spread, seconds, np.array([-30.5, -50.4, -20.0]))
    assert held.nearest.tolist() == [1, 0, -1, -1]
    assert held.difference_pa[:2] == pytest.approx([-0.4, -0.5])
    assert held.standard_error_pa == pytest.approx(np.hypot(1.2 * np.sqrt(0.4555 / 0.5445), 0.05), rel=1e-3)
    assert held.z[:2] == pytest.approx(held.difference_pa[:2] / held.standard_error_pa[:2])
    assert held.extra_count == 1
