"""Sentences on line faults: every code has them, in plain words, with its numbers."""

from __future__ import annotations

import math
import re

import pytest

from interchange.quantities import CHOICES
from interchange.report.fault_sentences import FAULT_WORDS, cannot_tell_words, fault_words

FAULTS = CHOICES["line_fault"]
CODE = re.compile(r"[a-z]+_[a-z]+")


def test_water_is_told_as_a_crew_would_say_it() -> None:
    words = fault_words(
        "water_in_line",
        {"offset_pa": -10.6, "stack_pa": -1.2, "noise_pa": 0.1, "zero_step_pa": 0.3, "points_step_pa": math.nan},
        effect_50_percent=0.4,
        effect_10_percent=2.0,
        others=("fan_in_baseline",),
    )
    assert words.seen == (
        "With the fan off the reference line read -11.8 Pa; stack explains -1.2 Pa, and the readings moved by 0.1 Pa."
    )
    assert words.effect == "It hardly moves the flow at 50 Pa; at 10 Pa by up to 2 %."
    assert words.action == "Drain the line, keep its end off the ground, repeat."
    assert words.otherwise == "It could also be a fan that ran during a baseline."
    assert str(words) == f"{words.seen} {words.effect} {words.action} {words.otherwise}"


def test_water_that_came_in_the_course_of_the_test_is_told_by_its_step() -> None:
    words = fault_words("water_in_line", {"offset_pa": 1.0, "zero_step_pa": 6.0}, 3.9, 19.5)
    assert words.seen == (
        "In the course of the test the zero of the reference line moved by 6.0 Pa; how windy it was is not recorded."
    )
    assert words.effect == "It can move the flow at 50 Pa by 4 % and at 10 Pa by 20 %."


@pytest.mark.parametrize("fault", FAULTS)
def test_each_fault_has_sentences_with_and_without_numbers(fault: str) -> None:
    numbers = {
        name: 1.5
        for name in (
            *(
                "offset_pa",
                "stack_pa",
                "noise_pa",
                "zero_step_pa",
                "points_step_pa",
                "drift_pa",
                "stream_pa",
                "running",
            ),
            *("least_running", "fan_slope", "dead_share", "lag_s", "unanswered", "missing", "loud", "opening_ratio"),
            *("configuration_ratio", "copied_share", "exponent", "swapped_exponent"),
        )
    }
    for known in ({}, numbers, dict.fromkeys(numbers, math.nan)):
        words = fault_words(fault, known)
        for part in (words.seen, words.effect, words.action):
            assert part.endswith(".")
            assert CODE.search(part) is None
            assert "nan" not in part.split()
        assert words.otherwise == ""
    assert cannot_tell_words(fault).endswith(".")
    assert CODE.search(FAULT_WORDS[fault]) is None


def test_words_stand_for_the_faults_of_the_table_and_no_others() -> None:
    assert tuple(FAULT_WORDS) == FAULTS


def test_an_unknown_fault_has_no_sentence() -> None:
    with pytest.raises(KeyError):
        fault_words("ghost", {})
