"""Signs that channels, signs and tubes are not what the record takes them for, and that the reading follows no fan."""

from __future__ import annotations

import numpy as np

from interchange.analysis.batch import Floats, Ints
from interchange.analysis.line_faults.features import LineFeatures
from interchange.analysis.line_faults.seen import POINT, Flags, Level, Seen, medians
from interchange.analysis.work import PRESSURISATION, Work

LEAST_TARGET_PA = 10.0  # [Pa] that any point is meant to reach, where no target is recorded
READING_ZERO_PA = 0.5  # [Pa] a gauge that compares the room with itself reads less
SILENT_PA = 0.12  # [Pa] deviation of single readings of such a gauge, its own noise and rounding
FAN_ZERO_PA = 0.1  # [Pa] standard deviation of a fan gauge's zero
ON_TARGET = 0.12  # [1] of ln: a crew comes nearer to its target
EXPONENT_EDGE, EXPONENT_DOUBT = 0.5, 0.02  # [1] least exponent of leaks; error of a slope that instruments make
LEAST_FAN_PA = 0.3  # [Pa] of fan pressure against its sense, that is no zero of a gauge


def channel_signs(work: Work, seen: Seen, level: Level, features: LineFeatures | None) -> dict[str, Floats]:
    """By name and session: wrong_sign, swapped_target, swapped_sense, swapped_exponent, dead, dead_trace and so on."""
    count = seen.offsets.size - 1
    point = (seen.what == POINT) & np.isfinite(seen.shown_pa)
    base = medians(np.where(seen.what != POINT, seen.shown_pa, np.nan), seen.session, count)
    base = np.nan_to_num(base)[seen.session]
    felt = np.abs(seen.shown_pa - base)
    target = np.where(np.isfinite(seen.target_pa) & (seen.target_pa > 0), seen.target_pa, np.nan)
    noise = level.deviation_pa[seen.session]
    runs = np.repeat(np.arange(count), np.diff(work.batch.run_offsets))
    found = {"wrong_sign": _wrong_sign(seen, point, noise, work, runs)}

    def mean(values: Floats) -> Floats:
        return medians(np.where(point, values, np.nan), seen.session, count)

    off_target = mean(np.abs(np.log(np.maximum(felt, 0.3) / target)))
    fan_off_target = mean(np.abs(np.log(np.maximum(np.abs(seen.fan_pa), 0.3) / target)))
    found["swapped_target"] = np.where(fan_off_target < ON_TARGET, np.maximum(off_target - ON_TARGET, 0.0), 0.0)
    found["swapped_sense"] = np.maximum(mean(-seen.fan_pa), 0.0) / LEAST_FAN_PA
    found["swapped_exponent"] = _low_exponent(seen, point, felt, noise, count)
    expected = np.where(np.isfinite(target), target, LEAST_TARGET_PA)
    silent = np.isnan(seen.spread_pa) | (seen.spread_pa < np.maximum(SILENT_PA, 0.25 * noise))
    dead = np.where(silent & point, np.log(expected / np.hypot(seen.shown_pa, READING_ZERO_PA)), np.nan)
    found["dead"] = _last(dead, seen, work.direction.size, runs, count)
    short = np.where(point, np.log(expected / np.hypot(felt, READING_ZERO_PA)), np.nan)
    found["short"] = medians(short, seen.session, count)
    if features is None:
        return found
    fans = np.stack([features.before_fan_pa, features.after_fan_pa])
    there = np.isfinite(fans).any(axis=0)
    highest = np.where(there, np.nanmax(np.where(np.isfinite(fans), fans, -np.inf), axis=0), np.nan)
    lowest = np.where(there, np.nanmin(np.where(np.isfinite(fans), fans, np.inf), axis=0), np.nan)
    per_run = {"running": (highest, np.fmax), "least_running": (lowest, np.fmin)}
    for name, (values, pick) in per_run.items():
        found[name] = np.full(count, np.nan)
        pick.at(found[name], runs, values)
    zero = np.minimum(np.nan_to_num(found["least_running"]), FAN_ZERO_PA * 3.0)
    found["fan_apart"] = found["running"] - zero
    found["fan_slope"], found["fan_slope_sd"] = features.fan_slope, features.fan_slope_sd
    found["dead_share"], found["dead_from_s"] = features.dead_share, features.dead_from_s
    found["lag_gain"], found["lag_s"], found["unanswered"] = features.lag_gain, features.lag_s, 1.0 - features.response
    return found


def _last(values: Floats, seen: Seen, runs: int, session_of_run: Ints, count: int) -> Floats:
    """The lesser of the last two points of a run, or its only one, of the run where it is greatest.

    A line that is off stays off; one with water in it passes zero at one pressure.
    """
    point = np.flatnonzero(seen.what == POINT)
    run = seen.run[point]
    late = np.searchsorted(run, run, side="right") - np.arange(run.size) <= 2
    least = np.full(runs, np.inf)
    np.minimum.at(least, run[late], np.nan_to_num(values[point[late]], nan=0.0))
    found = np.full(count, np.nan)
    np.fmax.at(found, session_of_run, np.where(np.isinf(least), np.nan, least))
    return found


def _wrong_sign(seen: Seen, point: Flags, noise: Floats, work: Work, session_of_run: Ints) -> Floats:
    """Share of the pressure that has the other sign [-1 to 1], of the run where it is greatest; NaN if untold."""
    runs = work.direction.size
    directed = np.where(work.direction == PRESSURISATION, 1.0, -1.0)[seen.run]
    against, whole, room = (
        np.bincount(seen.run[point], part[point], runs)
        for part in (-directed * seen.shown_pa, np.abs(seen.shown_pa), 2.0 * np.maximum(noise, 0.3))
    )
    told = (whole > 0) & (work.direction >= 0)
    found = np.full(seen.offsets.size - 1, np.nan)
    np.fmax.at(found, session_of_run, np.where(told, against / np.maximum(whole + room, 1e-9), np.nan))
    return found


def _low_exponent(seen: Seen, point: Flags, felt: Floats, noise: Floats, count: int) -> Floats:
    """How far the slope of ln flow over ln pressure lies below that of any leak, in standard errors."""
    kept = point & np.isfinite(seen.log_flow) & (felt > np.maximum(3.0 * noise, 1.0))
    x, y, s = np.log(felt[kept]), seen.log_flow[kept], seen.session[kept]
    number = np.maximum(np.bincount(s, minlength=count), 1)
    mx, my = (np.bincount(s, v, count) / number for v in (x, y))
    dx, dy = x - mx[s], y - my[s]
    xx, xy, yy = (np.bincount(s, v, count) for v in (dx * dx, dx * dy, dy * dy))
    told = (number >= 3) & (xx > 0.05)
    slope = np.where(told, xy / np.where(told, xx, 1.0), np.nan)
    left = np.maximum(yy - np.nan_to_num(slope) * xy, 0.0) / np.maximum(number - 2, 1)
    error = np.sqrt(left / np.where(told, xx, 1.0) + EXPONENT_DOUBT**2)
    return np.asarray((EXPONENT_EDGE - slope) / error)
