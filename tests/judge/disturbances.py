"""What the faults of a test do to its readings and its house, step by step."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from .case import Case
from .faults import Planted
from .steps import STEP_S, STEPS_A_SECOND


@dataclass(slots=True)
class Disturbance:
    """Arrays by name, only those that the faults of a test need; last axis time steps, first the line if there is one.

    reading = gain (inside - outdoors - stream Q^2) + added,  each side kept: y = kept y_before + (1 - kept) x.
    """

    arrays: dict[str, np.ndarray] = field(default_factory=dict)

    def at(self, name: str, shape: tuple[int, ...]) -> np.ndarray:
        """The array of a name, made at its neutral value if no fault has touched it."""
        return self.arrays.setdefault(name, np.full(shape, NEUTRAL[name]))


NEUTRAL = {
    "gain": 1.0,  # (lines, steps)
    "added_pa": 0.0,  # (lines, steps): of the gauge
    "kept_inside": 0.0,  # (lines, steps)
    "kept_outside": 0.0,  # (lines, steps)
    "stick_pa": 0.0,  # (lines, steps)
    "line_pa": 0.0,  # (lines, steps): added to what comes from outdoors
    "stream": 0.0,  # (lines, steps) [Pa/(m3/s)^2]
    "leaks": 1.0,  # (steps,)
    "exhaust_m3_s": 0.0,  # (steps,)
    "running_m3_s": 0.0,  # (steps,): of a fan that should be off
    "hole_m3_s": 0.0,  # (steps,): at 1 Pa, of a fan that should be covered
    "by_fan": 0.0,  # (steps,): 1 where the crew sees the fan pressure as the pressure of the house
    "reference": 0.0,  # (steps,): part of the pressure across the door in the fan pressure
}


def disturbed(
    case: Case, faults: tuple[Planted, ...], steps: int, dynamic_pa: np.ndarray, rng: np.random.Generator
) -> Disturbance:
    """The disturbances of one test; `dynamic_pa` (steps,) is the dynamic pressure of its wind."""
    found = Disturbance()
    by_line = (len(case.lines), steps)
    time_s = (np.arange(steps) + 0.5) * STEP_S
    for each in faults:
        fault, inside = each.fault, np.zeros(steps, bool)
        noise = rng.standard_normal(steps)
        for start, stop in each.spans_s:
            span = slice(round(start * STEPS_A_SECOND), round(stop * STEPS_A_SECOND))
            inside[span] = True
            if fault.kind == "gauge drift":
                found.at("added_pa", by_line)[fault.line, span] += fault.size * (time_s[span] - start) / (stop - start)
            elif fault.kind == "blocked line" and fault.extra:
                found.at("line_pa", by_line)[fault.line, span] -= fault.extra * (time_s[span] - start) / 60
        _mark(found, case, each, inside, dynamic_pa, noise)
    return found


def _mark(
    found: Disturbance, case: Case, each: Planted, inside: np.ndarray, dynamic_pa: np.ndarray, noise: np.ndarray
) -> None:
    fault, steps = each.fault, len(inside)
    by_line, line = (len(case.lines), steps), fault.line
    match fault.kind:
        case "water in the line":
            found.at("line_pa", by_line)[line, inside] -= fault.size
            found.at("stick_pa", by_line)[line, inside] = fault.extra
        case "blocked line":
            for side, places in (("kept_inside", ("gauge", "indoor")), ("kept_outside", ("gauge", "outdoor"))):
                if fault.where in places:
                    found.at(side, by_line)[line, inside] = np.exp(-STEP_S / fault.size)
        case "line disconnected":
            found.at("gain", by_line)[line, inside] = 0.0
        case "end in the fan's stream":
            flow_m3_s = case.house.coefficient_m3_h * 50**case.house.exponent / 3600
            jet = fault.size / flow_m3_s**2 * (1 + fault.extra * noise)
            found.at("stream", by_line)[line, inside] += jet[inside]
        case "end on one facade":
            found.at("line_pa", by_line)[line, inside] += fault.size * dynamic_pa[inside]
        case "gauge gain":
            found.at("gain", by_line)[line, inside] *= 1 + fault.size
        case "opening moved":
            found.at("leaks", (steps,))[inside] *= 1 + fault.size
        case "exhaust running":
            found.at("exhaust_m3_s", (steps,))[inside] += fault.size / 3600
        case "fan running":
            found.at("running_m3_s", (steps,))[inside] = fault.size / 3600
        case "fan uncovered":
            found.at("hole_m3_s", (steps,))[inside] = fault.size / 3600
        case "fan reference wrong":
            found.at("reference", (steps,))[inside] += fault.size
        case "swapped channels" if fault.where == "tubes" and fault.line == 0:
            found.at("by_fan", (steps,))[inside] = 1.0


def from_outdoors(disturbance: Disturbance, lines_pa: np.ndarray) -> np.ndarray:
    """What reaches the gauge from outdoors (lines, steps) [Pa], given what would without faults."""
    arrays = disturbance.arrays
    if not arrays.keys() & {"stick_pa", "kept_outside", "line_pa"}:
        return lines_pa
    reached = lines_pa.copy()
    for line in range(len(reached)):
        if "stick_pa" in arrays:
            reached[line] = stuck(reached[line], arrays["stick_pa"][line])
        if "kept_outside" in arrays:
            reached[line] = kept(reached[line], arrays["kept_outside"][line])
    return reached + arrays.get("line_pa", 0.0)


def stuck(series: np.ndarray, room: np.ndarray) -> np.ndarray:
    """A slug that follows only what exceeds its room either way; a room of 0 lets everything pass."""
    if not room.any():
        return series
    answer, last = series.copy(), series[0]
    for i, (x, r) in enumerate(zip(series.tolist(), room.tolist(), strict=True)):
        last = min(max(last, x - r), x + r)
        answer[i] = last
    return answer


def kept(series: np.ndarray, share: np.ndarray) -> np.ndarray:
    """A lag whose share kept from step to step changes; 0 passes everything, 1 stands still."""
    if not share.any():
        return series
    answer, last = series.copy(), series[0]
    for i, (x, k) in enumerate(zip(series.tolist(), share.tolist(), strict=True)):
        last = k * last + (1 - k) * x
        answer[i] = last
    return answer


def together(disturbances: list[Disturbance]) -> dict[str, np.ndarray]:
    """Arrays of several tests side by side (tests, ...), of the names that any of them needs."""
    shapes = {name: array.shape for each in disturbances for name, array in each.arrays.items()}
    return {
        name: np.stack([each.arrays.get(name, np.full(shape, NEUTRAL[name])) for each in disturbances])
        for name, shape in shapes.items()
    }
