"""Families of tests for scoring: cases drawn at random over wind, arrangement of the line, crew, house and faults.

`family(count, seed, ...)` draws members; what is not asked for is drawn. Give `[m.case for m in members]` to `judged`
and keep the members for the tables. Ranges and shares are judgement unless a source stands beside them, so the share of
affected tests says nothing about any programme.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from itertools import product
from typing import Literal

import numpy as np

from . import faults as plant
from .case import Case
from .fan import Fan
from .faults import KINDS, Fault, Kind
from .gauges import Gauge
from .house import FACADES, Air, House
from .lines import Line, branched_damped, open_end, several_facades, sheltered_end, yard_end
from .mast import Mast
from .operating import opening_at
from .procedure import Procedure, multi_point, single_point, stretches
from .wind import CITY, OPEN_COUNTRY, SUBURB, Wind

WindClass = Literal["still", "breezy", "windy"]
WINDS: dict[WindClass, tuple[float, float]] = {"still": (0.0, 3.0), "breezy": (3.0, 6.0), "windy": (6.0, 12.0)}

Arrangement = Literal["open end", "branched damped", "several facades", "sheltered end", "yard end"]
ARRANGEMENTS: dict[Arrangement, Callable[[str], Line]] = {
    "open end": open_end,
    "branched damped": lambda facade: branched_damped(),
    "several facades": lambda facade: several_facades(),
    "sheltered end": sheltered_end,
    "yard end": lambda facade: yard_end(),
}

Crew = Literal["single point", "multi-point", "both directions"]
CREWS: tuple[Crew, ...] = ("single point", "multi-point", "both directions")

EXPONENTS = (0.58, 0.65, 0.72)  # 0.646 with a standard deviation of 0.057 in 7000 houses (Chan et al. 2013)
# intensity at the eaves about 1/ln(z/z0) (EN 1991-1-4, from memory), 5 m up, z0 0.05 m, 0.3 m and 1 m less shelter
TERRAINS = {"open country": (OPEN_COUNTRY, 0.2), "suburb": (SUBURB, 0.3), "city": (CITY, 0.4)}
TERRAIN_SHARES = (0.3, 0.5, 0.2)
SHELTERS = (1.0, 0.9, 0.9, 0.7)  # classes 1 to 3 (ASHRAE Handbook Fundamentals, chapter 16, table 9)


@dataclass(frozen=True, slots=True)
class Member:
    """A case and what it was drawn as; `fault` is None where none was planted."""

    case: Case
    wind: WindClass
    arrangement: Arrangement
    crew: Crew
    terrain: str
    exponent: float  # of EXPONENTS, the middle of its group
    fault: Kind | None


def family(
    count: int,
    seed: int,
    winds: Sequence[WindClass] = tuple(WINDS),
    arrangements: Sequence[Arrangement] = tuple(ARRANGEMENTS),
    crews: Sequence[Crew] = CREWS,
    fault_share: float = 0.0,
    kinds: Sequence[Kind] = KINDS,
    keep_trace: bool = False,
    mast: bool = False,
    beside: Sequence[Arrangement] = (),
) -> list[Member]:
    """Members drawn evenly over wind class, arrangement and crew, a share of them with one fault of the kinds given.

    Member i depends on seed and i alone, not on the count.
    """
    found = []
    cells = list(product(winds, arrangements, crews))
    for i in range(count):
        rng = np.random.default_rng([seed, i, 1])
        cell = cells[int(rng.integers(len(cells)))]
        kind = str(rng.choice(list(kinds))) if rng.random() < fault_share else None
        found.append(member(rng, *cell, kind, keep_trace, mast, beside))
    return found


def grid(
    each: int, seed: int, fault_share: float = 0.0, kinds: Sequence[Kind] = KINDS, keep_trace: bool = False
) -> list[Member]:
    """So many members of each cell of wind class, arrangement and crew (45 cells)."""
    found = []
    for i, cell in enumerate(product(WINDS, ARRANGEMENTS, CREWS)):
        for j in range(each):
            rng = np.random.default_rng([seed, i, j, 2])
            kind = str(rng.choice(list(kinds))) if rng.random() < fault_share else None
            found.append(member(rng, *cell, kind, keep_trace))
    return found


def member(
    rng: np.random.Generator,
    wind: WindClass,
    arrangement: Arrangement,
    crew: Crew,
    kind: Kind | None = None,
    keep_trace: bool = False,
    mast: bool = False,
    beside: Sequence[Arrangement] = (),
) -> Member:
    """One member of a cell, with one fault where a kind is given; lines `beside` have gauges of their own."""
    terrain = str(rng.choice(list(TERRAINS), p=TERRAIN_SHARES))
    exponent = float(rng.choice(EXPONENTS))
    where, intensity = TERRAINS[terrain]
    case = Case(
        house=_house(rng, exponent),
        air=Air(indoor_c=rng.uniform(18, 23), outdoor_c=rng.uniform(-10, 27), barometer_pa=rng.uniform(95e3, 103e3)),
        wind=Wind(
            rng.uniform(*WINDS[wind]),
            None,
            where,
            intensity,
            length_scale_m=rng.uniform(50, 100),
            slow_speed=rng.uniform(0.05, 0.25),
            slow_direction_deg=rng.uniform(5, 20),
        ),
        lines=tuple(ARRANGEMENTS[each](str(rng.choice(FACADES))) for each in (arrangement, *beside)),
        gauge=Gauge(averaging_s=int(rng.choice([1, 1, 5, 10]))),
        fan=Fan(),
        procedure=_procedure(rng, crew),
        keep_trace=keep_trace,
        mast=Mast(distance_m=float(rng.choice([20.0, 500.0, 5000.0]))) if mast else None,
    )
    if kind is not None:
        case = replace(case, faults=(a_fault(rng, case, kind),))
    planted = case.faults[0].kind if case.faults else None  # nothing can be copied where there is one baseline
    return Member(case, wind, arrangement, crew, terrain, exponent, planted)


def _house(rng: np.random.Generator, exponent: float) -> House:
    exponent = exponent + rng.normal(0.0, 0.015)
    flow_50_m3_h = np.exp(rng.uniform(np.log(700), np.log(4500)))
    shares = rng.dirichlet([6.0, 5.0, 6.0, 5.0, 7.0])  # walls and ceiling
    eaves_m = float(rng.choice([2.8, 5.2]))
    return House(
        coefficient_m3_h=flow_50_m3_h / 50**exponent,
        exponent=exponent,
        eaves_m=eaves_m,
        wall_shares=tuple(shares[:4]),
        ceiling_share=1 - shares[:4].sum(),
        wall_heights_m=(0.3, eaves_m / 2, eaves_m - 0.3),
        shelter=float(rng.choice(SHELTERS)),
        turned_deg=rng.uniform(0, 360),
        door=str(rng.choice(FACADES)),
    )


def _procedure(rng: np.random.Generator, crew: Crew) -> Procedure:
    """Few habits, so that many tests can be solved side by side."""
    baseline_s, station_s = [(30, 20), (60, 30), (120, 60)][int(rng.integers(3))]
    way = str(rng.choice(["depressurisation", "pressurisation"]))
    if crew == "single point":
        return single_point(baseline_s=baseline_s, station_s=station_s, directions=(way,))
    both = ("depressurisation", "pressurisation") if rng.random() < 0.5 else ("pressurisation", "depressurisation")
    control = str(rng.choice(["held", "controlled"]))
    directions = both if crew == "both directions" else (way,)
    return multi_point(baseline_s=baseline_s, station_s=station_s, directions=directions, control=control)


def a_fault(rng: np.random.Generator, case: Case, kind: Kind) -> Fault:
    """One fault of a kind, of a size that a programme would want to know of."""
    crew = case.procedure
    flow_50 = case.house.coefficient_m3_h * 50**case.house.exponent
    either = rng.choice([-1.0, 1.0])
    run = int(rng.integers(len(crew.directions)))
    moments = ["whole", "from points", "points"] + ["from baseline after"] * crew.baseline_after
    moment = str(rng.choice(moments))

    def size(low: float, high: float) -> float:
        return float(np.exp(rng.uniform(np.log(low), np.log(high))))

    match kind:
        case "water in the line":
            return plant.water(either * size(3, 40), moment, run)
        case "blocked line":
            lag = np.inf if rng.random() < 0.6 else size(10, 120)
            where = str(rng.choice(["gauge", "outdoor", "outdoor", "indoor"]))
            during = "whole" if rng.random() < 0.5 else "from points"
            return plant.blocked(where, lag, during, run, drift_pa_min=either * size(0.2, 3) if lag == np.inf else 0.0)
        case "line disconnected":
            start, stop = _points(case, run)
            return (
                plant.disconnected((float(rng.uniform(start, stop)), np.inf))
                if rng.random() < 0.7
                else (plant.disconnected("whole", run))
            )
        case "end in the fan's stream":
            return plant.in_fan_stream(either * size(2, 12))
        case "end on one facade":
            return plant.on_facade(either * size(0.2, 0.8))
        case "gauge gain":
            return plant.gain(either * size(0.03, 0.2))
        case "gauge drift":
            return plant.drift(either * size(1, 10))
        case "swapped channels":
            return plant.swapped(str(rng.choice(["record", "tubes"])))
        case "wrong sign":
            return plant.wrong_sign(str(rng.choice(["whole", "points"])), None if rng.random() < 0.5 else run)
        case "fan running":
            return plant.fan_running(flow_50 * size(0.05, 0.5), str(rng.choice(_baselines(crew))), run)
        case "fan uncovered":
            return plant.fan_uncovered(size(200, 560), "whole", None)
        case "exhaust running":
            return plant.exhaust(size(50, 400), "whole" if rng.random() < 0.5 else "points")
        case "opening moved":
            start, stop = _points(case, run)
            return plant.opening_moved(either * size(0.05, 0.4), (float(rng.uniform(start, stop)), np.inf))
        case "fan reference wrong":
            return plant.fan_reference_wrong(either)
        case "baseline missing" | "baseline zero":
            return plant.baseline(kind.removeprefix("baseline "), str(rng.choice(["whole", *_baselines(crew)])))
        case "baseline copied":
            return plant.baseline("copied" if crew.baseline_after else "zero")
        case "wrong opening":
            return _wrong_opening(rng, case)
        case "clock shift":
            return plant.clock_shift(either * size(60, 3600))
        case "duplicate":
            return plant.duplicate(float(rng.choice([1.0, 1.0, 0.5])), float(rng.choice([0.0, 0.5, 1.0])))
    raise ValueError(f"no such fault: {kind!r}")


def _baselines(crew: Procedure) -> list[str]:
    return ["baseline before"] + ["baseline after"] * crew.baseline_after


def _points(case: Case, run: int) -> tuple[float, float]:
    """First and last second in which something can change with a point on both sides."""
    points = [s for s in stretches(case.procedure) if s.run == run and s.station is not None and s.averaged]
    return (points[0].start_s, points[0].stop_s) if len(points) == 1 else (points[0].stop_s, points[-1].start_s)


def _wrong_opening(rng: np.random.Generator, case: Case) -> Fault:
    """Another opening claimed for all points, or for those of one opening where several were used."""
    used = sorted({opening_at(case, i) for i in range(len(case.procedure.targets_pa))})
    only = int(rng.choice(used)) if len(used) > 1 and rng.random() < 0.5 else -1
    low, high = (only, only) if only >= 0 else (used[0], used[-1])
    steps = [s for s in (-1, 1) if low + s >= 0 and high + s < len(case.fan.openings_m3_h)]
    return plant.wrong_opening(int(rng.choice(steps)), only)
