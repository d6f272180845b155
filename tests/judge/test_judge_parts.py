"""The parts of the judge: wind, pressure coefficients, lines, gauges, fan."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.integrate import quad
from scipy.signal import welch
from scipy.special import gamma, kv

from . import Case, Fan, Gauge, House, Wind, many, open_end, sheltered_end, simulate, single_point
from .gauges import PERFECT_GAUGE, shown
from .house import cp
from .lines import Line, at_gauge, lagged
from .wind import WindSeries, across_spectrum, along_spectrum, blow, from_spectrum, slow_changes, speed_at, turbulence


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_the_profile_is_that_of_the_handbook_example():
    # ASHRAE Handbook Fundamentals, chapter 24, example 1: 10 m/s at the weather station, 15 m up in a suburb
    assert speed_at(Wind(speed_10m_m_s=10.0), 15.0) == pytest.approx(7.8, abs=0.05)
    assert speed_at(Wind(speed_10m_m_s=10.0), 15.0) == pytest.approx(7.837, abs=5e-4)


def test_pressure_coefficients_are_those_of_the_handbook_at_right_angles():
    # ASHRAE Handbook Fundamentals, chapter 16: +0.6 in the wind, -0.3 behind, -0.65 at the sides
    assert cp(np.array([0.0, 90.0, 180.0, 270.0, 360.0])) == pytest.approx([0.6, -0.65, -0.3, -0.65, 0.6], abs=1e-6)
    angle = np.arange(0.0, 181.0)
    assert cp(angle) == pytest.approx(cp(-angle), abs=1e-12)
    assert ((cp(angle) > 0) == (angle <= 60)).all()  # chapter 24: positive up to about 60 deg
    house = House(turned_deg=30.0)
    assert house.wall_cp("east", np.array([120.0])) == pytest.approx([0.6])


def test_spectra_have_unit_variance_and_belong_to_one_isotropic_turbulence():
    for spectrum in (along_spectrum, across_spectrum):
        assert quad(lambda f, s=spectrum: s(f, 10.0), 0, np.inf, limit=200)[0] == pytest.approx(1.0, abs=2e-3)
    f, step = np.array([0.002, 0.01, 0.05, 0.3]), 1e-6
    slope = (along_spectrum(f + step, 10.0) - along_spectrum(f - step, 10.0)) / (2 * step)
    # isotropy: S_across = (S_along - f dS_along/df) / 2
    assert across_spectrum(f, 10.0) == pytest.approx((along_spectrum(f, 10.0) - f * slope) / 2, rel=2e-3)


def von_karman_correlation(lag_s: np.ndarray, scale_s: float) -> np.ndarray:
    """The transform of the von Karman spectrum in closed form (Hinze, Turbulence, from memory)."""
    x = lag_s / (1.339 * scale_s)
    return 2 ** (2 / 3) / gamma(1 / 3) * x ** (1 / 3) * kv(1 / 3, x)


@pytest.mark.parametrize("count", [60, pytest.param(1000, marks=pytest.mark.full)])
def test_the_wind_made_has_the_variance_spectrum_and_correlation_asked_for(count):
    scale_s, step_s, steps = 10.0, 0.5, 8192
    series = np.array([turbulence(scale_s, steps, step_s, rng(i)) for i in range(count)])
    within = quad(lambda f: along_spectrum(f, scale_s), 0, 1 / (2 * step_s), limit=200)[0]
    assert 0.95 < within < 1.0
    assert np.mean(series**2) == pytest.approx(within, rel=0.03)
    frequency, density = welch(series, fs=1 / step_s, nperseg=2048, axis=-1)
    density = density.mean(axis=0)
    for low, high in ((0.002, 0.01), (0.01, 0.05), (0.05, 0.2), (0.2, 0.8)):
        band = (frequency > low) & (frequency < high)
        x = frequency[band] * scale_s
        target = 4 * scale_s / (1 + 70.8 * x**2) ** (5 / 6)
        assert density[band].mean() == pytest.approx(target.mean(), rel=0.06)
    lag_s = np.array([2.0, 5.0, 10.0, 20.0])
    seen = [np.mean(series[:, : -int(lag / step_s)] * series[:, int(lag / step_s) :]) for lag in lag_s]
    assert seen == pytest.approx(von_karman_correlation(lag_s, scale_s), abs=0.03)


def test_the_wind_at_the_house_has_its_mean_intensity_and_direction():
    wind = Wind(speed_10m_m_s=8.0, from_deg=250.0, intensity=0.2, slow_speed=0.0, slow_direction_deg=0.0)
    series = [blow(wind, 5.0, 2400, 0.5, rng(i)) for i in range(60)]
    speed, angle = np.array([s.speed_m_s for s in series]), np.radians([s.from_deg for s in series])
    along, across = speed * np.cos(angle - np.radians(250)), speed * np.sin(angle - np.radians(250))
    mean = speed_at(wind, 5.0)
    assert along.mean() == pytest.approx(mean, rel=0.01)
    assert along.std() / mean == pytest.approx(0.2, rel=0.04)
    assert across.std() / mean == pytest.approx(0.2 * 0.75, rel=0.05)
    assert abs(across.mean()) < 0.01 * mean


def test_slow_changes_have_unit_variance_and_their_time_scale():
    series = np.array([slow_changes(50.0, 4000, 1.0, rng(i)) for i in range(60)])
    assert series[:, 0].var() == pytest.approx(1.0, abs=0.5)
    assert series.var() == pytest.approx(1.0, rel=0.08)
    assert np.mean(series[:, :-50] * series[:, 50:]) == pytest.approx(np.exp(-1), abs=0.06)


def test_white_noise_is_cut_where_the_series_ends_not_wrapped():
    series = np.array([from_spectrum(lambda f: np.where(f < 0.003, 300.0, 0.0), 400, 1.0, rng(i)) for i in range(40)])
    assert np.mean(np.abs(series[:, 0] - series[:, -1])) > 10 * np.mean(np.abs(np.diff(series)))


def test_a_lag_answers_a_step_and_keeps_the_mean():
    step = np.concatenate((np.zeros(10), np.ones(200)))
    answer = lagged(step, 12.0, 0.5)
    assert answer[10 + 24 - 1] == pytest.approx(1 - np.exp(-1))  # 12 s after the step
    assert lagged(np.full(50, 3.0), 12.0, 0.5) == pytest.approx(np.full(50, 3.0))
    assert lagged(step, 0.0, 0.5).tolist() == step.tolist()


def test_a_sheltered_end_feels_a_third_of_the_pressure_at_the_wall():
    case = Case(wind=Wind(8.0, 0.0, slow_speed=0.0, slow_direction_deg=0.0, intensity=0.0), gauge=PERFECT_GAUGE)
    case = replace(case, keep_trace=True, house=House(wall_gusts=0.0))
    case = replace(case, lines=tuple(replace(line, end_gusts=0.0) for line in (open_end(), sheltered_end())))
    trace = simulate(case, rng()).trace
    felt = trace.true_inside_pa + 1.0 * case.air.stack_pa_m() - trace.pressure_pa
    assert felt[1] == pytest.approx(0.33 * felt[0])
    dynamic = 0.5 * case.air.outdoor_density() * (0.9 * speed_at(case.wind, 5.0)) ** 2
    assert felt[0] == pytest.approx(np.full(felt[0].shape, 0.6 * dynamic))


def test_an_end_in_the_yard_has_a_coefficient_of_its_own_and_gusts():
    line = Line("yard", ("yard",), tube_s=0.0, end_gusts=0.15, yard_cp_sd=0.1)
    wind = WindSeries(np.full(4000, 5.0), np.zeros(4000))
    felt = np.array([at_gauge(line, House(), wind, np.full(4000, 20.0), 0.5, rng(i)) for i in range(200)]) / 20.0
    assert felt.mean(axis=1).std() == pytest.approx(0.1, rel=0.15)
    within = quad(lambda f: along_spectrum(f, 1.0), 0, 1)[0]  # gusts of 5 m at 5 m/s, steps of 0.5 s
    assert felt.std(axis=1).mean() == pytest.approx(0.15 * np.sqrt(within), rel=0.02)


def test_walls_gust_each_on_its_own():
    case = Case(wind=Wind(6.0, 0.0, slow_speed=0.0, slow_direction_deg=0.0, intensity=0.0), keep_trace=True)
    outside = simulate(case, rng()).trace.true_outside_pa  # three leaks a wall, then the ceiling
    dynamic = 0.5 * case.air.outdoor_density() * (0.9 * speed_at(case.wind, 5.0)) ** 2
    speed = speed_at(case.wind, 5.0)
    within = quad(lambda f: along_spectrum(f, 5.0 / speed) * np.cos(np.pi * f / 2) ** 2, 0, 1)[0]  # means of two steps
    assert outside.std(axis=0) / dynamic == pytest.approx(np.full(13, 0.05 * np.sqrt(within)), rel=0.1)
    together = np.corrcoef(outside.T)
    assert together[0, :3] == pytest.approx([1.0, 1.0, 1.0])
    assert np.abs(together[0, 3:]).max() < 0.2


def test_a_gauge_averages_rounds_and_errs_as_told():
    ramp = np.arange(100.0)
    perfect = replace(PERFECT_GAUGE, averaging_s=10)
    assert shown(perfect, ramp, rng())[50] == pytest.approx(45.5)
    assert shown(PERFECT_GAUGE, ramp, rng()).tolist() == ramp.tolist()
    coarse = shown(replace(PERFECT_GAUGE, resolution_pa=0.5), ramp / 7, rng())
    assert set(np.round(coarse % 0.5, 9)) <= {0.0, 0.5}
    assert np.abs(coarse - ramp / 7).max() == pytest.approx(0.25, abs=0.05)
    noisy = [shown(Gauge(4, 0.0, 0.0, 0.0, 0.4), np.zeros(500), rng(i))[3:].std() for i in range(20)]
    assert np.mean(noisy) == pytest.approx(0.2, rel=0.05)
    off = [shown(Gauge(1, 0.0, 0.3, 0.02, 0.0), np.array([0.0, 100.0]), rng(i)) for i in range(2000)]
    zero, full = np.array(off).T
    assert zero.std() == pytest.approx(0.3, rel=0.08)
    assert (full - zero).std() == pytest.approx(2.0, rel=0.08)
    with pytest.raises(ValueError, match="averaging_s is 31, expected whole seconds from 1 to 30"):
        Gauge(averaging_s=31)


def test_the_fan_gives_less_against_more_and_reads_by_density():
    fan = Fan(openings_m3_h=(7200.0, 1800.0), shut_off_pa=300.0, margin=1.0)
    setting = np.array([1.2])
    assert fan.delivered(setting, 0, np.array([0.0]))[0] == pytest.approx(setting)
    flow, slope = fan.delivered(setting, 0, np.array([30.0]))
    assert flow == pytest.approx(np.sqrt(1.44 - 4.0 * 30 / 300))
    assert slope == pytest.approx(
        (fan.delivered(setting, 0, np.array([30.1]))[0] - fan.delivered(setting, 0, np.array([29.9]))[0]) / 0.2
    )
    assert fan.delivered(setting, 0, np.array([200.0]))[0] < 1e-5
    assert (fan.opening_for(1800.0), fan.opening_for(1801.0), fan.opening_for(9000.0)) == (1, 0, 0)
    # at the free flow of an opening, air of 1.2041 kg/m3 reads 300 Pa; air a tenth lighter a tenth less
    assert fan.reading_pa(np.array([0.5]), fan.coefficient_m3_h(1), 1.20412) == pytest.approx([300.0], rel=1e-4)
    assert fan.reading_pa(np.array([0.5]), fan.coefficient_m3_h(1), 0.9 * 1.20412) == pytest.approx([270.0], rel=1e-4)


def test_a_single_point_has_one_station_and_one_baseline():
    for test in many(Case(wind=Wind(speed_10m_m_s=2.0), procedure=single_point()), 5, 1):
        (run,) = test.runs
        assert run.pressure_pa.shape == run.spread_pa.shape == (1, 1)
        assert run.pressure_pa[0, 0] - run.baseline_before_pa[0] == pytest.approx(-50.0, abs=3.0)
        assert np.isnan(run.baseline_after_pa).all()
        assert (run.baseline_before_seconds, run.baseline_after_seconds) == (60.0, 0.0)
        assert test.trace is None


def test_shares_must_add_up_and_ends_must_exist():
    with pytest.raises(ValueError, match=r"the shares of the leakage add up to 1.2"):
        House(ceiling_share=0.44)
    with pytest.raises(ValueError, match=r"no such end of a line: 'attic'"):
        open_end("attic")
