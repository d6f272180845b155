"""The rows of a file: sections, keys and tables in the order of the manifest's blocks."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Iterator, Sequence
from typing import Literal

from interchange.model.manifest import NUMBERED, Block, EntriesBlock, Manifest, TableBlock, level_of, unit_source
from interchange.model.mapping import Mapping, is_number
from interchange.reading.header import apart
from interchange.reading.rows import split_cells, trimmed
from interchange.reading.write_cells import Pen
from interchange.reading.write_logs import log_rows
from interchange.reading.write_parts import Finder, Row, Test, points_across
from interchange.reading.write_starts import start_texts
from interchange.reading.write_units import best_unit

Cells = list[str]
_NO_SPACE_BEFORE = ":"


class Writer:
    """Writes tests into the text of one file of a layout."""

    def __init__(self, manifest: Manifest) -> None:
        self.manifest, self.layout = manifest, manifest.layout

    def text(self, tests: Sequence[Test], role: str | None) -> str | None:
        """The text of the file, or of a companion; None where there is nothing to write into it."""
        blocks = self._blocks(role)
        tables = [block for block in blocks if self._holds_tests(block)]
        if tables:
            (table,) = tables
            assert isinstance(table, TableBlock)
            lines = self._shared(tests, [block for block in blocks if block is not table])
            lines += [self._heading(section) for section in table.sections] + self._table_of_tests(table, tests)
        else:
            lines = [line for test in tests for line in self._test(test, blocks)]
        if not lines:
            return None
        return "\n".join([*self._marks(lines, role), *lines]) + "\n"

    def _shared(self, tests: Sequence[Test], blocks: Sequence[Block]) -> list[str]:
        """What stands once for all tests of the file: what is the same in all of them."""
        lines = [self._test(test, blocks) for test in tests]
        return [line for line in lines[0] if all(line in others for others in lines)] if lines else []

    def _heading(self, section: str) -> str:
        before, after = self.layout.section_marks or ("", "")
        return f"{before}{section}{after}"

    def _blocks(self, role: str | None) -> list[Block]:
        return [block for block in self.manifest.block if block.file == role]

    @staticmethod
    def _holds_tests(block: Block) -> bool:
        return isinstance(block, TableBlock) and (block.each_row == "session" or bool(block.session_by))

    def _marks(self, lines: Sequence[str], role: str | None) -> list[str]:
        """Rows by which the layout is known, as far as no block has written them."""
        known = self.manifest.recognise
        rows, cells = known.rows, known.first_cells
        if role is not None:
            rows, cells = (), next(one.first_cells for one in self.manifest.companion if one.name == role)
        written = [trimmed(split_cells(line, self._mark) or []) for line in lines]
        marks = [self._line(list(row)) for row in rows if trimmed(list(row)) not in written]
        firsts = {row[0] for row in [*written, *(list(row) for row in rows)] if row}
        lone = self.layout.key_prefix is None
        return marks + [self._line([cell, ""] if lone else [cell]) for cell in cells if cell not in firsts]

    # rows that are tests

    def _table_of_tests(self, table: TableBlock, tests: Sequence[Test]) -> list[str]:
        columns = self._by_name(table)
        about = [(pen, row) for pen in map(self._pen, tests) for row in self._rows(pen.test, table, None)]
        units = self._units(table, columns, about)
        names, rows = self._filled(table, columns, units, about)
        if self.layout.transposed:
            return [self._line(list(cells)) for cells in zip(self._header(table, names), *rows, strict=True)]
        return [*self._head(table, names), *map(self._line, rows)]

    # a file that is one test

    def _test(self, test: Test, blocks: Sequence[Block]) -> list[str]:
        pen = self._pen(test)
        lines: list[str] = []
        for section, row in self._sections(test, blocks):
            inner = []
            for block in blocks:
                if section in (block.sections or (None,)):
                    inner += self._block(pen, block, row)
            if section is not None:
                heading = self._heading(section)
                needed = heading in self.manifest.recognise.first_cells or section == self.manifest.session_starts
                inner = [heading, *inner] if inner or needed else []
            lines += inner
        return lines

    def _sections(self, test: Test, blocks: Sequence[Block]) -> Iterator[tuple[str | None, Row]]:
        """Sections in the order of the blocks, those that are runs in the order of the runs."""
        held = self._held_runs(test)
        first = Row(run=held[0] if held else None)
        if any(not block.sections for block in blocks):
            yield None, first
        done: set[str] = set()
        for block in blocks:
            sections: dict[str | None, str] = {d: section for section, d in (block.directions or {}).items()}
            for run in held if sections else ():
                section = sections.get(test.items("runs")[run].get("direction"))
                if section is not None and section not in done:
                    done.add(section)
                    yield section, Row(run=run)
            for section in block.sections if not sections else ():
                if section not in done:
                    done.add(section)
                    yield section, first

    def _held_runs(self, test: Test) -> list[int]:
        """Runs that the layout has a place for; the others are dropped."""
        directions = {d for block in self.manifest.block for d in (block.directions or {}).values()}
        column = any(one.to == "direction" for block in self.manifest.block for one in block.fields)
        table = any(isinstance(block, TableBlock) and block.each_row == "point" for block in self.manifest.block)
        seen: set[str | None] = set()
        held: list[int] = []
        for position, run in enumerate(test.items("runs")):
            path, direction = f"runs.{position}", run.get("direction")
            if directions and direction not in directions:
                test.drop(path, "the layout tells runs apart by direction, and that of this one is unknown")
            elif held and not (directions or (column and table)):
                test.drop(path, "the layout holds one run a test")
            elif direction in seen:
                test.drop(path, "the layout holds one run in each direction")
            else:
                held.append(position)
            seen.add(direction)
        return held

    def _block(self, pen: Pen, block: Block, row: Row) -> list[str]:
        if isinstance(block, EntriesBlock):
            return self._entries(pen, block, row)
        columns = self._by_name(block)
        if block.each_row in ("sample", "channel"):
            rows, names = log_rows(pen, block, self.manifest, columns, self._unit)
        else:
            about = [(pen, one) for one in self._rows(pen.test, block, row)]
            units = self._units(block, columns, about)
            names, rows = self._filled(block, columns, units, about)
        return [*self._head(block, names), *map(self._line, rows)] if rows else []

    def _entries(self, pen: Pen, block: EntriesBlock, row: Row) -> list[str]:
        keys: dict[str, list[Mapping]] = {}
        for key in block.keys:
            if key.to is not None:
                keys.setdefault(key.name, []).append(key)
        lines = []
        for name, mappings in keys.items():
            written = pen.cell(block, mappings, row)
            text, unit = (written.text, written.unit) if written is not None else (pen.missing, "")
            if written is not None or any(key.required for key in block.keys if key.name == name):
                lines.append(self._entry(block, name, text, unit))
        return lines

    def _entry(self, block: EntriesBlock, name: str, text: str, unit: str) -> str:
        prefix, separator = self.layout.key_prefix, self.layout.key_separator
        if prefix is None:
            return self._line([name, text, unit] if block.unit_from == "unit_cell" and unit else [name, text])
        if separator is None:
            return f"{prefix} {name}{self._mark}{text}"
        return f"{prefix} {name}{'' if separator == _NO_SPACE_BEFORE else ' '}{separator} {text}"

    # rows of tables

    def _rows(self, test: Test, table: TableBlock, about: Row | None) -> Iterator[Row]:
        """What each row of a table is about."""
        if table.each_row == "fan_calibration":
            yield from self._calibrations(test, table)
        elif table.each_row == "session":
            held = self._held_runs(test)
            points = points_across(test, held[0], table) if held else ()
            yield Row(run=held[0] if held else None, points=points)
        elif about is None or table.directions is None:
            for run in self._held_runs(test):
                yield from self._points(test, table, run)
        elif about.run is not None:
            yield from self._points(test, table, about.run)

    @staticmethod
    def _points(test: Test, table: TableBlock, run: int) -> Iterator[Row]:
        said = next(
            (set((column.codes or {}).values()) for column in table.columns if column.to == "row_is"), {"point"}
        )
        held = test.items("runs")[run]

        def baseline(when: Literal["before", "after"]) -> Iterator[Row]:
            if f"baseline_{when}" in said and any(name.startswith(f"baseline_{when}_") for name in held):
                for name in ("positive_pa", "negative_pa", "count"):
                    test.why[f"runs.{run}.baseline_{when}_{name}"] = "the layout holds a baseline of one reading"
                yield Row(run=run, baseline=when)

        yield from baseline("before")
        if "point" in said:
            yield from (Row(run=run, points=((None, point),)) for point in range(len(held["points"])))
        yield from baseline("after")

    @staticmethod
    def _calibrations(test: Test, table: TableBlock) -> Iterator[Row]:
        levels = {level_of(table, column.to) for column in table.columns if column.to is not None}
        for position, calibration in enumerate(test.items("fan_calibrations")):
            points = range(len(calibration["calibration_points"]))
            if bool(points) != ("calibration_point" in levels):
                form = "rows of pressure and flow" if points else "a coefficient and an exponent"
                test.drop(f"fan_calibrations.{position}", f"the layout has no place for a calibration by {form}")
            elif points:
                yield from (Row(calibration=position, calibration_point=point) for point in points)
            else:
                yield Row(calibration=position)

    def _cells(
        self, pen: Pen, table: TableBlock, columns: dict[str, list[Mapping]], row: Row, units: Sequence[str | None]
    ) -> Cells:
        cells = []
        for mappings, unit in zip(columns.values(), units, strict=True):
            if any(mapping.to == "row_is" for mapping in mappings):
                cells.append(_row_word(mappings[0], row))
                continue
            written = pen.cell(table, mappings, row, unit) if mappings else None
            cells.append(written.text if written is not None else pen.missing)
        return cells

    def _filled(
        self,
        table: TableBlock,
        columns: dict[str, list[Mapping]],
        units: Sequence[str | None],
        about: Sequence[tuple[Pen, Row]],
    ) -> tuple[dict[str, str | None], list[Cells]]:
        """Columns with their units, and the cells below them; without columns that are empty and need not be there."""
        rows = [self._cells(pen, table, columns, row, units) for pen, row in about]
        kept = [
            at
            for at, mappings in enumerate(columns.values())
            if not mappings
            or any(one.point is not None or getattr(one, "required", True) for one in mappings)
            or any(
                cells[at] != pen.missing and not all(_said_anyway(pen, table, one, row) for one in mappings)
                for (pen, row), cells in zip(about, rows, strict=True)
            )
        ]
        names = list(zip(columns, units, strict=True))
        return dict(names[at] for at in kept), [[row[at] for at in kept] for row in rows]

    def _head(self, table: TableBlock, units: dict[str, str | None]) -> list[str]:
        """The rows above the values, from the names of the columns and their units."""
        names = self._header(table, units)
        lines = [self._line(names)] if table.header_rows == 1 else [*map(self._line, _two_rows(names))]
        for role in table.below_header:
            cells = [unit or "" for unit in units.values()] if role == "units" else [""] * len(names)
            lines.append(self._line(cells))
        return lines

    def _header(self, table: TableBlock, units: dict[str, str | None]) -> Cells:
        if table.header_unit_marks is None:
            return list(units)
        before, after = table.header_unit_marks
        return [f"{name} {before.lstrip()}{unit}{after}" if unit else name for name, unit in units.items()]

    def _units(
        self, table: TableBlock, columns: dict[str, list[Mapping]], about: Sequence[tuple[Pen, Row]]
    ) -> list[str | None]:
        return [
            self._unit(table, mappings, (pen.finder.held(table, one, one.to, row).value for pen, row in about))
            if (one := next(iter(mappings), None)) is not None and one.to is not None
            else None
            for mappings in columns.values()
        ]

    def _unit(self, table: TableBlock, mappings: Sequence[Mapping], values: Iterable[float | None]) -> str | None:
        """What the header or the row of units says of a column; None where the layout states the unit."""
        for mapping in mappings:
            if mapping.to is None or not is_number(mapping.to) or mapping.time_format is not None:
                continue
            source = unit_source(table, mapping)
            if source == "header" and table.header_unit_marks is not None:
                for cell in (*self.manifest.recognise.header_names, *table.header_names):
                    name, unit = apart(cell, table.header_unit_marks)
                    if name == mapping.name and unit:
                        return unit
            if source in ("header", "unit_row"):
                return best_unit(mapping.to, values, self.layout)
        return None

    def _by_name(self, table: TableBlock) -> dict[str, list[Mapping]]:
        """Columns in the order of the manifest, with what each is mapped to; and names by which the layout is known."""
        columns: dict[str, list[Mapping]] = {}
        for column in _in_order(table):
            if column.to is not None:
                columns.setdefault(column.name, []).append(column)
        marks, known = table.header_unit_marks, self.manifest.recognise.header_names
        known = known if marks is None else tuple(apart(name, marks)[0] for name in known)
        for name in (*table.header_names, *(known if not columns.keys().isdisjoint(known) else ())):
            columns.setdefault(name, [])
        return columns

    def _pen(self, test: Test) -> Pen:
        return Pen(Finder(test, self.manifest), self.layout, start_texts(test, self.manifest))

    @property
    def _mark(self) -> str:
        return " " if self.layout.delimiter == "blanks" else self.layout.delimiter

    def _line(self, cells: Cells) -> str:
        if self.layout.delimiter == "blanks":
            return " ".join(cells)
        text = io.StringIO()
        csv.writer(text, delimiter=self.layout.delimiter, lineterminator="").writerow(cells)
        return text.getvalue()


def _said_anyway(pen: Pen, table: TableBlock, mapping: Mapping, row: Row) -> bool:
    """Whether another column of the row brings the same value with it."""
    to = mapping.to or ""
    value = pen.finder.held(table, mapping, to, row).value
    givers = [one for one in table.fields if one.to is not None and (one.also or {}).get(to, pen) == value]
    return any(pen.finder.held(table, one, one.to or "", row).value is not None for one in givers)


def _in_order(table: TableBlock) -> Iterator[Mapping]:
    """Columns as the manifest lists them, each that is counted across with all its numbers."""
    first, last = table.numbered or (1, 1)
    for column in table.columns:
        if NUMBERED not in column.name:
            yield column
            continue
        names = [column.name.replace(NUMBERED, str(number)) for number in range(first, last + 1)]
        yield from (one for one in table.fields if one.name in names and one.to == column.to)


def _row_word(mapping: Mapping, row: Row) -> str:
    kind = "point" if row.baseline is None else f"baseline_{row.baseline}"
    return next(word for word, meaning in (mapping.codes or {}).items() if meaning == kind)


def _two_rows(names: Sequence[str]) -> tuple[Cells, Cells]:
    """Names written 'first / second' as two rows, the first of which holds for the empty cells after it."""
    upper, lower, before = [], [], ""
    for name in names:
        above, _, below = name.partition(" / ")
        upper.append("" if above == before else above)
        lower.append(below)
        before = above
    return upper, lower
