"""The baseline: pressure inside minus outside with the fan off, before and after the points."""

from __future__ import annotations

import numpy as np

from interchange.analysis import ragged
from interchange.analysis.batch import Floats, Ints


def mean_baseline_pa(before_pa: Floats, after_pa: Floats) -> Floats:
    """Baseline to subtract [Pa]: the mean of before and after, or the one there is; NaN where there is none.

    References
    ----------
    [1] ISO 9972, zero-flow pressure subtracted from the readings (from memory).

    """
    both = (before_pa + after_pa) / 2.0
    return np.asarray(np.where(np.isnan(before_pa), after_pa, np.where(np.isnan(after_pa), before_pa, both)))


def first_baseline_pa(before_pa: Floats, after_pa: Floats) -> Floats:
    """Baseline to subtract [Pa] where only the one before the points counts; the one after where there is no other."""
    return np.asarray(np.where(np.isnan(before_pa), after_pa, before_pa))


def interpolated_baseline_pa(before_pa: Floats, after_pa: Floats, point_offsets: Ints) -> Floats:
    """Baseline at each point [Pa], on the straight line from the one before to the one after; or the one there is.

    b_k = before + (after - before) k / (N + 1) for point k of N. Points are taken to follow one another at equal
    intervals in the order recorded, the baselines one interval before the first and after the last: the batch holds no
    times. Its mean over the run is that of both baselines. No source; it takes out a drift that goes one way.
    """
    count = ragged.counts(point_offsets)
    place = np.arange(point_offsets[-1]) - np.repeat(point_offsets[:-1], count) + 1.0
    before, after, number = (np.repeat(values, count) for values in (before_pa, after_pa, count + 1.0))
    between = before + (after - before) * (place / number)
    return np.asarray(np.where(np.isnan(before), after, np.where(np.isnan(after), before, between)))


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
