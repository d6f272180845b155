"""Which points a fit may use, and as what: magnitude of the induced pressure and sum of the fans' flows."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import ragged
from interchange.analysis.batch import Batch, Codes, Floats, Ints
from interchange.analysis.leakage import EXCLUSIONS
from interchange.analysis.work import PRESSURISATION, Line, Work, floats
from interchange.quantities import CHOICES

EXTRAPOLATED_BASIS = CHOICES["flow_basis"].index("extrapolated")


def gather(work: Work) -> None:
    """Sort out the usable points, count the others by reason, take the logarithms."""
    batch, once = work.batch, work.once
    magnitude = once(_magnitudes, batch, work.direction, work.induced_pa)
    flow = once(_flows, batch, work.flow_m3_h)
    shown_magnitude = once(_magnitudes, batch, work.direction, floats(batch.point["envelope_pressure_pa"]))
    shown_flow = once(_flows, batch, floats(batch.reading["flow_m3_h"]))
    allowed = np.repeat(work.fitted, ragged.counts(batch.point_offsets)) & (batch.point["dropped"] != 1)
    extrapolated = batch.reading["flow_basis"] == EXTRAPOLATED_BASIS
    if extrapolated.any():
        allowed &= ~ragged.any_true(extrapolated, batch.reading_offsets)
    keep = allowed & magnitude.positive & flow.positive
    work.excluded = _excluded(work, keep, magnitude.values, flow.values)
    work.line = _line(keep, magnitude, flow, batch.point_offsets)
    shown_keep = allowed & shown_magnitude.positive & shown_flow.positive
    work.displayed = _line(shown_keep, shown_magnitude, shown_flow, batch.point_offsets)
    work.stage_log_flow = {}
    for stage, readings in work.stages.items():
        if readings is work.flow_m3_h:
            work.stage_log_flow[stage] = work.line.log_flow
        else:
            log_flow = once(_flows, batch, readings).logarithms
            work.stage_log_flow[stage] = log_flow if keep.all() else log_flow[keep]


@dataclass(frozen=True, slots=True)
class _Logged:
    """Values of points, which of them are positive, and their logarithms: NaN for the others."""

    values: Floats
    positive: NDArray[np.bool_]
    logarithms: Floats


def _logged(values: Floats) -> _Logged:
    positive = values > 0
    return _Logged(values, positive, np.log(values if positive.all() else np.where(positive, values, np.nan)))


def _magnitudes(batch: Batch, direction: Codes, pressure_pa: Floats) -> _Logged:
    return _logged(_magnitudes_pa(batch, direction, pressure_pa))


def _flows(batch: Batch, flow_m3_h: Floats) -> _Logged:
    """Flow of each point: the sum over its readings [m3/h]."""
    return _logged(ragged.sums(flow_m3_h, batch.reading_offsets))


def _line(keep: NDArray[np.bool_], magnitude: _Logged, flow: _Logged, offsets: Ints) -> Line:
    if keep.all():
        return Line(magnitude.values, magnitude.logarithms, flow.logarithms, offsets)
    log_pressure, log_flow = magnitude.logarithms[keep], flow.logarithms[keep]
    return Line(magnitude.values[keep], log_pressure, log_flow, ragged.kept(offsets, keep))


def _magnitudes_pa(batch: Batch, direction: Codes, pressure_pa: Floats) -> Floats:
    """Pressure of each point counted in its run's direction [Pa]: positive where the fan made it.

    Depressurising makes a negative pressure inside minus outside. Where the direction is unknown, the sign of the
    run's sum of pressures is taken for it.
    """
    return np.asarray(pressure_pa * ragged.spread_out(signs(batch, direction, pressure_pa), batch.point_offsets))


def placed(work: Work) -> tuple[Floats, Floats]:
    """Pressure counted in its run's direction [Pa], and flow of all its fans [m3/h], of each point as corrected."""
    batch = work.batch
    magnitude = _magnitudes_pa(batch, work.direction, work.induced_pa)
    return magnitude, ragged.sums(work.flow_m3_h, batch.reading_offsets)


def signs(batch: Batch, direction: Codes, pressure_pa: Floats) -> Floats:
    """Sign [1] that the fan's pressure has in each run: 1 when pressurising, -1 when depressurising."""
    sign = np.where(direction == PRESSURISATION, 1.0, -1.0)
    unknown = direction < 0
    if unknown.any():
        total = ragged.sums(np.where(np.isnan(pressure_pa), 0.0, pressure_pa), batch.point_offsets)
        sign = np.where(unknown, np.sign(total), sign)
    return np.asarray(sign)


def _excluded(work: Work, keep: NDArray[np.bool_], magnitude: Floats, flow: Floats) -> dict[str, Ints]:
    """Points left out of each run by reason."""
    offsets = work.batch.point_offsets
    if keep.all():
        return {name: np.zeros(offsets.size - 1, dtype=np.int64) for name in EXCLUSIONS}
    fitted = np.repeat(work.fitted, ragged.counts(offsets))
    reason = np.where(fitted, _reasons(work, magnitude, flow), -1)
    return {name: ragged.sums(reason == code, offsets).astype(np.int64) for code, name in enumerate(EXCLUSIONS)}


def reasons(work: Work) -> Ints:
    """Why each point is left out of the fit, as a place in `EXCLUSIONS`: the first that holds; -1 where none does."""
    return _reasons(work, *placed(work))


def _reasons(work: Work, magnitude: Floats, flow: Floats) -> Ints:
    extrapolated = work.batch.reading["flow_basis"] == EXTRAPOLATED_BASIS
    found = (
        work.batch.point["dropped"] == 1,
        np.isnan(magnitude),
        ragged.any_true(extrapolated, work.batch.reading_offsets),
        ~(flow > 0),
        ~(magnitude > 0),
    )
    return np.asarray(np.select(found, range(len(found)), -1), dtype=np.int64)
