"""Water in the outdoor reference line: a baseline on a calm day that buoyancy does not explain."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from interchange.analysis import air, baseline, ragged
from interchange.analysis.batch import Batch, Floats
from interchange.analysis.check import Check, Flags, flow_effect_percent, judged, known_greatest, known_least, worst_run
from interchange.analysis.leakage import Leakage
from interchange.analysis.work import floats
from interchange.quantities import SUSPECT

REFERENCE_INDOOR_C = 20.0  # [degrees Celsius] indoor air where no temperature bounds the stack


def water_in_line(
    batch: Batch,
    leakage: Leakage,
    *,
    limit_pa: float = 10.0,
    other_sign_limit_pa: float = 15.0,
    unexplained_pa: float = 5.0,
    calm_wind_m_s: float = 1.5,
    calm_gust_m_s: float = 3.0,
    calm_beaufort: int = 1,
    greatest_height_m: float = 12.0,
    greatest_temperature_difference_k: float = 40.0,
) -> Check:
    """Whether a baseline on a calm day points to water in the outdoor line; value: the baseline farthest out [Pa].

    Common practice, no source: -10 Pa or beyond on a calm day. Suspect where the reading is beyond its limit and
    stack leaves `unexplained_pa` [Pa] of it or more. Water gives either sign, but towards positive a supply fan left
    running is as likely, so that side has the wider limit. An exhaust fan left running makes a negative baseline too,
    so a finding is suspect, never a failure. Wind makes the same offsets: only a day known to be calm is judged, one
    whose wind speed [m/s], gust [m/s] and Beaufort force are at or below their limits (force 1 ends at 1.5 m/s), as
    far as they are given.

    Stack: the neutral level is taken to be at mid-height and gauge and line's end at the foot, so the stack pressure
    at the gauge is -(rho_out - rho_in) g H / 2. Where height or temperatures are unknown it is bounded by
    `greatest_height_m` [m] and `greatest_temperature_difference_k` [K], and counts with the value that explains most;
    a reading that only some stack within the bounds would explain is not judged.

    Effect: n x / 50, with x the shift between baselines where both are there, since an offset that both show is
    subtracted; else all that stack does not explain.

    References
    ----------
    [1] 1 mm of water is 9.8 Pa: a drop across the bore of a tube is enough.
    [2] Stack pressure as in `air.stack_pressure_pa`.

    """
    offsets = leakage.run_offsets
    before = floats(batch.run["baseline_before_pressure_pa"])
    after = floats(batch.run["baseline_after_pressure_pa"])
    lowest = known_least(np.fmin(before, after), offsets)
    highest = known_greatest(np.fmax(before, after), offsets)
    downwards = -lowest - limit_pa >= highest - other_sign_limit_pa
    value = np.where(downwards, lowest, highest)
    beyond = np.where(downwards, value <= -limit_pa, value >= other_sign_limit_pa)

    stack_low, stack_high = _stack_bounds_pa(batch, greatest_height_m, greatest_temperature_difference_k)
    stack = np.where(downwards, stack_low, stack_high)  # what explains most
    sign = np.where(downwards, -1.0, 1.0)
    unexplained = np.maximum(sign * (value - stack), 0.0)
    at_most = sign * (value - np.where(downwards, stack_high, stack_low))
    bad = beyond & (unexplained >= unexplained_pa)
    perhaps = beyond & (at_most >= unexplained_pa)

    windy, calm = _wind(batch, calm_wind_m_s, calm_gust_m_s, calm_beaufort)
    no_baseline = np.isnan(lowest)
    cause = np.select(
        [no_baseline, windy, ~calm & perhaps, ~calm],
        ["baseline_unknown", "windy", "wind_unknown_large_offset", "wind_unknown"],
        "stack_unknown",
    )
    shift = np.abs(baseline.baseline_shift_pa(before, after))
    not_repeated = ragged.any_true(np.isnan(shift), offsets)
    uncancelled = np.where(not_repeated, unexplained, worst_run(leakage, shift, shift))
    found = judged(
        value,
        bad,
        when_bad=SUSPECT,
        limit=np.where(downwards, -limit_pa, other_sign_limit_pa),
        effect_percent=flow_effect_percent(leakage, uncancelled),
        unknown=no_baseline | windy | ~calm | (perhaps & ~bad),
        cause=cause,
    )
    bounded = (stack_low != stack_high).astype(np.float64)
    return replace(found, details={"stack_pa": stack, "stack_bounded": bounded})


def _wind(batch: Batch, calm_wind_m_s: float, calm_gust_m_s: float, calm_beaufort: int) -> tuple[Flags, Flags]:
    """Whether it was surely windy, and whether it is known to have been calm; neither where nothing proves it."""
    session = batch.session
    speed, gust = floats(session["wind_speed_m_s"]), floats(session["wind_gust_m_s"])
    low, high = floats(session["wind_beaufort_low"]), floats(session["wind_beaufort_high"])
    windy = (speed > calm_wind_m_s) | (gust > calm_gust_m_s) | (low > calm_beaufort)
    said_calm = (speed <= calm_wind_m_s) | (high <= calm_beaufort)
    return np.asarray(windy), np.asarray(said_calm & ~windy)


def _stack_bounds_pa(batch: Batch, greatest_height_m: float, greatest_difference_k: float) -> tuple[Floats, Floats]:
    """Lowest and highest stack pressure at the gauge [Pa]; equal where height and temperatures are known.

    Where neither barometer nor elevation is known, the pressure is that of sea level, where the stack is strongest.
    """
    session = batch.session
    height = floats(session["height_m"])
    indoor, outdoor = floats(session["indoor_temperature_c"]), floats(session["outdoor_temperature_c"])
    site = air.site_pressure_pa(floats(session["barometric_pressure_pa"]), floats(session["elevation_m"]))
    barometer = np.where(np.isnan(site), air.STANDARD_PRESSURE_PA, site)
    no_height, no_difference = np.isnan(height), np.isnan(indoor) | np.isnan(outdoor)
    below_neutral = -np.where(no_height, greatest_height_m, height) / 2.0
    known = air.stack_pressure_pa(indoor, outdoor, below_neutral, barometer)
    cold = REFERENCE_INDOOR_C - greatest_difference_k
    most = np.abs(air.stack_pressure_pa(REFERENCE_INDOOR_C, cold, below_neutral, barometer))
    low = np.where(no_difference, -most, np.where(no_height, np.minimum(known, 0.0), known))
    high = np.where(no_difference, most, np.where(no_height, np.maximum(known, 0.0), known))
    return low, high
