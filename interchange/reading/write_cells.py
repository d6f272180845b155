"""One cell: the text that reading turns back into the values of a session, and why where there is none."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

from interchange import units
from interchange.model.manifest import Block, Layout, unit_source
from interchange.model.mapping import BY_POINTS, DATES, Mapping, is_number
from interchange.quantities import QUANTITIES
from interchange.reading.write_numbers import number_text
from interchange.reading.write_parts import KINDS_BY_POINTS, Finder, Held, Row
from interchange.reading.write_times import elapsed_text, time_text
from interchange.reading.write_units import best_unit

# Spreadsheets run a cell that begins so as a formula (OWASP, "CSV Injection"); one apostrophe more keeps them from it,
# and reading takes it off again.
FORMULA = re.compile("'*[=+\\-@\t\r]")
_NUMBER = re.compile(r"[+-]?(\d+([.,]\d*)?|[.,]\d+)")
_TIMES = ("started_at_local", "ended_at_local")


@dataclass(frozen=True, slots=True)
class Want:
    """One mapping of a cell, and the field whose value it must bring back."""

    mapping: Mapping
    held: Held
    beside: Any = None  # value of the field that takes the whole text
    band: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True)
class Written:
    """The text of a cell and what is written as its unit."""

    text: str
    unit: str = ""


class Pen:
    """Writes the cells of one session; what a cell cannot hold is noted with the session."""

    def __init__(self, finder: Finder, layout: Layout, starts: dict[int, str]) -> None:
        self.finder, self.test, self.layout = finder, finder.test, layout
        self.starts = starts
        self._number_marks = (*layout.missing, *layout.over_range)
        self.missing = next((mark for mark in layout.missing if mark or layout.delimiter != "blanks"), "")

    def cell(self, block: Block, mappings: Sequence[Mapping], row: Row, unit: str | None = None) -> Written | None:
        """The cell of a column or key, which may be mapped several times; None where there is no value for it.

        `unit` is what stands in the header or the row of units.
        """
        if len(mappings) == 1 and mappings[0].part is None:
            (mapping,) = mappings
            return self._alone(block, mapping, self._want(block, mapping, row), row, unit)
        parts: dict[int, list[Want]] = {}
        for mapping in mappings:
            parts.setdefault(mapping.part or 1, []).append(self._want(block, mapping, row))
        if all(want.held.value is None for wants in parts.values() for want in wants):
            return None
        texts = []
        for number in range(1, max(parts) + 1):
            wants = parts.get(number, [])
            texts.append(self._together(block, wants, row, unit))
        return Written((mappings[0].part_mark or "").join(texts))

    def _want(self, block: Block, mapping: Mapping, row: Row) -> Want:
        assert mapping.to is not None
        held = self.finder.held(block, mapping, mapping.to, row)
        if mapping.whole_text_to is not None:
            return Want(mapping, held, self.finder.held(block, mapping, mapping.whole_text_to, row).value)
        if mapping.beaufort is None:
            return Want(mapping, held)
        names = ("wind_beaufort_low", "wind_beaufort_high")
        low, high = (self.finder.held(block, mapping, name, row).value for name in names)
        return Want(mapping, held, None, None if low is None or high is None else (low, high))

    def _alone(self, block: Block, mapping: Mapping, want: Want, row: Row, unit: str | None) -> Written | None:
        if mapping.to in _TIMES and id(mapping) in self.starts:
            return Written(self.starts[id(mapping)])
        if want.held.value is None or mapping.to in _TIMES:
            return None
        if mapping.to is not None and is_number(mapping.to) and mapping.time_format is None:
            return self.number(block, mapping, want.held, row, unit)
        text = next(self._texts(want), None)
        return Written(text) if text is not None else None

    def written(self, block: Block, mapping: Mapping, held: Held) -> Written | None:
        """The cell of a field that was found elsewhere."""
        return self._alone(block, mapping, Want(mapping, held), Row(), None)

    def sample(self, value: float, quantity: str, unit: str) -> str:
        """A value of a channel in a unit of the legend."""
        factor, offset = units.conversion(unit or "1", quantity)
        return number_text(value, factor, offset, decimals=None, layout=self.layout, marks=self._number_marks)[0]

    def _together(self, block: Block, wants: Sequence[Want], row: Row, unit: str | None) -> str:
        """One text for several mappings: the first that all of them read as they should."""
        filled = [want for want in wants if want.held.value is not None or id(want.mapping) in self.starts]
        texts: list[str] = []
        if filled:
            first = self._alone(block, filled[0].mapping, filled[0], row, unit)
            texts = [first.text] if first is not None else []
            texts += [text for want in filled for text in self._texts(want)] if len(wants) > 1 else []
        if not texts:
            marks = [mark for want in wants for mark in want.mapping.missing]
            missing = (one for one in marks if all(one in want.mapping.missing for want in wants))
            return next(missing, self.missing)
        fitting = (text for text in texts if all(self._fits(want, text) for want in wants))
        return next(fitting, texts[0])

    def _fits(self, want: Want, text: str) -> bool:
        mapping, value = want.mapping, want.held.value
        if text in (*self.layout.missing, *mapping.missing):
            return value is None
        if mapping.codes is None:
            return True
        word = text.partition(mapping.word_ends_at)[0].strip() if mapping.word_ends_at is not None else text
        return word in mapping.codes and _means(mapping.codes[word], value)

    def _texts(self, want: Want) -> Iterator[str]:
        """Texts for a value that is no number, the best first; what is wrong with the value is noted."""
        mapping, held = want.mapping, want.held
        if mapping.codes is not None or mapping.beaufort is not None:
            yield from self._words(want)
        elif isinstance(held.value, date) and not isinstance(held.value, datetime):
            midnight = datetime(held.value.year, held.value.month, held.value.day)
            yield time_text(mapping.time_format or "", midnight, None, self.layout) or ""
        elif mapping.to == "utc_offset_s":
            text = time_text(mapping.time_format or "", datetime(2000, 1, 1), held.value, self.layout)
            if text is None:
                self.test.why[held.path] = "the layout writes offsets from UTC in whole minutes"
            else:
                yield text
        elif mapping.to not in DATES and isinstance(held.value, str):
            text = f"'{held.value}" if self._like_a_formula(held.value) else held.value
            why = self.unwritable(text, mapping)
            if why is None:
                yield text
            else:
                self.test.why[held.path] = why

    def _words(self, want: Want) -> Iterator[str]:
        mapping, value = want.mapping, want.held.value
        if mapping.beaufort is not None:
            bands = mapping.beaufort
            if bands.get(value) == want.band:
                yield value
            words = [word for word, band in bands.items() if band == want.band]
        else:
            codes, whole = mapping.codes or {}, want.beside
            if isinstance(whole, str) and self.unwritable(whole, mapping) is None and self._fits(want, whole):
                yield whole
            words = [word for word, meaning in codes.items() if _means(meaning, value)]
        yield from words
        if not words:
            self.test.why[want.held.path] = f"no word of '{mapping.name}' in the layout says so"

    @staticmethod
    def _like_a_formula(text: str) -> bool:
        return FORMULA.match(text) is not None and _NUMBER.fullmatch(text) is None

    def unwritable(self, text: str, mapping: Mapping) -> str | None:
        """Why a text cannot stand in a cell of this layout, or None where it can."""
        if any(mark in text for mark in "\0\r\n"):
            return "a line break cannot stand in a cell"
        if text != text.strip():
            return "blanks about a text are not read"
        if text in (*self.layout.missing, *mapping.missing):
            return "the layout reads this text as no value"
        if self.layout.delimiter == "blanks" and any(mark in text for mark in " \t"):
            return "the layout parts cells by blanks"
        if not any(_holds(encoding, text) for encoding in self.layout.encodings):
            return f"text in {' or '.join(self.layout.encodings)} cannot hold it"
        return None

    def number(self, block: Block, mapping: Mapping, held: Held, row: Row, unit: str | None) -> Written | None:
        """The cell of a number; None where the layout's signs cannot hold it."""
        value = held.value
        if mapping.sign == "reversed":
            value = 0.0 - value
        elif mapping.sign == "by_direction":
            value = self._magnitude(held, row)
            if value is None:
                return None
        source, to = unit_source(block, mapping), mapping.to or ""
        if source not in ("unit_cell", "text"):
            return Written(self._number(value, mapping, mapping.unit or unit or "1"))
        spelling = best_unit(to, [value], self.layout)
        if source == "unit_cell":
            return Written(self._number(value, mapping, spelling or "1"), spelling)
        # a unit that begins with a digit would be taken for part of the number
        spelling = QUANTITIES[to].ucum if spelling[:1].isdecimal() else spelling
        return Written(f"{self._number(value, mapping, spelling or '1')} {spelling}".rstrip())

    def _number(self, value: float, mapping: Mapping, unit: str) -> str:
        marks = (*self._number_marks, *mapping.missing, *(mapping.codes or ()))
        factor, offset = units.conversion(unit, mapping.to or "")
        return number_text(value, factor, offset, decimals=mapping.decimals, layout=self.layout, marks=marks)[0]

    def _magnitude(self, held: Held, row: Row) -> float | None:
        direction, value = self.finder.direction(row), float(held.value)
        if value >= 0 and (direction == "pressurisation" or self.test.document["kind"] == "other_test"):
            return value
        if value <= 0 and direction == "depressurisation":
            return 0.0 - value
        self.test.why[held.path] = "the layout writes magnitudes, and the sign is against the direction of the run"
        return None

    def elapsed(self, mapping: Mapping, seconds: float, unit: str | None) -> str:
        """A time since the start."""
        if mapping.time_format is not None:
            return elapsed_text(mapping.time_format, seconds)
        return self._number(seconds, mapping, mapping.unit or unit or "s")


def _means(meaning: object, value: object) -> bool:
    """Whether a word of the layout that stands for one value stands for this one."""
    return meaning == value or (meaning == BY_POINTS and value in KINDS_BY_POINTS)


def _holds(encoding: str, text: str) -> bool:
    try:
        text.encode(encoding)
    except UnicodeEncodeError:
        return False
    return True
