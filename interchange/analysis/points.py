"""Which points a fit may use, and as what: magnitude of the induced pressure and sum of the fans' flows."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import ragged
from interchange.analysis.batch import Floats, Ints
from interchange.analysis.leakage import EXCLUSIONS
from interchange.analysis.work import PRESSURISATION, Line, Work, floats
from interchange.quantities import CHOICES

EXTRAPOLATED_BASIS = CHOICES["flow_basis"].index("extrapolated")


def gather(work: Work) -> None:
    """Sort out the usable points, count the others by reason, take the logarithms."""
    offsets = work.batch.point_offsets
    magnitude = _magnitudes_pa(work, work.induced_pa)
    flow = ragged.sums(work.flow_m3_h, work.batch.reading_offsets)
    shown_magnitude = _magnitudes_pa(work, floats(work.batch.point["envelope_pressure_pa"]))
    shown_flow = ragged.sums(floats(work.batch.reading["flow_m3_h"]), work.batch.reading_offsets)
    allowed = np.repeat(work.fitted, ragged.counts(offsets)) & (work.batch.point["dropped"] != 1)
    extrapolated = work.batch.reading["flow_basis"] == EXTRAPOLATED_BASIS
    if extrapolated.any():
        allowed &= ~ragged.any_true(extrapolated, work.batch.reading_offsets)
    keep = allowed & (magnitude > 0) & (flow > 0)
    work.excluded = _excluded(work, keep, magnitude, flow)
    work.line = _line(keep, magnitude, flow, offsets)
    work.displayed = _line(allowed & (shown_magnitude > 0) & (shown_flow > 0), shown_magnitude, shown_flow, offsets)
    for stage, readings in work.stages.items():
        if readings is work.flow_m3_h:
            work.stage_log_flow[stage] = work.line.log_flow
        else:
            flow_then = ragged.sums(readings, work.batch.reading_offsets)
            work.stage_log_flow[stage] = _log(flow_then if keep.all() else flow_then[keep])


def _line(keep: NDArray[np.bool_], magnitude: Floats, flow: Floats, offsets: Ints) -> Line:
    if keep.all():
        return Line(magnitude, np.log(magnitude), np.log(flow), offsets)
    pressure = magnitude[keep]
    return Line(pressure, np.log(pressure), np.log(flow[keep]), ragged.kept(offsets, keep))


def _log(flow: Floats) -> Floats:
    """Logarithm, NaN where there is no flow."""
    return np.asarray(np.log(np.where(flow > 0, flow, np.nan)))


def _magnitudes_pa(work: Work, pressure_pa: Floats) -> Floats:
    """Pressure of each point counted in its run's direction [Pa]: positive where the fan made it.

    Depressurising makes a negative pressure inside minus outside. Where the direction is unknown, the sign of the
    run's sum of pressures is taken for it.
    """
    offsets = work.batch.point_offsets
    return np.asarray(pressure_pa * np.repeat(signs(work, pressure_pa), ragged.counts(offsets)))


def signs(work: Work, pressure_pa: Floats) -> Floats:
    """Sign [1] that the fan's pressure has in each run: 1 when pressurising, -1 when depressurising."""
    sign = np.where(work.direction == PRESSURISATION, 1.0, -1.0)
    unknown = work.direction < 0
    if unknown.any():
        total = ragged.sums(np.where(np.isnan(pressure_pa), 0.0, pressure_pa), work.batch.point_offsets)
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
    flow = ragged.sums(work.flow_m3_h, work.batch.reading_offsets)
    return _reasons(work, _magnitudes_pa(work, work.induced_pa), flow)


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
