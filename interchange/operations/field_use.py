"""Where each field of a session is used, as the code itself says: views, recomputing, checks, tidy tables."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, fields, replace
from typing import Any

from interchange.analysis import chain, checks
from interchange.analysis.batch import Batch
from interchange.archive import batches, view_columns
from interchange.exchange import tidy
from interchange.model import ruleset
from interchange.model.ruleset import RuleSet


@dataclass(frozen=True, slots=True)
class FieldUse:
    """Names of the views, steps and checks of the shipped rule sets, and tables of the tidy form that use a field."""

    views: tuple[str, ...] = ()
    recomputed: bool = False
    checks: tuple[str, ...] = ()
    tables: tuple[str, ...] = ()

    def __str__(self) -> str:
        lists = {"view": self.views, "check": self.checks, "tidy": self.tables}
        said = {kind: f"{kind} {', '.join(names)}" for kind, names in lists.items() if names}
        parts = (said.get("view"), "recomputed" if self.recomputed else None, said.get("check"), said.get("tidy"))
        return "; ".join(filter(None, parts))


def field_uses() -> dict[str, FieldUse]:
    """The uses of each field by its name; fields that share a name share them. Unused fields are left out."""
    views = view_columns.columns()
    tables = {
        "tests": tidy.tests_table([]).columns,
        "runs": tidy.runs_table([]).columns,
        "points": tidy.points_table([]).columns,
    }
    recomputed: set[str] = set()
    checked: dict[str, set[str]] = {}
    for rules in map(ruleset.named, ruleset.references()):
        recomputed |= _recomputed(rules)
        for name, read in _checked(rules):
            checked[name] = checked.get(name, set()) | read
    names = {
        *recomputed,
        *(name for columns in [*views.values(), *tables.values(), *checked.values()] for name in columns),
    }
    return {
        name: FieldUse(_with(name, views), name in recomputed, _with(name, checked), _with(name, tables))
        for name in sorted(names)
    }


def _with(name: str, columns: Mapping[str, Any]) -> tuple[str, ...]:
    return tuple(sorted(of for of, names in columns.items() if name in names))


class _Noted(Mapping[str, Any]):
    """Columns of a batch that note which of them were read."""

    def __init__(self, columns: Mapping[str, Any], read: set[str]) -> None:
        self._columns, self._read = columns, read

    def __getitem__(self, name: str) -> Any:
        self._read.add(name)
        return self._columns[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._columns)

    def __len__(self) -> int:
        return len(self._columns)


def _noted() -> tuple[Batch, set[str]]:
    """A batch of no tests, and the names that are read of it from now on."""
    batch = batches.from_sessions([]).batch
    read: set[str] = set()
    levels = {one.name: getattr(batch, one.name) for one in fields(Batch)}
    noted: dict[str, Any] = {name: _Noted(level, read) for name, level in levels.items() if isinstance(level, Mapping)}
    return replace(batch, **noted), read


def _recomputed(rules: RuleSet) -> set[str]:
    batch, read = _noted()
    chain.run(batch, rules.steps, rules.applies_to)
    return read


def _checked(rules: RuleSet) -> Iterator[tuple[str, set[str]]]:
    plain = batches.from_sessions([]).batch
    leakage = chain.run(plain, rules.steps, rules.applies_to)
    for rule in rules.checks:
        batch, read = _noted()
        checks.CHECKS[rule.name](batch, leakage, **rule.arguments)
        yield rule.name, read
