"""The interval of a share, by hand, and the numbers that go without arrays."""

from __future__ import annotations

import math
import subprocess
import sys

import pytest

from interchange.analysis.plain import share_limits


@pytest.mark.parametrize(
    ("found_count", "count", "low", "high"),
    [
        # p = 0.2, n = 10 by hand: (0.2 + 0.19207 -+ 1.96 sqrt(0.016 + 0.009604)) / 1.384146
        (2, 10, 0.05668, 0.50984),
        (0, 10, 0.0, 0.27753),
        (10, 10, 0.72247, 1.0),
    ],
)
def test_limits_of_a_share_by_hand(found_count: int, count: int, low: float, high: float) -> None:
    found = share_limits(found_count, count)
    assert found[0] == pytest.approx(low, abs=1e-4)
    assert found[1] == pytest.approx(high, abs=1e-4)


def test_a_share_of_nothing_has_no_limits() -> None:
    low, high = share_limits(0, 0)
    assert math.isnan(low) and math.isnan(high)


def test_it_is_imported_without_numpy() -> None:
    code = "import sys, interchange.analysis.plain; print('numpy' in sys.modules)"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "False\n"
