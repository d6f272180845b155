"""Line and handling faults of tests, side by side: how likely each is, what was seen, what it does to the result.

Every fault of `quantities.CHOICES["line_fault"]` is told of every session. With traces more is seen than in averages;
what a record of its kind cannot tell is `cannot_tell`, with the probability that any test has it. Faults that only show
among several tests (`duplicate`, `fan_configuration_wrong`) are found by `line_faults.kin`.

References
----------
[1] Water of 1 mm in the bore is 9.8 Pa (physics). Common practice, no source, for what crews do wrong.

"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from interchange.analysis.batch import Batch, Codes, Floats, Ints
from interchange.analysis.line_faults import decide, resting, scores, zero
from interchange.analysis.line_faults.decide import FAULTS, NOTE, RETEST
from interchange.analysis.line_faults.effects import effects
from interchange.analysis.line_faults.features import LineFeatures
from interchange.analysis.line_faults.records import bogus
from interchange.analysis.line_faults.seen import Level, Seen, gathered, level, stack_pa
from interchange.analysis.line_faults.zero import Zero
from interchange.analysis.work import Work

MOST_SHOWN = 2  # [1] faults of a test that people are told of; all are in the data
WORTH_NAMING = 0.05  # [1] probability from which a fault is named as what else it could be


@dataclass(frozen=True, slots=True)
class LineFaults:
    """By fault, one entry a session: score [1], probability [0 to 1], state (code of `CHOICES["line_fault_state"]`),
    effects on the flow at 50 and 10 Pa [%] (NaN where nobody can tell), onset [s from the beginning] where known.

    `evidence` holds the numbers behind them by name, with their units; NaN where not recorded.
    """

    score: Mapping[str, Floats]
    probability: Mapping[str, Floats]
    state: Mapping[str, Codes]
    effect_50_percent: Mapping[str, Floats]
    effect_10_percent: Mapping[str, Floats]
    onset_s: Mapping[str, Floats]
    evidence: Mapping[str, Floats]

    def shown(self, session: int, most: int = MOST_SHOWN) -> tuple[str, ...]:
        """Faults of one session that people are told of, those that ask for a retest first, then the likeliest."""
        found = [name for name in self.state if self.state[name][session] in (NOTE, RETEST)]
        return tuple(sorted(found, key=lambda name: self._rank(name, session))[:most])

    def else_it_could_be(self, session: int, fault: str, most: int = 2) -> tuple[str, ...]:
        """Other faults that would look like this one, the likeliest first."""
        others = [n for n in self.state if n != fault and self.probability[n][session] >= WORTH_NAMING]
        others = [n for n in others if self.state[n][session] != decide.CANNOT_TELL]
        return tuple(sorted(others, key=lambda name: self._rank(name, session))[:most])

    def _rank(self, name: str, session: int) -> tuple[bool, float]:
        return self.state[name][session] != RETEST, -float(self.probability[name][session])


def find(
    work: Work, features: LineFeatures | None = None, *, shares: Mapping[str, float] = decide.SHARES
) -> LineFaults:
    """Look for all faults in all sessions of a batch; `features` of their traces, `shares` of tests with each fault.

    Sessions that are not fitted, or have no point, are `cannot_tell` throughout. Shares must add up to less than 1.
    """
    if not sum(shares.values()) < 1.0:
        raise ValueError(f"the shares of faults add up to {sum(shares.values())}, expected less than 1")
    seen = gathered(work, features)
    noise = level(work, seen)
    invented = bogus(work, noise, features)
    seen = replace(seen, usable=seen.usable & ~invented[seen.what, seen.run])
    fit = zero.fitted(work.batch, seen, noise)
    signs = scores.signs(work, seen, noise, fit, features)
    made = scores.scores(signs, noise)
    count = noise.told.size
    silent = np.full(count, np.nan)
    nothing = np.bincount(seen.session, minlength=count) == 0
    made = {name: np.where(nothing, np.nan, made.get(name, silent)) for name in FAULTS}
    probability = decide.probabilities(made, noise.told, shares)
    one_baseline = ~(fit.freedom > 0)  # what comes after it leaves no sign in one point
    half_seen = {"water_in_line": one_baseline, "exhaust_running": one_baseline}
    if features is None:
        half_seen["fan_in_baseline"] = one_baseline
    state = decide.states(made, probability, noise.told, half_seen)
    at_50, at_10 = effects(seen, noise, fit, signs)
    return LineFaults(
        made,
        probability,
        state,
        {name: at_50.get(name, silent) for name in FAULTS},
        {name: at_10.get(name, silent) for name in FAULTS},
        _onsets(seen, fit, signs, count),
        _evidence(signs, noise, fit),
    )


def find_without_fan(
    batch: Batch,
    pressure_pa: Floats,
    offsets: Ints,
    *,
    step_s: float = 1.0,
    shares: Mapping[str, float] = decide.SHARES,
) -> LineFaults:
    """Look for faults of a line that was read without a fan: trace i of all is that of session i of the batch.

    Water, a block, a line that came off and a creeping zero can be told; all else is `cannot_tell`.
    """
    stack, tolerance = stack_pa(batch)
    signs = resting.resting_signs(pressure_pa, offsets, stack, tolerance, step_s=step_s)
    silent = np.full(stack.size, np.nan)
    known = resting.resting_scores(signs)
    made = {name: known.get(name, silent) for name in FAULTS}
    told = np.ones(stack.size, dtype=np.bool_)
    probability = decide.probabilities(made, told, shares)
    unmoved = dict.fromkeys(FAULTS, silent)
    onset = unmoved | {"water_in_line": np.where(known["water_in_line"] >= 1.0, signs["step_from_s"], np.nan)}
    evidence = {name: signs[name] for name in ("offset_pa", "noise_pa")}
    evidence |= {"zero_step_pa": signs["step_pa"], "stack_pa": stack, "stack_tolerance_pa": tolerance}
    return LineFaults(made, probability, decide.states(made, probability, told, {}), unmoved, unmoved, onset, evidence)


def _onsets(seen: Seen, fit: Zero, signs: Mapping[str, Floats], count: int) -> dict[str, Floats]:
    """Seconds from the beginning at which a fault set in, of those that show it and where times are recorded."""
    rows = np.flatnonzero(seen.usable)
    first = np.searchsorted(seen.session[rows], np.arange(count))
    silent = np.full(count, np.nan)
    found = dict.fromkeys(FAULTS, silent)
    found["line_disconnected"] = signs.get("dead_from_s", silent)
    for fault, pattern in (("water_in_line", "zero_after"), ("opening_moved", "opening")):
        onset = fit.onset[pattern]
        known = np.isfinite(onset)
        at = np.minimum(first + np.where(known, onset, 0.0).astype(np.int64), max(rows.size - 1, 0))
        if rows.size:
            found[fault] = np.where(known, seen.start_s[rows[at]], np.nan)
    return found


_EVIDENCE = (
    *("offset_pa", "short", "running", "least_running", "fan_slope", "dead_share", "lag_s", "unanswered", "missing"),
    *("loud", "loud_by_spread", "wrong_sign", "swapped_exponent", "misfit"),
)


def _evidence(signs: Mapping[str, Floats], noise: Level, fit: Zero) -> dict[str, Floats]:
    silent = np.full(noise.told.size, np.nan)
    found = {name: signs.get(name, silent) for name in _EVIDENCE}
    found |= {"stack_pa": noise.stack_pa, "stack_tolerance_pa": noise.stack_tolerance_pa}
    found["noise_pa"] = np.where(noise.told, noise.deviation_pa, np.nan)
    for name, pattern in (("zero_step_pa", "zero_after"), ("points_step_pa", "zero_points"), ("drift_pa", "drift")):
        found[name] = fit.size[pattern]
    for name, pattern in (("opening_ratio", "opening"), ("configuration_ratio", "configuration")):
        found[name] = np.exp(np.clip(fit.size[pattern], -5.0, 5.0))
    found["stream_pa"] = fit.size["stream"]
    found["exponent"] = fit.exponent
    return found
