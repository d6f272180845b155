"""Tests as they happen, side by side: the pressure inside at each step while the crews work their fans."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from .case import Case
from .fan import delivered
from .house import LINEAR_BELOW_PA, REFERENCE_DENSITY_KG_M3, Envelope, balance
from .procedure import SIGN, Stretch
from .steps import STEPS_A_SECOND

CREW_EXPONENT = 0.65  # by which the crew changes the fan for another pressure
BOLDEST = 1.5  # no single change of the pressure aimed at is larger (judgement)


@dataclass(frozen=True, slots=True)
class Surroundings:
    """What the wind and the faults do to several tests side by side; pressures in Pa."""

    outside_pa: np.ndarray  # (tests, steps, leaks): what each leak has against the pressure inside
    door_pa: np.ndarray  # (tests, steps): the same at the fan
    lines_pa: np.ndarray  # (tests, lines, steps): what reaches the gauge from outdoors
    guess: np.ndarray  # (tests,): first guess of the fan setting over the right one
    disturbed: dict[str, np.ndarray]  # (tests, ...): arrays of `disturbances.NEUTRAL`, only those that are needed


@dataclass(frozen=True, slots=True)
class Course:
    """What came of it, each (tests, steps), the reading (tests, lines, steps)."""

    inside_pa: np.ndarray
    fan_m3_s: np.ndarray  # of the air in the fan, outwards positive
    reading_pa: np.ndarray  # of each line, before the gauge errs
    residual: np.ndarray


def still_air_m3_h(case: Case, station: int) -> float:
    """What the fan would have to move in still air [m3/h]."""
    return case.house.coefficient_m3_h * case.procedure.targets_pa[station] ** case.house.exponent


def opening_at(case: Case, station: int | None) -> int:
    """The opening the crew chooses for a station; while the fan should be off, the one it begins with."""
    return case.fan.opening_for(still_air_m3_h(case, station or 0))


def fan_density(case: Case, stretch: Stretch) -> float:
    """Density of the air in the fan [kg/m3]."""
    return case.air.indoor_density() if sign_of(case, stretch) < 0 else case.air.outdoor_density()


def sign_of(case: Case, stretch: Stretch) -> int:
    return SIGN[case.procedure.directions[stretch.run]]


@dataclass(frozen=True, slots=True)
class _Fans:
    """The fans of several tests during one stretch, each (tests,)."""

    sign: np.ndarray
    rho: np.ndarray
    target: np.ndarray
    free_m3_s: np.ndarray
    shut_off_pa: np.ndarray
    reading: np.ndarray  # fan pressure [Pa] over flow squared [(m3/s)2]

    @classmethod
    def of(cls, cases: list[Case], stretch: Stretch) -> _Fans:
        station = stretch.station or 0
        opening = [opening_at(case, station) for case in cases]
        rho = np.array([fan_density(case, stretch) for case in cases])
        each = list(zip(cases, opening, strict=True))
        coefficient = np.array([case.fan.coefficient_m3_h(i) for case, i in each])
        return cls(
            sign=np.array([sign_of(case, stretch) for case in cases]),
            rho=rho,
            target=np.array([case.procedure.targets_pa[station] for case in cases]),
            free_m3_s=np.array([case.fan.openings_m3_h[i] / 3600 for case, i in each]),
            shut_off_pa=np.array([case.fan.shut_off_pa for case in cases]),
            reading=(3600 / coefficient) ** 2 * rho / REFERENCE_DENSITY_KG_M3,
        )

    def working(self, setting: np.ndarray, door_pa: np.ndarray) -> Callable:
        """Mass flow outwards through the fan [kg/s] and its slope, as functions of the pressure inside."""
        fall = self.free_m3_s**2 / self.shut_off_pa

        def fan(inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            flow, slope = delivered(setting, fall, self.sign * (inside - door_pa) - self.target)
            return -self.sign * self.rho * flow, -self.rho * slope

        return fan

    def resting(self, running_m3_s: np.ndarray, hole_m3_s: np.ndarray, door_pa: np.ndarray) -> Callable:
        """The same of a fan that should stand still and be covered: a flow it moves, and a hole of square-root law."""

        def fan(inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
            across = inside - door_pa
            size = np.maximum(np.abs(across), LINEAR_BELOW_PA)
            slope = self.rho * hole_m3_s / np.sqrt(size)
            steepness = np.where(np.abs(across) > LINEAR_BELOW_PA, 0.5, 1.0)
            return slope * across - self.sign * self.rho * running_m3_s, slope * steepness

        return fan

    def most(self) -> np.ndarray:
        """The largest setting [m3/s] at the target."""
        return self.free_m3_s * np.sqrt(1 - self.target / self.shut_off_pa)


def operate(cases: list[Case], plan: list[Stretch], around: Surroundings) -> Course:
    """Solve the mass balance step by step; the fan setting follows the readings of the first line.

    The cases share the plan and the habits of the crew (control, how often and how closely it looks).
    """
    shape = around.door_pa.shape
    course = Course(np.zeros(shape), np.zeros(shape), np.zeros(around.lines_pa.shape), np.zeros(shape))
    envelope = Envelope.together([(case.house, case.air) for case in cases])
    first_flow = np.array([still_air_m3_h(case, 0) / 3600 for case in cases])
    targets = np.array([case.procedure.targets_pa for case in cases])
    stack_pa = np.array([case.air.stack_pa_m() * case.house.gauge_height_m for case in cases])
    indoor_rho = np.array([case.air.indoor_density() for case in cases])
    inside = around.outside_pa[:, 0].mean(axis=1)
    felt = None
    baseline = np.zeros(shape[0])
    setting = np.zeros(shape[0])
    for stretch in plan:
        fans = _Fans.of(cases, stretch)
        if stretch.station == 0 and not stretch.averaged:
            setting = around.guess * first_flow
        elif stretch.station is not None and not stretch.averaged:
            old, new = targets[:, stretch.station - 1], targets[:, stretch.station]
            setting = setting * (new / old) ** CREW_EXPONENT
        every, gain, content = _habit(cases[0], stretch)
        seen = np.zeros(shape[0])
        first = stretch.start_s * STEPS_A_SECOND
        for step in range(first, stretch.stop_s * STEPS_A_SECOND):
            now = {name: array[..., step] for name, array in around.disturbed.items()}
            fan = _fan(fans, stretch, setting, around.door_pa[:, step], now)
            outflow = _with_exhaust(fan, indoor_rho, now)
            inside, course.residual[:, step] = balance(
                envelope, around.outside_pa[:, step], outflow, inside, now.get("leaks")
            )
            flow = fan(inside)[0] / fans.rho
            course.inside_pa[:, step] = inside
            course.fan_m3_s[:, step] = flow
            felt = inside[:, None] if felt is None or "kept_inside" not in now else lag(felt, inside[:, None], now)
            reading = at_gauge_pa(felt + stack_pa[:, None], around.lines_pa[:, :, step], flow[:, None], now)
            course.reading_pa[:, :, step] = reading
            seen += _seen(reading[:, 0], fans, flow, now)
            if stretch.station is not None and every and (step + 1 - first) % every == 0:
                setting = _changed(fans, setting, seen / every - baseline, gain, content)
                seen = np.zeros(shape[0])
        if stretch.station is None and stretch.averaged:
            baseline = seen / ((stretch.stop_s - stretch.start_s) * STEPS_A_SECOND)
    return course


def lag(felt: np.ndarray, inside: np.ndarray, now: dict[str, np.ndarray]) -> np.ndarray:
    """One step of the lag of the indoor side."""
    return now["kept_inside"] * felt + (1 - now["kept_inside"]) * inside


def at_gauge_pa(inside_pa, outside_pa: np.ndarray, flow_m3_s, now: dict[str, np.ndarray]) -> np.ndarray:
    """What the gauge would show without errors of its own [Pa]."""
    difference = inside_pa - outside_pa
    if "stream" in now:
        difference = difference - now["stream"] * flow_m3_s**2
    return now.get("gain", 1.0) * difference + now.get("added_pa", 0.0)


def _fan(
    fans: _Fans, stretch: Stretch, setting: np.ndarray, door_pa: np.ndarray, now: dict[str, np.ndarray]
) -> Callable:
    nothing = np.zeros(setting.shape)
    if stretch.station is not None:
        return fans.working(setting, door_pa)
    if now.keys() & {"running_m3_s", "hole_m3_s"}:
        return fans.resting(now.get("running_m3_s", nothing), now.get("hole_m3_s", nothing), door_pa)
    return lambda inside: (nothing, nothing)


def _with_exhaust(fan: Callable, indoor_rho: np.ndarray, now: dict[str, np.ndarray]) -> Callable:
    if "exhaust_m3_s" not in now:
        return fan
    constant = indoor_rho * now["exhaust_m3_s"]

    def outflow(inside: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
        mass, slope = fan(inside)
        return mass + constant, slope

    return outflow


def _seen(reading_pa: np.ndarray, fans: _Fans, flow_m3_s: np.ndarray, now: dict[str, np.ndarray]) -> np.ndarray:
    """What the crew takes for the pressure of the house [Pa]."""
    if "by_fan" not in now:
        return reading_pa
    return np.where(now["by_fan"] > 0, fans.sign * fans.reading * flow_m3_s**2, reading_pa)


def _habit(case: Case, stretch: Stretch) -> tuple[int, float, float]:
    """Steps between changes of the setting (0: none), part of the way each goes, error left alone [Pa]."""
    procedure = case.procedure
    if procedure.control == "controlled":
        return STEPS_A_SECOND, 1 / procedure.controller_s, 0.0
    return (0 if stretch.averaged else procedure.look_s * STEPS_A_SECOND), 1.0, procedure.content_pa


def _changed(fans: _Fans, setting: np.ndarray, corrected: np.ndarray, gain: float, content: float) -> np.ndarray:
    reached = fans.sign * corrected
    ratio = fans.target / np.clip(reached, fans.target / BOLDEST, fans.target * BOLDEST)
    ratio = np.where(np.abs(reached - fans.target) > content, ratio, 1.0)
    return np.minimum(setting * ratio ** (CREW_EXPONENT * gain), fans.most())
