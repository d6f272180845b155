"""Twins differ by the wind alone, or by the fault alone; the flags follow the rule."""

from __future__ import annotations

import numpy as np
import pytest

from . import (
    Case,
    Fan,
    House,
    Standard,
    Wind,
    branched_damped,
    clean_twin,
    effects,
    faults,
    judged,
    many_effects,
    multi_point,
    open_end,
    simulate,
    single_point,
    standard,
)
from .gauges import PERFECT_GAUGE
from .twins import _wind

BOTH = multi_point(directions=("depressurisation", "pressurisation"))
QUICK = multi_point(targets_pa=(50.0, 30.0, 18.0, 10.0), baseline_s=20, station_s=10, settle_s=10)


def test_without_wind_the_twin_is_the_test_and_nothing_is_affected():
    case = Case(wind=Wind(0.0), procedure=QUICK, keep_trace=True)
    test, twin = simulate(case, np.random.default_rng(3)), clean_twin(case, 3)
    for name in ("pressure_pa", "flow_m3_h", "baseline_before_pa", "fan_pressure_pa"):
        assert getattr(twin.runs[0], name).tolist() == getattr(test.runs[0], name).tolist()
    assert twin.trace.pressure_pa.tolist() == test.trace.pressure_pa.tolist()
    found = effects(case, 3).wind
    assert (found.flow_50_percent, found.flow_10_percent, found.exponent) == (0.0, 0.0, 0.0)
    assert not found.flow_50_affected
    assert not found.low_affected


def test_the_twin_keeps_stack_gauge_noise_and_certificate_and_loses_the_wind():
    behind_a_hill = Case(house=House(shelter=0.0), procedure=QUICK, keep_trace=True)  # wind that reaches nothing
    test, twin = simulate(behind_a_hill, np.random.default_rng(3)), clean_twin(behind_a_hill, 3)
    assert twin.trace.pressure_pa.tolist() == test.trace.pressure_pa.tolist()
    assert twin.runs[0].flow_m3_h.tolist() == test.runs[0].flow_m3_h.tolist()
    case = Case(procedure=QUICK, wind=Wind(7.0))
    test, twin = simulate(case, np.random.default_rng(3)), clean_twin(case, 3)
    assert twin.wind_10m_m_s == 0.0
    assert test.wind_10m_m_s > 4
    assert twin.runs[0].opening_coefficient_m3_h.tolist() == test.runs[0].opening_coefficient_m3_h.tolist()
    assert twin.runs[0].baseline_before_spread_pa[0] < 0.1 < 0.3 < test.runs[0].baseline_before_spread_pa[0]


def test_the_twin_without_wind_and_faults_is_the_truth_with_perfect_instruments():
    level = House(wall_shares=(0.4, 0.2, 0.2, 0.2), ceiling_share=0.0, wall_heights_m=(1.0,))
    fan = Fan(flow_gain_sd=0.0, gauge=PERFECT_GAUGE)
    wet = (faults.water(9.0, "from points", 0),)
    case = Case(house=level, wind=Wind(8.0), gauge=PERFECT_GAUGE, fan=fan, procedure=BOTH, faults=wet)
    found = effects(case, 2)
    assert found.both_off.flow_50_m3_h == pytest.approx(200 * 50**0.65, rel=1e-4)
    assert found.both_off.flow_10_m3_h == pytest.approx(200 * 10**0.65, rel=1e-4)
    assert found.both_off.exponent == pytest.approx(0.65, abs=1e-4)
    assert abs(found.error.flow_10_percent) > 1
    # the record is further from the truth by both, and each is known alone
    together = (1 + found.fault.flow_50_percent / 100) * (1 + found.wind_without_faults.flow_50_percent / 100)
    assert 1 + found.error.flow_50_percent / 100 == pytest.approx(together, rel=1e-4)


def test_effects_are_those_of_the_test_of_the_seed_in_any_company():
    case = Case(procedure=QUICK, wind=Wind(5.0), faults=(faults.in_fan_stream(6.0),))
    other = Case(procedure=single_point(), wind=Wind(2.0), lines=(branched_damped(),))
    few, more = many_effects([other, case], 4), judged([other, case, case, other], 4)
    for found in (few[1], effects(case, (4, 1)), more[1].effects):
        assert found.wind == few[1].wind
        assert found.fault == few[1].fault
    assert more[2].effects.wind != few[1].wind
    test = simulate(case, np.random.default_rng([4, 1]))
    assert more[1].test.runs[0].flow_m3_h.tolist() == test.runs[0].flow_m3_h.tolist()
    assert standard(test).flow_50_m3_h == few[1].recorded.flow_50_m3_h
    assert more[1].case is case


def a_result(at_50: float, at_10: float, off_pa: float = 0.0) -> Standard:
    """Of a line of 100 m3/h at 1 Pa and exponent 1/2 in still air, with stations at 40, 20 and 10 Pa."""
    stations = np.array([40.0, 20.0, 10.0])
    corrected = stations + np.array([9.0, 0.0, off_pa])  # the first is no low station
    return Standard(at_50, at_10, 0.5, ((100.0, 0.5),), (corrected,), (100 * np.sqrt(stations),))


@pytest.mark.parametrize(
    ("windy", "at_50", "low"),
    [
        (a_result(1000, 300), False, False),
        (a_result(1049, 329), False, False),
        (a_result(1051, 300), True, False),
        (a_result(949, 300), True, False),
        (a_result(1000, 331), False, True),
        (a_result(1000, 269), False, True),
        (a_result(1000, 300, 1.9), False, False),
        (a_result(1000, 300, -2.1), False, True),
        (a_result(float("nan"), float("nan")), True, True),
    ],
)
def test_flags_follow_the_rule(windy, at_50, low):
    found = _wind(windy, a_result(1000, 300), [np.array([40.0, 20.0, 10.0])])
    assert (found.flow_50_affected, found.low_affected) == (at_50, low)
    off = windy.corrected_pa[0][2] - 10
    assert found.low_station_pa == pytest.approx(off)


def test_a_single_point_errs_alike_at_both_pressures():
    found = effects(Case(procedure=single_point(), wind=Wind(9.0)), 2).wind
    assert found.flow_50_percent == pytest.approx(found.flow_10_percent)
    assert found.flow_50_percent != 0.0
    assert found.exponent == 0.0
    assert found.low_station_pa == 0.0


@pytest.mark.parametrize("count", [12, pytest.param(150, marks=pytest.mark.full)])
def test_more_wind_affects_more_tests_and_an_open_end_more_than_a_damped_one(count):
    def affected(speed: float, line) -> float:
        house, wind = House(shelter=1.0), Wind(speed, slow_speed=0.2)
        cases = [Case(house=house, wind=wind, lines=(line,), procedure=QUICK)] * count
        found = [each.wind for each in many_effects(cases, 8)]
        return float(np.mean([each.low_affected for each in found]))

    still, windy, damped = affected(1.5, open_end()), affected(9.0, open_end()), affected(9.0, branched_damped())
    assert still < 0.1
    assert windy > 0.5
    assert damped < windy
