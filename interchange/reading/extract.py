"""What a file holds, as text with its place: every row has one owner, nothing is a value yet."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Literal

import pyarrow as pa

from interchange.errors import Problem
from interchange.files import Source

RowKind = Literal["section", "entry", "header", "units", "row", "blank", "title", "footer", "hint", "unplaced"]


@dataclass(frozen=True, slots=True)
class Entry:
    """A key with its text. `block` is the number of the manifest's block it belongs to, None where no block asks.

    `test` counts the tests of a file that holds several in sections, from 1; 0 stands before the first of them.
    """

    file: str
    section: str | None
    key: str
    text: str
    unit: str | None
    row: int
    block: int | None
    test: int = 0


@dataclass(frozen=True, slots=True)
class Table:
    """A header and the cells below it.

    `rows` gives record batches as often as it is asked: one column of text for each header name, named by its position
    ("0", "1", ...) and in that order, then the int64 column `row` of physical rows counted from 1. In a table that
    runs `across`, each of these rows is a column of the file and `row` its number; the names then stand in the
    physical rows `name_rows`.
    """

    file: str
    section: str | None
    header: tuple[str, ...]
    units: tuple[str, ...] | None
    rows: Iterable[pa.RecordBatch]
    header_row: int
    unit_row: int
    block: int
    test: int = 0
    name_rows: tuple[int, ...] = ()

    @property
    def across(self) -> bool:
        """Whether each of its rows is a column of the file."""
        return bool(self.name_rows)


@dataclass(frozen=True, slots=True)
class Owner:
    """Rows `first_row` to `last_row` are of one kind and belong to one block of the manifest, or to none."""

    first_row: int
    last_row: int
    kind: RowKind
    block: int | None


@dataclass(frozen=True, slots=True)
class Passed:
    """A row that is passed over as a whole, and kept: a title or a footer."""

    kind: Literal["titles", "footers"]
    row: int
    text: str


@dataclass(frozen=True, slots=True)
class Extract:
    """All of a file. `owners` tile its physical rows 1 to `row_count`, each exactly once and in order.

    `companions` are the further files of the same test, by the role the manifest gives them.
    """

    source: Source
    encoding: str
    row_count: int
    entries: tuple[Entry, ...] = ()
    tables: tuple[Table, ...] = ()
    owners: tuple[Owner, ...] = ()
    passed: tuple[Passed, ...] = ()
    problems: tuple[Problem, ...] = ()
    companions: dict[str, Extract] = field(default_factory=dict)
