"""The ranges of the model, told in the unit a value came in, and held to whole columns of a log."""

from __future__ import annotations

import operator
import re
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from interchange import units
from interchange.errors import Place, Problem
from interchange.model.session import bounds
from interchange.quantities import QUANTITIES
from interchange.reading.cells import MISSING_CURE
from interchange.reading.words import quoted


@dataclass(frozen=True, slots=True)
class Scale:
    """How numbers of a file become values of the archive: value = number * factor + offset."""

    unit: str
    factor: float
    offset: float


@dataclass(frozen=True, slots=True)
class _Kind:
    """One kind of bound: its words, what it is where the sign is turned round, and which values lie beyond it."""

    words: str
    turned: str
    beyond: Callable[[Any, Any], Any]
    beyond_column: Callable[[Any, Any], Any]


_KINDS = {
    "greater_than": _Kind("a number greater than {}", "less_than", operator.le, pc.less_equal),
    "greater_than_equal": _Kind("{} or more", "less_than_equal", operator.lt, pc.less),
    "less_than": _Kind("a number less than {}", "greater_than", operator.ge, pc.greater_equal),
    "less_than_equal": _Kind("{} or less", "greater_than_equal", operator.gt, pc.greater),
}
_LIMIT_NAMES = {"greater_than": "gt", "greater_than_equal": "ge", "less_than": "lt", "less_than_equal": "le"}
# degrees as people write them; other units are told as the file or the plugin spells them
_DEGREES = {"Cel": "°C", "[degF]": "°F"}
# nines alone, as -999, 9999 or -99.9, are commonly written where there is no value (common practice, no source)
_LIKE_A_MARK = re.compile(r"[+\-\u2212]?(9{2,}([.,][90]+)?|9[.,]9+)")
_CURE = "Correct the cell in the source, or the unit or the field that the plugin states for it."


def expected(name: str, kind: str, bound: float, scale: Scale | None) -> str:
    """What a value must be, in words and in the unit that the file uses."""
    unit = QUANTITIES[name].ucum
    if scale is not None:
        unit = scale.unit
        bound = (bound - scale.offset) / scale.factor
        kind = kind if scale.factor > 0 else _KINDS[kind].turned
    shown = "" if unit in ("", "1") else f" {_DEGREES.get(units.unit(unit).ucum, unit)}"
    told = f"{bound + 0.0:g}{shown}"  # adding zero turns -0 to 0
    return f"{QUANTITIES[name].words}: {_KINDS[kind].words.format(told)}"


def expected_of(name: str, fault: Any, scale: Scale | None) -> str | None:
    """What a value that the model refuses must be; None where the fault is not one of range."""
    limit = _LIMIT_NAMES.get(fault["type"])
    return None if limit is None else expected(name, fault["type"], float(fault["ctx"][limit]), scale)


def refused(place: Place, text: str, wanted: str, count: int = 1) -> Problem:
    """A value stands in the source that its field cannot take."""
    cure = f"{_CURE} {MISSING_CURE}" if _LIKE_A_MARK.fullmatch(text.strip()) else _CURE
    return Problem("value-refused", place, quoted(text), wanted, cure, count, "session")


def check_column(
    name: str, values: pa.Array, scale: Scale | None, *, texts: pa.Array, rows: pa.Array, place: Place
) -> Problem | None:
    """The first value of a column beyond the range of its field, with the count of all; None where there is none."""
    ends = pc.min_max(values).as_py()
    if ends["min"] is None:
        return None
    first: tuple[int, str, float] | None = None
    count = 0
    for kind, bound in bounds(name):
        if _KINDS[kind].beyond(ends["min"], bound) or _KINDS[kind].beyond(ends["max"], bound):
            wrong = pc.indices_nonzero(_KINDS[kind].beyond_column(values, bound))
            count += len(wrong)
            here = (wrong[0].as_py(), kind, bound)
            first = here if first is None else min(first, here)
    if first is None:
        return None
    index, kind, bound = first
    wanted = expected(name, kind, bound, scale)
    return refused(Place(place.file, rows[index].as_py(), place.column), texts[index].as_py(), wanted, count)
