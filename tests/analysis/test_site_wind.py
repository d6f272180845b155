"""Wind at a house from a weather record, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from interchange.analysis import site_wind


def test_the_profile_is_that_of_the_handbook() -> None:
    # ASHRAE Handbook Fundamentals (SI), chapter 24, example 1: 7.8 m/s, as in reference check values (7.837):
    # (270/10)^0.14 (H/370)^0.22 by hand for 10 m/s, H = 10 m: 1.5864 x 0.4519
    found = site_wind.at_house_m_s(np.array([10.0]), house_height_m=10.0)
    assert found[0] == pytest.approx(10.0 * 1.5864 * 0.4519, rel=1e-3)
    same = site_wind.at_house_m_s(np.array([4.0]), 10.0, 10.0, house_terrain="open_country")
    assert same[0] == pytest.approx(4.0)
    with pytest.raises(KeyError):
        site_wind.at_house_m_s(np.array([4.0]), house_terrain="moon")


def test_between_two_entries_the_wind_is_interpolated_and_beyond_reach_there_is_none() -> None:
    time, speed = np.array([0.0, 600.0, 1200.0]), np.array([2.0, np.nan, 6.0])
    found, apart = site_wind.in_time(np.array([0.0, 300.0, 4000.0, 5000.0]), time, speed)
    assert found[:3].tolist() == [2.0, 3.0, 6.0]
    assert apart[:3].tolist() == [0.0, 300.0, 2800.0]
    assert np.isnan(found[3]) and np.isnan(apart[3])
    near, _ = site_wind.in_time(np.array([100.0, 1000.0]), time, speed, furthest_s=500.0)
    assert near.tolist() == [2.0, 6.0]
    nothing, _ = site_wind.in_time(np.array([0.0]), time, np.full(3, np.nan))
    assert np.isnan(nothing[0])


def test_directions_turn_the_shorter_way_and_north_is_360() -> None:
    time = np.array([0.0, 100.0])
    found, _ = site_wind.in_time(np.array([50.0, 25.0]), time, np.array([350.0, 10.0]), turning=True)
    assert found.tolist() == [360.0, 355.0]


def test_trust_falls_with_distance_time_and_short_means() -> None:
    # by hand: 0.25^2 + 0 + 0 + 0.25^2 x 60/600 = 0.0625 + 0.00625
    assert site_wind.log_error(0.0, 0.0, 600.0) == pytest.approx(np.sqrt(0.06875))
    assert site_wind.log_error(np.nan, 0.0, np.nan) == pytest.approx(np.sqrt(0.06875 + 0.09))
    near, far = site_wind.log_error(1e3), site_wind.log_error(4e4)
    assert near < far
    assert site_wind.log_error(0.0, 3600.0) > site_wind.log_error(0.0, 60.0) > site_wind.log_error(0.0)
    assert site_wind.log_error(0.0, 0.0, 120.0) > site_wind.log_error(0.0, 0.0, 3600.0)


def test_words_of_the_beaufort_scale_stay_bands() -> None:
    # WMO equivalents in m/s, from memory
    assert site_wind.beaufort_band_m_s(3, 4) == (3.4, 8.0)
    assert site_wind.beaufort_band_m_s(12, 12) == (32.7, np.inf)


def test_a_degree_of_latitude_is_111_km() -> None:
    # 6371 km x pi / 180 = 111.195 km
    assert site_wind.distance_m(52.0, -1.9, 53.0, -1.9) == pytest.approx(111_195, rel=1e-5)
