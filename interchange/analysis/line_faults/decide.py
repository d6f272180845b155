"""From scores to probabilities and states: how much likelier a score is with a fault than without.

    P_k = share_k L_k / (share_0 + sum of share_j L_j),   share_0 = 1 - sum of share_j

L_k is the ratio of the frequencies of the score among tests with the fault and among sound ones, so faults that the same
signs speak for compete. It holds for one fault in a test.
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
# ln L at these scores. From simulated tests (sound ones and such with one fault, at five arrangements of the line, in all
# winds), no source.
LOG_RATIO: Mapping[str, tuple[float, ...]] = {}
# Score from which a retest is asked for: beyond what any of some thousand simulated sound tests has shown.
RETEST_FROM: Mapping[str, float] = {}
# Faults of the record, which can be mended without going back, and such as only hint at themselves.
NOTE_AT_MOST = (
    *("line_end_exposed", "baseline_copied", "clock_shifted", "duplicate", "exhaust_running"),
    "fan_uncovered",
)
NOTE_FROM, RETEST_LEAST = 0.2, 0.4  # [1] probabilities
UNTOLD_WEIGHT = 0.4  # [1] of ln L where no spread tells how large the noise is
# Faults that need no measure of noise.
SURE_WITHOUT_SPREADS = ("sign_wrong", "line_disconnected", "baseline_missing")


def probabilities(
    scores: Mapping[str, Floats], told: NDArray[np.bool_], shares: Mapping[str, float] = SHARES
) -> dict[str, Floats]:
    """Probability of each fault of each session; `told` says whether spreads tell the noise."""
    weight = {}
    for name, score in scores.items():
        log = np.interp(np.log(np.maximum(score, KNOTS[0])), np.log(KNOTS), LOG_RATIO[name])
        trust = 1.0 if name in SURE_WITHOUT_SPREADS else np.where(told, 1.0, UNTOLD_WEIGHT)
        weight[name] = shares[name] * np.exp(np.where(np.isnan(score), 0.0, trust * log))
    sound = 1.0 - sum(shares[name] for name in scores)
    total = sound + sum(weight.values())
    return {name: np.asarray(part / total) for name, part in weight.items()}


def states(
    scores: Mapping[str, Floats], probability: Mapping[str, Floats], told: NDArray[np.bool_]
) -> dict[str, Codes]:
    """NO, NOTE, RETEST or CANNOT_TELL of each fault of each session."""
    found = {}
    for name, score in scores.items():
        likely = probability[name]
        sure = np.full(score.shape, name in SURE_WITHOUT_SPREADS) | told
        retest = sure & (score >= RETEST_FROM[name]) & (likely >= RETEST_LEAST) & (name not in NOTE_AT_MOST)
        state = np.where(retest, RETEST, np.where((likely >= NOTE_FROM) & (score >= 1.0), NOTE, NO))
        found[name] = np.where(np.isnan(score), CANNOT_TELL, state).astype(np.int8)
    return found
