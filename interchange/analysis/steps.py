"""The steps a rule set can order: corrections of pressure and flow, the fit, what is made of the fitted line.

Each public function is one step: it takes the work in hand and keywords, and knows no rule set. `STEPS` names them
for rule sets, in the one order physics allows.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import air, baseline, fan, powerlaw, ragged
from interchange.analysis.batch import Floats
from interchange.analysis.work import BY_CALIBRATION, ENVELOPE_BASIS, SUMMED_BASIS, Work, floats

Flags = NDArray[np.bool_]


# --- corrections -----------------------------------------------------------------------------------------------------


def assume_air_pressure(work: Work, *, pressure_pa: float) -> None:
    """Take an air pressure [Pa] for granted where neither a barometer nor the elevation of the site is recorded.

    To leave out the corrections that need it, and make the others, errs by more: the density ratio of the leaks would
    stand alone, without the density in the fan that partly undoes it. Of the whole chain little depends on the
    barometer: the flow goes with its power 1 - n - 1/2, so that 300 m of elevation move it by about 0.5 %.
    """
    unknown = np.isnan(work.barometer_pa)
    work.barometer_pa = np.where(unknown, pressure_pa, work.barometer_pa)
    work.note("barometer_assumed", unknown)


def subtract_baseline(work: Work, *, form: Literal["mean", "before", "interpolated"] = "mean") -> None:
    """Subtract the baseline, unless the source has done so.

    Form `mean`: the mean of before and after; `before`: the one before alone; `interpolated`: the straight line from
    before to after, by the place of the point in its run. Where there is just one, every form takes that.
    """
    run, point = work.batch.run, work.batch.point
    before, after = floats(run["baseline_before_pressure_pa"]), floats(run["baseline_after_pressure_pa"])
    one = baseline.first_baseline_pa if form == "before" else baseline.mean_baseline_pa
    mean = one(before, after)
    removed = floats(point["baseline_removed"])
    done, unsaid = removed == 1, removed < 0
    all_done = ragged.sums(~done, work.batch.point_offsets) == 0
    work.baseline_pa = np.where(all_done, np.nan, mean)
    if form == "interpolated":
        to_subtract = baseline.interpolated_baseline_pa(before, after, work.batch.point_offsets)
    else:
        to_subtract = ragged.spread_out(mean, work.batch.point_offsets)
    work.induced_pa = baseline.induced_pressure_pa(work.induced_pa, np.where(done, np.nan, to_subtract))
    by_source = ragged.any_true(done, work.batch.point_offsets)
    work.note("baseline_removed_by_source", by_source)
    work.note("baseline_unknown", np.isnan(mean) & ~by_source)
    work.note("baseline_removal_unknown", ~np.isnan(mean) & ragged.any_true(unsaid, work.batch.point_offsets))
    work.close_stage("baseline")


def apply_fan_calibration(work: Work) -> None:
    """Replace the indicated flow by that of the session's fan calibration at the fan pressure, where both exist.

    A flow that is already the sum of several fans stays: the calibration of one of them would stand for all. Beyond
    the range of its calibration a power law is used, and noted; beyond the rows of a table the flow shown stays.
    """
    batch = work.batch
    signal = floats(batch.reading["fan_pressure_pa"])
    calibrated = fan.calibrated_flow_m3_h(
        signal,
        work.calibration_row,
        floats(batch.calibration["fan_coefficient_m3_h"]),
        floats(batch.calibration["fan_exponent"]),
        batch.calibration_point_offsets,
        floats(batch.calibration_point["calibration_pressure_pa"]),
        floats(batch.calibration_point["calibration_flow_m3_h"]),
    )
    basis = batch.reading["flow_basis"]
    indicated = np.isin(basis, BY_CALIBRATION) & (basis != SUMMED_BASIS)
    possible = indicated & np.isfinite(calibrated)
    tabled = np.append(ragged.counts(batch.calibration_point_offsets) > 0, False)[work.calibration_row]
    outside = indicated & tabled & ~possible & np.isfinite(signal)
    unknown = indicated & ~possible & ~outside & np.isfinite(signal) & np.isnan(work.flow_m3_h)
    work.flow_m3_h = np.where(possible, calibrated, work.flow_m3_h)
    some = ragged.any_true(possible | outside, work.reading_offsets)
    lacking = ragged.any_true(indicated & ~possible & ~outside & ~unknown, work.reading_offsets)
    work.note("calibration_absent", lacking & ~some)
    work.note("calibration_partly_absent", lacking & some)
    below, above = _outside_calibration(work, np.abs(signal), indicated)
    for code, readings in (
        ("fan_pressure_below_minimum", possible & below),
        ("fan_pressure_above_maximum", possible & above),
        ("fan_pressure_outside_table", outside),
        ("fan_flow_unknown", unknown),
        ("calibration_from_register", possible & (work.of_calibration("calibration_from_register") == 1)),
    ):
        work.note(code, ragged.any_true(readings, work.reading_offsets))
    work.close_stage("calibration")


def _outside_calibration(work: Work, signal_pa: Floats, indicated: Flags) -> tuple[Flags, Flags]:
    """Which readings lie below and above the range of their fan calibration; counts those of points not dropped."""
    batch, offsets = work.batch, work.reading_offsets
    low, high = fan.calibration_range_pa(
        floats(batch.calibration["minimum_fan_pressure_pa"]),
        floats(batch.calibration["maximum_fan_pressure_pa"]),
        batch.calibration_point_offsets,
        floats(batch.calibration_point["calibration_pressure_pa"]),
    )
    if not (np.isfinite(low) | np.isfinite(high)).any():
        nothing = np.zeros(signal_pa.size, dtype=np.bool_)
        return nothing, nothing
    low, high = (np.append(end, np.nan)[work.calibration_row] for end in (low, high))
    known = indicated & np.isfinite(signal_pa) & (np.isfinite(low) | np.isfinite(high))
    below, above = known & (signal_pa < low), known & (signal_pa > high)
    counted = np.repeat(batch.point["dropped"] != 1, ragged.counts(batch.reading_offsets))
    untold = ~ragged.any_true(known & counted, offsets)
    for name, readings in (("readings_below_calibration", below), ("readings_above_calibration", above)):
        work.outside_calibration[name] = np.where(untold, np.nan, ragged.sums(readings & counted, offsets))
    return below, above


def correct_fan_density(
    work: Work, *, assumed_reference_air_density_kg_m3: float | None = None, humidity: bool = False
) -> None:
    """Bring indicated flows from the calibration's air density to that of the air passing the fan.

    Where the session does not say what density [kg/m3] the calibration is stated for, the one given here is assumed
    and noted; with None such flows stay as they are, and that is noted. With `humidity` the recorded relative humidity
    counts in the density of the air in the fan, else air is dry.
    """
    stated = work.of_calibration("reference_air_density_kg_m3")
    unstated = np.isnan(stated)
    assumed = np.nan if assumed_reference_air_density_kg_m3 is None else assumed_reference_air_density_kg_m3
    density = work.fan_air_kg_m3(work.barometer_pa, humidity)
    factor = fan.fan_density_factor(np.where(unstated, assumed, stated), work.to_readings(density))
    indicated = np.isin(work.batch.reading["flow_basis"], BY_CALIBRATION)
    work.flow_m3_h = np.where(indicated & np.isfinite(factor), work.flow_m3_h * factor, work.flow_m3_h)
    concerned = ragged.any_true(indicated, work.reading_offsets)
    without = ragged.any_true(indicated & unstated, work.reading_offsets)
    work.note("calibration_density_unknown" if np.isnan(assumed) else "calibration_density_assumed", without)
    work.note("fan_density_not_corrected", concerned & np.isnan(density))
    _note_humidity(work, concerned, humidity)
    _note_air(work, concerned, np.isnan(work.fan_air_c))
    work.close_stage("fan_density")


def apply_elevation_factor(work: Work, *, per_m: float, from_m: float) -> None:
    """Multiply indicated flows by 1 + `per_m` [1/m] times the elevation of the site [m], above `from_m` [m].

    It stands for what thin air does in fan and leaks, and counts to the share of the density in the fan.
    """
    elevation = np.repeat(floats(work.batch.session["elevation_m"]), ragged.counts(work.batch.run_offsets))
    factor = np.where(elevation > from_m, 1.0 + per_m * elevation, 1.0)
    indicated = np.isin(work.batch.reading["flow_basis"], BY_CALIBRATION)
    work.flow_m3_h = np.where(indicated, work.flow_m3_h * work.to_readings(factor), work.flow_m3_h)
    work.note("elevation_unknown", np.isnan(elevation) & ragged.any_true(indicated, work.reading_offsets))
    work.close_stage("fan_density")


def correct_envelope_density(work: Work, *, humidity: bool = False) -> None:
    """Bring the flow through the fan to the flow through the leaks (mass is conserved).

    In the ratio of two dry densities the barometer cancels. With `humidity` the recorded relative humidity of either
    air counts, at the pressure of the site, or that of sea level where it is unknown; an air without one is dry.
    """
    pressure: Floats | float = air.STANDARD_PRESSURE_PA
    if humidity:
        pressure = np.where(np.isnan(work.barometer_pa), air.STANDARD_PRESSURE_PA, work.barometer_pa)
    factor = fan.envelope_density_factor(
        work.fan_air_kg_m3(pressure, humidity), work.leak_air_kg_m3(pressure, humidity)
    )
    through_fan = work.batch.reading["flow_basis"] != ENVELOPE_BASIS
    spread = np.where(through_fan, work.to_readings(np.where(np.isnan(factor), 1.0, factor)), 1.0)
    work.flow_m3_h = work.flow_m3_h * spread
    some = ragged.any_true(through_fan, work.reading_offsets)
    concerned = np.isnan(factor) & some
    work.note("envelope_density_not_corrected", concerned)
    work.note("temperature_unknown", concerned & (work.direction >= 0))
    _note_humidity(work, some, humidity)
    if humidity:
        work.note("humidity_partly_recorded", some & (np.isnan(work.fan_humidity) != np.isnan(work.leak_humidity)))
    work.close_stage("envelope_density")


# --- fit -------------------------------------------------------------------------------------------------------------


def fit_power_law(work: Work, *, confidence: float = 0.95) -> None:
    """Fit Q = C dp^n to each run of two usable points or more, with limits at a confidence [0 to 1]."""
    _fit(work, confidence)


def fit_weighted_power_law(work: Work, *, flow_power: float, confidence: float = 0.95) -> None:
    """Fit Q = C dp^n as `fit_power_law` does, each point weighing with its flow to a power [1]."""
    work.flow_power = flow_power
    _fit(work, confidence)


def fit_two_point(work: Work, *, primary_pa: float, secondary_pa: float) -> None:
    """Draw Q = C dp^n through the mean readings at two pressures [Pa], for runs that have both.

    The line through two means shows no error of its own, so it has no limits.
    """
    work.drawn_to_pa = (primary_pa, secondary_pa)
    _fit(work, np.nan)


def _fit(work: Work, confidence: float) -> None:
    along, sums = work.sums(work.line)
    law = work.once(powerlaw.law_of, along, work.drawn(work.line)[1], sums)
    work.law, work.confidence = law, confidence
    take = np.isfinite(law.exponent)
    work.log_coefficient = np.where(take, law.log_coefficient, work.log_coefficient)
    work.exponent = np.where(take, law.exponent, work.exponent)


def fit_one_point(work: Work, *, exponent: float = 0.65) -> None:
    """Draw Q = C dp^n through the point of each run that has just one, with an exponent [1] that is assumed."""
    take = ragged.counts(work.line.offsets) == 1
    log_pressure = ragged.means(work.line.log_pressure, work.line.offsets)
    log_flow = ragged.means(work.line.log_flow, work.line.offsets)
    work.assumed_exponent = exponent
    work.log_coefficient = np.where(take, powerlaw.one_point(log_pressure, log_flow, exponent), work.log_coefficient)
    work.exponent = np.where(take, exponent, work.exponent)
    work.exponent_assumed = take
    work.note("exponent_assumed", take)


# --- after the fit ---------------------------------------------------------------------------------------------------


def to_reference_conditions(
    work: Work,
    *,
    reference_temperature_c: float = 20.0,
    reference_pressure_pa: float = air.STANDARD_PRESSURE_PA,
    viscosity: bool = False,
    humidity: bool = False,
) -> None:
    """Bring the coefficient to dry air of a temperature [degrees Celsius] and pressure [Pa].

    By density, and by viscosity as well if asked. With `humidity` the recorded relative humidity counts in the density
    of the air in the leaks, else air is dry.
    """
    density = work.leak_air_kg_m3(work.barometer_pa, humidity)
    reference_density = air.air_density_kg_m3(reference_temperature_c, reference_pressure_pa)
    leak_viscosity = air.dynamic_viscosity_pa_s(work.leak_air_c) if viscosity else None
    reference_viscosity = air.dynamic_viscosity_pa_s(reference_temperature_c) if viscosity else None
    factor = powerlaw.reference_conditions_factor(
        work.exponent, density, reference_density, leak_viscosity, reference_viscosity
    )
    work.log_reference_factor = np.where(np.isnan(density), 0.0, np.log(factor))
    work.log_coefficient = work.log_coefficient + work.log_reference_factor
    everywhere = np.ones(density.size, dtype=np.bool_)
    work.note("reference_not_corrected", np.isnan(density))
    _note_humidity(work, everywhere, humidity)
    _note_air(work, everywhere, np.isnan(work.leak_air_c))


def state_leakage_area(
    work: Work, *, pressure_pa: float, discharge_coefficient: float, air_density_kg_m3: float
) -> None:
    """State a leakage area at a pressure [Pa], with a discharge coefficient [1] and an air density [kg/m3]."""
    work.leakage_area = (pressure_pa, discharge_coefficient, air_density_kg_m3)


def _note_air(work: Work, concerned: Flags, without_temperature: Flags) -> None:
    work.note("temperature_unknown", concerned & without_temperature & (work.direction >= 0))
    work.note("barometer_unknown", concerned & np.isnan(work.barometer_pa))
    work.note("barometer_from_elevation", concerned & work.from_elevation)


def _note_humidity(work: Work, concerned: Flags, humidity: bool) -> None:
    if not humidity:
        recorded = ~(np.isnan(work.fan_humidity) & np.isnan(work.leak_humidity))
        work.note("humidity_not_used", concerned & recorded)


CORRECTIONS: dict[str, Callable[..., None]] = {
    "air_pressure": assume_air_pressure,
    "baseline": subtract_baseline,
    "fan_calibration": apply_fan_calibration,
    "fan_density": correct_fan_density,
    "elevation_factor": apply_elevation_factor,
    "envelope_density": correct_envelope_density,
}
FITS: dict[str, Callable[..., None]] = {
    "power_law": fit_power_law,
    "weighted_power_law": fit_weighted_power_law,
    "two_point": fit_two_point,
    "one_point": fit_one_point,
}
AFTER: dict[str, Callable[..., None]] = {
    "reference_conditions": to_reference_conditions,
    "leakage_area": state_leakage_area,
}
STEPS: dict[str, Callable[..., None]] = {**CORRECTIONS, **FITS, **AFTER}
