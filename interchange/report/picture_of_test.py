"""One test as a picture: points with their line, what is left beside it, and the pressure over time."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interchange.report.svg import GREY, Axis, document, frame, log_axis, steps, stroke, text

WIDTH = 980
_LEFT, _RIGHT, _HEAD, _PLOT, _TRACE, _GAP = 72, 24, 78, 340, 220, 64
_RESIDUALS_FROM = 600  # where the plot of residuals begins
_COLOURS = ("#1f5f99", "#c4621a", "#3a7d44", "#7a4a96")
_SHADE = "#f3ead2"
_HALF_COLUMN_PX = 0.5  # a long trace is drawn by least and greatest value for each half pixel
_FEWEST_BESIDE = 3  # points of a run that say something beside their line
_WIDEST_PERCENT = 5.0  # residuals are drawn on this scale at least, lest noise look like a fault


@dataclass(frozen=True, slots=True)
class RunPoints:
    """Points of one run as corrected, and the line flow = coefficient * pressure^exponent through them.

    Pressures [Pa] are magnitudes; flows are in the unit of the picture. `left_out` says which points the line does not
    go by. The line is None where there is none; `assumed` says that its exponent is.
    """

    name: str
    pressure_pa: Sequence[float]
    flow: Sequence[float]
    left_out: Sequence[bool]
    line: tuple[float, float] | None
    assumed: bool


@dataclass(frozen=True, slots=True)
class TracePlot:
    """One recorded pressure over time: seconds from the start, [Pa]; NaN where missing."""

    name: str
    time_s: Sequence[float]
    pressure_pa: Sequence[float]


@dataclass(frozen=True, slots=True)
class Stretch:
    """A piece of a trace that was found to be a point, or else a baseline, and its mean pressure."""

    start_s: float
    stop_s: float
    pressure_pa: float
    is_point: bool


@dataclass(frozen=True, slots=True)
class Picture:
    """Everything that is drawn of one test."""

    title: str
    lines: Sequence[str]
    flow_unit: str
    runs: Sequence[RunPoints]
    traces: Sequence[TracePlot]
    stretches: Sequence[Stretch]

    @property
    def height(self) -> int:
        """In pixels."""
        return _HEAD + (_PLOT + _GAP) * bool(self.runs) + (_TRACE + _GAP) * bool(self.traces)


def svg(pictures: Sequence[Picture]) -> str:
    """The tests below each other as one SVG document."""
    height = sum(picture.height for picture in pictures)
    parts: list[str] = []
    top = 0
    for picture in pictures:
        parts += [f"<g transform='translate(0 {top})'>", *_test(picture), "</g>"]
        top += picture.height
    return document(WIDTH, height, parts)


def _test(picture: Picture) -> Iterator[str]:
    yield text(_LEFT, 26, picture.title, size=16, weight="bold")
    for place, line in enumerate(picture.lines):
        yield text(_LEFT, 44 + 16 * place, line, colour=GREY)
    top = float(_HEAD)
    if picture.runs:
        yield from _points(picture, top)
        if any(_says_something(run) for run in picture.runs):
            yield from _residuals(picture, top)
        top += _PLOT + _GAP
    if picture.traces:
        yield from _over_time(picture, top)


def _points(picture: Picture, top: float) -> Iterator[str]:
    pressures = [p for run in picture.runs for p in run.pressure_pa] + [50.0]
    flows = [flow for run in picture.runs for flow in run.flow]
    flows += [run.line[0] * 50.0 ** run.line[1] for run in picture.runs if run.line]
    across = log_axis(pressures, _LEFT, _RESIDUALS_FROM - 90)
    up = log_axis(flows, top + _PLOT, top)
    yield from frame(across, up, "pressure made by the fan, Pa", f"flow, {picture.flow_unit}")
    at_50 = across.px(50.0)
    yield stroke([(at_50, top), (at_50, top + _PLOT)], GREY, dash="2 4")
    for place, run in enumerate(picture.runs):
        colour = _COLOURS[place % len(_COLOURS)]
        if run.line:
            yield stroke(list(_line(run.line, across, up)), colour, 1.5, "6 4" if run.assumed else "")
        for pressure, flow, out in zip(run.pressure_pa, run.flow, run.left_out, strict=True):
            yield from _mark(across.px(pressure), up.px(flow), colour, out)
        yield from _legend(run, colour, top + 20 + 34 * place)


def _legend(run: RunPoints, colour: str, y: float) -> Iterator[str]:
    law = ""
    if run.line:
        assumed = " (exponent assumed)" if run.assumed else ""
        law = f"{run.line[0]:,.1f} · dp^{run.line[1]:.3f}{assumed}"
    out = sum(run.left_out)
    said = "; ".join([law] * bool(law) + [f"crossed: {out} left out"] * bool(out))
    wide = 7.0 * max(len(said), len(run.name)) + 24.0
    yield f"<rect x='{_LEFT + 4}' y='{y - 14:.1f}' width='{wide:.0f}' height='32' fill='white' fill-opacity='0.85'/>"
    yield from _mark(_LEFT + 14, y - 4, colour, False)
    yield text(_LEFT + 24, y, run.name, colour=colour)
    yield text(_LEFT + 24, y + 14, said, colour=GREY, size=11)


def _line(law: tuple[float, float], across: Axis, up: Axis) -> Iterator[tuple[float, float]]:
    """The part of a line, straight on these axes, that lies within the frame."""
    coefficient, exponent = law
    low, high = across.low, across.high
    if exponent > 0:
        low = max(low, (up.low / coefficient) ** (1 / exponent))
        high = min(high, (up.high / coefficient) ** (1 / exponent))
    for pressure in (low, high):
        yield across.px(pressure), up.px(coefficient * pressure**exponent)


def _residuals(picture: Picture, top: float) -> Iterator[str]:
    found = [
        [(p, 100.0 * (q / (run.line[0] * p ** run.line[1]) - 1.0), out) for p, q, out in _together(run)]
        if _says_something(run) and run.line
        else []
        for run in picture.runs
    ]
    kept = [abs(percent) for run in found for _, percent, out in run if not out]
    widest = max([_WIDEST_PERCENT, *(1.15 * size for size in kept)])
    across = log_axis([p for run in picture.runs for p in run.pressure_pa] + [50.0], _RESIDUALS_FROM, WIDTH - _RIGHT)
    up = Axis(-widest, widest, top + _PLOT, top, steps(-widest, widest))
    yield from frame(across, up, "pressure made by the fan, Pa", "flow beside the line, %")
    yield stroke([(across.start_px, up.px(0.0)), (across.stop_px, up.px(0.0))], GREY)
    for place, run in enumerate(found):
        for pressure, percent, out in run:
            x, colour = across.px(pressure), _COLOURS[place % len(_COLOURS)]
            inside = min(max(percent, -0.94 * widest), 0.94 * widest)
            yield from _mark(x, up.px(inside), colour, out)
            if inside != percent:
                yield text(x + 10, up.px(inside) + 4, f"{percent:+.0f} %", colour=colour, size=11)


def _says_something(run: RunPoints) -> bool:
    """Whether points can lie beside the line at all: it goes through any two of them."""
    return run.line is not None and len(run.left_out) - sum(run.left_out) >= _FEWEST_BESIDE


def _together(run: RunPoints) -> Iterator[tuple[float, float, bool]]:
    return zip(run.pressure_pa, run.flow, run.left_out, strict=True)


def _over_time(picture: Picture, top: float) -> Iterator[str]:
    times = [t for trace in picture.traces for t in (trace.time_s[0], trace.time_s[-1])]
    values = [v for trace in picture.traces for v in trace.pressure_pa if not math.isnan(v)] or [0.0]
    low, high = min(*values, 0.0), max(*values, 0.0)
    room = 0.06 * (high - low) or 1.0
    end = max(*times, min(times) + 1.0)
    in_minutes = end - min(times) > 180.0
    unit = 60.0 if in_minutes else 1.0
    ticks = [unit * tick for tick in steps(min(times) / unit, end / unit, 10)]
    across = Axis(min(times), end, _LEFT, WIDTH - _RIGHT, ticks)
    up = Axis(low - room, high + room, top + _TRACE, top, steps(low - room, high + room))
    shade = [one for one in picture.stretches if one.is_point]
    for one in shade:
        start, stop = across.px(one.start_s), across.px(one.stop_s)
        yield (
            f"<rect x='{start:.1f}' y='{top:.1f}' width='{max(stop - start, 1.0):.1f}' height='{_TRACE}' "
            f"fill='{_SHADE}'/>"
        )
    words = f"time from the start, {'minutes' if in_minutes else 's'}"
    yield from frame(across, up, words, "pressure, Pa", unit)
    beside = float(_LEFT)
    for place, trace in enumerate(picture.traces):
        colour = _COLOURS[place % len(_COLOURS)]
        for piece in _drawn(trace, across):
            yield stroke([(across.px(t), up.px(v)) for t, v in piece], colour, 0.8)
        if len(picture.traces) > 1:
            yield text(beside, top - 6, trace.name, colour=colour, size=11)
            beside += 7.0 * len(trace.name) + 20.0
    for one in picture.stretches:
        height = up.px(one.pressure_pa)
        yield stroke([(across.px(one.start_s), height), (across.px(one.stop_s), height)], "#111111", 2.0)
    if picture.stretches:
        points = len(shade)
        said = f"bars: means of what was found in the log; shaded: points ({points}); others: baselines"
        yield text(WIDTH - _RIGHT, top - 6, said, colour=GREY, size=11, anchor="end")


def _drawn(trace: TracePlot, across: Axis) -> Iterator[list[tuple[float, float]]]:
    """Unbroken pieces of a trace; where many samples share a column, their least and greatest value in their order."""
    piece: list[tuple[float, float]] = []
    column: list[tuple[float, float]] = []
    place = -1
    for time, value in zip(trace.time_s, trace.pressure_pa, strict=True):
        own = int(across.px(time) / _HALF_COLUMN_PX)
        if own != place or math.isnan(value):
            piece += _extremes(column)
            column, place = [], own
        if math.isnan(value):
            if piece:
                yield piece
            piece = []
        else:
            column.append((time, value))
    piece += _extremes(column)
    if piece:
        yield piece


def _extremes(column: list[tuple[float, float]]) -> list[tuple[float, float]]:
    if len(column) <= 2:
        return column
    least, greatest = min(column, key=lambda one: one[1]), max(column, key=lambda one: one[1])
    return sorted({least, greatest})


def _mark(x: float, y: float, colour: str, left_out: bool) -> Iterator[str]:
    """A point: full, or hollow and crossed where it is left out."""
    if not left_out:
        yield f"<circle cx='{x:.1f}' cy='{y:.1f}' r='4' fill='{colour}'/>"
        return
    yield f"<circle cx='{x:.1f}' cy='{y:.1f}' r='5' fill='none' stroke='{colour}'/>"
    for tilt in (1, -1):
        yield stroke([(x - 6, y - 6 * tilt), (x + 6, y + 6 * tilt)], colour)
