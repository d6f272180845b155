"""The plain procedure, so that the judge can be seen to answer to wind: mean baseline, unweighted log-log line."""

from __future__ import annotations

import numpy as np

from .house import density, viscosity
from .results import Run, Simulated


def reference_flow(test: Simulated, run: Run, exponent: float, viscosity_counts: bool = False) -> np.ndarray:
    """Flow of the stations through the envelope, of air at reference conditions [m3/h].

    Indicated to true flow of the fan's air, to flow of the air that passes the leaks (the same mass), to reference
    conditions: C_ref = C (rho/rho_ref)^(1-n), and (mu/mu_ref)^(2n-1) where viscosity counts (ISO 9972 and ASTM E779,
    both from memory).
    """
    outwards_by_fan = run.direction == "depressurisation"
    fan_c, leak_c = (test.indoor_c, test.outdoor_c) if outwards_by_fan else (test.outdoor_c, test.indoor_c)
    fan, leak, reference = density(fan_c, test.barometer_pa), density(leak_c, test.barometer_pa), density(20.0)
    flow = run.flow_m3_h * np.sqrt(reference / fan) * fan / leak * (leak / reference) ** (1 - exponent)
    return flow * (viscosity(leak_c) / viscosity(20.0)) ** (2 * exponent - 1) if viscosity_counts else flow


def corrected_pa(run: Run, line: int = 0) -> np.ndarray:
    """Size of the station pressures less the mean of the baselines [Pa]."""
    baseline = np.nanmean([run.baseline_before_pa[line], run.baseline_after_pa[line]])
    return (run.pressure_pa[line] - baseline) * (-1 if run.direction == "depressurisation" else 1)


def plain_line(test: Simulated, run: Run, viscosity_counts: bool = False) -> tuple[float, float]:
    """Coefficient [m3/(h Pa^n)] at reference conditions and exponent of one run; stations below 0 are left out."""
    pressure = corrected_pa(run)
    there = pressure > 0
    exponent, _ = np.polyfit(np.log(pressure[there]), np.log(run.flow_m3_h[there]), 1)
    flow = reference_flow(test, run, exponent, viscosity_counts)
    return float(np.exp(np.mean(np.log(flow[there])) - exponent * np.mean(np.log(pressure[there])))), float(exponent)
