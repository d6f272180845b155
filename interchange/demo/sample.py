"""What a sample is: a small file, and the sessions, traces and problems that were meant by it.

File and expectation come from the same texts; a text becomes a number by the exact fractions of `units` and by nothing
else. No reader has a hand in it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from fractions import Fraction
from typing import Any

from interchange.quantities import QUANTITIES
from interchange.units import unit

Document = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Sample:
    """One sample of a plugin."""

    plugin_id: str
    name: str
    content: bytes
    sessions: tuple[Document, ...]
    traces: tuple[Document, ...] = ()
    problems: tuple[str, ...] = ()
    companions: Mapping[str, bytes] = field(default_factory=dict)  # by what is added to the sample's name


def number(text: str, spelling: str, quantity: str) -> float:
    """The value, in a quantity's own unit, of a text with decimal point or comma in a spelled unit."""
    source, target = unit(spelling), unit(QUANTITIES[quantity].ucum)
    stated = Fraction(text.replace(",", ".")) * source.factor + source.offset
    return float((stated - target.offset) / target.factor)


def filled(values: Mapping[str, Any]) -> Document:
    """The values that are there."""
    return {name: value for name, value in values.items() if value not in (None, {}, [])}
