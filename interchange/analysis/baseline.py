"""The baseline: pressure inside minus outside with the fan off, before and after the points."""

from __future__ import annotations

import numpy as np

from interchange.analysis.batch import Floats


def mean_baseline_pa(before_pa: Floats, after_pa: Floats) -> Floats:
    """Baseline to subtract [Pa]: the mean of before and after, or the one there is; NaN where there is none.

    References
    ----------
    [1] ISO 9972, zero-flow pressure subtracted from the readings (from memory).

    """
    both = (before_pa + after_pa) / 2.0
    return np.asarray(np.where(np.isnan(before_pa), after_pa, np.where(np.isnan(after_pa), before_pa, both)))


def induced_pressure_pa(envelope_pressure_pa: Floats, baseline_pa: Floats) -> Floats:
    """Pressure the fan makes [Pa]: the recorded one minus the baseline; unchanged where the baseline is NaN."""
    return np.asarray(envelope_pressure_pa - np.where(np.isnan(baseline_pa), 0.0, baseline_pa))


def baseline_shift_pa(before_pa: Floats, after_pa: Floats) -> Floats:
    """How far the baseline moved during the run [Pa], after minus before; NaN unless both are there."""
    return np.asarray(after_pa - before_pa)


def largest_magnitude(*values: Floats) -> Floats:
    """The value of largest magnitude, with its sign; NaN where all are NaN. Of a tie the first is taken."""
    largest = np.asarray(values[0])
    for value in values[1:]:
        take = ~np.isnan(value) & (np.isnan(largest) | (np.abs(value) > np.abs(largest)))
        largest = np.where(take, value, largest)
    return largest
