"""A batch on its way through the steps of a rule set: readings as corrected so far, and what each run needs."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import air, powerlaw, ragged
from interchange.analysis.air import Number
from interchange.analysis.batch import Batch, Codes, Floats, Ints
from interchange.analysis.leakage import note_bit
from interchange.analysis.once import Once
from interchange.quantities import CHOICES

DEPRESSURISATION, PRESSURISATION = (CHOICES["direction"].index(word) for word in ("depressurisation", "pressurisation"))
ENVELOPE_BASIS = CHOICES["flow_basis"].index("envelope")
SUMMED_BASIS = CHOICES["flow_basis"].index("summed")
# Flows a gauge shows from a fan signal, counted at the calibration's air density; an absent basis is taken for one.
BY_CALIBRATION = (-1, CHOICES["flow_basis"].index("indicated"), SUMMED_BASIS)


def floats(column: NDArray[np.generic]) -> Floats:
    """A column as numbers, without copying those that are."""
    return np.asarray(column, dtype=np.float64)


def _none() -> Floats:
    return np.empty(0)


@dataclass(frozen=True, slots=True)
class Line:
    """Points to draw lines through: dp [Pa], ln(dp / 1 Pa), ln(Q / (1 m3/h)), and the offsets of each run's points."""

    pressure_pa: Floats
    log_pressure: Floats
    log_flow: Floats
    offsets: Ints


@dataclass(slots=True)
class Work:
    """Arrays in hand. The comment behind each says what it has one entry for."""

    batch: Batch
    once: Once  # what rule sets have in common
    fitted: NDArray[np.bool_]  # run: its session is of a kind to be fitted
    direction: Codes  # run
    fan_air_c: Floats  # run: temperature of the air that passes the fan, NaN where unknown
    leak_air_c: Floats  # run: temperature of the air that passes the leaks
    fan_humidity: Floats  # run: relative humidity of the air that passes the fan, 0 to 1, NaN where not recorded
    leak_humidity: Floats  # run: the same of the air that passes the leaks
    barometer_pa: Floats  # run
    from_elevation: NDArray[np.bool_]  # run: whether the barometer is reckoned from the elevation
    reading_offsets: Ints  # run: its readings, those of all its points
    calibration_row: Ints  # reading: row of its fan calibration, -1 for none
    note_mask: Ints  # session
    baseline_pa: Floats  # run: mean baseline, NaN where unknown or not asked for
    induced_pa: Floats  # point: pressure as corrected so far, signed
    flow_m3_h: Floats  # reading: flow as corrected so far
    stages: dict[str, Floats] = field(default_factory=dict)  # correction: the readings' flow after it
    line: Line = field(
        default_factory=lambda: Line(_none(), _none(), _none(), np.zeros(1, dtype=np.int64))
    )  # usable points
    excluded: dict[str, Ints] = field(default_factory=dict)  # run: points left out, by reason
    outside_calibration: dict[str, Floats] = field(default_factory=dict)  # run: readings below, above; NaN untold
    stage_log_flow: dict[str, Floats] = field(default_factory=dict)  # usable point, after each correction
    displayed: Line = field(default_factory=lambda: Line(_none(), _none(), _none(), np.zeros(1, dtype=np.int64)))
    law: powerlaw.PowerLaw | None = None  # run
    confidence: float = np.nan
    assumed_exponent: float | None = None
    flow_power: float = 0.0  # points weigh in the fit with their flow to this power
    drawn_to_pa: tuple[float, float] | None = None  # the two pressures to which points are drawn together
    log_coefficient: Floats = field(default_factory=_none)  # run
    exponent: Floats = field(default_factory=_none)  # run
    exponent_assumed: NDArray[np.bool_] = field(default_factory=lambda: np.zeros(0, dtype=np.bool_))  # run
    log_reference_factor: Floats | None = None  # run
    leakage_area: tuple[float, float, float] | None = None  # pressure [Pa], discharge coefficient, density [kg/m3]

    def note(self, code: str, runs: NDArray[np.bool_]) -> None:
        """Note something for the sessions that some runs belong to, as far as they are fitted."""
        runs = runs & self.fitted
        if runs.any():
            self.note_mask |= np.where(ragged.any_true(runs, self.batch.run_offsets), note_bit(code), 0)

    def as_it_is(self) -> Work:
        """The work as it is now, whatever steps make of it later."""
        return replace(
            self,
            note_mask=self.note_mask.copy(),
            stages=dict(self.stages),
            outside_calibration=dict(self.outside_calibration),
        )

    def fan_air_kg_m3(self, pressure_pa: Number, humidity: bool) -> Floats:
        """Density of the air that passes the fan [kg/m3] at a pressure [Pa]; dry unless humidity counts."""
        return _density(self.fan_air_c, pressure_pa, self.fan_humidity, humidity)

    def leak_air_kg_m3(self, pressure_pa: Number, humidity: bool) -> Floats:
        """Density of the air that passes the leaks [kg/m3] at a pressure [Pa]; dry unless humidity counts."""
        return _density(self.leak_air_c, pressure_pa, self.leak_humidity, humidity)

    def close_stage(self, name: str) -> None:
        """Remember the flow as it is after a correction."""
        self.stages[name] = self.flow_m3_h

    def drawn(self, line: Line) -> tuple[Floats, Floats, Ints, Floats | None]:
        """ln(dp / 1 Pa), ln(Q / (1 m3/h)), offsets and weights of what the rule set's fit goes through."""
        if self.drawn_to_pa is not None:
            drawn = self.once(
                powerlaw.drawn_together, line.log_pressure, line.log_flow, line.offsets, *self.drawn_to_pa
            )
            return *drawn, None
        weight = self.once(_weights, line.log_flow, self.flow_power) if self.flow_power else None
        return line.log_pressure, line.log_flow, line.offsets, weight

    def sums(self, line: Line) -> tuple[powerlaw.Abscissas, powerlaw.LineSums]:
        """What the rule set's fit is made from, for each run."""
        log_pressure, log_flow, offsets, weight = self.drawn(line)
        along = self.once(powerlaw.abscissas, log_pressure, offsets, weight)
        return along, self.once(powerlaw.line_sums, along, log_flow)

    def to_readings(self, values: Floats) -> Floats:
        """Values of runs, for each reading."""
        return ragged.spread_out(values, self.reading_offsets)

    def of_calibration(self, name: str) -> Floats:
        """A column of the fan calibrations, for each reading; NaN where it has none."""
        return self.once(_of_calibration, self.batch, self.calibration_row, name)


def _density(temperature_c: Floats, pressure_pa: Number, recorded: Floats, humidity: bool) -> Floats:
    if not humidity:
        return air.air_density_kg_m3(temperature_c, pressure_pa)
    return air.air_density_kg_m3(temperature_c, pressure_pa, np.where(np.isnan(recorded), 0.0, recorded))


def _weights(log_flow: Floats, power: float) -> Floats:
    return np.asarray(np.exp(power * log_flow))


def _of_calibration(batch: Batch, rows: Ints, name: str) -> Floats:
    return np.append(floats(batch.calibration[name]), np.nan)[rows]


def begin(batch: Batch, kinds: tuple[str, ...], once: Once | None = None) -> Work:
    """Gather what each run needs: direction, air in the fan, air in the leaks, barometer, calibration.

    `once` is what works of the same batch have in common, if there are others.
    """
    once = once or Once()
    wanted = np.array([*(word in kinds for word in CHOICES["kind"]), False])  # the last entry serves code -1
    fitted = wanted[batch.session["kind"].astype(np.int64)]
    work = Work(
        batch=batch,
        once=once,
        fitted=np.repeat(fitted, ragged.counts(batch.run_offsets)),
        note_mask=np.where(fitted, 0, note_bit("kind_not_fitted")).astype(np.int64),
        **once(_of_any_kind, batch),
    )
    work.note("direction_unknown", work.direction < 0)
    return work


def _of_any_kind(batch: Batch) -> dict[str, Any]:
    """Fields of a Work that do not depend on which kinds are fitted."""
    direction = np.asarray(batch.run["direction"], dtype=np.int8)
    indoor, outdoor, damp_indoor, damp_outdoor, barometer, elevation = (
        np.repeat(floats(batch.session[name]), ragged.counts(batch.run_offsets))
        for name in (
            *("indoor_temperature_c", "outdoor_temperature_c", "indoor_relative_humidity", "outdoor_relative_humidity"),
            *("barometric_pressure_pa", "elevation_m"),
        )
    )
    inward, outward = direction == PRESSURISATION, direction == DEPRESSURISATION
    return {
        "direction": direction,
        "fan_air_c": np.select([outward, inward], [indoor, outdoor], np.nan),
        "leak_air_c": np.select([outward, inward], [outdoor, indoor], np.nan),
        "fan_humidity": np.select([outward, inward], [damp_indoor, damp_outdoor], np.nan),
        "leak_humidity": np.select([outward, inward], [damp_outdoor, damp_indoor], np.nan),
        "barometer_pa": air.site_pressure_pa(barometer, elevation),
        "from_elevation": np.isnan(barometer) & ~np.isnan(elevation),
        "reading_offsets": batch.reading_offsets[batch.point_offsets],
        "calibration_row": _calibration_rows(batch),
        "baseline_pa": np.full(direction.size, np.nan),
        "induced_pa": floats(batch.point["envelope_pressure_pa"]),
        "flow_m3_h": floats(batch.reading["flow_m3_h"]),
    }


def _calibration_rows(batch: Batch) -> Ints:
    index = floats(batch.reading["calibration_index"])
    per_session = ragged.counts(batch.reading_offsets[batch.point_offsets[batch.run_offsets]])
    first = np.repeat(batch.calibration_offsets[:-1], per_session)
    there = np.repeat(ragged.counts(batch.calibration_offsets), per_session)
    found = (index >= 0) & (index < there)
    return np.where(found, first + np.where(found, index, 0.0).astype(np.int64), -1)
