"""Puts values together to session documents, remembering the cell each came from, and proves them by the model."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from interchange.errors import Place, Problem
from interchange.model.base import Record
from interchange.model.manifest import Level
from interchange.model.session import Building, Conditions, RecordKeeping, Reported, Session, Time
from interchange.quantities import QUANTITIES
from interchange.reading import ranges
from interchange.reading.words import quoted

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
# what the model wants where a value is not beyond a bound, in words of ours
_FORMS = {
    "string_too_long": "text of at most {max_length} characters",
    "int_from_float": "a whole number",
    "missing": "a value",
}

Cell = tuple[int, str, str, ranges.Scale | None]  # row, column or key, text, and how its number was converted
Part = dict[str, Any]


class Draft:
    """A session document in the making."""

    def __init__(self, row: int | None = None) -> None:
        self.row = row
        self.document: Part = {"runs": []}
        self._cells: dict[tuple[int, str], Cell] = {}

    @property
    def place(self) -> str:
        """The test's place in the source: its row, where each row is a test."""
        return "file" if self.row is None else f"row {self.row}"

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
        """Where in the source the value of a field stands; the test's own place where no cell gave it."""
        cell = self._cells.get((id(part), name))
        return Place(file, cell[0], cell[1]) if cell is not None else Place(file, self.row)

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
        name = str(name)
        row, column, text, scale = self._cells.get((id(part), name), (self.row, name, None, None))
        wanted = ranges.expected_of(name, fault, scale)
        if wanted is None:
            form = _FORMS.get(fault["type"])
            told = form.format(**fault.get("ctx", {})) if form else f"{fault['msg'][:1].lower()}{fault['msg'][1:]}"
            wanted = f"{QUANTITIES[name].words if name in QUANTITIES else name}: {told}"
        problem = ranges.refused(Place(file, row, column), text or "", wanted)
        if text is not None:
            return problem
        return replace(problem, found="nothing" if fault["type"] == "missing" else quoted(str(fault["input"])))
