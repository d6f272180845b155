"""Finds the rule sets that a person or an archive names."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from interchange.model import ruleset
from interchange.model.ruleset import RuleSet


def load_rule_sets(references: Sequence[str]) -> list[RuleSet]:
    """Rule sets by reference (`iso9972@2015`) or by the path of a file; RuleSetError for one that is not there."""
    return [
        ruleset.load(Path(reference)) if reference.endswith(".toml") else ruleset.named(reference)
        for reference in references
    ]
