"""A picture of two lines side by side: spread against wind, the readings and their difference over time."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

from interchange.report.svg import GREY, Axis, document, frame, steps, stroke, text

COLOURS = ("#b8570f", "#1d5fa8")  # apart in print and for colour-blind people
WIDTH, HEIGHT, GAP = 900, 260, 58  # [px]
_LEFT, _RIGHT = 72, 24  # [px]


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


def svg(pictures: Sequence[Panels]) -> str:
    """All records below one another."""
    parts: list[str] = []
    top = 0.0
    for one in pictures:
        drawn, top = _record(one, top)
        parts += drawn
    return document(WIDTH, round(top), parts)


def _record(one: Panels, top: float) -> tuple[list[str], float]:
    parts = [text(_LEFT, top + 28, one.title, size=16, weight="bold")]
    for place, (name, colour) in enumerate(zip(one.names, COLOURS, strict=True)):
        across_px = _LEFT + 220 * place
        parts += [_dot(across_px + 5, top + 47, colour), text(across_px + 16, top + 52, name)]
    top += 78
    winds = [value for value in one.wind_m_s if math.isfinite(value)]
    if winds:
        wind, spread = _across(winds, 0.0), _up(top, [*one.spreads_pa[0], *one.spreads_pa[1]], 0.0)
        parts += frame(wind, spread, "mean wind of a minute, m/s", "spread in a minute, Pa")
        for spreads, colour in zip(one.spreads_pa, COLOURS, strict=True):
            known = [pair for pair in zip(one.wind_m_s, spreads, strict=True) if all(map(math.isfinite, pair))]
            parts += [_dot(wind.px(x), spread.px(y), colour) for x, y in known]
        top += HEIGHT + GAP
    time = _across(one.minutes, 0.0, tight=True)
    pressure = _up(top, [*one.pressures_pa[0], *one.pressures_pa[1]])
    parts += frame(time, pressure, "minutes", "inside minus line, Pa")
    for pressures, colour in zip(one.pressures_pa, COLOURS, strict=True):
        parts += _curve(time, pressure, one.minutes, pressures, colour, 1.0)
    top += HEIGHT + GAP
    difference = _up(top, one.slow_difference_pa, 0.0)
    parts += frame(time, difference, "minutes", f"{one.names[1]} less {one.names[0]}, Pa")
    nought = difference.px(0.0)
    parts.append(stroke([(time.start_px, nought), (time.stop_px, nought)], GREY, dash="4 3"))
    parts += _curve(time, difference, one.slow_minutes, one.slow_difference_pa, "#333333", 1.8)
    return parts, top + HEIGHT + GAP


def _across(values: Sequence[float], with_value: float | None = None, tight: bool = False) -> Axis:
    low, high = _span(values, with_value, tight)
    return Axis(low, high, _LEFT, WIDTH - _RIGHT, steps(low, high))


def _up(top: float, values: Sequence[float], with_value: float | None = None) -> Axis:
    low, high = _span(values, with_value)
    return Axis(low, high, top + HEIGHT, top, steps(low, high))


def _span(values: Sequence[float], with_value: float | None = None, tight: bool = False) -> tuple[float, float]:
    known = [value for value in values if math.isfinite(value)] + ([] if with_value is None else [with_value])
    low, high = (min(known), max(known)) if known else (0.0, 1.0)
    if high <= low:
        return low - 0.5, high + 0.5
    room = 0.0 if tight else 0.06 * (high - low)
    return (low if low == with_value else low - room), (high if high == with_value else high + room)


def _dot(x: float, y: float, colour: str) -> str:
    return f"<circle cx='{x:.1f}' cy='{y:.1f}' r='4' fill='{colour}' fill-opacity='0.75'/>"


def _curve(across: Axis, up: Axis, x: Sequence[float], y: Sequence[float], colour: str, width: float) -> Iterator[str]:
    """A line that breaks where a value is missing."""
    for known, piece in groupby(zip(x, y, strict=True), key=lambda pair: math.isfinite(pair[1])):
        if known:
            yield stroke([(across.px(a), up.px(b)) for a, b in piece], colour, width)
