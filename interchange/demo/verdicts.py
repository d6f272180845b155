"""What a reader should find for each use, by what is true of a test and what its layout tells."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interchange.demo.programme import Expected

_ORDER = ("sound", "note", "retest_advised", "cannot_tell")
_ONE_POINT = "cannot_tell: one point shows no exponent"
NO_PARTNER = "cannot_tell: no other test of this house was delivered"

# fault: verdicts that would do at 50 Pa and at low pressures, and the reason
_FAULTS: dict[str, tuple[str, str, str]] = {
    "water_in_line": (
        "note retest_advised",
        "note retest_advised cannot_tell",
        "calm, yet the baseline is far from the stack pressure, as with water in the line",
    ),
    "water_midway": (
        "retest_advised",
        "retest_advised",
        "the baselines before and after differ by pascals on a calm day: water came into the line",
    ),
    "missing_baseline": (
        "note cannot_tell",
        "note cannot_tell retest_advised",
        "no baseline, so the stack pressure stays in the points",
    ),
    "copied_points": (
        "sound note retest_advised",
        "sound note retest_advised",
        "alone it looks sound; the same readings stand under another house",
    ),
    "baseline_copied": (
        "sound note retest_advised",
        "sound note retest_advised",
        "the baseline after is the one before, to the last digit: it was copied, not measured",
    ),
    "bunched": (
        "sound note retest_advised",
        "sound note retest_advised",
        "alone it looks sound; the crew's results crowd just under what the programme asks for",
    ),
    "late_calibration": (
        "sound note retest_advised",
        "sound note retest_advised",
        "the fan's calibration had run out, the display reads about 5 per cent high; the readings cannot show it",
    ),
}


@dataclass(frozen=True, slots=True)
class Told:
    """What a layout tells beside pressures and flows."""

    wind: bool = True  # a word or a speed
    by_hand: bool = False  # that speed was read near the ground, where strong wind shows little
    spread: bool = True  # spread of each point, seconds of each baseline
    temperatures: bool = True
    flow: bool = True  # else the fan's pressure only, without its calibration
    points: bool = True  # else only a trace in which points are to be found


def _words(verdicts: set[str], reason: str) -> str:
    return f"{' or '.join(verdict for verdict in _ORDER if verdict in verdicts)}: {reason}"


def fan_off(reason: str) -> Expected:
    """Nothing can be told for any use, always for one reason."""
    return Expected(*(f"cannot_tell: {reason}",) * 4)


def seen_alone(state: str, fault: str | None) -> str:
    """What speaks against a test as one of a pair: a fault, a state of the wind, or `sound`."""
    return fault or {"calm": "sound"}.get(state, state)


def _pair(own: str, partners: Sequence[str]) -> str:
    if not partners:
        return NO_PARTNER
    against = sorted({word for word in (own, *partners) if word != "sound"})
    if not against:
        return "sound: both tests of the pair are sound"
    named = {"breezy": "a breeze", "windy": "strong wind"}
    reasons = ", ".join(named.get(word, word.replace("_", " ")) for word in against)
    if against == ["breezy"]:
        return "sound or note: a breeze at a test of the pair"
    return f"sound or note or retest_advised: {reasons} at a test of the pair"


def expected(*, kind: str, state: str, fault: str | None, both: bool, told: Told, partners: Sequence[str]) -> Expected:
    """Verdicts that would do for each use, and the reason."""
    single = kind == "single_point"
    at_50, low, publish, reason = _by_wind(state, single=single, both=both)
    if kind == "two_point":
        low, publish = {*low, "note"} - {"sound"}, {*publish, "note"} - {"sound"}
        reason = f"{state}; two points always lie on a line"
    if not told.wind and state != "calm":
        at_50, low, publish = ({*verdicts, "sound", "note"} for verdicts in (at_50, low, publish))
        reason += ", which the file hardly tells"
    if fault is not None:
        found_50, found_low, reason_of_fault = _FAULTS[fault]
        hard = "sound" not in found_50 or state == "calm"
        at_50 = set(found_50.split()) if hard else at_50 | set(found_50.split())
        low = set(found_low.split()) if hard else low | set(found_low.split())
        publish = {*publish, "note", "retest_advised"} if "note" in found_50 else {"retest_advised", "cannot_tell"}
        publish -= {"sound"} - set(found_50.split())
        reason = reason_of_fault if state == "calm" else f"{reason}; {reason_of_fault}"
    gaps = _gaps(told)
    if gaps:
        at_50 = at_50 | ({"note"} if told.flow and told.points else {"note", "cannot_tell"})
        low, publish = low | {"note", "cannot_tell"}, publish | {"note", "cannot_tell"}
        reason = f"{reason}; {gaps}"
    return Expected(
        _words(at_50, reason),
        _ONE_POINT if single else _words(low, reason),
        _pair(seen_alone(state, fault), partners),
        _words(publish, reason if single or both else f"{reason}; one direction only"),
    )


def _by_wind(state: str, *, single: bool, both: bool) -> tuple[set[str], set[str], set[str], str]:
    if single:
        publish = {"note", "cannot_tell"}
        if state == "windy":
            return {"note", "retest_advised"}, set(), {"retest_advised", "cannot_tell"}, "strong wind on one point"
        if state == "breezy":
            return {"sound", "note"}, set(), publish | {"retest_advised"}, "one point in a breeze"
        return {"sound"}, set(), publish, "calm; one point, one direction"
    if state == "windy":
        return (
            {"note", "retest_advised"},
            {"retest_advised", "cannot_tell"},
            {"retest_advised", "cannot_tell"},
            "strong wind, points scatter",
        )
    if state == "breezy":
        return (
            {"sound", "note"},
            {"sound", "note", "retest_advised", "cannot_tell"},
            {"sound", "note", "retest_advised"} if both else {"note", "retest_advised"},
            "a breeze, the low points scatter",
        )
    return {"sound"}, {"sound", "note"}, {"sound", "note"} if both else {"note"}, "calm, the points lie on a line"


def _gaps(told: Told) -> str:
    gaps = (
        (told.spread, "no spreads and no seconds"),
        (told.temperatures, "no temperatures"),
        (told.flow, "fan pressures only, their calibration stands in the register"),
        (told.points, "the points must be found in the trace"),
    )
    return ", ".join(words for there, words in gaps if not there)
