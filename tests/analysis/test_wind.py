"""Wind-affected or not: hand-made tests, what must not change the answer, and the integrals held against draws."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from build import batch, multi_point, one_point
from judged import worked
from numpy.typing import NDArray

from interchange.analysis import chain, robust, wind, wind_noise
from interchange.analysis.noise import NOISE
from interchange.analysis.robust import PRIOR, Prior
from interchange.analysis.robust_noise import Facades, Felt
from interchange.analysis.wind_noise import Limits
from interchange.analysis.work import Work
from interchange.quantities import CHOICES
from interchange.report.wind import ACTION, WindFound, wind_sentence

Columns = dict[str, NDArray[Any]]
PROBABILITIES = ("wind_flow_50_probability", "wind_low_probability")


# A house whose facades all feel the same: wind then is noise of the readings and nothing else.
NO_FACADES = Prior(facades=Facades(unknown=Felt(0.0, 1.0), unknown_allowed=0.0))


def of(*sessions: dict[str, Any], defaults: Any = NOISE, prior: Prior = PRIOR, **more: Any) -> Columns:
    work = worked(batch(*sessions))
    estimate = robust.estimate(work, reference_temperature_c=20.0, defaults=defaults, prior=prior)
    result = chain.leakage(work).session
    return dict(wind.affected(work, result, estimate, defaults=defaults, prior=prior, **more).session)


def noisy(errors_pa: Any = (), spread_pa: float | None = 2.0, **more: Any) -> dict[str, Any]:
    """The sound test of ten points, 60 to 15 Pa, with errors of its last points [Pa, of magnitude] and spreads."""
    made = multi_point(**more)
    run = made["runs"][0]
    points = run["points"]
    for point, target in zip(points, (60, 55, 50, 45, 40, 35, 30, 25, 20, 15), strict=True):
        sign = np.sign(point["envelope_pressure_pa"])
        point |= {"target_pressure_pa": sign * target, "averaging_s": 30, "envelope_pressure_spread_pa": spread_pa}
    for point, error in zip(points[len(points) - len(errors_pa) :], errors_pa, strict=True):
        point["envelope_pressure_pa"] += np.sign(point["envelope_pressure_pa"]) * error
    for when in ("before", "after"):
        run |= {f"baseline_{when}_spread_pa": spread_pa, f"baseline_{when}_duration_s": 60}
    return made


GROSS = (3.0, -4.0, 6.0, 7.0)


def test_a_test_in_still_air_is_not_affected_and_its_errors_are_none() -> None:
    found = of(noisy(spread_pa=0.1))
    for name in PROBABILITIES:
        assert found[name][0] < 1e-3
    for pressure in (50, 10):
        low, middle, high = (found[f"wind_error_{pressure}{end}_percent"][0] for end in ("_low", "", "_high"))
        assert low < middle < high
        assert abs(middle) < 0.3 * pressure**-0.5 * 7
        assert high - low < 4.0
    assert CHOICES["wind_evidence"][found["wind_evidence"][0]] == "averages"


def test_low_points_that_are_grossly_off_in_strong_noise_are_found_with_the_side_of_the_error() -> None:
    found = of(noisy(GROSS))
    assert found["wind_low_probability"][0] > 0.95
    # low points read too much pressure for their flow, so the standard line is too steep: too little flow at 10 Pa
    assert found["wind_error_10_percent"][0] < -5.0


def test_the_same_readings_with_next_to_no_noise_are_a_fault_and_not_wind() -> None:
    found = of(noisy(GROSS, spread_pa=0.1))
    assert found["wind_low_by_noise_probability"][0] < 1e-3
    assert found["wind_low_probability"][0] < 0.05
    assert of(noisy(GROSS, spread_pa=0.1), cap=99.0)["wind_low_probability"][0] > 0.95


def test_the_cap_adds_log_odds_to_the_noise_alone() -> None:
    # by hand: odds of 0.01 are 1/99, times e^4 = 54.6 they are 0.5515, a probability of 0.3555
    assert wind.capped(np.array([0.99]), np.array([0.01]), 4.0)[0] == pytest.approx(0.3555, abs=1e-4)
    assert wind.capped(np.array([0.2]), np.array([0.01]), 4.0)[0] == pytest.approx(0.2)


def test_limits_are_parameters() -> None:
    wide = of(noisy(GROSS), limits=Limits(flow_50=0.9, flow_10=0.9, low_point_pa=40.0))
    narrow = of(noisy(GROSS), limits=Limits(flow_50=0.001, flow_10=0.001))
    for name in PROBABILITIES:
        assert wide[name][0] < 0.01 < 0.9 < narrow[name][0]
    only_points = Limits(flow_10=0.99, low_point_pa=2.0)
    assert of(noisy(GROSS), limits=only_points)["wind_low_probability"][0] > 0.9
    assert of(noisy(GROSS), limits=replace(only_points, low_pa=1.0))["wind_low_probability"][0] < 0.05


def same(first: Columns, second: Columns) -> None:
    assert first.keys() == second.keys()
    for name, values in first.items():
        np.testing.assert_array_equal(values, second[name], err_msg=name)


def test_the_other_sign_and_direction_give_the_same_answer() -> None:
    """Of readings alike; air of 20 degrees on both sides, and facades that lift no zero."""
    outward = noisy((1.0, -1.0, 2.0), baseline_pa=-1.0)
    inward = noisy((1.0, -1.0, 2.0), direction="pressurisation", baseline_pa=1.0)
    same(of(outward, prior=NO_FACADES), of(inward, prior=NO_FACADES))


def test_a_session_is_judged_alike_alone_or_among_others_in_any_order() -> None:
    sessions = [noisy(GROSS), one_point(), noisy(), noisy((1.0, -2.0)), {"kind": "summary"}, noisy(spread_pa=None)]
    together = of(*sessions)
    backwards = of(*sessions[::-1])
    same(together, {name: values[::-1] for name, values in backwards.items()})
    for i, session in enumerate(sessions):
        same({name: values[i : i + 1] for name, values in together.items()}, of(session))


def test_one_point_without_a_baseline_cannot_be_told_even_with_weather() -> None:
    blank, windy = one_point(baseline_pa=None), one_point(baseline_pa=None, wind_speed_m_s=12.0)
    found = of(blank, windy)
    for name, values in found.items():
        if name == "wind_evidence":
            assert values.tolist() == [-1, -1]
        else:
            assert np.isnan(values).all(), name


def test_one_point_errs_at_10_pa_as_at_50_and_stands_on_one_point() -> None:
    found = of(one_point())
    assert CHOICES["wind_evidence"][found["wind_evidence"][0]] == "one_point"
    for end in ("", "_low", "_high"):
        assert found[f"wind_error_10{end}_percent"] == found[f"wind_error_50{end}_percent"]
    assert 0 < found["wind_low_probability"][0] < found["wind_flow_50_probability"][0] < 0.5


def test_directions_that_differ_are_no_error_of_low_points() -> None:
    """Leaks of 4 % more inwards and 4 % less outwards than the mean; else low points would be off by 1.2 Pa."""
    session = noisy(spread_pa=0.2)
    inward = noisy(spread_pa=0.2, direction="pressurisation")["runs"][0]
    for run, share in ((session["runs"][0], 0.96), (inward, 1.04)):
        for point in run["points"]:
            point["readings"][0]["flow_m3_h"] *= share
    session["runs"].append(inward)
    strict = Limits(low_point_pa=0.6)
    assert of(session, limits=strict, cap=99.0)["wind_low_probability"][0] < 0.1


def test_points_of_the_wrong_sign_leave_the_noise_alone_to_judge() -> None:
    wrong = noisy()
    for point in wrong["runs"][0]["points"]:
        point["envelope_pressure_pa"] *= -1.0
    found = of(wrong)
    for name in ("wind_flow_50", "wind_low"):
        assert found[f"{name}_probability"] == found[f"{name}_by_noise_probability"]
    assert np.isnan(found["wind_error_50_percent"][0])


def test_weather_and_baseline_tell_of_noise_only_where_no_spread_is_recorded() -> None:
    calm, storm = (one_point(wind_speed_m_s=speed, wind_source="station") for speed in (1.0, 12.0))
    rest = wind_noise.told_by_the_rest(batch(calm, storm, one_point(baseline_pa=-8.0)))
    found = of(calm, storm, one_point(baseline_pa=-8.0), defaults=rest)["wind_flow_50_probability"]
    assert found[0] < 0.5 * found[1]
    assert found[0] < 0.5 * found[2]
    assert found[1] < 0.5, "weather alone decides nothing"
    spread = {"wind_speed_m_s": 12.0, "wind_source": "station"}
    plain, beside = noisy(), {**noisy(), **spread}
    same(of(plain), of(beside, defaults=wind_noise.told_by_the_rest(batch(beside))))


def test_noise_from_a_wind_speed_by_hand() -> None:
    """0.06 of 0.6 kg/m3 (0.6 x 10 m/s)^2 = 1.296 Pa; a baseline of 2 Pa tells 0.6 Pa; both their geometric mean."""
    windy = {"wind_speed_m_s": 10.0, "wind_source": "station"}
    rest = wind_noise.told_by_the_rest(
        batch(one_point(baseline_pa=None, **windy), one_point(baseline_pa=-2.0), one_point(baseline_pa=-2.0, **windy))
    )
    expected = [np.hypot(1.296, 0.08), np.hypot(0.6, 0.08)]
    assert rest.turbulent_pa == pytest.approx([*expected, (expected[0] * expected[1]) ** 0.5])
    short = one_point(baseline_pa=None, wind_averaging_s=60.0, **windy)
    assert wind_noise.told_by_the_rest(batch(short)).level_spread_unrecorded[0] > rest.level_spread_unrecorded[0]


def test_width_by_hand() -> None:
    # without turbulence 0.7; of 0.3 Pa as much as the gauge's: root of the mean of 0.49 and 1.5625
    assert wind.width(np.array([0.0, 0.3, 1e6])) == pytest.approx([0.7, 1.01304, 1.25], abs=1e-5)


def test_medians_by_hand() -> None:
    values = np.array([3.0, np.nan, 1.0, 10.0, 2.0, 4.0, 7.0])
    owner = np.array([0, 0, 0, 2, 0, 0, 2])
    np.testing.assert_array_equal(wind_noise.medians(values, owner, 3), [2.5, np.nan, 8.5])


def test_the_integral_is_what_draws_from_the_posterior_count() -> None:
    rng = np.random.default_rng(5)
    sessions = [noisy((a, -a, a, 0.7 * a), spread_pa=2.0) for a in (0.0, 1.0, 2.0, 3.0)]
    work = worked(batch(*sessions))
    estimate = robust.estimate(work, reference_temperature_c=20.0)
    result = chain.leakage(work).session
    found = wind.affected(work, result, estimate, cap=99.0).session
    posterior, draws = estimate.posterior, 40_000
    widths = wind.width(estimate.session["robust_turbulence_pa"])
    for i in range(len(sessions)):
        node = rng.choice(posterior.weight.shape[0], draws, p=posterior.weight[:, i])
        level, n, vl, c, vn = (
            getattr(posterior, name)[node, i]
            for name in ("level", "exponent", "level_variance", "covariance", "exponent_variance")
        )
        vl, c, vn = (widths[i] ** 2 * part for part in (vl, c, vn))
        z = rng.normal(size=(2, draws))
        n_drawn = n + np.sqrt(vn) * z[0]
        level_drawn = level + c / np.sqrt(vn) * z[0] + np.sqrt(np.maximum(vl - c**2 / vn, 0.0)) * z[1]
        of_50, of_10 = (
            result[f"flow_{p:.0f}_m3_h"][i] / np.exp(level_drawn + n_drawn * np.log(p / 25.0)) - 1.0
            for p in (50.0, 10.0)
        )
        off = _point_errors(work, estimate, i, level_drawn, n_drawn)
        count_50 = np.mean(np.abs(of_50) > 0.05)
        count_low = np.mean((np.abs(of_10) > 0.10) | (np.abs(off) > 2.0).any(axis=0))
        assert found["wind_flow_50_probability"][i] == pytest.approx(count_50, abs=0.012)
        assert found["wind_low_probability"][i] == pytest.approx(count_low, abs=0.012)
        assert found["wind_error_10_low_percent"][i] == pytest.approx(100 * np.quantile(of_10, 0.05), abs=0.4)


def _point_errors(work: Work, estimate: robust.Estimate, i: int, level: Any, n: Any) -> Any:
    """Errors [Pa] of the two low points (20 and 15 Pa) of a session of one run."""
    constant, slope = (part[i] for part in estimate.log_reference)
    rows = slice(work.batch.point_offsets[i] + 8, work.batch.point_offsets[i + 1])
    flow = work.flow_m3_h[rows][:, None]  # one reading a point
    made = -work.induced_pa[rows][:, None]
    return made - 25.0 * np.exp(slope + (np.log(flow) + constant - level) / n)


def test_the_noise_alone_is_what_simulated_errors_do_to_a_plain_line() -> None:
    """Points of 30 s, baselines of 60 s, white in effect: means of independent errors with the share of turbulence."""
    rng = np.random.default_rng(6)
    targets, spread, draws = np.array([60, 55, 50, 45, 40, 35, 30, 25, 20, 15.0]), 1.5, 20_000
    share = {T: 2 * (10 / T) * (1 - (10 / T) * (1 - np.exp(-T / 10))) for T in (30.0, 60.0)}
    reading = spread / np.sqrt(1 - share[30.0])
    base = spread / np.sqrt(1 - share[60.0])
    level = np.sqrt(base * np.median([base, base] + [reading] * 10))
    zero = level * np.hypot(np.sqrt(share[60.0] / 2), wind_noise.FAN_RATIO) * rng.normal(size=draws)
    error = level * np.sqrt(share[30.0]) * rng.normal(size=(draws, 10)) + zero[:, None]
    x = np.log(np.maximum(targets + error, 1.0))
    y = 0.65 * np.log(targets)
    dx = x - x.mean(axis=1, keepdims=True)
    n = (dx * y).sum(axis=1) / (dx**2).sum(axis=1)
    at_50 = y.mean() + n * (np.log(50) - x.mean(axis=1)) - 0.65 * np.log(50)
    expected = np.mean(np.abs(at_50) > np.log(1.02))
    limits = Limits(flow_50=0.02)
    found = of(noisy(spread_pa=spread), limits=limits, prior=NO_FACADES)["wind_flow_50_by_noise_probability"][0]
    assert found == pytest.approx(expected, abs=0.06)
    assert 0.05 < expected < 0.9


def test_sentences_for_an_officer() -> None:
    what, limit = "the flow at 50 Pa", "5 %"
    found = wind_sentence(WindFound(what, limit, 0.84, 9.2, 3.1, 16.4, "averages"))
    assert str(found) == (
        "Wind has probably moved the flow at 50 Pa by more than 5 % (probability 84 %): "
        "by the readings it is 9 % too high (3 to 16 %). "
        "Repeat on a calmer day, or put the line's end out of the wind."
    )
    assert found.action == ACTION
    assert str(wind_sentence(WindFound(what, limit, 0.004, -0.2, -1.0, 0.8, "traces"))) == (
        "Wind has hardly moved the flow at 50 Pa by more than 5 % (probability less than 1 %)."
    )
    assert str(wind_sentence(WindFound(what, limit, 0.4, -4.0, -9.0, 1.0, "points"))) == (
        "Wind has perhaps moved the flow at 50 Pa by more than 5 % (probability 40 %): by the readings it is 4 % too "
        "low (between 9 % too low and 1 % too high). Only the scatter of the points speaks here: the record does not "
        "say how much the readings moved. " + ACTION
    )
    assert str(wind_sentence(WindFound(what, limit, 0.1, 0.0, -6.0, 6.0, "one_point"))) == (
        "Wind has probably not moved the flow at 50 Pa by more than 5 % (probability 10 %). "
        "One point does not show its own error, so this is what such noise does as a rule."
    )
    assert "by the size of its noise alone" in str(wind_sentence(WindFound(what, limit, 0.5)))
    assert str(wind_sentence(WindFound(what, limit, None))) == (
        "Whether wind has moved the flow at 50 Pa cannot be told: the record has too little, "
        "as one point without a baseline of its own."
    )
