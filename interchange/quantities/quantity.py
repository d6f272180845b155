"""One row of the table of names."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quantity:
    """One name of the table."""

    name: str
    ucum: str
    words: str
    standard_name: str | None = None
    personal: bool = False


def quantity(name: str, ucum: str, words: str, standard_name: str | None = None, personal: bool = False) -> Quantity:
    """A row of the table."""
    return Quantity(name, ucum, words, standard_name, personal)
