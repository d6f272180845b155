"""The fan: flow from its pressure signal, and which air that flow is counted at."""

from __future__ import annotations

import numpy as np

from interchange.analysis.air import Number
from interchange.analysis.batch import Floats


def calibrated_flow_m3_h(fan_pressure_pa: Number, fan_coefficient_m3_h: Number, fan_exponent: Number) -> Floats:
    """Flow through a fan [m3/h] at the air density of its calibration, from its pressure signal [Pa].

    Q = c p^m. The signal counts as a magnitude: its sign only tells how the tubes were put on. Assumes that the
    signal lies in the range of the calibration.

    References
    ----------
    [1] Power law of an orifice-type flow meter, fitted at its calibration; physics.

    """
    signal = np.abs(np.asarray(fan_pressure_pa, dtype=np.float64))
    return np.asarray(fan_coefficient_m3_h * signal**fan_exponent)


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
