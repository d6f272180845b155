"""Sentences on what wind has made of a result: how likely, how much, what to do. Takes numbers, gives words."""

from __future__ import annotations

from dataclasses import dataclass

from interchange.report.sentences import Sentence

# [1] probabilities from which a word is used; the words are common practice, no source
_GRADES = ((0.95, "almost certainly"), (0.7, "probably"), (0.3, "perhaps"), (0.05, "probably not"))
_HARDLY = "hardly"
WORTH_AN_ACTION = 0.3  # [1] from which something is to be done about it
ACTION = "Repeat on a calmer day, or put the line's end out of the wind."
_STANDS_ON = {
    "points": "Only the scatter of the points speaks here: the record does not say how much the readings moved.",
    "one_point": "One point does not show its own error, so this is what such noise does as a rule.",
}


@dataclass(frozen=True, slots=True)
class WindFound:
    """What was found of one test: probability [1] or None where it cannot be told, error with 90 % limits [%] or None.

    `what` is moved, by more than `limit`: "the flow at 50 Pa", "5 %". `evidence` is a word of the table.
    """

    what: str
    limit: str
    probability: float | None
    error_percent: float | None = None
    low_percent: float | None = None
    high_percent: float | None = None
    evidence: str = ""


def wind_sentence(found: WindFound) -> Sentence:
    """The finding in words an officer understands, and what to do about it."""
    if found.probability is None:
        return Sentence(
            f"Whether wind has moved {found.what} cannot be told: the record has too little, "
            "as one point without a baseline of its own."
        )
    word = next((words for least, words in _GRADES if found.probability >= least), _HARDLY)
    chance = _chance(found.probability)
    said = f"Wind has {word} moved {found.what} by more than {found.limit} (probability {chance})"
    if found.error_percent is None or found.low_percent is None or found.high_percent is None:
        said += ": by the size of its noise alone, as the readings yield no estimate to hold the result against."
    elif found.evidence == "one_point" or found.probability < WORTH_AN_ACTION:
        said += "."
    else:
        limits = _between(found.low_percent, found.high_percent)
        said += f": by the readings it is {_error(found.error_percent)} ({limits})."
    more = _STANDS_ON.get(found.evidence, "")
    return Sentence(f"{said} {more}".strip(), ACTION if found.probability >= WORTH_AN_ACTION else "")


def _chance(probability: float) -> str:
    percent = 100.0 * probability
    if percent < 1.0:
        return "less than 1 %"
    return "more than 99 %" if percent > 99.0 else f"{percent:.0f} %"


def _error(percent: float) -> str:
    if abs(percent) < 0.5:
        return "about right"
    return f"{abs(percent):.0f} % too {'high' if percent > 0 else 'low'}"


def _between(low: float, high: float) -> str:
    """Limits of an error: on one side of right as plain numbers, else each with its side."""
    if low * high > 0:
        near, far = sorted((abs(low), abs(high)))
        return f"{near:.0f} to {far:.0f} %"
    return f"between {abs(low):.0f} % too low and {abs(high):.0f} % too high"
