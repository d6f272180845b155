"""Line and handling faults in sentences that a crew understands: what was seen, what it does, what to do, what else.

Takes names and numbers, gives words. Whoever shows what to do shows the safety cautions (`safety.SAFETY`) beside it.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

Numbers = Mapping[str, float]

# Each fault inside a sentence.
FAULT_WORDS = {
    "water_in_line": "water in the reference line",
    "line_blocked": "a blocked or pinched line",
    "line_disconnected": "a line that has come off the gauge",
    "line_end_in_fan_stream": "the end of the line in the stream of the fan",
    "line_end_exposed": "an end of the line that stands in wind or in its lee",
    "channels_swapped": "house pressure and fan pressure exchanged",
    "sign_wrong": "pressures with the wrong sign",
    "fan_in_baseline": "a fan that ran during a baseline",
    "fan_uncovered": "a fan that was not covered during the baselines",
    "exhaust_running": "an exhaust fan that was running",
    "fan_reference_wrong": "the fan's own reference tube on the wrong side of the door",
    "baseline_missing": "a baseline that was not taken",
    "baseline_copied": "one baseline written down twice",
    "baseline_zero_by_habit": "a baseline of 0 Pa written down by habit",
    "opening_moved": "a window or door that was opened or shut during the test",
    "gauge_drift": "a gauge whose zero crept",
    "fan_configuration_wrong": "another fan opening than the record says",
    "clock_shifted": "a clock that was wrong",
    "duplicate": "the same readings recorded twice",
}


@dataclass(frozen=True, slots=True)
class FaultWords:
    """What was seen, in numbers; what it does to the result; what to do; what else it could be, empty if nothing."""

    seen: str
    effect: str
    action: str
    otherwise: str = ""

    def __str__(self) -> str:
        return " ".join(part for part in (self.seen, self.effect, self.action, self.otherwise) if part)


def fault_words(
    fault: str,
    numbers: Numbers,
    effect_50_percent: float = math.nan,
    effect_10_percent: float = math.nan,
    others: Sequence[str] = (),
) -> FaultWords:
    """The sentences for one fault of one test, from evidence by name. Raises KeyError for an unknown fault."""
    return FaultWords(
        _SEEN[fault](_Known(numbers)),
        _effect(fault, effect_50_percent, effect_10_percent),
        _ACTIONS[fault],
        _otherwise(others),
    )


def cannot_tell_words(fault: str) -> str:
    """Why a record cannot tell of a fault. Raises KeyError for an unknown one."""
    words = FAULT_WORDS[fault]
    return f"{words[0].upper()}{words[1:]}: {_CANNOT_TELL.get(fault, 'this record cannot tell')}."


class _Known(dict[str, float]):
    """Numbers as text: two words where one is not known."""

    def __init__(self, numbers: Numbers) -> None:
        super().__init__({name: value for name, value in numbers.items() if not math.isnan(value)})

    def text(self, name: str, unit: str = "Pa", decimals: int = 1) -> str:
        if name not in self:
            return "not recorded"
        value = f"{self[name]:.{decimals}f}"
        value = value[1:] if float(value) == 0 and value.startswith("-") else value
        return f"{value} {unit}".strip()


def _effect(fault: str, at_50: float, at_10: float) -> str:
    if fault in _WORTHLESS:
        return _WORTHLESS[fault]
    if math.isnan(at_50):
        return "What it does to the result cannot be told."
    if at_50 < 0.5:
        return "It hardly moves the flow at 50 Pa" + (
            f"; at 10 Pa by up to {at_10:.0f} %." if not math.isnan(at_10) and at_10 >= 0.5 else "."
        )
    if math.isnan(at_10):
        return f"It can move the flow at 50 Pa by {at_50:.0f} %."
    return f"It can move the flow at 50 Pa by {at_50:.0f} % and at 10 Pa by {min(at_10, 100.0):.0f} %."


def _otherwise(others: Sequence[str]) -> str:
    if not others:
        return ""
    return f"It could also be {' or '.join(FAULT_WORDS[name] for name in others)}."


def _water(n: _Known) -> str:
    steps = [n.get("zero_step_pa", 0.0), n.get("points_step_pa", 0.0)]
    step = max(steps, key=abs)
    noise = f"the readings moved by {n.text('noise_pa')}" if "noise_pa" in n else "how windy it was is not recorded"
    if "offset_pa" in n and abs(n["offset_pa"]) >= abs(step):
        return (
            f"With the fan off the reference line read {_pa(n['offset_pa'] + n.get('stack_pa', 0.0))}; stack explains "
            f"{n.text('stack_pa')}, and {noise}."
        )
    return f"In the course of the test the zero of the reference line moved by {_pa(step)}; {noise}."


def _pa(value: float) -> str:
    return _Known({"value": value}).text("value")


def _blocked(n: _Known) -> str:
    if n.get("lag_s", 0.0) >= 20.0:
        return f"The reading followed the fan only after about {n.text('lag_s', 's', 0)}."
    if n.get("unanswered", 0.0) > 0.1:
        return f"{100 * n['unanswered']:.0f} % of what the reading did has nothing to do with what the fan did."
    return "The readings do not follow the fan as a house does, or their noise went away."


def _disconnected(n: _Known) -> str:
    if n.get("dead_share", 0.0) > 0:
        return f"For {100 * n['dead_share']:.0f} % of the time with the fan running the reference line read about 0 Pa."
    return "With the fan running the reference line read about 0 Pa."


def _stream(n: _Known) -> str:
    louder = n.get("loud", n.get("loud_by_spread", math.nan))
    if not math.isnan(louder):
        return f"At high flow the reading was {math.exp(louder):.1f} times as noisy as at low flow or with the fan off."
    return (
        f"Readings at high flow lie {_Known({'x': abs(n.get('stream_pa', 0.0))}).text('x')} off the line of the others."
    )


def _swapped(n: _Known) -> str:
    if "exponent" in n and n.get("swapped_exponent", -1.0) > 0:
        return (
            "The flow rises more slowly with pressure than any leak lets it, as it does when two tubes are exchanged."
        )
    return "The fan pressure looks like a house pressure, or the house pressure like that of a fan."


def _wrong_sign(n: _Known) -> str:
    return "The pressures have the sign that the other direction of the fan would give."


def _fan_ran(n: _Known) -> str:
    if "running" in n:
        return f"The fan gauge read up to {n.text('running')} in a baseline, when the fan should stand still."
    return f"One baseline lies {_pa(abs(n.get('zero_step_pa', math.nan)))} off the other."


def _fan_open(n: _Known) -> str:
    if "least_running" in n:
        return f"In every baseline air went through the fan: its gauge read {n.text('least_running')}."
    return "The zero with the fan off does not fit the points."


def _exhaust(n: _Known) -> str:
    return f"The pressures at the points lie {n.text('points_step_pa')} off what the baselines let expect."


def _fan_reference(n: _Known) -> str:
    if "fan_slope" in n:
        return f"With the fan off its gauge moved by {n.text('fan_slope', 'Pa', 2)} for each pascal of house pressure."
    return "Flows through different fan openings do not fit each other at the same house pressure."


def _missing(n: _Known) -> str:
    return (
        "Before the points no baseline is recorded."
        if n.get("missing", 2.0) >= 2
        else "After the points no baseline is recorded."
    )


def _copied(n: _Known) -> str:
    return "The baselines before and after agree to the last digit, more closely than a gauge ever does."


def _by_habit(n: _Known) -> str:
    return "A baseline is recorded as 0 Pa to the last digit."


def _opening(n: _Known) -> str:
    if "opening_ratio" in n:
        ratio = n["opening_ratio"]
        return f"From some point on the house leaked {100 * abs(ratio - 1):.0f} % {_more(ratio)} than before."
    return "Within a point flow and pressure parted as when a window is opened or shut."


def _more(ratio: float) -> str:
    return "more" if ratio > 1 else "less"


def _drift(n: _Known) -> str:
    return f"In the course of the test the zero crept by {n.text('drift_pa')}."


def _configuration(n: _Known) -> str:
    if "configuration_ratio" in n:
        ratio = n["configuration_ratio"]
        return f"Points with one fan opening show {ratio:.2f} times the flow that the others let expect."
    return "The flow does not fit those of other tests of the same house."


def _clock(n: _Known) -> str:
    return "The times of the readings do not fit the weather record."


def _duplicate(n: _Known) -> str:
    if "copied_share" in n:
        return f"{100 * n['copied_share']:.0f} % of the readings are those of another test."
    return "The readings are those of another test."


def _exposed(n: _Known) -> str:
    return f"With the fan off the line read {n.text('offset_pa')} more than stack explains, while the wind moved it."


_SEEN: Mapping[str, Callable[[_Known], str]] = {
    "water_in_line": _water,
    "line_blocked": _blocked,
    "line_disconnected": _disconnected,
    "line_end_in_fan_stream": _stream,
    "line_end_exposed": _exposed,
    "channels_swapped": _swapped,
    "sign_wrong": _wrong_sign,
    "fan_in_baseline": _fan_ran,
    "fan_uncovered": _fan_open,
    "exhaust_running": _exhaust,
    "fan_reference_wrong": _fan_reference,
    "baseline_missing": _missing,
    "baseline_copied": _copied,
    "baseline_zero_by_habit": _by_habit,
    "opening_moved": _opening,
    "gauge_drift": _drift,
    "fan_configuration_wrong": _configuration,
    "clock_shifted": _clock,
    "duplicate": _duplicate,
}

_ACTIONS: Mapping[str, str] = {
    "water_in_line": "Drain the line, keep its end off the ground, repeat.",
    "line_blocked": "Blow the line through, look for kinks in doors and windows, repeat.",
    "line_disconnected": "Put the line back on the gauge, see it read when the fan starts, repeat.",
    "line_end_in_fan_stream": "Move the end away from the fan, to one side and a few metres off, repeat.",
    "line_end_exposed": "Lay a second end at another side of the house, or shelter the end, and compare.",
    "channels_swapped": "Check which tube goes to which channel, then repeat.",
    "sign_wrong": "Check the tubes of the house channel and the direction in the record; mend the record or repeat.",
    "fan_in_baseline": "Switch the fan off, cover it, wait until it stands still, take the baseline, repeat.",
    "fan_uncovered": "Cover the fan while baselines are taken.",
    "exhaust_running": "Switch off kitchen, bath and dryer fans and repeat.",
    "fan_reference_wrong": "Put the fan's reference tube where its maker wants it, repeat.",
    "baseline_missing": "Take a baseline of a minute before and after the points.",
    "baseline_copied": "Read the second baseline too, and write down what the gauge shows.",
    "baseline_zero_by_habit": "Read the pressure with the fan off and covered, and write down what the gauge shows.",
    "opening_moved": "Look for a window, door or hatch that opened; ask who came in; repeat.",
    "gauge_drift": "Let the gauge warm up, zero it, repeat; have it checked if it creeps again.",
    "fan_configuration_wrong": "Check which opening was fitted; mend the record if a picture proves it, else repeat.",
    "clock_shifted": "Set the clock of the gauge; mend the times in the record.",
    "duplicate": "Find out which house the readings belong to, and take the other record out.",
}

_WORTHLESS: Mapping[str, str] = {
    "line_blocked": "The pressures of this test are worth nothing.",
    "line_disconnected": "The pressures from then on are worth nothing.",
    "channels_swapped": "The flows and pressures of this test are worth nothing as they stand.",
    "sign_wrong": "The size of the pressures may be right; the baseline was taken off the wrong way.",
    "duplicate": "One of the two tests did not take place as recorded.",
    "clock_shifted": "It does not move the flow, but the weather beside it is that of another time.",
}

_CANNOT_TELL: Mapping[str, str] = {
    "line_end_exposed": "one line alone cannot tell; a second one beside it could",
    "fan_uncovered": "cannot be told without the fan pressure in the baselines",
    "opening_moved": "cannot be told from one averaged point",
    "gauge_drift": "cannot be told from one baseline",
    "fan_configuration_wrong": "one test cannot tell; other tests of the same house could",
    "fan_reference_wrong": "cannot be told without the fan pressure in the baselines or points with several openings",
    "clock_shifted": "cannot be told without a weather record beside the readings",
    "duplicate": "one test cannot tell; it is looked for among all",
    "sign_wrong": "the record does not say which way the fan blew",
    "baseline_copied": "there are not two baselines to compare",
}
