"""Pressure gauges: averaging, gain, offset, noise and resolution."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np


@dataclass(frozen=True, slots=True)
class Gauge:
    """A gauge that shows one value a second; offset and gain error are drawn once a test.

    Defaults are judgement: a good digital gauge with a yearly calibration.
    """

    averaging_s: int = 1
    resolution_pa: float = 0.1
    offset_sd_pa: float = 0.1
    gain_sd: float = 0.005
    noise_pa: float = 0.05  # of one second, before averaging

    def __post_init__(self) -> None:
        if not 1 <= self.averaging_s <= 30:
            raise ValueError(f"averaging_s is {self.averaging_s}, expected whole seconds from 1 to 30")


PERFECT_GAUGE = Gauge(resolution_pa=0.0, offset_sd_pa=0.0, gain_sd=0.0, noise_pa=0.0)


def shown(gauge: Gauge, seconds_pa: np.ndarray, rng: np.random.Generator) -> np.ndarray:
    """What the gauge shows each second [Pa], given the true mean of each second (seconds,)."""
    gain = 1.0 + rng.normal(0.0, gauge.gain_sd)
    offset = rng.normal(0.0, gauge.offset_sd_pa)
    noisy = gain * seconds_pa + offset + gauge.noise_pa * rng.standard_normal(seconds_pa.shape)
    return rounded(trailing_mean(noisy, gauge.averaging_s), gauge.resolution_pa)


def trailing_mean(series: np.ndarray, length: int) -> np.ndarray:
    """Mean of the last `length` values, of those there are at the beginning."""
    total = np.concatenate(([0.0], np.cumsum(series)))
    stop = np.arange(1, len(series) + 1)
    start = np.maximum(stop - length, 0)
    return (total[stop] - total[start]) / (stop - start)


def rounded(series: np.ndarray, resolution: float) -> np.ndarray:
    """To the nearest whole step; a resolution of 0 leaves the values as they are."""
    return series if resolution == 0.0 else resolution * np.round(series / resolution)
