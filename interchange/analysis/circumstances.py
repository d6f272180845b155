"""Checks of the circumstances of a test: the wind, the directions run, whether the numbers can be those of a house."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from interchange.analysis.batch import Batch
from interchange.analysis.check import Check, judged, known_greatest
from interchange.analysis.leakage import Leakage
from interchange.analysis.work import floats
from interchange.quantities import CHOICES, SUSPECT

_BY_HAND = CHOICES["wind_source"].index("on_site_hand")


def wind_strength(
    batch: Batch,
    leakage: Leakage,
    *,
    limit_m_s: float = 6.0,
    near_ground_limit_m_s: float = 3.0,
    beaufort_limit: int = 3,
) -> Check:
    """Whether the wind was one that a test bears; value: mean wind speed [m/s].

    A speed measured by hand near the ground has its own limit; one whose place is unknown is untold between the two
    limits. Where there is only a word, its band decides: strong where even its lowest force is above the limit, untold
    where only its highest is.

    References
    ----------
    [1] Checklist for test reports, passipedia.org, on ISO 9972 (read): 6 m/s or Beaufort force 3.
    [2] ISO 9972 (from memory): 3 m/s near the ground.

    """
    session = batch.session
    speed = floats(session["wind_speed_m_s"])
    low, high = floats(session["wind_beaufort_low"]), floats(session["wind_beaufort_high"])
    limit = np.where(session["wind_source"] == _BY_HAND, near_ground_limit_m_s, limit_m_s)
    spoken = np.isnan(speed)
    perhaps = spoken & (low <= beaufort_limit) & (high > beaufort_limit)
    place_matters = (floats(session["wind_source"]) < 0) & (speed > near_ground_limit_m_s) & (speed <= limit_m_s)
    cause = np.select([perhaps, place_matters], ["wind_perhaps_strong", "wind_place_unknown"], "wind_not_recorded")
    unknown = perhaps | place_matters | (spoken & np.isnan(low))
    bad = np.where(spoken, low > beaufort_limit, speed > limit)
    found = judged(speed, bad, limit=limit, unknown=unknown, cause=cause)
    words = np.where(spoken, low, np.nan)
    return replace(found, details={"beaufort_low": words, "beaufort_limit": np.full(low.size, float(beaufort_limit))})


def both_directions(batch: Batch, leakage: Leakage) -> Check:
    """Whether the fan was run in both directions; value: directions [1] behind the result."""
    used = leakage.session["direction_used"].astype(np.int64)
    both = CHOICES["direction_used"].index("both")
    value = np.where(used < 0, np.nan, np.where(used == both, 2.0, 1.0))
    return judged(value, value < 2, when_bad=SUSPECT, limit=2.0, cause="no_result")


def plausible_indoors(batch: Batch, leakage: Leakage, *, low_c: float = 0.0, high_c: float = 45.0) -> Check:
    """Whether the indoor air can be that of a house; value: indoor temperature [degrees Celsius]. No source.

    Degrees Celsius written under a heading in Fahrenheit come out below nought.
    """
    value = floats(batch.session["indoor_temperature_c"])
    bad = (value < low_c) | (value > high_c)
    ends = {"low": np.full(value.size, low_c), "high": np.full(value.size, high_c)}
    limit = np.where(value < low_c, low_c, high_c)
    return replace(judged(value, bad, when_bad=SUSPECT, limit=limit, cause="temperature_not_recorded"), details=ends)


def plausible_pressure(batch: Batch, leakage: Leakage, *, highest_pa: float = 120.0) -> Check:
    """Whether the pressures in the fit can be those of a house test; value: the highest [Pa]. No source."""
    value = known_greatest(floats(leakage.run["highest_pressure_pa"]), leakage.run_offsets)
    return judged(value, value > highest_pa, when_bad=SUSPECT, limit=highest_pa, cause="no_result")


def plausible_air_changes(batch: Batch, leakage: Leakage, *, low_per_h: float = 0.1, high_per_h: float = 60.0) -> Check:
    """Whether the result can be that of a house; value: air changes an hour at 50 Pa [1/h]. No source."""
    value = floats(leakage.session["air_change_50_per_h"])
    no_result = np.isnan(floats(leakage.session["flow_50_m3_h"]))
    bad = (value < low_per_h) | (value > high_per_h)
    cause = np.where(no_result, "no_result", "volume_unknown")
    found = judged(value, bad, when_bad=SUSPECT, limit=np.where(value < low_per_h, low_per_h, high_per_h), cause=cause)
    ends = {"low": np.full(value.size, low_per_h), "high": np.full(value.size, high_per_h)}
    return replace(found, details=ends)
