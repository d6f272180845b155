"""Tests as a picture: points with their line and what is left beside it, and the pressure of a log over time."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from pathlib import Path

import numpy as np

from interchange.analysis import points
from interchange.archive import found_points
from interchange.archive.found_points import is_lacking, samples
from interchange.archive.snapshot import Snapshot
from interchange.errors import Place, Problem, UsageError, cannot_write
from interchange.files import write_atomically
from interchange.model.question import Trace
from interchange.model.session import Session
from interchange.operations.judging import Judged, words
from interchange.operations.recorded import heading, made_by
from interchange.operations.references import DISPLAYED
from interchange.report.heads import Units, converted, unit_words_of
from interchange.report.picture_of_test import Picture, RunPoints, Stretch, TracePlot, svg
from interchange.table import counted

_PRESSURE = "envelope_pressure_pa"


def write_picture(
    snapshot: Snapshot, tests: Sequence[tuple[Session, Sequence[Judged], str]], units: Units, file: Path
) -> None:
    """Draw tests below each other into a file as SVG, each with its result in words.

    Raises UsageError where none of them holds a point with a flow or a log, or the file cannot be written.
    """
    pictures = [_picture(snapshot, *test, units) for test in tests]
    drawn = [picture for picture in pictures if picture.runs or picture.traces]
    if not drawn:
        found = "no point with a flow, and no log of pressures"
        cure = "Leave out --picture; what the record holds is on the page."
        raise UsageError(Problem("nothing-to-draw", Place(file.name), found, "a test with readings", cure))
    try:
        write_atomically(file, svg(drawn).encode())
    except OSError as error:
        raise cannot_write(str(file), error) from None


def _picture(snapshot: Snapshot, session: Session, assessed: Sequence[Judged], result: str, units: Units) -> Picture:
    standard = next((one for one in assessed if one.rules.steps and one.rules.reference != DISPLAYED), None)
    runs, lost = _runs(standard, units) if standard else ([], 0)
    said = f"{made_by(session)}." if session.kind != "weather" else ""
    if standard and runs:
        said += f" Points as corrected by {standard.rules.reference}, before reference conditions."
    if lost:
        said += f" {counted(lost, 'point')} without flow or pressure cannot be drawn."
    traces, stretches = _log(snapshot, session)
    lines = [line for line in (result, said) if line]
    return Picture(heading(session), lines, unit_words_of("flow_m3_h", units), runs, traces, stretches)


def _runs(one: Judged, units: Units) -> tuple[list[RunPoints], int]:
    """The points of each run that can stand on these axes, and how many cannot."""
    work = one.work
    pressure, flow = points.placed(work)
    flow = np.array([converted("flow_m3_h", value, units) for value in flow.tolist()])
    out = points.reasons(work) >= 0
    can_stand = (pressure > 0) & (flow > 0)
    runs = []
    for run, (first, last) in enumerate(zip(work.batch.point_offsets[:-1], work.batch.point_offsets[1:], strict=True)):
        here = np.flatnonzero(can_stand[first:last]) + first
        if here.size:
            own, flows, left_out = (column[here].tolist() for column in (pressure, flow, out))
            name = words("direction", work.direction[run : run + 1])[0] or "direction unknown"
            line, assumed = _line(one, run, units), bool(work.exponent_assumed[run])
            runs.append(RunPoints(f"run {run + 1}, {name}", own, flows, left_out, line, assumed))
    return runs, int((~can_stand).sum())


def _line(one: Judged, run: int, units: Units) -> tuple[float, float] | None:
    """The line through the points: the result's, before it is brought to reference conditions."""
    to_reference = one.work.log_reference_factor
    at_test = one.work.log_coefficient[run] - (0.0 if to_reference is None else to_reference[run])
    coefficient = converted("flow_m3_h", math.exp(at_test), units)
    exponent = float(one.work.exponent[run])
    return (coefficient, exponent) if math.isfinite(coefficient) and math.isfinite(exponent) else None


def _log(snapshot: Snapshot, session: Session) -> tuple[list[TracePlot], list[Stretch]]:
    """The pressures across the envelope that a session recorded, and what was found in them."""
    if session.kind == "weather" or not any(channel.quantity == _PRESSURE for channel in session.channels):
        return [], []
    traces = snapshot.traces(session.session_id)
    names = {channel.channel_id: channel for channel in session.channels if channel.quantity == _PRESSURE}
    plots = list(_plots(session, [trace for trace in traces if trace.channel_id in names]))
    logged = is_lacking(session) or bool(session.runs)
    pieces = found_points.pieces_in_log(session, traces) if logged else []
    return plots, [Stretch(one.start_s, one.stop_s, one.pressure_pa, one.is_point) for one in pieces]


def _plots(session: Session, traces: Sequence[Trace]) -> Iterator[TracePlot]:
    lines = {channel.channel_id: channel.line_id for channel in session.channels}
    arrangements = {line.line_id: line.arrangement.replace("_", " ") for line in session.reference_lines}
    for trace in traces:
        time_s, pressure_pa = samples(trace)
        if time_s.size:
            arrangement = arrangements.get(lines[trace.channel_id] or "")
            name = f"{trace.channel_id} ({arrangement})" if arrangement else trace.channel_id
            yield TracePlot(name, time_s.tolist(), pressure_pa.tolist())
