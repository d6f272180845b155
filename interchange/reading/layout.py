"""Cuts text into the blocks of a manifest. Every physical row gets one owner; what fits nowhere is a problem."""

from __future__ import annotations

from collections.abc import Sequence

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.model.manifest import EntriesBlock, Manifest, TableBlock
from interchange.reading import cells as texts
from interchange.reading.collect import Collector
from interchange.reading.extract import Entry, Extract, Owner, RowKind, Table
from interchange.reading.rows import QUOTE, split_cells, trimmed
from interchange.reading.words import cut, quoted

_TEXT = pa.string()
_BEFORE_DIGITS = f"+-{texts.UNICODE_MINUS}.,"
FEW_ROWS = 100  # below this, going row by row is quicker than setting up a parser


def lay_out(source: Source, text: str, encoding: str, manifest: Manifest) -> Extract:
    """Entries and tables of a decoded text, with the owner of every row. Rows of the text end in a line feed."""
    cutter = _Cutter(source.name, text.encode("utf-8"), manifest)
    cutter.run()
    return Extract(
        source,
        encoding,
        cutter.row - 1,
        tuple(cutter.entries),
        tuple(cutter.tables),
        tuple(cutter.owners),
        cutter.found.problems,
    )


class _Cutter:
    """Goes through a text from the top; `at` and `row` are the byte and the physical row that come next."""

    def __init__(self, file: str, data: bytes, manifest: Manifest) -> None:
        self.file, self.data, self.layout = file, data, manifest.layout
        self.at, self.row = 0, 1
        self.section: str | None = None
        self.sections_seen: set[str] = set()
        self.tables_seen: set[tuple[str | None, int]] = set()
        self.entries: list[Entry] = []
        self.tables: list[Table] = []
        self.owners: list[Owner] = []
        self.found = Collector()
        self.entry_blocks: dict[str | None, int] = {}
        self.table_blocks: dict[str | None, list[tuple[int, TableBlock]]] = {}
        for number, block in enumerate(manifest.block):
            for section in block.sections or (None,):
                if isinstance(block, EntriesBlock):
                    self.entry_blocks[section] = number
                else:
                    self.table_blocks.setdefault(section, []).append((number, block))
        self.known = self.entry_blocks.keys() | self.table_blocks.keys()

    def run(self) -> None:
        while self.at < len(self.data):
            line = self._line()
            if self._blank(line):
                self._take("blank", None)
            elif self.layout.key_prefix is not None and line.startswith(self.layout.key_prefix):
                self._prefixed_entry(line, self.layout.key_prefix)
            elif (name := self._section_name(line)) is not None:
                self._begin_section(name)
            else:
                self._cells(line)
        if not self.data.endswith(b"\n"):
            self._note_open_end()

    def _note_open_end(self) -> None:
        last = self.data[self.data.rfind(b"\n") + 1 :].decode("utf-8")
        prefix, separator = self.layout.key_prefix, self.layout.key_separator
        key_row = prefix is not None and last.startswith(prefix)
        value = last.rpartition((separator if key_row else None) or self.layout.delimiter)[2].strip()
        doubt = f"its last value {quoted(value)} may be cut short" if value else "it may be cut short"
        found = f"a last row without a line end; {doubt}"
        cure = "Check against the original that the file was not cut short."
        place = Place(self.file, self.row - 1)
        self.found.add(Problem("last-row-open", place, found, "a line end after every row", cure))

    def _line(self) -> str:
        end = self.data.find(b"\n", self.at)
        return self.data[self.at : end if end >= 0 else len(self.data)].decode("utf-8")

    def _take(self, kind: RowKind, block: int | None) -> None:
        """Give the next row to an owner and go on to the one after it."""
        self._own(self.row, self.row, kind, block)
        end = self.data.find(b"\n", self.at)
        self.at = end + 1 if end >= 0 else len(self.data)
        self.row += 1

    def _own(self, first: int, last: int, kind: RowKind, block: int | None) -> None:
        before = self.owners[-1] if self.owners else None
        if before is not None and (before.kind, before.block) == (kind, block):
            self.owners[-1] = Owner(before.first_row, last, kind, block)
        else:
            self.owners.append(Owner(first, last, kind, block))

    def _blank(self, line: str) -> bool:
        return not line.strip(f"{self.layout.delimiter} \t\u00a0")

    def _section_name(self, line: str) -> str | None:
        if self.layout.section_marks is None:
            return None
        before, after = self.layout.section_marks
        text = line.strip().rstrip(f"{self.layout.delimiter} ")
        inside = text.startswith(before) and text.endswith(after) and len(text) > len(before) + len(after)
        return text[len(before) : -len(after)].strip() if inside else None

    def _begin_section(self, name: str) -> None:
        if name in self.sections_seen:
            self._fault("section-twice", f"section {quoted(name)} for a second time", "each section once", _ONE_TEST)
        self.sections_seen.add(name)
        self.section = name
        self._take("section", None)

    def _prefixed_entry(self, line: str, prefix: str) -> None:
        block = self.entry_blocks.get(self.section)
        key, _, text = line[len(prefix) :].partition(self.layout.key_separator or self.layout.delimiter)
        self.entries.append(Entry(self.section, key.strip() or prefix, text.strip(), None, self.row, block))
        self._take("entry", block)

    def _cells(self, line: str) -> None:
        cells = split_cells(line, self.layout.delimiter)
        if cells is None:
            self._fault("quote-open", *_QUOTE_OPEN)
            self._take("unplaced", None)
            return
        cells = [cell.strip() for cell in trimmed(cells)] or [""]
        for number, block in self.table_blocks.get(self.section, ()):
            if set(block.header_names) <= set(cells):
                if (self.section, number) not in self.tables_seen:
                    self._table(cells, number, block)
                    return
                self._fault("header-again", *_HEADER_AGAIN)
                self._take("unplaced", None)
                return
        bare_keys = self.layout.key_prefix is None
        if bare_keys and (self.section in self.entry_blocks or self.section not in self.known):
            self._entry(line, cells, self.entry_blocks.get(self.section))
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
        mark = self.layout.delimiter
        if block is None:
            self.entries.append(Entry(self.section, cells[0] or mark, mark.join(cells[1:]), None, self.row, None))
        elif mark not in line or not cells[0]:
            found = f"{quoted(cells[0])} by itself" if cells[0] else "a row without a key"
            self._fault("entry-cut", found, f"a key and a value with '{mark}' between them", _CUT)
        elif len(cells) > 3:
            expected = f"a key, a value and perhaps a unit, with '{mark}' between them"
            found = f"the key {quoted(cells[0])} with {len(cells) - 1} cells after it"
            self._fault("entry-width", found, expected, _CUT)
        else:
            key, text, unit = (*cells, "", "")[:3]
            self.entries.append(Entry(self.section, key, text, unit or None, self.row, block))
        self._take("entry", block)

    def _table(self, header: list[str], number: int, block: TableBlock) -> None:
        self.tables_seen.add((self.section, number))
        header_row = self.row
        for name in sorted({name for name in header if name and header.count(name) > 1}):
            found = f"the name {quoted(name)} {header.count(name)} times in the header"
            self._fault(
                "header-twice", found, "each name once", "Rename or remove one of the columns.", column=cut(name)
            )
        self._take("header", number)
        units = self._units(len(header), number) if block.unit_row else None
        stop = self._body_end()
        last = self._without_blank_end(stop)
        count = self.data.count(b"\n", self.at, last) + (last > self.at and self.data[last - 1 : last] != b"\n")
        if count:
            cells = self._quick_cells(header, last, count) if count >= FEW_ROWS else None
            if cells is None:
                cells = self._slow_cells(header_row, header, last, number)
            else:
                self._own(self.row, self.row + count - 1, "row", number)
            self.tables.append(Table(self.section, tuple(header), units, (cells,), header_row, number))
        else:
            found = "a header without rows below it"
            self._fault("table-empty", found, "at least one row", "Export the test again.", row=header_row)
        self.at, self.row = last, self.row + count
        while self.at < stop:
            self._take("blank", None)

    def _units(self, width: int, number: int) -> tuple[str, ...] | None:
        line = self._line()
        cells = split_cells(line, self.layout.delimiter) if self.at < len(self.data) else None
        if cells is None or self._section_name(line) is not None:
            return None
        cells = [cell.strip() for cell in trimmed(cells)]
        if len(cells) > width:
            self._fault("row-width", f"{len(cells)} units", f"at most {width}, one for each column", _CUT)
        # some units begin with a digit, as 1/h, and plain ratios have the unit 1
        numbers = [cell for cell in cells if cell != "1" and cell.lstrip(_BEFORE_DIGITS)[:1].isdecimal()]
        read = texts.numbers(pa.array(numbers, _TEXT), self.layout).values if numbers else None
        if read is not None and read.null_count < len(read):
            found, expected = "numbers where the row of units should stand", "the unit of each column below its name"
            self._fault("units-missing", found, expected, "Put the row of units back.")
        self._take("units", number)
        return (*cells, *[""] * (width - len(cells)))[:width]

    def _body_end(self) -> int:
        """Where the table's rows end: at the next section or prefixed row, else with the file."""
        ends = [len(self.data)]
        if self.layout.key_prefix is not None:
            ends.append(self._next_start(self.layout.key_prefix.encode(), self.at))
        if self.layout.section_marks is not None:
            before = self.layout.section_marks[0].encode()
            start = self._next_start(before, self.at)
            while start < len(self.data):
                end = self.data.find(b"\n", start)
                end = end if end >= 0 else len(self.data)
                if self._section_name(self.data[start:end].decode("utf-8")) is not None:
                    ends.append(start)
                    break
                start = self._next_start(before, end)
        return min(ends)

    def _next_start(self, mark: bytes, at: int) -> int:
        if self.data.startswith(mark, at) and (at == 0 or self.data[at - 1 : at] == b"\n"):
            return at
        found = self.data.find(b"\n" + mark, at)
        return found + 1 if found >= 0 else len(self.data)

    def _without_blank_end(self, stop: int) -> int:
        while stop > self.at:
            start = max(self.data.rfind(b"\n", self.at, stop - 1) + 1, self.at)
            if not self._blank(self.data[start:stop].decode("utf-8").rstrip("\n")):
                break
            stop = start
        return stop

    def _quick_cells(self, header: list[str], stop: int, count: int) -> pa.RecordBatch | None:
        """The rows by a parser that knows neither quotes nor blank rows; None where they need a closer look."""
        data, at = self.data, self.at
        if data.find(QUOTE.encode(), at, stop) >= 0:
            return None
        ragged: list[object] = []

        def refuse(row: object) -> str:
            ragged.append(row)
            return "skip"

        names = [str(position) for position in range(len(header))]
        table = pyarrow.csv.read_csv(
            pa.BufferReader(pa.py_buffer(memoryview(data)[at:stop])),
            read_options=pyarrow.csv.ReadOptions(column_names=names, use_threads=False, block_size=stop - at + 1),
            parse_options=pyarrow.csv.ParseOptions(
                delimiter=self.layout.delimiter, quote_char=False, invalid_row_handler=refuse
            ),
            convert_options=pyarrow.csv.ConvertOptions(
                column_types=dict.fromkeys(names, _TEXT), strings_can_be_null=False, check_utf8=False
            ),
        )
        # blank rows are passed over or have a blank first cell, and then somebody must look at each row; so they must
        # where the header may come again
        first = table.column(0)
        if ragged or table.num_rows != count or pc.any(pc.match_like(first, "")).as_py():
            return None
        if pc.any(pc.or_(pc.starts_with(first, " "), pc.starts_with(first, "\t"))).as_py():
            return None
        if header[0] and pc.any(pc.starts_with(first, header[0])).as_py():
            return None
        steps = pa.repeat(pa.scalar(1, pa.int64()), count)
        rows = pc.cumulative_sum(steps, start=pa.scalar(self.row - 1, pa.int64()))
        return pa.RecordBatch.from_arrays([*(_whole(column) for column in table.columns), rows], [*names, "row"])

    def _slow_cells(self, header_row: int, header: list[str], stop: int, number: int) -> pa.RecordBatch:
        """The rows one by one: quotes, blank rows, ragged rows and second headers each where they stand."""
        width = len(header)
        columns: list[list[str]] = [[] for _ in range(width)]
        rows: list[int] = []
        lines = self.data[self.at : stop].decode("utf-8").removesuffix("\n").split("\n")
        for row, line in enumerate(lines, self.row):
            if self._blank(line):
                self._own(row, row, "blank", None)
                continue
            self._own(row, row, "row", number)
            cells = split_cells(line, self.layout.delimiter)
            if cells is None:
                self._fault("quote-open", *_QUOTE_OPEN, row=row)
                continue
            while len(cells) > width and not cells[-1].strip():
                cells.pop()
            if len(cells) != width:
                expected = f"{width} cells, one for each name of the header in row {header_row}"
                self._fault("row-width", f"{len(cells)} cells", expected, _CUT, row=row)
                continue
            if cells[0].strip() == header[0] and [cell.strip() for cell in cells] == header:
                self._fault("header-again", *_HEADER_AGAIN, row=row)
                continue
            rows.append(row)
            for column, cell in zip(columns, cells, strict=True):
                column.append(cell)
        arrays = [pa.array(column, _TEXT) for column in columns]
        names = [str(position) for position in range(width)]
        return pa.RecordBatch.from_arrays([*arrays, pa.array(rows, pa.int64())], [*names, "row"])

    def _fault(
        self, code: str, found: str, expected: str, cure: str, *, row: int | None = None, column: str | None = None
    ) -> None:
        place = Place(self.file, self.row if row is None else row, column)
        self.found.add(Problem(code, place, found, expected, cure, blocks="file"))


_ONE_TEST = "Give each test a file of its own."
_CUT = "Restore the row from the original: it may be cut, or a cell may hold the mark that separates cells."
_FOOTER = "Remove the row if it is a total or a footer; else this file needs another plugin."
_QUOTE_OPEN = (
    "a quotation mark that does not pair within the row",
    "quoted cells that end in the row they begin in",
    "Remove the quotation mark, or the line break within the cell.",
)
_HEADER_AGAIN = (
    "the header a second time",
    "rows of values below one header",
    "Remove the row; give each test a file of its own if these are two.",
)


def _whole(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else pa.concat_arrays(column.chunks)


def texts_of(table: Table, position: int) -> pa.Array:
    """The cells of one column, or with position -1 the physical rows."""
    columns: Sequence[pa.Array] = [batch.column(position) for batch in table.rows]
    return columns[0] if len(columns) == 1 else pa.concat_arrays(columns)
