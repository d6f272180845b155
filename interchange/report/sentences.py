"""What checks, notes and verdicts mean, in sentences for a crew or a programme officer.

Takes names and numbers, gives words. A sentence that recommends an action carries it apart from the finding: whoever
shows an action shows the safety cautions beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from interchange.quantities import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from interchange.report import reported
from interchange.units import SLIPS

LEVEL_WORDS = {PASS: "pass", NOT_EVALUATED: "not evaluated", SUSPECT: "suspect", FAIL: "fail", MISSING: "missing"}

_LIMIT_KNOWN_BY = {
    "from memory": "limit from memory, check your copy of the standard",
    "common practice": "limit of common practice, no standard behind it",
}
# Exponents that exchanged gauge channels give: 1 / (4 n) for n between 0.54 and 0.69.
_EXCHANGED_CHANNELS = (0.36, 0.46)


@dataclass(frozen=True, slots=True)
class Finding:
    """One check of one test. Pressures in Pa, effects in percent of the flow at 50 Pa; None where absent."""

    check: str
    level: int
    value: float | None = None
    limit: float | None = None
    effect_percent: float | None = None
    cause: str = ""
    provenance: str = ""
    details: Mapping[str, float] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Sentence:
    """What was found, and what to do about it (empty where nothing is to be done)."""

    finding: str
    action: str = ""

    def __str__(self) -> str:
        return f"{self.finding} {self.action}".strip()


def check_sentence(finding: Finding) -> Sentence:
    """The sentence for one check. Raises KeyError for a check without a sentence."""
    subject = _SUBJECTS[finding.check]
    if finding.level == PASS:
        return Sentence(f"{subject}: nothing against it.")
    if finding.level == NOT_EVALUATED:
        return Sentence(f"{subject}: {_CAUSES[finding.cause]}.")
    if finding.level == MISSING:
        told = reported.MISSING.get(finding.check)
        return Sentence(told(finding)) if told else _MISSING[finding.check]
    text, action = _FOUND[finding.check](finding)
    known_by = _LIMIT_KNOWN_BY.get(finding.provenance)
    return Sentence(f"{text} ({known_by})." if known_by else f"{text}.", action)


def verdict_sentence(use: str, verdict: str) -> str:
    """What a verdict says of a use. Raises KeyError for unknown words."""
    return f"{_USES[use]}: {_VERDICTS[verdict]}."


def subject_words(check: str) -> str:
    """What a check looks at, inside a sentence. Raises KeyError for an unknown one."""
    words = _SUBJECTS[check]
    return words[0].lower() + words[1:]


def use_words(use: str) -> str:
    """A use in words. Raises KeyError for an unknown one."""
    return _USES[use]


def _number(value: float | None, decimals: int = 1) -> str:
    if value is None or math.isnan(value):
        return "unknown"
    text = f"{value:.{decimals}f}"
    return text[1:] if float(text) == 0 and text.startswith("-") else text


def _effect(finding: Finding, words: str) -> str:
    if finding.effect_percent is None or math.isnan(finding.effect_percent):
        return ""
    return f"; {words} {_number(finding.effect_percent)} %"


_SUBJECTS = {
    "usable_flow": "Flow at 50 Pa",
    "exponent_fitted": "Measuring of the exponent",
    "direction_matches_pressure": "Sign of the pressures",
    "point_count": "Number of points",
    "lowest_pressure": "Lowest pressure",
    "highest_pressure": "Highest pressure",
    "pressure_reached": "Pressure reached",
    "exponent_range": "Flow exponent",
    "correlation": "Points on one line",
    "baseline_missing": "Baseline records",
    "baseline_level": "Baseline",
    "baseline_spread": "Steadiness of the baseline",
    "baseline_shift": "Baseline before and after",
    "low_pressure_spread": "Steadiness of the low points",
    "temperatures_known": "Air temperatures",
    "water_in_line": "Water in the outdoor line",
    "reported_agrees": "Result in the source",
    "wind_strength": "Wind",
    "temperature_times_height": "Temperature difference and height",
    "temperature_difference": "Temperature difference",
    "within_fan_calibration": "Range of the fan's calibration",
    "both_directions": "Directions",
    "plausible_pressure": "Size of the pressures",
    "plausible_air_changes": "Size of the result",
    "plausible_indoors": "Indoor temperature",
    **reported.SUBJECTS,
}

_CAUSES = {
    "kind_not_fitted": "not looked at, because this rule set is for another kind of test",
    "no_result": "cannot be told, because no flow could be worked out",
    "no_points": "cannot be told, because there are no points",
    "too_few_points": "cannot be told from fewer than three points",
    "exponent_assumed": "not looked at, because the exponent was assumed",
    "direction_unknown": "cannot be told, because the source does not say which way the fan blew",
    "baseline_unknown": "cannot be told, because no baseline is recorded",
    "baseline_removed_by_source": "the source has already subtracted a baseline and does not show it",
    "baseline_not_repeated": "cannot be compared, because it was recorded only once or not at all",
    "spread_not_recorded": "cannot be told, because the spread of the readings is not recorded",
    "no_low_points": "there are no points at low pressure",
    "nothing_reported": "the source states no flow or air changes at 50 Pa to compare with",
    "wind_not_recorded": "cannot be told, because the record does not say how windy it was",
    "wind_perhaps_strong": "by the crew's word the wind may have been stronger than a test bears",
    "wind_place_unknown": (
        "cannot be told, because the record does not say where the wind was measured: near the ground this is much, "
        "at a weather mast it is not"
    ),
    "temperature_not_recorded": "cannot be told, because the temperature is not recorded",
    "volume_unknown": "cannot be told, because the volume is not recorded",
    "windy": "not looked at, because it was not calm and wind makes the same offset",
    "wind_unknown": "cannot be told, because the record does not say that it was calm",
    "wind_unknown_large_offset": (
        "the baseline is far from zero; on a calm day that would point to water, but nothing says it was calm"
    ),
    "stack_unknown": (
        "cannot be told, because height or temperatures are missing and warm air alone might explain the baseline"
    ),
    **reported.CAUSES,
    "height_unknown": "cannot be told, because the height of the tested space is not recorded",
    "calibration_range_unknown": (
        "cannot be told, because no calibration with a range is at hand for the fan pressures that are recorded"
    ),
}

_MISSING = {
    "usable_flow": Sentence("No flow at 50 Pa can be worked out from this record."),
    "exponent_fitted": Sentence("The flow exponent was assumed, not measured."),
    "point_count": Sentence("The record holds no points."),
    "baseline_missing": Sentence(
        "No baseline is recorded: what wind and warm air did to the pressures cannot be taken out.",
        "Read the pressure with the fan off and covered before each test.",
    ),
    "temperatures_known": Sentence(
        "Indoor or outdoor temperature is missing: the flow is not fully corrected for the density of the air.",
        "Write down both temperatures with each test.",
    ),
}


def _exponent_fitted(finding: Finding) -> tuple[str, str]:
    return "The exponent comes from two points, which cannot show how far off it is", ""


def _direction(finding: Finding) -> tuple[str, str]:
    if finding.level == FAIL:
        return (
            f"{_number(finding.value, 0)} points, most of them, have the wrong sign for the direction of the fan: "
            "exchanged tubes or a wrong direction in the record",
            "Check how the tubes were connected and which way the fan blew.",
        )
    return f"{_number(finding.value, 0)} points have the wrong sign for the direction of the fan and were left out", ""


def _point_count(finding: Finding) -> tuple[str, str]:
    return f"Only {_number(finding.value, 0)} usable points; {_number(finding.limit, 0)} are asked for", (
        "Take more points."
    )


def _lowest_pressure(finding: Finding) -> tuple[str, str]:
    return (
        f"The lowest point is at {_number(finding.value)} Pa, too low to stand clear of baseline and wind; "
        f"about {_number(finding.limit)} Pa is the least",
        "Repeat in stiller air, or begin at a higher pressure.",
    )


def _highest_pressure(finding: Finding) -> tuple[str, str]:
    return (
        f"The highest point is at {_number(finding.value)} Pa; {_number(finding.limit, 0)} Pa is asked for, "
        "so the flow at 50 Pa is extrapolated",
        "Open the fan further or use a second fan.",
    )


def _pressure_reached(finding: Finding) -> tuple[str, str]:
    return (
        f"The house was taken to {_number(finding.value)} Pa only; the flow at 50 Pa follows from an assumed exponent"
        + _effect(finding, "that alone may be off by"),
        "Open the fan further, use a second fan, or take several points.",
    )


def _exponent_range(finding: Finding) -> tuple[str, str]:
    text = f"The flow exponent is {_number(finding.value, 2)}; leaks have one from 0.5 to 1"
    low, high = _EXCHANGED_CHANNELS
    if finding.value is not None and low <= finding.value <= high:
        return (
            text + ", and exchanged gauge channels give one like this",
            "Check how the gauge's channels were connected.",
        )
    return text, "Look for a window that opened, a wrong fan setting, or gusts; repeat the test."


def _correlation(finding: Finding) -> tuple[str, str]:
    return (
        f"The points do not lie on one line: r2 is {_number(finding.value, 3)}, below {_number(finding.limit, 2)}",
        "Repeat the test with longer averages or in stiller air.",
    )


def _baseline_missing(finding: Finding) -> tuple[str, str]:
    return (
        "Only one of the two baselines, before and after the points, is recorded",
        "Read the pressure with the fan off both before and after.",
    )


def _baseline_level(finding: Finding) -> tuple[str, str]:
    return (
        f"With the fan off the pressure was {_number(finding.value)} Pa, beyond {_number(finding.limit)} Pa"
        + _effect(finding, "left in, it would move the flow at 50 Pa by"),
        "Look for fans left running and for water in the outdoor line; else come back in stiller air.",
    )


def _baseline_spread(finding: Finding) -> tuple[str, str]:
    return (
        f"With the fan off the pressure moved by {_number(finding.value)} Pa (standard deviation), "
        f"more than {_number(finding.limit)} Pa" + _effect(finding, "it moves the flow at 50 Pa by at most about"),
        "Average longer, or come back in stiller air.",
    )


def _baseline_shift(finding: Finding) -> tuple[str, str]:
    return (
        f"From before to after the points the baseline moved by {_number(finding.value)} Pa, "
        f"more than {_number(finding.limit)} Pa" + _effect(finding, "the flow at 50 Pa may be off by"),
        "Repeat the test; look for wind, a door that opened, or a line that was moved.",
    )


def _low_pressure_spread(finding: Finding) -> tuple[str, str]:
    return (
        f"At the low points the pressure moved by {_number(finding.value, 0)} % of itself, "
        f"more than {_number(finding.limit, 0)} %; such points are the first that wind takes",
        "Average longer, or come back in stiller air.",
    )


def _water(finding: Finding) -> tuple[str, str]:
    stack = finding.details.get("stack_pa")
    explains = "at most explains" if finding.details.get("stack_bounded") else "explains"
    positive = finding.value is not None and finding.value > 0
    likely = (
        "water in the outdoor line, or a supply fan left running, is" if positive else "water in the outdoor line is"
    )
    return (
        f"With the fan off the reference line read {_number(finding.value)} Pa; stack {explains} {_number(stack)} Pa "
        f"(neutral level taken at mid-height) and the air was calm: {likely} likely"
        + _effect(finding, "what of it comes or goes between baseline and points moves the flow at 50 Pa by up to"),
        "Make sure no fan was left running. Drain the line, keep its end off the ground, repeat.",
    )


def _wind_strength(finding: Finding) -> tuple[str, str]:
    force = finding.details.get("beaufort_low")
    if finding.value is None and force is not None:
        what = f"The crew's word for the wind means force {_number(force, 0)} or more on the Beaufort scale"
        limit = f"force {_number(finding.details.get('beaufort_limit'), 0)}"
    else:
        what, limit = f"The wind blew at {_number(finding.value)} m/s", f"{_number(finding.limit)} m/s"
    return (
        f"{what}; above {limit} a test is unlikely to hold, and low pressures go first",
        "Come back on a stiller day.",
    )


def _temperature_times_height(finding: Finding) -> tuple[str, str]:
    difference, height = finding.details.get("difference_k"), finding.details.get("height_m")
    return (
        f"Temperature difference times height is {_number(finding.value, 0)} m K ({_number(difference)} K times "
        f"{_number(height)} m), more than {_number(finding.limit, 0)} m K: warm air pulls high and low leaks in "
        "different directions, and low pressures suffer first",
        "",
    )


def _temperature_difference(finding: Finding) -> tuple[str, str]:
    return (
        f"Indoor and outdoor air differ by {_number(finding.value)} K, more than {_number(finding.limit)} K; this rule "
        "set's own correction for that was not at hand and is left out"
        + _effect(finding, "by the densities of the air the flow may be off by about"),
        "",
    )


def _within_fan_calibration(finding: Finding) -> tuple[str, str]:
    below, above = (_number(finding.details.get(where), 0) for where in ("below", "above"))
    return (
        f"Fan readings outside the range of the fan's calibration: {below} below it, {above} above it; how far their "
        "flows are off nobody can tell",
        "Fit another opening to the fan, so that its pressure stays within the range.",
    )


def _both_directions(finding: Finding) -> tuple[str, str]:
    return "The fan was run in one direction only; both are recommended", "Run the fan both ways where it is safe."


def _plausible_pressure(finding: Finding) -> tuple[str, str]:
    return (
        f"The record holds a pressure of {_number(finding.value)} Pa; a house is hardly ever taken beyond "
        f"{_number(finding.limit, 0)} Pa",
        "Look for a slip of the decimal point or of the unit.",
    )


def _plausible_air_changes(finding: Finding) -> tuple[str, str]:
    return (
        f"The result is {_number(finding.value, 2)} air changes an hour at 50 Pa; houses lie between "
        f"{_number(finding.details.get('low'), 1)} and {_number(finding.details.get('high'), 0)}",
        "Look for a slip in volume, flow or their units.",
    )


def _plausible_indoors(finding: Finding) -> tuple[str, str]:
    return (
        f"The record says {_number(finding.value)} °C indoors; houses lie between "
        f"{_number(finding.details.get('low'), 0)} and {_number(finding.details.get('high'), 0)} °C",
        "Check whether degrees Celsius and Fahrenheit were exchanged.",
    )


def _reported(finding: Finding) -> tuple[str, str]:
    text = (
        f"The flow worked out from the readings differs by {_number(finding.value)} % from what the source states, "
        f"more than {_number(finding.limit)} %"
    )
    place = finding.details.get("slip", -1.0)
    if place >= 0:
        meant, taken = (reported.spelled(one) for one in (SLIPS[int(place)].meant, SLIPS[int(place)].taken))
        text += f"; they would agree if what it states were in {meant} and had been taken for {taken}"
    return text, "Check volume, units and fan setting in the record."


_FOUND: dict[str, Callable[[Finding], tuple[str, str]]] = {
    "exponent_fitted": _exponent_fitted,
    "direction_matches_pressure": _direction,
    "point_count": _point_count,
    "lowest_pressure": _lowest_pressure,
    "highest_pressure": _highest_pressure,
    "pressure_reached": _pressure_reached,
    "exponent_range": _exponent_range,
    "correlation": _correlation,
    "baseline_missing": _baseline_missing,
    "baseline_level": _baseline_level,
    "baseline_spread": _baseline_spread,
    "baseline_shift": _baseline_shift,
    "low_pressure_spread": _low_pressure_spread,
    "water_in_line": _water,
    "reported_agrees": _reported,
    "wind_strength": _wind_strength,
    "temperature_times_height": _temperature_times_height,
    "temperature_difference": _temperature_difference,
    "within_fan_calibration": _within_fan_calibration,
    "both_directions": _both_directions,
    "plausible_pressure": _plausible_pressure,
    "plausible_air_changes": _plausible_air_changes,
    "plausible_indoors": _plausible_indoors,
    **reported.FOUND,
}

_USES = {
    "flow_at_50": "Flow at 50 Pa",
    "low_pressure_and_exponent": "Flow at low pressure and exponent",
    "before_after": "As one half of a comparison of before and after",
    "publishable": "For publication",
}
_VERDICTS = {
    "sound": "sound, as far as the record tells",
    "note": "usable, with the notes given",
    "retest_advised": "a retest is advised",
    "cannot_tell": "the record cannot tell",
}
