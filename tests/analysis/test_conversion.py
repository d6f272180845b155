"""Reported values at another pressure: hand calculations, and limits that hold as often as they say."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.analysis import conversion
from interchange.analysis.robust import PRIOR

SHARES = st.floats(0.5, 0.9)
PRESSURES = st.floats(2.0, 80.0)


def test_a_flow_at_50_pa_at_10_pa_is_that_of_a_hand_calculation() -> None:
    """2100 x 0.2^0.65 = 737.7; 95 %: exp(-+ 1.96 x 0.06 x ln 5) = 0.8276 and 1.2084 times that."""
    found = conversion.flow_at(2100.0, 50.0, 10.0, 0.65, 0.06)
    assert [float(found.value), float(found.low), float(found.high)] == pytest.approx(
        [737.72, 610.51, 891.43], abs=0.005
    )


def test_an_area_at_10_pa_and_0611_is_1878_times_that_at_4_pa_and_1() -> None:
    """ASHRAE Handbook-Fundamentals, chapter 16, equation 42 (read): 2.5^0.15 / 0.611 = 1.877802."""
    found = conversion.area_at(0.05, 4.0, 1.0, 10.0, 0.611, 0.65, 0.06)
    assert float(found.value) == pytest.approx(0.05 * 1.877802, rel=1e-6)
    assert float(found.high / found.value) == pytest.approx(math.exp(1.959964 * 0.06 * math.log(2.5)), rel=1e-9)


def test_an_area_comes_from_a_flow_as_the_handbook_has_it() -> None:
    """Example 5 of the chapter (read): c = 0.051 m3/(s Pa^n), n = 0.67, an area of 500 cm2 at 4 Pa."""
    flow_50 = 0.051 * 3600.0 * 50.0**0.67
    found = conversion.area_of_flow(flow_50, 50.0, 4.0, 1.0, 1.2, 0.67, 0.0)
    assert [float(end) for end in (found.low, found.value, found.high)] == pytest.approx([0.05] * 3, rel=1e-3)


def test_air_changes_give_a_flow_by_their_volume_without_more_doubt_at_their_own_pressure() -> None:
    found = conversion.flow_of_air_changes(6.0, 400.0, 50.0, 50.0, 0.65, 0.06)
    assert [float(end) for end in (found.low, found.value, found.high)] == [2400.0] * 3


@settings(max_examples=60, deadline=None)
@given(PRESSURES, PRESSURES, SHARES, st.floats(0.0, 0.1))
def test_there_and_back_gives_the_value_again(first: float, second: float, exponent: float, sd: float) -> None:
    there = conversion.flow_at(1000.0, first, second, exponent, sd)
    back = conversion.flow_at(there.value, second, first, exponent, sd)
    assert float(back.value) == pytest.approx(1000.0, rel=1e-12)
    assert float(back.high / back.value) == pytest.approx(float(there.high / there.value), rel=1e-9)
    assert float(there.low) <= float(there.value) <= float(there.high)


def test_the_interval_holds_the_flow_of_95_of_100_houses() -> None:
    """Houses whose exponents are normal about 0.65 with 0.06: how often the interval at 4 Pa holds their flow."""
    exponents = np.random.default_rng(7).normal(0.65, 0.06, 20_000)
    truth = 1000.0 * (4.0 / 50.0) ** exponents
    found = conversion.flow_at(1000.0, 50.0, 4.0, 0.65, 0.06)
    assert ((truth >= found.low) & (truth <= found.high)).mean() == pytest.approx(0.95, abs=0.005)


def test_what_the_value_itself_may_err_comes_on_top() -> None:
    found = conversion.flow_at(1000.0, 50.0, 50.0, 0.65, 0.06, log_sd=0.05)
    assert float(found.high) == pytest.approx(1000.0 * math.exp(1.959964 * 0.05), rel=1e-9)


def test_the_exponent_is_the_reported_one_or_that_of_houses() -> None:
    """A reported 0.7 with its standard error; one assumed keeps its value; none, or one of no house, gives 0.65."""
    reported = np.array([0.7, 0.7, np.nan, 65.0])
    found = conversion.exponent_of(reported, np.array([False, True, False, False]), 0.01)
    assert found.value.tolist() == [0.7, 0.7, 0.65, 0.65]
    assert found.sd.tolist() == [0.01, 0.06, 0.06, 0.06]
    assert found.assumed.tolist() == [False, True, True, True]
    assert (PRIOR.exponent, PRIOR.exponent_sd) == (0.65, 0.06)
