"""Checks of the circumstances of a test: wind, stack, directions, fan, whether the numbers can be those of a house."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from interchange.analysis import air, ragged
from interchange.analysis.batch import Batch, Floats
from interchange.analysis.check import Check, judged, known_greatest
from interchange.analysis.leakage import OUTSIDE_CALIBRATION, Leakage
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


def temperature_times_height(batch: Batch, leakage: Leakage, *, limit_m_k: float) -> Check:
    """Whether stack stays small; value: temperature difference times height of the tested space [m K].

    Buoyancy makes about 0.04 Pa for each m K from the lowest leak to the highest: 200 m K are 8.6 Pa end to end.

    References
    ----------
    [1] ISO 9972: 250 m K, ASTM E779: 200 m K (both from memory).
    [2] Stack pressure as in `air.stack_pressure_pa`: 0.0432 Pa/(m K) at 20 and 0 degrees Celsius.

    """
    height = floats(batch.session["height_m"])
    difference = np.abs(_difference_k(batch))
    value = difference * height
    found = judged(value, value > limit_m_k, when_bad=SUSPECT, limit=limit_m_k, cause="height_unknown")
    found = replace(found, details={"difference_k": difference, "height_m": height})
    return found.unless(np.isnan(difference), "temperature_not_recorded")


def temperature_difference(batch: Batch, leakage: Leakage, *, limit_k: float) -> Check:
    """Whether indoor and outdoor air are alike enough to leave their densities alone; value: difference [K].

    For rule sets without a correction for it. Effect: how far the ratio of the two densities is from 1, which is what
    the correction of the flow through fan and leaks would be for dry air.
    """
    value = np.abs(_difference_k(batch))
    indoor, outdoor = (air.KELVIN + floats(batch.session[f"{side}_temperature_c"]) for side in ("indoor", "outdoor"))
    effect = 100.0 * (np.fmax(indoor, outdoor) / np.fmin(indoor, outdoor) - 1.0)
    cause = "temperature_not_recorded"
    return judged(value, value > limit_k, when_bad=SUSPECT, limit=limit_k, effect_percent=effect, cause=cause)


def _difference_k(batch: Batch) -> Floats:
    return floats(batch.session["indoor_temperature_c"]) - floats(batch.session["outdoor_temperature_c"])


def within_fan_calibration(batch: Batch, leakage: Leakage) -> Check:
    """Whether the fan ran within the range of its calibration; value: readings outside it.

    What a calibration says beyond its range nobody has measured, so the effect is unknown. Not evaluated where no range
    is known, or the rule set takes the flow shown by the gauge.
    """
    offsets = leakage.run_offsets
    counts = [floats(leakage.run[name]) for name in OUTSIDE_CALIBRATION]
    untold = ~ragged.any_true(~np.isnan(counts[0]), offsets)
    below, above = (
        np.where(untold, np.nan, ragged.sums(np.where(np.isnan(count), 0.0, count), offsets)) for count in counts
    )
    value = below + above
    found = judged(value, value > 0, when_bad=SUSPECT, limit=0.0, cause="calibration_range_unknown")
    return replace(found, details={"below": below, "above": above})


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
