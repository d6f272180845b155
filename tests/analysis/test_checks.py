"""One function a check: what passes, what does not, what cannot be told, and what it does to the flow."""

from __future__ import annotations

import math
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from build import batch, line, multi_point, one_point, point

from interchange.analysis import chain, checks
from interchange.analysis.check import CAUSES, Check
from interchange.errors import RuleSetError
from interchange.model import ruleset
from interchange.quantities import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT

ISO = ruleset.named("iso9972@2015")
ONE = ruleset.named("astm-e1827-one-point@2011")
CALM = {"wind_speed_m_s": 0.5}


def made(name: str, *sessions: Any, rules: ruleset.RuleSet = ISO, **limits: Any) -> Check:
    given = batch(*sessions)
    leakage = chain.run(given, rules.steps)
    return {**checks.ALWAYS, **checks.CHECKS}[name](given, leakage, **limits)


def outcome(check: Check, session: int = 0) -> tuple[int, str]:
    return int(check.level[session]), CAUSES[check.cause[session]]


def with_run(session: dict[str, Any] | None = None, **changes: Any) -> dict[str, Any]:
    session = multi_point() if session is None else session
    return {**session, "runs": [{**session["runs"][0], **changes}]}


def both_runs(second: dict[str, Any]) -> dict[str, Any]:
    session = multi_point()
    return {**session, "runs": [*session["runs"], {**session["runs"][0], **second}]}


# --- what is there ---------------------------------------------------------------------------------------------------


def test_a_flow_is_there_or_missing() -> None:
    found = made("usable_flow", multi_point(), multi_point(runs=[]), multi_point(kind="monitoring"))
    assert found.level.tolist() == [PASS, MISSING, MISSING]


def test_an_exponent_is_fitted_suspect_from_two_points_or_missing() -> None:
    two = with_run(points=line("depressurisation", [50.0, 12.5], offset=-1.0))
    rules = ruleset.named("as_displayed")
    found = made("exponent_fitted", multi_point(), two, one_point(), multi_point(runs=[]), rules=rules)
    assert found.level.tolist() == [PASS, SUSPECT, MISSING, NOT_EVALUATED]


@pytest.mark.parametrize(
    ("temperatures", "level", "value"),
    [((20.0, 5.0), PASS, 2), ((20.0, None), MISSING, 1), ((None, None), MISSING, 0)],
)
def test_both_temperatures_are_wanted(temperatures: tuple[Any, Any], level: int, value: int) -> None:
    found = made(
        "temperatures_known",
        multi_point(indoor_temperature_c=temperatures[0], outdoor_temperature_c=temperatures[1]),
    )
    assert (found.level[0], found.value[0]) == (level, value)


def test_points_of_the_wrong_sign_are_suspect_and_mostly_wrong_a_failure() -> None:
    points = multi_point()["runs"][0]["points"]
    turned = [point(-one["envelope_pressure_pa"], 2000.0) for one in points]
    found = made(
        "direction_matches_pressure",
        multi_point(),
        with_run(points=[*points[:-1], turned[-1]]),
        with_run(points=turned),
        with_run(direction=None),
    )
    assert found.level.tolist() == [PASS, SUSPECT, FAIL, NOT_EVALUATED]
    assert found.value.tolist()[:3] == [0, 1, 10]
    assert outcome(found, 3)[1] == "direction_unknown"


# --- points and fit --------------------------------------------------------------------------------------------------


def test_the_run_with_the_fewest_points_counts() -> None:
    few = both_runs({"points": line("depressurisation", [60, 50, 40, 30], offset=-1.0)})
    found = made("point_count", multi_point(), few, with_run(points=[]), minimum=5)
    assert found.level.tolist() == [PASS, FAIL, MISSING]
    assert (found.value[1], found.limit[1]) == (4, 5)


@pytest.mark.parametrize(
    ("baseline", "lowest", "level", "limit"),
    [
        (-1.0, 10.0, PASS, 10.0),
        (-1.0, 8.9, FAIL, 10.0),
        (-1.0, 9.2, PASS, 10.0),
        (-4.0, 15.0, FAIL, 20.0),
        (4.0, 20.0, PASS, 20.0),
    ],
)
def test_the_lowest_point_is_held_against_10_pa_and_5_baselines(
    baseline: float, lowest: float, level: int, limit: float
) -> None:
    session = multi_point(baseline_pa=baseline)
    points = line("depressurisation", [60.0, 50.0, 40.0, 30.0, lowest], offset=baseline)
    found = made("lowest_pressure", with_run(session, points=points))
    assert found.level[0] == level
    assert [found.value[0], found.limit[0]] == pytest.approx([lowest, limit])


def test_the_highest_point_of_the_lower_run_counts() -> None:
    low = both_runs({"points": line("depressurisation", [45, 40, 30, 20, 12], offset=-1.0)})
    found = made("highest_pressure", multi_point(), low)
    assert found.level.tolist() == [PASS, FAIL]
    assert found.value.tolist() == pytest.approx([60.0, 45.0])


@pytest.mark.parametrize(("lowest_of_both", "level"), [(49.0, PASS), (48.9, FAIL)])
def test_a_gauge_set_to_50_pa_with_a_baseline_of_1_pa_is_near_enough(lowest_of_both: float, level: int) -> None:
    points = line("depressurisation", [lowest_of_both, 40.0, 30.0, 20.0, 12.0], offset=-1.0)
    found = made("highest_pressure", with_run(points=points))
    assert (found.level[0], found.limit[0]) == (level, 50.0)
    assert made("highest_pressure", with_run(points=points), tolerance_pa=0.0).level[0] == FAIL


def test_a_one_point_test_far_from_50_pa_is_extrapolated_on_an_assumption() -> None:
    found = made("pressure_reached", one_point(-50.0), one_point(-21.0), one_point(-81.0), rules=ONE)
    assert found.level.tolist() == [PASS, FAIL, PASS]
    # 49, 20 and 80 Pa with a doubt of 0.05: (50/49)^.05, (50/20)^.05, (80/50)^.05
    assert found.effect_percent.tolist() == pytest.approx([0.101, 4.688, 2.378], abs=1e-3)


@pytest.mark.parametrize(
    ("exponent", "level", "limit"), [(0.65, PASS, 0.5), (0.45, FAIL, 0.5), (1.05, FAIL, 1.0), (0.9, PASS, 1.0)]
)
def test_an_exponent_outside_its_range_fails(exponent: float, level: int, limit: float) -> None:
    points = line("depressurisation", [60, 50, 40, 30, 20], exponent=exponent, offset=-1.0)
    found = made("exponent_range", with_run(points=points))
    assert (found.level[0], found.limit[0]) == (level, limit)
    assert found.value[0] == pytest.approx(exponent)


def test_an_assumed_exponent_is_not_judged() -> None:
    assert outcome(made("exponent_range", one_point(), rules=ONE)) == (NOT_EVALUATED, "exponent_assumed")


def test_scattered_points_fail_and_two_points_cannot_be_told() -> None:
    scattered = multi_point()["runs"][0]["points"]
    scattered = [
        point(one["envelope_pressure_pa"], one["readings"][0]["flow_m3_h"] * (1.3 if k % 2 else 1.0))
        for k, one in enumerate(scattered)
    ]
    two = line("depressurisation", [50.0, 12.5], offset=-1.0)
    found = made("correlation", multi_point(), with_run(points=scattered), with_run(points=two))
    assert found.level.tolist() == [PASS, FAIL, NOT_EVALUATED]
    assert outcome(found, 2)[1] == "too_few_points"


def test_unsteady_low_points_are_suspect_and_high_ones_do_not_count() -> None:
    def spread(value: float, pressure: float, **more: Any) -> dict[str, Any]:
        base = line("depressurisation", [60.0, 45.0, 30.0, 25.0], offset=-1.0)
        return with_run(points=[*base, point(-pressure - 1.0, 1000.0, envelope_pressure_spread_pa=value, **more)])

    sessions = [spread(1.0, 20.0), spread(2.1, 20.0), spread(9.0, 21.0), multi_point(), spread(9.0, 15.0, dropped=True)]
    found = made("low_pressure_spread", *sessions)
    assert found.level.tolist() == [PASS, SUSPECT, NOT_EVALUATED, NOT_EVALUATED, NOT_EVALUATED]
    assert found.value.tolist()[:2] == pytest.approx([5.0, 10.5])
    assert [outcome(found, k)[1] for k in (2, 3)] == ["no_low_points", "spread_not_recorded"]


# --- baseline --------------------------------------------------------------------------------------------------------


def test_a_baseline_not_recorded_is_missing_and_one_of_two_suspect() -> None:
    none = {"baseline_before_pressure_pa": None, "baseline_after_pressure_pa": None}
    one = {"baseline_after_pressure_pa": None}
    removed = [{**p, "baseline_removed": True} for p in line("depressurisation", [60, 50, 40, 30, 20])]
    sessions = [multi_point(), with_run(**one), with_run(**none), with_run(**none, points=removed), both_runs(none)]
    found = made("baseline_missing", *sessions)
    assert found.level.tolist() == [PASS, SUSPECT, MISSING, NOT_EVALUATED, MISSING]
    assert outcome(found, 3)[1] == "baseline_removed_by_source"
    assert made("baseline_missing", *sessions, after_required=False).level.tolist()[1] == PASS


def test_every_signed_part_of_a_baseline_is_held_against_the_limit() -> None:
    calm_mean = {"baseline_before_pressure_pa": 0.0, "baseline_before_negative_pa": -6.0}
    sessions = [multi_point(), multi_point(baseline_pa=-5.5), with_run(**calm_mean), multi_point(baseline_pa=5.0)]
    found = made("baseline_level", *sessions, limit_pa=5.0)
    assert found.level.tolist() == [PASS, FAIL, FAIL, PASS]
    assert found.value.tolist() == [-1.0, -5.5, -6.0, 5.0]
    # n x / 50 = 0.65 * 5.5 / 50
    assert found.effect_percent[1] == pytest.approx(7.15, abs=1e-6)


def test_an_unknown_baseline_has_no_level() -> None:
    none = {"baseline_before_pressure_pa": None, "baseline_after_pressure_pa": None}
    assert outcome(made("baseline_level", with_run(**none))) == (NOT_EVALUATED, "baseline_unknown")


def test_an_unsteady_baseline_is_suspect() -> None:
    sessions = [with_run(baseline_after_spread_pa=value) for value in (1.9, 2.1, None)]
    found = made("baseline_spread", *sessions, limit_pa=2.0)
    assert found.level.tolist() == [PASS, SUSPECT, NOT_EVALUATED]


def test_a_baseline_that_moved_may_put_the_flow_off_by_half_of_it() -> None:
    sessions = [with_run(baseline_after_pressure_pa=value) for value in (-2.5, -5.0, None)]
    found = made("baseline_shift", *sessions, limit_pa=2.0)
    assert found.level.tolist() == [PASS, SUSPECT, NOT_EVALUATED]
    assert found.value.tolist() == pytest.approx([-1.5, -4.0, math.nan], nan_ok=True)
    exponent = chain.run(batch(sessions[1]), ISO.steps).session["exponent"][0]
    assert found.effect_percent[1] == pytest.approx(100 * exponent * 2.0 / 50)


# --- water -----------------------------------------------------------------------------------------------------------

# 20 and 4 degrees, 5.4 m: (1.27409 - 1.20413) kg/m3 * 9.80665 m/s2 * 2.7 m = 1.84 Pa of stack below mid-height
WARM = {
    "indoor_temperature_c": 20.0,
    "outdoor_temperature_c": 4.0,
    "height_m": 5.4,
    "barometric_pressure_pa": 101_325.0,
}


@pytest.mark.parametrize(
    ("baseline", "weather", "expected"),
    [
        (-10.0, CALM, (SUSPECT, "")),
        (-9.9, CALM, (PASS, "")),
        (14.9, CALM, (PASS, "")),
        (15.0, CALM, (SUSPECT, "")),
        (-11.9, {"wind_beaufort_low": 0, "wind_beaufort_high": 1}, (SUSPECT, "")),
        (-11.9, {"wind_beaufort_low": 1, "wind_beaufort_high": 2}, (NOT_EVALUATED, "wind_unknown_large_offset")),
        (-11.9, {"wind_beaufort_low": 3, "wind_beaufort_high": 4}, (NOT_EVALUATED, "windy")),
        (-11.9, {"wind_speed_m_s": 1.6}, (NOT_EVALUATED, "windy")),
        (-11.9, {**CALM, "wind_gust_m_s": 3.1}, (NOT_EVALUATED, "windy")),
        (-11.9, {**CALM, "wind_beaufort_low": 3, "wind_beaufort_high": 4}, (NOT_EVALUATED, "windy")),
        (-11.9, {}, (NOT_EVALUATED, "wind_unknown_large_offset")),
        (-2.0, {}, (NOT_EVALUATED, "wind_unknown")),
        (-2.0, {"wind_speed_m_s": 5.0}, (NOT_EVALUATED, "windy")),
    ],
)
def test_water_is_suspected_on_a_day_known_to_be_calm_only(
    baseline: float, weather: dict[str, float], expected: tuple[int, str]
) -> None:
    found = made("water_in_line", multi_point(baseline_pa=baseline, **{**WARM, **weather}))
    assert outcome(found) == expected
    assert found.value[0] == baseline
    assert found.details["stack_pa"][0] == pytest.approx(-1.84, abs=0.01)
    assert found.details["stack_bounded"][0] == 0.0


def test_thin_air_of_a_high_site_makes_less_stack() -> None:
    house = {**WARM, **CALM, "height_m": 17.6, "barometric_pressure_pa": None}
    low, high = multi_point(baseline_pa=-10.9, **house), multi_point(baseline_pa=-10.9, elevation_m=3000.0, **house)
    found = made("water_in_line", low, high)
    assert found.level.tolist() == [PASS, SUSPECT]
    # ASHRAE Handbook-Fundamentals, chapter 1, table 1 (read): 70.108 kPa at 3000 m
    assert found.details["stack_pa"][1] / found.details["stack_pa"][0] == pytest.approx(70.108 / 101.325, rel=2e-5)


@pytest.mark.parametrize(
    ("baseline", "house", "expected"),
    [
        # 17.6 m at 20 and 4 degrees: 6.0 Pa of stack
        (-10.9, {"height_m": 17.6}, (PASS, "")),
        (-11.1, {"height_m": 17.6}, (SUSPECT, "")),
        # warm outdoors the stack pushes the other way and explains nothing
        (-10.1, {"outdoor_temperature_c": 36.0}, (SUSPECT, "")),
        (15.1, {"outdoor_temperature_c": 36.0, "height_m": 40.0}, (PASS, "")),  # 12.4 Pa of stack upwards
    ],
)
def test_a_baseline_that_stack_explains_is_no_water(
    baseline: float, house: dict[str, Any], expected: tuple[int, str]
) -> None:
    assert outcome(made("water_in_line", multi_point(baseline_pa=baseline, **{**WARM, **CALM, **house}))) == expected


@pytest.mark.parametrize(
    ("baseline", "unknown", "expected"),
    [
        # 12 m at 20 and -20 degrees would make 11.2 Pa of stack, at 20 and 4 degrees 4.1 Pa
        (-10.1, {"height_m": None}, (SUSPECT, "")),
        (-10.1, {"height_m": None, "outdoor_temperature_c": -20.0}, (NOT_EVALUATED, "stack_unknown")),
        (-16.3, {"height_m": None, "outdoor_temperature_c": -20.0}, (SUSPECT, "")),
        (-9.0, {"height_m": None}, (PASS, "")),
        # 5.4 m and 40 K would make 5.05 Pa
        (-10.0, {"outdoor_temperature_c": None}, (NOT_EVALUATED, "stack_unknown")),
        (-10.1, {"indoor_temperature_c": None}, (SUSPECT, "")),
        (-9.0, {"outdoor_temperature_c": None}, (PASS, "")),
    ],
)
def test_an_unknown_stack_is_bounded(baseline: float, unknown: dict[str, Any], expected: tuple[int, str]) -> None:
    found = made("water_in_line", multi_point(baseline_pa=baseline, **{**WARM, **CALM, **unknown}))
    assert outcome(found) == expected
    assert found.details["stack_bounded"][0] == 1.0


def test_water_that_both_baselines_show_is_subtracted_and_does_no_harm() -> None:
    alike = multi_point(baseline_pa=-14.0, **{**WARM, **CALM})
    came = with_run(alike, baseline_before_pressure_pa=-1.0)
    single = with_run(alike, baseline_after_pressure_pa=None)
    found = made("water_in_line", alike, came, single)
    assert found.level.tolist() == [SUSPECT] * 3
    exponent = chain.run(batch(alike, came, single), ISO.steps).session["exponent"]
    assert found.effect_percent == pytest.approx(100 * exponent * np.array([0.0, 13.0, 14.0 - 1.84]) / 50, abs=0.02)


def test_without_a_baseline_water_cannot_show() -> None:
    found = made("water_in_line", one_point(baseline_pa=None, **WARM, **CALM), rules=ONE)
    assert outcome(found) == (NOT_EVALUATED, "baseline_unknown")


# --- stack and fan --------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("height", "outdoor", "expected"),
    [
        (8.0, -4.0, (PASS, "")),  # 25 K times 8 m: 200 m K, no more than the limit
        (8.1, -4.0, (SUSPECT, "")),
        (8.1, 46.0, (SUSPECT, "")),  # warmer outdoors pulls as much
        (None, -4.0, (NOT_EVALUATED, "height_unknown")),
        (8.1, None, (NOT_EVALUATED, "temperature_not_recorded")),
    ],
)
def test_temperature_difference_times_height_is_held_against_its_limit(
    height: float | None, outdoor: float | None, expected: tuple[int, str]
) -> None:
    found = made("temperature_times_height", multi_point(height_m=height, outdoor_temperature_c=outdoor), limit_m_k=200)
    assert outcome(found) == expected


def test_a_rule_set_without_densities_says_what_a_cold_day_may_cost() -> None:
    air = {"indoor_temperature_c": 21.0, "outdoor_temperature_c": 0.0}
    found = made("temperature_difference", multi_point(**air), multi_point(), limit_k=16.7)
    assert found.level.tolist() == [SUSPECT, PASS]
    # 294.15 / 273.15: the density correction of check_values.json, dens-corr-press
    assert found.effect_percent.tolist() == pytest.approx([7.68808, 0.0], abs=1e-5)
    assert outcome(made("temperature_difference", multi_point(outdoor_temperature_c=None), limit_k=16.7)) == (
        NOT_EVALUATED,
        "temperature_not_recorded",
    )


def with_fan(signals: list[float], calibration: dict[str, Any], **more: Any) -> dict[str, Any]:
    points = [point(-60.0 + 5.0 * k, 1000.0, fan_pressure_pa=p, calibration_index=0) for k, p in enumerate(signals)]
    points[-1] = {**points[-1], **more}
    return with_run(multi_point(calibrations=[calibration], baseline_pa=0.0), points=points)


LAW = {"fan_coefficient_m3_h": 492.0, "fan_exponent": 0.5, "reference_air_density_kg_m3": 1.2041}
ROWS = {
    "reference_air_density_kg_m3": 1.2041,
    "table": [
        {"calibration_pressure_pa": 12.0, "calibration_flow_m3_h": 1700.0},
        {"calibration_pressure_pa": 220.0, "calibration_flow_m3_h": 7300.0},
    ],
}


def test_readings_outside_the_range_of_the_fans_calibration_are_suspect_with_an_effect_unknown() -> None:
    both_ends = {**LAW, "minimum_fan_pressure_pa": 10.0, "maximum_fan_pressure_pa": 200.0}
    sessions = [
        with_fan([60.0, 10.0, -200.0], both_ends),
        with_fan([60.0, 9.9, 201.0, 8.0], both_ends),
        with_fan([60.0, 9.9], both_ends, dropped=True),
        with_fan([60.0, 9.9], {**LAW, "minimum_fan_pressure_pa": 10.0}),
        with_fan([60.0, 11.0, 221.0], ROWS),
        with_fan([60.0, 30.0], LAW),
        multi_point(),
    ]
    found = made("within_fan_calibration", *sessions)
    unknown = (NOT_EVALUATED, "calibration_range_unknown")
    assert [outcome(found, k) for k in range(7)] == [
        *((PASS, ""), (SUSPECT, ""), (PASS, ""), (SUSPECT, ""), (SUSPECT, "")),
        *(unknown, unknown),
    ]
    assert found.value.tolist()[:5] == [0.0, 3.0, 0.0, 1.0, 2.0]
    assert [found.details[end][1] for end in ("below", "above")] == [2.0, 1.0]
    assert np.isnan(found.effect_percent).all()


def test_a_rule_set_that_takes_the_flow_shown_has_no_range_to_look_at() -> None:
    session = with_fan([9.0, 8.0], {**LAW, "minimum_fan_pressure_pa": 10.0})
    found = made("within_fan_calibration", session, rules=ruleset.named("as_displayed"))
    assert outcome(found) == (NOT_EVALUATED, "calibration_range_unknown")


# --- against the source ----------------------------------------------------------------------------------------------


def test_a_source_agrees_when_its_flow_is_found_as_displayed_or_after_some_of_the_corrections() -> None:
    cold = {"indoor_temperature_c": 21.0, "outdoor_temperature_c": 0.0, "barometric_pressure_pa": 101_325.0}
    corrected = chain.run(batch(one_point(**cold)), ONE.steps).session["flow_50_m3_h"][0]
    after_baseline = 2500.0 * (50.0 / 49.0) ** 0.65  # -50 Pa read, -1 Pa baseline, densities left alone
    flows = [2500.0, corrected, 2700.0, None, after_baseline]
    sessions = [one_point(**cold, reported_flow_m3_h=flow, reported_flow_pressure_pa=50.0) for flow in flows]
    found = made("reported_agrees", *sessions, rules=ONE)
    assert found.level.tolist() == [PASS, PASS, SUSPECT, NOT_EVALUATED, PASS]
    indoor_density = 101_325 / (287.055 * 294.15)
    after_fan_density = after_baseline * (1.2041 / indoor_density) ** 0.5  # the stage that comes nearest to 2700
    assert found.value.tolist()[2] == pytest.approx(100 * (after_fan_density / 2700 - 1), rel=1e-6)
    assert found.value.tolist()[4] == pytest.approx(0.0, abs=1e-9)
    assert outcome(found, 3)[1] == "nothing_reported"


# --- as a rule set asks for them -------------------------------------------------------------------------------------


def rule(name: str, provenance: str, **arguments: Any) -> SimpleNamespace:
    return SimpleNamespace(name=name, provenance=provenance, arguments=arguments)


@pytest.mark.parametrize(
    ("provenance", "level"), [("read", FAIL), ("physics", FAIL), ("from memory", SUSPECT), ("common practice", SUSPECT)]
)
def test_a_limit_that_was_not_read_makes_a_test_suspect_at_most(provenance: str, level: int) -> None:
    given = batch(with_run(points=line("depressurisation", [60, 50, 40], offset=-1.0)))
    found = checks.evaluate(given, chain.run(given, ISO.steps), [rule("point_count", provenance, minimum=5)])
    assert found["point_count"].level[0] == level
    assert set(found) == {"usable_flow", "exponent_fitted", "point_count"}


def test_tests_that_a_rule_set_is_not_for_are_not_checked() -> None:
    given = batch(one_point(), multi_point(kind="monitoring"), multi_point())
    found = checks.evaluate(given, chain.run(given, ISO.steps, ISO.applies_to), ISO.checks)
    for name in set(found) - set(checks.ALWAYS):
        assert found[name].level.tolist()[:2] == [NOT_EVALUATED] * 2
        assert {CAUSES[cause] for cause in found[name].cause[:2]} == {"kind_not_fitted"}
    assert found["point_count"].level[2] == PASS


@pytest.mark.parametrize(
    ("one", "code"), [(rule("no_such", "read"), "rule-check"), (rule("point_count", "read", least=5), "rule-keyword")]
)
def test_checks_at_fault_are_refused(one: SimpleNamespace, code: str) -> None:
    given = batch(multi_point())
    with pytest.raises(RuleSetError) as caught:
        checks.evaluate(given, chain.run(given, ISO.steps), [one])
    assert [(problem.code, problem.place.column) for problem in caught.value.problems] == [(code, "check 1")]


def test_a_check_asked_for_twice_is_refused() -> None:
    twice = [rule("point_count", "read"), rule("point_count", "read", minimum=7)]
    assert [(fault.code, fault.place.column) for fault in checks.check_faults(twice, "x")] == [
        ("rule-check", "check 2")
    ]


def test_checks_of_nothing_and_of_a_session_alone_are_those_among_others() -> None:
    sessions = [multi_point(), multi_point(runs=[]), one_point(), multi_point(baseline_pa=-12.0, **CALM), both_runs({})]
    given = batch(*sessions)
    many = checks.evaluate(given, chain.run(given, ISO.steps), ISO.checks)
    for place, session in enumerate(sessions):
        alone_batch = batch(session)
        alone = checks.evaluate(alone_batch, chain.run(alone_batch, ISO.steps), ISO.checks)
        for name, check in alone.items():
            for field in ("level", "value", "limit", "effect_percent", "cause"):
                one, other = getattr(check, field)[0], getattr(many[name], field)[place]
                assert one == other or (np.isnan(one) and np.isnan(other)), (name, field)
    empty = checks.evaluate(batch(), chain.run(batch(), ISO.steps), ISO.checks)
    assert {check.level.size for check in empty.values()} == {0}
