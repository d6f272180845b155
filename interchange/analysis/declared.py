"""Points that a source declares, held against those found in its trace."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from interchange.analysis.batch import Floats, Ints
from interchange.analysis.noise import NOISE, NoiseDefaults, mean_share, segments


@dataclass(frozen=True, slots=True)
class Agreement:
    """For each declared point: which found one is nearest, -1 where none is near, and how far off it is.

    `difference_pa` is found less declared, `standard_error_pa` what the mean of the declared seconds may be off by,
    `z` their ratio [1]. `extra_count` found points are nearest to no declared one.
    """

    nearest: Ints
    difference_pa: Floats
    standard_error_pa: Floats
    z: Floats
    extra_count: int


def agreement(
    declared_pa: Floats,
    spread_pa: Floats,
    seconds: Floats,
    found_pa: Floats,
    *,
    near_share: float = 0.1,
    near_pa: float = 2.0,
    defaults: NoiseDefaults = NOISE,
) -> Agreement:
    """Declared pressures [Pa] with the spread of their readings [Pa] and their length [s] against found ones [Pa].

    Records say nothing of when a point was held, so points are told by their pressure: the nearest of the same sign,
    within `near_share` of it, or `near_pa` where that is more. The standard error is that of a mean of turbulence,
    S sqrt(g), S^2 = spread^2 / (1 - g), with g of `noise.mean_share`; where no spread is recorded, the usual one.
    """
    nearest = np.full(declared_pa.size, -1, dtype=np.int64)
    difference = np.full(declared_pa.size, np.nan)
    if found_pa.size and declared_pa.size:
        gap = np.abs(found_pa[None, :] - declared_pa[:, None])
        gap[np.sign(found_pa)[None, :] != np.sign(declared_pa)[:, None]] = np.inf
        best = gap.argmin(axis=1)
        near = gap[np.arange(declared_pa.size), best] <= np.maximum(near_share * np.abs(declared_pa), near_pa)
        nearest = np.where(near, best, -1)
        difference = np.where(near, found_pa[best] - declared_pa, np.nan)
    stretch = segments(seconds, np.full(seconds.size, np.nan), spread_pa, defaults.point_s, defaults)
    share = mean_share(stretch.duration_s, defaults.time_scale_s)
    turbulent = np.where(np.isnan(spread_pa), defaults.turbulent_pa, spread_pa / np.sqrt(1.0 - share))
    error = np.hypot(turbulent * np.sqrt(share), defaults.floor_pa)
    extra = int(found_pa.size - np.unique(nearest[nearest >= 0]).size)
    return Agreement(nearest, difference, error, difference / error, extra)
