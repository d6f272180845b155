"""Pointers to what no field takes, so that nothing of a source is lost from sight."""

from __future__ import annotations

from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from interchange.model.manifest import Block
from interchange.reading.assemble import Part
from interchange.reading.extract import Entry, Extract, Table
from interchange.reading.layout import texts_of

Order = tuple[int, int]


def kept_of_file(extract: Extract, blocks: Sequence[Block]) -> list[Part]:
    """Keys and columns that are neither mapped nor ignored, in the order in which they appear."""
    found = [*_kept_entries(extract.entries, blocks)]
    for table in extract.tables:
        found.extend(_kept_columns(table, blocks[table.block]))
    return [kept for _, kept in sorted(found, key=lambda item: item[0])]


def kept_columns(table: Table, block: Block) -> list[tuple[int, str]]:
    """Position and name of the columns that are neither mapped nor ignored."""
    taken = {field.name for field in block.fields if field.to is not None or field.ignore is not None}
    named = ((position, name or f"column {position + 1}") for position, name in enumerate(table.header))
    return [(position, name) for position, name in named if name not in taken]


def kept_cell(part: str | None, name: str, text: str, row: int) -> Part:
    """A pointer to a single cell of a table in which each row is a session."""
    return dict(
        kept_section=part,
        kept_name=name,
        kept_first_row=row,
        kept_last_row=row,
        kept_count=1,
        kept_first=text,
        kept_last=text,
    )


def _kept_entries(entries: Sequence[Entry], blocks: Sequence[Block]) -> list[tuple[Order, Part]]:
    taken = [
        {field.name for field in block.fields if field.to is not None or field.ignore is not None} for block in blocks
    ]
    groups: dict[tuple[str | None, str], list[Entry]] = {}
    for entry in entries:
        if entry.block is None or entry.key not in taken[entry.block]:
            groups.setdefault((entry.section, entry.key), []).append(entry)
    return [
        (
            (group[0].row, 0),
            dict(
                kept_section=section or _part(group[0], blocks),
                kept_name=key,
                kept_first_row=group[0].row,
                kept_last_row=group[-1].row,
                kept_count=len(group),
                kept_first=group[0].text,
                kept_last=group[-1].text,
            ),
        )
        for (section, key), group in groups.items()
    ]


def _part(entry: Entry, blocks: Sequence[Block]) -> str | None:
    return blocks[entry.block].part if entry.block is not None else None


def _kept_columns(table: Table, block: Block) -> list[tuple[Order, Part]]:
    found = []
    rows = texts_of(table, -1)
    for position, name in kept_columns(table, block):
        texts = pc.utf8_trim_whitespace(texts_of(table, position))
        filled = pc.indices_nonzero(pc.not_equal(texts, pa.scalar("")))
        if len(filled) == 0:
            continue
        first, last = filled[0].as_py(), filled[len(filled) - 1].as_py()
        kept = dict(
            kept_section=table.section or block.part,
            kept_name=name,
            kept_first_row=rows[first].as_py(),
            kept_last_row=rows[last].as_py(),
            kept_count=len(filled),
            kept_first=texts[first].as_py(),
            kept_last=texts[last].as_py(),
        )
        found.append(((table.header_row, position), kept))
    return found
