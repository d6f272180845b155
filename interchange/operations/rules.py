"""Finds the rule sets that a person or an archive names, and says all that is wrong with one."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from interchange.analysis import chain, checks
from interchange.errors import Problem, RuleSetError
from interchange.model import ruleset
from interchange.model.ruleset import RuleSet


def load_rule_sets(references: Sequence[str]) -> list[RuleSet]:
    """Rule sets by reference (`iso9972@2015`) or by the path of a file.

    Raises RuleSetError, with every fault, for one that is not there, or names steps, checks or keywords that are not.
    """
    return [_load(Path(name)) if name.endswith(".toml") else ruleset.named(name) for name in references]


def _load(path: Path) -> RuleSet:
    found = faults(path)
    if found:
        raise RuleSetError(*found)
    return ruleset.load(path)


def faults(path: Path) -> list[Problem]:
    """Everything that is wrong with the file of a rule set; empty where it can be followed."""
    try:
        rules = ruleset.load(path)
    except RuleSetError as error:
        steps, asked = ruleset.well_formed_parts(path)
        of_steps = chain.step_faults(steps, path.name) if steps else []
        return [*error.problems, *of_steps, *checks.check_faults(asked, path.name)]
    return _faults_of_parts(rules, path.name)


def remarks(path: Path) -> list[Problem]:
    """What is allowed in a file without faults, and perhaps not meant."""
    return ruleset.remarks(ruleset.load(path), path.name)


def raise_faults(rules: RuleSet) -> None:
    """Raise RuleSetError, with every fault, where a rule set names steps, checks or keywords that there are not."""
    found = _faults_of_parts(rules, rules.reference)
    if found:
        raise RuleSetError(*found)


def _faults_of_parts(rules: RuleSet, file: str) -> list[Problem]:
    return [*chain.step_faults(rules.steps, file, rules.applies_to), *checks.check_faults(rules.checks, file)]
