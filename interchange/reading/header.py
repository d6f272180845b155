"""Names of a header, and the units that may stand within them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from interchange.model.manifest import TableBlock


@dataclass(frozen=True, slots=True)
class Header:
    """Names as a manifest lists them, their units where the header holds them, and the cells as they stand."""

    names: tuple[str, ...]
    units: tuple[str, ...] | None
    cells: tuple[str, ...]


def header_of(cells: Sequence[str], block: TableBlock) -> Header:
    """A header of one row: where a block says so, the unit between its marks is taken off each name."""
    if block.header_unit_marks is None:
        return Header(tuple(cells), None, tuple(cells))
    parted = [apart(cell, block.header_unit_marks) for cell in cells]
    return Header(tuple(name for name, _ in parted), tuple(unit for _, unit in parted), tuple(cells))


def unmarked(cells: Sequence[str], block: TableBlock) -> Sequence[str]:
    """The names of a row of cells without the units in them."""
    return header_of(cells, block).names


def apart(cell: str, marks: tuple[str, str]) -> tuple[str, str]:
    """Name and unit of `Flow (cfm)`; a cell that does not end in a marked unit has none."""
    before, after = marks
    if not cell.endswith(after):
        return cell, ""
    name, found, unit = cell[: -len(after)].rpartition(before)
    return (name.strip(), unit.strip()) if found else (cell, "")
