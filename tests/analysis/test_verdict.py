"""Verdict per use: what each finding leads to, who is named for it, and what was never asked for."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from build import batch, line, multi_point, one_point

from interchange.analysis import chain, checks, verdict
from interchange.analysis.check import CAUSES, Check
from interchange.model import ruleset
from interchange.quantities import CHOICES, FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT

WORDS = CHOICES["verdict"]


def check(*levels: int, effect: float = np.nan, cause: str = "") -> Check:
    size = len(levels)
    return Check(
        level=np.array(levels, dtype=np.int8),
        value=np.full(size, np.nan),
        limit=np.full(size, np.nan),
        effect_percent=np.full(size, effect),
        cause=np.full(size, CAUSES.index(cause), dtype=np.int8),
    )


def judged(use: str, **found: Check) -> list[str]:
    return [WORDS[code] for code in verdict.verdicts(found)[use].verdict]


def by_rules(reference: str, *sessions: Any) -> dict[str, verdict.Verdicts]:
    rules = ruleset.named(reference)
    given = batch(*sessions)
    leakage = chain.run(given, rules.steps, rules.applies_to)
    return verdict.verdicts(checks.evaluate(given, leakage, rules.checks))


def test_every_weight_is_of_a_check_that_exists_and_every_use_is_judged() -> None:
    known = {*checks.ALWAYS, *checks.CHECKS}
    assert set(verdict.WEIGHTS) == set(CHOICES["use"])
    assert {name for weights in verdict.WEIGHTS.values() for name in weights} == known
    assert max(len(weights) for weights in verdict.WEIGHTS.values()) <= 62  # bits of a mask


@pytest.mark.parametrize("use", CHOICES["use"])
def test_a_test_without_a_flow_cannot_tell_whatever_else_was_found(use: str) -> None:
    assert judged(use, usable_flow=check(MISSING), water_in_line=check(SUSPECT)) == ["cannot_tell"]


@pytest.mark.parametrize("reference", ruleset.references())
@pytest.mark.parametrize("session", [one_point(), one_point(kind="monitoring"), one_point(runs=[])], ids=str)
def test_a_one_point_test_is_never_sound_for_low_pressure(reference: str, session: dict[str, Any]) -> None:
    found = by_rules(reference, session)["low_pressure_and_exponent"]
    assert WORDS[found.verdict[0]] == "cannot_tell"
    assert found.reasons(0)[0] in ("usable_flow", "exponent_fitted")


@pytest.mark.parametrize("use", CHOICES["use"])
def test_a_sound_test_is_sound_for_every_use(use: str) -> None:
    both = [multi_point(direction)["runs"][0] for direction in ("depressurisation", "pressurisation")]
    sound = multi_point(wind_speed_m_s=0.5, runs=both)
    found = by_rules("iso9972@2015", sound)[use]
    assert (WORDS[found.verdict[0]], found.reasons(0)) == ("sound", ())


def test_what_a_rule_set_does_not_ask_for_has_no_say() -> None:
    bare = one_point()
    assert bare.get("indoor_temperature_c") is None
    asked, not_asked = (by_rules(name, bare)["flow_at_50"] for name in ("astm-e1827-one-point@2011", "as_displayed"))
    assert "temperatures_known" in asked.reasons(0)
    assert not_asked.reasons(0) == ()


@pytest.mark.parametrize(
    ("use", "name", "finding", "expected"),
    [
        ("flow_at_50", "water_in_line", check(SUSPECT, effect=14.0), "retest_advised"),
        ("flow_at_50", "water_in_line", check(SUSPECT), "retest_advised"),
        ("flow_at_50", "water_in_line", check(SUSPECT, effect=0.5), "note"),
        ("low_pressure_and_exponent", "water_in_line", check(SUSPECT, effect=0.5), "retest_advised"),
        ("flow_at_50", "water_in_line", check(NOT_EVALUATED, cause="wind_unknown_large_offset"), "note"),
        ("flow_at_50", "water_in_line", check(NOT_EVALUATED, cause="wind_unknown"), "sound"),
        ("flow_at_50", "water_in_line", check(NOT_EVALUATED, cause="windy"), "sound"),
        ("flow_at_50", "low_pressure_spread", check(SUSPECT), "sound"),
        ("low_pressure_and_exponent", "low_pressure_spread", check(SUSPECT), "retest_advised"),
        ("publishable", "low_pressure_spread", check(SUSPECT), "note"),
        ("flow_at_50", "direction_matches_pressure", check(FAIL), "cannot_tell"),
        ("flow_at_50", "direction_matches_pressure", check(SUSPECT), "note"),
        ("flow_at_50", "baseline_missing", check(MISSING), "note"),
        ("low_pressure_and_exponent", "baseline_missing", check(MISSING), "retest_advised"),
        ("flow_at_50", "baseline_level", check(FAIL, effect=8.0), "retest_advised"),
        ("flow_at_50", "baseline_level", check(SUSPECT, effect=8.0), "note"),
        ("flow_at_50", "baseline_shift", check(SUSPECT, effect=6.0), "retest_advised"),
        ("flow_at_50", "baseline_shift", check(SUSPECT, effect=2.0), "note"),
        ("flow_at_50", "pressure_reached", check(SUSPECT, effect=6.0), "retest_advised"),
        ("flow_at_50", "pressure_reached", check(SUSPECT, effect=2.0), "note"),
        ("flow_at_50", "exponent_range", check(FAIL), "retest_advised"),
        ("low_pressure_and_exponent", "exponent_fitted", check(SUSPECT), "note"),
        ("publishable", "exponent_fitted", check(MISSING), "note"),
        ("publishable", "point_count", check(FAIL), "retest_advised"),
        ("flow_at_50", "reported_agrees", check(SUSPECT, effect=9.0), "note"),
        ("before_after", "reported_agrees", check(SUSPECT, effect=9.0), "sound"),
        ("flow_at_50", "temperatures_known", check(MISSING), "note"),
    ],
)
def test_a_finding_leads_to_its_verdict(use: str, name: str, finding: Check, expected: str) -> None:
    assert judged(use, **{name: finding}) == [expected]


def test_reasons_stand_with_the_gravest_first_and_alike_for_one_and_for_all() -> None:
    found = verdict.verdicts(
        {
            "temperatures_known": check(PASS, MISSING, MISSING, PASS),
            "baseline_missing": check(PASS, MISSING, PASS, PASS),
            "exponent_range": check(PASS, FAIL, PASS, PASS),
            "usable_flow": check(PASS, PASS, MISSING, PASS),
        }
    )["flow_at_50"]
    expected = [
        (),
        ("exponent_range", "baseline_missing", "temperatures_known"),
        ("usable_flow", "temperatures_known"),
        (),
    ]
    assert [found.reasons(k) for k in range(4)] == expected
    assert found.reason_texts().tolist() == [";".join(names) for names in expected]
    assert [WORDS[code] for code in found.verdict] == ["sound", "retest_advised", "cannot_tell", "sound"]


def test_a_low_calm_baseline_in_a_one_point_test_advises_a_retest() -> None:
    wet = one_point(baseline_pa=-11.8, wind_beaufort_low=0, wind_beaufort_high=1, height_m=5.0) | {
        "indoor_temperature_c": 20.0,
        "outdoor_temperature_c": 10.0,
    }
    found = by_rules("astm-e1827-one-point@2011", wet)["flow_at_50"]
    assert WORDS[found.verdict[0]] == "retest_advised"
    assert found.reasons(0)[0] == "water_in_line"


def test_a_wild_fit_fails_what_needs_its_exponent() -> None:
    session = multi_point()
    session["runs"][0]["points"] = line("depressurisation", [60, 50, 40, 30, 20], exponent=1.2, offset=-1.0)
    found = by_rules("iso9972@2015", session)
    assert WORDS[found["low_pressure_and_exponent"].verdict[0]] == "retest_advised"
    assert "exponent_range" in found["low_pressure_and_exponent"].reasons(0)


def test_verdicts_of_no_sessions_are_none() -> None:
    found = by_rules("iso9972@2015")["publishable"]
    assert (found.verdict.size, found.reason_texts().size) == (0, 0)


def test_a_result_from_one_direction_is_published_with_a_note() -> None:
    found = by_rules("iso9972@2015", multi_point(wind_speed_m_s=0.5))["publishable"]
    assert (WORDS[found.verdict[0]], found.reasons(0)) == ("note", ("both_directions",))


@pytest.mark.parametrize(
    ("wind", "low_pressure", "publishable"),
    [
        ({"wind_speed_m_s": 3.0}, "sound", "note"),
        ({"wind_speed_m_s": 6.0}, "note", "note"),
        ({"wind_speed_m_s": 6.0, "wind_source": "station"}, "sound", "note"),
        ({"wind_speed_m_s": 6.1}, "retest_advised", "retest_advised"),
        ({"wind_speed_m_s": 3.1, "wind_source": "on_site_hand"}, "retest_advised", "retest_advised"),
        ({"wind_beaufort_low": 3, "wind_beaufort_high": 4}, "note", "note"),
        ({"wind_beaufort_low": 4, "wind_beaufort_high": 5}, "retest_advised", "retest_advised"),
        ({}, "sound", "note"),
    ],
    ids=str,
)
def test_strong_wind_takes_low_pressures_first(wind: dict[str, Any], low_pressure: str, publishable: str) -> None:
    found = by_rules("iso9972@2015", multi_point(**wind))
    assert WORDS[found["low_pressure_and_exponent"].verdict[0]] == low_pressure
    assert WORDS[found["publishable"].verdict[0]] == publishable


@pytest.mark.parametrize(
    ("session", "reason"),
    [
        (one_point(pressure_pa=-502.0, wind_speed_m_s=0.5), "plausible_pressure"),
        (one_point(volume_m3=9.0, wind_speed_m_s=0.5), "plausible_air_changes"),
        (one_point(volume_m3=30_000.0, wind_speed_m_s=0.5), "plausible_air_changes"),
    ],
    ids=["decimal point slipped", "volume in the wrong unit", "volume too large"],
)
def test_numbers_that_no_house_has_serve_no_use(session: dict[str, Any], reason: str) -> None:
    for found in by_rules("astm-e1827-one-point@2011", session).values():
        assert WORDS[found.verdict[0]] == "cannot_tell"
        assert reason in found.reasons(0)


@pytest.mark.parametrize(("indoors_c", "verdict"), [(20.0, "sound"), (-7.0, "note"), (68.0, "note"), (None, "note")])
def test_an_indoor_temperature_that_no_house_has_is_noted(indoors_c: float | None, verdict: str) -> None:
    air = {"indoor_temperature_c": indoors_c, "outdoor_temperature_c": 10.0, "volume_m3": 400.0}
    found = by_rules("astm-e1827-one-point@2011", one_point(**air))["flow_at_50"]
    assert WORDS[found.verdict[0]] == verdict
    wanted = "temperatures_known" if indoors_c is None else "plausible_indoors"
    assert found.reasons(0) == (() if verdict == "sound" else (wanted,))
