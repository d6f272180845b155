"""Points out of a trace: which seconds of a log are baselines, which are held points, and which belong to neither.

Wind moves house pressure and fan flow in opposite directions along the fan's curve, whoever works the fan moves both
the same way. An index of the fan's speed, u = ln(fan / fan_95 + b |x| / x_95), therefore shows what was done to the fan
and little of the wind: fan is the fan's pressure (or the square of its flow) without its zero, x the house pressure
without the baseline, _95 the 95th percentile, and b is chosen from a grid so that u is quietest. u is cut where its
level changes; pieces that are long, level and apart from their neighbours are points. Stretches with the fan off are
baselines. Where a point begins cannot be found: readings settle before a crew declares a point, and the settled
seconds are as good.

References
----------
[1] Optimal partitioning: see `changes.partition`. The index, its grid and most of the limits come from simulated tests
    of known stations; they are judgement beyond that.

"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import levels
from interchange.analysis.batch import Codes, Floats, Ints
from interchange.analysis.fan_state import OFF, fan_state
from interchange.analysis.levels import Stretch
from interchange.analysis.runs_of_trace import Order, Pieces, places_of_baselines, runs_of_points
from interchange.analysis.trace import LIMITS, PlateauLimits, Trace, begin, length_s

BASELINE, POINT = 0, 1


@dataclass(frozen=True, slots=True)
class Plateaus:
    """Baselines and points of one trace in order of time, an entry each.

    `start` and `stop` are places in the arrays of the trace, the last one exclusive; readings between them that are
    missing do not count. `kind` is BASELINE or POINT. `run` and `test` count from 1; a baseline belongs to the run that
    follows it, the last ones to the run before them; they are 0 where there are no points. `when` says of a baseline
    whether it lies BEFORE, BETWEEN or AFTER the points of its run, -1 for points. `direction` is the sign of the
    pressure that the fan made in the run: -1, 1, or 0 where there are no points. `configuration` is that of the
    channel which tells it, -1 where none does. `fan_zero` is the mean of the fan's signal at rest, in its unit, NaN
    where it was never at rest or what it showed is more than an error of its gauge.
    """

    start: Ints
    stop: Ints
    kind: Codes
    run: Ints
    test: Ints
    when: Codes
    direction: Codes
    seconds: Floats
    count: Ints
    pressure_pa: Floats
    pressure_spread_pa: Floats
    configuration: Ints
    fan_zero: float

    @property
    def points(self) -> NDArray[np.bool_]:
        """Which entries are points."""
        return np.asarray(self.kind == POINT)


def find(
    time_s: Floats,
    pressure_pa: Floats,
    fan_pressure_pa: Floats | None = None,
    flow_m3_h: Floats | None = None,
    configuration: Ints | None = None,
    *,
    limits: PlateauLimits = LIMITS,
) -> Plateaus:
    """Baselines and points in one trace: seconds [s], house pressure inside minus outside [Pa], fan [Pa] or [m3/h].

    Arrays of one length, NaN where missing; steps may differ, times rise. Beside a fan's pressure its flow only shows
    changes of the fan's opening; alone it stands for the fan. `configuration` are codes of the opening, if a channel
    tells it. Without a fan there are no points, and baselines only where the pressure itself shows steps.
    """
    trace = begin(time_s, pressure_pa, fan_pressure_pa, flow_m3_h, configuration, limits)
    if trace.time_s.size < 2:
        return _gathered(trace, [], [], [], configuration, np.nan, limits)
    if fan_pressure_pa is None and flow_m3_h is None:
        return _gathered(trace, levels.quiet_levels(trace, limits), [], [], configuration, np.nan, limits)
    if fan_pressure_pa is not None:
        state = fan_state(trace.fan, limits.fan_off_pa, limits.fan_off_share, limits.fan_zero_pa)
    else:
        state = fan_state(trace.fan, limits.fan_off_m3_h, limits.fan_off_share, limits.fan_zero_m3_h)
    parts = levels.stretches(trace, state)
    resting = levels.baselines(trace, parts, limits)
    held = levels.points(trace, parts, resting, state, limits, squared=fan_pressure_pa is None)
    zero = state.zero if fan_pressure_pa is not None and abs(state.zero) <= limits.largest_zero_pa else np.nan
    at_rest = [(a, b) for a, b, code in parts if code == OFF]
    return _gathered(trace, _halved(trace, resting, held, limits), held, at_rest, configuration, zero, limits)


def means(plateaus: Plateaus, values: Floats, exponent: float = 1.0, zero: float = 0.0) -> Floats:
    """Mean of a channel in each plateau, NaN where it holds no reading: (mean of (v - zero)^exponent)^(1/exponent).

    A fan's flow goes with a power of its pressure, and the mean of powers is not the power of the mean. The fan
    pressure that yields the mean of the flows is this mean with the exponent of the fan's calibration, about 0.5.
    """
    shifted = np.asarray(values, dtype=np.float64) - zero
    powers = shifted if exponent == 1.0 else np.maximum(shifted, 0.0) ** exponent
    found = np.array([_mean(powers[a:b]) for a, b in zip(plateaus.start, plateaus.stop, strict=True)])
    return found if exponent == 1.0 else np.asarray(found ** (1.0 / exponent))


def are_repeats(pieces: Plateaus, flow: Floats, *, exponent: float = 0.65, tolerance: float = 0.1) -> bool:
    """Whether the tests in one log can be repeats of one: their flows at one pressure differ by less than a tenth.

    `flow` is that of each plateau in any unit, or something in proportion to it. It is compared at one pressure with a
    usual exponent, in the median over the points of each test. One test alone is its own repeat.
    """
    points = pieces.points
    tests = pieces.test[points]
    if tests.max(initial=0) <= 1:
        return True
    resting = pieces.pressure_pa[~points]
    zero_pa = float(np.average(resting, weights=pieces.seconds[~points])) if resting.size else 0.0
    induced = np.abs(pieces.pressure_pa[points] - zero_pa)
    usable = (induced > 0) & (flow[points] > 0)
    level = np.log(np.where(usable, flow[points], 1.0)) - exponent * np.log(np.where(usable, induced, 1.0))
    of_tests = [level[usable & (tests == one)] for one in np.unique(tests)]
    if not all(one.size for one in of_tests):
        return False
    medians = np.array([np.median(one) for one in of_tests])
    return bool(medians.max() - medians.min() < tolerance)


def _mean(values: Floats) -> float:
    there = values[np.isfinite(values)]
    return float(there.mean()) if there.size else np.nan


def _halved(trace: Trace, resting: list[Stretch], held: list[Stretch], limits: PlateauLimits) -> list[Stretch]:
    """Baselines between points in two halves, where they are long enough: one may close a run, the other open one."""
    first, last = (held[0][0], held[-1][1]) if held else (0, 0)
    found = []
    for start, stop in resting:
        middle = start + int(np.searchsorted(trace.time_s[start:stop], trace.time_s[[start, stop - 1]].mean()))
        halves = [(start, middle), (middle, stop)]
        long = all(length_s(trace, *half) >= limits.shortest_baseline_s for half in halves)
        found += halves if first < start < last and long else [(start, stop)]
    return found


def _pieces(trace: Trace, stretches: list[Stretch]) -> Pieces:
    return Pieces(
        np.array([trace.time_s[a] for a, _ in stretches]),
        np.array([trace.time_s[b - 1] + trace.step_s for _, b in stretches]),
        np.array([trace.pressure_pa[a:b].mean() for a, b in stretches]),
    )


def _order(trace: Trace, resting: Pieces, held: Pieces, at_rest: list[Stretch], limits: PlateauLimits) -> Order:
    """Runs and tests of the points; a run goes on as long as the fan was not at rest and the log did not stop."""
    weight = resting.stop_s - resting.start_s
    zero_pa = float(np.average(resting.pressure_pa, weights=weight)) if weight.size else 0.0
    pause = np.zeros(held.start_s.size)
    pause[1:] = held.start_s[1:] - held.stop_s[:-1]
    gaps = np.flatnonzero(np.diff(trace.time_s) >= limits.new_run_s)
    off = np.sort(np.concatenate([np.array([trace.time_s[a] for a, _ in at_rest]), trace.time_s[gaps] + trace.step_s]))
    rested = np.zeros(pause.size, dtype=np.bool_)
    rested[1:] = np.searchsorted(off, held.start_s[1:]) > np.searchsorted(off, held.start_s[:-1])
    pause[~rested] = 0.0
    return runs_of_points(
        held, np.cumsum(rested), zero_pa, pause, new_run_s=limits.new_run_s, new_test_s=limits.new_test_s
    )


def _gathered(
    trace: Trace,
    resting: list[Stretch],
    held: list[Stretch],
    at_rest: list[Stretch],
    configuration: Ints | None,
    zero: float,
    limits: PlateauLimits,
) -> Plateaus:
    """Both sorts in order of time, with what is known of each."""
    baselines, points = _pieces(trace, resting), _pieces(trace, held)
    order = _order(trace, baselines, points, at_rest, limits)
    run, when = places_of_baselines(baselines, points, order)
    first_of = np.searchsorted(order.run, run) if order.run.size else None
    nothing = np.zeros(run.size, np.int64)
    test, direction = (nothing, nothing) if first_of is None else (order.test[first_of], order.direction[first_of])
    both = np.array([*resting, *held], dtype=np.int64).reshape(-1, 2)
    arrange = np.argsort(both[:, 0], kind="stable")
    both = both[arrange]

    def joined(of_baselines: Ints, of_points: Ints) -> Ints:
        return np.asarray(np.concatenate([of_baselines, of_points])[arrange])

    values = [trace.pressure_pa[a:b] for a, b in both.tolist()]
    start = trace.place[both[:, 0]]
    told = np.full(start.size, -1) if configuration is None else np.asarray(configuration)[start]
    minus = np.full(order.run.size, -1)
    return Plateaus(
        start=start,
        stop=trace.place[both[:, 1] - 1] + 1,
        kind=joined(np.full(run.size, BASELINE), np.full(order.run.size, POINT)).astype(np.int8),
        run=joined(run, order.run),
        test=joined(test, order.test),
        when=joined(when, minus).astype(np.int8),
        direction=joined(direction, order.direction).astype(np.int8),
        seconds=np.array([length_s(trace, a, b) for a, b in both.tolist()]),
        count=np.array([one.size for one in values], dtype=np.int64),
        pressure_pa=np.array([float(one.mean()) for one in values]),
        pressure_spread_pa=np.array([float(one.std(ddof=1)) if one.size > 1 else np.nan for one in values]),
        configuration=told.astype(np.int64),
        fan_zero=zero,
    )
