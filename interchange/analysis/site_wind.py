"""Wind at a house from a weather record: height, terrain, averaging, time apart, and how far to trust it.

References
----------
[1] ASHRAE Handbook Fundamentals (SI), chapter 24, equation 4 and table 1: the power-law profile (read).
[2] WMO Guide No. 8, chapter 5: 10 min mean, gust of 3 s, 10 m above open terrain (read in part).
[3] The Beaufort scale, WMO equivalents in m/s (from memory).
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from interchange.analysis.batch import Floats

# Terrain of the session's closed list: exponent [1], height of the boundary layer [m]. Table 1 of [1].
TERRAINS: Mapping[str, tuple[float, float]] = {
    "city": (0.33, 460.0),
    "suburban": (0.22, 370.0),
    "open_country": (0.14, 270.0),
    "open_water": (0.10, 210.0),
}
STATION_HEIGHT_M = 10.0  # [m] [2]
# [m/s] lowest wind of each force from 0 to 12, and what lies beyond the last known one [3]
BEAUFORT_M_S = np.array([0.0, 0.3, 1.6, 3.4, 5.5, 8.0, 10.8, 13.9, 17.2, 20.8, 24.5, 28.5, 32.7, np.inf])

# Parts of the standard deviation of ln speed at the house, given the record. All are judgement, no source: nobody has
# held them against masts beside houses.
OF_SITE = 0.25  # shelter of neighbours and trees that no class of terrain knows
OF_DISTANCE, DISTANCE_M = 0.35, 20_000.0  # grows as 1 - exp(-D / 20 km)
DISTANCE_UNKNOWN = 0.30  # the same where nobody knows how far the station is
OF_TIME, TIME_S = 0.35, 7_200.0  # the same with the time apart, within two hours
OF_SHORT_MEAN, TURBULENCE_S = 0.25, 30.0  # gusts that a short mean still holds: intensity times sqrt(2 tau / T)
FURTHEST_S = 3_600.0  # [s] a record further off in time says nothing of a test


def at_house_m_s(
    speed_m_s: Floats,
    station_height_m: Floats | float = STATION_HEIGHT_M,
    house_height_m: Floats | float = 5.0,
    station_terrain: str = "open_country",
    house_terrain: str = "suburban",
) -> Floats:
    """Mean wind at the height of the house [m/s] from that at a station: equation 4 of [1].

    U_H = U (d_s / z_s)^a_s (H / d_h)^a_h, a and d of `TERRAINS`. Shelter by neighbours is not in it. Raises KeyError
    for an unknown terrain.
    """
    a, layer = TERRAINS[station_terrain]
    b, house_layer = TERRAINS[house_terrain]
    station, house = (np.asarray(one, dtype=np.float64) for one in (station_height_m, house_height_m))
    return np.asarray(speed_m_s * (layer / station) ** a * (house / house_layer) ** b)


def log_error(
    distance_m: Floats | float = np.nan, apart_s: Floats | float = 0.0, averaging_s: Floats | float = 600.0
) -> Floats:
    """Standard deviation of ln speed at the house [1], given a record so far away in place and time.

    sqrt of the sum of squares of: site; distance, 0.35 (1 - exp(-D / 20 km)), or 0.30 where it is unknown; time apart,
    0.35 (1 - exp(-t / 2 h)); and turbulence left in a short mean, 0.25 sqrt(min(1, 2 * 30 s / T)), with T = 600 s where
    it is unknown.
    """
    far = np.asarray(distance_m, dtype=np.float64)
    place = np.where(np.isnan(far), DISTANCE_UNKNOWN, -OF_DISTANCE * np.expm1(-np.nan_to_num(far) / DISTANCE_M))
    time = -OF_TIME * np.expm1(-np.abs(np.asarray(apart_s)) / TIME_S)
    mean_s = np.where(np.isnan(averaging_s), 600.0, averaging_s)
    gusts = OF_SHORT_MEAN * np.sqrt(np.minimum(1.0, 2.0 * TURBULENCE_S / mean_s))
    return np.asarray(np.sqrt(OF_SITE**2 + place**2 + time**2 + gusts**2))


def in_time(
    moment_s: Floats, record_s: Floats, value: Floats, furthest_s: float = FURTHEST_S, turning: bool = False
) -> tuple[Floats, Floats]:
    """Value of a record at moments, and the seconds to its nearest entry; NaN beyond `furthest_s`.

    Between two entries that both lie within reach the value is interpolated, elsewhere it is the nearest. Entries
    without a value (a gust where none was reported) are no entries and are not nought. `turning`: directions [deg],
    interpolated the shorter way about, 360 for north.
    """
    ok = np.isfinite(value) & np.isfinite(record_s)
    moment = np.asarray(moment_s, dtype=np.float64)
    nothing = np.full(moment.shape, np.nan)
    if not ok.any():
        return nothing, nothing
    order = np.argsort(record_s[ok], kind="stable")
    times, values = record_s[ok][order], value[ok][order]
    after = np.clip(np.searchsorted(times, moment), 0, times.size - 1)
    before = np.clip(np.searchsorted(times, moment, side="right") - 1, 0, times.size - 1)
    to_before, to_after = np.abs(moment - times[before]), np.abs(times[after] - moment)
    span = to_before + to_after
    share = np.where(span > 0, to_before / np.where(span > 0, span, 1.0), 0.0)
    share = np.where(np.maximum(to_before, to_after) <= furthest_s, share, np.where(to_after < to_before, 1.0, 0.0))
    step = values[after] - values[before]
    if turning:
        step = (step + 180.0) % 360.0 - 180.0
    found = values[before] + share * step
    if turning:
        found = found % 360.0
        found = np.where(found == 0.0, 360.0, found)
    apart = np.minimum(to_before, to_after)
    near = apart <= furthest_s
    return np.where(near, found, np.nan), np.where(near, apart, np.nan)


def distance_m(
    latitude_deg: Floats | float, longitude_deg: Floats | float, to_latitude_deg: float, to_longitude_deg: float
) -> Floats:
    """Great-circle distance [m] on a sphere of 6,371 km (haversine)."""
    a, b, c, d = (np.radians(one) for one in (latitude_deg, longitude_deg, to_latitude_deg, to_longitude_deg))
    chord = np.sin((c - a) / 2) ** 2 + np.cos(a) * np.cos(c) * np.sin((d - b) / 2) ** 2
    return np.asarray(2.0 * 6_371_000.0 * np.arcsin(np.sqrt(chord)))


def beaufort_band_m_s(low: int, high: int) -> tuple[float, float]:
    """Wind speeds [m/s] that a band of the Beaufort scale allows: a word stays a band, it never becomes one speed."""
    return float(BEAUFORT_M_S[low]), float(BEAUFORT_M_S[high + 1])
