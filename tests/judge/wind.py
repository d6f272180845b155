"""Wind at the house: terrain profile, turbulence by the von Karman spectra, slow changes of speed and direction.

References
----------
[1] ASHRAE Handbook Fundamentals (SI), chapter 24, equation 4 and table 1: the power-law profile.
[2] The von Karman spectra as written in ESDU 85020 (from memory):
    along the wind  f S/s2 = 4 X / (1 + 70.8 X^2)^(5/6),
    across the wind f S/s2 = 4 Y (1 + 755.2 Y^2) / (1 + 283.2 Y^2)^(11/6),  X = f Lu/U, Y = f Lv/U, Lv = Lu/2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.signal import lfilter

MET_HEIGHT_M = 10.0  # height of the mast at the weather station [1]


@dataclass(frozen=True, slots=True)
class Terrain:
    """Exponent and boundary-layer height [m] of the power-law wind profile."""

    exponent: float
    layer_m: float


# table 1 of [1]
CITY = Terrain(0.33, 460.0)
SUBURB = Terrain(0.22, 370.0)
OPEN_COUNTRY = Terrain(0.14, 270.0)
WATER = Terrain(0.10, 210.0)


@dataclass(frozen=True, slots=True)
class Wind:
    """The wind of one test.

    The mean speed is that of a weather station 10 m above open country; the terrain takes it to the house.
    Intensity and length scale belong to the along-wind turbulence at the height of the eaves. A direction of None is
    drawn anew for every test.
    """

    speed_10m_m_s: float = 4.0
    from_deg: float | None = None
    terrain: Terrain = SUBURB
    intensity: float = 0.25  # about 1/ln(z/z0) with z 5 m and z0 0.1 m to 0.3 m (EN 1991-1-4, from memory)
    length_scale_m: float = 60.0  # 50 m to 100 m near the ground (from memory)
    across_ratio: float = 0.75  # across over along standard deviation (ESDU 85020, from memory)
    slow_speed: float = 0.1  # standard deviation of the slow changes over the mean speed (judgement)
    slow_direction_deg: float = 8.0  # standard deviation of the slow changes of direction (judgement)
    slow_time_s: float = 300.0  # their time scale (judgement)


@dataclass(frozen=True, slots=True)
class WindSeries:
    """Speed at the eaves [m/s] and direction the wind comes from [deg], one value a time step."""

    speed_m_s: np.ndarray
    from_deg: np.ndarray


def speed_at(wind: Wind, height_m: float) -> float:
    """Mean speed at a height above the site [m/s], equation 4 of [1]."""
    aloft = (OPEN_COUNTRY.layer_m / MET_HEIGHT_M) ** OPEN_COUNTRY.exponent
    return wind.speed_10m_m_s * aloft * (height_m / wind.terrain.layer_m) ** wind.terrain.exponent


def along_spectrum(frequency_hz: np.ndarray, length_over_speed_s: float) -> np.ndarray:
    """One-sided spectrum of unit variance along the wind [s] [2]."""
    x = frequency_hz * length_over_speed_s
    return 4 * length_over_speed_s / (1 + 70.8 * x**2) ** (5 / 6)


def across_spectrum(frequency_hz: np.ndarray, length_over_speed_s: float) -> np.ndarray:
    """One-sided spectrum of unit variance across the wind [s] [2], given the along-wind length scale."""
    half_s = length_over_speed_s / 2
    y = frequency_hz * half_s
    return 4 * half_s * (1 + 755.2 * y**2) / (1 + 283.2 * y**2) ** (11 / 6)


def from_spectrum(spectrum, steps: int, step_s: float, rng: np.random.Generator) -> np.ndarray:
    """A Gaussian series with the one-sided spectrum given as a function of frequency [Hz].

    Made over twice the time wanted and cut, so that its end does not lead back into its beginning. What lies above the
    Nyquist frequency is left out: a gust that short does not cover a facade.
    """
    total = 2 * steps
    frequency_hz = np.arange(1, steps + 1) / (total * step_s)
    amplitude = np.sqrt(spectrum(frequency_hz) / (total * step_s))
    parts = rng.standard_normal((2, steps))
    bins = np.concatenate(([0.0], amplitude * (parts[0] - 1j * parts[1])))
    return np.fft.irfft(bins * steps, total)[:steps]


def turbulence(length_over_speed_s: float, steps: int, step_s: float, rng: np.random.Generator) -> np.ndarray:
    """Along-wind turbulence of unit variance."""
    return from_spectrum(lambda f: along_spectrum(f, length_over_speed_s), steps, step_s, rng)


def slow_changes(time_scale_s: float, steps: int, step_s: float, rng: np.random.Generator) -> np.ndarray:
    """A first-order Gauss-Markov series of unit variance."""
    kept = np.exp(-step_s / time_scale_s)
    noise = rng.standard_normal(steps)
    noise[1:] *= np.sqrt(1 - kept**2)
    return lfilter([1.0], [1.0, -kept], noise)


def blow(wind: Wind, height_m: float, steps: int, step_s: float, rng: np.random.Generator) -> WindSeries:
    """The wind at the eaves during one test."""
    mean = speed_at(wind, height_m)
    from_deg = rng.uniform(0.0, 360.0) if wind.from_deg is None else wind.from_deg
    if mean == 0.0:
        return WindSeries(np.zeros(steps), np.full(steps, from_deg))
    time_s = wind.length_scale_m / mean
    gust = wind.intensity * mean
    along = mean + gust * turbulence(time_s, steps, step_s, rng)
    across = gust * wind.across_ratio * from_spectrum(lambda f: across_spectrum(f, time_s), steps, step_s, rng)
    along = along + wind.slow_speed * mean * slow_changes(wind.slow_time_s, steps, step_s, rng)
    turning = wind.slow_direction_deg * slow_changes(wind.slow_time_s, steps, step_s, rng)
    return WindSeries(np.hypot(along, across), from_deg + turning + np.degrees(np.arctan2(across, along)))
