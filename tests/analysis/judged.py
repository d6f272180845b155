"""Tests of the judge as batches: what a crew's gauge writes of them, and the cells estimators are held against.

The one place where a simulated test becomes a batch. Only what a record offers is handed over, never the truth.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import pairwise
from typing import Any

import numpy as np
from build import batch
from numpy.typing import NDArray
from scipy.special import ndtri

from interchange.analysis import points, steps
from interchange.analysis.batch import Batch
from interchange.analysis.robust import PRIOR
from interchange.analysis.traces import Fluctuations, Traced, first_line_share, fluctuations
from interchange.analysis.work import Work, begin
from interchange.quantities import CHOICES
from tests.judge import (
    Air,
    Case,
    House,
    Line,
    Simulated,
    Wind,
    branched_damped,
    many_cases,
    multi_point,
    open_end,
    several_facades,
    sheltered_end,
    single_point,
    yard_end,
)
from tests.judge.house import REFERENCE_DENSITY_KG_M3
from tests.judge.results import Run, Trace

Array = NDArray[np.float64]
KINDS = ("single_point", "multi_point")

# speeds 10 m above open country [m/s], the middles of the thirds of each class
WINDS = {"still": (0.5, 1.5, 2.5), "breezy": (3.5, 4.5, 5.5), "windy": (7.0, 9.0, 11.0)}
# the line the crew goes by, and the one beside it
ARRANGEMENTS: dict[str, tuple[Line, Line]] = {
    "open end": (open_end("north"), open_end("south")),
    "branched, damped": (branched_damped(), yard_end()),
    "several facades": (several_facades(), yard_end()),
    "sheltered end": (sheltered_end("north"), open_end("south")),
}
# of houses, as published (see `robust.Prior`): its thirds have their middles near 0.58, 0.65 and 0.72
EXPONENT, EXPONENT_SD = 0.65, 0.06
AIRS = (Air(20.0, 8.0), Air(22.0, -5.0, 95_000.0), Air(23.0, 28.0))
CONTROLS: tuple[Any, ...] = ("held", "held", "controlled")
COEFFICIENTS_M3_H = (110.0, 200.0, 260.0)
DIRECTIONS: tuple[tuple[Any, ...], ...] = (
    ("depressurisation",),
    ("depressurisation", "pressurisation"),
    ("pressurisation",),
)


def cases(
    wind: str, arrangement: str, count: int, seed: int, *, single: bool = False, keep_trace: bool = False
) -> Iterator[Case]:
    """Cases of a cell, a house each: speeds of the wind in turn, exponents one each out of equal parts of theirs."""
    draw = np.random.default_rng([seed, len(wind), len(arrangement)])
    exponents = EXPONENT + EXPONENT_SD * ndtri((draw.permutation(count) + draw.uniform(0.01, 0.99, count)) / count)
    crew = single_point if single else multi_point
    for i, exponent in enumerate(exponents):
        j, k = i // 3, i // 9
        yield Case(
            house=House(coefficient_m3_h=COEFFICIENTS_M3_H[(i + k) % 3], exponent=float(exponent)),
            air=AIRS[(j + k) % 3],
            wind=Wind(WINDS[wind][i % 3]),
            lines=ARRANGEMENTS[arrangement],
            procedure=crew(directions=DIRECTIONS[0 if single else j % 3], control=CONTROLS[k % 3]),
            keep_trace=keep_trace,
        )


def cell(wind: str, arrangement: str, count: int, seed: int, **which: bool) -> list[Simulated]:
    """Tests of a cell, one of each of its cases."""
    return many_cases(list(cases(wind, arrangement, count, seed, **which)), seed)


def to_batch(tests: Sequence[Simulated], *, line: int = 0, spreads: bool = True) -> Batch:
    """What a gauge writes of tests: averages of points and baselines by one line, with their spreads or without."""
    return batch(*(_session(test, line, spreads) for test in tests))


TRIM_S = 4  # [s] left out after the fan stops: the pressure comes to rest


def traced(tests: Sequence[Simulated], *, line: int = 0) -> Traced:
    """What traces of 1 s say of tests: fluctuations, starts, and baselines of all the seconds the fan was off."""
    held = [_held(test) for test in tests]
    series = [
        [trace.pressure_pa[line, a:b] for a, b, _, _ in stretches]
        for trace, stretches in zip((_trace(test) for test in tests), held, strict=True)
    ]
    flat = np.concatenate([part for one in series for part in one])
    found = fluctuations(flat, _ends([part for one in series for part in one]), _ends(series))
    return _traced(tests, held, series, found)


def second_line(tests: Sequence[Simulated]) -> tuple[Batch, Traced]:
    """Tests by the steadiest mean of their two lines, which traces of both tell."""
    held = [_held(test) for test in tests]
    both = [
        [[_trace(test).pressure_pa[line, a:b] for a, b, _, _ in stretches] for line in (0, 1)]
        for test, stretches in zip(tests, held, strict=True)
    ]
    flat = [np.concatenate([part for one in both for part in one[line]]) for line in (0, 1)]
    offsets, sessions = _ends([part for one in both for part in one[0]]), _ends([one[0] for one in both])
    share = first_line_share(flat[0], flat[1], offsets, sessions)
    series = [[a * x + (1.0 - a) * y for x, y in zip(*one, strict=True)] for a, one in zip(share, both, strict=True)]
    found = fluctuations(np.concatenate([part for one in series for part in one]), offsets, sessions)
    combined = [_combined(test, a) for test, a in zip(tests, share, strict=True)]
    by_line = []
    for line in (0, 1):
        own = fluctuations(flat[line], offsets, sessions)
        codes = [CHOICES["arrangement"].index(_arrangement(test.lines[line])) for test in tests]
        by_line.append(PRIOR.facades.of(np.array(codes))[0] * np.hypot(own.turbulent_pa, own.white_pa))
    told = _traced(tests, held, series, found)
    return to_batch(combined), replace(told, facade_pa=np.mean(by_line, axis=0))


def _combined(test: Simulated, a: float) -> Simulated:
    """The averages a crew would write of the mean of two lines: as of ends at several facades."""

    def mean(values: Array) -> Array:
        return a * values[:1] + (1.0 - a) * values[1:2]

    def run(one: Run, number: int) -> Run:
        trace = _trace(test)
        series = mean(trace.pressure_pa)[0]

        def spread(station: int, after: bool = False) -> float:
            here = np.flatnonzero(trace.averaged & (trace.run == number) & (trace.station == station))
            if station < 0:
                parts = np.split(here, np.flatnonzero(np.diff(here) > 1) + 1)
                here = parts[-1 if after else 0]
            return float(series[here].std(ddof=1))

        return replace(
            one,
            pressure_pa=mean(one.pressure_pa),
            spread_pa=np.array([[spread(i) for i in range(len(one.target_pa))]]),
            baseline_before_pa=mean(one.baseline_before_pa),
            baseline_before_spread_pa=np.array([spread(-1)]),
            baseline_after_pa=mean(one.baseline_after_pa),
            baseline_after_spread_pa=np.array([spread(-1, True)]),
        )

    return replace(test, runs=tuple(run(one, i) for i, one in enumerate(test.runs)), lines=("several facades",))


def _trace(test: Simulated) -> Trace:
    assert test.trace is not None, "simulated without its trace"
    return test.trace


def _ends(parts: Sequence[Any]) -> NDArray[np.int64]:
    return np.cumsum([0, *(len(part) for part in parts)]).astype(np.int64)


def _held(test: Simulated) -> list[tuple[int, int, int, int]]:
    """First and last second, run and station (-1 fan off) of the stretches in which nothing was changed."""
    trace = _trace(test)
    off = trace.station < 0
    kept = off | trace.averaged
    kind = np.where(kept, trace.station, -9) + 1000 * trace.run
    edges = np.flatnonzero(np.diff(kind, prepend=-99, append=-99))
    return [
        (int(a + (TRIM_S if off[a] and a else 0)), int(b), int(trace.run[a]), int(trace.station[a]))
        for a, b in pairwise(edges)
        if kept[a]
    ]


def _traced(tests: Sequence[Simulated], held: Any, series: Any, found: Fluctuations) -> Traced:
    rows: list[list[float]] = []
    starts: list[float] = []
    changes: list[float] = []
    for test, stretches, parts in zip(tests, held, series, strict=True):
        for number, run in enumerate(test.runs):
            own = [
                (a, part.mean(), len(part), np.sqrt(np.mean(np.diff(part) ** 2)), s)
                for (a, _, r, s), part in zip(stretches, parts, strict=True)
                if r == number
            ]
            ends = [row[:4] for row in own if row[4] < 0]
            rows.append([*ends[0], *(ends[1] if len(ends) > 1 else (np.nan,) * 4)])
            starts += list(run.start_s)
            by_station = {row[4]: row[3] for row in own if row[4] >= 0}
            changes += [by_station[station] for station in range(len(run.target_pa))]
    before, before_pa, before_s, before_step, after, after_pa, after_s, after_step = np.array(rows, dtype=np.float64).T
    return Traced(
        found,
        before,
        after,
        np.array(starts),
        before_pa,
        before_s,
        after_pa,
        after_s,
        before_step_pa=before_step,
        after_step_pa=after_step,
        point_step_pa=np.array(changes),
    )


def _session(test: Simulated, line: int, spreads: bool) -> dict[str, Any]:
    single = len(test.runs[0].target_pa) == 1
    return {
        "kind": "single_point" if single else "multi_point",
        "indoor_temperature_c": test.indoor_c,
        "outdoor_temperature_c": test.outdoor_c,
        "barometric_pressure_pa": test.barometer_pa,
        "arrangement": _arrangement(test.lines[line]),
        "runs": [_run(run, line, spreads) for run in test.runs],
    }


def _arrangement(line: str) -> str:
    words = {"branched": "branched", "several": "several_facades", "sheltered": "sheltered_end", "open": "open_end"}
    return words[line.replace(",", " ").split(maxsplit=1)[0]]


def _run(run: Run, line: int, spreads: bool) -> dict[str, Any]:
    def baseline(when: str) -> dict[str, Any]:
        seconds = getattr(run, f"baseline_{when}_seconds")
        if not seconds:
            return {}
        spread = getattr(run, f"baseline_{when}_spread_pa")[line] if spreads else None
        return {
            f"baseline_{when}_pressure_pa": getattr(run, f"baseline_{when}_pa")[line],
            f"baseline_{when}_spread_pa": spread,
            f"baseline_{when}_duration_s": seconds,
        }

    return {
        "direction": run.direction,
        **baseline("before"),
        **baseline("after"),
        "points": [
            {
                "target_pressure_pa": (-1 if run.direction == "depressurisation" else 1) * target,
                "envelope_pressure_pa": pressure,
                "envelope_pressure_spread_pa": spread if spreads else None,
                "averaging_s": seconds,
                "baseline_removed": False,
                "readings": [{"fan_pressure_pa": fan, "flow_m3_h": flow, "flow_basis": "indicated"}],
            }
            for target, pressure, spread, seconds, fan, flow in zip(
                run.target_pa,
                run.pressure_pa[line],
                run.spread_pa[line],
                run.seconds,
                run.fan_pressure_pa,
                run.flow_m3_h,
                strict=True,
            )
        ],
    }


def worked(readings: Batch) -> Work:
    """By the standard procedure: mean baseline, densities, unweighted log-log lines;
    air of 20 degrees and 101325 Pa."""
    work = begin(readings, KINDS)
    steps.subtract_baseline(work)
    steps.correct_fan_density(work, assumed_reference_air_density_kg_m3=REFERENCE_DENSITY_KG_M3)
    steps.correct_envelope_density(work)
    points.gather(work)
    work.log_coefficient = work.exponent = np.full(work.direction.size, np.nan)
    work.exponent_assumed = np.zeros(work.direction.size, dtype=np.bool_)
    steps.fit_power_law(work)
    steps.fit_one_point(work)
    steps.to_reference_conditions(work)
    return work
