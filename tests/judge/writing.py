"""What the crew writes down: stations and baselines out of readings of 1 s."""

from __future__ import annotations

import numpy as np

from .case import Case
from .gauges import shown
from .operating import fan_density, opening_at, sign_of
from .procedure import Stretch
from .results import Run
from .steps import STEPS_A_SECOND


def seconds(steps: np.ndarray) -> np.ndarray:
    """Mean of each second; time is the last axis."""
    return steps.reshape(*steps.shape[:-1], -1, STEPS_A_SECOND).mean(axis=-1)


def fan_pressure(
    case: Case, plan: list[Stretch], fan_m3_s: np.ndarray, across_pa: np.ndarray | float, rng: np.random.Generator
) -> np.ndarray:
    """What the fan gauge shows each second [Pa].

    `fan_m3_s` (steps,) is the true flow of the air in the fan, `across_pa` (steps,) what a wrong reference adds, inside
    minus outside.
    """
    true = np.zeros(fan_m3_s.shape)
    added = np.broadcast_to(across_pa, fan_m3_s.shape)
    for stretch in plan:
        during = slice(stretch.start_s * STEPS_A_SECOND, stretch.stop_s * STEPS_A_SECOND)
        coefficient = case.fan.coefficient_m3_h(opening_at(case, stretch.station))
        true[during] = case.fan.reading_pa(fan_m3_s[during], coefficient, fan_density(case, stretch))
        true[during] += sign_of(case, stretch) * added[during]
    return shown(case.fan.gauge, seconds(true), rng)


def write_down(
    case: Case, plan: list[Stretch], pressure_pa: np.ndarray, fan_pa: np.ndarray, rng: np.random.Generator
) -> tuple[Run, ...]:
    """One Run a direction, of pressure (lines, seconds) and fan pressure (seconds,) as shown."""
    certificate = 1 + rng.normal(0.0, case.fan.flow_gain_sd)
    return tuple(
        _run(case, [s for s in plan if s.run == run and s.averaged], direction, pressure_pa, fan_pa, certificate)
        for run, direction in enumerate(case.procedure.directions)
    )


def _run(
    case: Case,
    noted: list[Stretch],
    direction: str,
    pressure_pa: np.ndarray,
    fan_pa: np.ndarray,
    certificate: float,
) -> Run:
    stations = [s for s in noted if s.station is not None]
    resting = [s for s in noted if s.station is None]
    before = resting[0]
    after = resting[1] if len(resting) > 1 else None
    opening = [opening_at(case, s.station) for s in stations]
    coefficient = np.array([certificate * case.fan.coefficient_m3_h(i) for i in opening])
    flowing = np.abs(fan_pa) if any(fault.kind == "swapped channels" for fault in case.faults) else fan_pa
    roots = [np.sqrt(np.maximum(flowing[s.start_s : s.stop_s], 0.0)).mean() for s in stations]
    nothing = np.full(len(pressure_pa), np.nan)
    return Run(
        direction=direction,
        target_pa=np.array([case.procedure.targets_pa[s.station] for s in stations]),
        pressure_pa=np.stack([_mean(pressure_pa, s) for s in stations], axis=1),
        spread_pa=np.stack([_spread(pressure_pa, s) for s in stations], axis=1),
        seconds=np.array([s.stop_s - s.start_s for s in stations], dtype=float),
        start_s=np.array([s.start_s for s in stations], dtype=float),
        opening=np.array(opening),
        opening_coefficient_m3_h=coefficient,
        fan_pressure_pa=np.array([_mean(fan_pa, s) for s in stations]),
        fan_spread_pa=np.array([_spread(fan_pa, s) for s in stations]),
        flow_m3_h=coefficient * np.array(roots),
        baseline_before_pa=_mean(pressure_pa, before),
        baseline_before_spread_pa=_spread(pressure_pa, before),
        baseline_before_seconds=float(before.stop_s - before.start_s),
        baseline_before_start_s=float(before.start_s),
        baseline_after_pa=_mean(pressure_pa, after) if after else nothing,
        baseline_after_spread_pa=_spread(pressure_pa, after) if after else nothing,
        baseline_after_seconds=float(after.stop_s - after.start_s) if after else 0.0,
        baseline_after_start_s=float(after.start_s) if after else float("nan"),
        fan_off_fan_pressure_pa=float(np.concatenate([fan_pa[s.start_s : s.stop_s] for s in resting]).mean()),
    )


def _mean(series: np.ndarray, stretch: Stretch) -> np.ndarray:
    return series[..., stretch.start_s : stretch.stop_s].mean(axis=-1)


def _spread(series: np.ndarray, stretch: Stretch) -> np.ndarray:
    return series[..., stretch.start_s : stretch.stop_s].std(axis=-1, ddof=1)
