"""Points found in the judge's traces, held against the stations that its crew averaged.

The standard error of a station is that of its mean in turbulence, S sqrt(g) with S^2 = spread^2 / (1 - g) and g the
share of variance left in a mean of its seconds at a time scale of 10 s (the judge's own gusts are not asked), and 0.03
Pa, the rounding of a gauge to 0.1 Pa.
"""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from pathlib import Path

import numpy as np
import pytest

from interchange.analysis.plateaus import Plateaus, find, means

from . import Case, Fan, Gauge, Simulated, Wind, many, multi_point, single_point

FIGURES = Path(__file__).parents[1] / "benchmarks" / "figures" / "plateaus.json"
BOTH = ("depressurisation", "pressurisation")
SLOW = Gauge(averaging_s=10)
TRACED = Case(keep_trace=True)
STILL = replace(TRACED, wind=Wind(speed_10m_m_s=0.0))
CASES: dict[str, Case] = {
    "still air": STILL,
    "calm, 2 m/s": replace(TRACED, wind=Wind(speed_10m_m_s=2.0)),
    "breezy, 4.5 m/s": replace(TRACED, wind=Wind(speed_10m_m_s=4.5)),
    "windy, 8 m/s": replace(TRACED, wind=Wind(speed_10m_m_s=8.0)),
    "breezy, both directions": replace(TRACED, wind=Wind(speed_10m_m_s=4.5), procedure=multi_point(directions=BOTH)),
    "breezy, controlled": replace(TRACED, wind=Wind(speed_10m_m_s=4.5), procedure=multi_point(control="controlled")),
    "still air, controlled": replace(STILL, procedure=multi_point(control="controlled")),
    "still air, gauges of 10 s": replace(STILL, gauge=SLOW, fan=Fan(gauge=SLOW)),
    "calm, one station": replace(TRACED, wind=Wind(speed_10m_m_s=2.0), procedure=single_point()),
}


@dataclass
class Score:
    """What became of the stations of some tests."""

    stations: int = 0
    found: int = 0
    z: list[float] = field(default_factory=list)
    points: int = 0
    mixed: int = 0
    resting: int = 0
    seconds_of_fan_in_baselines: int = 0
    runs: set[int] = field(default_factory=set)
    flow_50: list[float] = field(default_factory=list)
    flow_10: list[float] = field(default_factory=list)

    def figures(self, tests: int) -> dict[str, float]:
        z = np.abs(self.z)
        return {
            "stations_found_percent": round(100 * self.found / self.stations, 1),
            "within_one_standard_error_percent": round(100 * float((z <= 1).mean()), 1),
            "within_two_standard_errors_percent": round(100 * float((z <= 2).mean()), 1),
            "points_for_each_station": round(self.points / self.stations, 3),
            "points_over_two_stations_percent": round(100 * self.mixed / self.points, 2),
            "baselines_a_test": round(self.resting / tests, 2),
        } | (
            {
                "flow_50_rms_change_percent": round(100 * float(np.sqrt(np.mean(np.square(self.flow_50)))), 3),
                "flow_10_rms_change_percent": round(100 * float(np.sqrt(np.mean(np.square(self.flow_10)))), 3),
            }
            if self.flow_50
            else {}
        )


def standard_error(spread_pa: float, seconds: float, time_scale_s: float = 10.0) -> float:
    a = time_scale_s / seconds
    g = 2 * a * (1 - a * (1 - np.exp(-1 / a)))
    return float(np.hypot(spread_pa * np.sqrt(g / (1 - g)), 0.03))


def held(test: Simulated, found: Plateaus) -> list[tuple[tuple[int, int], float]]:
    """Of each found point: run and station in which most of its seconds lie, and which part of them does."""
    trace = test.trace
    assert trace is not None
    answers = []
    for start, stop in zip(found.start[found.points], found.stop[found.points], strict=True):
        names, counts = np.unique(
            np.stack([trace.run[start:stop], trace.station[start:stop]]), axis=1, return_counts=True
        )
        most = counts.argmax()
        answers.append(((int(names[0, most]), int(names[1, most])), counts[most] / counts.sum()))
    return answers


def line_flows(pressure_pa: np.ndarray, flow: np.ndarray) -> tuple[float, float]:
    exponent, level = np.polyfit(np.log(pressure_pa), np.log(flow), 1)
    return level + exponent * np.log(50.0), level + exponent * np.log(10.0)


def add(score: Score, test: Simulated) -> None:
    trace = test.trace
    assert trace is not None
    found = find(trace.time_s, trace.pressure_pa[0], trace.fan_pressure_pa)
    where = held(test, found)
    at = np.flatnonzero(found.points)
    roots = means(found, trace.fan_pressure_pa, 0.5, found.fan_zero) ** 0.5
    score.points += at.size
    score.mixed += sum(share < 0.9 or station < 0 for (_, station), share in where)
    score.resting += int((~found.points).sum())
    for start, stop in zip(found.start[~found.points], found.stop[~found.points], strict=True):
        score.seconds_of_fan_in_baselines += int((trace.station[start:stop] >= 0).sum())
    score.runs.add(int(found.run.max(initial=0)))
    for number, run in enumerate(test.runs):
        sign = -1 if run.direction == "depressurisation" else 1
        for station in range(run.target_pa.size):
            score.stations += 1
            first, last = run.start_s[station], run.start_s[station] + run.seconds[station]
            overlap = np.minimum(found.stop[at], last) - np.maximum(found.start[at], first)
            mine = [place for place, (name, _) in enumerate(where) if name == (number, station) and overlap[place] > 0]
            if mine:
                score.found += 1
                best = at[max(mine, key=lambda place: overlap[place])]
                error = standard_error(run.spread_pa[0, station], run.seconds[station])
                score.z.append((found.pressure_pa[best] - run.pressure_pa[0, station]) / error)
        if run.target_pa.size > 2 and len(test.runs) == 1:
            used = [place for place, (name, _) in enumerate(where) if name[1] >= 0]
            own = sign * (found.pressure_pa[at[used]] - found.pressure_pa[~found.points].mean())
            coefficient = run.opening_coefficient_m3_h[[where[place][0][1] for place in used]]
            zero = np.nanmean([run.baseline_before_pa[0], run.baseline_after_pa[0]])
            theirs = sign * (run.pressure_pa[0] - zero)
            if (own > 0).all() and (theirs > 0).all():
                ours = line_flows(own, coefficient * roots[at[used]])
                declared = line_flows(theirs, run.flow_m3_h)
                score.flow_50.append(ours[0] - declared[0])
                score.flow_10.append(ours[1] - declared[1])


def scored(name: str, count: int) -> Score:
    score = Score()
    for test in many(CASES[name], count, seed=41):
        add(score, test)
    return score


QUICK = 6


@pytest.mark.parametrize("name", CASES)
def test_stations_are_found_and_their_means_lie_within_their_noise(name: str) -> None:
    score = scored(name, QUICK)
    assert score.found >= 0.9 * score.stations
    assert np.mean(np.abs(score.z) <= 2) >= 0.9
    assert score.points <= 1.2 * score.stations
    assert score.mixed <= 0.05 * score.points
    assert score.seconds_of_fan_in_baselines == 0
    assert score.runs == {len(CASES[name].procedure.directions)}
    directions = len(CASES[name].procedure.directions)
    ends = 1 + CASES[name].procedure.baseline_after
    assert score.resting == QUICK * directions * ends


def test_in_still_air_found_points_fit_the_line_of_the_declared_ones() -> None:
    score = scored("still air", QUICK)
    assert np.abs(score.flow_50).max() < 0.005
    assert np.abs(score.flow_10).max() < 0.005


def limits(name: str) -> dict[str, Callable[[float], bool]]:
    still = name.startswith("still")
    return {
        "stations_found_percent": lambda value: value >= 90,
        "within_two_standard_errors_percent": lambda value: value >= 90,
        "points_for_each_station": lambda value: value <= 1.2,
        "points_over_two_stations_percent": lambda value: value <= (0.5 if still else 3),
    }


@pytest.mark.full
def test_figures_of_many_tests() -> None:
    tests = 200
    scores = {name: scored(name, tests) for name in CASES}
    figures = {name: score.figures(tests) for name, score in scores.items()}
    for name, of_case in figures.items():
        for figure, fine in limits(name).items():
            assert fine(of_case[figure]), (name, figure, of_case[figure])
    assert figures["still air"]["flow_50_rms_change_percent"] < 0.5
    assert figures["still air"]["flow_10_rms_change_percent"] < 0.5
    what = (
        f"{tests} simulated tests a case, ten stations of 30 s from 60 to 10 Pa unless said otherwise: points found in "
        "the log against the stations that were averaged; flows are those of log-log lines through either"
    )
    FIGURES.write_text(json.dumps({"what": what, "cases": figures}, indent=1) + "\n")
