"""Which one known slip explains a ratio between two values that ought to be the same."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.air import Number
from interchange.analysis.batch import Floats
from interchange.units import SLIPS

NONE = -1
ROUNDED_DIGITS = 4  # decimals that a recorded number is looked at for


@dataclass(frozen=True, slots=True)
class Candidate:
    """A slip by its place in `SLIPS`, and the power [1] with which the quantity it is in enters the ratio."""

    slip: int
    power: Number


@dataclass(frozen=True, slots=True)
class Explained:
    """For each ratio: place of the slip in `SLIPS`, NONE where none explains it, and what is left of the ratio [%]."""

    slip: NDArray[np.int64]
    residual_percent: Floats


def candidates(of: str, power: Number = 1.0) -> list[Candidate]:
    """The slips of a kind, in a quantity that enters the ratio with a power."""
    return [Candidate(place, power) for place, slip in enumerate(SLIPS) if slip.of == of]


def explain(log_ratio: Floats, possible: Sequence[Candidate], tolerance: Number) -> Explained:
    """The slip that brings a ratio nearest to 1, where that is within a tolerance; both as natural logarithms.

    A slip by the factor f in a quantity of power k makes a ratio of f^k out of 1.
    """
    made = np.array([np.broadcast_to(one.power * np.log(SLIPS[one.slip].factor), log_ratio.shape) for one in possible])
    left = log_ratio - made
    distance = np.where(np.isnan(left), np.inf, np.abs(left))
    nearest = np.argmin(distance, axis=0)
    column = np.arange(log_ratio.size)
    found = distance[nearest, column] <= tolerance
    places = np.array([one.slip for one in possible])
    residual = 100.0 * np.expm1(np.where(found, left[nearest, column], np.nan))
    return Explained(np.where(found, places[nearest], NONE), residual)


def log_rounding(values: Floats, most: float = 0.05) -> Floats:
    """What rounding may have done to the logarithm of a number: half its last decimal; 0 where it shows no rounding.

    A number that was converted from another unit shows none. `most` [1] limits it: 1 may be 1.0 as well as 1.
    """
    half = np.zeros(values.size)
    for decimals in range(ROUNDED_DIGITS - 1, -1, -1):
        step = 10.0**-decimals
        rounded = np.abs(np.round(values / step) * step - values) < 1e-9 * np.abs(values)
        half = np.where(rounded, step / 2.0, half)
    with np.errstate(divide="ignore", invalid="ignore"):
        return np.asarray(np.minimum(np.nan_to_num(half / np.abs(values)), most))
