"""What a test is good for: a verdict per use, with the checks that led to it.

People decide; a verdict is advice. What a rule set does not ask for has no say in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Codes, Ints
from interchange.analysis.check import CAUSES, Check
from interchange.quantities import CHOICES, FAIL, MISSING, NOT_EVALUATED, SUSPECT

USES = CHOICES["use"]
SOUND, NOTE, RETEST, CANNOT_TELL = range(len(CHOICES["verdict"]))

# Findings of "not evaluated" that people must hear of; the others only say that a check had nothing to look at.
WORTH_SAYING = (
    "direction_unknown",
    "wind_unknown_large_offset",
    "wind_perhaps_strong",
    "wind_place_unknown",
    "stack_unknown",
)


@dataclass(frozen=True, slots=True)
class Weight:
    """What a check means for one use: the verdict when suspect, when failed, when missing, when it cannot tell.

    Where the effect on the flow at 50 Pa is known and below `harmless_below_percent`, nothing worse than a note
    follows.
    """

    suspect: int = SOUND
    fail: int = SOUND
    missing: int = SOUND
    untold: int = SOUND
    harmless_below_percent: float = 0.0


# What a source reports, and sizes that no house has: to be asked about, whatever the readings say.
_OF_RECORDS = {
    "reported_flow_fits_volume": Weight(suspect=NOTE, fail=NOTE),
    "reported_coefficient_fits_flow": Weight(suspect=NOTE, fail=NOTE),
    "reported_area_fits_flow": Weight(suspect=NOTE, fail=NOTE),
    "reported_natural_rate": Weight(suspect=NOTE),
    "volume_fits_floor": Weight(suspect=NOTE),
    "plausible_sizes": Weight(suspect=NOTE),
    "plausible_reported": Weight(suspect=NOTE),
}
_AT_50 = {
    "usable_flow": Weight(missing=CANNOT_TELL),
    "plausible_pressure": Weight(suspect=CANNOT_TELL),
    "plausible_air_changes": Weight(suspect=CANNOT_TELL),
    "direction_matches_pressure": Weight(suspect=NOTE, fail=CANNOT_TELL, untold=NOTE),
    "water_in_line": Weight(suspect=RETEST, untold=NOTE, harmless_below_percent=3.0),
    "exponent_range": Weight(suspect=NOTE, fail=RETEST),
    "correlation": Weight(suspect=NOTE, fail=RETEST),
    "baseline_shift": Weight(suspect=RETEST, fail=RETEST, harmless_below_percent=5.0),
    "baseline_level": Weight(suspect=NOTE, fail=RETEST),
    "pressure_reached": Weight(suspect=RETEST, fail=RETEST, harmless_below_percent=5.0),
    "highest_pressure": Weight(suspect=NOTE, fail=NOTE),
    "wind_strength": Weight(suspect=NOTE, fail=NOTE),
    "within_fan_calibration": Weight(suspect=NOTE),
    "temperature_difference": Weight(suspect=NOTE),
    "baseline_missing": Weight(suspect=NOTE, missing=NOTE),
    "baseline_spread": Weight(suspect=NOTE),
    "point_count": Weight(suspect=NOTE, fail=NOTE, missing=NOTE),
    "temperatures_known": Weight(missing=NOTE),
    "plausible_indoors": Weight(suspect=NOTE),
    "reported_agrees": Weight(suspect=NOTE),
    **_OF_RECORDS,
}

# Each use: checks in the order of their weight, what each means.
WEIGHTS: Mapping[str, Mapping[str, Weight]] = {
    "flow_at_50": _AT_50,
    "low_pressure_and_exponent": {
        "usable_flow": Weight(missing=CANNOT_TELL),
        "plausible_pressure": Weight(suspect=CANNOT_TELL),
        "plausible_air_changes": Weight(suspect=CANNOT_TELL),
        "exponent_fitted": Weight(missing=CANNOT_TELL, suspect=NOTE),
        "direction_matches_pressure": Weight(suspect=NOTE, fail=CANNOT_TELL, untold=NOTE),
        "water_in_line": Weight(suspect=RETEST, untold=NOTE),
        "baseline_missing": Weight(suspect=NOTE, missing=RETEST),
        "exponent_range": Weight(suspect=RETEST, fail=RETEST),
        "correlation": Weight(suspect=RETEST, fail=RETEST),
        "wind_strength": Weight(suspect=RETEST, fail=RETEST, untold=NOTE),
        "low_pressure_spread": Weight(suspect=RETEST, fail=RETEST),
        "lowest_pressure": Weight(suspect=NOTE, fail=NOTE),
        "within_fan_calibration": Weight(suspect=NOTE),
        "temperature_times_height": Weight(suspect=NOTE),
        "baseline_shift": Weight(suspect=RETEST, fail=RETEST),
        "baseline_level": Weight(suspect=RETEST, fail=RETEST),
        "baseline_spread": Weight(suspect=RETEST, fail=RETEST),
        "point_count": Weight(suspect=NOTE, fail=RETEST, missing=RETEST),
        "highest_pressure": Weight(suspect=NOTE, fail=NOTE),
        "temperatures_known": Weight(missing=NOTE),
        "plausible_indoors": Weight(suspect=NOTE),
    },
    # a comparison wants the same fault-free flow twice; what the source reports has no part in it
    "before_after": {name: weight for name, weight in _AT_50.items() if not name.startswith("reported_")},
    "publishable": {
        "usable_flow": Weight(missing=CANNOT_TELL),
        "plausible_pressure": Weight(suspect=CANNOT_TELL),
        "plausible_air_changes": Weight(suspect=CANNOT_TELL),
        "direction_matches_pressure": Weight(suspect=NOTE, fail=CANNOT_TELL, untold=NOTE),
        "water_in_line": Weight(suspect=RETEST, untold=NOTE),
        "wind_strength": Weight(suspect=RETEST, fail=RETEST, untold=NOTE),
        "exponent_range": Weight(suspect=NOTE, fail=RETEST),
        "baseline_level": Weight(suspect=NOTE, fail=RETEST),
        "highest_pressure": Weight(suspect=NOTE, fail=RETEST),
        "lowest_pressure": Weight(suspect=NOTE, fail=NOTE),
        "point_count": Weight(suspect=NOTE, fail=RETEST, missing=RETEST),
        "pressure_reached": Weight(suspect=NOTE, fail=RETEST),
        "correlation": Weight(suspect=NOTE, fail=RETEST),
        "baseline_shift": Weight(suspect=NOTE, fail=RETEST),
        "baseline_missing": Weight(suspect=NOTE, missing=RETEST),
        "exponent_fitted": Weight(suspect=NOTE, missing=NOTE),
        "baseline_spread": Weight(suspect=NOTE),
        "low_pressure_spread": Weight(suspect=NOTE),
        "both_directions": Weight(suspect=NOTE),
        "within_fan_calibration": Weight(suspect=NOTE),
        "temperature_times_height": Weight(suspect=NOTE),
        "temperature_difference": Weight(suspect=NOTE),
        "temperatures_known": Weight(missing=NOTE),
        "plausible_indoors": Weight(suspect=NOTE),
        "reported_agrees": Weight(suspect=NOTE),
        **_OF_RECORDS,
        "reported_area_stated": Weight(missing=NOTE),
        "reported_exponent_measured": Weight(suspect=NOTE, missing=NOTE),
    },
}


@dataclass(frozen=True, slots=True)
class Verdicts:
    """Verdict of one use for each session, as a code of `quantities.CHOICES["verdict"]`, and what led to it.

    `masks[v]` has bit k set where check `checks[k]` calls for verdict v.
    """

    verdict: Codes
    checks: tuple[str, ...]
    masks: tuple[Ints, ...]

    def reasons(self, session: int) -> tuple[str, ...]:
        """Names of the checks that speak against a session, the gravest first."""
        return self._named(tuple(int(mask[session]) for mask in self.masks))

    def reason_texts(self) -> NDArray[np.object_]:
        """The same for all sessions, joined by ";" (empty text where there is none)."""
        pattern = np.zeros(self.verdict.size, dtype=np.int64)  # a number for each combination of masks that occurs
        for mask in self.masks[NOTE:]:
            found, inverse = np.unique(mask, return_inverse=True)
            pattern = pattern * found.size + inverse
        _, first, inverse = np.unique(pattern, return_index=True, return_inverse=True)
        texts = np.array([";".join(self.reasons(session)) for session in first], dtype=object)
        return np.asarray(texts[inverse], dtype=object)

    def _named(self, masks: tuple[int, ...]) -> tuple[str, ...]:
        return tuple(name for mask in reversed(masks) for bit, name in enumerate(self.checks) if mask >> bit & 1)


def verdicts(checks: Mapping[str, Check]) -> dict[str, Verdicts]:
    """Verdict for each use, from the checks that were made. Checks without weight for a use do not count."""
    return {use: _verdict(checks, WEIGHTS[use]) for use in USES}


def _verdict(checks: Mapping[str, Check], weights: Mapping[str, Weight]) -> Verdicts:
    names = tuple(name for name in weights if name in checks)
    size = next(iter(checks.values())).level.size
    masks = [np.zeros(size, dtype=np.int64) for _ in CHOICES["verdict"]]
    worst = np.zeros(size, dtype=np.int8)
    for bit, name in enumerate(names):
        called = _called_for(checks[name], weights[name])
        worst = np.maximum(worst, called)
        for outcome in (NOTE, RETEST, CANNOT_TELL):
            masks[outcome] |= np.where(called == outcome, 1 << bit, 0)
    return Verdicts(worst, names, tuple(masks))


def _called_for(check: Check, weight: Weight) -> Codes:
    untold = (check.level == NOT_EVALUATED) & np.isin(check.cause, [CAUSES.index(cause) for cause in WORTH_SAYING])
    called = np.select(
        [check.level == SUSPECT, check.level == FAIL, check.level == MISSING, untold],
        [weight.suspect, weight.fail, weight.missing, weight.untold],
        SOUND,
    )
    harmless = check.effect_percent < weight.harmless_below_percent
    return np.where(harmless, np.minimum(called, NOTE), called).astype(np.int8)
