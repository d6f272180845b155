"""Two results of one test side by side: the standard one and the best estimate in wind.

Gauge and fan err alike in both, as both stand on the same readings. So what is held against their difference is the
noise that each of them allows for, without the accuracy of instruments.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import plain
from interchange.analysis.batch import Floats
from interchange.analysis.uncertainty import COVERAGE_FACTOR, OF_AIR, PRESSURES_PA, Budget
from interchange.analysis.work import floats

WORTH_SAYING_PERCENT = plain.WORTH_SAYING_PERCENT
_SHARED = ("gauge_gain", "gauge_offset", "fan_flow", *OF_AIR)


def differences(
    result: Mapping[str, NDArray[np.generic]], budget: Budget, estimate: Mapping[str, NDArray[np.generic]]
) -> dict[str, NDArray[np.generic]]:
    """For each pressure of the budget: best estimate against the result [%], and whether noise leaves it unexplained.

    They differ where the ratio of the two flows is beyond the 95 % limits of either's noise; not where one is NaN.
    """
    columns: dict[str, NDArray[np.generic]] = {}
    for place, pressure in enumerate(PRESSURES_PA):
        own = floats(result[f"flow_{pressure:.0f}_m3_h"])
        best, low, high = (floats(estimate[f"robust_flow_{pressure:.0f}{end}_m3_h"]) for end in ("", "_low", "_high"))
        instruments = np.sqrt(sum(budget.parts[name][:, place] ** 2 for name in _SHARED))
        apart = np.log(best / own)
        half = np.maximum(
            _without(COVERAGE_FACTOR * budget.total[:, place], COVERAGE_FACTOR * instruments),
            _without(0.5 * np.log(high / low), COVERAGE_FACTOR * instruments),
        )
        columns[f"robust_difference_{pressure:.0f}_percent"] = 100.0 * np.expm1(apart)
        columns[f"robust_differs_{pressure:.0f}"] = np.abs(apart) > half
    return columns


def _without(whole: Floats, part: Floats) -> Floats:
    """What is left of a half-width when an independent part of it is taken out."""
    return np.sqrt(np.maximum(whole**2 - part**2, 0.0))
