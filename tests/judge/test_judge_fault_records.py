"""Faults of the record: what is written differs from what took place by what hand calculation says."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from . import (
    Air,
    Case,
    Fan,
    Fault,
    House,
    Wind,
    blind,
    effects,
    faults,
    many,
    multi_point,
    open_end,
    simulate,
    single_point,
    standard,
)
from .gauges import PERFECT_GAUGE
from .plain import corrected_pa
from .procedure import stretches
from .still import DOWN, POINTS, SHORT, STILL, UP, C, K, N, own_line, rng, run_with


@pytest.mark.parametrize("where", ["record", "tubes"])
@pytest.mark.parametrize("way", [DOWN, UP])
def test_swapped_channels_give_an_exponent_of_one_over_four_n(where, way):
    case = replace(STILL, procedure=multi_point(directions=(way,)), faults=(faults.swapped(where),))
    test = simulate(case, rng())
    (run,) = test.runs
    # P' = (Q/K)^2 and Q' = K dp^(1/2) with dp = (Q/C)^(1/n): Q' = K (K/C)^(1/2n) P'^(1/4n)
    assert run.flow_m3_h == pytest.approx(K * (K / C * np.sqrt(run.pressure_pa[0])) ** (1 / (2 * N)), rel=1e-6)
    assert standard(test).exponent == pytest.approx(1 / (4 * N), rel=1e-6)
    assert (run.pressure_pa > 0).all()
    if where == "tubes":  # the crew has brought the fan pressure to the targets
        assert run.pressure_pa[0] == pytest.approx(POINTS, abs=1.0)
    else:
        assert np.abs(run.fan_pressure_pa) == pytest.approx(POINTS, abs=1.0)
        assert np.sign(run.fan_pressure_pa[0]) == (-1 if way == DOWN else 1)


def test_a_wrong_opening_gives_the_ratio_of_the_coefficients():
    fan = Fan(openings_m3_h=(9000.0, 4000.0, 1700.0, 700.0), flow_gain_sd=0.0, gauge=PERFECT_GAUGE)
    case = replace(STILL, fan=fan)
    clean = simulate(case, rng()).runs[0]
    assert sorted(set(clean.opening.tolist())) == [1, 2]
    everywhere = effects(replace(case, faults=(faults.wrong_opening(1),)), 1)
    ratio = np.where(clean.opening == 1, 1700 / 4000, 700 / 1700)
    flow_50, exponent = own_line(corrected_pa(clean), C * corrected_pa(clean) ** N * ratio)
    assert everywhere.recorded.flow_50_m3_h == pytest.approx(flow_50, rel=1e-6)
    assert everywhere.recorded.exponent == pytest.approx(exponent, rel=1e-6)
    some = simulate(replace(case, faults=(faults.wrong_opening(-1, only=2),)), rng()).runs[0]
    assert some.flow_m3_h / clean.flow_m3_h == pytest.approx(np.where(clean.opening == 2, 4000 / 1700, 1.0))
    assert some.opening.tolist() == [1] * 10
    assert some.pressure_pa.tolist() == clean.pressure_pa.tolist()
    one = replace(STILL, fan=replace(fan, openings_m3_h=(9000.0, 4500.0, 2250.0), margin=3.0))
    assert effects(replace(one, faults=(faults.wrong_opening(1),)), 1).fault.flow_50_percent == pytest.approx(-50.0)
    with pytest.raises(ValueError, match="the fan has 1 openings"):
        run_with(faults.wrong_opening(1))


@pytest.mark.parametrize("way", [DOWN, UP])
def test_a_wrong_sign_of_all_readings_changes_no_result_and_one_of_the_points_twice_the_baseline(way):
    stack = replace(STILL, house=House(C, N), air=Air(20.0, 0.0), procedure=multi_point(directions=(way,)))
    clean = simulate(stack, rng())
    turned = simulate(replace(stack, faults=(faults.wrong_sign(),)), rng())
    assert turned.runs[0].pressure_pa.tolist() == (-clean.runs[0].pressure_pa).tolist()
    assert standard(turned).flow_50_m3_h == standard(clean).flow_50_m3_h
    some = simulate(replace(stack, faults=(faults.wrong_sign("points"),)), rng())
    size = np.abs(some.runs[0].pressure_pa[0] - some.runs[0].baseline_before_pa[0])
    right = np.abs(clean.runs[0].pressure_pa[0] - clean.runs[0].baseline_before_pa[0])
    twice = 2 * clean.runs[0].baseline_before_pa[0]
    assert twice < -3
    assert size == pytest.approx(right + (twice if way == UP else -twice), abs=1e-9)
    one = replace(stack, procedure=multi_point(directions=(DOWN, UP)), faults=(faults.wrong_sign(run=1),))
    down, up = simulate(one, rng()).runs
    assert (down.pressure_pa < 0).all() and (up.pressure_pa < 0).all()


def test_baselines_go_missing_are_copied_or_nought():
    stack = replace(STILL, house=House(C, N), air=Air(20.0, 0.0), wind=Wind(2.0), procedure=SHORT)
    stack = replace(stack, lines=(open_end(), open_end("east")))
    clean = simulate(stack, rng()).runs[0]
    both = (clean.baseline_before_pa[0], clean.baseline_after_pa[0])
    assert both[0] != both[1]

    def written(fault: Fault) -> list[float]:
        run = simulate(replace(stack, faults=(fault,)), rng()).runs[0]
        assert run.pressure_pa.tolist() == clean.pressure_pa.tolist()
        assert run.baseline_after_pa[1] == clean.baseline_after_pa[1]
        return [run.baseline_before_pa[0], run.baseline_after_pa[0]]

    assert np.isnan(written(faults.baseline("missing"))).tolist() == [True, True]
    assert written(faults.baseline("missing", "baseline after"))[0] == both[0]
    assert written(faults.baseline("copied")) == [both[0], both[0]]
    assert written(faults.baseline("zero")) == [0.0, 0.0]
    assert written(faults.baseline("zero", "baseline before")) == [0.0, both[1]]


def test_a_shifted_clock_moves_times_and_nothing_else():
    case = replace(STILL, wind=Wind(4.0), keep_trace=True, procedure=SHORT)
    clean, late = simulate(case, rng()), simulate(replace(case, faults=(faults.clock_shift(420.0),)), rng())
    assert late.runs[0].start_s == pytest.approx(clean.runs[0].start_s + 420)
    assert late.runs[0].baseline_after_start_s == clean.runs[0].baseline_after_start_s + 420
    assert late.trace.time_s[0] == 420
    assert late.trace.pressure_pa.tolist() == clean.trace.pressure_pa.tolist()
    assert late.runs[0].flow_m3_h.tolist() == clean.runs[0].flow_m3_h.tolist()


def test_a_duplicate_repeats_the_readings_whole_or_cut_short_with_its_own_digits():
    case = replace(STILL, wind=Wind(4.0), keep_trace=True, procedure=replace(SHORT, directions=(DOWN, UP)))
    test = simulate(replace(case, faults=(faults.duplicate(),)), rng())
    assert test.repeated.trace.pressure_pa.tolist() == test.trace.pressure_pa.tolist()
    assert test.repeated.runs[1].flow_m3_h.tolist() == test.runs[1].flow_m3_h.tolist()
    short = simulate(replace(case, faults=(faults.duplicate(0.5, 0.5),)), rng()).repeated
    for before, after in zip(test.runs, short.runs, strict=True):
        assert after.pressure_pa[0] == pytest.approx(0.5 * np.round(before.pressure_pa[0, :2] / 0.5))
        assert after.flow_m3_h.tolist() == before.flow_m3_h[:2].tolist()
        assert np.isnan(after.baseline_after_pa).all() and after.baseline_after_seconds == 0.0
    assert sorted(set(short.trace.station.tolist())) == [-1, 0, 1]
    assert len(short.trace.time_s) == short.trace.pressure_pa.shape[1] == len(short.trace.true_outside_pa)
    assert len(short.trace.time_s) == 10 + 20 + 2 * 20 + 60 + 20 + 2 * 20


def test_parts_of_a_test_begin_and_end_where_the_crew_begins_and_ends_them():
    plan = stretches(multi_point(directions=(DOWN, UP)))  # 20 60 | 10 x 50 | 20 60, pause of 60 and the same again
    spans = {
        ("baseline before", 0): (0, 80),
        ("points", 0): (80, 580),
        ("baseline after", 0): (580, 660),
        ("from baseline after", 0): (580, 1360),
        ("from points", 1): (780, 1360),
        ("whole", 1): (660, 1360),
    }
    for (during, run), span in spans.items():
        assert faults.planted(faults.water(1.0, during, run), plan).spans_s == (span,)
    assert faults.planted(faults.water(1.0), plan).spans_s == ((0, 1360),)
    assert faults.planted(faults.water(1.0, "points"), plan).spans_s == ((80, 580), (780, 1280))
    with pytest.raises(ValueError, match="has no 'baseline after' in run 0"):
        faults.planted(faults.water(1.0, "baseline after", 0), stretches(single_point()))
    with pytest.raises(ValueError, match="no such fault: 'ghost'"):
        Fault("ghost")
    with pytest.raises(ValueError, match="no such part of a test: 'lunch'"):
        faults.water(1.0, "lunch")


def test_faulty_tests_are_the_same_by_seed_and_in_any_company():
    case = Case(procedure=SHORT, faults=(faults.in_fan_stream(4.0), faults.water(5.0, "from points", 0)))
    more = many(case, 3, 5)
    alone = simulate(case, np.random.default_rng([5, 1]))
    assert alone.runs[0].pressure_pa.tolist() == more[1].runs[0].pressure_pa.tolist()
    assert alone.planted == more[1].planted


def test_a_blind_test_keeps_what_a_crew_has_and_nothing_else():
    test = simulate(Case(keep_trace=True, faults=(faults.water(5.0), faults.duplicate())), rng())
    shown = blind(test)
    assert shown.runs is test.runs
    assert shown.trace.pressure_pa is test.trace.pressure_pa
    assert shown.planted == shown.repeated.planted == ()
    for hidden in (shown, shown.repeated):
        assert np.isnan([hidden.truth.flow_50_m3_h, hidden.wind_10m_m_s, hidden.residual]).all()
        for name in ("true_inside_pa", "true_fan_flow_m3_h", "true_outside_pa", "wind_at_eaves_m_s", "wind_from_deg"):
            assert np.isnan(getattr(hidden.trace, name)).all()
