"""The one table of names: what each is called everywhere, its unit, its open-standard name, its meaning.

Session fields, Arrow columns, batch arrays, views, rule sets' outputs and column heads of commands all take their
names from here; a name that has a unit ends in it. Units are UCUM codes (UCUM 2.2); "" marks text, dates and truth
values, "1" a plain number. Standard names are those of the CF conventions, where one exists.
"""

from __future__ import annotations

from interchange.quantities import compared, computed, counted, recorded, sources
from interchange.quantities.choices import CHOICES, FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from interchange.quantities.quantity import Quantity

__all__ = [
    "CHOICES",
    "DISPLAYED",
    "FAIL",
    "MISSING",
    "NOT_EVALUATED",
    "PASS",
    "QUANTITIES",
    "ROWS",
    "SUSPECT",
    "Quantity",
]

ROWS = (*recorded.TABLE, *sources.TABLE, *computed.TABLE, *compared.TABLE, *counted.TABLE)
QUANTITIES: dict[str, Quantity] = {row.name: row for row in ROWS}
