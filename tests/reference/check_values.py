"""The numbers of check_values.json: what each is, where it comes from, and how closely it must be met.

Three kinds of provenance, told apart in every test id:
`read`     the number was read in the source named;
`algebra`  a general-purpose library worked it out from the formula named, so it tests algebra and not the source;
`memory`   the number is quoted from memory and awaits a person with the text.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass
from fnmatch import fnmatchcase
from pathlib import Path
from typing import Any

import numpy as np
import pytest

FILE = Path(__file__).with_name("check_values.json")


@dataclass(frozen=True, slots=True)
class Value:
    """One expected number."""

    id: str
    quantity: str
    inputs: dict[str, Any]
    expected: float
    units: str
    relative: float
    absolute: float
    source: str
    provenance: str
    note: str

    @property
    def standing(self) -> str:
        if self.provenance == "read":
            return "read"
        return "memory" if self.provenance == "from memory" else "algebra"

    def holds(self, found: float | np.ndarray) -> None:
        """The number found equals the one expected, within the tolerance the file gives for it."""
        found = float(np.asarray(found).item())
        allowed = self.absolute + self.relative * abs(self.expected)
        assert abs(found - self.expected) <= allowed, (
            f"{self.id}: found {found!r}, expected {self.expected!r} {self.units}, at most {allowed:.3g} apart\n"
            f"{self.quantity}\nsource: {self.source}\nprovenance: {self.provenance}\nnote: {self.note or 'none'}"
        )


def _value(entry: dict[str, Any]) -> Value:
    return Value(
        id=entry["id"],
        quantity=entry["quantity"],
        inputs=entry["inputs"],
        expected=float(entry["expected"]["value"]),
        units=entry["expected"]["units"],
        relative=float(entry["tolerance"].get("rel", 0.0)),
        absolute=float(entry["tolerance"].get("abs", 0.0)),
        source=entry["source"],
        provenance=entry["provenance"],
        note=entry.get("note", ""),
    )


ENTRIES: list[dict[str, Any]] = json.loads(FILE.read_text(encoding="utf-8"))
VALUES: dict[str, Value] = {entry["id"]: _value(entry) for entry in ENTRIES}


def ids(*patterns: str) -> list[str]:
    """Ids that match, in the order of the file; a pattern that matches nothing is an error."""
    for pattern in patterns:
        if not any(fnmatchcase(name, pattern) for name in VALUES):
            raise LookupError(f"no value of {FILE.name} is called {pattern}")
    return [name for name in VALUES if any(fnmatchcase(name, pattern) for pattern in patterns)]


def holds_for(*patterns: str) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Run a test once for each value that matches, and say so to the census: the test is the one for these values."""
    names = ids(*patterns)
    each = [pytest.param(VALUES[name], id=f"{name}: {VALUES[name].standing}") for name in names]

    def mark(test: Callable[..., None]) -> Callable[..., None]:
        test.values_held = names  # type: ignore[attr-defined]
        return pytest.mark.parametrize("value", each)(test)

    return mark
