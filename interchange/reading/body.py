"""The rows below a header to record batches: each physical row gets its cells, or is a fault where it stands."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.csv

from interchange.model.manifest import Layout
from interchange.reading.rows import QUOTE, split_cells
from interchange.reading.text import Text

SLICE_BYTES = 4 << 20  # so much of a table is in memory at once, as texts
FEW_ROWS = 100  # below this, going row by row is quicker than setting up a parser
_TEXT = pa.string()
_PIECE = 1 << 24

BodyRow = Literal["row", "blank", "header", "footer"]


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with one row: code, what was found, what was expected, what to do."""

    code: str
    found: str
    expected: str
    cure: str
    row: int


CUT = "Restore the row from the original: it may be cut, or a cell may hold the mark that separates cells."
QUOTE_OPEN = (
    "a quotation mark that does not pair within the row",
    "quoted cells that end in the row they begin in",
    "Remove the quotation mark, or the line break within the cell.",
)
HEADER_AGAIN = (
    "the header a second time",
    "rows of values below one header",
    "Remove the row; give each test a file of its own if these are two.",
)


@dataclass(slots=True)
class Looked:
    """What looking at every row of a table brought: kinds of rows in order, footers, faults."""

    kinds: list[tuple[int, int, BodyRow]] = field(default_factory=list)
    footers: list[tuple[int, str]] = field(default_factory=list)
    faults: list[Fault] = field(default_factory=list)
    longer: list[Fault] = field(default_factory=list)  # rows with more empty cells at the end than the header has
    last_cells: set[bool] = field(default_factory=set)  # whether the last cells of the other rows are filled

    @property
    def all_faults(self) -> list[Fault]:
        """The faults, and longer rows where other rows leave their last cell empty: then they may be shifted.

        Where all rows are longer alike, a mark stands after each of them.
        """
        alike = not self.last_cells and len({fault.found for fault in self.longer}) == 1
        return self.faults if alike or self.last_cells == {True} else [*self.faults, *self.longer]

    def own(self, first: int, last: int, kind: BodyRow) -> None:
        """Rows `first` to `last` are of one kind."""
        if self.kinds and self.kinds[-1][2] == kind:
            self.kinds[-1] = (self.kinds[-1][0], last, kind)
        else:
            self.kinds.append((first, last, kind))


@dataclass(frozen=True, slots=True)
class Body:
    """The rows of one table in the bytes `start` to `stop`, from physical row `first_row` on.

    `header` are the whole header cells as they stand, by which a second header is known, and `most` how many cells the
    header has with its empty ones at the end: where a row has more, one of its cells may hold the mark between cells.
    """

    data: Text
    start: int
    stop: int
    first_row: int
    header: tuple[str, ...]
    most: int
    header_row: int
    layout: Layout

    def rows(self, looked: Looked) -> tuple[pa.RecordBatch, ...] | Body:
        """Look at every row; the batches where they fit into memory, else this body, which reads them again."""
        batches = []
        few = self.stop - self.start <= SLICE_BYTES
        for batch in self._batches(looked):
            if few:
                batches.append(batch)
        return tuple(batches) if few else self

    def __iter__(self) -> Iterator[pa.RecordBatch]:
        """The batches, read anew."""
        return self._batches(Looked())

    def _batches(self, looked: Looked) -> Iterator[pa.RecordBatch]:
        at, row = self.start, self.first_row
        while at < self.stop:
            end = self.stop
            if end - at > SLICE_BYTES:
                end = self.data.rfind(b"\n", at, at + SLICE_BYTES) + 1
            count = newlines(self.data, at, end) + (self.data[end - 1 : end] != b"\n")
            batch = self._quick(at, end, row, count) if count >= FEW_ROWS else None
            if batch is None:
                batch = self._slow(at, end, row, looked)
            else:
                looked.own(row, row + count - 1, "row")
                empty = pc.match_substring_regex(batch.column(len(self.header) - 1), "^\\s*$")
                looked.last_cells |= {not one for one in pc.unique(empty).to_pylist()}
            yield batch
            at, row = end, row + count

    def _quick(self, start: int, stop: int, row: int, count: int) -> pa.RecordBatch | None:
        """The rows by a parser that knows neither quotes nor blank rows; None where they need a closer look."""
        text = memoryview(self.data)[start:stop] if isinstance(self.data, bytes) else self.data[start:stop]
        if self.data.find(QUOTE.encode(), start, stop) >= 0:
            return None
        ragged: list[object] = []

        def refuse(found: object) -> str:
            ragged.append(found)
            return "skip"

        names = [str(position) for position in range(len(self.header))]
        table = pyarrow.csv.read_csv(
            pa.BufferReader(pa.py_buffer(text)),
            read_options=pyarrow.csv.ReadOptions(column_names=names, use_threads=False, block_size=stop - start + 1),
            parse_options=pyarrow.csv.ParseOptions(
                delimiter=cell_mark(self.layout), quote_char=False, invalid_row_handler=refuse
            ),
            convert_options=pyarrow.csv.ConvertOptions(
                column_types=dict.fromkeys(names, _TEXT), strings_can_be_null=False, check_utf8=False
            ),
        )
        # blank rows are passed over or have a blank first cell, and then somebody must look at each row; so they must
        # where the header may come again, or a footer
        first = table.column(0)
        if ragged or table.num_rows != count or pc.min(pc.binary_length(first)).as_py() == 0:
            return None
        for mark in (" ", "\t", *filter(None, self.header[:1]), *self.layout.footer_marks):
            if pc.any(pc.starts_with(first, mark)).as_py():
                return None
        steps = pa.repeat(pa.scalar(1, pa.int64()), count)
        rows = pc.cumulative_sum(steps, start=pa.scalar(row - 1, pa.int64()))
        return pa.RecordBatch.from_arrays([*(_whole(column) for column in table.columns), rows], [*names, "row"])

    def _slow(self, start: int, stop: int, first_row: int, looked: Looked) -> pa.RecordBatch:
        """The rows one by one: quotes, blank rows, ragged rows and second headers each where they stand."""
        width, mark = len(self.header), cell_mark(self.layout)
        columns: list[list[str]] = [[] for _ in range(width)]
        rows: list[int] = []
        lines = self.data[start:stop].decode("utf-8").removesuffix("\n").split("\n")
        for row, line in enumerate(lines, first_row):
            if blank(line, self.layout):
                looked.own(row, row, "blank")
                continue
            cells = split_cells(line, mark)
            if cells is not None and self._is_footer(cells):
                looked.own(row, row, "footer")
                looked.footers.append((row, line.strip()))
                continue
            if cells is not None and self._is_header(cells) and self.layout.header_repeats:
                looked.own(row, row, "header")
                continue
            looked.own(row, row, "row")
            if cells is None:
                looked.faults.append(Fault("quote-open", *QUOTE_OPEN, row))
                continue
            count = len(cells)
            while len(cells) > width and not cells[-1].strip():
                cells.pop()
            expected = f"{width} cells, one for each name of the header in row {self.header_row}"
            if len(cells) != width:
                looked.faults.append(Fault("row-width", f"{len(cells)} cells", expected, CUT, row))
                continue
            if count > self.most:
                looked.longer.append(Fault("row-width", f"{count} cells, the last of them empty", expected, CUT, row))
            else:
                looked.last_cells.add(bool(cells[-1].strip()))
            if self._is_header(cells):
                looked.faults.append(Fault("header-again", *HEADER_AGAIN, row))
                continue
            rows.append(row)
            for column, cell in zip(columns, cells, strict=True):
                column.append(cell)
        arrays = [pa.array(column, _TEXT) for column in columns]
        names = [str(position) for position in range(width)]
        return pa.RecordBatch.from_arrays([*arrays, pa.array(rows, pa.int64())], [*names, "row"])

    def _is_header(self, cells: list[str]) -> bool:
        if cells[0].strip() != self.header[0]:
            return False
        stripped = [cell.strip() for cell in cells]
        return (*stripped, *[""] * (len(self.header) - len(cells)))[: len(self.header)] == self.header

    def _is_footer(self, cells: list[str]) -> bool:
        return bool(self.layout.footer_marks) and cells[0].strip().startswith(self.layout.footer_marks)


def cell_mark(layout: Layout) -> str:
    """What stands between cells once a text is decoded: runs of blanks are a tab by then."""
    return "\t" if layout.delimiter == "blanks" else layout.delimiter


def blank(line: str, layout: Layout) -> bool:
    """Whether a row holds nothing but blanks and empty cells."""
    return not line.strip(f"{cell_mark(layout)} \t\u00a0")


def newlines(data: Text, start: int, stop: int) -> int:
    """Row ends in a stretch of the text."""
    return sum(data[at : min(at + _PIECE, stop)].count(b"\n") for at in range(start, stop, _PIECE))


def _whole(column: pa.ChunkedArray) -> pa.Array:
    return column.chunk(0) if column.num_chunks == 1 else pa.concat_arrays(column.chunks)
