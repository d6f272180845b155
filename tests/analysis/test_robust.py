"""Best estimate in wind: exact without noise, the prior with nothing but noise, honest between."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from build import batch, line, multi_point, one_point, point
from wind import simulated

from interchange.analysis import noise, robust, robust_fit, uncertainty
from interchange.analysis.batch import Batch
from interchange.analysis.noise import NoiseDefaults
from interchange.analysis.robust import Estimate, NoiseForm, Prior, estimate
from interchange.analysis.robust_noise import Facades, Felt
from interchange.analysis.work import begin
from interchange.quantities import QUANTITIES

PRESSURES = (60.0, 54.0, 48.0, 42.0, 36.0, 30.0, 25.0, 20.0, 15.0, 10.0)
KINDS = ("single_point", "two_point", "multi_point")
NEXT_TO_NOTHING = NoiseDefaults(turbulent_pa=0.0, floor_pa=1e-6, flow_ratio=0.0)

# Noise that comes from no wind on a house: no facade feels more than another, and all of it lasts.
NO_FACADES = Prior(facades=Facades(unknown=Felt(0.0, 1.0), unknown_allowed=0.0))


def exact(tests: int) -> uncertainty.Instruments:
    return uncertainty.instruments(np.zeros(tests), np.zeros(tests), np.zeros(tests))


def of(*sessions: Any, **keywords: Any) -> Estimate:
    return estimate(begin(batch(*sessions), KINDS), **keywords)


def two_ways(exponent: float = 0.58, zero_pa: float = -1.3) -> dict[str, Any]:
    session = multi_point(baseline_pa=zero_pa)
    session["runs"] = [
        {
            "direction": direction,
            "baseline_before_pressure_pa": zero_pa,
            "baseline_after_pressure_pa": zero_pa,
            "points": line(direction, PRESSURES, 200.0, exponent, offset=zero_pa),
        }
        for direction in ("depressurisation", "pressurisation")
    ]
    return session


def same_bits(one: Estimate, other: Estimate, mine: Any = slice(None), theirs: Any = slice(None)) -> None:
    for name in one.session:
        a, b = one.session[name][mine], other.session[name][theirs]
        assert np.array_equal(a, b, equal_nan=True), name


# --- closed forms ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("exponent", [0.5, 0.58, 0.65, 0.8, 1.0])
def test_without_noise_the_power_law_comes_back_exactly(exponent: float) -> None:
    session = multi_point(baseline_pa=-1.3)
    session["runs"][0]["points"] = line("depressurisation", PRESSURES, 200.0, exponent, offset=-1.3)
    found = of(session, two_ways(exponent), defaults=NEXT_TO_NOTHING)
    assert found.session["robust_exponent"] == pytest.approx([exponent] * 2, abs=1e-9)
    assert found.session["robust_flow_coefficient_m3_h"] == pytest.approx([200.0] * 2, rel=1e-9)
    for pressure in (50, 10, 4):
        expected = 200.0 * pressure**exponent
        assert found.session[f"robust_flow_{pressure}_m3_h"] == pytest.approx([expected] * 2, rel=1e-9)
    assert found.session["robust_zero_pressure_pa"] == pytest.approx([-1.3] * 2, abs=1e-9)
    assert found.direction_count.tolist() == [1, 2]


def test_directions_that_leak_differently_yield_the_geometric_mean_of_both() -> None:
    session = two_ways(0.58)
    for one in session["runs"][1]["points"]:
        one["readings"][0]["flow_m3_h"] *= 1.06
    found = of(session, defaults=NEXT_TO_NOTHING).session
    assert found["robust_exponent"] == pytest.approx([0.58], abs=1e-9)
    assert found["robust_flow_coefficient_m3_h"] == pytest.approx([200.0 * math.sqrt(1.06)], rel=1e-9)
    assert found["robust_zero_pressure_pa"] == pytest.approx([-1.3], abs=1e-9)


def test_with_nothing_but_noise_the_exponent_is_the_prior_of_its_stock() -> None:
    loud = NoiseDefaults(turbulent_pa=1e4, level_spread_unrecorded=0.1)
    prior = replace(NO_FACADES, exponent=np.array([0.65, 0.70]), exponent_sd=np.array([0.06, 0.03]))
    found = of(multi_point(), multi_point(), prior=prior, defaults=loud).session
    assert found["robust_exponent"] == pytest.approx([0.65, 0.70], abs=1e-3)
    half = (found["robust_exponent_high"] - found["robust_exponent_low"]) / 2
    assert half == pytest.approx([1.96 * 0.06, 1.96 * 0.03], rel=1e-2)
    assert found["robust_exponent_prior_share"] == pytest.approx([1.0, 1.0], abs=1e-2)
    assert np.isnan(found["robust_prior_moved_exponent"]).all()


def test_one_point_takes_the_exponent_of_its_stock_and_widens_away_from_its_pressure() -> None:
    # 49 Pa induced at 2500 m3/h. By hand: ln(50/49) 0.65 and ln(49/4) 0.06 away from it, 1.96 standard deviations
    still = NoiseDefaults(turbulent_pa=0.0, floor_pa=1e-4, flow_ratio=0.0)
    found = of(one_point(), defaults=still, instruments=exact(1)).session
    assert found["robust_flow_50_m3_h"][0] == pytest.approx(2500 * (50 / 49) ** 0.65, rel=1e-9)
    assert found["robust_flow_4_m3_h"][0] == pytest.approx(2500 * (4 / 49) ** 0.65, rel=1e-9)
    high = found["robust_flow_4_high_m3_h"][0] / found["robust_flow_4_m3_h"][0]
    assert math.log(high) == pytest.approx(1.959964 * 0.06 * math.log(49 / 4), rel=1e-4)
    assert found["robust_exponent"][0] == pytest.approx(0.65, abs=1e-12)


def test_one_point_owes_its_width_to_baseline_point_and_instruments() -> None:
    # one form of independent errors, its level known: variance of 49 Pa is that of a 20 s point and a 60 s baseline
    # plus 0.05^2 each; flow at 50 Pa adds (0.06 ln(50/49))^2, instruments n 0.01 / sqrt 3 and 0.04 / sqrt 3
    known = NoiseDefaults(turbulent_pa=0.5, level_spread_unrecorded=1e-9, flow_ratio=0.0)
    prior = Prior(forms=(NoiseForm(10.0, 0.0, 0.0),), gust_ratio=0.0)
    zero = np.zeros(1)
    gear = uncertainty.instruments(zero, zero + 0.01, zero + 0.04)
    found = of(one_point(), prior=prior, defaults=known, instruments=gear).session

    def share(seconds: float) -> float:
        a = 10.0 / seconds
        return 2 * a * (1 - a * (1 - math.exp(-1 / a)))

    gap = 10.0**2 / (60 * 20) * math.exp(-20 / 10) * (1 - math.exp(-6)) * (1 - math.exp(-2))
    variance = 0.25 * (share(20) + share(60) - 2 * gap) + 2 * 0.05**2
    log_variance = (0.65 / 49) ** 2 * variance + (0.06 * math.log(50 / 49)) ** 2 + ((0.65 * 0.01) ** 2 + 0.04**2) / 3
    width = math.log(found["robust_flow_50_high_m3_h"][0] / found["robust_flow_50_low_m3_h"][0]) / 2
    assert width == pytest.approx(1.959964 * math.sqrt(log_variance), rel=2e-3)


def test_a_point_that_is_gustier_than_the_baseline_may_have_another_zero() -> None:
    # spreads 2 and 1 Pa: variances over their mean 1.6 and 0.4, so they lie 1.2 apart; k has half the turbulence, S
    session = one_point()
    run = session["runs"][0]
    run |= {"baseline_before_spread_pa": 1.0, "baseline_before_duration_s": 60}
    run["points"][0] |= {"envelope_pressure_spread_pa": 2.0, "averaging_s": 20}
    turbulence = noise.turbulence(batch(session)).deviation_pa[0]
    known = NoiseDefaults(level_spread=1e-9)
    variances = []
    for ratio in (0.0, 0.5):
        prior = replace(NO_FACADES, forms=(NoiseForm(10.0, 0.0, 0.0),), gust_ratio=ratio, exponent_sd=1e-6)
        found = of(session, prior=prior, defaults=known, instruments=exact(1)).session
        width = math.log(found["robust_flow_50_high_m3_h"][0] / found["robust_flow_50_low_m3_h"][0]) / 2
        variances.append((width / 1.959964 * 49 / 0.65) ** 2)
    assert variances[1] - variances[0] == pytest.approx((0.5 * turbulence * 1.2) ** 2, rel=1e-3)


def test_a_mean_keeps_the_share_of_variance_that_the_double_integral_says() -> None:
    # integral of exp(-|t - u| / 10) over two seconds ranges, by the midpoint rule on a fine grid
    t = (np.arange(3000) + 0.5) / 100.0
    kernel = np.exp(-np.abs(t[:, None] - t) / 10.0)
    assert noise.mean_share(30.0, 10.0) == pytest.approx(kernel.mean(), rel=1e-5)
    first, second = kernel[:1000, 1500:3000], (np.array(10.0), np.array(15.0))
    assert noise.shared_part(*second, 5.0, 10.0) == pytest.approx(first.mean(), rel=1e-5)


def test_spreads_are_pooled_to_the_turbulence_behind_them() -> None:
    # sd^2 = S^2 (1 - g): baselines of 60 s and points of 30 s, of a turbulence of 2 Pa; a lone reading is mute
    def sd(seconds: float) -> float:
        return 2.0 * math.sqrt(1.0 - float(noise.mean_share(seconds, 10.0)))

    session = multi_point()
    run = session["runs"][0]
    run |= {"baseline_before_spread_pa": sd(60), "baseline_before_duration_s": 60}
    run["points"] = [
        point(-50.0, 2000.0, envelope_pressure_spread_pa=sd(30), averaging_s=30),
        point(-30.0, 1500.0, envelope_pressure_spread_pa=sd(30), sample_count=30),
        point(-20.0, 1200.0, envelope_pressure_spread_pa=0.0, sample_count=1),
    ]
    found = noise.turbulence(batch(session, multi_point()))
    assert found.deviation_pa == pytest.approx([2.0, 0.5], rel=1e-12)
    assert found.told.tolist() == [True, False]
    assert found.seconds.tolist() == [120.0, 0.0]


def test_how_far_the_prior_moved_the_exponent_is_the_way_back_to_the_readings_own() -> None:
    session = multi_point()
    session["runs"][0]["points"] = line("depressurisation", (60.0, 50.0, 40.0), 200.0, 0.58, offset=-1.0)
    windy = NoiseDefaults(turbulent_pa=1.5, level_spread_unrecorded=1e-9)
    narrow = of(session, defaults=windy).session
    wide = of(session, defaults=windy, prior=Prior(exponent_sd=10.0)).session
    moved = narrow["robust_exponent"] - wide["robust_exponent"]
    assert abs(moved[0]) > 0.01
    assert narrow["robust_prior_moved_exponent"] == pytest.approx(moved, rel=0.1)
    for pressure in (50, 10, 4):
        name = f"robust_flow_{pressure}_m3_h"
        percent = 100 * (narrow[name] / wide[name] - 1)
        assert narrow[f"robust_prior_moved_flow_{pressure}_percent"] == pytest.approx(percent, rel=0.15, abs=0.02)


# --- which readings count --------------------------------------------------------------------------------------------


def test_a_subtracted_baseline_is_added_back() -> None:
    there, gone = multi_point(), multi_point()
    for one in gone["runs"][0]["points"]:
        one["envelope_pressure_pa"] += 1.0
        one["baseline_removed"] = True
    found = of(there, gone).session
    for name, values in found.items():
        assert values[0] == pytest.approx(values[1], rel=1e-12, nan_ok=True, abs=1e-12), name


def test_an_unstated_baseline_that_was_subtracted_stands_as_one_of_zero() -> None:
    known, unsaid = multi_point(baseline_pa=0.0), multi_point(baseline_pa=0.0)
    known["runs"][0]["baseline_after_pressure_pa"] = None
    unsaid["runs"][0] |= {"baseline_before_pressure_pa": None, "baseline_after_pressure_pa": None}
    for one in unsaid["runs"][0]["points"]:
        one["baseline_removed"] = True
    same_bits(of(known), of(unsaid))


def test_without_a_baseline_the_zero_is_uncertain_by_its_prior() -> None:
    # 0.65 * 3 Pa / 50 Pa and nothing else to speak of
    session = one_point(pressure_pa=-50.0, baseline_pa=None)
    still = NoiseDefaults(turbulent_pa=0.0, floor_pa=1e-3, flow_ratio=0.0)
    found = of(session, defaults=still, instruments=exact(1)).session
    width = math.log(found["robust_flow_50_high_m3_h"][0] / found["robust_flow_50_low_m3_h"][0]) / 2
    assert width == pytest.approx(1.959964 * 0.65 * 3.0 / 50.0, rel=1e-3)


def test_dropped_extrapolated_and_empty_points_do_not_count_but_one_of_the_wrong_sign_does() -> None:
    spoilt = multi_point()
    spoilt["runs"][0]["points"] += [
        point(-33.0, 9999.0, dropped=True),
        point(-33.0, 9999.0, flow_basis="extrapolated"),
        point(None, 9999.0),
        point(-33.0, None),
    ]
    same_bits(of(multi_point()), of(spoilt))
    low = multi_point()
    low["runs"][0]["points"] += [point(-0.9, 120.0)]  # corrected: +0.1 Pa
    assert of(low).session["robust_exponent"] != of(multi_point()).session["robust_exponent"]


def test_sessions_without_a_usable_point_or_of_another_kind_have_no_result() -> None:
    empty, other = multi_point(), multi_point(kind="monitoring")
    empty["runs"][0]["points"] = []
    found = of(empty, multi_point(), other, {"kind": "multi_point"})
    for values in found.session.values():
        assert np.isnan(values).tolist() == [True, False, True, True]


def test_a_point_at_the_pressure_of_the_baseline_has_no_result_and_neither_has_one_of_the_wrong_sign() -> None:
    found = of(one_point(pressure_pa=-1.0), one_point(), one_point(pressure_pa=50.0))
    for values in found.session.values():
        assert np.isnan(values[[0, 2]]).all()
    assert np.isfinite(found.session["robust_flow_50_low_m3_h"][1])


def test_results_are_brought_to_reference_air_as_the_plain_chain_does() -> None:
    # outdoor air at 0 degrees passes the leaks: density 293.15 / 273.15 to the power 0.35
    session = multi_point(outdoor_temperature_c=0.0)
    plain, cold = of(session), of(session, reference_temperature_c=20.0)
    ratio = cold.session["robust_flow_50_m3_h"] / plain.session["robust_flow_50_m3_h"]
    assert ratio == pytest.approx([(293.15 / 273.15) ** 0.35], rel=1e-6)
    thick = of(session, reference_temperature_c=20.0, viscosity=True)
    # viscosities 17.16 and 18.13 uPa s (Sutherland's form, by hand) to the power 2 n - 1 = 0.3
    ratio = thick.session["robust_flow_50_m3_h"] / cold.session["robust_flow_50_m3_h"]
    assert ratio == pytest.approx([(17.16 / 18.13) ** 0.3], rel=1e-4)


# --- what must not matter --------------------------------------------------------------------------------------------


def many() -> Batch:
    return simulated(
        np.random.default_rng(5), 40, noise_pa=1.5, time_scale_s=10.0, pressures_pa=PRESSURES, directions=(-1, 1)
    )[0]


def test_a_test_alone_and_among_many_is_the_same_to_the_last_bit() -> None:
    sessions = [multi_point(baseline_pa=-0.1 * i) for i in range(7)] + [one_point(), two_ways()]
    for i, session in enumerate(sessions):
        session["runs"][0]["points"][0]["envelope_pressure_pa"] += 0.37 * i
    among = of(*sessions, *sessions[::-1])
    for i, session in enumerate(sessions):
        same_bits(of(session), among, 0, i)
        same_bits(of(session), among, 0, 2 * len(sessions) - 1 - i)


def test_chunks_do_not_matter(monkeypatch: pytest.MonkeyPatch) -> None:
    work = begin(many(), KINDS)
    whole = estimate(work)
    monkeypatch.setattr(robust, "TESTS_AT_ONCE", 7)
    same_bits(whole, estimate(work))


def test_the_order_of_points_does_not_matter() -> None:
    session, mixed = multi_point(), multi_point()
    for one in (session, mixed):
        one["runs"][0]["points"][2]["envelope_pressure_pa"] += 0.8
    mixed["runs"][0]["points"] = [mixed["runs"][0]["points"][i] for i in (3, 0, 9, 2, 1, 8, 5, 4, 7, 6)]
    same_bits(of(session), of(mixed))


def test_mirrored_signs_give_the_same_leaks_and_the_opposite_zero() -> None:
    there, mirrored = multi_point(), multi_point()
    for one in (there, mirrored):
        one["runs"][0]["points"][2]["envelope_pressure_pa"] += 0.8
    run = mirrored["runs"][0]
    run["direction"] = "pressurisation"
    for name in ("baseline_before_pressure_pa", "baseline_after_pressure_pa"):
        run[name] = -run[name]
    for one in run["points"]:
        one["envelope_pressure_pa"] = -one["envelope_pressure_pa"]
    a, b = of(there).session, dict(of(mirrored).session)
    b["robust_zero_pressure_pa"] = -b["robust_zero_pressure_pa"]
    for name, values in a.items():
        assert np.array_equal(values, b[name], equal_nan=True), name


def test_a_direction_that_is_not_recorded_is_read_from_the_sign_of_its_pressures() -> None:
    known, unknown = two_ways(), two_ways()
    for session in (known, unknown):
        session["runs"] = session["runs"][1:]  # pressurisation
    unknown["runs"][0]["direction"] = None
    same_bits(of(known), of(unknown))
    unknown = multi_point()
    unknown["runs"][0]["direction"] = None
    same_bits(of(multi_point()), of(unknown))


def test_names_of_results_stand_in_the_table() -> None:
    assert set(of(multi_point()).session) - set(QUANTITIES) == set()


# --- against simulated truth -----------------------------------------------------------------------------------------

TURBULENT = {"noise_pa": 1.5, "time_scale_s": 10.0, "pressures_pa": PRESSURES}
CASES = {
    "white": ({**TURBULENT, "time_scale_s": None, "spreads": False}, 11),
    "white, spreads": ({**TURBULENT, "time_scale_s": None, "noise_pa": 4.0}, 12),
    "AR(1)": (TURBULENT, 13),
    "AR(1), still": ({**TURBULENT, "noise_pa": 0.3}, 14),
    "AR(1), stormy": ({**TURBULENT, "noise_pa": 4.0}, 15),
    "AR(1), no spreads": ({**TURBULENT, "spreads": False}, 16),
    "AR(1), both directions": ({**TURBULENT, "directions": (-1, 1)}, 17),
    "AR(1), five points": ({**TURBULENT, "pressures_pa": (60.0, 50.0, 40.0, 30.0, 20.0)}, 18),
    "AR(1), one point": ({**TURBULENT, "pressures_pa": (50.0,), "kind": "single_point"}, 19),
}


@pytest.mark.parametrize("case", CASES)
def test_intervals_hold_what_they_say_and_nothing_leans_to_one_side(case: str) -> None:
    keywords, seed = CASES[case]
    tests = 3000
    readings, truth = simulated(np.random.default_rng(seed), tests, **keywords)
    found = estimate(begin(readings, KINDS), prior=NO_FACADES, instruments=exact(tests))
    assert found.settled.mean() > 0.998
    for pressure in (50, 10, 4):
        flow = truth.flow(pressure)
        low, high = (found.session[f"robust_flow_{pressure}_{end}_m3_h"] for end in ("low", "high"))
        covered = np.mean((low <= flow) & (flow <= high))
        assert 0.92 <= covered <= 0.98, pressure
        error = np.log(found.session[f"robust_flow_{pressure}_m3_h"] / flow)
        error = error[np.isfinite(error)]
        assert abs(error.mean()) < 4 * error.std() / math.sqrt(tests) + 0.12 * error.std()


def test_in_wind_it_errs_by_less_than_the_plain_line() -> None:
    readings, truth = simulated(np.random.default_rng(20), 2000, **{**TURBULENT, "noise_pa": 4.0})
    found = estimate(begin(readings, KINDS)).session["robust_flow_10_m3_h"]
    run, point_ = readings.run, readings.point
    mean = (run["baseline_before_pressure_pa"] + run["baseline_after_pressure_pa"]) / 2
    pressure = (mean[:, None] - point_["envelope_pressure_pa"].reshape(2000, -1)).astype(float)
    x, y = np.log(np.maximum(pressure, 0.1)), np.log(readings.reading["flow_m3_h"].reshape(2000, -1).astype(float))
    dx = x - x.mean(axis=1, keepdims=True)
    slope = (dx * y).sum(axis=1) / (dx**2).sum(axis=1)
    plain = np.exp(y.mean(axis=1) + slope * (np.log(10) - x.mean(axis=1)))
    errors = [np.sqrt(np.mean(np.log(flow / truth.flow(10)) ** 2)) for flow in (found, plain)]
    assert errors[0] < 0.7 * errors[1]


def test_a_test_that_needs_more_iterations_gets_them(monkeypatch: pytest.MonkeyPatch) -> None:
    session = multi_point()
    session["runs"][0]["points"] = line("depressurisation", PRESSURES, 200.0, 1.0, offset=-1.0)
    usual = of(session, multi_point()).session
    monkeypatch.setattr(robust_fit, "FIRST_ITERATIONS", 1)
    monkeypatch.setattr(robust_fit, "NODE_ITERATIONS", 1)
    hurried = of(session, multi_point())
    assert hurried.settled.all()
    assert hurried.session["robust_flow_4_m3_h"] == pytest.approx(usual["robust_flow_4_m3_h"], rel=1e-4)


def test_a_fit_that_does_not_come_to_rest_has_no_result(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(robust_fit, "FIRST_ITERATIONS", 1)
    monkeypatch.setattr(robust_fit, "NODE_ITERATIONS", 1)
    monkeypatch.setattr(robust_fit, "PATIENCE", 1)
    session = multi_point()
    session["runs"][0]["points"] = line("depressurisation", PRESSURES, 200.0, 1.0, offset=-1.0)
    found = of(session)
    assert not found.settled[0]
    assert all(np.isnan(values[0]) for values in found.session.values())
