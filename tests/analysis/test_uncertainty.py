"""The budget of the plain result: each part by hand, the whole against simulated tests and a straight propagation."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
import scipy.special
from build import PRESSURES, batch, line, multi_point, one_point
from wind import simulated

from interchange.analysis import noise, points, powerlaw, steps, uncertainty
from interchange.analysis.batch import Batch
from interchange.analysis.noise import NoiseDefaults
from interchange.analysis.uncertainty import PARTS, PRESSURES_PA, Budget, budget
from interchange.analysis.work import Work, begin
from interchange.quantities import QUANTITIES

KINDS = ("single_point", "two_point", "multi_point")
QUIET = NoiseDefaults(turbulent_pa=0.0, floor_pa=0.0, flow_ratio=0.0)
T_3 = 3.182446  # quantile of Student's t with 3 degrees of freedom, tables
SQRT_3 = math.sqrt(3.0)


def fitted(readings: Batch) -> Work:
    work = begin(readings, KINDS)
    steps.subtract_baseline(work)
    points.gather(work)
    work.log_coefficient = work.exponent = np.full(work.direction.size, np.nan)
    work.exponent_assumed = np.zeros(work.direction.size, dtype=np.bool_)
    steps.fit_power_law(work)
    steps.fit_one_point(work)
    return work


def of(*sessions: Any, **keywords: Any) -> Budget:
    return budget(fitted(batch(*sessions)), **keywords)


def share(seconds: float) -> float:
    a = 10.0 / seconds
    return 2 * a * (1 - a * (1 - math.exp(-1 / a)))


def test_a_one_point_test_by_hand() -> None:
    # 49 Pa; a point of 20 s and one baseline of 60 s at the default turbulence of 0.5 Pa, floor 0.05 Pa. The level of
    # noise is hardly known: all of it times t(3) / 1.96. Instruments 0.15 Pa, 1 % and 4 % as limits.
    found = of(one_point())
    wider = T_3 / 1.959964
    zero = wider * math.sqrt(0.25 * share(60) + 0.05**2) * 0.65 / 49
    at_point = wider * math.sqrt((0.65 / 49) ** 2 * (0.25 * share(20) + 0.05**2) + 0.005**2)
    expected = {
        "zero_noise": [zero] * 3,
        "zero_shift": [0.0] * 3,
        "point_noise": [at_point] * 3,
        "fitted_exponent": [0.0] * 3,
        "gauge_gain": [0.65 * 0.01 / SQRT_3] * 3,
        "gauge_offset": [0.65 * 0.15 / 49 / SQRT_3] * 3,
        "fan_flow": [0.04 / SQRT_3] * 3,
        "assumed_exponent": [0.06 * abs(math.log(p / 49)) for p in (50, 10, 4)],
    }
    for name, values in expected.items():
        assert found.parts[name][0] == pytest.approx(values, rel=1e-6), name
    assert found.total[0] == pytest.approx(np.sqrt(np.sum(np.square(list(expected.values())), axis=0)), rel=1e-6)
    assert not found.noise_told[0]


def test_a_baseline_that_moved_leaves_half_its_excess_as_limits() -> None:
    # 49 +- 2 Pa: moved by 4 Pa, no noise to explain it, so within 2 Pa of the mean: 2 / sqrt 3 of 49 Pa
    session = one_point()
    session["runs"][0] |= {"baseline_before_pressure_pa": 1.0, "baseline_after_pressure_pa": -3.0}
    found = of(session, defaults=QUIET)
    assert found.parts["zero_shift"][0] == pytest.approx([0.65 * 2.0 / SQRT_3 / 49] * 3, rel=1e-9)
    loud = of(session, defaults=NoiseDefaults(turbulent_pa=10.0))
    assert loud.parts["zero_shift"][0].tolist() == [0.0] * 3


def test_errors_of_a_line_are_those_of_a_straight_propagation() -> None:
    # derivatives of the fitted log flow to each reading by finite differences, squared and added
    noisy = NoiseDefaults(turbulent_pa=0.0, floor_pa=0.4, flow_ratio=0.01)
    session = multi_point()
    work = fitted(batch(session))
    found = budget(work, defaults=noisy)
    x, y, offsets = work.line.log_pressure, work.line.log_flow, work.line.offsets

    def log_flow(pressure: float, dp: Any = 0.0, dq: Any = 0.0) -> float:
        law = powerlaw.fit(np.log(np.exp(x) + dp), y + dq, offsets)
        return float(law.log_coefficient[0] + law.exponent[0] * math.log(pressure))

    freedom = 0.5 / 0.9**2
    left = len(PRESSURES) - 2
    t = float(uncertainty.stdtrit(freedom + left, 0.975)) / 1.959964
    factor = math.sqrt(freedom / (freedom + left)) * t  # the points lie on their line
    each = np.eye(len(PRESSURES)) * 1e-6
    for column, pressure in enumerate(PRESSURES_PA):
        at = log_flow(pressure)
        by_pressure = [(log_flow(pressure, dp=step) - at) / 1e-6 for step in each]
        by_flow = [(log_flow(pressure, dq=step) - at) / 1e-6 for step in each]
        random = math.sqrt(0.4**2 * np.dot(by_pressure, by_pressure) + 0.01**2 * np.dot(by_flow, by_flow)) * factor
        got = math.hypot(found.parts["point_noise"][0, column], found.parts["fitted_exponent"][0, column])
        assert got == pytest.approx(random, rel=1e-4)
        common = abs(sum(by_pressure))
        assert found.parts["gauge_offset"][0, column] == pytest.approx(0.15 / SQRT_3 * common, rel=1e-4)
        zero = math.sqrt((0.4**2 + 0.4**2) / 4) * factor  # both baselines
        assert found.parts["zero_noise"][0, column] == pytest.approx(zero * common, rel=1e-4)
        assert found.parts["gauge_gain"][0, column] == pytest.approx(0.65 * 0.01 / SQRT_3, rel=1e-9)
    assert found.parts["point_noise"][0].tolist() == [found.parts["point_noise"][0, 0]] * 3
    assert found.parts["assumed_exponent"][0].tolist() == [0.0] * 3


def test_a_weighted_line_is_propagated_with_its_weights() -> None:
    noisy = NoiseDefaults(turbulent_pa=0.0, floor_pa=0.4, flow_ratio=0.0)
    work = fitted(batch(multi_point()))
    steps.fit_weighted_power_law(work, flow_power=2.0)
    found = budget(work, defaults=noisy)
    x, y, offsets = work.line.log_pressure, work.line.log_flow, work.line.offsets
    weight = np.exp(2.0 * y)

    def log_flow(dp: Any) -> float:
        law = powerlaw.fit(np.log(np.exp(x) + dp), y, offsets, weight)
        return float(law.log_coefficient[0] + law.exponent[0] * math.log(4.0))

    common = abs(sum((log_flow(step) - log_flow(0.0)) / 1e-6 for step in np.eye(len(PRESSURES)) * 1e-6))
    assert found.parts["gauge_offset"][0, 2] == pytest.approx(0.15 / SQRT_3 * common, rel=1e-4)


def test_points_that_scatter_more_than_their_noise_widen_it() -> None:
    # residuals of +-5 % about the line against noise of 0.5 %: the ratio of squares rules the factor
    session = multi_point()
    for i, one in enumerate(session["runs"][0]["points"]):
        one["readings"][0]["flow_m3_h"] *= 1.05 if i % 2 else 0.95
    still = NoiseDefaults(turbulent_pa=0.0, floor_pa=1e-9)
    work = fitted(batch(session))
    residual = work.line.log_flow - work.log_coefficient - work.exponent * work.line.log_pressure
    freedom, left = 0.5 / 0.9**2, len(PRESSURES) - 2
    square = (freedom + np.sum(residual**2) / 0.005**2) / (freedom + left)
    t = float(uncertainty.stdtrit(freedom + left, 0.975)) / 1.959964
    found = budget(work, defaults=still)
    assert found.parts["point_noise"][0, 0] == pytest.approx(0.005 / math.sqrt(10) * math.sqrt(square) * t, rel=1e-9)


def test_spreads_do_not_outvote_the_scatter_of_points() -> None:
    # spreads of 1e-6 Pa over 600 s would know their level with 30 degrees of freedom; they are granted 4
    session = multi_point()
    for i, one in enumerate(session["runs"][0]["points"]):
        one |= {"envelope_pressure_spread_pa": 1e-6, "averaging_s": 60}
        one["readings"][0]["flow_m3_h"] *= 1.05 if i % 2 else 0.95
    work = fitted(batch(session))
    residual = work.line.log_flow - work.log_coefficient - work.exponent * work.line.log_pressure
    square = (4.0 + np.sum(residual**2) / 0.005**2) / (4.0 + 8.0)
    t = float(uncertainty.stdtrit(30.0 + 8.0, 0.975)) / 1.959964
    found = budget(work, defaults=NoiseDefaults(floor_pa=1e-9))
    assert found.parts["point_noise"][0, 0] == pytest.approx(0.005 / math.sqrt(10) * math.sqrt(square) * t, rel=1e-6)
    assert found.noise_told[0]


def test_recorded_accuracies_stand_for_the_defaults() -> None:
    absent, some = np.array([np.nan, np.nan]), np.array([np.nan, 0.02])
    gear = uncertainty.instruments(absent, some, np.array([0.03, np.nan]))
    assert gear.gauge_pa.tolist() == [0.15, 0.0]
    assert gear.gauge_ratio.tolist() == [0.01, 0.02]
    assert gear.fan_ratio.tolist() == [0.03, 0.04]
    assert gear.gauge_assumed.tolist() == [True, False]
    assert gear.fan_assumed.tolist() == [False, True]
    found = of(one_point(), one_point(), gear=gear)
    assert found.parts["gauge_gain"][:, 0] == pytest.approx([0.0065 / SQRT_3, 0.013 / SQRT_3])
    assert found.parts["fan_flow"][:, 2] == pytest.approx([0.03 / SQRT_3, 0.04 / SQRT_3])
    # 0.65 sqrt(0.01^2 + (0.15 / 50)^2) and 0.03, over sqrt 3
    by_hand = math.sqrt((0.65**2 * (0.01**2 + 0.003**2) + 0.03**2) / 3)
    assert gear.log_flow_sd(np.array([0.65, 0.65]), 50.0)[0] == pytest.approx(by_hand, rel=1e-12)


def test_noise_of_runs_averages_out_and_that_of_instruments_does_not() -> None:
    one, both = multi_point(), multi_point()
    both["runs"] = [*both["runs"], {**both["runs"][0], "direction": "pressurisation"}]
    both["runs"][1]["points"] = line("pressurisation", PRESSURES, offset=-1.0)
    found = of(one, both)
    for name in ("zero_noise", "point_noise", "fitted_exponent"):
        assert found.parts[name][1] == pytest.approx(found.parts[name][0] / math.sqrt(2.0), rel=1e-9), name
    for name in ("gauge_gain", "gauge_offset", "fan_flow"):
        assert found.parts[name][1] == pytest.approx(found.parts[name][0], rel=1e-9), name


def test_a_session_without_a_fit_has_no_budget_and_harms_no_other() -> None:
    empty = multi_point()
    empty["runs"][0]["points"] = []
    sessions = [multi_point(), empty, {"kind": "multi_point"}, one_point(), multi_point(baseline_pa=-2.0)]
    among = of(*sessions)
    assert np.isnan(among.total).all(axis=1).tolist() == [False, True, True, False, False]
    for i, session in enumerate(sessions):
        alone = of(session)
        for name in PARTS:
            assert np.array_equal(alone.parts[name][0], among.parts[name][i], equal_nan=True)


def test_names_of_parts_stand_in_the_table() -> None:
    assert {f"{name}_{pressure}_percent" for name in PARTS for pressure in (50, 10)} - set(QUANTITIES) == set()


CASES = {
    "white": ({"time_scale_s": None, "noise_pa": 1.5, "spreads": False}, 31),
    "AR(1)": ({"time_scale_s": 10.0, "noise_pa": 1.5}, 32),
    "AR(1), still": ({"time_scale_s": 10.0, "noise_pa": 0.3}, 33),
    "AR(1), five points": ({"time_scale_s": 10.0, "noise_pa": 1.5, "pressures_pa": (60.0, 50.0, 40.0, 30.0, 20.0)}, 34),
    "AR(1), one point": ({"time_scale_s": 10.0, "noise_pa": 1.5, "pressures_pa": (50.0,), "kind": "single_point"}, 35),
}


@pytest.mark.parametrize("case", CASES)
def test_limits_hold_what_they_say(case: str) -> None:
    keywords, seed = CASES[case]
    tests = 3000
    readings, truth = simulated(
        np.random.default_rng(seed),
        tests,
        **{"pressures_pa": (60.0, 54.0, 48.0, 42.0, 36.0, 30.0, 25.0, 20.0, 15.0, 10.0), **keywords},
    )
    zero = np.zeros(tests)
    work = fitted(readings)
    found = budget(work, gear=uncertainty.instruments(zero, zero, zero))
    log_flow = work.log_coefficient[:, None] + work.exponent[:, None] * np.log(PRESSURES_PA)
    low, high = found.limits(log_flow)
    for column, pressure in enumerate(PRESSURES_PA):
        flow = truth.flow(pressure)
        assert 0.92 <= np.mean((low[:, column] <= flow) & (flow <= high[:, column])) <= 0.98, pressure


def test_more_spread_longer_and_fewer_readings_move_the_noise_as_they_should() -> None:
    told = noise.segments(np.array([30.0, 60.0, np.nan, 30.0]), np.array([np.nan, np.nan, 30.0, 2.0]), np.ones(4), 99.0)
    lone = noise.segments(np.array([30.0]), np.array([1.0]), np.array([0.0]), 99.0)
    assert np.isnan(lone.spread_pa).all()
    assert told.duration_s.tolist() == [30.0, 60.0, 30.0, 30.0]
    assert told.share(10.0) == pytest.approx([share(30), share(60), share(30), 0.5])
    assert noise.segments(*(np.array([np.nan]),) * 3, 99.0).duration_s.tolist() == [99.0]


def corrected_for_air(*sessions: Any) -> Work:
    """Fitted after each flow was brought to the leaks, and then to air of reference."""
    work = begin(batch(*sessions), KINDS)
    steps.subtract_baseline(work)
    steps.correct_envelope_density(work)
    points.gather(work)
    work.log_coefficient = work.exponent = np.full(work.direction.size, np.nan)
    work.exponent_assumed = np.zeros(work.direction.size, dtype=np.bool_)
    steps.fit_power_law(work)
    steps.to_reference_conditions(work)
    return work


NOT_WRITTEN = {"indoor_temperature_c": None, "outdoor_temperature_c": None}


@pytest.mark.parametrize(
    ("direction", "outdoors", "indoors"), [("depressurisation", 0.65, 0.5), ("pressurisation", 0.5, 0.65)]
)
def test_temperatures_that_nobody_wrote_down_are_parts_of_the_budget(
    direction: str, outdoors: float, indoors: float
) -> None:
    """By hand: sd of ln(density) is limit / (sqrt 3 x 293.15 K); times 0.5 for air in the fan, n for that in leaks."""
    found = budget(corrected_for_air(multi_point(direction, **NOT_WRITTEN)))
    outdoor_sd, indoor_sd = (limit / (SQRT_3 * 293.15) for limit in (25.0, 5.0))
    assert found.parts["outdoor_temperature"][0] == pytest.approx(outdoors * outdoor_sd, rel=1e-6)
    assert found.parts["indoor_temperature"][0] == pytest.approx(indoors * indoor_sd, rel=1e-6)
    recorded = budget(corrected_for_air(multi_point(direction)))
    not_asked = of(multi_point(direction, **NOT_WRITTEN))
    for one in (recorded, not_asked):
        assert not one.parts["outdoor_temperature"].any() and not one.parts["indoor_temperature"].any()


def test_both_directions_together_hardly_need_the_outdoor_temperature() -> None:
    runs = [run for way in ("depressurisation", "pressurisation") for run in multi_point(way)["runs"]]
    found = budget(corrected_for_air(multi_point(**NOT_WRITTEN) | {"runs": runs}))
    sd = 25.0 / (SQRT_3 * 293.15)
    assert found.parts["outdoor_temperature"][0] == pytest.approx(0.5 * (0.65 - 0.5) * sd, rel=1e-6)


def test_quantiles_of_student_are_those_of_scipy() -> None:
    freedom = np.append(1.0 / np.linspace(1e-9, 1.0 / 3.0, 5001), np.arange(3.0, 200.0))
    expected = scipy.special.stdtrit(freedom, 0.975)
    assert np.max(np.abs(uncertainty.student_t(freedom) / expected - 1.0)) < 1e-12
    assert uncertainty.student_t(np.array([3.0]))[0] == pytest.approx(T_3, abs=5e-7)
