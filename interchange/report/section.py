"""A part of a page for people."""

from __future__ import annotations

from dataclasses import dataclass

from interchange.table import Table


@dataclass(frozen=True, slots=True)
class Section:
    """A title, lines of text, perhaps a table; `asks` where it tells people to do something about a house."""

    title: str
    lines: tuple[str, ...] = ()
    table: Table | None = None
    asks: bool = False
