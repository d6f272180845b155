"""How a text of the source is quoted to people: one cell at most, and not the whole of a long one."""

from __future__ import annotations

SHOWN = 60


def cut(text: str) -> str:
    """The text as far as it is shown."""
    return text if len(text) <= SHOWN else f"{text[:SHOWN]}…"


def quoted(text: str) -> str:
    """The text as far as it is shown, in quotes."""
    return f"'{cut(text)}'"
