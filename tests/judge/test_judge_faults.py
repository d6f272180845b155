"""Each fault does to a test in still air what hand calculation says, and to nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from . import (
    Wind,
    branched_damped,
    effects,
    faults,
    multi_point,
    open_end,
    simulate,
    single_point,
    standard,
)
from .plain import corrected_pa
from .still import DOWN, LEVEL, ONE_OPENING, SHORT, STILL, UP, C, K, N, own_line, rng, run_with
from .wind import OPEN_COUNTRY


def steady(speed_m_s: float) -> Wind:
    return Wind(speed_m_s, 0.0, OPEN_COUNTRY, intensity=0.0, slow_speed=0.0, slow_direction_deg=0.0)


@pytest.mark.parametrize(("way", "sign"), [(DOWN, -1), (UP, 1)])
@pytest.mark.parametrize("size", [8.0, -8.0])
def test_water_that_comes_after_the_only_baseline_shifts_the_point_by_its_size(way, sign, size):
    crew = single_point(directions=(way,), settle_s=200, content_pa=0.001)
    case = replace(STILL, procedure=crew, faults=(faults.water(size, "from points", 0),))
    test = simulate(case, rng())
    at = corrected_pa(test.runs[0])[0]
    assert test.runs[0].flow_m3_h[0] == pytest.approx(C * (at - sign * size) ** N, rel=1e-6)
    found = effects(case, 1)
    expected = (1 - sign * size / at) ** N * (50 / at) ** (0.65 - N)  # extrapolated with 0.65
    assert found.recorded.flow_50_m3_h / (C * 50**N) == pytest.approx(expected, rel=1e-6)
    assert found.fault.flow_50_percent == pytest.approx(100 * ((1 - sign * size / 50) ** N - 1), abs=0.01)
    assert test.planted[0].onset_s == 200 + 60
    assert (test.planted[0].kind, test.planted[0].size, test.planted[0].line) == ("water in the line", size, 0)


def test_water_through_the_whole_test_cancels_and_half_of_it_does_when_it_stays_for_the_baseline_after():
    whole, came = (run_with(faults.water(8.0, when, 0)) for when in ("whole", "from points"))
    clean = run_with()
    assert whole.baseline_before_pa[0] == pytest.approx(8.0, abs=1e-6)
    assert corrected_pa(whole) == pytest.approx(corrected_pa(clean), abs=1e-3)
    assert whole.flow_m3_h == pytest.approx(C * corrected_pa(whole) ** N, rel=1e-6)
    # 8 Pa at the points and 0 and 8 Pa in the baselines: 4 Pa of the size of a depressurisation are missing
    assert came.flow_m3_h == pytest.approx(C * (corrected_pa(came) + 4.0) ** N, rel=1e-6)
    case = replace(STILL, faults=(faults.water(8.0, "from points", 0),))
    flow_50, exponent = own_line(corrected_pa(came), C * (corrected_pa(came) + 4.0) ** N)
    found = effects(case, 1)
    assert found.recorded.flow_50_m3_h == pytest.approx(flow_50, rel=1e-6)
    assert found.fault.exponent == pytest.approx(exponent - N, abs=1e-6)
    assert found.fault.exponent < -0.03


def test_water_between_points_and_baseline_after_is_half_in_the_mean_of_the_baselines():
    late = run_with(faults.water(-6.0, "from baseline after", 0))
    assert late.flow_m3_h == pytest.approx(C * (corrected_pa(late) + 3.0) ** N, rel=1e-6)
    assert late.baseline_after_pa[0] == pytest.approx(-6.0, abs=1e-6)


def test_water_lets_the_reading_follow_the_fan_but_not_the_wind():
    house = replace(LEVEL, wall_gusts=0.0)
    lines = (replace(open_end(), end_gusts=0.0), open_end("east"))
    case = replace(STILL, house=house, wind=Wind(5.0, 0.0), lines=lines, procedure=SHORT)
    wet = replace(case, keep_trace=True, faults=(faults.water(10.0, stick_pa=50.0),))
    dry = simulate(replace(case, keep_trace=True), rng()).trace
    test = simulate(wet, rng())
    trace = test.trace
    # what came from outdoors has stood still since the test began
    outdoors = trace.true_inside_pa - trace.pressure_pa[0]
    assert np.ptp(outdoors) < 1e-9
    assert np.ptp(dry.true_inside_pa - dry.pressure_pa[0]) > 3.0
    assert (corrected_pa(test.runs[0]) > 5.0).all()
    # the other line is as dry as before
    assert (trace.true_inside_pa - trace.pressure_pa[1]) == pytest.approx(dry.true_inside_pa - dry.pressure_pa[1])
    # a slug that sticks for 1 Pa follows within 1 Pa
    loose = simulate(replace(wet, faults=(faults.water(0.0, stick_pa=1.0),)), rng()).trace
    follows = (loose.true_inside_pa - loose.pressure_pa[0]) - (dry.true_inside_pa - dry.pressure_pa[0])
    assert 0.5 < np.abs(follows).max() <= 1.0 + 1e-9


def test_a_gain_error_leaves_the_exponent_alone():
    found = effects(replace(STILL, faults=(faults.gain(0.1),)), 1)
    assert found.recorded.exponent == pytest.approx(N, abs=1e-6)
    assert found.recorded.flow_50_m3_h == pytest.approx(C * (50 / 1.1) ** N, rel=1e-6)


@pytest.mark.parametrize(("way", "size"), [(DOWN, 1.0), (UP, 1.0), (DOWN, -1.0)])
def test_a_wrong_fan_reference_adds_the_pressure_across_the_door(way, size):
    fan = replace(ONE_OPENING, openings_m3_h=(4000.0,))
    test = simulate(
        replace(STILL, fan=fan, procedure=multi_point(directions=(way,)), faults=(faults.fan_reference_wrong(size),)),
        rng(),
    )
    (run,) = test.runs
    across = corrected_pa(run)
    right = (C * across**N / (4000 / np.sqrt(300))) ** 2
    assert run.fan_pressure_pa == pytest.approx(right + size * across, rel=1e-6)
    positive = right + size * across > 0
    assert run.flow_m3_h[positive] == pytest.approx(4000 / np.sqrt(300) * np.sqrt(right + size * across)[positive])


def test_a_fan_that_runs_during_the_first_baseline_moves_it_by_what_its_flow_takes():
    run = run_with(faults.fan_running(400.0))
    moved = (400 / C) ** (1 / N)
    assert run.baseline_before_pa[0] == pytest.approx(-moved, rel=1e-6)
    assert run.baseline_after_pa[0] == pytest.approx(0.0, abs=1e-6)
    assert run.flow_m3_h == pytest.approx(C * (corrected_pa(run) + moved / 2) ** N, rel=1e-6)
    assert run.fan_off_fan_pressure_pa == pytest.approx((400 / K) ** 2 / 2, rel=1e-6)  # of both baselines


def test_an_open_fan_takes_its_part_of_an_exhaust_while_it_stands_still():
    run = run_with(faults.exhaust(300.0), faults.fan_uncovered(560.0))
    rest = brentq(lambda x: C * x**N + 560 * x**0.5 - 300, 0, 50)
    assert run.baseline_before_pa[0] == pytest.approx(-rest, rel=1e-6)
    assert run.flow_m3_h == pytest.approx(C * (corrected_pa(run) + rest) ** N - 300, rel=1e-5)
    assert run.fan_off_fan_pressure_pa == pytest.approx((560 * rest**0.5 / K) ** 2, rel=1e-5)
    level = run_with(faults.fan_uncovered())  # where nothing drives air through it, a hole does nothing
    assert level.flow_m3_h == pytest.approx(C * corrected_pa(level) ** N, rel=1e-6)


@pytest.mark.parametrize(("way", "sign"), [(DOWN, 1), (UP, -1)])
def test_an_exhaust_blows_beside_the_fan_and_stands_in_the_baselines(way, sign):
    crew = multi_point(directions=(way,), targets_pa=(60.0, 40.0, 20.0))
    run = run_with(faults.exhaust(150.0), procedure=crew)
    rest = (150 / C) ** (1 / N)
    assert run.baseline_before_pa[0] == pytest.approx(-rest, rel=1e-6)
    across = corrected_pa(run) + sign * rest  # the baseline is part of the depressurisation, against a pressurisation
    assert run.flow_m3_h == pytest.approx(C * across**N - sign * 150, rel=1e-5)


def test_a_window_opened_in_mid_test_is_a_step_of_the_coefficient():
    moved = 20 + 60 + 5 * 50  # with the sixth point
    run = run_with(faults.opening_moved(0.2, (moved, np.inf)))
    factor = np.where(run.start_s > moved, 1.2, 1.0)
    assert factor.tolist() == [1.0] * 5 + [1.2] * 5
    assert run.flow_m3_h == pytest.approx(factor * C * corrected_pa(run) ** N, rel=1e-6)


def test_a_drift_grows_from_nought_to_its_size():
    case = replace(STILL, faults=(faults.drift(6.0),), keep_trace=True)
    test = simulate(case, rng())
    trace, lasts = test.trace, len(test.trace.time_s)
    drifted = trace.pressure_pa[0] - trace.true_inside_pa
    assert drifted == pytest.approx(6.0 * (trace.time_s + 0.5) / lasts)
    run = test.runs[0]
    between = run.baseline_after_start_s - run.baseline_before_start_s
    assert run.baseline_after_pa[0] - run.baseline_before_pa[0] == pytest.approx(6.0 * between / lasts)


def test_a_line_that_is_off_reads_nought_from_that_moment_on():
    case = replace(STILL, keep_trace=True, faults=(faults.disconnected((300.0, np.inf)),))
    trace = simulate(case, rng()).trace
    assert (np.abs(trace.pressure_pa[0, 80:300]) > 9).all()
    assert (trace.pressure_pa[0, 300:] == 0).all()
    wild = simulate(replace(case, faults=(faults.disconnected(),)), rng())
    assert (wild.trace.pressure_pa == 0).all()
    assert (wild.trace.true_inside_pa[wild.trace.station >= 1] < -80).all()  # the crew opens the fan in vain
    assert np.isnan(standard(wild).flow_50_m3_h)


def test_a_second_line_that_is_off_leaves_the_first_alone():
    both = replace(STILL, wind=Wind(4.0), procedure=SHORT, lines=(open_end(), branched_damped()))
    off = replace(both, faults=(faults.disconnected(line=1),))
    clean, found = simulate(both, rng()).runs[0], simulate(off, rng()).runs[0]
    assert found.pressure_pa[0].tolist() == clean.pressure_pa[0].tolist()
    assert found.flow_m3_h.tolist() == clean.flow_m3_h.tolist()
    assert (found.pressure_pa[1] == 0).all()


def test_a_blocked_outdoor_line_answers_the_fan_at_once_and_loses_the_wind():
    calm = run_with(faults.blocked("outdoor"))
    assert calm.flow_m3_h == pytest.approx(C * corrected_pa(calm) ** N, rel=1e-6)
    windy = replace(STILL, wind=Wind(6.0, 0.0), keep_trace=True, procedure=SHORT)
    shut, clean = (simulate(replace(windy, faults=f), rng()).trace for f in ((faults.blocked("outdoor"),), ()))
    assert np.ptp(shut.true_inside_pa - shut.pressure_pa[0]) < 1e-9
    assert np.ptp(clean.true_inside_pa - clean.pressure_pa[0]) > 5
    # air of a blocked line that warms: 2 Pa a minute
    warm = simulate(replace(windy, faults=(faults.blocked("outdoor", drift_pa_min=2.0),)), rng()).trace
    assert np.diff(warm.pressure_pa[0] - warm.true_inside_pa) == pytest.approx(2.0 / 60)
    # a pinched line is a long lag of what comes from outdoors
    slow = simulate(replace(windy, faults=(faults.blocked("outdoor", 60.0),)), rng()).trace
    outdoors = slow.true_inside_pa - slow.pressure_pa[0]
    assert np.std(np.diff(outdoors)) < 0.1 * np.std(np.diff(clean.true_inside_pa - clean.pressure_pa[0]))


def test_a_line_blocked_at_the_gauge_stands_still_and_a_pinched_indoor_side_lags_by_its_time_constant():
    frozen = simulate(replace(STILL, keep_trace=True, faults=(faults.blocked("gauge", during="from points"),)), rng())
    assert np.abs(frozen.trace.pressure_pa[0, 80:]).max() < 1e-6
    assert (np.abs(frozen.trace.true_inside_pa[90:580]) > 5).all()
    crew = single_point(settle_s=5, station_s=120, look_s=100)
    lagging = replace(STILL, procedure=crew, keep_trace=True, faults=(faults.blocked("indoor", 20.0),))
    trace = simulate(lagging, rng()).trace
    inside = trace.true_inside_pa[-1]
    since = np.arange(1, 121)  # the fan starts at second 65
    assert trace.true_inside_pa[65:] == pytest.approx(np.full(125, inside), rel=1e-6)
    assert trace.pressure_pa[0, 65:185] == pytest.approx(inside * (1 - np.exp(-(since - 0.25) / 20)), rel=0.02)


def test_a_stream_of_the_fan_takes_its_size_off_with_the_square_of_the_flow():
    run = run_with(faults.in_fan_stream(5.0, noise=0.0))
    inside = (run.flow_m3_h / C) ** (1 / N)
    bias = 5.0 * (run.flow_m3_h / (C * 50**N)) ** 2
    assert corrected_pa(run) == pytest.approx(inside + bias, rel=1e-6)  # the reading of a depressurisation is negative
    noisy = run_with(faults.in_fan_stream(5.0, noise=0.3))
    spread = noisy.spread_pa[0]
    # steps of 0.5 s are independent: the spread of seconds is 0.3 / sqrt(2) of the mean; flow squared goes along
    expected = 0.3 / np.sqrt(2) * 5.0 * (noisy.flow_m3_h / (C * 50**N)) ** 2
    assert (spread / expected).mean() == pytest.approx(1.0, abs=0.15)


def test_an_end_on_one_facade_errs_by_its_coefficient_and_cancels_in_steady_wind():
    case = replace(STILL, wind=steady(6.0), procedure=SHORT, lines=(replace(open_end(), end_gusts=0.0),))
    off = replace(case, faults=(faults.on_facade(-0.4),))
    clean, found = simulate(case, rng()).runs[0], simulate(off, rng()).runs[0]
    speed = 6.0 * (LEVEL.eaves_m / 10) ** 0.14 * 0.9  # power law of open country, shelter of the house
    suction = 0.4 * 0.5 * 1.2041 * speed**2
    assert found.baseline_before_pa[0] - clean.baseline_before_pa[0] == pytest.approx(suction, rel=1e-4)
    assert corrected_pa(found) == pytest.approx(corrected_pa(clean), abs=1e-2)
    gusty = [effects(replace(off, wind=Wind(6.0, 0.0)), seed).fault.flow_10_percent for seed in range(4)]
    assert max(np.abs(gusty)) > 1.0
