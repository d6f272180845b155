"""One row of text to its cells."""

from __future__ import annotations

import csv

QUOTE = '"'


def split_cells(line: str, delimiter: str) -> list[str] | None:
    """The cells of one row; None where a quoted cell is not closed within the row, or goes on after its quote."""
    if QUOTE not in line:
        return line.split(delimiter)
    if line.count(QUOTE) % 2:
        return None
    try:
        return next(csv.reader([line], delimiter=delimiter, quotechar=QUOTE, strict=True))
    except csv.Error:
        return None


def trimmed(cells: list[str]) -> list[str]:
    """The cells without the empty ones at the end."""
    last = len(cells)
    while last and not cells[last - 1].strip():
        last -= 1
    return cells[:last]
