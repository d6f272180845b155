"""Kernels by hand: each expected number is worked out on paper or read in the source named beside it."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.analysis import air, areas, baseline, fan, powerlaw

ONE = np.array([0, 1])

# A calibration is a coefficient [m3/h] with an exponent, or rows of fan pressure [Pa] and flow [m3/h].
Calibration = tuple[float, float] | list[tuple[float, float]]
LAW = (492.0, 0.5)
TABLE = [(10.0, 1500.0), (25.0, 2450.0), (60.0, 3900.0), (150.0, 6000.0), (300.0, 8700.0)]


def calibrated(
    fan_pressures_pa: Sequence[float], calibrations: Sequence[Calibration], rows: Sequence[int] | None = None
) -> np.ndarray:
    """The kernel on calibrations written plainly; every reading is of the first of them unless `rows` says which."""
    laws = [one if isinstance(one, tuple) else (math.nan, math.nan) for one in calibrations]
    tables = [one if isinstance(one, list) else [] for one in calibrations]
    flat = np.array([row for table in tables for row in table], dtype=np.float64).reshape(-1, 2)
    return fan.calibrated_flow_m3_h(
        np.array(fan_pressures_pa, dtype=np.float64),
        np.array([0] * len(fan_pressures_pa) if rows is None else rows, dtype=np.int64),
        np.array([law[0] for law in laws]),
        np.array([law[1] for law in laws]),
        np.cumsum([0, *map(len, tables)]),
        flat[:, 0],
        flat[:, 1],
    )


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
    assert calibrated([41.2], [(492.0, 0.5)]) == pytest.approx([3158.0], abs=0.1)


def test_the_sign_of_a_fan_signal_says_nothing_about_its_flow() -> None:
    for one in (LAW, TABLE):
        minus, plus = calibrated([-41.2, 41.2], [one])
        assert minus == plus


@settings(max_examples=50, deadline=None)
@given(
    st.lists(st.floats(1.0, 500.0), min_size=2, max_size=20, unique_by=lambda p: round(p, 3)),
    st.lists(st.floats(0.01, 0.9), min_size=20, max_size=20),
    st.lists(st.floats(0.5, 600.0), min_size=1, max_size=30),
)
def test_a_table_is_interpolated_as_numpy_does_in_logarithms(
    pressures: list[float], steps: list[float], signals: list[float]
) -> None:
    rows = sorted(pressures)
    flows = 100.0 * np.exp(np.cumsum(steps[: len(rows)]))
    found = calibrated([*signals, *rows], [list(zip(rows, flows.tolist(), strict=True))])
    expected = np.exp(np.interp(np.log([*signals, *rows]), np.log(rows), np.log(flows), left=np.nan, right=np.nan))
    assert found == pytest.approx(expected, rel=1e-12, nan_ok=True)


@settings(max_examples=50, deadline=None)
@given(st.floats(20.0, 900.0), st.floats(0.4, 0.65), st.integers(2, 30), st.floats(0.0, 1.0))
def test_a_table_read_off_a_power_law_gives_the_law_back(c: float, m: float, rows: int, way: float) -> None:
    pressures = np.geomspace(8.0, 320.0, rows)
    table = list(zip(pressures.tolist(), (c * pressures**m).tolist(), strict=True))
    signal = 8.0 * 40.0**way
    assert calibrated([min(signal, pressures[-1])], [table]) == pytest.approx([c * signal**m], rel=1e-12)


def test_between_two_rows_the_flow_follows_the_power_law_through_them() -> None:
    # by hand: 16 Pa, 200 m3/h and 64 Pa, 400 m3/h have the exponent ln 2 / ln 4 = 1/2, so 32 Pa give 200 sqrt(2);
    # the straight line through the two would give 266.7
    assert calibrated([32.0], [[(16.0, 200.0), (64.0, 400.0)]]) == pytest.approx([200 * math.sqrt(2)])


def test_a_table_is_not_extrapolated_and_holds_at_its_ends() -> None:
    signals = [0.0, 9.999, 10.0, 300.0, 300.001, math.nan]
    assert calibrated(signals, [TABLE]) == pytest.approx(
        [math.nan, math.nan, 1500, 8700, math.nan, math.nan], nan_ok=True
    )


def test_rows_that_logarithms_cannot_tell_apart_give_the_flow_of_one_of_them() -> None:
    close = math.nextafter(300.0, 400.0)
    assert math.log(close) == math.log(300.0)
    assert calibrated([300.0, close], [[(300.0, 50.0), (close, 60.0)]]).tolist() == pytest.approx([50.0, 50.0])


@pytest.mark.parametrize("place", [0, 1, 2], ids=["first", "middle", "last"])
@pytest.mark.parametrize("other", [LAW, [(5.0, 80.0), (500.0, 700.0)]], ids=["power law", "table"])
def test_a_calibration_of_another_form_leaves_its_neighbours_alone(place: int, other: Calibration) -> None:
    calibrations: list[Calibration] = [TABLE, TABLE[1:]]
    calibrations.insert(place, other)
    rows = [0, 1, 2, -1]
    found = calibrated([100.0] * 4, calibrations, rows)
    alone = [calibrated([100.0], [one])[0] for one in calibrations]
    assert found[:3].tobytes() == np.array(alone).tobytes()
    assert np.isnan(found[3])


def test_readings_without_any_calibration_have_no_flow() -> None:
    assert np.isnan(calibrated([40.0, 50.0], [], [-1, -1])).all()
    assert calibrated([], [TABLE, LAW]).size == 0


def test_a_reading_alone_has_the_bits_it_has_among_many() -> None:
    rng = np.random.default_rng(5)
    calibrations: list[Calibration] = [LAW, TABLE, TABLE[:2], (171.0, 0.505), TABLE[2:]]
    signals, rows = rng.uniform(5.0, 350.0, 2000), rng.integers(-1, 5, 2000)
    among = calibrated(signals.tolist(), calibrations, rows.tolist())
    for i in range(0, 2000, 7):
        assert calibrated([signals[i]], calibrations, [int(rows[i])]).tobytes() == among[i : i + 1].tobytes()


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


def test_an_interpolated_baseline_runs_straight_and_has_the_mean_of_both() -> None:
    offsets = np.array([0, 3, 3, 4, 6])
    before, after = np.array([-1.0, 9.0, 2.0, np.nan]), np.array([-5.0, 9.0, 4.0, 1.5])
    found = baseline.interpolated_baseline_pa(before, after, offsets)
    assert found.tolist() == [-2.0, -3.0, -4.0, 3.0, 1.5, 1.5]


@pytest.mark.parametrize(
    ("before", "after", "expected"), [(-1.0, -3.0, -1.0), (np.nan, -3.0, -3.0), (2.0, np.nan, 2.0)]
)
def test_the_first_baseline_counts_where_there_is_one(before: float, after: float, expected: float) -> None:
    assert baseline.first_baseline_pa(np.array([before]), np.array([after])).tolist() == [expected]


def test_the_pressure_of_a_site_is_the_barometers_or_that_of_its_elevation() -> None:
    found = air.site_pressure_pa(np.array([99_000.0, np.nan, np.nan]), np.array([1500.0, 1500.0, np.nan]))
    # ASHRAE Handbook-Fundamentals, chapter 1, table 1 (read): 84.556 kPa at 1500 m
    np.testing.assert_allclose(found, [99_000.0, 84_556.0, np.nan], atol=1.2)


def test_the_range_of_a_calibration_is_the_narrower_of_what_is_stated_and_its_table() -> None:
    low, high = fan.calibration_range_pa(
        np.array([10.0, 15.0, np.nan]),
        np.array([np.nan, 100.0, np.nan]),
        np.array([0, 0, 2, 2]),
        np.array([12.0, 220.0]),
    )
    np.testing.assert_array_equal(low, [10.0, 15.0, np.nan])
    np.testing.assert_array_equal(high, [np.nan, 100.0, np.nan])


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
    along = powerlaw.abscissas(x, np.array([0, x.size]))
    light = powerlaw.log_flow_of(along, powerlaw.line_sums(along, y), 50.0)
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
