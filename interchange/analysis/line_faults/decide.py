"""From scores to probabilities and states: how much likelier a score is with a fault than without.

    P_k = share_k L_k / (share_0 + sum of share_j L_j),   share_0 = 1 - sum of share_j

L_k is the ratio of the frequencies of the score among tests with the fault and among sound ones, so faults that the
same signs speak for compete. It holds for one fault in a test.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Codes, Floats
from interchange.quantities import CHOICES

FAULTS = CHOICES["line_fault"]
NO, NOTE, RETEST, CANNOT_TELL = range(len(CHOICES["line_fault_state"]))

# Share of tests that have the fault, of a programme that does not look for it. Judgement, no source; a programme that
# knows its own gives them.
SHARES: Mapping[str, float] = {name: 0.03 if name == "water_in_line" else 0.01 for name in FAULTS}

# Scores at which L is known, between which its logarithm is linear in that of the score.
KNOTS = (0.25, 0.5, 0.85, 1.2, 1.7, 2.5, 4.0, 7.0)
# ln L at these scores. From simulated tests (sound ones and such with one fault, at five arrangements of the line, in
# all winds), no source.
LOG_RATIO: Mapping[str, tuple[float, ...]] = {
    "water_in_line": (-1.2, -1.2, -1.2, -0.6, 1.0, 2.9, 5.1, 8.2),
    "line_blocked": (-1.3, -0.7, -0.6, 0.4, 2.1, 3.5, 5.8, 8.0),
    "line_disconnected": (-3.0, 0.0, 1.5, 2.5, 4.0, 5.0, 6.0, 8.0),
    "line_end_in_fan_stream": (-2.2, -1.3, -0.1, 0.6, 2.3, 3.9, 5.0, 6.2),
    "channels_swapped": (-3.0, -2.1, 0.1, 1.2, 1.2, 2.2, 4.2, 8.8),
    "sign_wrong": (-5.2, -2.2, 0.4, 1.5, 3.1, 5.6, 5.8, 8.8),
    "fan_in_baseline": (-2.6, -2.6, -0.8, 0.3, 1.5, 3.7, 6.1, 8.2),
    "fan_uncovered": (-1.5, -1.2, -0.1, 1.0, 2.6, 4.2, 6.4, 6.9),
    "exhaust_running": (-1.0, -0.5, -0.5, -0.3, 1.3, 3.5, 6.2, 7.6),
    "fan_reference_wrong": (-2.4, -2.4, -1.1, -1.1, 1.6, 2.9, 6.4, 8.3),
    "baseline_missing": (-5.3, 0.0, 3.6, 3.6, 5.0, 7.0, 7.0, 7.0),
    "baseline_copied": (-3.8, 0.0, 1.5, 2.5, 3.5, 4.0, 5.0, 8.4),
    "baseline_zero_by_habit": (-5.6, 0.0, 2.0, 3.5, 4.3, 5.0, 6.0, 8.2),
    "opening_moved": (-3.5, -1.9, -0.5, 0.2, 1.4, 4.2, 5.2, 8.0),
    "gauge_drift": (-4.2, -2.0, -0.5, 0.5, 0.5, 1.3, 4.4, 8.0),
    "fan_configuration_wrong": (-1.1, -1.0, -0.8, 0.8, 2.4, 2.5, 6.6, 7.2),
}
UNTOLD = (0.0,) * len(KNOTS)  # of faults that one test cannot tell
# Score from which a retest is asked for: a little more than any of some thousand simulated sound tests has shown.
# Faults that are not here get a note at most: they can be mended in the record, or only hint at themselves.
RETEST_FROM: Mapping[str, float] = {
    "water_in_line": 3.5,
    "line_blocked": 4.5,
    "line_disconnected": 2.0,
    "line_end_in_fan_stream": 4.7,
    "channels_swapped": 5.2,
    "sign_wrong": 2.2,
    "fan_in_baseline": 3.5,
    "fan_reference_wrong": 4.2,
    "baseline_missing": 3.0,
    "baseline_zero_by_habit": 2.5,
    "opening_moved": 4.3,
    "gauge_drift": 4.6,
    "fan_configuration_wrong": 3.3,
}
NOTE_FROM, RETEST_LEAST, OWN_LEAST = 0.2, 0.5, 0.15  # [1] probabilities
UNTOLD_WEIGHT = 0.7  # [1] of ln L where no spread tells how large the noise is
UNTOLD_TIMES = 1.5  # [1] limits there, but for what is no matter of noise at all
NO_MATTER_OF_NOISE = ("baseline_missing",)
# Faults that need no measure of noise.
SURE_WITHOUT_SPREADS = ("sign_wrong", "line_disconnected", "baseline_missing")


def probabilities(
    scores: Mapping[str, Floats], told: NDArray[np.bool_], shares: Mapping[str, float] = SHARES
) -> dict[str, Floats]:
    """Probability of each fault of each session; `told` says whether spreads tell the noise."""
    weight = {}
    for name, score in scores.items():
        log = np.interp(np.log(np.maximum(score, KNOTS[0])), np.log(KNOTS), LOG_RATIO.get(name, UNTOLD))
        trust = 1.0 if name in SURE_WITHOUT_SPREADS else np.where(told, 1.0, UNTOLD_WEIGHT)
        weight[name] = shares[name] * np.exp(np.where(np.isnan(score), 0.0, trust * log))
    sound = 1.0 - sum(shares[name] for name in scores)
    total = sound + sum(weight.values())
    return {name: np.asarray(part / total) for name, part in weight.items()}


def states(
    scores: Mapping[str, Floats],
    probability: Mapping[str, Floats],
    told: NDArray[np.bool_],
    half_seen: Mapping[str, NDArray[np.bool_]],
) -> dict[str, Codes]:
    """NO, NOTE, RETEST or CANNOT_TELL of each fault of each session.

    `half_seen` says by fault in which sessions nothing seen does not mean that nothing is there.
    Faults whose scores are beyond chance ask for a retest if one of them is likely, whichever it is.
    """
    beyond = {}
    for name, score in scores.items():
        sure = np.full(score.shape, name in SURE_WITHOUT_SPREADS) | told
        times = np.where(told | np.full(told.shape, name in NO_MATTER_OF_NOISE), 1.0, UNTOLD_TIMES)
        beyond[name] = sure & (score >= RETEST_FROM.get(name, np.inf) * times)
    one_of_them = sum(np.where(beyond[name], probability[name], 0.0) for name in scores)
    found = {}
    for name, score in scores.items():
        retest = beyond[name] & (one_of_them >= RETEST_LEAST) & (probability[name] >= OWN_LEAST)
        state = np.where(retest, RETEST, np.where((probability[name] >= NOTE_FROM) & (score >= 1.0), NOTE, NO))
        untold = np.isnan(score) | ((state == NO) & half_seen.get(name, np.zeros(score.shape, dtype=np.bool_)))
        found[name] = np.where(untold, CANNOT_TELL, state).astype(np.int8)
    return found
