"""Readings of one trace on their way to plateaus: what is there, where it was cut, and what counts as what."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Floats, Ints

Bools = NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class PlateauLimits:
    """What counts as what in a trace, each with its reason; where none is given it is judgement, tried on simulated
    tests. The index is the logarithm of the fan's speed that `levels` makes.
    """

    # [Pa], [m3/h] a fan that never shows more rests; below it one may rest. Calibrations begin at some 10 Pa (common
    # practice, no source)
    fan_off_pa: float = 3.0
    fan_off_m3_h: float = 50.0
    fan_off_share: float = 0.2  # [1] the same as part of the greatest signal, where that is less: for weak fans
    fan_zero_pa: float = 0.5  # [Pa], [m3/h] how far a fan at rest may read above its usual reading there
    fan_zero_m3_h: float = 10.0
    largest_zero_pa: float = 1.0  # [Pa] a larger mean at rest is air that drives the fan, no error of its gauge
    shortest_point_s: float = 9.0  # [s] shorter pieces are mostly parts of ramps
    short_share: float = 0.4  # [1] pieces so much shorter than the median are stops on the way
    shortest_baseline_s: float = 5.0  # [s] a mean of less says nothing
    point_start_s: float = 2.0  # [s] cut off where the fan changed: gauges average, fans run up and down
    point_end_s: float = 2.0
    baseline_start_s: float = 4.0
    baseline_end_s: float = 1.0
    same_level: float = 0.07  # [1] pieces whose index differs by less are one point; usual targets lie further apart
    settled_step: float = 0.02  # [1] parts of a point within this of its longest are as settled; about 1 Pa in 50 Pa
    drift_per_s: float = 0.002  # [1/s] an index that drifts faster has not settled
    least_noise: float = 0.005  # [1] of one reading's index, though a rounding gauge in still air repeats itself
    errors: float = 3.5  # [1] so many standard errors are a difference
    opening_s: float = 3.0  # [s] how long fan pressure must stay where it jumped to
    opening_flow_step: float = 0.1  # [1] jump of ln(flow / root of fan pressure): openings differ by a half or more
    opening_fan_step: float = 0.47  # [1] jump of ln(fan pressure), ln 1.6: more than from one usual target to the next
    pinned_share: float = 0.3  # [1] of a point's readings at the end of a gauge's range, so that its mean is none
    block_s: float = 5.0  # [s] over which noise is judged: half the time scale of gusts
    gap_s: float = 5.0  # [s] so long without a reading, nobody knows what happened
    new_run_s: float = 90.0  # [s] so long at rest, then pressures held before: a repeat. Openings change in less
    new_test_s: float = 600.0  # [s] so long at rest, then a direction run before: another test
    longest_s: float = 1800.0  # [s] bounds the work; longer pieces are put together again
    pressure_step_pa: float = 10.0  # [Pa] without a fan channel, levels this far apart are not the wind's


LIMITS = PlateauLimits()


@dataclass(frozen=True, slots=True)
class Trace:
    """Readings that are there, in order of time; `place` is where each stands in the arrays that were given."""

    place: Ints
    time_s: Floats
    pressure_pa: Floats
    fan: Floats
    cut: Bools  # something happened between this reading and the one before
    step_s: float


def begin(
    time_s: Floats,
    pressure_pa: Floats,
    fan_pressure_pa: Floats | None,
    flow_m3_h: Floats | None,
    configuration: Ints | None,
    limits: PlateauLimits,
) -> Trace:
    """The readings at which house pressure and fan are both there; the fan's pressure stands for it, else its flow."""
    time_s, pressure_pa = np.asarray(time_s, dtype=np.float64), np.asarray(pressure_pa, dtype=np.float64)
    fan = flow_m3_h if fan_pressure_pa is None else fan_pressure_pa
    fan = np.zeros(time_s.size) if fan is None else np.asarray(fan, dtype=np.float64)
    place = np.flatnonzero(np.isfinite(time_s) & np.isfinite(pressure_pa) & np.isfinite(fan))
    time, pressure, fan = time_s[place], pressure_pa[place], fan[place]
    step = float(np.median(np.diff(time))) if time.size > 1 else 1.0
    cut = np.zeros(place.size, dtype=np.bool_)
    cut[1:] = np.diff(time) > max(limits.gap_s, 2.5 * step)
    if configuration is not None:
        cut[1:] |= np.diff(np.asarray(configuration)[place]) != 0
    if fan_pressure_pa is not None:
        flow = None if flow_m3_h is None else np.asarray(flow_m3_h, dtype=np.float64)[place]
        cut |= _opening_changed(fan, flow, step, limits)
    return Trace(place, time, pressure, fan, cut, step)


def _opening_changed(fan_pa: Floats, flow_m3_h: Floats | None, step_s: float, limits: PlateauLimits) -> Bools:
    """Where another opening may have been fitted to a running fan.

    With a flow: where flow for fan pressure jumps, whatever the wind does. Without: where fan pressure jumps by more
    than one step of the usual targets or a gust makes it, and stays there for as long as `opening_s`; the greatest such
    jump within that time.
    """
    changed = np.zeros(fan_pa.size, dtype=np.bool_)
    runs = fan_pa > limits.fan_off_pa
    width = max(1, round(limits.opening_s / step_s))
    if fan_pa.size <= 2 * width:
        return changed
    signal = np.log(np.where(runs, fan_pa, 1.0))
    if flow_m3_h is not None:
        there = np.asarray(runs & (flow_m3_h > 0))
        ratio = np.log(np.where(there, flow_m3_h, 1.0)) - 0.5 * signal
        changed[1:] = (np.abs(np.diff(ratio)) > limits.opening_flow_step) & there[1:] & there[:-1]
        return changed
    medians = np.median(np.lib.stride_tricks.sliding_window_view(signal, width), axis=-1)
    steady = np.asarray(np.lib.stride_tricks.sliding_window_view(runs, width).all(axis=-1))
    jump = np.where(steady[width:] & steady[:-width], np.abs(medians[width:] - medians[:-width]), 0.0)
    beside = np.lib.stride_tricks.sliding_window_view(np.pad(jump, width), 2 * width + 1).max(axis=-1)
    changed[width : width + jump.size] = (jump >= beside) & (jump > limits.opening_fan_step)
    return changed


def on_clock(clock_s: Floats, time_s: Floats, values: Floats) -> Floats:
    """Values of a channel at the seconds of another [s]: the nearest in time, NaN where none is within its own step."""
    if not time_s.size or not clock_s.size:
        return np.full(clock_s.size, np.nan)
    reach = float(np.median(np.diff(time_s))) if time_s.size > 1 else 1.0
    after = np.clip(np.searchsorted(time_s, clock_s), 1, max(time_s.size - 1, 1))
    before = after - 1
    after = np.minimum(after, time_s.size - 1)
    place = np.where(clock_s - time_s[before] <= time_s[after] - clock_s, before, after)
    return np.where(np.abs(time_s[place] - clock_s) < reach, values[place], np.nan)


def trimmed(trace: Trace, start: int, stop: int, from_start_s: float, from_end_s: float) -> tuple[int, int]:
    """A stretch without its first and last seconds."""
    first, last = trace.time_s[start] + from_start_s, trace.time_s[stop - 1] - from_end_s
    inner = np.searchsorted(
        trace.time_s[start:stop], (first - 1e-3 * trace.step_s, last + 1e-3 * trace.step_s), side="left"
    )
    return start + int(inner[0]), start + int(inner[1])


def length_s(trace: Trace, start: int, stop: int) -> float:
    """Seconds from the first reading of a stretch to the end of the last."""
    return float(trace.time_s[stop - 1] - trace.time_s[start]) + trace.step_s if stop > start else 0.0
