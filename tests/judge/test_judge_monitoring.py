"""An hour without a fan: its truth is true, and the weather record goes with the wind as far as it should."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from . import Air, Case, House, Mast, Wind, branched_damped, faults, open_end, several_facades, simulate, single_point
from .gauges import PERFECT_GAUGE
from .mast import at_mast, beside
from .monitoring import simulate_monitoring
from .steps import STEP_S
from .wind import OPEN_COUNTRY, WindSeries, blow, speed_at

TWO = Case(lines=(open_end(), branched_damped()), gauge=PERFECT_GAUGE, wind=Wind(5.0))


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_the_true_zero_is_the_stack_alone():
    # two equal leaks, at 0 m and 4 m: mass balance gives rho_out x_low = rho_in x_high, whatever the exponent
    house = House(wall_shares=(1.0, 0, 0, 0), ceiling_share=0.0, wall_heights_m=(0.0, 4.0), gauge_height_m=1.5)
    case = replace(TWO, house=house, air=Air(20.0, 0.0))
    windy = simulate_monitoring(case, 600, rng())
    inside, outside = 101325 / (287.055 * 293.15), 101325 / (287.055 * 273.15)
    per_metre = (outside - inside) * 9.80665
    expected = -4.0 * per_metre * inside / (inside + outside) + 1.5 * per_metre
    assert windy.truth.zero_pa == pytest.approx(expected, abs=1e-6)
    assert windy.truth.mean_inside_pa == pytest.approx(windy.true_inside_pa.mean(), abs=1e-9)
    assert abs(windy.truth.mean_inside_pa - expected) > 0.3
    still = simulate_monitoring(replace(case, wind=Wind(0.0)), 60, rng())
    assert still.pressure_pa == pytest.approx(np.full((2, 60), expected), abs=1e-6)
    assert np.isnan(still.truth.noise_ratio).all()


def test_lines_differ_from_the_true_pressure_by_the_noise_that_is_told():
    found = simulate_monitoring(replace(TWO, lines=(open_end(), several_facades(), branched_damped())), 3600, rng())
    assert found.pressure_pa.shape == (3, 3600)
    error = found.true_inside_pa - found.pressure_pa
    assert error.mean(axis=1) == pytest.approx(found.truth.line_error_pa, abs=1e-6)
    # means of a second lose a little of the variance of half seconds
    assert np.cov(error) == pytest.approx(found.truth.line_covariance_pa2, rel=0.12, abs=0.05)
    ratio = found.truth.noise_ratio
    assert ratio[0] == 1.0
    assert ratio[2] < ratio[1] < 1.0


def test_water_in_one_line_for_a_part_of_the_hour_shifts_that_line_alone():
    wet = replace(TWO, faults=(faults.water(12.0, (1200.0, 2400.0), line=1, stick_pa=50.0),))
    dry, found = simulate_monitoring(TWO, 3600, rng()), simulate_monitoring(wet, 3600, rng())
    assert found.pressure_pa[0].tolist() == dry.pressure_pa[0].tolist()
    assert found.pressure_pa[1, :1200].tolist() == dry.pressure_pa[1, :1200].tolist()
    assert found.pressure_pa[1, 2400:] == pytest.approx(dry.pressure_pa[1, 2400:], abs=1e-9)
    outdoors = found.true_inside_pa - found.pressure_pa[1]
    assert np.ptp(outdoors[1200:2400]) < 1e-9
    assert outdoors[1200] == pytest.approx((dry.true_inside_pa - dry.pressure_pa[1])[1199] - 12.0, abs=0.5)
    (planted,) = found.truth.planted
    assert (planted.kind, planted.onset_s, planted.size, planted.line) == ("water in the line", 1200.0, 12.0, 1)
    assert found.truth.line_covariance_pa2.tolist() == dry.truth.line_covariance_pa2.tolist()


def test_faults_of_the_fan_are_refused_without_a_fan():
    for fault in (faults.fan_running(300.0), faults.swapped(), faults.water(3.0, "from points", 0)):
        with pytest.raises(ValueError, match="is not possible without a fan"):
            simulate_monitoring(replace(TWO, faults=(fault,)), 60, rng())


@pytest.mark.parametrize("offset_s", [-240.0, 0.0, 130.0])
def test_a_stamp_less_the_offset_is_the_true_end_of_its_interval(offset_s):
    # a mast at the house, as high as the eaves: it has the same wind
    case = replace(TWO, wind=Wind(5.0, 200.0, OPEN_COUNTRY))
    case = replace(case, mast=Mast(5.0, 0.0, clock_offset_s=offset_s, averaging_s=300, speed_resolution_m_s=0.0))
    found = simulate_monitoring(case, 3600, rng())
    record = found.weather
    assert found.truth.clock_offset_s == offset_s
    assert np.isnan(record.true_clock_offset_s)
    assert (record.time_s % 300 == 0).all()
    assert record.time_s[0] - 300 <= offset_s
    assert record.time_s[-1] >= 3600 + offset_s
    compared = 0
    for stamp, speed, gust in zip(record.time_s, record.speed_m_s, record.gust_m_s, strict=True):
        stop = int(stamp - offset_s)
        if stop >= 300 and stop <= 3600:
            true = found.true_wind_at_eaves_m_s[stop - 300 : stop]
            assert speed == pytest.approx(true.mean(), rel=0.01)
            assert gust == pytest.approx(true.reshape(-1, 3).mean(axis=1).max(), rel=0.03)
            compared += 1
    assert compared >= 11


def test_the_mast_has_the_mean_of_its_height_and_direction():
    wind = Wind(6.0, 250.0)
    mast = Mast(distance_m=5000.0, terrain=OPEN_COUNTRY)
    records = [beside(mast, wind, 5.0, blow(wind, 5.0, 7200, STEP_S, rng(i)), rng(100 + i)) for i in range(40)]
    assert np.mean([r.speed_m_s.mean() for r in records]) == pytest.approx(6.0 * 1.02, rel=0.05)  # gusts across add 2 %
    assert np.mean([r.gust_m_s.mean() for r in records]) > 8
    directions = np.concatenate([r.from_deg for r in records])
    assert (directions % 10 == 0).all()
    assert np.abs((directions - 250 + 180) % 360 - 180).mean() < 12
    offsets = np.array([r.true_clock_offset_s for r in records])
    assert np.abs(offsets).max() <= 300
    assert offsets.std() > 100
    calm = beside(Mast(), Wind(0.0, 90.0), 5.0, WindSeries(np.zeros(1200), np.full(1200, 90.0)), rng())
    assert (calm.speed_m_s == 0).all()


def test_the_mast_goes_with_the_wind_at_the_house_less_the_farther_it_is():
    wind = Wind(6.0, 90.0)
    minutes = {20.0: [], 300.0: [], 5000.0: []}
    for seed in range(6):
        house = blow(wind, 5.0, 7200, STEP_S, rng(seed))
        here = house.speed_m_s.reshape(-1, 120).mean(axis=1)
        for distance_m, found in minutes.items():
            along, across, _ = at_mast(Mast(distance_m=distance_m), wind, 5.0, house, 0, 7200, rng(100 + seed))
            found.append(np.corrcoef(here, np.hypot(along, across).reshape(-1, 120).mean(axis=1))[0, 1])
    near, middle, far = (np.mean(each) for each in minutes.values())
    assert near > 0.85
    assert far < 0.35
    assert near > middle + 0.1
    assert middle > far


def test_a_mast_keeps_its_variance_at_any_distance():
    wind = Wind(6.0, 90.0, OPEN_COUNTRY)
    for distance_m in (0.0, 100.0, 5000.0):
        spread = []
        for seed in range(10):
            house = blow(wind, 10.0, 3600, STEP_S, rng(seed))
            along, _, _ = at_mast(Mast(distance_m=distance_m, site_sd=0.0), wind, 10.0, house, 0, 3600, rng(50 + seed))
            spread.append(along.std() / speed_at(wind, 10.0))
        assert np.mean(spread) == pytest.approx(np.hypot(0.25, 0.1), rel=0.12)


def test_a_test_has_a_weather_record_where_its_case_has_a_mast():
    bare = Case(procedure=single_point())
    beside_it = replace(bare, mast=Mast())
    with_mast = simulate(beside_it, rng())
    assert with_mast.weather.time_s[-1] >= 130 + with_mast.weather.true_clock_offset_s
    assert simulate(bare, rng()).weather is None
    assert simulate(bare, rng()).runs[0].flow_m3_h.tolist() == with_mast.runs[0].flow_m3_h.tolist()


def test_an_hour_is_the_same_by_seed():
    first, second = simulate_monitoring(TWO, 120, rng(5)), simulate_monitoring(TWO, 120, rng(5))
    assert first.pressure_pa.tolist() == second.pressure_pa.tolist()
    assert first.weather.speed_m_s.tolist() == second.weather.speed_m_s.tolist()
    assert simulate_monitoring(TWO, 120, rng(6)).pressure_pa.tolist() != first.pressure_pa.tolist()
