"""What needs no arrays: numbers that several kernels share, and the interval of a share.

A command that only counts takes them from here and starts without numpy.
"""

from __future__ import annotations

import math

COVERAGE_FACTOR = 1.959964  # [1] 97.5 % quantile of the standard normal
# [%] by pressure [Pa]: a difference that matters to a programme. Common practice, no source.
WORTH_SAYING_PERCENT = {50.0: 5.0, 10.0: 10.0}


def share_limits(found: int, asked: int, coverage_factor: float = COVERAGE_FACTOR) -> tuple[float, float]:
    """Wilson's 95 % interval [1] of the share that k of n come from; NaN where n is 0.

    (k + z^2 / 2 -+ z sqrt(k (n - k) / n + z^2 / 4)) / (n + z^2)

    References
    ----------
    [1] Wilson (1927): Probable inference, the law of succession, and statistical inference. JASA 22 (from memory).

    """
    if not asked:
        return math.nan, math.nan
    z2 = coverage_factor**2
    middle = found + z2 / 2.0
    half = coverage_factor * math.sqrt(found * (asked - found) / asked + z2 / 4.0)
    # at k = 0 and k = n the limits are 0 and 1; rounding must not carry them beyond
    low = (middle - half) / (asked + z2) if found else 0.0
    high = (middle + half) / (asked + z2) if found < asked else 1.0
    return low, high
