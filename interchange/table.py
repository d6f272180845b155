"""The form in which every operation hands lists to people: named columns, rows, and what was left out."""

from __future__ import annotations

import csv
import io
import json
from dataclasses import dataclass, field
from typing import Any

Row = tuple[Any, ...]

# A cell that begins so is run as a formula by spreadsheets (OWASP, "CSV Injection").
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True, slots=True)
class Table:
    """Rows under names of the table of names; sentences on what is not among them, and on how to read them."""

    columns: tuple[str, ...]
    rows: list[Row]
    left_out: list[str] = field(default_factory=list)
    notes: list[str] = field(default_factory=list)


def csv_text(table: Table) -> str:
    """The table as RFC 4180 CSV with line feeds; formula-like text gets a leading apostrophe."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(table.columns)
    writer.writerows([_cell(value) for value in row] for row in table.rows)
    return text.getvalue()


def json_text(table: Table) -> str:
    """The table as a JSON list of objects."""
    rows = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    return json.dumps(rows, ensure_ascii=False, indent=1, default=str) + "\n"


def _cell(value: object) -> object:
    if value is None:
        return ""
    if isinstance(value, bool):
        return "true" if value else "false"
    if isinstance(value, dict | list):
        return json.dumps(value, ensure_ascii=False, default=str)
    if isinstance(value, str) and value.startswith(_FORMULA_STARTS):
        return f"'{value}"
    return value


def counted(count: int, noun: str) -> str:
    """A count with its noun, in the plural where it is not one."""
    return f"{count:,} {noun}{'' if count == 1 else 's'}"
