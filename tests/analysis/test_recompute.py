"""Whole tests through the chain: worked by hand, guarded, shared out, and unmoved by what must not move them."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from build import PRESSURES, batch, line, multi_point, one_point, point
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.analysis import chain
from interchange.analysis.batch import Batch
from interchange.analysis.leakage import NOTES, SHARES, Leakage, note_bit, note_codes
from interchange.errors import RuleSetError
from interchange.model import ruleset
from interchange.quantities import CHOICES, QUANTITIES

ISO = ruleset.named("iso9972@2015")
ONE = ruleset.named("astm-e1827-one-point@2011")
DISPLAYED = ruleset.named("as_displayed")
COLD = {"indoor_temperature_c": 21.0, "outdoor_temperature_c": 0.0, "barometric_pressure_pa": 101_325.0}


def step(name: str, **arguments: Any) -> SimpleNamespace:
    return SimpleNamespace(name=name, arguments=arguments)


def recompute(rules: ruleset.RuleSet, *sessions: Any) -> Leakage:
    return chain.run(batch(*sessions), rules.steps, rules.applies_to)


def notes(leakage: Leakage, session: int = 0) -> set[str]:
    return set(note_codes(int(leakage.note_mask[session])))


# --- worked by hand --------------------------------------------------------------------------------------------------


def test_a_one_point_test_in_the_cold_worked_by_hand() -> None:
    # -50 Pa recorded, baseline -1: 49 Pa. Fan: sqrt(1.2041 / 1.20000) = 1.001706. Leaks: 273.15 / 294.15 = 0.928608.
    # To 50 Pa: (50/49)^0.65 = 1.013218. To 20 degrees, n = 0.65, density and viscosity: 1.00822. 2500 times all: 2375.6
    found = recompute(ONE, one_point(volume_m3=400.0, **COLD))
    assert found.session["flow_50_m3_h"][0] == pytest.approx(2375.6, abs=0.2)
    assert found.session["air_change_50_per_h"][0] == pytest.approx(5.939, abs=5e-4)
    # 4 Pa: 2375.6 (4/50)^0.65 = 460.06 m3/h; / 3600 * sqrt(1.2041 / 8) = 0.049579 m2
    assert found.session["leakage_area_m2"][0] == pytest.approx(0.049579, abs=5e-6)
    shares = [found.session[name][0] for name in SHARES]
    assert shares == pytest.approx([1.3218, 0.0, 0.1706, -7.1392, 0.822], abs=2e-3)
    assert notes(found) == {"exponent_assumed", "calibration_absent", "calibration_density_assumed"}
    assert found.session["exponent_assumed"][0] == 1
    assert np.isnan(found.session["flow_50_low_m3_h"][0])


def test_pressurising_swaps_the_air_in_the_fan_and_in_the_leaks() -> None:
    session = one_point(pressure_pa=48.0, **COLD)
    session["runs"][0]["direction"] = "pressurisation"
    # fan: sqrt(1.2041 / 1.29226) = 0.965285; leaks: 294.15 / 273.15 = 1.076881; density 1.2000 (20/21)^..: 0.99881
    # viscosity of 21 against 20 degrees: 1.002651^0.3 = 1.000795; 49 Pa to 50: 1.013218
    found = recompute(ONE, session)
    by_hand = 2500 * 0.965285 * 1.076881 * 1.013218 * 0.99881 * 1.000795
    assert found.session["flow_50_m3_h"][0] == pytest.approx(by_hand, rel=2e-5)


def test_a_sound_test_gives_back_the_leaks_it_was_made_from() -> None:
    # equal temperatures: density corrections are those of 21 degrees alone, (1.2000/1.2041)^(1 - 0.65 - 0.5)
    found = recompute(ISO, multi_point())
    assert found.session["exponent"][0] == pytest.approx(0.65, abs=1e-12)
    correction = (293.15 / 294.15) ** (0.35 - 0.5) * math.sqrt(1.2041 / (101_325 / (287.055 * 293.15)))
    assert found.session["flow_coefficient_m3_h"][0] == pytest.approx(200 * correction, rel=1e-12)
    assert found.session["point_count"][0] == len(PRESSURES)
    assert (found.session["lowest_pressure_pa"][0], found.session["highest_pressure_pa"][0]) == (15.0, 60.0)
    assert found.run["baseline_pressure_pa"][0] == -1.0
    assert CHOICES["direction_used"][found.session["direction_used"][0]] == "depressurisation"


def test_the_fan_calibration_replaces_the_indicated_flow_and_brings_its_density() -> None:
    session = multi_point(baseline_pa=0.0)
    session["calibrations"] = [
        {"fan_coefficient_m3_h": 1.0, "fan_exponent": 1.0},
        {"fan_coefficient_m3_h": 492.0, "fan_exponent": 0.5, "reference_air_density_kg_m3": 1.225},
    ]
    flow = [200 * p**0.65 for p in PRESSURES]
    session["runs"][0]["points"] = [
        point(-p, 1.0, fan_pressure_pa=-((q / 492.0) ** 2), calibration_index=1)
        for p, q in zip(PRESSURES, flow, strict=True)
    ]
    other = multi_point(calibrations=[{"fan_coefficient_m3_h": 7.0, "fan_exponent": 0.9}])
    found = recompute(ISO, other, session)  # the first calibration of all belongs to the first session
    ratio = found.session["flow_50_m3_h"][1] / found.session["flow_50_m3_h"][0]
    assert ratio == pytest.approx(math.sqrt(1.225 / 1.2041), rel=1e-12)
    assert "calibration_absent" in notes(found, 0)
    assert notes(found, 1) == set()


def test_flows_of_two_fans_are_added() -> None:
    session = one_point()
    half = {"flow_m3_h": 1250.0, "flow_basis": "indicated"}
    session["runs"][0]["points"] = [
        {"envelope_pressure_pa": -50.0, "baseline_removed": False, "readings": [half, half]}
    ]
    both, single = recompute(ONE, session), recompute(ONE, one_point())
    assert both.session["flow_50_m3_h"][0] == single.session["flow_50_m3_h"][0]


@pytest.mark.parametrize(
    ("basis", "fan_density", "envelope_density"),
    [
        ("indicated", True, True),
        (None, True, True),
        ("summed", True, True),
        ("at_device", False, True),
        ("envelope", False, False),
    ],
)
def test_what_a_flow_is_counted_at_decides_its_corrections(
    basis: str | None, fan_density: bool, envelope_density: bool
) -> None:
    session = one_point(**COLD)
    session["runs"][0]["points"] = [point(-50.0, 2500.0, flow_basis=basis)]
    found = recompute(ONE, session).session
    assert (found["share_fan_density_percent"][0] != 0) == fan_density
    assert (found["share_envelope_density_percent"][0] != 0) == envelope_density


def test_both_directions_give_the_mean_flow_and_a_line_through_the_means() -> None:
    session = multi_point()
    other = multi_point("pressurisation")["runs"][0]
    other["points"] = line("pressurisation", PRESSURES, coefficient=300.0, exponent=0.55, offset=-1.0)
    session["runs"].append(other)
    found = recompute(ISO, session)
    out, into = (found.run["flow_50_m3_h"][k] for k in (0, 1))
    assert found.session["flow_50_m3_h"][0] == pytest.approx((out + into) / 2, rel=1e-14)
    assert found.session["flow_10_m3_h"][0] == pytest.approx(sum(found.run["flow_10_m3_h"]) / 2, rel=1e-14)
    c, n = found.session["flow_coefficient_m3_h"][0], found.session["exponent"][0]
    assert [c * 50**n, c * 10**n] == pytest.approx(
        [found.session["flow_50_m3_h"][0], found.session["flow_10_m3_h"][0]], rel=1e-12
    )
    assert CHOICES["direction_used"][found.session["direction_used"][0]] == "both"
    assert "directions_averaged" in notes(found)


def test_runs_of_one_direction_share_its_weight() -> None:
    session = multi_point()
    out = session["runs"][0]
    into = multi_point("pressurisation")["runs"][0]
    into["points"] = line("pressurisation", PRESSURES, coefficient=300.0, offset=-1.0)
    session["runs"] = [out, into, out]
    found = recompute(ISO, session)
    flows = found.run["flow_50_m3_h"]
    assert found.session["flow_50_m3_h"][0] == pytest.approx((flows[0] + flows[1]) / 2, rel=1e-13)


def test_limits_of_a_mean_are_narrower_than_those_of_its_runs() -> None:
    session = multi_point()
    noisy = line("depressurisation", PRESSURES, offset=-1.0)
    noisy[3] = point(noisy[3]["envelope_pressure_pa"], noisy[3]["readings"][0]["flow_m3_h"] * 1.05)
    session["runs"][0]["points"] = noisy
    single = recompute(ISO, session).session
    into = multi_point("pressurisation")["runs"][0]
    into["points"] = [point(-one["envelope_pressure_pa"] - 2.0, one["readings"][0]["flow_m3_h"]) for one in noisy]
    session["runs"].append(into)
    double = recompute(ISO, session).session
    # equal runs: each half-width over the root of two
    widths = [math.log(found["flow_50_high_m3_h"][0] / found["flow_50_m3_h"][0]) for found in (single, double)]
    assert widths[1] == pytest.approx(widths[0] / math.sqrt(2), rel=1e-9)
    halves = [found["exponent_high"][0] - found["exponent"][0] for found in (single, double)]
    assert halves[1] == pytest.approx(halves[0] / math.sqrt(2), rel=1e-9)


# --- guards ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("kind", ["monitoring", "summary", "not_tested", "other_test", None])
def test_other_kinds_are_never_fitted(kind: str | None) -> None:
    found = recompute(DISPLAYED, multi_point(kind=kind))
    assert np.isnan(found.session["flow_50_m3_h"][0])
    assert notes(found) == {"kind_not_fitted"}
    assert found.run["point_count"][0] == 0


def test_a_rule_set_leaves_kinds_it_is_not_for_alone() -> None:
    found = recompute(ISO, one_point(), multi_point())
    assert np.isnan(found.session["flow_50_m3_h"]).tolist() == [True, False]


def test_points_that_cannot_be_used_are_left_out_and_counted_by_reason() -> None:
    session = multi_point()
    session["runs"][0]["points"] += [
        point(-48.0, 99.0, dropped=True),
        point(None, 2000.0),
        point(-48.0, 2500.0, flow_basis="extrapolated"),
        point(-48.0, None),
        point(-48.0, 0.0),
        point(-0.5, 50.0),
        point(-1.0, 50.0),
        point(30.0, 50.0),
        {"envelope_pressure_pa": -40.0, "baseline_removed": False},
    ]
    found, clean = recompute(ISO, session), recompute(ISO, multi_point())
    counts = {name: int(found.run[name][0]) for name in found.run if name.startswith("points_")}
    assert counts == {
        "points_dropped": 1,
        "points_without_pressure": 1,
        "points_extrapolated": 1,
        "points_without_flow": 3,
        "points_of_wrong_sign": 3,
    }
    assert found.session["flow_50_m3_h"][0] == clean.session["flow_50_m3_h"][0]
    assert "points_left_out" in notes(found)


def test_a_test_without_a_usable_point_has_no_result_and_says_so() -> None:
    for points in ([], [point(None, None)]):
        session = one_point()
        session["runs"][0]["points"] = points
        found = recompute(ONE, session)
        assert np.isnan(found.session["flow_50_m3_h"][0])
        assert "no_usable_point" in notes(found)
    assert "no_usable_point" in notes(recompute(ONE, one_point(runs=[])))


def test_one_usable_point_is_too_few_for_a_fit() -> None:
    session = multi_point()
    del session["runs"][0]["points"][1:]
    assert "too_few_points" in notes(recompute(ISO, session))


def test_a_one_point_record_with_several_points_says_so_and_not_that_there_are_too_few() -> None:
    session = one_point()
    session["runs"][0]["points"] = [point(-50.0, 2500.0), point(-40.0, 2160.0)]
    by_rule, shown = recompute(ONE, session), recompute(DISPLAYED, session)
    assert np.isnan(by_rule.session["flow_50_m3_h"][0])
    assert "too_many_points" in notes(by_rule)
    assert "too_few_points" not in notes(by_rule)
    assert shown.session["flow_50_m3_h"][0] == pytest.approx(2500.0, rel=1e-9)
    assert "too_many_points" not in notes(shown)


def test_humidity_of_one_side_alone_counts_and_is_noted() -> None:
    damp = recompute(ISO, multi_point(indoor_relative_humidity=0.5, **COLD))
    dry = recompute(ISO, multi_point(**COLD))
    # 50 % at 21 degrees: 0.37802 * 0.5 * 2487.67 / 101325 = 0.4641 % lighter in the fan: sqrt of that in the flow
    lighter = 1 - 0.37802 * 0.5 * 2487.67 / 101_325
    ratio = damp.session["flow_50_m3_h"][0] / dry.session["flow_50_m3_h"][0]
    assert ratio == pytest.approx(math.sqrt(lighter), rel=1e-6)
    assert "humidity_partly_recorded" in notes(damp)
    assert not {"humidity_partly_recorded", "humidity_not_used"} & notes(dry)


def test_a_run_without_a_result_is_left_out_of_the_mean() -> None:
    session = multi_point()
    session["runs"].append({"direction": "pressurisation", "points": [point(-20.0, 500.0)]})
    found = recompute(ISO, session)
    assert found.session["flow_50_m3_h"][0] == recompute(ISO, multi_point()).session["flow_50_m3_h"][0]
    assert "run_left_out" in notes(found)


def test_points_whose_baseline_the_source_removed_are_not_corrected_twice() -> None:
    session = multi_point(baseline_pa=-4.0)
    session["runs"][0]["points"] = [{**one, "baseline_removed": True} for one in line("depressurisation", PRESSURES)]
    found = recompute(ISO, session)
    assert found.session["exponent"][0] == pytest.approx(0.65, abs=1e-12)
    assert "baseline_removed_by_source" in notes(found)
    assert "baseline_unknown" not in notes(found)
    assert np.isnan(found.run["baseline_pressure_pa"][0])


def test_a_source_silent_about_its_baseline_is_noted() -> None:
    session = one_point()
    session["runs"][0]["points"] = [point(-50.0, 2500.0, baseline_removed=None)]
    assert "baseline_removal_unknown" in notes(recompute(ONE, session))


def test_without_a_baseline_nothing_is_subtracted_and_that_is_noted() -> None:
    found = recompute(ONE, one_point(baseline_pa=None, **COLD))
    assert found.session["share_baseline_percent"][0] == 0.0
    assert "baseline_unknown" in notes(found)


@pytest.mark.parametrize("absent", ["indoor_temperature_c", "outdoor_temperature_c"])
def test_without_a_temperature_what_needs_it_is_not_corrected_and_that_is_noted(absent: str) -> None:
    found = recompute(ONE, one_point(**{**COLD, absent: None}))
    assert {"temperature_unknown", "envelope_density_not_corrected"} <= notes(found)
    assert found.session["share_envelope_density_percent"][0] == 0.0
    in_fan = absent == "indoor_temperature_c"  # depressurising, indoor air passes the fan, outdoor air the leaks
    assert ("fan_density_not_corrected" in notes(found)) == in_fan
    assert ("reference_not_corrected" in notes(found)) != in_fan
    assert (found.session["share_fan_density_percent"][0] == 0.0) == in_fan
    assert (found.session["share_reference_percent"][0] == 0.0) != in_fan


def test_the_barometer_is_reckoned_from_the_elevation_or_absent() -> None:
    cold = {**COLD, "barometric_pressure_pa": None}
    high, unknown, told = (
        recompute(ONE, one_point(**{**cold, **more}))
        for more in ({"elevation_m": 1500.0}, {}, {"barometric_pressure_pa": 84_556.0, "elevation_m": 0.0})
    )
    assert "barometer_from_elevation" in notes(high)
    assert high.session["flow_50_m3_h"][0] == pytest.approx(told.session["flow_50_m3_h"][0], rel=1e-5)
    assert "barometer_from_elevation" not in notes(told)
    assert "barometer_assumed" in notes(unknown)
    at_sea_level = recompute(ONE, one_point(**{**cold, "barometric_pressure_pa": 101_325.0}))
    assert unknown.session["flow_50_m3_h"][0] == at_sea_level.session["flow_50_m3_h"][0]


def test_without_a_barometer_and_an_assumed_one_only_the_ratio_of_densities_is_corrected() -> None:
    steps = [rule for rule in ONE.steps if rule.name != "air_pressure"]
    unknown = chain.run(batch(one_point(**{**COLD, "barometric_pressure_pa": None})), steps)
    assert {"barometer_unknown", "fan_density_not_corrected", "reference_not_corrected"} <= notes(unknown)
    # the ratio of indoor to outdoor density needs no barometer
    assert unknown.session["share_envelope_density_percent"][0] == pytest.approx(-7.1392, abs=2e-4)


def test_the_flow_goes_with_the_air_pressure_as_the_step_that_assumes_it_says() -> None:
    low, high = (
        recompute(ONE, one_point(**{**COLD, "barometric_pressure_pa": pressure})).session["flow_50_m3_h"][0]
        for pressure in (97_772.0, 101_325.0)  # ASHRAE standard atmosphere at 300 m and at sea level (computed)
    )
    assert low / high == pytest.approx((97_772 / 101_325) ** (1 - 0.65 - 0.5), rel=1e-12)


def test_a_calibration_without_density_stays_as_it_is_where_none_may_be_assumed() -> None:
    steps = [step("fan_density"), step("one_point")]
    found = chain.run(batch(one_point(**COLD)), steps)
    assert found.session["share_fan_density_percent"][0] == 0.0
    assert "calibration_density_unknown" in notes(found)


@pytest.mark.parametrize("blown", CHOICES["direction"])
def test_an_unknown_direction_is_taken_from_the_sign_and_not_corrected_for_density(blown: str) -> None:
    session = multi_point(blown, **COLD)
    session["runs"][0]["direction"] = None
    found = recompute(ISO, session)
    assert found.session["exponent"][0] == pytest.approx(0.65, abs=1e-12)
    assert found.session["direction_used"][0] == -1
    assert found.session["share_fan_density_percent"][0] == found.session["share_envelope_density_percent"][0] == 0.0
    assert {"direction_unknown", "fan_density_not_corrected", "reference_not_corrected"} <= notes(found)
    assert "temperature_unknown" not in notes(found)


def test_a_calibration_index_beyond_the_list_is_no_calibration() -> None:
    session = one_point(**COLD)
    session["calibrations"] = [{"fan_coefficient_m3_h": 492.0, "fan_exponent": 0.5}]
    session["runs"][0]["points"] = [point(-50.0, 2500.0, fan_pressure_pa=40.0, calibration_index=1)]
    found = recompute(ONE, session, one_point(calibrations=[{"fan_coefficient_m3_h": 1.0, "fan_exponent": 1.0}]))
    assert found.session["share_calibration_percent"][0] == 0.0
    assert "calibration_absent" in notes(found)


def test_a_calibration_used_below_its_range_is_noted() -> None:
    session = one_point(**COLD)
    session["calibrations"] = [{"fan_coefficient_m3_h": 900.0, "fan_exponent": 0.5, "minimum_fan_pressure_pa": 10.0}]
    session["runs"][0]["points"] = [point(-50.0, 2500.0, fan_pressure_pa=-9.0, calibration_index=0)]
    assert "fan_pressure_below_minimum" in notes(recompute(ONE, session))


STEPS = [step("fan_calibration"), step("one_point")]
# 20 Pa, 1000 m3/h and 80 Pa, 2000 m3/h: exponent 1/2, so 40 Pa give 1000 sqrt(2) = 1414.2 m3/h
TABLE = [
    {"calibration_pressure_pa": 20.0, "calibration_flow_m3_h": 1000.0},
    {"calibration_pressure_pa": 80.0, "calibration_flow_m3_h": 2000.0},
]


def by_fan(fan_pressure_pa: float | None, flow_m3_h: float | None, **calibration: Any) -> tuple[float, set[str]]:
    """Flow at 50 Pa and notes of a reading at 50 Pa, by calibrations alone; beside a neighbour with another table."""
    session = one_point(baseline_pa=None, calibrations=[{"table": TABLE[:0], "fan_exponent": 1.0}, calibration])
    session["runs"][0]["points"] = [
        point(-50.0, flow_m3_h, fan_pressure_pa=fan_pressure_pa, calibration_index=1 if calibration else None)
    ]
    other = one_point(calibrations=[{"table": [{**row, "calibration_flow_m3_h": 1.0} for row in TABLE]}])
    found = chain.run(batch(other, session), STEPS)
    return float(found.session["flow_50_m3_h"][1]), notes(found, 1) - {"exponent_assumed"}


@pytest.mark.parametrize("shown", [2500.0, None])
def test_a_calibration_table_replaces_the_indicated_flow(shown: float | None) -> None:
    flow, said = by_fan(-40.0, shown, table=TABLE)
    assert flow == pytest.approx(1414.2, abs=0.05)
    assert said == set()


@pytest.mark.parametrize(
    "form", [{"table": TABLE}, {"fan_coefficient_m3_h": 1000 / math.sqrt(20), "fan_exponent": 0.5}]
)
def test_a_calibration_used_beyond_its_range_is_noted_whatever_its_form(form: dict[str, Any]) -> None:
    flow, said = by_fan(40.0, 2500.0, maximum_fan_pressure_pa=39.0, **form)
    assert (flow, said) == (pytest.approx(1414.2, abs=0.05), {"fan_pressure_above_maximum"})
    flow, said = by_fan(40.0, 2500.0, minimum_fan_pressure_pa=41.0, maximum_fan_pressure_pa=90.0, **form)
    assert (flow, said) == (pytest.approx(1414.2, abs=0.05), {"fan_pressure_below_minimum"})
    assert by_fan(40.0, 2500.0, minimum_fan_pressure_pa=40.0, maximum_fan_pressure_pa=40.0, **form)[1] == set()


@pytest.mark.parametrize("fan_pressure_pa", [19.9, 80.1])
def test_beyond_its_table_the_flow_shown_stays_and_that_is_noted(fan_pressure_pa: float) -> None:
    flow, said = by_fan(fan_pressure_pa, 2500.0, table=TABLE)
    assert (flow, said) == (pytest.approx(2500.0), {"fan_pressure_outside_table"})
    flow, said = by_fan(fan_pressure_pa, None, table=TABLE)
    assert np.isnan(flow)
    assert said == {"fan_pressure_outside_table", "no_usable_point", "points_left_out"}


def test_a_table_that_one_point_lies_beyond_is_not_absent_for_another_without_fan_pressure() -> None:
    session = one_point(baseline_pa=None, calibrations=[{"table": TABLE}])
    beyond = point(-50.0, 2500.0, fan_pressure_pa=90.0, calibration_index=0)
    session["runs"][0]["points"] = [beyond, point(-25.0, 1500.0)]
    found = chain.run(batch(session), [step("fan_calibration"), step("power_law")])
    assert notes(found) == {"fan_pressure_outside_table", "calibration_partly_absent"}


def test_a_fan_pressure_with_neither_flow_nor_calibration_is_noted_as_that() -> None:
    assert by_fan(40.0, None)[1] == {"fan_flow_unknown", "no_usable_point", "points_left_out"}
    assert by_fan(40.0, 2500.0)[1] == {"calibration_absent"}
    assert by_fan(None, 2500.0, table=TABLE)[1] == {"calibration_absent"}


def test_a_calibration_out_of_the_register_is_noted_where_it_is_used() -> None:
    assert by_fan(40.0, None, table=TABLE, calibration_from_register=True)[1] == {"calibration_from_register"}
    said = by_fan(90.0, 2500.0, table=TABLE, calibration_from_register=True)[1]
    assert said == {"fan_pressure_outside_table"}


def test_readings_that_determine_nothing_give_no_number_instead_of_an_endless_one() -> None:
    session = multi_point()
    session["runs"][0]["points"] = [point(-50.0, 1.0), point(-50.001, 1e6)]
    found = recompute(DISPLAYED, session)
    assert np.isnan(found.session["flow_50_m3_h"][0])
    assert "too_few_points" in notes(found)


def test_an_empty_batch_gives_empty_results() -> None:
    for rules in (ISO, ONE, DISPLAYED):
        assert recompute(rules).session["flow_50_m3_h"].size == 0


# --- against the source ----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("reported", "expected"),
    [
        ({"reported_flow_m3_h": 2500.0, "reported_flow_pressure_pa": 50.0}, 0.0),
        ({"reported_flow_m3_h": 2000.0, "reported_flow_pressure_pa": 50.0, "reported_air_change_50_per_h": 1.0}, 25.0),
        ({"reported_flow_m3_h": 2000.0, "reported_flow_pressure_pa": 25.0}, math.nan),
        ({"reported_flow_m3_h": 2000.0}, math.nan),
        ({"reported_air_change_50_per_h": 5.0, "volume_m3": 400.0}, 25.0),
        ({"reported_air_change_50_per_h": 5.0}, math.nan),
    ],
)
def test_the_reported_flow_is_compared_at_50_pa_only(reported: dict[str, float], expected: float) -> None:
    found = recompute(DISPLAYED, one_point(**reported))
    assert found.session["difference_percent"].tolist() == pytest.approx([expected], nan_ok=True, abs=1e-12)


def two_way(seed: int) -> dict[str, Any]:
    """A windy test in both directions with a calibration, unequal temperatures and a shifting baseline."""
    rng = np.random.default_rng(seed)
    session = multi_point(indoor_temperature_c=22.0, outdoor_temperature_c=-5.0, barometric_pressure_pa=93_000.0)
    session["calibrations"] = [
        {"fan_coefficient_m3_h": 480.0, "fan_exponent": 0.51, "reference_air_density_kg_m3": 1.2}
    ]
    session["runs"] = []
    for direction, sign in (("depressurisation", -1), ("pressurisation", 1)):
        pressures = rng.uniform(12, 65, 7)
        flow = 190 * pressures ** rng.uniform(0.55, 0.75) * rng.lognormal(0, 0.02, 7)
        session["runs"].append(
            {
                "direction": direction,
                "baseline_before_pressure_pa": rng.normal(-2, 1),
                "baseline_after_pressure_pa": rng.normal(-2, 1),
                "points": [
                    point(sign * p - 2, q * 1.03, fan_pressure_pa=(q / 480) ** (1 / 0.51), calibration_index=0)
                    for p, q in zip(pressures.tolist(), flow.tolist(), strict=True)
                ],
            }
        )
    return session


@settings(max_examples=25, deadline=None)
@given(st.integers(0, 2**31))
def test_shares_multiply_to_the_whole_way_from_the_displayed_flow(seed: int) -> None:
    session = two_way(seed)
    displayed, corrected = recompute(DISPLAYED, session).session, recompute(ISO, session).session
    parts = [math.log1p(corrected[name][0] / 100) for name in SHARES]
    assert all(part != 0 for part in parts)
    whole = math.log(corrected["flow_50_m3_h"][0] / displayed["flow_50_m3_h"][0])
    assert math.fsum(parts) == pytest.approx(whole, abs=1e-13)


def test_each_share_is_what_its_correction_alone_adds() -> None:
    sessions = batch(*(two_way(seed) for seed in range(5)))
    before = chain.run(sessions, [step("power_law")]).session["flow_50_m3_h"]
    steps = [one for one in ISO.steps if one.name not in ("air_pressure", "power_law", "leakage_area")]
    shares = chain.run(sessions, ISO.steps).session
    for count, (one, name) in enumerate(zip(steps, SHARES, strict=True), 1):
        made = steps[:count]
        if one.name == "reference_conditions":
            order = [*made[:-1], step("power_law"), one]
        else:
            order = [*made, step("power_law")]
        after = chain.run(sessions, order).session["flow_50_m3_h"]
        assert shares[name] == pytest.approx(100 * (after / before - 1), abs=1e-10)
        before = after


def test_shares_are_absent_where_the_crew_saw_no_usable_flow() -> None:
    session = one_point(pressure_pa=0.5, baseline_pa=50.0)  # recorded without sign of depressurisation
    found = recompute(ONE, session)
    assert found.session["flow_50_m3_h"][0] > 0
    assert np.isnan(found.session["share_baseline_percent"][0])


# --- what must not matter --------------------------------------------------------------------------------------------


def bits(leakage: Leakage) -> list[bytes]:
    return [np.ascontiguousarray(column).tobytes() for column in (*leakage.session.values(), *leakage.run.values())]


@pytest.mark.parametrize("rules", [ISO, DISPLAYED], ids=lambda rules: rules.reference)
def test_a_session_alone_is_the_session_among_ten_thousand_bit_for_bit(rules: ruleset.RuleSet) -> None:
    mixed = [two_way(0), multi_point(), one_point(), two_way(1), multi_point(runs=[]), two_way(2)]
    tile = 10_000 // len(mixed)
    many = chain.run(batch(*mixed * tile), rules.steps, rules.applies_to)
    for place in range(len(mixed)):
        alone = recompute(rules, mixed[place])
        for nth in (0, tile // 2, tile - 1):
            row = nth * len(mixed) + place
            here = slice(*many.run_offsets[row : row + 2])
            assert bits(alone) == [
                *(np.ascontiguousarray(column[row : row + 1]).tobytes() for column in many.session.values()),
                *(np.ascontiguousarray(column[here]).tobytes() for column in many.run.values()),
            ]
            assert many.note_mask[row] == alone.note_mask[0]


def test_the_order_of_points_does_not_matter() -> None:
    session = two_way(3)
    turned = {**session, "runs": [{**run, "points": run["points"][::-1]} for run in session["runs"]]}
    one, other = recompute(ISO, session).session, recompute(ISO, turned).session
    for name in one:
        assert other[name].tolist() == pytest.approx(one[name].tolist(), rel=1e-12, nan_ok=True)


def mirrored(given_batch: Batch) -> Batch:
    """The same test with the fan turned about: all signs and directions exchanged."""
    run = {
        name: (1 - column if name == "direction" else -column if name.endswith("pressure_pa") else column)
        for name, column in given_batch.run.items()
    }
    return replace(
        given_batch,
        run=run,
        point=dict(given_batch.point, envelope_pressure_pa=-given_batch.point["envelope_pressure_pa"]),
    )


def test_still_air_of_one_temperature_knows_no_direction() -> None:
    session = two_way(4) | {"indoor_temperature_c": 15.0, "outdoor_temperature_c": 15.0}
    given_batch = batch({**session, "runs": session["runs"][:1]})
    out = chain.run(given_batch, ISO.steps).session
    into = chain.run(mirrored(given_batch), ISO.steps).session
    for name in set(out) - {"direction_used"}:
        assert into[name].tolist() == out[name].tolist() or np.isnan(out[name]).all()


def test_a_gauge_with_a_constant_offset_gives_the_same_corrected_result() -> None:
    session = two_way(5)
    given_batch = batch(session)
    run = {
        n: c + 7.0 if n.endswith(("before_pressure_pa", "after_pressure_pa")) else c for n, c in given_batch.run.items()
    }
    point_ = dict(given_batch.point, envelope_pressure_pa=given_batch.point["envelope_pressure_pa"] + 7.0)
    shifted = chain.run(replace(given_batch, run=run, point=point_), ISO.steps).session
    assert shifted["flow_50_m3_h"] == pytest.approx(
        chain.run(given_batch, ISO.steps).session["flow_50_m3_h"], rel=1e-12
    )


# --- form ------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("steps", "code", "place"),
    [
        ([step("no_such_step"), step("power_law")], "rule-step", "step 1"),
        ([step("power_law"), step("baseline")], "rule-order", "step 2"),
        ([step("power_law"), step("power_law")], "rule-order", "step 2"),
        ([step("power_law", trust=0.9)], "rule-keyword", "step 1"),
        (
            [step("power_law"), step("leakage_area", pressure_pa=4.0, discharge_coefficient=1.0)],
            "rule-keyword",
            "step 2",
        ),
        ([step("baseline")], "rule-fit", None),
    ],
    ids=["unknown", "order", "twice", "keyword", "keyword lacking", "no fit"],
)
def test_steps_at_fault_are_refused_with_their_place(steps: list[Any], code: str, place: str | None) -> None:
    with pytest.raises(RuleSetError) as caught:
        chain.run(batch(one_point()), steps)
    assert [(problem.code, problem.place.column) for problem in caught.value.problems] == [(code, place)]


def test_results_have_names_of_the_table_and_no_infinite_number() -> None:
    found = recompute(ISO, two_way(6), multi_point(runs=[]))
    assert (set(found.session) | set(found.run)) - set(QUANTITIES) == set()
    for column in (*found.session.values(), *found.run.values()):
        assert not np.isinf(column.astype(float)).any()


def test_notes_read_the_same_one_by_one_and_all_at_once() -> None:
    found = recompute(ONE, one_point(), one_point(**COLD), multi_point())
    assert found.notes().tolist() == [";".join(note_codes(int(mask))) for mask in found.note_mask]
    assert [note_codes(note_bit(code)) for code in NOTES] == [(code,) for code in NOTES]


def test_the_sum_of_several_fans_is_not_replaced_by_the_calibration_of_one() -> None:
    calibration = {"fan_coefficient_m3_h": 100.0, "fan_exponent": 0.5, "reference_air_density_kg_m3": 1.2041}
    reading = {"fan_pressure_pa": 100.0, "calibration_index": 0}
    flows = [
        chain.run(
            batch(
                {
                    **one_point(),
                    "calibrations": [calibration],
                    "runs": [
                        {"direction": "depressurisation", "points": [point(-50.0, 2500.0, flow_basis=basis, **reading)]}
                    ],
                }
            ),
            [step("fan_calibration"), step("one_point")],
        ).session["flow_50_m3_h"][0]
        for basis in ("indicated", "summed")
    ]
    assert flows == pytest.approx([1000.0, 2500.0])  # 100 m3/h times the root of 100 Pa, and what was summed
