"""What two tests of one house say together, in words: whether leakage really fell, whether repeats agree."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from interchange.report.heads import Units, with_unit
from interchange.table import counted

# What follows from a mismatch: no claim can be made; the interval is wider for it; it is only to be known.
BLOCKS, WIDENS, SAID = "blocks", "widens", "said"

_FIELDS = {
    "flow_50_m3_h": "a flow at 50 Pa",
    "readings": "readings",
    "started_at_local": "date",
    "site_id": "house",
    "job_id": "job",
    "boundary": "tested space",
    "basement_included": "basement within the tested space",
    "garage_included": "garage within the tested space",
    "exhaust_fans": "exhaust fans",
    "combustion_appliances": "combustion appliances",
    "preparation_as_recorded": "preparation",
    "openings": "openings",
    "gauge_serial": "gauge",
    "fan_serial": "fan",
    "gauge_calibrated_on": "calibration of the gauge",
    "fan_calibrated_on": "calibration of the fan",
    "fan_configuration": "opening of the fan",
    "direction_used": "direction",
    "kind": "sort of test",
    "rule_set": "rule set",
    "volume_m3": "volume",
    "windy": "",  # its values say it
    "before_after": "verdict",
}
_LEADS = {BLOCKS: "does not match", WIDENS: "wider for", SAID: "to know"}
_INTERVALS = {
    "too_narrow": "the stated intervals look too narrow",
    "too_wide": "the stated intervals look too wide",
    "as_stated": "nothing speaks against the stated intervals",
    "cannot_tell": "too few to tell whether the stated intervals are right",
}
_SORTS = {
    "retest": "tests that the record calls a retest",
    "same_day": "tests of one stage on the same day",
    "same_stage": "tests of one stage on different days",
    "both_directions": "both directions of one test",
}
_LEFT_OUT = {
    "sent_again": "sent again with the same readings; the record taken in last stands",
    "replaced": "another record says that it replaces them",
    "not_of_record": "the source marks another test of the stage as the one that counts, or them as not counting",
    "no_flow": "no flow could be worked out, another test of the stage gives one",
    "repeated": "tested again later in the same stage",
    "no_stage": "the stage of the work is not recorded",
    "no_house": "neither job nor house is recorded",
    "no_partner": "no test of the other side of the work",
}
_NO_REPEAT = {
    "no_house": ("test", _LEFT_OUT["no_house"]),
    "no_stage": ("test", _LEFT_OUT["no_stage"]),
    "sent_again": ("test", "sent again with the same readings, which is no repeat"),
    "replaced": ("test", _LEFT_OUT["replaced"]),
    "no_flow": ("test", "no flow could be worked out"),
    "not_sound": ("test", "not sound for a comparison, as its verdict says"),
    "no_start": ("test", "the start is not recorded"),
    "unlike": ("pair", "tested space, openings, fans or volume differ"),
    "far_apart": ("pair", "so far apart that there may be work between them"),
    "one_run": ("test", "one direction of two gives no flow"),
}
ASK_AFTER_RISE = (
    "leakage that rises with the work may be a wrong fan setting, a window or door left open, or another space: ask "
    "the crew"
)
ASK_AFTER_LARGE = "so large a reduction is hardly ever seen: ask for the fan setting of both tests"


@dataclass(frozen=True, slots=True)
class Mismatch:
    """A field that differs between before and after, both values (None where it is not about that side), and what
    follows: BLOCKS, WIDENS or SAID."""

    field: str
    before: Any
    after: Any
    consequence: str

    def words(self, units: Units) -> str:
        """The field and both values."""
        sides = [
            f"{_value(self.field, value, units)} {when}"
            for when, value in (("before", self.before), ("after", self.after))
            if value is not None
        ]
        if self.field == "flow_50_m3_h":
            missing = [when for when, value in (("before", self.before), ("after", self.after)) if value is None]
            return f"no flow at 50 Pa could be worked out {' and '.join(missing)}"
        if self.field == "started_at_local" and len(sides) < 2:
            return "date not recorded on both sides"
        if self.field == "readings" and self.before == self.after:
            return "readings are the same before and after"
        return " ".join(filter(None, (_FIELDS[self.field], ", ".join(sides))))


def _value(field: str, value: Any, units: Units) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return with_unit(field, value, units)
    text = str(value)
    return text if field.endswith(("_id", "_serial", "_as_recorded")) else text.replace("_", " ")


def change_words(reduction: float | None, low: float | None, high: float | None) -> str:
    """How far the flow fell or rose, with its interval, all in per cent; empty without an interval."""
    if reduction is None or low is None or high is None:
        return ""
    if reduction >= 0:
        return f"fell by {reduction:.0f} % ({_span(low, high)} %)"
    return f"rose by {-reduction:.0f} % ({_span(-high, -low)} %)"


def _span(low: float, high: float) -> str:
    """An interval whose numbers stay apart, whole where they can."""
    decimals = 0 if round(low) != round(high) else 1
    return f"{low:.{decimals}f} to {high:.{decimals}f}".replace("-0 ", "0 ")


def pair_words(change: str, answer: str, mismatches: Sequence[Mismatch], units: Units, asks: Sequence[str] = ()) -> str:
    """One sentence on a pair: what changed, whether it is real, what does not match, what is to be asked.

    `change` as `change_words` has it, `answer` a word of `is_it_real`.
    """
    blocked = [one.words(units) for one in mismatches if one.consequence == BLOCKS]
    if answer == "cannot_tell" and not blocked:
        said = f"{change}: cannot be told from no change"
    elif answer == "cannot_tell":
        said = f"cannot tell{f' ({change} by the numbers)' if change else ''}"
    else:
        said = f"{change}: {'real' if answer == 'yes' else 'no reduction'}"
    parts = [said, *asks]
    for consequence, lead in _LEADS.items():
        words = [one.words(units) for one in mismatches if one.consequence == consequence]
        if words:
            parts.append(f"{lead}: {', '.join(words)}")
    return "; ".join(parts)


def ambiguous_words(claims: Sequence[tuple[str, Sequence[str]]]) -> str:
    """Stages that several tests claim, with their ids."""
    said = [f"{counted(len(ids), 'test')} of stage {stage} ({', '.join(ids)})" for stage, ids in claims]
    return f"cannot tell: ambiguous, {' and '.join(said)}, and nothing tells which one counts"


def left_out_words(why: str, count: int) -> str:
    """How many tests belong to no pair, and why. Raises KeyError for an unknown reason."""
    return f"{counted(count, 'test')}: {_LEFT_OUT[why]}"


def recorded_words(counts: Mapping[str, int], pairs: int) -> str:
    """How many pairs have a field on both sides: what is not recorded is not known to match."""
    said = ", ".join(f"{_FIELDS[name]} {count}" for name, count in counts.items())
    return f"recorded on both sides, of {counted(pairs, 'pair')}: {said}; what is not recorded is not known to match"


def gear_words(from_register: int, unknown: int, pairs: int) -> str:
    """Where the serial numbers of gauges and fans come from, and what follows where there are none."""
    return (
        f"gauge or fan of {from_register} of {counted(pairs, 'pair')} come from the register of kit; of {unknown} one "
        "is not known, and its error is taken for another one in each test"
    )


def other_kinds_words(counts: Mapping[str, int]) -> list[str]:
    """How many records of each kind no rule set that was followed is for."""
    reason = "no rule set followed here is for it"
    return [f"{counted(count, 'test')} of kind {kind}: {reason}" for kind, count in counts.items()]


def repeats_words(sort: str, windy: bool, agreeing: int, count: int, stated: str) -> str:
    """How many of a sort of repeats agree, and what that says of the stated intervals."""
    wind = ", one of them in strong wind, which the intervals do not hold" if windy else ""
    return f"{_SORTS[sort]}{wind}: of {counted(count, 'pair')} {_agree(agreeing)}: {_INTERVALS[stated]}"


def all_repeats_words(agreeing: int, count: int, windy: bool, stated: str) -> str:
    """The same for all sorts together, without or with strong wind."""
    wind = "with a test in strong wind" if windy else "without strong wind"
    return f"of {counted(count, 'repeat pair')} {wind} {_agree(agreeing)}: {_INTERVALS[stated]}"


def not_agreeing_words(checks: Mapping[str, int], count: int) -> str:
    """Which checks speak against the tests of pairs that do not agree, the most frequent first."""
    said = ", ".join(f"{name.replace('_', ' ')} {times}" for name, times in checks.items())
    return f"checks that speak against a test of the pairs that do not agree ({count}): {said or 'none'}"


def not_a_repeat_words(why: str, count: int) -> str:
    """How many tests or pairs are no repeats, and why. Raises KeyError for an unknown reason."""
    noun, reason = _NO_REPEAT[why]
    return f"{counted(count, noun)}: {reason}"


def _agree(agreeing: int) -> str:
    return f"{agreeing} {'agrees' if agreeing == 1 else 'agree'}"
