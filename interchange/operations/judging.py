"""One batch under one rule set: leakage, checks, verdicts. The only place where rule sets meet kernels."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import chain, checks, uncertainty, verdict
from interchange.analysis.batch import Batch
from interchange.analysis.check import CAUSES, Check
from interchange.analysis.leakage import Leakage
from interchange.analysis.thresholds import CAUSES as CANNOT_TELL_CAUSES
from interchange.analysis.thresholds import Conformity, conformity
from interchange.analysis.uncertainty import Budget
from interchange.analysis.verdict import WORTH_SAYING, Verdicts
from interchange.analysis.work import Work, floats
from interchange.model.ruleset import RuleSet
from interchange.quantities import CHOICES, NOT_EVALUATED
from interchange.report.conformity import threshold_words
from interchange.report.sentences import Finding


@dataclass(frozen=True, slots=True)
class Judged:
    """What a rule set makes of each session of a batch."""

    rules: RuleSet
    work: Work
    leakage: Leakage
    budget: Budget
    checks: Mapping[str, Check]
    verdicts: Mapping[str, Verdicts]
    conformity: Conformity

    def finding(self, name: str, session: int) -> Finding:
        """One check of one session, in the form in which sentences are made of it."""
        check = self.checks[name]
        provenance = {rule.name: rule.provenance for rule in self.rules.checks}
        return Finding(
            name,
            int(check.level[session]),
            _number(check.value[session]),
            _number(check.limit[session]),
            _number(check.effect_percent[session]),
            CAUSES[check.cause[session]],
            provenance.get(name, ""),
            {key: float(values[session]) for key, values in check.details.items()},
        )

    def conformity_words(self) -> list[str]:
        """Which threshold is for each session, and why nobody can tell whether it is met; empty where none is."""
        if not self.rules.thresholds:
            return [""] * self.conformity.conforms.size
        said = {(-1, 0): ""}
        for place, threshold in enumerate(self.rules.thresholds):
            for code in range(len(CANNOT_TELL_CAUSES)):
                said[place, code] = threshold_words(place + 1, threshold.of, threshold.at_pa, CANNOT_TELL_CAUSES[code])
        pairs = zip(self.conformity.threshold.tolist(), self.conformity.cause.tolist(), strict=True)
        return [said[pair] for pair in pairs]

    def worth_saying(self, name: str) -> Iterator[int]:
        """Sessions for which a check found something that people must hear of."""
        check = self.checks[name]
        said = np.isin(check.cause, [CAUSES.index(cause) for cause in WORTH_SAYING])
        yield from np.flatnonzero((check.level > NOT_EVALUATED) | ((check.level == NOT_EVALUATED) & said)).tolist()


def judge(
    batch: Batch,
    rules: RuleSet,
    climate_zones: Sequence[str | None] | None = None,
    shared: chain.Shared | None = None,
) -> Judged:
    """Recompute, check and judge; `climate_zones` are those of the sessions, unknown where they are not given.

    `shared` is what other rule sets have left behind of this batch.
    Raises RuleSetError where the rule set asks for what there is not.
    """
    work = chain.follow(batch, rules.steps, rules.applies_to, shared=shared)
    leakage = chain.leakage(work)
    budget = budget_of(work)
    found = checks.evaluate(batch, leakage, rules.checks, rules.applies_to) if rules.judges else {}
    verdicts = verdict.verdicts(found) if rules.judges else {}
    count = leakage.note_mask.size
    unreliable = np.zeros(count, dtype=np.bool_)
    if verdicts:
        unreliable = np.asarray(verdicts["flow_at_50"].verdict == verdict.CANNOT_TELL)
    zones = [None] * count if climate_zones is None else climate_zones
    conforming = conformity(batch, leakage, rules.thresholds, zones, unreliable)
    return Judged(rules, work, leakage, budget, found, verdicts, conforming)


def budget_of(work: Work) -> Budget:
    """The budget of uncertainty of each session, with the accuracies that its record states."""
    session = work.batch.session
    recorded = (floats(session[name]) for name in ("gauge_accuracy_pa", "gauge_accuracy_ratio", "fan_accuracy_ratio"))
    return uncertainty.budget(work, gear=uncertainty.instruments(*recorded))


def applies(batch: Batch, rules: RuleSet) -> NDArray[np.bool_]:
    """Which sessions of a batch are of a kind that the rule set is for."""
    return np.isin(batch.session["kind"], [CHOICES["kind"].index(kind) for kind in rules.applies_to])


def words(name: str, codes: NDArray[np.generic]) -> NDArray[np.object_]:
    """Codes of a closed list, or of a truth value, as words; None where absent."""
    choices: tuple[object, ...] = CHOICES.get(name, (False, True))
    return np.asarray(np.array([*choices, None], dtype=object)[codes.astype(np.int64)])


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)
