"""The maker's physics against algebra that can be done by hand and against published numbers."""

from __future__ import annotations

import math
from datetime import date, datetime, timedelta

import numpy as np
import pytest

from interchange.demo.air import Air, density_kg_m3, pressure_at_pa
from interchange.demo.house import Envelope, inside_pressure_pa, outward_kg_h, still
from interchange.demo.kit import Fan, Line, Opening, damped
from interchange.demo.meant import Done, done, meant, place_of
from interchange.demo.programme import ALL_SIDES, BRANCHED, OPEN_NORTH, SHELTERED, House
from interchange.demo.quick import done_at_once
from interchange.demo.season import WINDY_WEEK, sky
from interchange.demo.visit import Plan, Water, generator, log_run
from interchange.demo.wind import (
    EDDY_SIZE_M,
    SCALE_M,
    SHELTER,
    blow,
    dynamic_pressure_pa,
    eddies,
    gusts,
    speed_among_houses_m_s,
    wall_coefficient,
)
from interchange.demo.year import Job, house

LEVEL_AIR = Air(20.0, 20.0, 101_325.0)
COLD = Air(20.0, 0.0, 101_325.0)
NORTH, SOUTH, FLOOR = 0, 2, 5


def envelope(exponent: float, *leaks: tuple[float, float, int], coefficient: float = 200.0) -> Envelope:
    share, height, face = zip(*leaks, strict=True)
    return Envelope(coefficient, exponent, np.array(share), np.array(height), np.array(face))


def test_stack_gradient_is_that_of_the_handbook():
    # ASHRAE Handbook of Fundamentals, chapter 16, equations 24 and 30, for 20 and 0 °C at 101,325 Pa
    assert COLD.stack_pa_m == pytest.approx(0.8646, abs=5e-5)


@pytest.mark.parametrize(("elevation_m", "pressure_kpa"), [(0, 101.325), (500, 95.461), (1500, 84.556)])
def test_pressure_falls_with_elevation_as_in_the_standard_atmosphere(elevation_m, pressure_kpa):
    # ASHRAE Handbook of Fundamentals, chapter 1, table 1; the values from memory
    assert pressure_at_pa(elevation_m) / 1000.0 == pytest.approx(pressure_kpa, abs=0.0015)


@pytest.mark.parametrize(("speed_m_s", "pressure_pa"), [(2, 2.4), (3, 5.4), (6, 21.6), (10, 60.0)])
def test_dynamic_pressure(speed_m_s, pressure_pa):
    # ASHRAE Handbook of Fundamentals, chapter 24, equation 2, with 1.2 kg/m3
    assert float(dynamic_pressure_pa(1.2, speed_m_s)) == pytest.approx(pressure_pa, rel=1e-12)


@pytest.mark.parametrize(("angle_deg", "coefficient"), [(0, 0.6), (90, -0.65), (180, -0.3), (270, -0.65), (360, 0.6)])
def test_wall_coefficients_pass_through_the_measured_ones(angle_deg, coefficient):
    # Akins et al. 1979 and Wiren 1985 in ASHRAE Handbook of Fundamentals, chapter 16
    assert float(wall_coefficient(float(angle_deg))) == pytest.approx(coefficient, abs=1e-6)


def test_a_wall_is_pushed_up_to_about_sixty_degrees_and_sucked_beyond():
    # ASHRAE Handbook of Fundamentals, chapter 24, in words
    signs = np.sign(wall_coefficient(np.array([0.0, 30.0, 50.0, 75.0, 90.0, 120.0, 150.0, 180.0])))
    assert signs.tolist() == [1, 1, 1, -1, -1, -1, -1, -1]


def test_wind_profile_is_that_of_the_handbook_times_shelter():
    # ASHRAE Handbook of Fundamentals, chapter 24, example 1: 10 m/s at a station, 15 m high among suburbs: 7.8 m/s
    assert speed_among_houses_m_s(10.0, 15.0) / SHELTER == pytest.approx(7.8, abs=0.05)


@pytest.mark.parametrize("exponent", [0.5, 0.65, 1.0])
@pytest.mark.parametrize("pressure_pa", [-50.0, 4.0, 60.0])
def test_one_leak_in_still_air_has_a_closed_form(exponent, pressure_pa):
    # mass in equals mass out; the leak passes C (rho0/rho)^(1-n) dp^n of the air that enters it
    leak = envelope(exponent, (1.0, 0.0, FLOOR))
    density = density_kg_m3(0.0 if pressure_pa < 0 else 20.0, 101_325.0)
    reference = 101_325.0 / (287.055 * 293.15)
    mass = math.copysign(
        density * 200.0 * (reference / density) ** (1.0 - exponent) * abs(pressure_pa) ** exponent, -pressure_pa
    )
    found = float(inside_pressure_pa(leak, COLD, np.array([mass]), still())[0])
    assert found == pytest.approx(pressure_pa, rel=1e-4)  # the maker's 1.2041 is rounded in the fifth figure


def test_two_equal_leaks_share_the_stack_by_the_densities():
    # same mass in below and out above: (rho_out p_low)^n = (rho_in p_high)^n, and p_low + p_high is the whole stack
    tower = envelope(0.65, (0.5, 0.0, FLOOR), (0.5, 6.0, FLOOR))
    low = float(inside_pressure_pa(tower, COLD, np.zeros(1), still())[0])
    stack = 6.0 * COLD.stack_pa_m
    assert low == pytest.approx(-stack * COLD.indoor_kg_m3 / (COLD.indoor_kg_m3 + COLD.outdoor_kg_m3), rel=1e-9)


def test_mass_balance_holds_second_by_second_in_wind():
    house = House("test", 300.0, 120.0, 5.2, 2400.0, 0.65).leaks("before")
    wind = blow(generator("balance"), 300, station_m_s=9.0, from_deg=230.0, roof_m=5.2, density_kg_m3=1.27)
    fan = np.concatenate([np.zeros(100), np.full(100, 2800.0), np.full(100, -2800.0)])
    inside = inside_pressure_pa(house, COLD, fan, wind.face_pa)
    left = outward_kg_h(house, COLD, inside, wind.face_pa) + fan
    assert np.abs(left).max() < 1e-6  # kg/h, of thousands
    assert inside[150] < -20.0 < 20.0 < inside[250]


@pytest.mark.parametrize(
    ("speed_m_s", "pressure_pa", "published", "within"),
    [(6.0, 50.0, 0.03, 0.005), (10.0, 50.0, 0.11, 0.006), (6.0, 10.0, 0.35, 0.05), (10.0, 10.0, 0.60, 0.10)],
)
def test_steady_wind_misleads_the_worst_leak_split_as_published(speed_m_s, pressure_pa, published, within):
    # Carrie and Leprince 2014, 35th AIVC conference, abstract; windward 0.6, leeward -0.3, exponent 2/3
    face = still()
    face[0, [NORTH, SOUTH]] = np.array([0.6, -0.3]) * dynamic_pressure_pa(LEVEL_AIR.outdoor_kg_m3, speed_m_s)
    worst = 0.0
    for windward in np.arange(0.02, 0.985, 0.01):
        house = envelope(2 / 3, (windward, 0.0, NORTH), (1.0 - windward, 0.0, SOUTH))
        zero = inside_pressure_pa(house, LEVEL_AIR, np.zeros(1), face)
        in_still_air = LEVEL_AIR.indoor_kg_m3 * 200.0 * pressure_pa ** (2 / 3)
        for sign in (-1.0, 1.0):
            flow = abs(float(outward_kg_h(house, LEVEL_AIR, zero + sign * pressure_pa, face)[0]))
            worst = max(worst, abs(flow / in_still_air - 1.0))
    assert worst == pytest.approx(published, abs=within)


def test_gusts_have_the_spread_and_the_spectrum_meant():
    # von Karman 1948: S(f) ~ (1 + 70.8 (f L / U)^2)^(-5/6); its slope tends to -5/3
    series = gusts(generator("gusts"), 262_144, 5.0)
    assert series.mean() == pytest.approx(0.0, abs=0.05)
    assert series.std() == pytest.approx(1.0, abs=0.03)
    power = np.abs(np.fft.rfft(series)) ** 2
    frequency = np.fft.rfftfreq(series.size, 1.0)
    whole_law = (1.0 + 70.8 * (frequency * SCALE_M / 5.0) ** 2) ** (-5.0 / 6.0)
    octaves = [(frequency >= low) & (frequency < 2.0 * low) for low in (0.002, 0.02, 0.2)]
    found = np.array([power[octave].mean() for octave in octaves])
    law = np.array([whole_law[octave].mean() for octave in octaves])
    assert found / found[2] == pytest.approx(law / law[2], rel=0.15)
    assert law[2] / law[1] == pytest.approx(10.0 ** (-5.0 / 3.0), rel=0.1)


def test_eddies_die_away_with_their_time_scale():
    series = eddies(generator("eddies"), 50_000, 2, 4.0)
    assert series.std(axis=0) == pytest.approx([1.0, 1.0], abs=0.03)
    assert np.corrcoef(series[:-4, 0], series[4:, 0])[0, 1] == pytest.approx(math.exp(-1.0), abs=0.03)
    assert np.corrcoef(series[:, 0], series[:, 1])[0, 1] == pytest.approx(0.0, abs=0.05)
    assert 1.0 < EDDY_SIZE_M < SCALE_M


def test_damping_keeps_the_mean_and_narrows_noise_as_a_first_order_lag_does():
    # first-order filter of white noise: variance times a / (2 - a), a = 1 - exp(-1 s / damping)
    noise = 3.0 + generator("damping").standard_normal(200_000)
    share = 1.0 - math.exp(-1.0 / 6.0)
    assert damped(noise, 6.0).mean() == pytest.approx(3.0, abs=0.02)
    assert damped(noise, 6.0).std() == pytest.approx(math.sqrt(share / (2.0 - share)), rel=0.02)
    assert damped(noise, 0.0) is noise


@pytest.mark.parametrize("text", ["first", "second", "third"])
def test_an_open_end_swings_more_than_damped_branches_and_a_sheltered_one_less(text):
    wind = blow(generator(text), 900, station_m_s=8.0, from_deg=20.0, roof_m=5.2, density_kg_m3=1.27)
    single, branched, sides, sheltered = (
        float(line.end_pa(generator(text), wind).std()) for line in (OPEN_NORTH, BRANCHED, ALL_SIDES, SHELTERED)
    )
    assert single > 1.5 * branched
    assert single > 1.5 * sides
    assert single > 1.5 * sheltered


def test_a_line_in_still_air_gets_undisturbed_air():
    wind = blow(generator("calm"), 60, station_m_s=0.0, from_deg=0.0, roof_m=5.0, density_kg_m3=1.25)
    for arrangement in (OPEN_NORTH, BRANCHED, ALL_SIDES, Line("sheltered", ("east",), 5.0, 0.0)):
        assert np.abs(arrangement.end_pa(generator("calm"), wind)).max() == 0.0


def test_the_fan_display_takes_its_reference_air_for_granted():
    # an orifice sees rho Q^2: thin air shows less flow than passes, by the square root of the densities
    opening = Opening("full", 492.0, 0.5, 10.0, 90.0)
    fan = Fan("none", date(2025, 1, 1), (opening,), 1.0)
    assert fan.shown_m3_h(3000.0, 1.204) == pytest.approx(3000.0)
    assert fan.shown_m3_h(3000.0, 1.204 / 4.0) == pytest.approx(1500.0)
    assert opening.pressure_pa(float(opening.flow_m3_h(41.2))) == pytest.approx(41.2)
    assert float(opening.flow_m3_h(41.2)) == pytest.approx(492.0 * math.sqrt(41.2))


def test_the_year_has_winter_and_one_windy_week():
    days = [datetime(2025, 3, 1, 13) + timedelta(days=day) for day in range(364)]
    skies = {day: sky(day) for day in days}
    summer = np.mean([skies[day].outdoor_c for day in days if day.month in (7, 8)])
    winter = np.mean([skies[day].outdoor_c for day in days if day.month in (12, 1)])
    assert summer - winter > 10.0
    week = [skies[day].station_m_s for day in days if WINDY_WEEK[0] <= day < WINDY_WEEK[1]]
    assert len(week) == 7
    assert min(week) > 6.5
    calm = np.mean([skies[day].station_m_s < 3.0 for day in days])
    assert 0.5 < calm < 0.75


def test_weather_runs_straight_between_the_hours_and_ends_with_the_year():
    ten, half, eleven = (sky(datetime(2025, 6, 3, 10, minute)) for minute in (0, 30, 59))
    next_hour = sky(datetime(2025, 6, 3, 11, 0))
    assert half.outdoor_c == pytest.approx(0.5 * (ten.outdoor_c + next_hour.outdoor_c))
    assert eleven.station_m_s == pytest.approx((ten.station_m_s + 59 * next_hour.station_m_s) / 60)
    with pytest.raises(ValueError, match="no weather"):
        sky(datetime(2026, 3, 1))


def quick_and_slow(day: datetime, water: Water | None = None) -> tuple[Done, Done]:
    job = Job("FV-1", house("H-1"), "O1", (("before", day.date()),))
    test = meant(job, "before", day, water=water)
    return done_at_once([test])[0], done(test)


@pytest.mark.parametrize("shift_pa", [0.0, -12.0])
def test_the_closed_form_of_a_calm_test_agrees_with_the_second_by_second_one(shift_pa):
    quick, slow = quick_and_slow(datetime(2025, 9, 11, 9, 0), Water(shift_pa) if shift_pa else None)
    assert quick.place.weather.station_m_s < 2.5
    assert quick.seen.zero_flow_pa == pytest.approx(slow.seen.zero_flow_pa, abs=0.1)
    assert quick.seen.stack_only_pa == pytest.approx(slow.seen.stack_only_pa, abs=1e-6)
    runs = [test.seen.runs[0] for test in (quick, slow)]
    assert runs[0].before.mean_pa == pytest.approx(runs[1].before.mean_pa, abs=0.3)
    assert runs[0].before.mean_pa == pytest.approx(shift_pa, abs=1.0)
    induced = [run.points[0].pressure.mean_pa - run.before.mean_pa for run in runs]
    flows = [
        run.points[0].flow_m3_h * (50.0 / abs(pressure)) ** 0.65 for run, pressure in zip(runs, induced, strict=True)
    ]
    assert flows[0] == pytest.approx(flows[1], rel=0.006)


def test_the_closed_form_in_wind_moves_the_house_as_far_as_the_mean_of_gusts():
    quick, slow = quick_and_slow(datetime(2025, 11, 20, 11, 0))
    assert quick.place.weather.station_m_s > 7.0
    moved = [test.seen.zero_flow_pa - test.seen.stack_only_pa for test in (quick, slow)]
    assert moved[0] == pytest.approx(moved[1], abs=0.5 * abs(moved[1]) + 0.5)
    assert quick.seen.roof_m_s == pytest.approx(slow.seen.roof_m_s, rel=0.25)


def test_a_log_of_a_run_holds_its_points():
    job = Job("FV-1", house("H-1"), "Q2", ())
    plan = Plan(-1, (60.0, 40.0, 20.0), 60, 40)
    test = meant(job, "before", datetime(2025, 9, 11, 9, 0), plans=(plan,))
    log = log_run(place_of(test), plan)
    assert log.read_pa.size == log.fan_pa.size == 2 * 60 + 3 * 60
    assert np.isnan(log.flow_m3_h).tolist() == [True] * 60 + [False] * 180 + [True] * 60
    held = [log.read_pa[80 + 60 * number : 120 + 60 * number].mean() for number in range(3)]
    assert held == pytest.approx([-60.0, -40.0, -20.0], abs=2.5)
    flows = [log.flow_m3_h[80 + 60 * number : 120 + 60 * number].mean() for number in range(3)]
    slope = math.log(flows[0] / flows[2]) / math.log(held[0] / held[2])
    assert slope == pytest.approx(test.house.exponent, abs=0.03)
