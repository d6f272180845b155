"""Texts of one mapped column or key to values: numbers in the archive's units, words, dates, truth values."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from interchange import units
from interchange.errors import Place, Problem
from interchange.model.manifest import TRUTHS, Block, Column, Layout, Mapping, is_number, unit_source
from interchange.model.question import Choice
from interchange.quantities import CHOICES, QUANTITIES
from interchange.reading import cells, times
from interchange.reading.collect import Asker, Collector
from interchange.reading.ranges import Scale
from interchange.reading.words import quoted

ABSENT = "absent"
# units to choose from where a file writes none: those in use for these quantities
_OFFERED = (
    *("Pa", "hPa", "inH2O", "m3/h", "L/s", "m3/s", "cfm", "m3", "ft3", "m2", "ft2", "m", "ft", "°C", "°F"),
    *("m/s", "km/h", "mph", "knots", "/h", "s", "min", "h", "kg/m3", "deg"),
)
_conversion = lru_cache(maxsize=256)(units.conversion)
_NUMBER_AND_UNIT = re.compile(r"(.*?[0-9.,])\s*([^0-9.,\s].*)")


@dataclass(frozen=True, slots=True)
class Texts:
    """The cells of one field: a column of a table, or one entry. `unit` is what the file writes as their unit."""

    block: Block
    field: Mapping
    section: str | None
    cells: pa.Array
    rows: pa.Array
    unit: str | None
    unit_row: int
    numbers: cells.Numbers | None = None  # where the cells were already read together with others

    @property
    def to(self) -> str:
        """The field of the session."""
        if self.field.to is None:
            raise AssertionError("only mapped fields are read")
        return self.field.to

    @property
    def words(self) -> str:
        """The column or key as people name it."""
        within = f" in section [{self.section}]" if self.section is not None else ""
        return f"'{self.field.name}'{within}"


class Reader:
    """Reads fields of one source; what is wrong or open goes to its collector and its asker."""

    def __init__(self, file: str, layout: Layout, found: Collector, asker: Asker) -> None:
        self.file, self.layout, self.found, self.asker = file, layout, found, asker

    def values(self, texts: Texts) -> tuple[list[Any], Scale | None]:
        """A value for each cell, None where there is none, and how numbers were converted.

        Dates and clocks come as `times.Moment`.
        """
        if is_number(texts.to):
            numbers, scale = self.numbers(texts)
            return numbers.to_pylist(), scale
        stripped = [text.strip() for text in texts.cells.to_pylist()]
        rows: list[int] = texts.rows.to_pylist()
        found: dict[str, Any] = {}
        values: list[Any] = []
        for text, row in zip(stripped, rows, strict=True):
            if text in self.layout.missing:
                values.append(None)
                continue
            if text not in found or found[text] is None:
                found[text] = self._value(texts, text, row)
            values.append(found[text])
        return values, None

    def check_filled(self, texts: Texts) -> None:
        """Report the rows that lack a value which every row must have."""
        if not (isinstance(texts.field, Column) and texts.field.filled):
            return
        for text, row in zip(texts.cells.to_pylist(), texts.rows.to_pylist(), strict=True):
            if cells.absent(text, self.layout):
                place = Place(self.file, row, texts.field.name)
                cure = "Fill in the cell; if the row is a mean, a total or a footer, remove it."
                problem = Problem("cell-missing", place, quoted(text), "a value in every row", cure, blocks="session")
                self.found.add(problem)

    def _value(self, texts: Texts, text: str, row: int) -> Any:
        field = texts.field
        if field.time_format is not None:
            return self._moment(texts, field.time_format, text, row)
        if field.codes is not None:
            return self._code(texts, field.codes, text, row)
        return text

    def _moment(self, texts: Texts, time_format: str, text: str, row: int) -> times.Moment | None:
        form = times.form_in_words(time_format)
        try:
            moment = times.moment(text, time_format)
        except times.TimeFormError:
            code, expected = "time-form", f"a time written {form}"
        except times.NoSuchTimeError:
            code, expected = "no-such-time", f"a time that exists, written {form}"
        else:
            first, last = times.START_YEARS
            if texts.to != "started_at_local" or moment.day is None or first <= moment.day.year <= last:
                return moment
            code, expected = "year-refused", f"a start in the years {first} to {last}"
        place = Place(self.file, row, texts.field.name)
        self.found.add(Problem(code, place, quoted(text), expected, _CELL, blocks="session"))
        return None

    def _code(self, texts: Texts, codes: dict[str, str | bool], text: str, row: int) -> str | bool | None:
        end = texts.field.word_ends_at
        word = (text.partition(end)[0] if end is not None else text).strip()
        if word in codes:
            return codes[word]
        known = ", ".join(f"'{code}'" for code in codes)
        all_values = ("true", "false") if texts.to in TRUTHS else CHOICES[texts.to]
        answer = self._ask_word(texts, word, row, known, [(value, value.replace("_", " ")) for value in all_values])
        return answer == "true" if answer is not None and texts.to in TRUTHS else answer

    def beaufort(self, texts: Texts, word: str, row: int) -> tuple[int, int] | None:
        """The band of Beaufort forces that a word for the wind allows."""
        bands = texts.field.beaufort or {}
        if word in bands:
            return bands[word]
        known = ", ".join(f"'{code}'" for code in bands)
        allowed = {f"{low}-{high}": (low, high) for low, high in bands.values()}
        answer = self._ask_word(texts, word, row, known, [(band, f"Beaufort {band}") for band in allowed])
        return allowed[answer] if answer is not None else None

    def _ask_word(self, texts: Texts, word: str, row: int, known: str, values: Sequence[tuple[str, str]]) -> str | None:
        place = Place(self.file, row, texts.field.name)
        evidence = f"{quoted(word)} in row {row}"
        meaning = QUANTITIES[texts.to].words
        choices = [Choice(value, words, evidence, f"{meaning}: {words}") for value, words in values]
        choices.append(Choice(ABSENT, "none of these", evidence, f"{meaning}: left empty"))
        subject, why = f"What does {quoted(word)} mean in {texts.words}?", f"The plugin knows {known}. {_WORD}"
        answer = self.asker.ask(subject, why, place, choices, about=word)
        return None if answer == ABSENT else answer

    def numbers(self, texts: Texts) -> tuple[pa.Array, Scale | None]:
        """A column as float64 in the unit and sign of the archive, null where there is no value; and the conversion."""
        column, unit = texts.cells, texts.unit
        if unit_source(texts.block, texts.field) == "text":
            column, unit = self._apart(texts)
        found = texts.numbers or cells.numbers(column, self.layout)
        if found.faults or found.over_range:
            for problem in cells.number_problems(
                found, texts=column, rows=texts.rows, file=self.file, column=texts.field.name, layout=self.layout
            ):
                self.found.add(problem)
        values = found.values
        if values.null_count == len(values):
            return values, None
        scale = self._scale(texts, unit)
        if scale.factor != 1.0:
            values = pc.multiply(values, scale.factor)
        if scale.offset != 0.0:
            values = pc.add(values, scale.offset)
        if texts.field.sign == "reversed":
            return pc.subtract(0.0, values), Scale(scale.unit, -scale.factor, -scale.offset)
        return values, scale

    def _apart(self, texts: Texts) -> tuple[pa.Array, str | None]:
        """Number and unit of a single text such as `1 s`."""
        whole = texts.cells[0].as_py().strip()
        match = _NUMBER_AND_UNIT.fullmatch(whole)
        return (pa.array([match[1]]), match[2]) if match else (texts.cells, None)

    def _scale(self, texts: Texts, unit: str | None) -> Scale:
        name, to = texts.field.name, texts.to
        spelling = texts.field.unit or unit
        if not spelling:
            spelling = "1" if QUANTITIES[to].ucum == "1" else self._ask_unit(texts)
            if spelling is None:
                return Scale("", 1.0, 0.0)
        place = Place(self.file, texts.unit_row, name)
        expected = f"a unit for the {QUANTITIES[to].words}"
        try:
            return Scale(spelling, *_conversion(spelling, to))
        except units.UnknownUnitError:
            cure = (
                "Correct the unit in the file; if it is right, the table of units lacks it and a release must add it."
            )
            self.found.add(
                Problem("unit-unknown", place, f"the unit {quoted(spelling)}", expected, cure, blocks="file")
            )
        except units.WrongDimensionError:
            found = f"the unit {quoted(spelling)}, which measures something else"
            self.found.add(Problem("unit-dimension", place, found, expected, _UNIT, blocks="file"))
        return Scale("", 1.0, 0.0)

    def _ask_unit(self, texts: Texts) -> str | None:
        dimension = units.unit(QUANTITIES[texts.to].ucum).dimension
        first = next(text for text in texts.cells.to_pylist() if not cells.absent(text, self.layout)).strip()
        choices = [
            Choice(spelling, spelling, quoted(first), f"{quoted(first)} is read in {spelling}")
            for spelling in _OFFERED
            if units.unit(spelling).dimension == dimension
        ]
        return self.asker.ask(
            f"Which unit has {texts.words}?",
            "The file writes none. Write it in the source, or state it in the plugin, and import again.",
            Place(self.file, texts.unit_row, texts.field.name),
            choices,
        )


_CELL = "Correct the cell in the source."
_WORD = "Correct the source, or add the code to the plugin, and import again."
_UNIT = "Correct the unit in the file, or the field that the plugin maps this to."
