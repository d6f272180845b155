"""The standard procedure, so that the judge can be seen to answer: mean baseline, unweighted log-log line.

Mean of the two baselines taken off, ordinary least squares of log flow on log pressure for each direction, mean of the
directions (ISO 9972 and ASTM E779, both from memory). One point takes an exponent of 0.65 instead of a line.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .house import density, viscosity
from .results import Run, Simulated

FIXED_EXPONENT = 0.65  # of a single point (ASTM E1827, from memory)


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
    """Size of the station pressures less the mean of the baselines [Pa]; where none is written, of the stations."""
    written = [x for x in (run.baseline_before_pa[line], run.baseline_after_pa[line]) if not np.isnan(x)]
    baseline = np.mean(written) if written else 0.0
    return (run.pressure_pa[line] - baseline) * (-1 if run.direction == "depressurisation" else 1)


def plain_line(test: Simulated, run: Run, viscosity_counts: bool = False) -> tuple[float, float]:
    """Coefficient [m3/(h Pa^n)] at reference conditions and exponent of one run; stations below 0 are left out."""
    pressure = corrected_pa(run)
    there = (pressure > 0) & (run.flow_m3_h > 0)
    exponent = slope(np.log(pressure[there]), np.log(run.flow_m3_h[there]))
    flow = reference_flow(test, run, exponent, viscosity_counts)[there]
    return coefficient(pressure[there], flow, exponent), exponent


def slope(x: np.ndarray, y: np.ndarray) -> float:
    """Least-squares slope, nan where fewer than two different x are there."""
    if len(x) < 2 or np.ptp(x) == 0:
        return float("nan")
    return float(((x - x.mean()) * (y - y.mean())).sum() / ((x - x.mean()) ** 2).sum())


def coefficient(pressure_pa: np.ndarray, flow_m3_h: np.ndarray, exponent: float) -> float:
    """Coefficient of the line of a given exponent through the means of the logs, nan where there is no point."""
    if not len(pressure_pa):
        return float("nan")
    return float(np.exp(np.mean(np.log(flow_m3_h)) - exponent * np.mean(np.log(pressure_pa))))


@dataclass(frozen=True, slots=True)
class Standard:
    """What the standard procedure makes of a record.

    Flows [m3/h] at reference conditions, mean of the directions as the exponent; nan where no line can be drawn. By
    run: coefficient and exponent, the corrected pressures (stations,) and the flows at reference conditions.
    """

    flow_50_m3_h: float
    flow_10_m3_h: float
    exponent: float
    lines: tuple[tuple[float, float], ...]
    corrected_pa: tuple[np.ndarray, ...]
    flows_m3_h: tuple[np.ndarray, ...]


def standard(test: Simulated, viscosity_counts: bool = False) -> Standard:
    """The standard procedure on the first line. Pressures count by size: the middle point tells the sign of the run."""
    lines, pressures, flows = [], [], []
    for run in test.runs:
        pressure = corrected_pa(run)
        pressure = pressure * (np.sign(np.median(pressure)) or 1.0)
        there = (pressure > 0) & (run.flow_m3_h > 0)
        exponent = FIXED_EXPONENT
        if len(run.target_pa) > 1:
            exponent = slope(np.log(pressure[there]), np.log(run.flow_m3_h[there]))
        flow = reference_flow(test, run, exponent, viscosity_counts)
        lines.append((coefficient(pressure[there], flow[there], exponent), exponent))
        pressures.append(pressure)
        flows.append(flow)
    at = {p: float(np.mean([c * p**n for c, n in lines])) for p in (50.0, 10.0)}
    mean_exponent = float(np.mean([n for _, n in lines]))
    return Standard(at[50.0], at[10.0], mean_exponent, tuple(lines), tuple(pressures), tuple(flows))
