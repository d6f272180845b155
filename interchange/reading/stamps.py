"""Columns of times to seconds, whole columns at a time: calendars, clocks, counts and elapsed times."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import pyarrow as pa
import pyarrow.compute as pc

from interchange.model.manifest import Layout
from interchange.reading import cells, times

_EPOCH = date(1970, 1, 1).toordinal()
_ISO = "%Y-%m-%d %H:%M:%S"
_ISO_LENGTH = 19
_NOTHING = pa.scalar(None, pa.float64())


def seconds(texts: pa.Array, time_format: str, layout: Layout) -> tuple[pa.Array, tuple[int, ...]]:
    """Seconds of each text from a fixed moment (float64), and the positions of those that are no such time.

    The moment is the start of 1970 by the clock that the texts show, in UTC where they state their offset, and zero
    for elapsed times. Texts that mean "missing" are null.
    """
    texts = pc.utf8_trim_whitespace(texts)
    absent = pc.is_in(texts, value_set=pa.array(layout.missing, pa.string()))
    if time_format in times.COUNTS:
        found = cells.numbers(texts, layout)
        first, unit_s = times.COUNTS[time_format]
        values = pc.add(pc.multiply(found.values, unit_s), float((first.toordinal() - _EPOCH) * times.DAY_S))
        return pc.round(values, 0 if unit_s == times.DAY_S else 6), found.faults
    values = _iso(texts) if time_format == _ISO else None
    if values is None:
        values = _parsed(texts, time_format, layout.month_names)
    wrong = pc.and_(pc.invert(absent), pc.is_null(values))
    return pc.if_else(absent, _NOTHING, values), tuple(pc.indices_nonzero(wrong).to_pylist())


def _iso(texts: pa.Array) -> pa.Array | None:
    """The column where every cell has the commonest form, which Arrow reads itself; None where one has not."""
    # of this length Arrow reads no other form but the one with a T between date and clock
    lengths = pc.min_max(pc.binary_length(texts)).as_py()
    if (lengths["min"], lengths["max"]) != (_ISO_LENGTH, _ISO_LENGTH) or pc.any(pc.match_substring(texts, "T")).as_py():
        return None
    try:
        return texts.cast(pa.timestamp("s")).cast(pa.int64()).cast(pa.float64())
    except pa.ArrowInvalid:
        return None


def _parsed(texts: pa.Array, time_format: str, month_names: tuple[str, ...] | None) -> pa.Array:
    found = pc.extract_regex(texts, f"^{times.pattern(time_format, month_names)}$")
    names = [field.name for field in found.type]
    part = {name: pc.struct_field(found, name) for name in names}
    whole = pc.is_valid(found)

    def number(name: str) -> pa.Array:
        if name not in part:
            return pa.repeat(pa.scalar(0.0), len(texts))
        return pc.if_else(whole, part[name], pa.scalar(None, pa.string())).cast(pa.float64())

    hour, minute, second = number("H"), number("M"), number("S")
    calendar = "d" in part
    if "I" in part:
        dial = number("I")
        whole = pc.and_(whole, pc.and_(pc.greater_equal(dial, 1.0), pc.less_equal(dial, 12.0)))
        hour = pc.if_else(pc.equal(dial, 12.0), 0.0, dial)
        hour = pc.add(hour, pc.if_else(pc.equal(pc.utf8_lower(part["p"]), "p"), 12.0, 0.0))
    clock = pc.add(pc.add(pc.multiply(hour, 3600.0), pc.multiply(minute, 60.0)), second)
    if "f" in part:
        clock = pc.add(clock, pc.binary_join_element_wise(pa.scalar("0"), part["f"], ".").cast(pa.float64()))
    within = pc.and_(pc.less(minute, 60.0), pc.less(second, 60.0))
    if calendar:  # an elapsed time may run beyond a day
        within = pc.and_(within, pc.less_equal(clock, float(times.DAY_S)))
        day = pc.binary_join_element_wise(*(part[name] for name in ("Y", "y", "m", "b", "d") if name in part), "/")
        clock = pc.add(clock, _each(day, lambda text: _day_s(text, tuple(part), month_names)))
    if "z" in part:
        clock = pc.subtract(clock, _each(part["z"], _offset_s))
    return pc.if_else(pc.and_(whole, within), clock, _NOTHING)


def _each(texts: pa.Array, value: Callable[[str], float | None]) -> pa.Array:
    """A value for each text, worked out once for each that differs; null stays null."""
    coded = pc.dictionary_encode(texts)
    found = pa.array([value(text) for text in coded.dictionary.to_pylist()], pa.float64())
    return found.take(coded.indices)


def _day_s(text: str, parts: tuple[str, ...], month_names: tuple[str, ...] | None) -> float | None:
    names = [name for name in ("Y", "y", "m", "b", "d") if name in parts]
    form = "/".join(f"%{name}" for name in names)
    try:
        day = times.moment(text, form, month_names).day
    except ValueError:
        return None
    return None if day is None else float((day.toordinal() - _EPOCH) * times.DAY_S)


def _offset_s(text: str) -> float | None:
    try:
        return float(times.offset_s(text))
    except ValueError:
        return None
