"""From a flow to what people compare: leakage area and air changes."""

from __future__ import annotations

import numpy as np

from interchange.analysis.air import Number
from interchange.analysis.batch import Floats

S_PER_H = 3600.0


def leakage_area_m2(
    flow_m3_h: Number, pressure_pa: Number, discharge_coefficient: Number, air_density_kg_m3: Number
) -> Floats:
    """Area [m2] of the opening that would pass a flow [m3/h] at a pressure [Pa].

    A = Q sqrt(rho / (2 dp)) / C_d, Q in m3/s, rho [kg/m3] and C_d [1]. A leakage area means nothing without its
    pressure and its C_d: 4 Pa and 1 (ASTM E779, E1827), 10 Pa and 0.611 (CAN/CGSB-149.10), 10 Pa and 1 (ISO 9972).

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 16, equation 41 (read).

    """
    flow_m3_s = np.asarray(flow_m3_h, dtype=np.float64) / S_PER_H
    return np.asarray(flow_m3_s * np.sqrt(air_density_kg_m3 / (2.0 * np.asarray(pressure_pa))) / discharge_coefficient)


def air_changes_per_h(flow_m3_h: Number, volume_m3: Number) -> Floats:
    """Air changes an hour [1/h]: flow [m3/h] over inside volume [m3].

    References
    ----------
    [1] ISO 9972, air change rate at the reference pressure (from memory); definition.

    """
    return np.asarray(np.asarray(flow_m3_h, dtype=np.float64) / volume_m3)
