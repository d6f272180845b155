"""What traces tell of line faults, by hand-made traces: fans that run, readings that stand, lines that lag."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from interchange.analysis.line_faults import features
from interchange.analysis.line_faults.features import AFTER, BEFORE, MOVING, POINT, RESTING, LineFeatures, Stretches

FLOW_50 = 2000.0  # [m3/h] of the house at 50 Pa, exponent 0.65; fan of 200 m3/h at the root of 1 Pa
FAN = 200.0


def fan_pa(pressure: float) -> float:
    return float((FLOW_50 * (pressure / 50.0) ** 0.65 / FAN) ** 2)


class Made:
    """A depressurisation: baseline, points of 30 s at 50, 30 and 15 Pa with 20 s to settle, baseline."""

    def __init__(self, seed: int = 1) -> None:
        plan = [(BEFORE, 0, 0.0, 60)]
        for place, target in enumerate((50.0, 30.0, 15.0)):
            plan += [(MOVING, -1, target, 20), (POINT, place, target, 30)]
        plan += [(RESTING, -1, 0.0, 20), (AFTER, 0, 0.0, 60)]
        rng = np.random.default_rng(seed)
        self.what = np.array([part[0] for part in plan])
        self.place = np.array([part[1] for part in plan])
        self.induced = np.repeat([part[2] for part in plan], [part[3] for part in plan])
        self.offsets = np.cumsum([0, *(part[3] for part in plan)])
        self.pressure = -1.0 - self.induced + rng.normal(0.0, 0.1, self.induced.size)
        self.fan = np.array([fan_pa(p) if p else 0.02 for p in self.induced]) + rng.normal(0.0, 0.05, self.induced.size)

    def features(self) -> LineFeatures:
        coefficient = np.where(np.isin(self.what, (POINT, MOVING)), np.log(FAN), np.nan)
        sessions = np.array([0, self.what.size])
        made = Stretches(self.pressure, self.fan, self.offsets, sessions, self.what, self.place, coefficient)
        return features.features(made, 1, 3)

    def seconds(self, what: int) -> Any:
        return np.repeat(self.what == what, np.diff(self.offsets))


def test_a_sound_trace_answers_the_fan_at_once_and_has_its_starts() -> None:
    found = Made().features()
    assert found.before_start_s.tolist() == [0.0]
    assert found.point_start_s.tolist() == [80.0, 130.0, 180.0]
    assert found.after_start_s.tolist() == [230.0]
    assert found.response[0] > 0.99
    assert found.lag_gain[0] < 0.0
    assert found.dead_share[0] == 0.0
    assert np.isnan(found.dead_from_s[0])
    assert found.before_fan_pa[0] == pytest.approx(0.02, abs=0.03)
    assert found.seconds[0] == 290.0


def test_noise_that_is_new_in_each_reading_is_told_without_its_slow_changes() -> None:
    made = Made()
    made.pressure = made.pressure + 5.0 * np.sin(np.arange(made.pressure.size) / 30.0)
    found = made.features()
    assert found.point_fast_pa == pytest.approx([0.1] * 3, abs=0.05)
    assert found.before_fast_pa == pytest.approx([0.1], abs=0.03)


def test_a_line_that_comes_off_reads_nought_from_then_to_the_end_of_the_run() -> None:
    made = Made()
    off = (np.arange(made.pressure.size) >= 140) & (made.induced > 0)
    made.pressure = np.where(off, 0.0, made.pressure)
    found = made.features()
    assert found.dead_share[0] > 0.4
    assert found.dead_from_s[0] == pytest.approx(140.0, abs=6.0)


def test_water_that_lets_one_point_read_nought_is_no_line_that_is_off() -> None:
    made = Made()
    made.pressure = made.pressure + 31.0  # the point at 30 Pa reads 0
    assert made.features().dead_share[0] == 0.0


def test_a_pinched_line_follows_late() -> None:
    made = Made()
    late, last = made.pressure.copy(), made.pressure[0]
    for i, value in enumerate(made.pressure):
        last += (value - last) / 40.0
        late[i] = last
    made.pressure = late
    found = made.features()
    assert found.lag_s[0] == pytest.approx(40.0)
    assert found.lag_gain[0] > 1.0


def test_a_gauge_that_averages_ten_seconds_on_both_channels_is_no_lag() -> None:
    made = Made()
    for name in ("pressure", "fan"):
        series = getattr(made, name)
        padded = np.concatenate([np.full(9, series[0]), series])
        setattr(made, name, np.convolve(padded, np.ones(10) / 10.0, mode="valid"))
    assert made.features().lag_gain[0] < 0.0


def test_a_reading_that_stands_still_answers_nothing() -> None:
    made = Made()
    made.pressure = np.full(made.pressure.size, -2.0) + np.random.default_rng(2).normal(0, 0.05, made.pressure.size)
    assert made.features().response[0] < 0.1


def test_a_fan_that_runs_in_a_baseline_shows_on_its_gauge() -> None:
    made = Made()
    made.fan = made.fan + np.where(made.seconds(BEFORE), 3.0, 0.0)
    found = made.features()
    assert found.before_fan_pa[0] == pytest.approx(3.0, abs=0.05)
    assert found.after_fan_pa[0] == pytest.approx(0.0, abs=0.05)
    assert found.fan_follows[0] < 3.0


def test_a_fan_gauge_across_the_door_follows_the_house_pressure() -> None:
    made = Made()
    rng = np.random.default_rng(3)
    wind = np.repeat(rng.normal(0.0, 1.0, 29), 10)
    made.pressure, made.fan = made.pressure + wind, made.fan - (made.pressure + wind)
    found = made.features()
    assert found.fan_slope[0] == pytest.approx(-1.0, abs=0.1)
    assert found.fan_follows[0] > 5.0
    assert Made().features().fan_follows[0] < 3.0


def test_a_trend_within_a_point_is_told_of_pressure_and_flow() -> None:
    made = Made()
    second = np.arange(made.pressure.size)
    opened = (second >= 145) & (second < 160)  # second half of the second point
    made.pressure = made.pressure + np.where(opened, 4.0, 0.0)
    made.fan = made.fan * np.where(opened, 1.1, 1.0)
    found = made.features()
    assert found.point_trend_pa[1] == pytest.approx(4.0, abs=0.3)
    assert found.point_flow_trend[1] == pytest.approx(0.5 * np.log(1.1), abs=0.01)
    assert abs(found.point_flow_trend[0]) < 0.01


def test_a_fan_of_another_session_lends_its_coefficient_to_none() -> None:
    one, other = Made(), Made()
    coefficient = np.where(np.isin(one.what, (POINT, MOVING)), np.log(FAN), np.nan)
    length = one.what.size

    def together(second: Any) -> LineFeatures:
        made = Stretches(
            np.concatenate([one.pressure, other.pressure]),
            np.concatenate([one.fan, other.fan]),
            np.concatenate([one.offsets, one.offsets[-1] + other.offsets[1:]]),
            np.array([0, length, 2 * length]),
            np.concatenate([one.what, other.what]),
            np.concatenate([one.place, np.where(other.place >= 0, other.place + 3, -1)]),
            np.concatenate([coefficient, second]),
        )
        return features.features(made, 5, 6)

    alone = together(coefficient - 3.0).response
    assert together(np.full(length, np.nan)).response[0] == alone[0]
    assert together(coefficient - 3.0).lag_gain[1] == pytest.approx(Made().features().lag_gain[0], rel=1e-6)


def test_a_session_without_a_trace_is_silent() -> None:
    made = Made()
    made.offsets, made.what, made.place = np.array([0]), made.what[:0], made.place[:0]
    made.pressure, made.fan = made.pressure[:0], made.fan[:0]
    empty = Stretches(made.pressure, made.fan, np.array([0]), np.array([0, 0]), made.what, made.place, np.zeros(0))
    found = features.features(empty, 1, 3)
    assert np.isnan([found.response[0], found.dead_share[0], found.fan_slope[0], found.before_fan_pa[0]]).all()
