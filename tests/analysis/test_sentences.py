"""Sentences: every check, cause and note has one, in plain words and with its numbers."""

from __future__ import annotations

import re

import pytest

from interchange.analysis import checks
from interchange.analysis.check import CAUSES
from interchange.analysis.leakage import NOTES
from interchange.quantities import CHOICES, FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from interchange.report import notes, sentences
from interchange.report.sentences import Finding, check_sentence

ALL = (*checks.ALWAYS, *checks.CHECKS)
CAN_BE_MISSING = (
    *("usable_flow", "exponent_fitted", "point_count", "baseline_missing", "temperatures_known"),
    *("reported_area_stated", "reported_exponent_measured"),
)
OF_RECORDS = tuple(function.__name__ for function in checks.OF_RECORDS)
# Details of the checks of reported values; a slip of -1 is none.
OF_REPORTED = (
    *("flow_m3_h", "air_change_per_h", "volume_m3", "floor_area_m2", "coefficient_m3_h", "exponent", "pressure_pa"),
    *("by_law_m3_h", "area_m2", "discharge_coefficient", "at_50_per_h", "natural_per_h"),
)
DETAILS = {
    "temperature_times_height": {"difference_k": 25.0, "height_m": 8.6},
    "within_fan_calibration": {"below": 2.0, "above": 1.0},
}
CODE = re.compile(r"[a-z]+_[a-z]+")


def test_water_in_the_line_reads_as_a_crew_would_say_it() -> None:
    finding = Finding(
        "water_in_line",
        SUSPECT,
        value=-11.8,
        limit=-10.0,
        effect_percent=13.8,
        provenance="common practice",
        details={"stack_pa": -1.2, "stack_bounded": 0.0},
    )
    found = check_sentence(finding)
    assert found.finding == (
        "With the fan off the reference line read -11.8 Pa; stack explains -1.2 Pa (neutral level taken at mid-height) "
        "and the air was calm: water in the outdoor line is likely; what of it comes or goes between baseline and "
        "points moves the flow at 50 Pa by up to 13.8 % (limit of common practice, no standard behind it)."
    )
    assert found.action == "Make sure no fan was left running. Drain the line, keep its end off the ground, repeat."


def test_a_bounded_stack_is_told_as_a_bound() -> None:
    finding = Finding("water_in_line", SUSPECT, value=-11.0, details={"stack_pa": -4.7, "stack_bounded": 1.0})
    assert "stack at most explains -4.7 Pa" in check_sentence(finding).finding


def test_an_offset_the_other_way_may_be_a_supply_fan() -> None:
    finding = Finding("water_in_line", SUSPECT, value=16.0, details={"stack_pa": -1.0})
    assert "or a supply fan left running, is likely" in check_sentence(finding).finding


def test_a_limit_from_memory_says_so() -> None:
    text = check_sentence(Finding("correlation", SUSPECT, value=0.95, limit=0.98, provenance="from memory")).finding
    assert text == (
        "The points do not lie on one line: r2 is 0.950, below 0.98 "
        "(limit from memory, check your copy of the standard)."
    )


def test_a_limit_that_was_read_needs_no_caution() -> None:
    finding = Finding("point_count", FAIL, value=3.0, limit=5.0, provenance="read")
    assert str(check_sentence(finding)) == "Only 3 usable points; 5 are asked for. Take more points."


@pytest.mark.parametrize(("exponent", "hint"), [(0.40, True), (0.48, False), (1.1, False)])
def test_an_exponent_of_exchanged_channels_is_named_so(exponent: float, hint: bool) -> None:
    text = check_sentence(Finding("exponent_range", FAIL, value=exponent, limit=0.5)).finding
    assert ("exchanged gauge channels" in text) == hint


@pytest.mark.parametrize("check", ALL)
@pytest.mark.parametrize("level", [PASS, SUSPECT, FAIL])
def test_every_check_has_plain_sentences(check: str, level: int) -> None:
    if check in ("usable_flow", "temperatures_known", "reported_area_stated") and level != PASS:
        return  # these are there or missing
    details = {"low": 0.1, "high": 60.0} if check.startswith("plausible_") else DETAILS.get(check, {})
    details |= dict.fromkeys(OF_REPORTED, 7.0) if check in OF_RECORDS else {}
    text = str(check_sentence(Finding(check, level, value=1.0, limit=2.0, effect_percent=3.0, details=details)))
    assert not CODE.search(text)
    assert text.endswith(".")
    assert "unknown" not in text or check == "water_in_line"


@pytest.mark.parametrize("check", CAN_BE_MISSING)
def test_what_can_be_missing_says_what_that_means(check: str) -> None:
    text = str(check_sentence(Finding(check, MISSING)))
    assert text.endswith(".")
    assert not CODE.search(text)


@pytest.mark.parametrize("cause", CAUSES[1:])
def test_every_cause_is_told(cause: str) -> None:
    text = str(check_sentence(Finding("water_in_line", NOT_EVALUATED, cause=cause)))
    assert text.startswith("Water in the outdoor line: ")
    assert not CODE.search(text)


def test_every_note_and_every_verdict_has_a_sentence() -> None:
    assert tuple(notes.NOTE_SENTENCES) == NOTES
    for use in CHOICES["use"]:
        for word in CHOICES["verdict"]:
            assert not CODE.search(sentences.verdict_sentence(use, word))
    assert sentences.verdict_sentence("flow_at_50", "retest_advised") == "Flow at 50 Pa: a retest is advised."
    assert notes.note_sentence("exponent_assumed") == "The flow exponent was assumed, not measured."


def test_absent_numbers_and_a_zero_with_a_sign_are_words_and_zero() -> None:
    finding = Finding("baseline_shift", SUSPECT, value=-0.01, limit=None)
    assert "moved by 0.0 Pa, more than unknown Pa" in check_sentence(finding).finding
