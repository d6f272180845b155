"""A table that stands across: names down the first column, and a column for each test."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from typing import Literal

import pyarrow as pa

from interchange.model.manifest import Layout, TableBlock
from interchange.reading.body import CUT, QUOTE_OPEN, Fault, blank, cell_mark
from interchange.reading.extract import Table
from interchange.reading.header import header_of
from interchange.reading.rows import split_cells, trimmed
from interchange.reading.words import quoted

LineKind = Literal["row", "blank", "unplaced"]


def table(
    lines: Sequence[str], file: str, layout: Layout, number: int, block: TableBlock
) -> tuple[Table | None, list[LineKind], list[Fault]]:
    """The rows of a file turned to columns, the kind of each row, and what is wrong with them."""
    kinds: list[LineKind] = []
    faults: list[Fault] = []
    found: list[tuple[int, list[str]]] = []
    counts: list[int] = []  # of cells with the empty ones at the end: where one row has another, a cell was lost or cut
    for row, line in enumerate(lines, 1):
        if blank(line, layout):
            kinds.append("blank")
            continue
        cells = split_cells(line, cell_mark(layout))
        kinds.append("unplaced" if cells is None else "row")
        if cells is None:
            faults.append(Fault("quote-open", *QUOTE_OPEN, row))
            continue
        found.append((row, [cell.strip() for cell in trimmed(cells)]))
        counts.append(len(cells))
    width = max((len(cells) for _, cells in found), default=0)
    often = Counter(counts)
    usual = max(often, key=lambda count: (often[count], count), default=0)
    for (row, _), count in zip(found, counts, strict=True):
        if count != usual:
            expected = f"{usual} cells, as in most rows: a name, and one for each test"
            faults.append(Fault("row-width", f"{count} cells", expected, CUT, row))
    names = [cells[0] for _, cells in found]
    for (row, cells), name in zip(found, names, strict=True):
        if not name:
            faults.append(Fault("row-unplaced", f"a row without a name, with {quoted(cells[-1])}", "a name", CUT, row))
        elif found[names.index(name)][0] < row:
            twice, cure = f"the name {quoted(name)} a second time", "Rename or remove one of the rows."
            faults.append(Fault("header-twice", twice, "each name once", cure, row))
    if width < 2:
        faults.append(Fault("table-empty", "names without values", "at least one test", "Export the test again.", 1))
        return None, kinds, faults
    header = header_of(names, block)
    columns = [pa.array([(*cells, *[""] * width)[at] for at in range(1, width)], pa.string()) for _, cells in found]
    filled = [at for at in range(width - 1) if any(column[at].as_py() for column in columns)]
    columns = [column.take(pa.array(filled, pa.int64())) for column in columns]
    positions = pa.array([at + 2 for at in filled], pa.int64())
    named = [str(position) for position in range(len(names))]
    batch = pa.RecordBatch.from_arrays([*columns, positions], [*named, "row"])
    rows = tuple(row for row, _ in found)
    return Table(file, None, header.names, header.units, (batch,), 1, 1, number, 0, rows), kinds, faults
