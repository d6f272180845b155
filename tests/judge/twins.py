"""What wind and faults do to the standard result, by twins of the same test: the same draws with one thing off.

Truth of "wind-affected", as agreed for the judge:
    flow at 50 Pa: |Q50 with wind / Q50 with the wind off - 1| > 5 %,
    low pressures: the same at 10 Pa > 10 %, or a station of 20 Pa or below whose corrected pressure is off by > 2 Pa.
A station is off by its corrected pressure less (Q/C)^(1/n), Q its flow and C, n those of the same direction with the
wind off. Of a single point there is one flow: at 10 Pa it errs as at 50 Pa.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from .case import Case
from .plain import Standard, standard
from .results import Simulated
from .simulation import Seed, alike, draw, side_by_side

FLOW_50_LIMIT, FLOW_10_LIMIT = 0.05, 0.10
LOW_STATION_PA, LOW_STATION_ERROR_PA = 20.0, 2.0
TWINS_TOGETHER = 50  # tests whose twins are solved side by side; bounds the memory


@dataclass(frozen=True, slots=True)
class Change:
    """What one thing has changed of the standard result: flows in per cent, exponent as a difference."""

    flow_50_percent: float
    flow_10_percent: float
    exponent: float

    @classmethod
    def between(cls, with_it: Standard, without: Standard) -> Change:
        return cls(
            100 * (with_it.flow_50_m3_h / without.flow_50_m3_h - 1),
            100 * (with_it.flow_10_m3_h / without.flow_10_m3_h - 1),
            with_it.exponent - without.exponent,
        )


@dataclass(frozen=True, slots=True)
class WindChange(Change):
    """The same for the wind, with the flags; a line that only wind makes impossible counts as affected.

    `low_station_pa` is the worst error [Pa] of a station of 20 Pa or below, with its sign; 0 where there is none.
    """

    low_station_pa: float
    flow_50_affected: bool
    low_affected: bool


@dataclass(frozen=True, slots=True)
class Effects:
    """Standard results of a test and of its twins, and the changes between them.

    `wind` and `fault` compare the record with the twin that has the wind off, or the faults; `wind_without_faults` and
    `fault_without_wind` do so in the twin that has the other thing off too. `error` is the record against the truth.
    """

    recorded: Standard
    wind_off: Standard
    faults_off: Standard
    both_off: Standard
    wind: WindChange
    wind_without_faults: WindChange
    fault: Change
    fault_without_wind: Change
    error: Change

    @property
    def flow_50_affected(self) -> bool:
        return self.wind.flow_50_affected

    @property
    def low_affected(self) -> bool:
        return self.wind.low_affected


@dataclass(frozen=True, slots=True)
class Judged:
    """A test, what belongs to the judge beside it, and the case it was made of."""

    case: Case
    test: Simulated
    effects: Effects


def effects(case: Case, seed: Seed) -> Effects:
    """Of the test `simulate(case, numpy.random.default_rng(seed))`."""
    return _judged([case], [seed])[0].effects


def clean_twin(case: Case, seed: Seed, wind: bool = False, faults: bool = True) -> Simulated:
    """The test of this seed with the wind off, or the faults, and gauge noise and all other draws the same."""
    return side_by_side([draw(case, np.random.default_rng(seed)).twin(wind, faults)])[0]


def many_effects(cases: Sequence[Case], seed: int) -> list[Effects]:
    """Effects of one test of each case; number i is `effects(cases[i], [seed, i])`."""
    return [each.effects for each in judged(cases, seed)]


def judged(cases: Sequence[Case], seed: int) -> list[Judged]:
    """The same with the tests: test i is `simulate(cases[i], numpy.random.default_rng([seed, i]))`.

    About 20 ms of one core a multi-point test of one direction, 50 ms with a fault, which has four twins; a case that
    no other can stand beside (see `alike`) costs some ten times as much.
    """
    found: dict[int, Judged] = {}
    for some in alike(cases, TWINS_TOGETHER):
        found.update(zip(some, _judged([cases[i] for i in some], [(seed, i) for i in some]), strict=True))
    return [found[i] for i in range(len(cases))]


def _judged(cases: list[Case], seeds: Sequence[Seed]) -> list[Judged]:
    drawn = [draw(case, np.random.default_rng(seed)) for case, seed in zip(cases, seeds, strict=True)]
    twins = [each.twin(wind, faults) for each in drawn for wind, faults in _wanted(each.faults != ())]
    solved = iter(side_by_side(twins))
    found = []
    for each in drawn:
        tests = {key: next(solved) for key in _wanted(each.faults != ())}
        results = {key: standard(test, each.case.air.viscosity_counts) for key, test in tests.items()}
        found.append(Judged(each.case, tests[True, True], _effects(tests[True, True], results)))
    return found


def _wanted(faulty: bool) -> list[tuple[bool, bool]]:
    """Wind and faults of the twins to be solved."""
    return [(wind, faults) for wind in (True, False) for faults in ((True, False) if faulty else (True,))]


def _effects(test: Simulated, results: dict[tuple[bool, bool], Standard]) -> Effects:
    recorded, wind_off = results[True, True], results[False, True]
    faults_off, both_off = results.get((True, False), recorded), results.get((False, False), wind_off)
    truth, nothing = test.truth, ()
    true = Standard(truth.flow_50_m3_h, truth.flow_10_m3_h, truth.exponent, nothing, nothing, nothing)
    targets = [run.target_pa for run in test.runs]
    return Effects(
        recorded=recorded,
        wind_off=wind_off,
        faults_off=faults_off,
        both_off=both_off,
        wind=_wind(recorded, wind_off, targets),
        wind_without_faults=_wind(faults_off, both_off, targets),
        fault=Change.between(recorded, faults_off),
        fault_without_wind=Change.between(wind_off, both_off),
        error=Change.between(recorded, true),
    )


def _wind(windy: Standard, still: Standard, targets: list[np.ndarray]) -> WindChange:
    change = Change.between(windy, still)
    off = [0.0]
    for i, (c, n) in enumerate(still.lines):
        low = targets[i] <= LOW_STATION_PA
        with np.errstate(over="ignore", divide="ignore", invalid="ignore"):  # a faulty line may be of any slope
            off.extend((windy.corrected_pa[i] - (windy.flows_m3_h[i] / c) ** (1 / n))[low])
    worst = float(max(off, key=abs))
    possible = not np.isnan(still.flow_50_m3_h)
    return WindChange(
        change.flow_50_percent,
        change.flow_10_percent,
        change.exponent,
        worst,
        possible and not abs(change.flow_50_percent) <= 100 * FLOW_50_LIMIT,
        possible and not (abs(change.flow_10_percent) <= 100 * FLOW_10_LIMIT and abs(worst) <= LOW_STATION_ERROR_PA),
    )
