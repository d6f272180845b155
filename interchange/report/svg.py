"""What pictures are made of: axes from values to pixels, frames, strokes and words, as SVG text.

A small writer of our own: fixed sizes, no styles from outside, so that a browser, a mail and a report show it alike.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from xml.sax.saxutils import escape

GREY, FAINT = "#555555", "#dddddd"
NARROWEST = 3.0  # a logarithmic axis spans this ratio at least, so that one point does not fill it
_FACE = "font-family='DejaVu Sans, Helvetica, Arial, sans-serif'"


def document(width: int, height: int, parts: Sequence[str]) -> str:
    """Parts on white as one SVG document; width and height in pixels."""
    whole = [
        f"<svg xmlns='http://www.w3.org/2000/svg' width='{width}' height='{height}' "
        f"viewBox='0 0 {width} {height}' {_FACE} font-size='12'>",
        f"<rect width='{width}' height='{height}' fill='white'/>",
    ]
    return "\n".join([*whole, *parts, "</svg>"]) + "\n"


@dataclass(frozen=True, slots=True)
class Axis:
    """From values to pixels, with the values that are named."""

    low: float
    high: float
    start_px: float
    stop_px: float
    ticks: Sequence[float]
    logarithmic: bool = False

    def px(self, value: float) -> float:
        """Where a value stands."""
        scale: Callable[[float], float] = math.log if self.logarithmic else float
        share = (scale(value) - scale(self.low)) / (scale(self.high) - scale(self.low))
        return self.start_px + share * (self.stop_px - self.start_px)


def log_axis(values: Sequence[float], start_px: float, stop_px: float) -> Axis:
    """A logarithmic axis with room about the values and four ticks at least."""
    low, high = min(values) / 1.12, max(values) * 1.12
    wider = math.sqrt(max(NARROWEST / (high / low), 1.0))
    low, high = low / wider, high * wider
    decades = range(math.floor(math.log10(low)), math.ceil(math.log10(high)) + 1)
    for heads in ((1, 2, 5), (1, 2, 3, 5, 7), (1, 1.5, 2, 2.5, 3, 4, 5, 6, 7, 8, 9)):
        ticks = [head * 10.0**power for power in decades for head in heads if low <= head * 10.0**power <= high]
        if len(ticks) >= 4:
            break
    return Axis(low, high, start_px, stop_px, ticks, logarithmic=True)


def steps(low: float, high: float, most: int = 7) -> list[float]:
    """Round values from low to high, at most so many."""
    rough = (high - low) / most
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(head * power for head in (1, 2, 5, 10) if head * power >= rough)
    return [place * step for place in range(math.ceil(low / step), math.floor(high / step) + 1)]


def frame(across: Axis, up: Axis, across_words: str, up_words: str, unit: float = 1.0) -> Iterator[str]:
    """The frame of a plot with grid, ticks and words; values along it are said in `unit`."""
    left, right, bottom, top = across.start_px, across.stop_px, up.start_px, up.stop_px
    for tick in across.ticks:
        x = across.px(tick)
        yield stroke([(x, top), (x, bottom)], FAINT)
        yield text(x, bottom + 16, f"{tick / unit:,g}", anchor="middle", colour=GREY, size=11)
    for tick in up.ticks:
        y = up.px(tick)
        yield stroke([(left, y), (right, y)], FAINT)
        yield text(left - 6, y + 4, f"{tick:,g}", anchor="end", colour=GREY, size=11)
    corners = [(left, top), (left, bottom), (right, bottom), (right, top), (left, top)]
    yield stroke(corners, GREY)
    yield text((left + right) / 2, bottom + 34, across_words, anchor="middle", colour=GREY)
    yield (
        f"<g transform='translate({left - 50:.1f} {(top + bottom) / 2:.1f}) rotate(-90)'>"
        f"{text(0, 0, up_words, anchor='middle', colour=GREY)}</g>"
    )


def stroke(points: Sequence[tuple[float, float]], colour: str, width: float = 1.0, dash: str = "") -> str:
    """A line through points [px]."""
    path = " ".join(f"{x:.1f},{y:.1f}" for x, y in points)
    dashes = f" stroke-dasharray='{dash}'" if dash else ""
    return f"<polyline points='{path}' fill='none' stroke='{colour}' stroke-width='{width:g}'{dashes}/>"


def text(
    x: float, y: float, words: str, *, size: int = 12, weight: str = "", anchor: str = "", colour: str = "#111111"
) -> str:
    """Words at a place [px], made safe for markup."""
    more = (f" font-weight='{weight}'" if weight else "") + (f" text-anchor='{anchor}'" if anchor else "")
    return f"<text x='{x:.1f}' y='{y:.1f}' font-size='{size}' fill='{colour}'{more}>{escape(words)}</text>"
