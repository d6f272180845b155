"""Invented layouts that are one table, written from texts: sheets, a transposed sheet, a ledger.

Cells come in as texts already, so that what a file says is decided where it is meant, not here. A name that a row
does not have is an empty cell.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Mapping, Sequence

MOST_POINTS = 10
ACROSS_COLUMNS = (
    *("Ref", "Property", "Visit", "Started", "Test", "Direction", "Zero before (Pa)", "Zero after (Pa)"),
    *(f"P{number} (Pa)" for number in range(1, MOST_POINTS + 1)),
    *(f"F{number} (cfm)" for number in range(1, MOST_POINTS + 1)),
    *("Opening", "Volume (ft3)", "Inside (°F)", "Outside (°F)", "Altitude (ft)", "Wind (mph)", "Gust (mph)", "Comment"),
)
BOTH_COLUMNS = (
    *("Test", "House", "Stage", "Date", "Start", "End", "Direction", "Step", "Pressure (Pa)"),
    *("Plate 1", "Flow 1 (L/s)", "Plate 2", "Flow 2 (L/s)", "Baseline start (Pa)", "Baseline end (Pa)"),
    *("Used", "Why not"),
)
TRANSPOSED_NAMES = (
    *("Dossier", "Maison", "Étape", "Date", "Heure", "Équipe", "Pression au repos (Pa)", "Pression (Pa)"),
    *("Diaphragme", "Débit (m³/h)", "Volume (m³)", "Surface (m²)"),
    *("Température intérieure (°C)", "Température extérieure (°C)", "Vent", "Débit à 50 Pa (m³/h)", "Remarques"),
)
LEDGER_COLUMNS = (
    *("No", "Property", "When", "Outcome", "Leakage at 50 Pa", "Air changes at 50 Pa", "Natural air changes"),
    *("Exponent", "Leakage area", "Area at", "Volume", "Method", "Basis", "Note"),
)


def across(rows: Sequence[Mapping[str, str]], columns: Sequence[str] = ACROSS_COLUMNS) -> bytes:
    """A sheet of one test a row, its points counted across."""
    return _text([columns, *_cells(rows, columns)], ",", "\r\n").encode()


def both_directions(rows: Sequence[Mapping[str, str]], columns: Sequence[str] = BOTH_COLUMNS) -> bytes:
    """A table of one point a row, with several tests and both directions in it."""
    return _text([columns, *_cells(rows, columns)], ",", "\n").encode()


def transposed(
    tests: Sequence[Mapping[str, str]], names: Sequence[str] = TRANSPOSED_NAMES, encoding: str = "cp1252"
) -> bytes:
    """A table of one test a column, its names in the first column."""
    return _text([[name, *(test.get(name, "") for test in tests)] for name in names], ";", "\r\n").encode(encoding)


def ledger(
    titles: Sequence[str],
    pages: Sequence[Sequence[Mapping[str, str]]],
    footers: Sequence[str],
    encoding: str = "utf-8",
) -> bytes:
    """A list in pages: titles, then header, rows and a footer for each page."""
    lines: list[Sequence[str]] = [[title] if title else [] for title in titles]
    for rows, footer in zip(pages, footers, strict=True):
        lines += [LEDGER_COLUMNS, *_cells(rows, LEDGER_COLUMNS), [footer]]
    return _text(lines, ",", "\r\n").encode(encoding)


def _cells(rows: Sequence[Mapping[str, str]], columns: Sequence[str]) -> list[list[str]]:
    strangers = sorted({name for row in rows for name in row} - set(columns))
    if strangers:
        raise ValueError(f"no column called {', '.join(strangers)}")
    return [[row.get(column, "") for column in columns] for row in rows]


def _text(lines: Iterable[Sequence[str]], delimiter: str, end: str) -> str:
    text = io.StringIO(newline="")
    csv.writer(text, delimiter=delimiter, lineterminator=end).writerows(lines)
    return text.getvalue()
