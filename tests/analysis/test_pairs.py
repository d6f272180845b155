"""Two tests of one house: variance of the change by hand, coverage in trials, agreement of repeats."""

from __future__ import annotations

import math
from typing import Any

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.analysis import pairs
from interchange.analysis.pairs import Change, Halves, change, shared_errors
from interchange.analysis.uncertainty import PARTS, RANDOM, SYSTEMATIC
from interchange.quantities import CHOICES

BOTH = CHOICES["direction_used"].index("both")
DOWN, UP, UNKNOWN = 0, 1, -1
REAL = CHOICES["is_it_real"]


def half(flow: float = 2000.0, wider: float = 0.0, **parts: float) -> Halves:
    """One half of one pair; parts that are not given are 0."""
    return Halves(np.array([flow]), {name: np.array([parts.get(name, 0.0)]) for name in PARTS}, np.array([wider]))


def rho(**given_: float) -> dict[str, Any]:
    return {name: np.array([value]) for name, value in given_.items()}


def shared(**more: Any) -> dict[str, float]:
    values = {
        "same_gauge": True,
        "same_fan": True,
        "direction": (DOWN, DOWN),
        "single_point": (False, False),
        "pressure_pa": (70.0, 70.0),
        "same_zero": False,
    } | more
    arrays = {
        name: tuple(np.array([one]) for one in value) if isinstance(value, tuple) else np.array([value])
        for name, value in values.items()
    }
    return {name: float(value[0]) for name, value in shared_errors(**arrays).items()}


@pytest.mark.parametrize("part", PARTS)
def test_parts_of_different_gear_add_in_squares(part: str) -> None:
    found = change(half(**{part: 0.03}), half(**{part: 0.04}), {})
    assert found.standard_deviation[0] == pytest.approx(0.05, abs=1e-15)


@pytest.mark.parametrize("part", SYSTEMATIC)
def test_the_error_of_the_same_instrument_cancels_but_for_what_differs(part: str) -> None:
    found = change(half(**{part: 0.03}), half(**{part: 0.04}), rho(**{part: 1.0}))
    assert found.standard_deviation[0] == pytest.approx(0.01, abs=1e-15)
    found = change(half(**{part: 0.03}), half(**{part: 0.03}), rho(**{part: 1.0}))
    assert found.standard_deviation[0] == 0.0


def test_an_offset_that_acts_the_other_way_round_adds_up_plainly() -> None:
    found = change(half(gauge_offset=0.03), half(gauge_offset=0.04), rho(gauge_offset=-1.0))
    assert found.standard_deviation[0] == pytest.approx(0.07, abs=1e-15)


def test_a_whole_pair_by_hand() -> None:
    # random parts 1, 2, 2 and 1, 2, 2 per cent; gauge gain 0.4 and 0.4 shared; fan 2.3 and 2.3 not shared; wind 3 %
    before = half(2000.0, zero_noise=0.01, zero_shift=0.02, point_noise=0.02, gauge_gain=0.004, fan_flow=0.023)
    after = half(1500.0, 0.03, zero_noise=0.01, zero_shift=0.02, point_noise=0.02, gauge_gain=0.004, fan_flow=0.023)
    found = change(before, after, rho(gauge_gain=1.0, fan_flow=0.0))
    deviation = math.sqrt(2 * (0.01**2 + 0.02**2 + 0.02**2) + 2 * 0.023**2 + 0.03**2)
    assert found.standard_deviation[0] == pytest.approx(deviation, rel=1e-12)
    assert found.reduction_m3_h[0] == 500.0
    assert found.reduction_percent[0] == pytest.approx(25.0, rel=1e-12)
    assert found.low_percent[0] == pytest.approx(100 * (1 - 0.75 * math.exp(1.959964 * deviation)), rel=1e-12)
    assert found.high_percent[0] == pytest.approx(100 * (1 - 0.75 * math.exp(-1.959964 * deviation)), rel=1e-12)


@pytest.mark.parametrize(
    ("what", "expected"),
    [
        ({}, (1, 1, 1, 0)),
        ({"same_gauge": False}, (0, 0, 1, 0)),
        ({"same_fan": False}, (1, 1, 0, 0)),
        ({"direction": (DOWN, UP)}, (1, -1, 1, 0)),
        ({"direction": (BOTH, BOTH)}, (1, 1, 1, 0)),
        ({"direction": (BOTH, DOWN)}, (1, 0, 1, 0)),
        ({"direction": (UNKNOWN, UNKNOWN)}, (1, 0, 1, 0)),
        ({"direction": (BOTH, UNKNOWN)}, (1, 0, 1, 0)),
        ({"single_point": (True, True), "pressure_pa": (48.0, 46.0)}, (1, 1, 1, 1)),
        ({"single_point": (True, True), "pressure_pa": (48.0, 52.0)}, (1, 1, 1, -1)),
        ({"single_point": (True, True), "pressure_pa": (48.0, 42.0)}, (1, 1, 1, 0)),
        ({"single_point": (True, False), "pressure_pa": (48.0, 48.0)}, (1, 1, 1, 0)),
    ],
)
def test_what_both_halves_share(what: dict[str, Any], expected: tuple[float, ...]) -> None:
    found = shared(**what)
    assert tuple(found.get(name, 0.0) for name in SYSTEMATIC) == (*expected, 0.0, 0.0)  # air of two days is its own


def test_a_baseline_taken_off_in_both_directions_carries_its_error_into_both_the_other_way_round() -> None:
    assert shared(same_zero=True, direction=(DOWN, UP))["zero_noise"] == -1.0
    assert shared(same_zero=True, direction=(DOWN, UP))["zero_shift"] == -1.0
    assert shared(same_zero=True, direction=(UP, UP))["zero_noise"] == 1.0
    assert shared(direction=(DOWN, UP))["zero_noise"] == 0.0


def test_an_assumed_exponent_at_the_same_pressure_cancels() -> None:
    """Both points at 40 Pa, 0.05 off: both flows are off by 0.05 ln(50 / 40), so their ratio is not."""
    off = 0.05 * math.log(50 / 40)
    found = change(
        half(assumed_exponent=off),
        half(assumed_exponent=off),
        rho(assumed_exponent=shared(single_point=(True, True), pressure_pa=(40.0, 40.0))["assumed_exponent"]),
    )
    assert found.standard_deviation[0] == 0.0


PERCENT = st.floats(0.0, 0.3)


EACH = 1 + len(PARTS)  # what a half is drawn from


@given(st.lists(PERCENT, min_size=2 * EACH, max_size=2 * EACH), st.floats(-1.0, 1.0), st.floats(0.1, 10.0))
def test_swapping_before_and_after_mirrors_the_change(values: list[float], correlation: float, ratio: float) -> None:
    one = half(1000.0, values[0], **dict(zip(PARTS, values[1:EACH], strict=True)))
    other = half(1000.0 * ratio, values[EACH], **dict(zip(PARTS, values[EACH + 1 :], strict=True)))
    common = rho(**dict.fromkeys(SYSTEMATIC, correlation))
    forth, back = change(one, other, common), change(other, one, common)
    assert forth.log_ratio[0] == pytest.approx(-back.log_ratio[0], abs=1e-12)
    assert forth.standard_deviation[0] == pytest.approx(back.standard_deviation[0], abs=1e-12)
    assert forth.reduction_m3_h[0] == -back.reduction_m3_h[0]
    assert 1 - forth.low_percent[0] / 100 == pytest.approx(1 / (1 - back.high_percent[0] / 100), rel=1e-9)
    assert pairs.agrees(forth)[0] == pairs.agrees(back)[0]
    assert pairs.difference_percent(forth)[0] == pytest.approx(pairs.difference_percent(back)[0], abs=1e-9)


def _change(low: float, high: float) -> Change:
    nothing = np.array([0.0])
    return Change(nothing, nothing, nothing, nothing, np.array([low]), np.array([high]))


@pytest.mark.parametrize(
    ("low", "high", "least", "expected"),
    [
        (17.0, 29.0, 0.0, "yes"),
        (0.0, 12.0, 0.0, "cannot_tell"),
        (-3.0, 12.0, 0.0, "cannot_tell"),
        (-12.0, -1.0, 0.0, "no"),
        (-12.0, 4.0, 5.0, "no"),
        (-12.0, 5.0, 5.0, "cannot_tell"),
        (1.0, 4.0, 5.0, "yes"),
        (math.nan, math.nan, 0.0, "cannot_tell"),
    ],
)
def test_a_reduction_is_real_where_its_whole_interval_is_one(
    low: float, high: float, least: float, expected: str
) -> None:
    found = _change(low, high)
    assert REAL[found.is_it_real(np.array([True]), least)[0]] == expected
    assert REAL[found.is_it_real(np.array([False]), least)[0]] == "cannot_tell"


@pytest.mark.parametrize("gear", ["same gauge and fan", "same gauge", "other gear", "both directions apart"])
def test_of_simulated_pairs_95_in_100_intervals_hold_the_true_reduction(gear: str) -> None:
    """Errors are drawn as the parts say, shared or not as the gear says; nothing of the kernel makes them."""
    rng, count = np.random.default_rng(11), 20_000
    deviations = {name: rng.uniform(0.002, 0.03, (2, count)) for name in PARTS}
    common = {
        "same gauge and fan": {"gauge_gain": 1, "gauge_offset": 1, "fan_flow": 1},
        "same gauge": {"gauge_gain": 1, "gauge_offset": 1},
        "other gear": {},
        "both directions apart": {"gauge_gain": 1, "gauge_offset": -1, "fan_flow": 1},
    }[gear]
    true = np.exp(rng.uniform(-0.8, 0.1, count))
    error = np.zeros((2, count))
    for name, deviation in deviations.items():
        one = rng.standard_normal(count)
        sign = common.get(name, 0)
        error += deviation * np.stack([one, sign * one if sign else rng.standard_normal(count)])
    wider = rng.uniform(0.0, 0.05, (2, count))
    error += wider * rng.standard_normal((2, count))
    halves = [
        Halves(flow * np.exp(error[i]), {name: deviations[name][i] for name in PARTS}, wider[i])
        for i, flow in enumerate((2000.0, 2000.0 * true))
    ]
    found = change(*halves, {name: np.full(count, float(sign)) for name, sign in common.items()})
    reduction = 100 * (1 - true)
    held = np.mean((found.low_percent <= reduction) & (reduction <= found.high_percent))
    assert 0.94 < held < 0.96
    share_of_sure = np.mean(pairs.difference_percent(found) <= pairs.expected_difference_percent(found))
    assert share_of_sure < 0.5  # most of these houses changed


def test_of_simulated_repeats_95_in_100_agree_and_half_stay_below_the_expected_difference() -> None:
    rng, count = np.random.default_rng(12), 20_000
    deviation = rng.uniform(0.005, 0.05, (2, count))
    halves = [
        Halves(
            1800.0 * np.exp(deviation[i] * rng.standard_normal(count)),
            {name: deviation[i] if name == RANDOM[0] else np.zeros(count) for name in PARTS},
            np.zeros(count),
        )
        for i in range(2)
    ]
    found = change(*halves, {})
    assert np.mean(pairs.agrees(found)) == pytest.approx(0.95, abs=0.005)
    below = pairs.difference_percent(found) <= pairs.expected_difference_percent(found)
    assert np.mean(below) == pytest.approx(0.5, abs=0.01)


@pytest.mark.parametrize(
    ("agreeing", "count", "expected"),
    [
        (57, 61, "as_stated"),
        (40, 61, "too_narrow"),
        (1, 5, "too_narrow"),
        (5, 5, "cannot_tell"),
        (19, 19, "cannot_tell"),
        (20, 20, "as_stated"),
        (71, 71, "as_stated"),
        (72, 72, "too_wide"),
        (1, 2, "cannot_tell"),
        (2, 3, "cannot_tell"),
        (0, 2, "too_narrow"),
        (0, 0, "cannot_tell"),
    ],
)
def test_what_the_share_that_agrees_says_of_the_intervals(agreeing: int, count: int, expected: str) -> None:
    """By chance all of n agree with 0.95^n: 0.0262 at 71 and 0.0249 at 72; two of three or fewer with 0.143."""
    code = pairs.stated_intervals(np.array([agreeing]), np.array([count]))[0]
    assert CHOICES["stated_intervals"][code] == expected
