"""Kernels by hand: each expected number is worked out on paper or read in the source named beside it."""

from __future__ import annotations

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.analysis import air, areas, baseline, fan, powerlaw

ONE = np.array([0, 1])


def test_dry_air_of_20_degrees_at_sea_level_weighs_1_2041() -> None:
    # 101325 / (287.055 * 293.15); the reference density of ISO 9972 and ASTM E779, from memory
    assert air.air_density_kg_m3(20.0, 101_325.0) == pytest.approx(1.2041, abs=5e-5)


def test_moist_air_is_lighter_by_the_missing_mass_of_its_vapour() -> None:
    # by hand: 0.5 * 2339.25 Pa of vapour; 0.37802 * 1169.63 / (287.055 * 293.15) = 0.005254 kg/m3
    dry = air.air_density_kg_m3(20.0, 101_325.0)
    assert dry - air.air_density_kg_m3(20.0, 101_325.0, 0.5) == pytest.approx(0.005254, abs=1e-6)


def test_humidity_of_one_house_does_not_change_another() -> None:
    mixed = air.air_density_kg_m3(np.array([20.0, 20.0]), 101_325.0, np.array([0.0, 0.5]))
    assert mixed[0] == air.air_density_kg_m3(20.0, 101_325.0)


def test_pressure_falls_with_elevation_as_in_the_handbook() -> None:
    # ASHRAE Handbook-Fundamentals chapter 1, table 1: 89.875 kPa at 1000 m, 107.478 kPa at -500 m
    assert air.standard_pressure_pa(np.array([1000.0, -500.0])) == pytest.approx([89_875, 107_478], abs=2)


def test_a_warm_house_sucks_below_its_neutral_level_and_blows_above() -> None:
    # 20 and 0 degrees: 0.8646 Pa/m (ASHRAE chapter 16, equations 24 and 30)
    pressures = air.stack_pressure_pa(20.0, 0.0, np.array([-2.7, 0.0, 2.7]))
    assert pressures == pytest.approx([-2.7 * 0.8646, 0.0, 2.7 * 0.8646], abs=1e-3)
    assert air.stack_pressure_pa(0.0, 20.0, 2.7) < 0


def test_a_fan_of_492_at_half_power_gives_3158_at_41_2_pa() -> None:
    # 492 * sqrt(41.2) = 3158.0; by hand
    assert fan.calibrated_flow_m3_h(41.2, 492.0, 0.5) == pytest.approx(3158.0, abs=0.1)


def test_the_sign_of_a_fan_signal_says_nothing_about_its_flow() -> None:
    assert fan.calibrated_flow_m3_h(-41.2, 492.0, 0.5) == fan.calibrated_flow_m3_h(41.2, 492.0, 0.5)


def test_thin_air_passes_the_fan_faster_than_the_calibration_says() -> None:
    # sqrt(1.204 / 1.0) = 1.09727; by hand
    assert fan.fan_density_factor(1.204, 1.0) == pytest.approx(1.09727, abs=1e-5)


def test_warm_air_out_of_the_fan_was_less_cold_air_in_the_leaks() -> None:
    # 21 and 0 degrees, depressurising: T_out / T_in = 273.15 / 294.15 = 0.928608
    indoor, outdoor = air.air_density_kg_m3(np.array([21.0, 0.0]), 101_325.0)
    assert fan.envelope_density_factor(indoor, outdoor) == pytest.approx(0.928608, abs=1e-6)


def test_reference_conditions_move_a_cold_house_by_2_5_percent_in_one_form_and_0_8_in_the_other() -> None:
    # n = 0.65, 0 degrees: (293.15/273.15)^0.35 = 1.02504; times (mu/mu0)^0.3 = 1.00822; by hand
    density = air.air_density_kg_m3(np.array([0.0, 20.0]), 101_325.0)
    viscosity = air.dynamic_viscosity_pa_s(np.array([0.0, 20.0]))
    assert powerlaw.reference_conditions_factor(0.65, *density) == pytest.approx(1.02504, abs=1e-5)
    assert powerlaw.reference_conditions_factor(0.65, *density, *viscosity) == pytest.approx(1.00822, abs=1e-5)


def test_area_of_a_handbook_house_is_500_square_centimetres() -> None:
    # ASHRAE Handbook-Fundamentals chapter 16, example 5: c = 0.051 m3/(s Pa^n), n = 0.67, 4 Pa, C_d 1, rho 1.2
    area = areas.leakage_area_m2(3600 * 0.051 * 4**0.67, 4.0, 1.0, 1.2)
    assert area == pytest.approx(0.0500, abs=5e-5)


def test_433_cfm_in_8726_cubic_feet_are_2_98_air_changes() -> None:
    # worksheet, Medford (2013): 433 cfm at 50 Pa, 8726 ft3, 2.98 air changes an hour
    foot = 0.3048
    assert areas.air_changes_per_h(433 * 60 * foot**3, 8726 * foot**3) == pytest.approx(2.98, abs=5e-3)


@pytest.mark.parametrize(
    ("before", "after", "expected"),
    [(-2.0, -1.0, -1.5), (-2.0, math.nan, -2.0), (math.nan, -1.0, -1.0), (math.nan, math.nan, math.nan)],
)
def test_the_baseline_is_the_mean_of_what_there_is(before: float, after: float, expected: float) -> None:
    found = baseline.mean_baseline_pa(np.array([before]), np.array([after]))
    assert found.tolist() == pytest.approx([expected], nan_ok=True)


def test_pressures_without_a_baseline_stay_as_recorded() -> None:
    found = baseline.induced_pressure_pa(np.array([-50.0, -50.0]), np.array([-1.5, math.nan]))
    assert found.tolist() == [-48.5, -50.0]


def test_the_largest_baseline_keeps_its_sign() -> None:
    nan = math.nan
    found = baseline.largest_magnitude(np.array([1.0, nan, nan]), np.array([-3.0, 2.0, nan]), np.array([2.0, nan, nan]))
    assert found.tolist() == pytest.approx([-3.0, 2.0, nan], nan_ok=True)


# --- fits ------------------------------------------------------------------------------------------------------------

PRESSURES = st.lists(st.floats(5.0, 80.0), min_size=3, max_size=15, unique_by=round)


@settings(max_examples=30, deadline=None)
@given(PRESSURES, st.floats(10.0, 1000.0), st.floats(0.5, 1.0), st.integers(0, 2**31))
def test_a_fit_is_that_of_statsmodels(pressures: list[float], c: float, n: float, seed: int) -> None:
    x = np.log(pressures)
    y = np.log(c) + n * x + np.random.default_rng(seed).normal(0, 0.02, x.size)
    law = powerlaw.fit(x, y, np.array([0, x.size]))
    other = sm.OLS(y, sm.add_constant(x)).fit()
    assert [law.log_coefficient[0], law.exponent[0]] == pytest.approx(other.params, rel=1e-9, abs=1e-9)
    errors = [law.log_coefficient_standard_error[0], law.exponent_standard_error[0]]
    assert errors == pytest.approx(other.bse, rel=1e-6, abs=1e-12)
    assert law.correlation_r2[0] == pytest.approx(other.rsquared, rel=1e-9)
    low, high = powerlaw.exponent_limits(law, 0.9)
    assert [low[0], high[0]] == pytest.approx(other.conf_int(0.1)[1], rel=1e-7)
    at_10 = other.get_prediction([[1.0, math.log(10.0)]]).conf_int(alpha=0.1)[0]
    half = powerlaw.log_flow_half_width(law, 10.0, 0.9)[0]
    assert half == pytest.approx((at_10[1] - at_10[0]) / 2, rel=1e-7)
    light = powerlaw.log_flow_at(x, y, np.array([0, x.size]), 50.0)
    assert np.exp(light) == pytest.approx(powerlaw.flow_m3_h(law.log_coefficient, law.exponent, 50.0), rel=1e-12)


def test_two_points_give_a_line_without_errors() -> None:
    # ASTM E1827 two points, from memory: n = ln(2000 / 850) / ln(50 / 12.5) = 0.61723
    law = powerlaw.fit(np.log([50.0, 12.5]), np.log([2000.0, 850.0]), np.array([0, 2]))
    assert law.exponent[0] == pytest.approx(0.61723, abs=5e-6)
    assert np.isnan([law.exponent_standard_error[0], law.correlation_r2[0], powerlaw.exponent_limits(law)[0][0]]).all()


@pytest.mark.parametrize("place", [0, 1, 2], ids=["first", "middle", "last"])
@pytest.mark.parametrize(
    "short", [[], [50.0], [50.0, 50.0], [49.9] * 5], ids=["empty", "one point", "one pressure twice", "one pressure"]
)
def test_a_segment_that_determines_no_line_leaves_its_neighbours_alone(place: int, short: list[float]) -> None:
    parts = [[60.0, 40.0, 20.0], [55.0, 35.0, 15.0]]
    parts.insert(place, short)
    pressure = np.array([p for part in parts for p in part])
    offsets = np.cumsum([0, *map(len, parts)])
    law = powerlaw.fit(np.log(pressure), np.log(200 * pressure**0.65), offsets)
    expected = [0.65, 0.65]
    expected.insert(place, math.nan)
    assert law.exponent.tolist() == pytest.approx(expected, nan_ok=True)
    assert np.isnan(law.log_coefficient[place])


def test_points_of_one_flow_have_no_correlation_but_an_exponent_of_zero() -> None:
    law = powerlaw.fit(np.log([60.0, 40.0, 20.0]), np.log([900.0, 900.0, 900.0]), np.array([0, 3]))
    assert law.exponent[0] == pytest.approx(0.0, abs=1e-12)


def test_points_on_one_line_have_no_scatter() -> None:
    pressure = np.array([60.0, 40.0, 20.0, 10.0])
    law = powerlaw.fit(np.log(pressure), np.log(200 * pressure**0.65), np.array([0, 4]))
    assert law.exponent_standard_error[0] < 1e-14
    assert law.correlation_r2[0] == pytest.approx(1.0, abs=1e-14)


def test_one_point_is_carried_to_50_pa_along_an_assumed_exponent() -> None:
    # 1500 (50/45)^0.65 = 1606.33; by hand
    ln_c = powerlaw.one_point(math.log(45.0), math.log(1500.0), 0.65)
    assert powerlaw.flow_m3_h(ln_c, 0.65, 50.0) == pytest.approx(1606.33, abs=5e-3)


def test_the_quantile_of_three_degrees_of_freedom_is_3_182() -> None:
    found = powerlaw.student_t(np.array([5, 2, 0, 12, 5]), 0.95)
    # any table of Student's t: 3.182 for 3, 2.228 for 10 degrees of freedom
    assert found.tolist() == pytest.approx([3.182, math.nan, math.nan, 2.228, 3.182], abs=5e-4, nan_ok=True)


def test_a_number_no_float_can_hold_is_absent() -> None:
    assert np.isnan(powerlaw.from_log(np.array([800.0, -800.0]))).all()
