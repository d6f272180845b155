"""Wind on a small house: speed with height, gusts at 1 s, pressure on each face.

The speed follows a von Karman spectrum, so pressures rise and fall as in real gusts; each face adds small eddies of
its own. Wind pressure is quasi-steady: dynamic pressure at roof height times the face's coefficient.

References
----------
[1] ASHRAE Handbook of Fundamentals, chapter 16, equation 26 (Walker and Wilson 1994), with the low-rise coefficients
    of Akins et al. 1979 and Wiren 1985.
[2] ASHRAE Handbook of Fundamentals, chapter 24, equations 2 and 4, table 1: dynamic pressure and wind profile.
[3] von Karman spectrum of the speed along the wind, S(f) ~ (1 + 70.8 (f L / U)^2)^(-5/6); from memory.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

FACADES_DEG = {"north": 0.0, "east": 90.0, "south": 180.0, "west": 270.0}
FACES = (*FACADES_DEG, "ceiling", "floor")
CEILING_COEFFICIENT = -0.25  # vented loft; an assumption of the invented houses
FLOOR_COEFFICIENT = 0.0  # an assumption of the invented houses

_WINDWARD, _LEEWARD, _SIDE = 0.6, -0.3, -0.65  # wall coefficients [1]
_OPEN_POWER, _OPEN_LAYER_M, _STATION_HEIGHT_M = 0.14, 270.0, 10.0  # open country and its station [2]
_SUBURB_POWER, _SUBURB_LAYER_M = 0.22, 370.0  # [2]

SHELTER = 0.7  # share of the speed that neighbouring houses leave: shelter class 3 (chapter 16, table 9)
INTENSITY = 0.25  # standard deviation of the speed over its mean, at roof height among houses; assumption
SCALE_M = 70.0  # integral length scale; 50 to 100 m is common practice, no source
DIRECTION_SPREAD_DEG = 11.0  # assumption
EDDY_SHARE = 0.15  # standard deviation of a face's own eddies over the mean dynamic pressure; assumption
EDDY_SIZE_M = 8.0  # assumption: about the width of a house
_LEAST_SPEED_M_S = 0.3  # keeps time scales finite in a calm
_LONGEST_S = 4096  # length of the synthesised series: slow drifts stay in


def dynamic_pressure_pa(density_kg_m3: float, speed_m_s: Array | float) -> Array:
    """Dynamic pressure [Pa] = 0.5 rho U^2 [2]."""
    return np.asarray(0.5 * density_kg_m3 * np.square(speed_m_s), dtype=np.float64)


def wall_coefficient(angle_deg: Array | float) -> Array:
    """Pressure coefficient of a wall whose outward normal stands at an angle [deg] from the wind [1]."""
    cosine, sine = np.cos(np.radians(angle_deg)), np.sin(np.radians(angle_deg))
    signed = np.sign(cosine) * np.abs(cosine) ** 0.75
    along = (_WINDWARD + _LEEWARD) * np.abs(cosine) ** 0.5 + (_WINDWARD - _LEEWARD) * signed
    across = 2.0 * _SIDE * sine**4
    return np.asarray(0.5 * (along + across), dtype=np.float64)


def speed_among_houses_m_s(station_m_s: float, height_m: float) -> float:
    """Mean speed [m/s] at a height [m] in the shelter of houses from the speed at 10 m in open country [2]."""
    above = station_m_s * (_OPEN_LAYER_M / _STATION_HEIGHT_M) ** _OPEN_POWER
    return float(SHELTER * above * (height_m / _SUBURB_LAYER_M) ** _SUBURB_POWER)


def gusts(rng: np.random.Generator, seconds: int, mean_m_s: float, scale_m: float = SCALE_M) -> Array:
    """Series at 1 s of mean 0 and standard deviation 1 with a von Karman spectrum [3]."""
    frequency_hz = np.fft.rfftfreq(max(_LONGEST_S, seconds), 1.0)
    weight = (1.0 + 70.8 * np.square(frequency_hz * scale_m / max(mean_m_s, _LEAST_SPEED_M_S))) ** (-5.0 / 12.0)
    weight[[0, -1]] = 0.0
    phases = rng.standard_normal((2, weight.size))
    series = np.fft.irfft(weight * (phases[0] + 1j * phases[1]))
    return np.asarray(series[:seconds] * series.size / (2.0 * np.sqrt(np.sum(weight**2))), dtype=np.float64)


def eddies(rng: np.random.Generator, seconds: int, faces: int, scale_s: float) -> Array:
    """First-order series at 1 s, shape (seconds, faces), of mean 0, standard deviation 1 and time scale [s]."""
    keep = np.exp(-1.0 / scale_s)
    noise = rng.standard_normal((seconds, faces))
    series = np.empty((seconds, faces))
    series[0] = noise[0]
    for second in range(1, seconds):
        series[second] = keep * series[second - 1] + np.sqrt(1.0 - keep**2) * noise[second]
    return series


@dataclass(frozen=True, slots=True)
class Wind:
    """What the wind does to a house, second by second."""

    speed_m_s: Array  # at roof height, shape (seconds,)
    face_pa: Array  # pressure on each of FACES over undisturbed air, shape (seconds, 6)
    eddy_pa: float  # standard deviation of eddies on one face


def blow(
    rng: np.random.Generator, seconds: int, *, station_m_s: float, from_deg: float, roof_m: float, density_kg_m3: float
) -> Wind:
    """Wind about a house for some seconds.

    station_m_s [m/s] is the mean speed at 10 m in open country, roof_m [m] the height of the eaves.
    """
    mean_m_s = speed_among_houses_m_s(station_m_s, roof_m)
    speed = np.maximum(0.0, mean_m_s * (1.0 + INTENSITY * gusts(rng, seconds, mean_m_s)))
    direction = from_deg + DIRECTION_SPREAD_DEG * gusts(rng, seconds, mean_m_s)
    own = eddies(rng, seconds, len(FACES), max(1.0, EDDY_SIZE_M / max(mean_m_s, _LEAST_SPEED_M_S)))
    dynamic = dynamic_pressure_pa(density_kg_m3, speed)
    eddy_pa = float(EDDY_SHARE * dynamic_pressure_pa(density_kg_m3, mean_m_s))
    walls = [wall_coefficient(direction - normal) for normal in FACADES_DEG.values()]
    level = np.full(seconds, CEILING_COEFFICIENT), np.full(seconds, FLOOR_COEFFICIENT)
    face = np.stack([*walls, *level], axis=1) * dynamic[:, None] + eddy_pa * own
    face[:, FACES.index("floor")] = 0.0
    return Wind(speed, face, eddy_pa)
