"""Puts values together to session documents, remembering the cell each came from, and proves them by the model."""

from __future__ import annotations

from typing import Any

from pydantic import ValidationError

from interchange.errors import Place, Problem
from interchange.model.base import Record
from interchange.model.manifest import Level
from interchange.model.session import Building, Conditions, RecordKeeping, Reported, Session, Time
from interchange.quantities import QUANTITIES

_GROUPS: dict[str, type[Record]] = {
    "record": RecordKeeping,
    "time": Time,
    "building": Building,
    "conditions": Conditions,
    "reported": Reported,
}
_GROUP_OF = {name: group for group, form in _GROUPS.items() for name in form.model_fields}
_LISTS: dict[Level, tuple[str, str]] = {
    "gauge": ("gauges", "gauge_id"),
    "fan": ("fans", "fan_id"),
    "line": ("reference_lines", "line_id"),
}
_LIMITS = {
    "greater_than": ("gt", "greater than {}"),
    "greater_than_equal": ("ge", "of {} or more"),
    "less_than": ("lt", "less than {}"),
    "less_than_equal": ("le", "of {} or less"),
}

Cell = tuple[int, str, str]  # row, column or key, text
Part = dict[str, Any]


class Draft:
    """A session document in the making."""

    def __init__(self, place: str) -> None:
        self.place = place
        self.document: Part = {"runs": []}
        self._cells: dict[tuple[int, str], Cell] = {}

    def set(self, part: Part, name: str, value: Any, cell: Cell | None) -> None:
        """Fill one field of a part of the document."""
        part[name] = value
        if cell is not None:
            self._cells[id(part), name] = cell

    def part(self, level: Level, name: str, number: str) -> Part:
        """The part of the document that holds a field; gauges, fans and lines are told apart by their number."""
        if level == "session":
            group = _GROUP_OF.get(name)
            part: Part = self.document if group is None else self.document.setdefault(group, {})
            return part
        list_name, id_name = _LISTS[level]
        parts: list[Part] = self.document.setdefault(list_name, [])
        for part in parts:
            if part[id_name] == number:
                return part
        part = {id_name: number}
        parts.append(part)
        return part

    def has(self, name: str) -> bool:
        """Whether the field of the whole session has a value."""
        group = _GROUP_OF.get(name)
        return name in (self.document if group is None else self.document.get(group, {}))

    def place_of(self, part: Part, name: str, file: str) -> Place:
        """Where in the source the value of a field stands."""
        cell = self._cells.get((id(part), name))
        return Place(file, cell[0], cell[1]) if cell is not None else Place(file, column=name)

    def finish(self, file: str) -> Session | list[Problem]:
        """The session, or what the model finds wrong with it, each fault at the cell it came from."""
        try:
            return Session.model_validate(self.document)
        except ValidationError as error:
            return [self._problem(fault, file) for fault in error.errors(include_url=False)]

    def _problem(self, fault: Any, file: str) -> Problem:
        part: Any = self.document
        *way, name = fault["loc"]
        for step in way:
            part = part[step]
        quantity = QUANTITIES.get(str(name))
        words = quantity.words if quantity is not None else str(name)
        cell = self._cells.get((id(part), str(name)))
        limit = _LIMITS.get(fault["type"])
        if limit is not None:
            bound = f"{fault['ctx'][limit[0]]:g}"
            unit = f" {quantity.ucum}" if quantity is not None and quantity.ucum not in ("", "1") else ""
            expected = f"{words}: a number {limit[1].format(bound)}{unit}"
        else:
            expected = f"{words}: {fault['msg'][:1].lower()}{fault['msg'][1:]}"
        if cell is None:
            found = "nothing" if fault["type"] == "missing" else repr(fault["input"])
            return Problem("value-refused", Place(file, column=str(name)), found, expected, _CELL, blocks="session")
        row, column, text = cell
        return Problem("value-refused", Place(file, row, column), f"'{text}'", expected, _CELL, blocks="session")


_CELL = "Correct the cell in the source, or the unit or the field that the plugin states for it."
