"""Segment reductions: one value per segment of a flat array, right for empty segments anywhere.

`offsets` has one entry more than there are segments; segment i is `values[offsets[i]:offsets[i + 1]]`.
numpy's `reduceat` gives the neighbour's first value for an empty segment, so only segments that hold something
are handed to it. A segment's result depends on its own values alone, never on where it stands: `reduceat` adds each
segment by itself, in an order that its length decides. Differences of a running sum would not do.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Floats, Ints


def counts(offsets: Ints) -> Ints:
    """Length of each segment."""
    return np.diff(offsets)


def sums(values: NDArray[np.generic], offsets: Ints) -> Floats:
    """Sum of each segment; 0 for an empty one. Of a table, segments of each row."""
    return _reduced(np.add, values, offsets, 0.0)


def means(values: NDArray[np.generic], offsets: Ints) -> Floats:
    """Mean of each segment; NaN for an empty one."""
    length = np.diff(offsets)
    return _reduced(np.add, values, offsets, np.nan) / np.maximum(length, 1)


def minima(values: NDArray[np.generic], offsets: Ints) -> Floats:
    """Least value of each segment, NaN where the segment holds NaN or nothing."""
    return _reduced(np.minimum, values, offsets, np.nan)


def maxima(values: NDArray[np.generic], offsets: Ints) -> Floats:
    """Greatest value of each segment, NaN where the segment holds NaN or nothing."""
    return _reduced(np.maximum, values, offsets, np.nan)


def any_true(flags: NDArray[np.bool_], offsets: Ints) -> NDArray[np.bool_]:
    """Whether a segment holds a true value; false for an empty one."""
    if not flags.any():
        return np.zeros(offsets.size - 1, dtype=np.bool_)
    return np.asarray(sums(flags, offsets) > 0)


def spread_out(values: Floats, offsets: Ints) -> Floats:
    """One value per segment, repeated for each element of the segment."""
    return np.repeat(values, np.diff(offsets))


def kept(offsets: Ints, keep: NDArray[np.bool_]) -> Ints:
    """Offsets of the same segments after the elements not marked are taken out."""
    inner = keep[offsets[0] : offsets[-1]]
    position = np.zeros(inner.size + 1, dtype=np.int64)
    np.cumsum(inner, out=position[1:])
    return np.asarray(position[offsets - offsets[0]])


def _reduced(ufunc: np.ufunc, values: NDArray[np.generic], offsets: Ints, empty: float) -> Floats:
    flat = np.asarray(values[..., : offsets[-1]], dtype=np.float64)
    filled = offsets[1:] > offsets[:-1]
    if filled.all() and filled.size:
        one_each = offsets[-1] - offsets[0] == filled.size
        return flat[..., offsets[0] :].copy() if one_each else np.asarray(ufunc.reduceat(flat, offsets[:-1], axis=-1))
    result = np.full((*flat.shape[:-1], filled.size), empty)
    if filled.any():
        result[..., filled] = ufunc.reduceat(flat, offsets[:-1][filled], axis=-1)
    return result
