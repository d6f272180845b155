"""Texts to numbers, whole columns at a time: every cell is proven, none is sampled."""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import pyarrow as pa
import pyarrow.compute as pc

from interchange.errors import Place, Problem
from interchange.model.manifest import Layout
from interchange.reading.words import quoted

BLANKS = " \u00a0\u202f"  # blank, no-break blank, narrow no-break blank: all are written between thousands
UNICODE_MINUS = "\u2212"
MISSING_CURE = "If it stands for a missing value, leave the cell empty, or add it to `missing` in the plugin's layout."


@dataclass(frozen=True, slots=True)
class Numbers:
    """A column as numbers: null where missing, over range or at fault, and the positions of the last two."""

    values: pa.Array
    over_range: tuple[int, ...] = ()
    faults: tuple[int, ...] = ()

    def at(self, position: int) -> Numbers:
        """One of them by itself."""
        over, fault = ((0,) if position in marked else () for marked in (self.over_range, self.faults))
        return Numbers(self.values.slice(position, 1), over, fault)


def numbers(texts: pa.Array, layout: Layout) -> Numbers:
    """Read a column of texts as numbers, in the marks the layout states and no others; null stays null."""
    marks = (*layout.missing, *layout.over_range)
    # a mark such as -999 is a number too: then no column can be taken as it stands
    values = None if any(map(_has_digit, marks)) else _quick(texts, layout)
    if values is not None:
        return Numbers(values)
    plain = pc.replace_substring(pc.utf8_trim_whitespace(texts), UNICODE_MINUS, "-")
    plain = pc.replace_substring_regex(plain, "^'", "")  # so do spreadsheets mark a number kept as text
    over = pc.is_in(plain, value_set=pa.array(layout.over_range, pa.string()))
    marked = pc.or_(over, pc.is_in(plain, value_set=pa.array(layout.missing, pa.string())))
    marked = pc.or_(marked, pc.is_null(plain))
    plain = pc.if_else(marked, pa.scalar(None, pa.string()), plain)
    values = _quick(plain, layout)
    if values is not None:
        return Numbers(values, _positions(over))
    decimal = re.escape(layout.decimal_mark)
    good = pc.match_substring_regex(plain, rf"^[+-]?(\d+({decimal}\d*)?|{decimal}\d+)([eE][+-]?\d{{1,3}})?$")
    if layout.thousands_mark is not None:
        mark = f"[{BLANKS}]" if layout.thousands_mark == " " else re.escape(layout.thousands_mark)
        grouped = pc.match_substring_regex(plain, rf"^[+-]?\d{{1,3}}({mark}\d{{3}})+({decimal}\d+)?$")
        plain = pc.if_else(grouped, pc.replace_substring_regex(plain, mark, ""), plain)
        good = pc.or_(good, grouped)
    plain = pc.replace_substring(pc.if_else(good, plain, pa.scalar(None, pa.string())), layout.decimal_mark, ".")
    values = pc.cast(plain, pa.float64())
    finite = pc.is_finite(values)
    values = pc.if_else(finite, values, pa.scalar(None, pa.float64()))
    return Numbers(values, _positions(over), _positions(pc.invert(pc.or_(marked, pc.fill_null(finite, False)))))


def _quick(texts: pa.Array, layout: Layout) -> pa.Array | None:
    """The column where every cell but null is a plain finite number, which is common; None where one is not."""
    if layout.decimal_mark == ",":
        if pc.any(pc.match_substring(texts, ".")).as_py():
            return None
        texts = pc.replace_substring(texts, ",", ".")
    try:
        values = pc.cast(texts, pa.float64())
    except pa.ArrowInvalid:
        return None
    return None if pc.all(pc.is_finite(values)).as_py() is False else values


def _has_digit(mark: str) -> bool:
    return any(character.isdigit() for character in mark)


def _positions(mask: pa.Array) -> tuple[int, ...]:
    return tuple(pc.indices_nonzero(mask).to_pylist())


def absent(text: str, layout: Layout) -> bool:
    """Whether a cell says that there is no value."""
    return text.strip() in layout.missing


def over_range_problem(place: Place, text: str, count: int) -> Problem:
    """The instrument showed more than it can measure: the value is absent, the rest stands."""
    return Problem(
        "over-range",
        place,
        f"{quoted(text)}, the mark for over range",
        "a number",
        "Nothing can be done afterwards; the value is left out and the rest is kept.",
        count,
        "cell",
    )


def number_problem(place: Place, text: str, layout: Layout) -> Problem:
    """A text stands where a number must."""
    other = "," if layout.decimal_mark == "." else "."
    words = "a decimal point" if layout.decimal_mark == "." else "a decimal comma"
    if re.fullmatch(rf"[+-]?[\d{re.escape(other)}{BLANKS}']+", text.strip().replace(UNICODE_MINUS, "-")):
        thousands = "no thousands mark" if layout.thousands_mark is None else f"'{layout.thousands_mark}' for thousands"
        return Problem(
            "number-mark",
            place,
            quoted(text),
            f"a number with {words} and {thousands}, as the plugin states",
            "Correct the cell, or state in the plugin's layout what its marks mean.",
            blocks="session",
        )
    return Problem(
        "not-a-number",
        place,
        quoted(text),
        f"a number with {words}",
        f"Correct the cell. {MISSING_CURE}",
        blocks="session",
    )


def number_problems(
    found: Numbers,
    *,
    texts: Sequence[str] | pa.Array,
    rows: Sequence[int] | pa.Array,
    place: Callable[[int], Place],
    layout: Layout,
) -> list[Problem]:
    """What stood in a column beside numbers, each kind of trouble at its first place and with its count."""

    def at(index: int) -> tuple[Place, str]:
        row, text = rows[index], texts[index]
        row = row.as_py() if isinstance(row, pa.Scalar) else row
        return place(row), text.as_py() if isinstance(text, pa.Scalar) else text

    problems = [number_problem(*at(index), layout) for index in found.faults]
    if found.over_range:
        first, text = at(found.over_range[0])
        problems.append(over_range_problem(first, text.strip(), len(found.over_range)))
    return problems
