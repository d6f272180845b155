"""Puts values together to session documents, remembering the cell each came from, and proves them by the model."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from pydantic import ValidationError

from interchange.errors import Place, Problem
from interchange.model.base import Record
from interchange.model.mapping import Level
from interchange.model.session import (
    Building,
    Conditions,
    Preparation,
    RecordKeeping,
    Reported,
    Session,
    Time,
    WeatherStation,
)
from interchange.quantities import QUANTITIES
from interchange.reading import ranges
from interchange.reading.words import quoted

_GROUPS: dict[str, type[Record]] = {
    "record": RecordKeeping,
    "time": Time,
    "building": Building,
    "preparation": Preparation,
    "conditions": Conditions,
    "weather_station": WeatherStation,
    "reported": Reported,
}
_GROUP_OF = {name: group for group, form in _GROUPS.items() for name in form.model_fields}
_LISTS: dict[Level, tuple[str, str]] = {
    "gauge": ("gauges", "gauge_id"),
    "fan": ("fans", "fan_id"),
    "line": ("reference_lines", "line_id"),
    "opening": ("openings", "opening"),
    "other": ("other_readings", "other_reading_as_recorded"),
}
# what the model wants where a value is not beyond a bound, in words of ours
_FORMS = {
    "string_too_long": "text of at most {max_length} characters",
    "int_from_float": "a whole number",
    "missing": "a value",
}


Cell = tuple[Place, str, str, ranges.Scale | None]  # place, column or key, text, and how its number was converted
Part = dict[str, Any]


class Draft:
    """A session document in the making."""

    def __init__(self, place: str = "file", row: int | None = None) -> None:
        self.place, self.row = place, row
        self.document: Part = {"runs": []}
        self._cells: dict[tuple[int, str], Cell] = {}
        self._magnitudes: set[tuple[int, str]] = set()
        self._parts: list[Part] = []  # keeps every part alive, so that no other is known by its number

    def set(self, part: Part, name: str, value: Any, cell: Cell | None, *, magnitude: bool = False) -> None:
        """Fill one field of a part of the document; a magnitude takes its sign later."""
        part[name] = value
        if cell is not None:
            self._cells[id(part), name] = cell
        if magnitude:
            self._magnitudes.add((id(part), name))
        self._parts.append(part)

    def move(self, source: Part, target: Part, name: str, new_name: str | None = None) -> None:
        """Give a field of one part to another, with the memory of where it stood."""
        target[new_name or name] = source[name]
        self._parts.append(target)
        cell = self._cells.get((id(source), name))
        if cell is not None:
            self._cells[id(target), new_name or name] = cell
        if (id(source), name) in self._magnitudes:
            self._magnitudes.add((id(target), new_name or name))

    def merged(self, *parts: Part) -> Part:
        """One part with the fields of several; of two values the later counts."""
        found: Part = {}
        for part in parts:
            for name in part:
                self.move(part, found, name)
        self._parts.append(found)
        return found

    def is_magnitude(self, part: Part, name: str) -> bool:
        """Whether a field waits for its sign."""
        return name in part and (id(part), name) in self._magnitudes

    def cell_of(self, part: Part, name: str) -> Cell | None:
        """The cell that gave a field its value."""
        return self._cells.get((id(part), name))

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
        cell = self.cell_of(part, name)
        return cell[0] if cell is not None else Place(file, self.row)

    def finish(self, file: str) -> Session | list[Problem]:
        """The session, or what the model finds wrong with it, each fault at the cell it came from."""
        try:
            return Session.model_validate(self.document)
        except ValidationError as error:
            return [self._problem(fault, file) for fault in error.errors(include_url=False)]

    def _problem(self, fault: Any, file: str) -> Problem:
        part: Any = self.document
        *way, name = fault["loc"] or ("session",)
        for step in way:
            part = part[step]
        if fault["type"] == "value_error":
            return self._not_together(part[name] if way else part, str(fault["ctx"]["error"]), file)
        name = str(name)
        place, _, text, scale = self._cells.get((id(part), name), (Place(file, self.row, name), name, None, None))
        wanted = ranges.expected_of(name, fault, scale)
        if wanted is None:
            form = _FORMS.get(fault["type"])
            told = form.format(**fault.get("ctx", {})) if form else f"{fault['msg'][:1].lower()}{fault['msg'][1:]}"
            wanted = f"{QUANTITIES[name].words if name in QUANTITIES else name}: {told}"
        problem = ranges.refused(place, text or "", wanted)
        if text is not None:
            return problem
        return replace(problem, found="nothing" if fault["type"] == "missing" else quoted(str(fault["input"])))

    def _not_together(self, part: Part, expected: str, file: str) -> Problem:
        place = next(
            (self.place_of(part, name, file) for name in part if self.cell_of(part, name)), Place(file, self.row)
        )
        cure = "Correct these cells in the source."
        return Problem("values-together", place, "values that do not go together", expected, cure, blocks="session")
