"""Cuts text into the blocks of a manifest. Every physical row gets one owner; what fits nowhere is a problem."""

from __future__ import annotations

import pyarrow as pa

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.model.manifest import EntriesBlock, Manifest, TableBlock
from interchange.reading import across
from interchange.reading import cells as texts
from interchange.reading.body import CUT, HEADER_AGAIN, QUOTE_OPEN, Body, Looked, blank, cell_mark
from interchange.reading.collect import Collector
from interchange.reading.extract import Entry, Extract, Owner, Passed, RowKind, Table
from interchange.reading.header import Header, header_of, unmarked
from interchange.reading.rows import split_cells, trimmed
from interchange.reading.text import Text
from interchange.reading.words import cut, quoted

_BEFORE_DIGITS = f"+-{texts.UNICODE_MINUS}.,"
_HINT = "sep="  # spreadsheets write so which mark separates cells


def lay_out(source: Source, data: Text, encoding: str, manifest: Manifest, role: str | None = None) -> Extract:
    """Entries and tables of a decoded text, with the owner of every row.

    `data` is UTF-8, its rows end in a line feed, and cells between runs of blanks are parted by tabs (see `decode`).
    `role` says which companion of the test the source is, None that it is the file itself.
    """
    cutter = _Cutter(source.name, data, manifest, role)
    cutter.run()
    return Extract(
        source,
        encoding,
        cutter.row - 1,
        tuple(cutter.entries),
        tuple(cutter.tables),
        tuple(cutter.owners),
        tuple(cutter.passed),
        cutter.found.problems,
    )


class _Cutter:
    """Goes through a text from the top; `at` and `row` are the byte and the physical row that come next."""

    def __init__(self, file: str, data: Text, manifest: Manifest, role: str | None) -> None:
        self.file, self.data, self.layout = file, data, manifest.layout
        self.mark = cell_mark(manifest.layout)
        self.size = len(data)
        self.at, self.row = 0, 1
        self.section: str | None = None
        self.starts, self.test = manifest.session_starts, 0
        self.sections_seen: set[str] = set()
        self.tables_seen: set[tuple[str | None, int]] = set()
        self.entries: list[Entry] = []
        self.tables: list[Table] = []
        self.owners: list[Owner] = []
        self.passed: list[Passed] = []
        self.found = Collector()
        self.entry_blocks: dict[str | None, int] = {}
        self.table_blocks: dict[str | None, list[tuple[int, TableBlock]]] = {}
        for number, block in enumerate(manifest.block):
            if block.file != role:
                continue
            for section in block.sections or (None,):
                if isinstance(block, EntriesBlock):
                    self.entry_blocks[section] = number
                else:
                    self.table_blocks.setdefault(section, []).append((number, block))
        self.known = self.entry_blocks.keys() | self.table_blocks.keys()

    def run(self) -> None:
        if self.layout.transposed:
            self._across()
        while self.at < self.size:
            line = self._line()
            if blank(line, self.layout):
                self._take("blank", None)
            elif self.row == 1 and line.strip() == f"{_HINT}{self.mark}":
                self._take("hint", None)
            elif self.layout.key_prefix is not None and line.startswith(self.layout.key_prefix):
                self._prefixed_entry(line, self.layout.key_prefix)
            elif (name := self._section_name(line)) is not None:
                self._begin_section(name)
            else:
                self._cells(line)
        if self.data[self.size - 1 : self.size] != b"\n":
            self._note_open_end()

    def _note_open_end(self) -> None:
        last = self.data[self.data.rfind(b"\n") + 1 :].decode("utf-8")
        prefix, separator = self.layout.key_prefix, self.layout.key_separator
        key_row = prefix is not None and last.startswith(prefix)
        value = last.rpartition((separator if key_row else None) or self.mark)[2].strip()
        doubt = f"its last value {quoted(value)} may be cut short" if value else "it may be cut short"
        found = f"a last row without a line end; {doubt}"
        cure = "Check against the original that the file was not cut short."
        place = Place(self.file, self.row - 1)
        self.found.add(Problem("last-row-open", place, found, "a line end after every row", cure))

    def _line(self) -> str:
        end = self.data.find(b"\n", self.at)
        return self.data[self.at : end if end >= 0 else self.size].decode("utf-8")

    def _take(self, kind: RowKind, block: int | None) -> None:
        """Give the next row to an owner and go on to the one after it."""
        self._own(self.row, self.row, kind, block)
        end = self.data.find(b"\n", self.at)
        self.at = end + 1 if end >= 0 else self.size
        self.row += 1

    def _own(self, first: int, last: int, kind: RowKind, block: int | None) -> None:
        before = self.owners[-1] if self.owners else None
        if before is not None and (before.kind, before.block) == (kind, block):
            self.owners[-1] = Owner(before.first_row, last, kind, block)
        else:
            self.owners.append(Owner(first, last, kind, block))

    def _section_name(self, line: str) -> str | None:
        if self.layout.section_marks is None:
            return None
        before, after = self.layout.section_marks
        text = line.strip().rstrip(f"{self.mark} ")
        inside = text.startswith(before) and text.endswith(after) and len(text) > len(before) + len(after)
        return text[len(before) : -len(after)].strip() if inside else None

    def _begin_section(self, name: str) -> None:
        if name == self.starts:
            self.test += 1
            self.sections_seen.clear()
            self.tables_seen.clear()
        if name in self.sections_seen:
            self._fault("section-twice", f"section {quoted(name)} for a second time", "each section once", _ONE_TEST)
        self.sections_seen.add(name)
        self.section = name
        self._take("section", None)

    def _prefixed_entry(self, line: str, prefix: str) -> None:
        block = self.entry_blocks.get(self.section)
        key, _, text = line[len(prefix) :].partition(self.layout.key_separator or self.mark)
        self._enter(key.strip() or prefix, text.strip(), None, block)
        self._take("entry", block)

    def _enter(self, key: str, text: str, unit: str | None, block: int | None) -> None:
        self.entries.append(Entry(self.file, self.section, key, text, unit, self.row, block, self.test))

    def _cells(self, line: str) -> None:
        cells = split_cells(line, self.mark)
        if cells is None:
            self._fault("quote-open", *QUOTE_OPEN)
            self._take("unplaced", None)
            return
        cells = [cell.strip() for cell in trimmed(cells)] or [""]
        for number, block in self.table_blocks.get(self.section, ()):
            if set(block.header_names) <= {*cells, *unmarked(cells, block)}:
                if (self.section, number) not in self.tables_seen:
                    self._table(cells, number, block)
                    return
                self._fault("header-again", *HEADER_AGAIN)
                self._take("unplaced", None)
                return
        bare_keys = self.layout.key_prefix is None
        if bare_keys and (self.section in self.entry_blocks or self.section not in self.known):
            self._entry(line, cells, self.entry_blocks.get(self.section))
            return
        if self.layout.titles and not self.tables:
            self.passed.append(Passed("titles", self.row, line.strip()))
            self._take("title", None)
            return
        self._fault("row-unplaced", f"a row that begins with {quoted(cells[0])}", self._expected_here(), _FOOTER)
        self._take("unplaced", None)

    def _expected_here(self) -> str:
        tables = self.table_blocks.get(self.section, [])
        unseen = [block for number, block in tables if (self.section, number) not in self.tables_seen]
        if unseen:
            return "the header of a table, with " + " or ".join(
                ", ".join(f"'{name}'" for name in block.header_names) for block in unseen
            )
        return "a row that belongs to a table or a key"

    def _entry(self, line: str, cells: list[str], block: int | None) -> None:
        if block is None:
            self._enter(cells[0] or self.mark, self.mark.join(cells[1:]), None, None)
        elif self.mark not in line or not cells[0]:
            found = f"{quoted(cells[0])} by itself" if cells[0] else "a row without a key"
            self._fault("entry-cut", found, f"a key and a value with '{self.mark}' between them", CUT)
        elif len(cells) > 3:
            expected = f"a key, a value and perhaps a unit, with '{self.mark}' between them"
            found = f"the key {quoted(cells[0])} with {len(cells) - 1} cells after it"
            self._fault("entry-width", found, expected, CUT)
        else:
            key, text, unit = (*cells, "", "")[:3]
            self._enter(key, text, unit or None, block)
        self._take("entry", block)

    def _table(self, cells: list[str], number: int, block: TableBlock) -> None:
        self.tables_seen.add((self.section, number))
        header_row, most = self.row, len(split_cells(self._line(), self.mark) or cells)
        self._check_titles(len(cells))
        self._take("header", number)
        header = self._second_row(cells, number) if block.header_rows > 1 else header_of(cells, block)
        for name in sorted({name for name in header.names if name and header.names.count(name) > 1}):
            found = f"the name {quoted(name)} {header.names.count(name)} times in the header"
            cure = "Rename or remove one of the columns."
            self._fault("header-twice", found, "each name once", cure, row=header_row, column=cut(name))
        units, unit_row = header.units, header_row
        for role in block.below_header:
            unit_row = self.row if role == "units" else unit_row
            units = self._units(len(header.names), number) if role == "units" else self._ignored(number, units)
        stop = self._body_end()
        last = self._without_blank_end(stop)
        looked = Looked()
        if last > self.at:
            most = max(most, len(header.cells))
            body = Body(self.data, self.at, last, self.row, header.cells, most, header_row, self.layout)
            rows = body.rows(looked)
            table = (header.names, units, rows, header_row, unit_row, number, self.test)
            self.tables.append(Table(self.file, self.section, *table))
        if not any(kind == "row" for *_, kind in looked.kinds):
            found = "a header without rows below it"
            self._fault("table-empty", found, "at least one row", "Export the test again.", row=header_row)
        for first, after, kind in looked.kinds:
            self._own(first, after, kind, None if kind in ("blank", "footer") else number)
            self.row = after + 1
        for fault in looked.all_faults:
            self._fault(fault.code, fault.found, fault.expected, fault.cure, row=fault.row)
        self.passed.extend(Passed("footers", row, text) for row, text in looked.footers)
        self.at = last
        while self.at < stop:
            self._take("blank", None)

    def _check_titles(self, names: int) -> None:
        """Report a title with as many cells as a row of the table: the header above it may be damaged."""
        for title in self.passed:
            cells = split_cells(title.text, self.mark) or []
            if title.kind == "titles" and sum(bool(cell.strip()) for cell in cells) > max(names // 2, _TITLE_CELLS):
                found, expected = f"{len(cells)} cells above the header in row {self.row}", "titles of few cells"
                self._fault("title-like-row", found, expected, _LOST_HEADER, row=title.row)

    def _second_row(self, cells: list[str], number: int) -> Header:
        """A header of two rows: a name above holds for the empty cells after it, and is written before that below."""
        below = [cell.strip() for cell in split_cells(self._line(), self.mark) or []]
        width = max(len(cells), len(trimmed(below)))
        above, names = "", []
        for upper, lower in zip((*cells, *[""] * width)[:width], (*below, *[""] * width)[:width], strict=True):
            above = upper or above
            names.append(" / ".join(filter(None, (above, lower))))
        self._take("header", number)
        return Header(tuple(names), None, tuple(names))

    def _ignored(self, number: int, units: tuple[str, ...] | None) -> tuple[str, ...] | None:
        self._take("units", number)
        return units

    def _units(self, width: int, number: int) -> tuple[str, ...] | None:
        line = self._line()
        cells = split_cells(line, self.mark) if self.at < self.size else None
        if cells is None or self._section_name(line) is not None:
            return None
        cells = [cell.strip() for cell in trimmed(cells)]
        if len(cells) > width:
            self._fault("row-width", f"{len(cells)} units", f"at most {width}, one for each column", CUT)
        # some units begin with a digit, as 1/h, and plain ratios have the unit 1
        numbers = [cell for cell in cells if cell != "1" and cell.lstrip(_BEFORE_DIGITS)[:1].isdecimal()]
        read = texts.numbers(pa.array(numbers, pa.string()), self.layout).values if numbers else None
        if read is not None and read.null_count < len(read):
            found, expected = "numbers where the row of units should stand", "the unit of each column below its name"
            self._fault("units-missing", found, expected, "Put the row of units back.")
        self._take("units", number)
        return (*cells, *[""] * (width - len(cells)))[:width]

    def _body_end(self) -> int:
        """Where the table's rows end: at the next section or prefixed row, else with the file."""
        ends = [self.size]
        if self.layout.key_prefix is not None:
            ends.append(self._next_start(self.layout.key_prefix.encode(), self.at))
        if self.layout.section_marks is not None:
            before = self.layout.section_marks[0].encode()
            start = self._next_start(before, self.at)
            while start < self.size:
                end = self.data.find(b"\n", start)
                end = end if end >= 0 else self.size
                if self._section_name(self.data[start:end].decode("utf-8")) is not None:
                    ends.append(start)
                    break
                start = self._next_start(before, end)
        return min(ends)

    def _next_start(self, mark: bytes, at: int) -> int:
        if self.data[at : at + len(mark)] == mark and (at == 0 or self.data[at - 1 : at] == b"\n"):
            return at
        found = self.data.find(b"\n" + mark, at)
        return found + 1 if found >= 0 else self.size

    def _without_blank_end(self, stop: int) -> int:
        while stop > self.at:
            start = max(self.data.rfind(b"\n", self.at, stop - 1) + 1, self.at)
            if not blank(self.data[start:stop].decode("utf-8").rstrip("\n"), self.layout):
                break
            stop = start
        return stop

    def _across(self) -> None:
        """The whole file is one table whose rows and columns have changed places."""
        ((number, block),) = self.table_blocks[None]
        lines = self.data[:].decode("utf-8").removesuffix("\n").split("\n")
        table, kinds, faults = across.table(lines, self.file, self.layout, number, block)
        for row, kind in enumerate(kinds, 1):
            self._own(row, row, kind, number if kind == "row" else None)
        for fault in faults:
            self._fault(fault.code, fault.found, fault.expected, fault.cure, row=fault.row)
        if table is not None:
            self.tables.append(table)
        self.at, self.row = self.size, len(lines) + 1

    def _fault(
        self, code: str, found: str, expected: str, cure: str, *, row: int | None = None, column: str | None = None
    ) -> None:
        place = Place(self.file, self.row if row is None else row, column)
        self.found.add(Problem(code, place, found, expected, cure, blocks="file"))


_TITLE_CELLS = 3  # so many are no row of a table
_LOST_HEADER = "Restore the header above these rows; take them out if they are no tests."
_ONE_TEST = "Give each test a file of its own."
_FOOTER = "Remove the row if it is a total or a footer; else this file needs another plugin."


def texts_of(table: Table, position: int) -> pa.Array:
    """The cells of one column, or with position -1 the physical rows."""
    columns = [batch.column(position) for batch in table.rows]
    return columns[0] if len(columns) == 1 else pa.concat_arrays(columns)
