"""The year's weather over the invented valley: hourly, seasonal, with one wet and windy week."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from interchange.demo.air import pressure_at_pa
from interchange.demo.visit import generator
from interchange.demo.wind import Array, eddies

BEGIN, END = datetime(2025, 3, 1), datetime(2026, 3, 1)
WINDY_WEEK = (datetime(2025, 11, 17), datetime(2025, 11, 24))  # wet all week, too
STATION_ELEVATION_M = 148.0

_HOUR = timedelta(hours=1)
_HOURS = (END - BEGIN) // _HOUR + 1
_YEAR_H, _DAY_H = 8766.0, 24.0
_COLDEST_H = -42 * 24.0  # mid-January, counted from the begin
_PASSING_H = 30.0  # time scale of weather that passes over; assumption
_MEAN_C, _SEASON_C, _DAY_C, _PASSING_C = 9.0, 7.5, 3.0, 2.4  # a cool upland valley; assumptions
_MEAN_M_S, _SEASON_SHARE, _DAY_SHARE, _SPREAD = 2.3, 0.15, 0.20, 0.45  # a sheltered valley; assumptions
_FROM_DEG, _FROM_SPREAD_DEG = 235.0, 55.0
_SYNOPTIC_PA = 900.0


@dataclass(frozen=True, slots=True)
class Sky:
    """Outdoor air [°C], wind at 10 m in open country [m/s] from a direction [deg], pressure at sea level [Pa]."""

    outdoor_c: float
    station_m_s: float
    from_deg: float
    sea_level_pa: float

    def barometer_pa(self, elevation_m: float) -> float:
        """Pressure [Pa] at an elevation [m]."""
        return self.sea_level_pa * pressure_at_pa(elevation_m) / pressure_at_pa(0.0)


def _series() -> tuple[Array, Array, Array, Array]:
    hours = np.arange(_HOURS, dtype=np.float64)
    warmth, gale, turn, weight = eddies(generator("weather of the year"), _HOURS, 4, _PASSING_H).T
    winter = np.cos(2.0 * np.pi * (hours - _COLDEST_H) / _YEAR_H)
    afternoon = np.cos(2.0 * np.pi * (hours - 15.0) / _DAY_H)
    outdoor_c = _MEAN_C - _SEASON_C * winter + _DAY_C * (1.0 - 0.4 * winter) * afternoon + _PASSING_C * warmth
    speed = _MEAN_M_S * (1.0 + _SEASON_SHARE * winter) * (1.0 + _DAY_SHARE * afternoon) * np.exp(_SPREAD * gale)
    from_deg = _FROM_DEG + _FROM_SPREAD_DEG * turn
    sea_level_pa = 101_400.0 + _SYNOPTIC_PA * weight
    first, last = ((moment - BEGIN) // _HOUR for moment in WINDY_WEEK)
    week = slice(first, last)
    speed[week] = np.clip(9.0 + 1.6 * gale[week] + 0.8 * afternoon[week], 6.8, 13.0)
    from_deg[week] = 245.0 + 12.0 * turn[week]
    outdoor_c[week] = 8.0 + 0.8 * warmth[week]
    sea_level_pa[week] = 98_900.0 + 400.0 * weight[week]
    return outdoor_c, speed, from_deg, sea_level_pa


_OUTDOOR_C, _SPEED_M_S, _BEARING_DEG, _SEA_LEVEL_PA = _series()


def sky(moment: datetime) -> Sky:
    """The weather at a moment of the year, between the hours by straight lines. Raises ValueError outside it."""
    if not BEGIN <= moment < END:
        raise ValueError(f"no weather for {moment}")
    hour = (moment - BEGIN) / _HOUR
    low = int(hour)
    share = hour - low
    values = (
        (1.0 - share) * float(series[low]) + share * float(series[low + 1])
        for series in (_OUTDOOR_C, _SPEED_M_S, _BEARING_DEG, _SEA_LEVEL_PA)
    )
    outdoor_c, speed, bearing, pressure = values
    return Sky(outdoor_c, speed, bearing % 360.0, pressure)


def wet(moment: datetime) -> bool:
    """Whether it rained that week."""
    return WINDY_WEEK[0] <= moment < WINDY_WEEK[1]
