"""Texts of one mapped column or key to values: numbers in the archive's units, words, dates, truth values."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from interchange import units
from interchange.errors import Place, Problem
from interchange.model.manifest import Block, Layout, unit_source
from interchange.model.mapping import TRUTHS, Column, Mapping, is_number
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
_NUMBER_AND_UNIT = re.compile(rf"(.*?[0-9.,])[{cells.BLANKS}]*([^0-9.,\s].*)?")
# spreadsheets keep a text from being taken for a formula by an apostrophe before it; export writes it so too
_KEPT_FROM_FORMULA = re.compile("'+[=+\\-@\t\r]")


@dataclass(frozen=True, slots=True)
class Texts:
    """The cells of one field: a column of a table, or one entry. `unit` is what the file writes as their unit.

    Where the table runs across, `rows` are columns of the file and the field's name stands in `name_row`.
    """

    block: Block
    field: Mapping
    file: str
    section: str | None
    cells: pa.Array
    rows: pa.Array
    unit: str | None
    unit_row: int
    name_row: int | None = None
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

    def place(self, row: int | None = None) -> Place:
        """Where one of the cells stands, or the column as a whole."""
        if self.name_row is None or row is None:
            return Place(self.file, row if self.name_row is None else self.name_row, self.field.name)
        return Place(self.file, self.name_row, f"column {row}")


class Reader:
    """Reads fields of one source; what is wrong or open goes to its collector and its asker.

    `typed` says that cells of the source have types, as in a workbook, so that their dates come in ISO 8601.
    """

    def __init__(
        self, layout: Layout, found: Collector, asker: Asker, *, years: tuple[int, int], typed: bool = False
    ) -> None:
        self.layout, self.found, self.asker = layout, found, asker
        self.years, self.typed = years, typed
        self._layouts: dict[tuple[str, ...], Layout] = {(): layout}

    def layout_of(self, field: Mapping) -> Layout:
        """The layout with the marks that mean "missing" in this column alone."""
        found = self._layouts.get(field.missing)
        if found is None:
            found = self.layout.model_copy(update={"missing": (*self.layout.missing, *field.missing)})
            self._layouts[field.missing] = found
        return found

    def parted(self, texts: Texts) -> Texts:
        """The cells cut down to the part of them that the field is about."""
        if texts.field.part is None or texts.field.part_mark is None:
            return texts
        mark = re.escape(texts.field.part_mark)
        # RE2 has no look-ahead: what stands between marks of several characters is taken as short as may be
        shape = rf"^(?:.*?{mark}){{{texts.field.part - 1}}}(?P<part>.*?)(?:{mark}.*)?$"
        parts = pc.struct_field(pc.extract_regex(texts.cells, shape), "part")
        for index in pc.indices_nonzero(pc.is_null(parts)).to_pylist():
            text = texts.cells[index].as_py().strip()
            if text not in self.layout_of(texts.field).missing:
                expected = f"at least {texts.field.part} parts with '{texts.field.part_mark}' between them"
                place = texts.place(texts.rows[index].as_py())
                self.found.add(Problem("cell-parts", place, quoted(text), expected, _CELL, blocks="session"))
        return replace(texts, cells=pc.fill_null(parts, self.layout.missing[0] if self.layout.missing else ""))

    def values(self, texts: Texts) -> tuple[list[Any], list[Scale] | Scale | None]:
        """A value for each cell, None where there is none, and how numbers were converted.

        Dates and clocks come as `times.Moment`; numbers with a unit in each cell have a scale each.
        """
        texts = self.parted(texts)
        if is_number(texts.to):
            numbers, scale = self.numbers(texts)
            return numbers.to_pylist(), scale
        stripped = [text.strip() for text in texts.cells.to_pylist()]
        rows: list[int] = texts.rows.to_pylist()
        missing = self.layout_of(texts.field).missing
        found: dict[str, Any] = {}
        values: list[Any] = []
        for text, row in zip(stripped, rows, strict=True):
            if text in missing:
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
            if cells.absent(text, self.layout_of(texts.field)):
                place = texts.place(row)
                cure = "Fill in the cell; if the row is a mean, a total or a footer, remove it."
                problem = Problem("cell-missing", place, quoted(text), "a value in every row", cure, blocks="session")
                self.found.add(problem)

    def _value(self, texts: Texts, text: str, row: int) -> Any:
        field = texts.field
        if field.time_format is not None:
            return self._moment(texts, field.time_format, text, row)
        if field.codes is not None:
            return self._code(texts, field.codes, text, row)
        return text[1:] if _KEPT_FROM_FORMULA.match(text) else text

    def _moment(self, texts: Texts, time_format: str, text: str, row: int) -> times.Moment | None:
        form = times.form_in_words(time_format)
        try:
            moment = self._any_moment(text, time_format)
        except times.TimeFormError:
            code, expected = "time-form", f"a time written {form}"
        except times.NoSuchTimeError:
            code, expected = "no-such-time", f"a time that exists, written {form}"
        else:
            if texts.to == "started_at_local":
                self.check_year(moment, text, texts.place(row))
            return moment
        self.found.add(Problem(code, texts.place(row), quoted(text), expected, _CELL, blocks="session"))
        return None

    def check_year(self, start: times.Moment, text: str, place: Place) -> None:
        """Report a start before the first test or beyond all to come, as of a clock that was never set."""
        first, last = self.years
        if start.day is not None and not first <= start.day.year <= last:
            expected = f"a start in the years {first} to {last}"
            self.found.add(Problem("year-refused", place, quoted(text), expected, _CELL, blocks="session"))

    def _any_moment(self, text: str, time_format: str) -> times.Moment:
        if time_format in times.COUNTS:
            text = text.replace(self.layout.decimal_mark, ".")
        try:
            return times.moment(text, time_format, self.layout.month_names)
        except times.TimeFormError:
            if not self.typed:
                raise
        return times.iso_moment(text)

    def _code(self, texts: Texts, codes: dict[str, str | bool | float], text: str, row: int) -> Any:
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
        place = texts.place(row)
        evidence = f"{quoted(word)} in row {row}"
        meaning = QUANTITIES[texts.to].words
        choices = [Choice(value, words, evidence, f"{meaning}: {words}") for value, words in values]
        choices.append(Choice(ABSENT, "none of these", evidence, f"{meaning}: left empty"))
        subject, why = f"What does {quoted(word)} mean in {texts.words}?", f"The plugin knows {known}. {_WORD}"
        answer = self.asker.ask(subject, why, place, choices, about=word)
        return None if answer == ABSENT else answer

    def numbers(self, texts: Texts) -> tuple[pa.Array, list[Scale] | Scale | None]:
        """A column as float64 in the unit and sign of the archive, null where there is no value; and the conversion."""
        if unit_source(texts.block, texts.field) == "text":
            return self._with_units(texts)
        layout = self.layout_of(texts.field)
        column, words = texts.cells, texts.field.codes
        coded = None
        if words is not None:
            column, coded = self._words(column, words)
        found = texts.numbers or cells.numbers(column, layout)
        if found.faults or found.over_range:
            for problem in cells.number_problems(
                found, texts=texts.cells, rows=texts.rows, place=texts.place, layout=layout
            ):
                self.found.add(problem)
        values = found.values
        if values.null_count == len(values):
            return values if coded is None else coded, None
        scale = self._scale(texts, texts.unit)
        values = _converted(values, scale)
        if coded is not None:
            values = pc.coalesce(coded, values)
        return self._signed(texts, values, scale)

    @staticmethod
    def _words(column: pa.Array, words: dict[str, Any]) -> tuple[pa.Array, pa.Array]:
        """The column without those cells that hold words for numbers, and the numbers of these."""
        at = pc.index_in(pc.utf8_trim_whitespace(column), value_set=pa.array(list(words), pa.string()))
        found = pa.array([float(value) for value in words.values()], pa.float64()).take(at)
        return pc.if_else(pc.is_null(at), column, pa.scalar(None, pa.string())), found

    def _signed(self, texts: Texts, values: pa.Array, scale: Scale) -> tuple[pa.Array, Scale]:
        if texts.field.sign == "reversed":
            return pc.subtract(0.0, values), Scale(scale.unit, -scale.factor, -scale.offset)
        if texts.field.sign == "by_direction":
            for index in pc.indices_nonzero(pc.less(values, 0.0)).to_pylist():
                found, row = quoted(texts.cells[index].as_py().strip()), texts.rows[index].as_py()
                expected = "a magnitude: the direction stands beside it"
                cure = "Correct the sign, or state in the plugin how pressures are signed."
                self.found.add(Problem("magnitude-signed", texts.place(row), found, expected, cure, blocks="session"))
        return values, scale

    def _with_units(self, texts: Texts) -> tuple[pa.Array, list[Scale] | Scale | None]:
        """Cells that each hold a number and a unit, as `1,505 cfm`: those of one unit are read together."""
        whole = pc.utf8_trim_whitespace(texts.cells)
        missing = self.layout_of(texts.field).missing
        matches = [None if text in missing else _NUMBER_AND_UNIT.fullmatch(text) for text in whole.to_pylist()]
        unit_texts = [match[2] or "" if match else "" for match in matches]
        number_texts = pa.array(
            [match[1] if match else text for match, text in zip(matches, whole.to_pylist(), strict=True)], pa.string()
        )
        values: list[float | None] = [None] * len(whole)
        scales: list[Scale] = [Scale("", 1.0, 0.0)] * len(whole)
        for unit in dict.fromkeys(unit_texts):
            at = [index for index, other in enumerate(unit_texts) if other == unit]
            some = pa.array(at, pa.int64())
            part = replace(texts, cells=number_texts.take(some), rows=texts.rows.take(some), unit=unit, numbers=None)
            found = cells.numbers(part.cells, self.layout_of(texts.field))
            shown = replace(part, cells=whole.take(some))
            for problem in cells.number_problems(
                found, texts=shown.cells, rows=shown.rows, place=shown.place, layout=self.layout
            ):
                self.found.add(problem)
            if found.values.null_count == len(found.values):
                continue
            scale = self._scale(replace(shown, unit_row=shown.rows[0].as_py()), unit)
            read, scale = self._signed(shown, _converted(found.values, scale), scale)
            for index, value in zip(at, read.to_pylist(), strict=True):
                values[index], scales[index] = value, scale
        return pa.array(values, pa.float64()), scales

    def _scale(self, texts: Texts, unit: str | None) -> Scale:
        name, to = texts.field.name, texts.to
        spelling = texts.field.unit or unit
        if not spelling:
            spelling = "1" if QUANTITIES[to].ucum == "1" else self._ask_unit(texts)
            if spelling is None:
                return Scale("", 1.0, 0.0)
        place = Place(texts.file, texts.unit_row, name)
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
        layout = self.layout_of(texts.field)
        first = next(text for text in texts.cells.to_pylist() if not cells.absent(text, layout)).strip()
        choices = [
            Choice(spelling, spelling, quoted(first), f"{quoted(first)} is read in {spelling}")
            for spelling in _OFFERED
            if units.unit(spelling).dimension == dimension
        ]
        return self.asker.ask(
            f"Which unit has {texts.words}?",
            "The file writes none. Write it in the source, or state it in the plugin, and import again.",
            Place(texts.file, texts.unit_row, texts.field.name),
            choices,
        )


def _converted(values: pa.Array, scale: Scale) -> pa.Array:
    if scale.factor != 1.0:
        values = pc.multiply(values, scale.factor)
    return pc.add(values, scale.offset) if scale.offset != 0.0 else values


_CELL = "Correct the cell in the source."
_WORD = "Correct the source, or add the code to the plugin, and import again."
_UNIT = "Correct the unit in the file, or the field that the plugin maps this to."
