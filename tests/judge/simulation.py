"""Tests made of cases."""

from __future__ import annotations

import copy
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from .case import Case
from .disturbances import Disturbance, disturbed, from_outdoors, together
from .faults import Planted, planted
from .gauges import shown
from .house import FACADES
from .lines import at_gauge, building_gusts
from .mast import beside
from .operating import Course, Surroundings, operate
from .procedure import Stretch, stretches
from .records import faulty_record, faulty_seconds
from .results import Simulated, Trace, Truth
from .steps import STEP_S, STEPS_A_SECOND
from .wind import WindSeries, blow, speed_at
from .writing import fan_pressure, seconds, write_down

TOGETHER = 100  # tests solved side by side; bounds the memory
GUESS = 0.1  # standard deviation of the operator's first guess of the fan setting, relative (judgement)

Seed = int | Sequence[int]


def simulate(case: Case, rng: np.random.Generator) -> Simulated:
    """One test of the case."""
    return side_by_side([draw(case, rng)])[0]


def many(case: Case, count: int, seed: int) -> list[Simulated]:
    """Tests 0 to count-1 of the case; test i is `simulate(case, numpy.random.default_rng([seed, i]))`."""
    return many_cases([case] * count, seed)


def many_cases(cases: Sequence[Case], seed: int) -> list[Simulated]:
    """One test of each case; test i is `simulate(cases[i], numpy.random.default_rng([seed, i]))`."""
    found: dict[int, Simulated] = {}
    for some in alike(cases, TOGETHER):
        drawn = [draw(cases[i], np.random.default_rng([seed, i])) for i in some]
        found.update(zip(some, side_by_side(drawn), strict=True))
    return [found[i] for i in range(len(cases))]


def alike(cases: Sequence[Case], most: int) -> Iterator[list[int]]:
    """Indices of cases that can be solved side by side, at most so many at once."""
    groups: dict[tuple, list[int]] = {}
    for i, case in enumerate(cases):
        crew = case.procedure
        habit = (crew.control, crew.controller_s, crew.look_s, crew.content_pa)
        key = (tuple(stretches(crew)), habit, len(case.house.leaks()[0]), len(case.lines))
        groups.setdefault(key, []).append(i)
    for group in groups.values():
        yield from (group[i : i + most] for i in range(0, len(group), most))


@dataclass(frozen=True, slots=True)
class Weather:
    """What one test draws of the wind; pressures in Pa."""

    wind: WindSeries
    dynamic_pa: np.ndarray  # (steps,)
    outside_pa: np.ndarray  # (steps, leaks)
    door_pa: np.ndarray  # (steps,)
    lines_pa: np.ndarray  # (lines, steps)

    def stilled(self, case: Case) -> Weather:
        """The same without wind: the stack alone is left."""
        steps = len(self.door_pa)
        nothing = np.zeros(steps)
        _, _, height = case.house.leaks()
        per_metre = case.air.stack_pa_m()
        return Weather(
            WindSeries(nothing, np.full(steps, self.wind.from_deg[0])),
            nothing,
            np.tile(-per_metre * height, (steps, 1)),
            np.full(steps, -per_metre * case.house.door_height_m),
            np.zeros_like(self.lines_pa),
        )


@dataclass(frozen=True, slots=True)
class Drawn:
    """One test before it takes place; `rng` stands where gauges and certificate begin to draw."""

    case: Case
    plan: list[Stretch]
    weather: Weather
    guess: float
    faults: tuple[Planted, ...]
    rng: np.random.Generator
    faults_rng: np.random.Generator
    mast_rng: np.random.Generator

    def twin(self, wind: bool = True, faults: bool = True) -> Drawn:
        """The same test with the wind off, or the faults, and all other draws the same."""
        return replace(
            self,
            weather=self.weather if wind else self.weather.stilled(self.case),
            faults=self.faults if faults else (),
            rng=copy.deepcopy(self.rng),
            faults_rng=copy.deepcopy(self.faults_rng),
            mast_rng=copy.deepcopy(self.mast_rng),
        )


def draw(case: Case, rng: np.random.Generator) -> Drawn:
    """Draw the wind of one test and find where its faults take place.

    Faults and mast draw from streams of their own, so that they do not move the other draws.
    """
    plan = stretches(case.procedure)
    faults_rng, mast_rng = rng.spawn(2)
    weather = weather_of(case, plan[-1].stop_s * STEPS_A_SECOND, rng)
    guess = 1 + rng.normal(0.0, GUESS)
    faults = tuple(planted(fault, plan) for fault in case.faults)
    return Drawn(case, plan, weather, guess, faults, rng, faults_rng, mast_rng)


def weather_of(case: Case, steps: int, rng: np.random.Generator) -> Weather:
    """Wind on the walls, the door and the lines."""
    house, air = case.house, case.air
    wind = blow(case.wind, house.eaves_m, steps, STEP_S, rng)
    dynamic_pa = 0.5 * air.outdoor_density() * (house.shelter * wind.speed_m_s) ** 2
    gusts = np.array([building_gusts(wind, STEP_S, rng) for _ in (*FACADES, "ceiling")])
    shares = [house.wall_cp(facade, wind.from_deg) for facade in FACADES]
    shares.append(np.full(steps, house.ceiling_cp))
    on_walls = dynamic_pa * (np.array(shares) + house.wall_gusts * gusts)
    _, wall, height = house.leaks()
    return Weather(
        wind=wind,
        dynamic_pa=dynamic_pa,
        outside_pa=(on_walls[wall] - air.stack_pa_m() * height[:, None]).T,
        door_pa=on_walls[FACADES.index(house.door)] - air.stack_pa_m() * house.door_height_m,
        lines_pa=np.array([at_gauge(line, house, wind, dynamic_pa, STEP_S, rng) for line in case.lines]),
    )


def side_by_side(tests: list[Drawn]) -> list[Simulated]:
    """Let tests take place that `alike` has put together."""
    disturbances = [
        disturbed(t.case, t.faults, len(t.weather.door_pa), t.weather.dynamic_pa, t.faults_rng) for t in tests
    ]
    around = Surroundings(
        outside_pa=np.stack([t.weather.outside_pa for t in tests]),
        door_pa=np.stack([t.weather.door_pa for t in tests]),
        lines_pa=np.stack([from_outdoors(d, t.weather.lines_pa) for d, t in zip(disturbances, tests, strict=True)]),
        guess=np.array([t.guess for t in tests]),
        disturbed=together(disturbances),
    )
    course = operate([t.case for t in tests], tests[0].plan, around)
    return [_shown(test, disturbances[i], course, i) for i, test in enumerate(tests)]


def _shown(test: Drawn, disturbance: Disturbance, course: Course, index: int) -> Simulated:
    case, plan, weather, rng = test.case, test.plan, test.weather, test.rng
    inside, flow = course.inside_pa[index], course.fan_m3_s[index]
    pressure_pa = np.array([shown(case.gauge, seconds(reading), rng) for reading in course.reading_pa[index]])
    across_pa = disturbance.arrays.get("reference", 0.0) * (inside - weather.door_pa)
    fan_pa = fan_pressure(case, plan, np.abs(flow), across_pa, rng)
    pressure_pa, fan_pa = faulty_seconds(test.faults, pressure_pa, fan_pa)
    runs = write_down(case, plan, pressure_pa, fan_pa, rng)
    mean_speed = weather.wind.speed_m_s.mean()
    aloft = speed_at(case.wind, case.house.eaves_m)
    record = Simulated(
        truth=Truth.of(case.house),
        runs=runs,
        lines=tuple(line.name for line in case.lines),
        indoor_c=case.air.indoor_c,
        outdoor_c=case.air.outdoor_c,
        barometer_pa=case.air.barometer_pa,
        wind_10m_m_s=float(case.wind.speed_10m_m_s * mean_speed / aloft) if aloft else 0.0,
        wind_from_deg=float(weather.wind.from_deg.mean() % 360),
        residual=float(course.residual[index].max()),
        trace=_trace(plan, weather, pressure_pa, fan_pa, inside, flow) if case.keep_trace else None,
        planted=test.faults,
        weather=beside(case.mast, case.wind, case.house.eaves_m, weather.wind, test.mast_rng) if case.mast else None,
    )
    return faulty_record(case, test.faults, record)


def _trace(
    plan: list[Stretch],
    weather: Weather,
    pressure_pa: np.ndarray,
    fan_pa: np.ndarray,
    inside: np.ndarray,
    flow: np.ndarray,
) -> Trace:
    lengths = [s.stop_s - s.start_s for s in plan]
    return Trace(
        time_s=np.arange(plan[-1].stop_s, dtype=float),
        pressure_pa=pressure_pa,
        fan_pressure_pa=fan_pa,
        run=np.repeat([s.run for s in plan], lengths),
        station=np.repeat([-1 if s.station is None else s.station for s in plan], lengths),
        averaged=np.repeat([s.averaged for s in plan], lengths),
        true_inside_pa=seconds(inside),
        true_fan_flow_m3_h=3600 * seconds(flow),
        true_outside_pa=seconds(weather.outside_pa.T).T,
        wind_at_eaves_m_s=seconds(weather.wind.speed_m_s),
        wind_from_deg=seconds(weather.wind.from_deg),
    )
