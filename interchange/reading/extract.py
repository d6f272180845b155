"""What a file holds, as text with its place: every row has one owner, nothing is a value yet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import pyarrow as pa

from interchange.errors import Problem
from interchange.files import Source

RowKind = Literal["section", "entry", "header", "units", "row", "blank", "unplaced"]


@dataclass(frozen=True, slots=True)
class Entry:
    """A key with its text. `block` is the number of the manifest's block it belongs to, None where no block asks."""

    section: str | None
    key: str
    text: str
    unit: str | None
    row: int
    block: int | None


@dataclass(frozen=True, slots=True)
class Table:
    """A header and the cells below it.

    `rows` are record batches: one column of text for each header name, named by its position ("0", "1", ...) and in
    that order, then the int64 column `row` of physical rows counted from 1.
    """

    section: str | None
    header: tuple[str, ...]
    units: tuple[str, ...] | None
    rows: tuple[pa.RecordBatch, ...]
    header_row: int
    block: int


@dataclass(frozen=True, slots=True)
class Owner:
    """Rows `first_row` to `last_row` are of one kind and belong to one block of the manifest, or to none."""

    first_row: int
    last_row: int
    kind: RowKind
    block: int | None


@dataclass(frozen=True, slots=True)
class Extract:
    """All of a file. `owners` tile its physical rows 1 to `row_count`, each exactly once and in order."""

    source: Source
    encoding: str
    row_count: int
    entries: tuple[Entry, ...] = ()
    tables: tuple[Table, ...] = ()
    owners: tuple[Owner, ...] = ()
    problems: tuple[Problem, ...] = ()
