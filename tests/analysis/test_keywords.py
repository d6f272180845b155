"""Keywords of steps and checks: which there are, of what kind, how large; each fault with its place and cure."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

import pytest

from interchange.analysis import chain, checks
from interchange.analysis.steps import STEPS


def said(name: str, **arguments: Any) -> list[tuple[str, str]]:
    """What is found, and what was expected, of one step or check called so."""
    rule = SimpleNamespace(name=name, arguments=arguments, provenance="read")
    fit = SimpleNamespace(name="power_law", arguments={})
    if name in STEPS:
        faults = chain.step_faults([rule] if name in ("power_law", "one_point", "two_point") else [rule, fit], "x")
        faults = [fault for fault in faults if fault.code != "rule-order"]
    else:
        faults = checks.check_faults([rule], "x")
    return [(fault.found, fault.expected) for fault in faults]


@pytest.mark.parametrize(
    ("name", "arguments", "found", "expected"),
    [
        ("point_count", {"minimum": "five"}, "minimum = 'five'", "a whole number"),
        ("point_count", {"minimum": 4.5}, "minimum = 4.5", "a whole number"),
        ("point_count", {"minimum": True}, "minimum = True", "a whole number"),
        ("point_count", {"minimum": -1}, "minimum = -1", "a number of at least 0"),
        ("point_count", {"least": 5}, "unknown keyword 'least'", "keywords minimum"),
        ("baseline_missing", {"after_required": 1}, "after_required = 1", "true or false"),
        ("baseline_level", {"limit_pa": False}, "limit_pa = False", "a number"),
        ("correlation", {"r2_minimum": 98}, "r2_minimum = 98", "a number from 0 to 1"),
        ("exponent_range", {"low": 1.0, "high": 0.5}, "low = 1.0 and high = 0.5", "low below high"),
        ("exponent_range", {"high": 0.4}, "low = 0.5 and high = 0.4", "low below high"),
        ("plausible_indoors", {"low_c": -300.0}, "low_c = -300.0", "a number of at least -273.15"),
        ("wind_strength", {"beaufort_limit": 13}, "beaufort_limit = 13", "a number from 0 to 12"),
        ("temperature_times_height", {}, "no keyword 'limit_m_k'", "keywords limit_m_k"),
        ("power_law", {"confidence": 95}, "confidence = 95", "a number from 0.5 to 0.9999"),
        ("one_point", {"exponent": "0.65"}, "exponent = '0.65'", "a number"),
        (
            "two_point",
            {"primary_pa": 12.5, "secondary_pa": 50.0},
            "secondary_pa = 50.0 and primary_pa = 12.5",
            "secondary_pa below primary_pa",
        ),
        ("two_point", {"primary_pa": 50.0, "secondary_pa": 0.0}, "secondary_pa = 0.0", "a number above 0"),
        ("baseline", {"form": "median"}, "form = 'median'", "one of mean, before, interpolated"),
        ("fan_density", {"humidity": "yes"}, "humidity = 'yes'", "true or false"),
        (
            "fan_density",
            {"assumed_reference_air_density_kg_m3": 0},
            "assumed_reference_air_density_kg_m3 = 0",
            "a number above 0",
        ),
    ],
)
def test_a_keyword_at_fault_is_told_with_what_is_wanted(
    name: str, arguments: dict[str, Any], found: str, expected: str
) -> None:
    assert said(name, **arguments) == [(found, expected)]


@pytest.mark.parametrize(
    ("name", "arguments"),
    [
        ("point_count", {"minimum": 7}),
        ("baseline_level", {"limit_pa": 5}),
        ("plausible_indoors", {"low_c": -5.0, "high_c": 40}),
        ("baseline", {"form": "interpolated"}),
        ("fan_density", {"assumed_reference_air_density_kg_m3": 1.225, "humidity": True}),
        ("elevation_factor", {"per_m": 0, "from_m": 0}),
    ],
)
def test_keywords_that_are_right_are_passed(name: str, arguments: dict[str, Any]) -> None:
    assert said(name, **arguments) == []
