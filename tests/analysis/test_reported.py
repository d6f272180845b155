"""Reported values against each other: known slips are found as exactly that, and what agrees raises nothing."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from build import batch, multi_point, one_point
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.analysis import chain, checks
from interchange.analysis.check import CAUSES, Check
from interchange.analysis.reported_areas import AREA_PAIRS
from interchange.analysis.slips import log_rounding
from interchange.errors import RuleSetError
from interchange.model import ruleset
from interchange.operations.judging import judge
from interchange.quantities import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from interchange.report.sentences import Finding, check_sentence
from interchange.units import SLIPS

RULES = ruleset.named("as_reported")
NAMES = tuple(rule.name for rule in RULES.checks)
NUMBERS = tuple(slip for slip in SLIPS if slip.of == "number")


def area_m2(flow_50: float, exponent: float, pressure: float = 4.0, discharge: float = 1.0) -> float:
    """ASHRAE Handbook-Fundamentals, chapter 16, equation 41 (read), air of 1.2 kg/m3."""
    return flow_50 * (pressure / 50.0) ** exponent / 3600.0 * math.sqrt(1.2 / (2.0 * pressure)) / discharge


def record(
    flow_50: float = 2000.0, volume: float = 400.0, exponent: float = 0.66, pair: int = 0, **more: Any
) -> dict[str, Any]:
    """A result without readings whose values all agree; digits as sources round them."""
    pressure, discharge = AREA_PAIRS[pair]
    return {
        "kind": "summary",
        "volume_m3": volume,
        "floor_area_m2": volume / 2.5,
        "height_m": 5.0,
        "reported_flow_m3_h": round(flow_50),
        "reported_flow_pressure_pa": 50.0,
        "reported_air_change_50_per_h": round(flow_50 / volume, 1),
        "reported_natural_air_change_per_h": round(flow_50 / volume / 18.0, 2),
        "reported_exponent": round(exponent, 2),
        "reported_exponent_assumed": False,
        "reported_coefficient_m3_h": round(flow_50 / 50.0 ** round(exponent, 2), 1),
        "reported_correlation_r2": 0.998,
        "reported_leakage_area_m2": round(area_m2(flow_50, exponent, pressure, discharge), 4),
        "reported_leakage_area_pressure_pa": pressure,
        "reported_leakage_area_discharge_coefficient": discharge,
        **more,
    }


def found(*sessions: dict[str, Any]) -> dict[str, Check]:
    one = judge(batch(*sessions), RULES)
    assert all(np.isnan(one.leakage.session["flow_50_m3_h"]))
    return {name: one.checks[name] for name in NAMES}


def levels(session: dict[str, Any]) -> dict[str, int]:
    return {name: int(check.level[0]) for name, check in found(session).items()}


def sentence(session: dict[str, Any], name: str) -> str:
    return str(check_sentence(judge(batch(session), RULES).finding(name, 0)))


def slip(check: Check, name: str = "slip") -> tuple[str, str, str] | None:
    place = int(check.details[name][0])
    return None if place < 0 else (SLIPS[place].of, SLIPS[place].meant, SLIPS[place].taken)


# --- what agrees -----------------------------------------------------------------------------------------------------


def test_a_record_whose_values_agree_passes_every_check() -> None:
    assert set(levels(record()).values()) == {PASS}


@settings(max_examples=60, deadline=None)
@given(
    flow=st.floats(300.0, 9000.0),
    air_changes=st.floats(1.0, 25.0),
    exponent=st.floats(0.55, 0.75),
    divisor=st.floats(11.0, 29.0),
    pair=st.integers(0, len(AREA_PAIRS) - 1),
    noise=st.floats(0.98, 1.02),
)
def test_values_that_agree_but_for_rounding_and_2_per_cent_raise_nothing(
    flow: float, air_changes: float, exponent: float, divisor: float, pair: int, noise: float
) -> None:
    volume = flow / air_changes
    session = record(flow, volume, exponent, pair, reported_flow_m3_h=round(flow * noise))
    session["reported_natural_air_change_per_h"] = round(air_changes / divisor, 2)
    alarms = {name: level for name, level in levels(session).items() if level in (SUSPECT, FAIL)}
    allowed = set() if 30.0 <= volume <= 3000.0 else {"plausible_sizes"}
    allowed |= set() if 10.0 <= volume / 2.5 <= 1200.0 else {"plausible_sizes"}
    assert set(alarms) <= allowed


def test_a_difference_that_a_correction_for_the_air_may_make_is_let_pass() -> None:
    assert levels(record(reported_flow_m3_h=2000.0 * 1.07))["reported_flow_fits_volume"] == PASS
    check = found(record(reported_flow_m3_h=2000.0 * 1.2))["reported_flow_fits_volume"]
    assert (int(check.level[0]), slip(check)) == (SUSPECT, None)
    assert check.value[0] == pytest.approx(20.0)


def test_a_record_that_says_nothing_is_not_judged() -> None:
    assert set(levels({"kind": "summary"}).values()) == {NOT_EVALUATED}


# --- one slip --------------------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(
    place=st.sampled_from([i for i, one in enumerate(SLIPS) if one.of in ("flow", "volume")]),
    flow=st.floats(800.0, 6000.0),
    air_changes=st.floats(2.5, 20.0),
    noise=st.floats(0.985, 1.015),
)
def test_a_unit_taken_for_another_is_found_as_exactly_that(
    place: int, flow: float, air_changes: float, noise: float
) -> None:
    one = SLIPS[place]
    field = {"flow": "reported_flow_m3_h", "volume": "volume_m3"}[one.of]
    session = {
        "kind": "summary",
        "volume_m3": flow / air_changes,
        "reported_flow_m3_h": flow * noise,
        "reported_flow_pressure_pa": 50.0,
        "reported_air_change_50_per_h": air_changes,
    }
    session[field] *= one.factor  # type: ignore[operator]
    check = found(session)["reported_flow_fits_volume"]
    # both sizes in feet make a factor of 60, as m3/min does: the volume, none of a house, tells them apart
    assert (int(check.level[0]), slip(check)) == (FAIL, (one.of, one.meant, one.taken))
    assert abs(check.details["residual_percent"][0]) < 1.6


@pytest.mark.parametrize("factor", [one.factor for one in NUMBERS])
def test_a_moved_decimal_point_is_found(factor: float) -> None:
    check = found(record(reported_flow_m3_h=2000.0 * factor))["reported_flow_fits_volume"]
    assert SLIPS[int(check.details["slip"][0])].factor == factor


def test_a_flow_in_cubic_feet_reads_as_an_officer_understands_it() -> None:
    """1,499 ft3/min are 1,499 x 1.699 = 2,547 m3/h; over 214 m3 they make 11.9, as reported; 1,499 m3/h make 7.0."""
    session = {
        "kind": "summary",
        "volume_m3": 214.0,
        "reported_flow_m3_h": 1499.0,
        "reported_flow_pressure_pa": 50.0,
        "reported_air_change_50_per_h": 11.9,
    }
    assert sentence(session, "reported_flow_fits_volume") == (
        "Reported 1,499 m3/h at 50 Pa and 11.9 air changes an hour do not fit a volume of 214 m3, which with that flow "
        "make 7; they would if the flow were in ft3/min (1,499 ft3/min = 2,547 m3/h); ask the sender, nothing was "
        "changed."
    )
    check = found(session)["reported_flow_fits_volume"]
    assert check.value[0] == pytest.approx(100.0 * (1499.0 / (11.9 * 214.0) - 1.0))
    assert check.effect_percent[0] == pytest.approx(100.0 * (11.9 * 214.0 / 1499.0 - 1.0))


def test_a_flow_that_was_no_number_of_cubic_feet_is_told_by_the_number_that_was_sent() -> None:
    text = sentence(record(reported_flow_m3_h=2000.0 * 1.69901), "reported_flow_fits_volume")
    assert "if the flow, taken for 2,000 ft3/min, were 2,000 m3/h; other values of the record say so too" in text


def test_a_record_that_holds_no_other_witness_has_none() -> None:
    alone = {"reported_coefficient_m3_h": None, "reported_leakage_area_m2": None}
    text = sentence(record(reported_flow_m3_h=2000.0 / 1.69901, **alone), "reported_flow_fits_volume")
    assert "say so too" not in text


def test_two_slips_are_named_only_where_the_volume_proves_the_second() -> None:
    """Flow in ft3/min and volume in ft3, both taken for metric: a factor of 60 between them, as m3/min alone makes."""
    both = record(volume_m3=400.0 * 35.3147, reported_flow_m3_h=2000.0 / 1.69901)
    check = found(both)["reported_flow_fits_volume"]
    assert (slip(check), slip(check, "second_slip")) == (("flow", "cfm", "m3/h"), ("volume", "ft3", "m3"))
    assert sentence(both, "reported_flow_fits_volume").count(" were in ") == 2
    single = found(record(reported_flow_m3_h=2000.0 / 60.0))["reported_flow_fits_volume"]
    assert (slip(single), slip(single, "second_slip")) == (("flow", "m3/min", "m3/h"), None)


def test_a_contradiction_that_no_slip_explains_says_so() -> None:
    session = record(reported_flow_m3_h=2000.0 * 2.9)
    check = found(session)["reported_flow_fits_volume"]
    assert (int(check.level[0]), slip(check)) == (FAIL, None)
    assert "no known slip explains it" in sentence(session, "reported_flow_fits_volume")


def test_a_flow_at_another_pressure_is_brought_to_50_pa_first() -> None:
    at_25 = record(reported_flow_m3_h=2000.0 * 0.5**0.66, reported_flow_pressure_pa=25.0)
    assert levels(at_25)["reported_flow_fits_volume"] == PASS
    assert levels({**at_25, "reported_exponent": None})["reported_flow_fits_volume"] == PASS


# --- coefficient -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "one", [one for one in SLIPS if one.of == "flow"], ids=lambda one: f"{one.meant} as {one.taken}"
)
def test_a_coefficient_in_another_unit_is_found(one: Any) -> None:
    good = record()
    check = found({**good, "reported_coefficient_m3_h": good["reported_coefficient_m3_h"] * one.factor})
    coefficient = check["reported_coefficient_fits_flow"]
    assert (int(coefficient.level[0]), slip(coefficient)) == (FAIL, ("flow", one.meant, one.taken))
    assert coefficient.details["agrees"][0] == 1.0  # the air changes speak for the flow
    assert check["reported_flow_fits_volume"].level[0] == PASS


def test_a_coefficient_for_an_inch_of_water_and_one_that_is_the_flow_are_told_apart() -> None:
    per_inch = 2000.0 * (249.08891 / 50.0) ** 0.66
    check = found(record(reported_coefficient_m3_h=per_inch))["reported_coefficient_fits_flow"]
    assert slip(check) == ("pressure", "inH2O", "Pa")
    text = sentence(record(reported_coefficient_m3_h=per_inch), "reported_coefficient_fits_flow")
    assert "if the coefficient were for 1 inch of water, not 1 Pa" in text
    same = sentence(record(reported_coefficient_m3_h=2000.0), "reported_coefficient_fits_flow")
    assert "the coefficient is the flow at that pressure, not at 1 Pa" in same


def test_the_air_changes_say_which_of_flow_and_coefficient_holds_the_slip() -> None:
    text = sentence(record(reported_flow_m3_h=2000.0 / 1.69901), "reported_coefficient_fits_flow")
    assert "if the flow were in ft3/min and had been taken for m3/h" in text


# --- areas -----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("meant", "taken", "factor"),
    [("cm2", "in2", 6.4516), ("in2", "cm2", 1 / 6.4516), ("in2", "m2", 1 / 0.00064516), ("cm2", "m2", 1e4)],
)
def test_an_area_in_another_unit_is_found(meant: str, taken: str, factor: float) -> None:
    good = record()
    session = {**good, "reported_leakage_area_m2": good["reported_leakage_area_m2"] * factor}
    check = found(session)["reported_area_fits_flow"]
    assert (int(check.level[0]), slip(check)) == (FAIL, ("opening", meant, taken))


@pytest.mark.parametrize("pair", range(len(AREA_PAIRS)))
def test_an_area_that_does_not_say_what_it_is_for_is_named_with_the_pair_that_would_agree(pair: int) -> None:
    names = ("reported_leakage_area_pressure_pa", "reported_leakage_area_discharge_coefficient")
    session = record(pair=pair, **dict.fromkeys(names))
    check = found(session)["reported_area_stated"]
    assert (int(check.level[0]), int(check.details["pairs"][0])) == (MISSING, 1 << pair)
    assert f"for {AREA_PAIRS[pair][0]:g} Pa and {AREA_PAIRS[pair][1]:g} (pressure" in sentence(
        session, "reported_area_stated"
    )
    assert levels(session)["reported_area_fits_flow"] == PASS
    unknown = sentence({**session, "reported_exponent": None}, "reported_area_stated")
    assert unknown.endswith("does not say its pressure and discharge coefficient; without it areas cannot be compared.")


def test_an_area_stated_for_the_wrong_pair_is_named_with_the_right_one() -> None:
    session = record(pair=1, reported_leakage_area_pressure_pa=4.0, reported_leakage_area_discharge_coefficient=1.0)
    check = found(session)["reported_area_fits_flow"]
    assert (int(check.level[0]), slip(check), int(check.details["pairs"][0])) == (FAIL, None, 2)
    assert "it would agree if it were stated for 10 Pa and 0.611" in sentence(session, "reported_area_fits_flow")


def test_without_a_reported_exponent_an_area_is_suspect_at_most() -> None:
    good = record(reported_exponent=None, reported_coefficient_m3_h=None)
    wrong = {**good, "reported_leakage_area_m2": good["reported_leakage_area_m2"] * 6.4516}
    assert [levels(one)["reported_area_fits_flow"] for one in (good, wrong)] == [PASS, SUSPECT]


# --- rates and exponents ---------------------------------------------------------------------------------------------


@settings(max_examples=60, deadline=None)
@given(flow=st.floats(500.0, 6000.0), air_changes=st.floats(2.0, 18.0), divisor=st.floats(12.0, 28.0))
def test_a_natural_rate_among_those_at_50_pa_is_found(flow: float, air_changes: float, divisor: float) -> None:
    natural = air_changes / divisor
    session = {
        "kind": "summary",
        "volume_m3": flow / air_changes,
        "reported_flow_m3_h": flow,
        "reported_flow_pressure_pa": 50.0,
        "reported_air_change_50_per_h": natural,
        "reported_natural_air_change_per_h": natural,
    }
    check = found(session)
    assert [int(check[name].level[0]) for name in ("reported_flow_fits_volume", "reported_natural_rate")] == [
        FAIL,
        SUSPECT,
    ]
    assert check["reported_flow_fits_volume"].details["natural"][0] == 1.0
    assert check["reported_natural_rate"].details["same"][0] == 1.0


@pytest.mark.parametrize(
    ("at_50", "natural", "level", "said"),
    [
        (8.0, 0.4, PASS, "nothing against it"),
        (8.0, 8.0, SUSPECT, "one value written twice"),
        (0.4, 8.0, SUSPECT, "they look exchanged"),
        (8.0, 1.6, SUSPECT, "5 to 1, where 10 to 30 are usual"),
        (8.0, 0.1, SUSPECT, "80 to 1, where 10 to 30 are usual"),
        (1.0, 0.03, PASS, "nothing against it"),  # 0.03 may be 0.034, as 1 may be 1.0
        (8.0, None, NOT_EVALUATED, "reports no such value"),
    ],
)
def test_natural_rates_are_held_against_those_at_50_pa(at_50: float, natural: Any, level: int, said: str) -> None:
    session = {
        "kind": "summary",
        "reported_air_change_50_per_h": at_50,
        "reported_natural_air_change_per_h": natural,
    }
    assert levels(session)["reported_natural_rate"] == level
    assert said in sentence(session, "reported_natural_rate")


@pytest.mark.parametrize(
    ("exponent", "r2", "assumed", "kind", "level"),
    [
        (0.65, 1.0, None, "summary", SUSPECT),
        (0.6, 1.0, None, "multi_point", SUSPECT),
        (0.66, 1.0, None, "two_point", PASS),
        (0.65, 0.999, None, "summary", PASS),
        (0.651, 1.0, None, "summary", PASS),
        (0.65, 1.0, False, "summary", PASS),
        (0.65, None, None, "summary", NOT_EVALUATED),
        (0.65, None, True, "summary", MISSING),
        (0.65, None, None, "single_point", MISSING),
        (None, None, True, "summary", NOT_EVALUATED),
    ],
)
def test_an_exponent_that_was_taken_for_granted_is_named(
    exponent: Any, r2: Any, assumed: Any, kind: str, level: int
) -> None:
    session = {
        "kind": kind,
        "reported_exponent": exponent,
        "reported_exponent_assumed": assumed,
        "reported_correlation_r2": r2,
    }
    given_batch = batch(session)
    leakage = chain.run(given_batch, (), ("summary",))
    check = checks.CHECKS["reported_exponent_measured"](given_batch, leakage)
    assert int(check.level[0]) == level


# --- values by themselves --------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("sizes", "meant", "floor_meant", "height"),
    [
        ({"volume_m3": 400.0 * 35.3147}, "ft3", None, 88.3),
        ({"floor_area_m2": 160.0 * 10.7639}, None, "ft2", 0.23),
        ({"volume_m3": 400.0 * 35.3147, "floor_area_m2": 160.0 * 10.7639}, "ft3", "ft2", 8.2),
    ],
)
def test_rooms_of_an_odd_height_name_the_size_in_feet(
    sizes: dict[str, float], meant: Any, floor_meant: Any, height: float
) -> None:
    session = record(**sizes)
    check = found(session)["volume_fits_floor"]
    assert int(check.level[0]) == SUSPECT
    assert check.value[0] == pytest.approx(height, abs=0.05)
    named = [slip(check, name) for name in ("slip", "floor_slip")]
    assert [one and one[1] for one in named] == [meant, floor_meant]
    assert "it would be usual if" in sentence(session, "volume_fits_floor")


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        (
            "volume_m3",
            12_000.0,
            "is 12,000 m3, which houses do not have; it would be usual if it were in ft3",
        ),
        ("floor_area_m2", 1700.0, "it were in ft2 (1,700 ft2 = 158 m2)"),
        ("height_m", 26.0, "it were in ft (26 ft = 7.92 m)"),
    ],
)
def test_a_size_that_no_house_has_looks_like_the_one_slip_that_brings_it_there(
    name: str, value: float, said: str
) -> None:
    session = {"kind": "summary", name: value}
    assert levels(session)["plausible_sizes"] == SUSPECT
    assert said in sentence(session, "plausible_sizes")
    assert levels({**session, "building_type": "non_residential"})["plausible_sizes"] == NOT_EVALUATED


@pytest.mark.parametrize(
    ("name", "value", "said"),
    [
        ("reported_flow_pressure_pa", 0.2, "it were in inch of water (0.2 inch of water = 49.8 Pa)"),
        ("reported_exponent", -0.65, "one with its sign turned"),
        ("reported_exponent", 65.0, "one in per cent"),
        ("reported_exponent", 1.54, "the reciprocal of 0.649"),
        ("reported_air_change_50_per_h", 0.02, "is 0.02 an hour, which houses do not have"),
        ("reported_natural_air_change_per_h", 7.0, "is 7 an hour, which houses do not have"),
        ("reported_flow_m3_h", 0.6, "it were in m3/s (0.6 m3/s = 2,160 m3/h)"),
    ],
)
def test_a_reported_value_that_no_house_has_looks_like_a_slip(name: str, value: float, said: str) -> None:
    session = {"kind": "summary", name: value}
    assert levels(session)["plausible_reported"] == SUSPECT
    assert said in sentence(session, "plausible_reported")


# --- against the readings, and the rule set --------------------------------------------------------------------------


def test_a_flow_worked_out_anew_names_the_unit_that_would_explain_the_reported_one() -> None:
    iso = ruleset.named("iso9972@2015")
    session = multi_point(reported_flow_m3_h=2543.1 / 1.69901, reported_flow_pressure_pa=50.0)
    text = str(check_sentence(judge(batch(session), iso).finding("reported_agrees", 0)))
    assert "they would agree if what it states were in ft3/min and had been taken for m3/h" in text
    plain = multi_point(reported_flow_m3_h=2543.1 / 1.2, reported_flow_pressure_pa=50.0)
    assert "would agree" not in str(check_sentence(judge(batch(plain), iso).finding("reported_agrees", 0)))


def test_results_without_readings_get_no_number_and_no_verdict_but_that_nobody_can_tell() -> None:
    given_batch = batch(record(), record(reported_flow_m3_h=2000.0 / 1.69901))
    one = judge(given_batch, RULES)
    computed = [column for column in one.leakage.session.values() if column.dtype.kind == "f"]
    assert np.isnan(np.array(computed)).all()
    for use, verdicts in one.verdicts.items():
        assert [verdicts.verdict[i] for i in (0, 1)] == [3, 3]
        assert ("reported_flow_fits_volume" in verdicts.reasons(1)) == (use in ("flow_at_50", "publishable"))


def test_checks_of_records_are_made_of_the_kinds_that_a_rule_set_is_for_alone() -> None:
    one = judge(batch(one_point(), record()), RULES)
    for name in NAMES:
        assert CAUSES[one.checks[name].cause[0]] == "kind_not_fitted"
        assert one.checks[name].level[1] == PASS


def test_a_rule_set_for_summaries_alone_has_no_steps_and_any_other_needs_a_fit() -> None:
    steps = ruleset.named("as_displayed").steps
    assert chain.step_faults((), "x", ("summary",)) == []
    assert [fault.code for fault in chain.step_faults(steps, "x", ("summary",))] == ["rule-fit"]
    assert [fault.code for fault in chain.step_faults((), "x", ("summary", "multi_point"))] == ["rule-fit"]
    with pytest.raises(RuleSetError):
        chain.run(batch(record()), steps, ("summary",))


def test_rounding_is_half_the_last_decimal_and_at_most_5_per_cent() -> None:
    assert log_rounding(np.array([11.9, 0.48, 7.0, 2.0, math.pi, np.nan])) == pytest.approx(
        [0.05 / 11.9, 0.005 / 0.48, 0.05, 0.05, 0.0, 0.0]
    )


@pytest.mark.parametrize("name", NAMES)
def test_every_finding_says_that_nothing_was_changed_or_what_is_missing(name: str) -> None:
    details = {key: 7.0 for key in ("flow_m3_h", "volume_m3", "floor_area_m2", "area_m2", "exponent", "pressure_pa")}
    if name == "reported_area_stated":
        return
    text = str(check_sentence(Finding(name, SUSPECT, value=1.0, limit=2.0, details=details)))
    assert ("ask the sender, nothing was changed" in text) != (name == "reported_exponent_measured")
