"""Numbers as a layout writes them: texts that reading turns back into the very same value."""

from __future__ import annotations

import math
from collections.abc import Collection, Iterator
from decimal import Decimal

from interchange.model.manifest import Layout

_DIGITS = 17  # so many tell every float64 apart
_NEIGHBOURS = 4
_WRITTEN_OUT = range(-7, 16)  # powers of ten


def number_text(
    value: float, factor: float, offset: float, *, decimals: int | None, layout: Layout, marks: Collection[str]
) -> tuple[str, bool]:
    """The shortest text t with t * factor + offset equal to the value; else the one that comes nearest, and False.

    `decimals` go before shortness where they lose nothing. `marks` are texts that mean something else.
    """
    exact = float(value)
    near = (exact - offset) / factor
    off = math.inf
    plain = ""
    for text in _texts(near, decimals, same_unit=factor == 1.0 and offset == 0.0):
        error = abs(_converted(float(text), factor, offset) - exact)
        if error < off or not plain:
            plain, off = text, error
        if not off:
            break
    while plain.replace(".", layout.decimal_mark) in marks:
        plain += "0" if "." in plain else ".0"
    return plain.replace(".", layout.decimal_mark), off == 0.0


def plain_number(value: float, layout: Layout) -> str:
    """A number in the unit it has."""
    return _shortest(float(value)).replace(".", layout.decimal_mark)


def _converted(number: float, factor: float, offset: float) -> float:
    """A number of a file in the unit of the archive, by the steps that reading takes."""
    scaled = number * factor if factor != 1.0 else number
    return scaled + offset if offset != 0.0 else scaled


def _texts(near: float, decimals: int | None, *, same_unit: bool) -> Iterator[str]:
    if decimals is not None:
        yield f"{near:.{decimals}f}"
    if same_unit:
        yield _shortest(near)
        return
    yield from (_written_out(f"{near:.{digits}g}") for digits in range(1, _DIGITS + 1))
    low = high = near
    for _ in range(_NEIGHBOURS):
        low, high = math.nextafter(low, -math.inf), math.nextafter(high, math.inf)
        yield from (_shortest(low), _shortest(high))


def _shortest(number: float) -> str:
    """The shortest text of a number, without a fraction that is nothing but a zero."""
    text = _written_out(repr(number))
    return text[:-2] if text.endswith(".0") else text


def _written_out(text: str) -> str:
    """Without a power of ten where that is not too long."""
    if "e" not in text:
        return text
    parsed = Decimal(text)
    return format(parsed, "f") if parsed.adjusted() in _WRITTEN_OUT else text
