"""The fan: flow from its pressure signal, and which air that flow is counted at."""

from __future__ import annotations

import numpy as np

from interchange.analysis import ragged
from interchange.analysis.air import Number
from interchange.analysis.batch import Floats, Ints


def calibrated_flow_m3_h(
    fan_pressure_pa: Floats,
    calibration_row: Ints,
    fan_coefficient_m3_h: Floats,
    fan_exponent: Floats,
    calibration_point_offsets: Ints,
    calibration_pressure_pa: Floats,
    calibration_flow_m3_h: Floats,
) -> Floats:
    """Flow through a fan [m3/h] at the air density of its calibration, from its pressure signal [Pa].

    One entry a reading; `calibration_row` says which calibration holds for it, -1 for none. A calibration is a power
    law, Q = c p^m with c [m3/h] and m [1], or the rows of a table between its two offsets, pressures [Pa] and flows
    [m3/h] rising. Between two rows of a table the logarithm of the flow is linear in that of the pressure, so a table
    read off a power law gives that law back. To interpolate in logarithms is our choice, no source. A table is not
    extrapolated: beyond its first and last row the flow is NaN. A power law is assumed to hold for the signal.

    The signal counts as a magnitude: its sign only tells how the tubes were put on.

    References
    ----------
    [1] Power law of an orifice-type flow meter, fitted at its calibration; physics.

    """
    signal = np.abs(fan_pressure_pa)
    coefficient, exponent = (np.append(law, np.nan)[calibration_row] for law in (fan_coefficient_m3_h, fan_exponent))
    flow: Floats = coefficient * signal**exponent
    has_table = np.append(np.diff(calibration_point_offsets) > 0, False)[calibration_row]
    tabled = np.flatnonzero(has_table)
    if tabled.size:
        first = calibration_point_offsets[:-1][calibration_row[tabled]]
        last = calibration_point_offsets[1:][calibration_row[tabled]] - 1
        flow[tabled] = _interpolated(signal[tabled], first, last, calibration_pressure_pa, calibration_flow_m3_h)
    return flow


def calibration_range_pa(
    minimum_fan_pressure_pa: Floats,
    maximum_fan_pressure_pa: Floats,
    calibration_point_offsets: Ints,
    calibration_pressure_pa: Floats,
) -> tuple[Floats, Floats]:
    """Lowest and highest fan pressure [Pa] that each calibration holds for; NaN where it does not say.

    The narrower of what is stated and, for a table, its first and last row. Arguments as in `calibrated_flow_m3_h`.
    """
    first = ragged.minima(calibration_pressure_pa, calibration_point_offsets)
    last = ragged.maxima(calibration_pressure_pa, calibration_point_offsets)
    return np.fmax(minimum_fan_pressure_pa, first), np.fmin(maximum_fan_pressure_pa, last)


def _interpolated(signal: Floats, first: Ints, last: Ints, pressure: Floats, flow: Floats) -> Floats:
    """Flow at each signal by the table from row `first` to row `last`; NaN beyond it."""
    found = np.full(signal.size, np.nan)
    inside = (signal >= pressure[first]) & (signal <= pressure[last])
    signal = signal[inside]
    low, high = rows_around(signal, first[inside], last[inside], pressure)
    start, length = np.log(pressure[low]), np.log(pressure[high]) - np.log(pressure[low])
    way = (np.log(signal) - start) / np.where(length > 0, length, 1.0)  # rows can differ by less than logarithms tell
    log_flow = np.log(flow[low])
    found[inside] = np.exp(log_flow + way * (np.log(flow[high]) - log_flow))
    return found


def rows_around(signal: Floats, low: Ints, high: Ints, pressure: Floats) -> tuple[Ints, Ints]:
    """The two neighbouring rows of a table between which each signal [Pa] lies, out of rows `low` to `high`."""
    while (high - low > 1).any():  # halve every reading's stretch of its table until two rows are left
        middle = (low + high) // 2
        above = pressure[middle] <= signal
        low, high = np.where(above, middle, low), np.where(above, high, middle)
    return low, high


def fan_density_factor(reference_air_density_kg_m3: Number, fan_air_density_kg_m3: Number) -> Floats:
    """Factor [1] from the flow at the calibration's air density to the flow of the air that passes the fan.

    Q / Q_cal = sqrt(rho_cal / rho_fan), densities [kg/m3]. Assumes a pressure-drop meter whose discharge
    coefficient does not change. Depressurising, indoor air passes the fan; pressurising, outdoor air.

    References
    ----------
    [1] Bernoulli for an orifice at equal pressure signal; physics. ATTMA TSL2 (2010), A.1.3 names the two densities
        (read, though whether it prints the root could not be seen).

    """
    return np.asarray(np.sqrt(np.asarray(reference_air_density_kg_m3, dtype=np.float64) / fan_air_density_kg_m3))


def envelope_density_factor(fan_air_density_kg_m3: Number, leak_air_density_kg_m3: Number) -> Floats:
    """Factor [1] from the flow through the fan to the flow through the leaks: mass is conserved.

    Q_env / Q_m = rho_fan / rho_leak, densities [kg/m3]: rho_in / rho_out when depressurising, rho_out / rho_in when
    pressurising. Holds for a flow that is already counted at the density of the air in the fan.

    References
    ----------
    [1] ATTMA TSL2 (2010), A.1.4, equations 5 and 6 (read); ISO 9972, ASTM E779 (from memory).

    """
    return np.asarray(np.asarray(fan_air_density_kg_m3, dtype=np.float64) / leak_air_density_kg_m3)
