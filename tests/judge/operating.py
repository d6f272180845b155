"""The test as it happens: the pressure inside at each step while the crew works the fan."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .case import STEPS_A_SECOND, Case
from .house import Envelope, balance
from .procedure import SIGN, Stretch

CREW_EXPONENT = 0.65  # by which the crew changes the fan for another pressure
BOLDEST = 1.5  # no single change of the pressure aimed at is larger (judgement)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the wind does to several tests side by side [Pa]."""

    outside_pa: np.ndarray  # (tests, steps, leaks): what each leak has against the pressure inside
    door_pa: np.ndarray  # (tests, steps): the same at the fan
    line_pa: np.ndarray  # (tests, steps): of the line the crew goes by, as it reaches the gauge
    guess: np.ndarray  # (tests,): first guess of the fan setting over the right one


@dataclass(frozen=True, slots=True)
class Course:
    """What came of it, each (tests, steps)."""

    inside_pa: np.ndarray
    fan_m3_s: np.ndarray  # of the air in the fan, outwards positive
    residual: np.ndarray


def still_air_m3_h(case: Case, station: int) -> float:
    """What the fan would have to move in still air [m3/h]."""
    return case.house.coefficient_m3_h * case.procedure.targets_pa[station] ** case.house.exponent


def opening_at(case: Case, station: int) -> int:
    """The opening the crew chooses for a station."""
    return case.fan.opening_for(still_air_m3_h(case, station))


def fan_density(case: Case, stretch: Stretch) -> float:
    """Density of the air in the fan [kg/m3]."""
    return case.air.indoor_density() if _sign(case, stretch) < 0 else case.air.outdoor_density()


def operate(case: Case, plan: list[Stretch], around: Surroundings) -> Course:
    """Solve the mass balance step by step; the fan setting follows the readings."""
    shape = around.door_pa.shape
    course = Course(np.zeros(shape), np.zeros(shape), np.zeros(shape))
    envelope = Envelope.of(case.house, case.air)
    inside = around.outside_pa[:, 0].mean(axis=1)
    baseline = np.zeros(shape[0])
    setting = np.zeros(shape[0])
    for stretch in plan:
        if stretch.station == 0 and not stretch.averaged:
            setting = around.guess * still_air_m3_h(case, 0) / 3600
        elif stretch.station is not None and not stretch.averaged:
            old, new = case.procedure.targets_pa[stretch.station - 1 : stretch.station + 1]
            setting = setting * (new / old) ** CREW_EXPONENT
        seen = np.zeros(shape[0])
        first = stretch.start_s * STEPS_A_SECOND
        for step in range(first, stretch.stop_s * STEPS_A_SECOND):
            fan = _fan(case, stretch, setting, around.door_pa[:, step])
            inside, course.residual[:, step] = balance(envelope, around.outside_pa[:, step], fan, inside)
            course.inside_pa[:, step] = inside
            course.fan_m3_s[:, step] = fan(inside)[0] / fan_density(case, stretch)
            seen += inside - around.line_pa[:, step]
            if stretch.station is not None:
                every, gain, content = _habit(case, stretch)
                if every and (step + 1 - first) % every == 0:
                    setting = _changed(case, stretch, setting, seen / every - baseline, gain, content)
                    seen = np.zeros(shape[0])
        if stretch.station is None and stretch.averaged:
            baseline = seen / ((stretch.stop_s - stretch.start_s) * STEPS_A_SECOND)
    return course


def _sign(case: Case, stretch: Stretch) -> int:
    return SIGN[case.procedure.directions[stretch.run]]


def _fan(case: Case, stretch: Stretch, setting: np.ndarray, door_pa: np.ndarray) -> Callable:
    """Mass flow outwards through the fan [kg/s] and its slope, as functions of the pressure inside."""
    if stretch.station is None:
        still = np.zeros(setting.shape)
        return lambda inside: (still, still)
    sign, rho = _sign(case, stretch), fan_density(case, stretch)
    target = case.procedure.targets_pa[stretch.station]
    opening = opening_at(case, stretch.station)

    def fan(inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        flow, slope = case.fan.delivered(setting, opening, sign * (inside - door_pa) - target)
        return -sign * rho * flow, -rho * slope

    return fan


def _habit(case: Case, stretch: Stretch) -> tuple[int, float, float]:
    """Steps between changes of the setting (0: none), part of the way each goes, error left alone [Pa]."""
    procedure = case.procedure
    if procedure.control == "controlled":
        return STEPS_A_SECOND, 1 / procedure.controller_s, 0.0
    return (0 if stretch.averaged else procedure.look_s * STEPS_A_SECOND), 1.0, procedure.content_pa


def _changed(
    case: Case, stretch: Stretch, setting: np.ndarray, corrected: np.ndarray, gain: float, content: float
) -> np.ndarray:
    target = case.procedure.targets_pa[stretch.station]
    reached = _sign(case, stretch) * corrected
    ratio = target / np.clip(reached, target / BOLDEST, target * BOLDEST)
    ratio = np.where(np.abs(reached - target) > content, ratio, 1.0)
    fan = case.fan
    free = fan.openings_m3_h[opening_at(case, stretch.station)] / 3600
    return np.minimum(setting * ratio ** (CREW_EXPONENT * gain), free * np.sqrt(1 - target / fan.shut_off_pa))
