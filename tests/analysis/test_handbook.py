"""Leakage for the size of a house in the results: hand calculation, and absent where a size is not recorded."""

from __future__ import annotations

import math

import numpy as np
import pytest
from build import batch, multi_point

from interchange.analysis import chain, handbook
from interchange.model import ruleset

FOR_SIZE = (
    "air_permeability_50_m3_h_m2",
    "specific_leakage_rate_50_m3_h_m2",
    "specific_leakage_area",
    "normalised_leakage",
)
SIZES = {"floor_area_m2": 160.0, "envelope_area_m2": 320.0, "height_m": 5.0}
RULES = ruleset.named("as_displayed")


def found(**sizes: float | None) -> list[float]:
    given = batch(multi_point(baseline_pa=0.0, **{"height_m": None, **sizes}))
    return [float(chain.run(given, RULES.steps).session[name][0]) for name in FOR_SIZE]


def test_leakage_for_the_size_of_the_house_is_that_of_a_hand_calculation() -> None:
    """200 m3/h at 1 Pa, n = 0.65: 2543.1 m3/h at 50 Pa and 492.5 at 4 Pa, an area of 0.05298 m2 at 1.2 kg/m3."""
    flow_50, flow_4 = 200.0 * 50.0**0.65, 200.0 * 4.0**0.65
    area_4 = flow_4 / 3600.0 * math.sqrt(1.2 / 8.0)
    assert [round(flow_50, 1), round(flow_4, 1), round(area_4, 5)] == [2543.1, 492.5, 0.05298]
    by_hand = [flow_50 / 320.0, flow_50 / 160.0, area_4 / 160.0, 1000.0 * area_4 / 160.0 * 2.0**0.4]
    assert [round(value, 4) for value in by_hand] == [7.9471, 15.8943, 0.0003, 0.4369]
    assert found(**SIZES) == pytest.approx(by_hand, rel=1e-9)


@pytest.mark.parametrize(
    ("absent", "lacking"),
    [("envelope_area_m2", {0}), ("floor_area_m2", {1, 2, 3}), ("height_m", {3})],
)
def test_what_needs_a_size_that_is_not_recorded_is_absent(absent: str, lacking: set[int]) -> None:
    values = found(**{**SIZES, absent: None})
    assert {place for place, value in enumerate(values) if math.isnan(value)} == lacking


def test_a_house_of_one_storey_has_a_normalised_leakage_of_a_thousand_times_its_specific_area() -> None:
    assert float(handbook.normalised_leakage(0.00036, 2.5)) == pytest.approx(0.36, rel=1e-12)


def test_the_credit_grows_with_flow_and_weather_and_with_the_storeys() -> None:
    """0.052 x 0.5 x 1000 m3/h for one storey; 2^0.4 = 1.3195 as much for two."""
    credit = handbook.infiltration_credit_m3_h(1000.0, 0.5, np.array([1.0, 2.0]))
    assert credit == pytest.approx([26.0, 26.0 * 2.0**0.4], rel=1e-12)


def test_divisors_exist_for_the_storeys_of_the_source_alone() -> None:
    with pytest.raises(KeyError):
        handbook.storey_divisor(16.7, 4.0)


def test_the_two_roads_to_a_yearly_infiltration_agree_to_half_a_per_cent() -> None:
    """By way of normalised leakage with 1 / 7.3 (from memory), and by 0.052 of the work specifications (read)."""
    flow_50, floor, height = 2000.0, 150.0, 2.5 * 2.0
    area = flow_50 * (4.0 / 50.0) ** 0.65 / 3600.0 * math.sqrt(1.2 / 8.0)
    normalised = handbook.normalised_leakage(area / floor, height)
    by_leakage = float(handbook.yearly_infiltration_m3_h(normalised, 0.8, floor))
    assert by_leakage == pytest.approx(float(handbook.infiltration_credit_m3_h(flow_50, 0.8, 2.0)), rel=5e-3)
