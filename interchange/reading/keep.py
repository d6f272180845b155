"""Pointers to what no field takes, so that nothing of a source is lost from sight."""

from __future__ import annotations

from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc

from interchange.model.manifest import Block
from interchange.reading.assemble import Part
from interchange.reading.extract import Entry, Extract, Passed, Table
from interchange.reading.layout import texts_of


def kept_of_file(extract: Extract, blocks: Sequence[Block], *, tables: bool = True) -> list[Part]:
    """Rows passed over, and keys and columns neither mapped nor ignored, in the order in which they appear."""
    found = [*passed(extract.passed), *_kept_entries(extract, blocks)]
    for table in extract.tables if tables else ():
        found.extend(_kept_columns(table, blocks[table.block], extract.source.name))
    return in_order(found)


def in_order(kept: Sequence[Part]) -> list[Part]:
    """Pointers by the row of their first cell; in one row as they came, which is from left to right."""
    return sorted(kept, key=lambda part: (part.get("kept_source_name") or "", part["kept_first_row"]))


def passed(rows: Sequence[Passed]) -> list[Part]:
    """Pointers to the titles and to the footers of a file."""
    groups: dict[str, list[Passed]] = {}
    for row in rows:
        groups.setdefault(row.kind, []).append(row)
    return [
        dict(
            kept_name=kind,
            kept_first_row=group[0].row,
            kept_last_row=group[-1].row,
            kept_count=len(group),
            kept_first=group[0].text,
            kept_last=group[-1].text,
        )
        for kind, group in groups.items()
    ]


def _kept_positions(table: Table, block: Block) -> list[tuple[int, str]]:
    """Position and name of the columns that are neither mapped nor ignored."""
    taken = {field.name for field in block.fields if field.to is not None or field.ignore is not None}
    raw = zip(table.header, table.units or [""] * len(table.header), strict=True)
    named = ((position, name or f"column {position + 1}") for position, (name, _) in enumerate(raw))
    return [(position, name) for position, name in named if name not in taken and table.header[position] not in taken]


def cells_of_rows(table: Table, block: Block) -> list[tuple[int, str, list[str], list[int]]]:
    """Position, name, trimmed texts and physical rows of each column that is kept, where rows are tests."""
    rows: list[int] = texts_of(table, -1).to_pylist()
    found = []
    for position, name in _kept_positions(table, block):
        texts = [text.strip() for text in texts_of(table, position).to_pylist()]
        own = [table.name_rows[position]] * len(rows) if table.across else rows
        found.append((position, name, texts, own))
    return found


def kept_cell(
    table: Table, block: Block, position: int, name: str, texts: list[str], rows: list[int], index: int
) -> Part:
    """A pointer to a single cell of a table in which each row is a session."""
    return dict(
        kept_section=table.section or block.part,
        kept_name=name,
        kept_first_row=rows[index],
        kept_last_row=rows[index],
        kept_count=1,
        kept_first=texts[index],
        kept_last=texts[index],
    )


def _kept_entries(extract: Extract, blocks: Sequence[Block]) -> list[Part]:
    taken = [
        {field.name for field in block.fields if field.to is not None or field.ignore is not None} for block in blocks
    ]
    groups: dict[tuple[str, str | None, str], list[Entry]] = {}
    for entry in extract.entries:
        if entry.block is None or entry.key not in taken[entry.block]:
            groups.setdefault((entry.file, entry.section, entry.key), []).append(entry)
    return [
        dict(
            **_companion(file, extract.source.name),
            kept_section=section or (blocks[group[0].block].part if group[0].block is not None else None),
            kept_name=key,
            kept_first_row=group[0].row,
            kept_last_row=group[-1].row,
            kept_count=len(group),
            kept_first=group[0].text or None,
            kept_last=group[-1].text or None,
        )
        for (file, section, key), group in groups.items()
    ]


def _companion(file: str, source: str) -> Part:
    return {} if file == source else {"kept_source_name": file}


def _kept_columns(table: Table, block: Block, source: str) -> list[Part]:
    found = []
    for position, name in _kept_positions(table, block):
        count, first, last = 0, None, None
        for batch in table.rows:
            texts = pc.utf8_trim_whitespace(batch.column(position))
            filled = pc.indices_nonzero(pc.not_equal(texts, pa.scalar("")))
            if len(filled) == 0:
                continue
            ends = [
                (batch.column(-1)[at].as_py(), texts[at].as_py())
                for at in (filled[0].as_py(), filled[len(filled) - 1].as_py())
            ]
            count, first, last = count + len(filled), first or ends[0], ends[1]
        if first is None or last is None:
            continue
        found.append(
            dict(
                **_companion(table.file, source),
                kept_section=table.section or block.part,
                kept_name=name,
                kept_first_row=first[0],
                kept_last_row=last[0],
                kept_count=count,
                kept_first=first[1],
                kept_last=last[1],
            )
        )
    return found
