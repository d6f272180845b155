"""Which points and baselines of a trace belong to one run, and which runs to one test."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from interchange.analysis.batch import Floats, Ints

BEFORE, BETWEEN, AFTER = 0, 1, 2


@dataclass(frozen=True, slots=True)
class Pieces:
    """Stretches in order of time: first and last second [s], mean pressure [Pa]."""

    start_s: Floats
    stop_s: Floats
    pressure_pa: Floats


@dataclass(frozen=True, slots=True)
class Order:
    """Run and test of each piece, counted from 1, and the sign of the pressure in each run."""

    run: Ints
    test: Ints
    direction: Ints


def runs_of_points(
    points: Pieces, stretch: Ints, zero_pa: float, pause_s: Floats, *, new_run_s: float, new_test_s: float
) -> Order:
    """Runs and tests of points, given the stretch of a running fan that each lies in, and the pause before each [s].

    Another run begins with another direction, and after a pause of `new_run_s` in which the fan rested if pressures
    come again that were held before; after a shorter one, or if the pressures only go on, the crew changed the fan's
    opening. Another test begins after a pause of `new_test_s` if a direction comes again.
    """
    count = points.start_s.size
    run, test = np.zeros(count, np.int64), np.zeros(count, np.int64)
    direction = np.zeros(count, np.int64)
    induced = points.pressure_pa - zero_pa
    weight = points.stop_s - points.start_s
    held: tuple[float, float] | None = None
    done: set[int] = set()
    number, of_test = 0, 1
    bounds = np.concatenate(([0], np.flatnonzero(np.diff(stretch)) + 1, [count])) if count else np.zeros(1, np.int64)
    for first, last in zip(bounds[:-1].tolist(), bounds[1:].tolist(), strict=True):
        sign = 1 if float((induced[first:last] * weight[first:last]).sum()) > 0 else -1
        low, high = float(np.abs(induced[first:last]).min()), float(np.abs(induced[first:last]).max())
        pause = float(pause_s[first])
        again = held is not None and low < held[1] and high > held[0]
        turned = first > 0 and sign != direction[first - 1]
        if held is None or turned or pause >= new_test_s or (pause >= new_run_s and again):
            number += 1
            if pause >= new_test_s and sign in done:
                of_test, done = of_test + 1, set()
            held = (low, high)
        else:
            held = (min(low, held[0]), max(high, held[1]))
        done.add(sign)
        run[first:last], test[first:last], direction[first:last] = number, of_test, sign
    return Order(run, test, direction)


def places_of_baselines(baselines: Pieces, points: Pieces, order: Order) -> tuple[Ints, Ints]:
    """Run of each baseline and whether it lies BEFORE, BETWEEN or AFTER the points of that run.

    Of several between two runs the first half, rounded down, is after the one and the rest before the other. Nearest
    the run is the one to use.
    """
    run = np.zeros(baselines.start_s.size, np.int64)
    when = np.full(run.size, BEFORE, np.int64)
    if not points.start_s.size:
        return run, when
    following = np.searchsorted(points.start_s, baselines.start_s)
    for gap in np.unique(following).tolist():
        here = np.flatnonzero(following == gap)
        if gap == 0:
            run[here] = order.run[0]
        elif gap == points.start_s.size:
            run[here], when[here] = order.run[-1], AFTER
        elif order.run[gap] == order.run[gap - 1]:
            run[here], when[here] = order.run[gap], BETWEEN
        else:
            after = here[: here.size // 2]
            run[here], run[after], when[after] = order.run[gap], order.run[gap - 1], AFTER
    return run, when
