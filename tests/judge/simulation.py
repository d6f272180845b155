"""Tests made of a case."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from .case import STEP_S, STEPS_A_SECOND, Case
from .gauges import shown
from .house import FACADES
from .lines import at_gauge, building_gusts
from .operating import Course, Surroundings, operate
from .procedure import Stretch, stretches
from .results import Simulated, Trace, Truth
from .wind import WindSeries, blow, speed_at
from .writing import fan_pressure, seconds, write_down

TOGETHER = 100  # tests solved side by side; bounds the memory
GUESS = 0.1  # standard deviation of the operator's first guess of the fan setting, relative (judgement)


def simulate(case: Case, rng: np.random.Generator) -> Simulated:
    """One test of the case."""
    return _side_by_side(case, [rng])[0]


def many(case: Case, count: int, seed: int) -> list[Simulated]:
    """Tests 0 to count-1 of the case; test i is `simulate(case, numpy.random.default_rng([seed, i]))`."""
    rngs = [np.random.default_rng([seed, i]) for i in range(count)]
    return [each for i in range(0, count, TOGETHER) for each in _side_by_side(case, rngs[i : i + TOGETHER])]


@dataclass(frozen=True, slots=True)
class _Weather:
    """What one test draws of the wind and the crew; pressures in Pa."""

    wind: WindSeries
    outside_pa: np.ndarray  # (steps, leaks)
    door_pa: np.ndarray  # (steps,)
    lines_pa: np.ndarray  # (lines, steps)
    guess: float


def _side_by_side(case: Case, rngs: list[np.random.Generator]) -> list[Simulated]:
    plan = stretches(case.procedure)
    weathers = [_draw(case, plan[-1].stop_s * STEPS_A_SECOND, rng) for rng in rngs]
    around = Surroundings(
        outside_pa=np.stack([w.outside_pa for w in weathers]),
        door_pa=np.stack([w.door_pa for w in weathers]),
        line_pa=np.stack([w.lines_pa[0] for w in weathers]),
        guess=np.array([w.guess for w in weathers]),
    )
    course = operate(case, plan, around)
    return [_shown(case, plan, weather, course, i, rngs[i]) for i, weather in enumerate(weathers)]


def _draw(case: Case, steps: int, rng: np.random.Generator) -> _Weather:
    house, air = case.house, case.air
    wind = blow(case.wind, house.eaves_m, steps, STEP_S, rng)
    dynamic_pa = 0.5 * air.outdoor_density() * (house.shelter * wind.speed_m_s) ** 2
    gusts = np.array([building_gusts(wind, STEP_S, rng) for _ in (*FACADES, "ceiling")])
    shares = [house.wall_cp(facade, wind.from_deg) for facade in FACADES]
    shares.append(np.full(steps, house.ceiling_cp))
    on_walls = dynamic_pa * (np.array(shares) + house.wall_gusts * gusts)
    _, wall, height = house.leaks()
    return _Weather(
        wind=wind,
        outside_pa=(on_walls[wall] - air.stack_pa_m() * height[:, None]).T,
        door_pa=on_walls[FACADES.index(house.door)] - air.stack_pa_m() * house.door_height_m,
        lines_pa=np.array([at_gauge(line, house, wind, dynamic_pa, STEP_S, rng) for line in case.lines]),
        guess=1 + rng.normal(0.0, GUESS),
    )


def _shown(
    case: Case, plan: list[Stretch], weather: _Weather, course: Course, index: int, rng: np.random.Generator
) -> Simulated:
    inside, flow = course.inside_pa[index], course.fan_m3_s[index]
    at_height = inside + case.air.stack_pa_m() * case.house.gauge_height_m
    pressure_pa = np.array([shown(case.gauge, seconds(at_height - line), rng) for line in weather.lines_pa])
    fan_pa = fan_pressure(case, plan, np.abs(flow), rng)
    mean_speed = weather.wind.speed_m_s.mean()
    aloft = speed_at(case.wind, case.house.eaves_m)
    runs = write_down(case, plan, pressure_pa, fan_pa, rng)
    trace = _trace(plan, weather, pressure_pa, fan_pa, inside, flow) if case.keep_trace else None
    return Simulated(
        truth=Truth.of(case.house),
        runs=runs,
        lines=tuple(line.name for line in case.lines),
        indoor_c=case.air.indoor_c,
        outdoor_c=case.air.outdoor_c,
        barometer_pa=case.air.barometer_pa,
        wind_10m_m_s=float(case.wind.speed_10m_m_s * mean_speed / aloft) if aloft else 0.0,
        wind_from_deg=float(weather.wind.from_deg.mean() % 360),
        residual=float(course.residual[index].max()),
        trace=trace,
    )


def _trace(
    plan: list[Stretch],
    weather: _Weather,
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
