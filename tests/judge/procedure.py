"""What the crew does and when: baselines, stations, one or both directions."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

Direction = Literal["depressurisation", "pressurisation"]
SIGN: dict[Direction, int] = {"depressurisation": -1, "pressurisation": 1}


@dataclass(frozen=True, slots=True)
class Procedure:
    """One run a direction: baseline, stations in the order of the targets, baseline.

    Targets are set on the first line's reading less its baseline. "held": the operator brings the fan there while the
    station settles, then leaves it alone. "controlled": a slow controller goes on through the averaging.
    """

    targets_pa: tuple[float, ...] = (60.0, 55.0, 50.0, 45.0, 40.0, 35.0, 30.0, 25.0, 20.0, 10.0)
    directions: tuple[Direction, ...] = ("depressurisation",)
    baseline_s: int = 60
    station_s: int = 30
    settle_s: int = 20
    pause_s: int = 60  # between the runs
    baseline_after: bool = True
    control: Literal["held", "controlled"] = "held"
    controller_s: float = 10.0  # integral time of the slow controller
    look_s: int = 5  # the operator looks this often, at a mean of about as long
    content_pa: float = 1.0  # and leaves a pressure alone that is this near the target


def multi_point(**changes) -> Procedure:
    """Ten stations from 60 Pa to 10 Pa, one direction unless told otherwise."""
    return replace(Procedure(), **changes)


def single_point(**changes) -> Procedure:
    """One station at 50 Pa after one baseline."""
    return replace(Procedure(targets_pa=(50.0,), baseline_after=False), **changes)


@dataclass(frozen=True, slots=True)
class Stretch:
    """Seconds [start, stop) in which the crew does one thing.

    `station` is the index of the target, None while the fan is off; `averaged` stretches make a point or baseline.
    """

    run: int
    station: int | None
    averaged: bool
    start_s: int
    stop_s: int


def stretches(procedure: Procedure) -> list[Stretch]:
    """The whole test, second by second."""
    found: list[Stretch] = []

    def add(run: int, station: int | None, averaged: bool, seconds: int) -> None:
        start = found[-1].stop_s if found else 0
        if seconds:
            found.append(Stretch(run, station, averaged, start, start + seconds))

    for run in range(len(procedure.directions)):
        add(run, None, False, procedure.pause_s if run else procedure.settle_s)
        add(run, None, True, procedure.baseline_s)
        for station in range(len(procedure.targets_pa)):
            add(run, station, False, procedure.settle_s)
            add(run, station, True, procedure.station_s)
        if procedure.baseline_after:
            add(run, None, False, procedure.settle_s)
            add(run, None, True, procedure.baseline_s)
    return found
