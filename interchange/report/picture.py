"""A picture of two lines side by side, as SVG: spread against wind, the readings and their difference over time."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from html import escape

COLOURS = ("#b8570f", "#1d5fa8")  # apart in print and for colour-blind people
WIDTH, HEIGHT, MARGIN, GAP = 900, 260, 70, 58  # [px]


@dataclass(frozen=True, slots=True)
class Panels:
    """What is drawn of one record; NaN where a value is missing."""

    title: str
    names: tuple[str, str]
    wind_m_s: Sequence[float]
    spreads_pa: tuple[Sequence[float], Sequence[float]]
    minutes: Sequence[float]
    pressures_pa: tuple[Sequence[float], Sequence[float]]
    slow_minutes: Sequence[float]
    slow_difference_pa: Sequence[float]


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where a panel stands and what its axes span."""

    top: float
    x: tuple[float, float]
    y: tuple[float, float]

    def at(self, x: float, y: float) -> tuple[float, float]:
        across = MARGIN + (x - self.x[0]) / (self.x[1] - self.x[0]) * (WIDTH - 1.5 * MARGIN)
        return across, self.top + HEIGHT - (y - self.y[0]) / (self.y[1] - self.y[0]) * HEIGHT


def svg(pictures: Sequence[Panels]) -> str:
    """All records below one another."""
    parts: list[str] = []
    top = 0.0
    for one in pictures:
        drawn, top = _record(one, top)
        parts += drawn
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{WIDTH}" height="{top:.0f}" viewBox="0 0 {WIDTH} {top:.0f}" '
        f'font-family="sans-serif" font-size="13">\n<rect width="{WIDTH}" height="{top:.0f}" fill="white"/>\n'
        + "\n".join(parts)
        + "\n</svg>\n"
    )


def _record(one: Panels, top: float) -> tuple[list[str], float]:
    parts = [_text(MARGIN, top + 28, one.title, size=17)]
    for place, (name, colour) in enumerate(zip(one.names, COLOURS, strict=True)):
        across = MARGIN + 220 * place
        parts += [
            f'<circle cx="{across + 5}" cy="{top + 47:.0f}" r="5" fill="{colour}"/>',
            _text(across + 16, top + 52, name),
        ]
    top += 78
    winds = [value for value in one.wind_m_s if math.isfinite(value)]
    if winds:
        frame = _Frame(top, _span(winds, 0.0), _span([*one.spreads_pa[0], *one.spreads_pa[1]], 0.0))
        parts += _axes(frame, "mean wind of a minute, m/s", "spread in a minute, Pa")
        for spreads, colour in zip(one.spreads_pa, COLOURS, strict=True):
            parts += _dots(frame, one.wind_m_s, spreads, colour)
        top += HEIGHT + GAP
    lasts = _span(one.minutes, 0.0, tight=True)
    frame = _Frame(top, lasts, _span([*one.pressures_pa[0], *one.pressures_pa[1]]))
    parts += _axes(frame, "minutes", "inside minus line, Pa")
    for pressures, colour in zip(one.pressures_pa, COLOURS, strict=True):
        parts.append(_line(frame, one.minutes, pressures, colour, 1.0))
    top += HEIGHT + GAP
    frame = _Frame(top, lasts, _span(one.slow_difference_pa, 0.0))
    parts += _axes(frame, "minutes", f"{one.names[1]} less {one.names[0]}, Pa")
    left, right = frame.at(lasts[0], 0.0), frame.at(lasts[1], 0.0)
    parts.append(f'<path d="M{left[0]:.1f} {left[1]:.1f}H{right[0]:.1f}" stroke="#888" stroke-dasharray="4 3"/>')
    parts.append(_line(frame, one.slow_minutes, one.slow_difference_pa, "#333333", 1.8))
    return parts, top + HEIGHT + GAP


def _span(values: Sequence[float], with_value: float | None = None, tight: bool = False) -> tuple[float, float]:
    known = [value for value in values if math.isfinite(value)] + ([] if with_value is None else [with_value])
    low, high = (min(known), max(known)) if known else (0.0, 1.0)
    if high <= low:
        return low - 0.5, high + 0.5
    room = 0.0 if tight else 0.06 * (high - low)
    return (low if low == with_value else low - room), (high if high == with_value else high + room)


def _ticks(low: float, high: float) -> list[float]:
    rough = (high - low) / 7
    size = 10.0 ** math.floor(math.log10(rough))
    step = next(size * one for one in (1, 2, 5, 10) if size * one >= rough)
    return [step * i for i in range(math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9) + 1)]


def _axes(frame: _Frame, along: str, up: str) -> list[str]:
    left, bottom = frame.at(frame.x[0], frame.y[0])
    right, top = frame.at(frame.x[1], frame.y[1])
    parts = []
    for value in _ticks(*frame.y):
        y = frame.at(frame.x[0], value)[1]
        parts.append(f'<path d="M{left:.1f} {y:.1f}H{right:.1f}" stroke="#e3e3e3"/>')
        parts.append(_text(left - 8, y + 4, f"{value:g}", "end"))
    for value in _ticks(*frame.x):
        x = frame.at(value, frame.y[0])[0]
        parts.append(f'<path d="M{x:.1f} {bottom:.1f}v5" stroke="#555"/>')
        parts.append(_text(x, bottom + 19, f"{value:g}", "middle"))
    parts.append(f'<path d="M{left:.1f} {top:.1f}V{bottom:.1f}H{right:.1f}" fill="none" stroke="#555"/>')
    parts.append(_text((left + right) / 2, bottom + 37, along, "middle"))
    middle = (top + bottom) / 2
    words = escape(up)
    parts.append(
        f'<text x="18" y="{middle:.1f}" text-anchor="middle" transform="rotate(-90 18 {middle:.1f})">{words}</text>'
    )
    return parts


def _dots(frame: _Frame, across: Sequence[float], up: Sequence[float], colour: str) -> list[str]:
    places = [frame.at(x, y) for x, y in zip(across, up, strict=True) if math.isfinite(x) and math.isfinite(y)]
    return [f'<circle cx="{x:.1f}" cy="{y:.1f}" r="4" fill="{colour}" fill-opacity="0.75"/>' for x, y in places]


def _line(frame: _Frame, across: Sequence[float], up: Sequence[float], colour: str, width: float) -> str:
    """A line that breaks where a value is missing."""
    path, pen = [], "M"
    for x, y in zip(across, up, strict=True):
        if math.isfinite(y):
            place = frame.at(x, y)
            path.append(f"{pen}{place[0]:.1f} {place[1]:.1f}")
            pen = "L"
        else:
            pen = "M"
    return f'<path d="{"".join(path)}" fill="none" stroke="{colour}" stroke-width="{width}" stroke-opacity="0.85"/>'


def _text(x: float, y: float, words: str, anchor: str = "start", size: int = 13) -> str:
    return f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size}">{escape(words)}</text>'
