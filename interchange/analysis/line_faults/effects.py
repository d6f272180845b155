"""What each fault does to the flow at 50 and at 10 Pa, if it is there: to first order, as a magnitude in per cent."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from interchange.analysis.batch import Floats
from interchange.analysis.line_faults.seen import POINT, Level, Seen, medians
from interchange.analysis.line_faults.zero import Zero

AT_PA = (50.0, 10.0)
USUAL_EXPONENT = 0.65
WIND_TIMES = 2.0  # [1] deviations of single readings by which wind moves the zero on the average


def effects(seen: Seen, level: Level, zero: Zero, signs: Mapping[str, Floats]) -> tuple[dict[str, Floats], ...]:
    """Effects at 50 Pa and at 10 Pa [%] by fault; absent where the readings are worth nothing.

    A pressure error of x Pa at p moves the flow by n x / p. Of a step between baselines their mean takes half away, and
    of one that both baselines show, all.
    """
    count = level.told.size
    n = np.where(np.isfinite(zero.exponent), zero.exponent, USUAL_EXPONENT)
    baselines = np.bincount(seen.session[seen.usable & (seen.what != POINT)], minlength=count)
    points = np.bincount(seen.session[seen.usable & (seen.what == POINT)], minlength=count)
    half = np.where(baselines > points.clip(max=1), 0.5, 1.0)
    told = zero.freedom > 0
    step = np.where(told, half * np.abs(zero.size["zero_after"]), 0.0)
    by_points = np.where(told, np.abs(zero.size["zero_points"]), 0.0)
    moved = np.where(np.nan_to_num(signs["zero_points"]) > np.nan_to_num(signs["zero_after"]), by_points, step)
    at_most = np.where(told, moved, np.abs(signs["offset_pa"]))  # one baseline: nobody knows what of it stayed
    never_read = np.hypot(level.stack_pa, WIND_TIMES * level.deviation_pa)
    pascals = {
        "water_in_line": at_most,
        "fan_in_baseline": at_most,
        "fan_uncovered": np.where(told, by_points, np.nan),
        "exhaust_running": np.where(told, by_points, np.nan),
        "baseline_missing": never_read,
        "baseline_zero_by_habit": never_read,
        "baseline_copied": 0.5 * level.deviation_pa,
        "gauge_drift": np.where(told, 0.5 * np.abs(zero.size["drift"]), np.nan),
    }
    found = []
    fan_50 = _fan_at_50(seen, zero, n, count)
    for pressure in AT_PA:
        made = {name: 100.0 * n * part / pressure for name, part in pascals.items()}
        for name, pattern in (("opening_moved", "opening"), ("fan_configuration_wrong", "configuration")):
            ratio = np.expm1(np.minimum(np.abs(zero.size[pattern]), 5.0))
            made[name] = np.where(told, 100.0 * ratio, np.nan)
        share = (pressure / 50.0) ** (2.0 * n)
        made["line_end_in_fan_stream"] = 100.0 * n * np.abs(_stream_at_50(seen, zero, n, count)) * share / pressure
        made["fan_reference_wrong"] = 50.0 * pressure / (fan_50 * share)
        found.append(made)
    return tuple(found)


def _fan_at_50(seen: Seen, zero: Zero, n: Floats, count: int) -> Floats:
    """Fan pressure at 50 Pa [Pa], by the square of the flow."""
    scaled = np.abs(seen.fan_pa) * (50.0 / np.maximum(zero.induced_pa, 1.0)) ** (2.0 * n[seen.session])
    middle = medians(np.where(seen.what == POINT, scaled, np.nan), seen.session, count)
    return np.where(middle > 1.0, middle, np.nan)


def _stream_at_50(seen: Seen, zero: Zero, n: Floats, count: int) -> Floats:
    """What the stream takes off the reading at 50 Pa [Pa]; the fit has it at the greatest flow."""
    highest = np.full(count, np.nan)
    np.fmax.at(highest, seen.session, np.where(seen.what == POINT, zero.induced_pa, np.nan))
    return np.asarray(zero.size["stream"] * (50.0 / np.maximum(highest, 1.0)) ** (2.0 * n))
