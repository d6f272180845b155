"""Mapped columns and keys as texts, and what each of their cells fills in the document of its test."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import pyarrow as pa

from interchange.model.manifest import Manifest, TableBlock, level_of, unit_source
from interchange.model.mapping import is_number
from interchange.reading import cells, ranges, start
from interchange.reading.assemble import Cell
from interchange.reading.extract import Entry, Table
from interchange.reading.layout import texts_of
from interchange.reading.points import RowParts
from interchange.reading.values import Reader, Texts


class Fields:
    """The fields of one manifest, read by one reader."""

    def __init__(self, manifest: Manifest, reader: Reader) -> None:
        self.manifest, self.reader = manifest, reader

    def block(self, table: Table) -> TableBlock:
        """The block of the manifest that a table belongs to."""
        block = self.manifest.block[table.block]
        if not isinstance(block, TableBlock):
            raise AssertionError("a table belongs to a table block")
        return block

    def entries(self, entries: Sequence[Entry]) -> list[Texts]:
        """The mapped keys; the numbers among them are read together, which is far quicker than one by one."""
        found: list[Texts] = []
        numeric: list[int] = []
        for entry in entries:
            if entry.block is None:
                continue
            block = self.manifest.block[entry.block]
            for field in block.fields:
                if field.name != entry.key or field.to is None:
                    continue
                plain = not (field.part or field.missing or field.codes)
                if is_number(field.to) and unit_source(block, field) != "text" and plain:
                    numeric.append(len(found))
                text, row = pa.array([entry.text], pa.string()), pa.array([entry.row], pa.int64())
                found.append(Texts(block, field, entry.file, entry.section, text, row, entry.unit, entry.row))
        if numeric:
            together = cells.numbers(pa.concat_arrays([found[index].cells for index in numeric]), self.manifest.layout)
            for position, index in enumerate(numeric):
                found[index] = replace(found[index], numbers=together.at(position))
        return found

    def columns(self, table: Table, block: TableBlock) -> Iterator[Texts]:
        """The mapped columns that a table has."""
        rows = texts_of(table, -1)
        for column in block.fields:
            if column.to is None or column.name not in table.header:
                continue
            position = table.header.index(column.name)
            unit = table.units[position] if table.units is not None else None
            name_row = table.name_rows[position] if table.across else None
            unit_row = table.unit_row if name_row is None else name_row
            texts = texts_of(table, position)
            yield Texts(block, column, table.file, table.section, texts, rows, unit, unit_row, name_row)

    def assign(self, texts: Texts, rows: Sequence[RowParts], said: Sequence[start.Said]) -> None:
        """Set one field from each of its cells, with all that goes with it."""
        field, to = texts.field, texts.to
        level = level_of(texts.block, to)
        if level is None:
            raise AssertionError("a manifest maps only what its blocks can fill")
        values, scale = self.reader.values(texts)
        self.reader.check_filled(texts)
        columns = zip(texts.rows.to_pylist(), texts.cells.to_pylist(), values, strict=True)
        for index, (row, text, value) in enumerate(columns):
            if value is None:
                continue
            part = rows[index]
            own_scale: ranges.Scale | None = scale[index] if isinstance(scale, list) else scale
            cell: Cell = (texts.place(row), field.name, text.strip(), own_scale)
            if to == "started_at_local":
                said[index].moments.append((value, cell[2], cell[0]))
                continue
            if to == "ended_at_local":
                said[index].ends.append((value, cell[2], cell[0]))
                continue
            if to == "utc_offset_s":
                said[index].offset_s = value.offset_s
                continue
            draft, target = part.draft, part.part_for(level, to, field)
            stored = value.day if field.time_format is not None and not is_number(to) else value
            draft.set(target, to, stored, cell, magnitude=field.sign == "by_direction")
            if field.whole_text_to is not None:
                draft.set(self._beside(texts, field.whole_text_to, part), field.whole_text_to, cell[2], cell)
            for name, constant in (field.also or {}).items():
                draft.set(self._beside(texts, name, part), name, constant, None)
            if field.beaufort is not None:
                band = self.reader.beaufort(texts, value, row)
                for name, force in zip(("wind_beaufort_low", "wind_beaufort_high"), band or (), strict=False):
                    draft.set(part.part_for(level, name, field), name, force, cell)

    @staticmethod
    def _beside(texts: Texts, name: str, part: RowParts) -> dict[str, object]:
        level = level_of(texts.block, name)
        if level is None:
            raise AssertionError("a manifest maps only what its blocks can fill")
        return part.part_for(level, name, texts.field)
