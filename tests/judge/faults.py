"""Faults of a test, planted with onset, size and place known.

What `size`, `where` and `extra` mean, by kind (each has a function below that fills them in):

    water in the line        size [Pa] added to the reading; extra [Pa]: smaller changes outdoors do not move the slug
    blocked line             size [s] time constant, inf where nothing passes; where "gauge" (reading stands still),
                             "outdoor" (only what comes from outdoors), "indoor" (only what comes from the house);
                             extra [Pa/min] drift of shut-in air that warms
    line disconnected        the gauge compares the room with itself and reads nought
    end in the fan's stream  size [Pa] taken off the reading at the still-air flow of 50 Pa, with flow squared;
                             extra: rms of its fast noise over its mean
    end on one facade        size: pressure coefficient the end feels beside its own (negative: suction)
    gauge gain               size: relative error of the reading
    gauge drift              size [Pa] reached at the end of the window, from nought at its beginning
    swapped channels         where "record" (the crew saw the right ones) or "tubes" (the crew went by the wrong one)
    wrong sign               readings written with the other sign
    fan running              size [m3/h] moved by the fan while it should be off
    fan uncovered            size [m3/(h Pa^0.5)] of the open fan while it should be covered
    exhaust running          size [m3/h] blown out by an appliance
    opening moved            size: relative change of the leakage coefficient
    fan reference wrong      size: part of the pressure across the door added to the fan pressure, +1 or -1
    baseline missing, baseline copied (after = before), baseline zero
    wrong opening            size: steps from the opening used to the one claimed; extra: the opening concerned, -1 all
    clock shift              size [s] added to the recorded times
    duplicate                size: share of the stations the second record keeps; extra [Pa]: its resolution

References
----------
[1] Water: 9.80665 Pa a millimetre of column. A slug in a tube of 5 mm bore sticks until the pressure across it changes
    by 4 sigma/d (cos receding - cos advancing), 0.0728 N/m, a difference of 0.1 (from memory): 6 Pa, so 3 Pa each way.
[2] Shut-in air follows p/T: 0.01 K is 3.5 Pa, so a blocked line drifts by pascals a minute (ideal gas).
[3] An open fan: 0.6 x 0.2 m2 x (2/1.2)^(1/2) x 3600 = 560 m3/(h Pa^0.5) (orifice equation; size of a fan: judgement).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

import numpy as np

from .procedure import Stretch

Kind = Literal[
    "water in the line",
    "blocked line",
    "line disconnected",
    "end in the fan's stream",
    "end on one facade",
    "gauge gain",
    "gauge drift",
    "swapped channels",
    "wrong sign",
    "fan running",
    "fan uncovered",
    "exhaust running",
    "opening moved",
    "fan reference wrong",
    "baseline missing",
    "baseline copied",
    "baseline zero",
    "wrong opening",
    "clock shift",
    "duplicate",
]
KINDS: tuple[Kind, ...] = get_args(Kind)

Moment = Literal["whole", "baseline before", "points", "from points", "baseline after", "from baseline after"]
During = Moment | tuple[float, float]


@dataclass(frozen=True, slots=True)
class Fault:
    """One fault.

    `during` is a part of the test, or seconds (from, until); "from ..." lasts to the end of the whole test. `run` is
    the run that part belongs to, None for each of them. `line` is the line concerned, 0 the one the crew goes by.
    """

    kind: Kind
    size: float = 0.0
    during: During = "whole"
    run: int | None = None
    line: int = 0
    where: str = ""
    extra: float = 0.0

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"no such fault: {self.kind!r}, expected one of {KINDS}")
        if not isinstance(self.during, tuple) and self.during not in get_args(Moment):
            raise ValueError(f"no such part of a test: {self.during!r}, expected one of {get_args(Moment)} or seconds")


@dataclass(frozen=True, slots=True)
class Planted:
    """A fault as it took place: `spans_s` are its windows, the first begins at `onset_s`."""

    fault: Fault
    spans_s: tuple[tuple[float, float], ...]

    @property
    def kind(self) -> Kind:
        return self.fault.kind

    @property
    def onset_s(self) -> float:
        return self.spans_s[0][0]

    @property
    def size(self) -> float:
        return self.fault.size

    @property
    def line(self) -> int:
        return self.fault.line


STICK_PA = 3.0  # [1]


def water(size_pa: float, during: During = "whole", run: int | None = None, line: int = 0, stick_pa=STICK_PA) -> Fault:
    """A slug of water: an offset of either sign, and no small changes from outdoors."""
    return Fault("water in the line", size_pa, during, run, line, extra=stick_pa)


def blocked(
    where: Literal["gauge", "outdoor", "indoor"] = "outdoor",
    time_constant_s: float = np.inf,
    during: During = "whole",
    run: int | None = None,
    line: int = 0,
    drift_pa_min: float = 0.0,
) -> Fault:
    """A blocked tube, or with a finite time constant a pinched one."""
    return Fault("blocked line", time_constant_s, during, run, line, where, drift_pa_min)


def disconnected(during: During = "whole", run: int | None = None, line: int = 0) -> Fault:
    """The tube has come off the gauge. A crew that goes by this line opens the fan up to what the opening gives."""
    return Fault("line disconnected", during=during, run=run, line=line)


def in_fan_stream(size_pa: float, noise: float = 0.3, run: int | None = None, line: int = 0) -> Fault:
    """The outdoor end in the stream of the fan; the noise of a jet is 0.2 to 0.3 of its speed (from memory)."""
    return Fault("end in the fan's stream", size_pa, "whole", run, line, extra=noise)


def on_facade(coefficient: float, line: int = 0) -> Fault:
    """An end that feels the wind on one facade beside what its line is meant to feel."""
    return Fault("end on one facade", coefficient, line=line)


def gain(size: float, line: int = 0) -> Fault:
    """A gauge that reads too much or too little by a share."""
    return Fault("gauge gain", size, line=line)


def drift(size_pa: float, during: During = "whole", run: int | None = None, line: int = 0) -> Fault:
    """The zero of the gauge creeps."""
    return Fault("gauge drift", size_pa, during, run, line)


def swapped(where: Literal["record", "tubes"] = "record", run: int | None = None, line: int = 0) -> Fault:
    """House pressure and fan pressure exchanged; the flow is then worked out from the size of the house pressure."""
    return Fault("swapped channels", run=run, line=line, where=where)


def wrong_sign(during: During = "whole", run: int | None = None, line: int = 0) -> Fault:
    """The other sign: of everything (tubes exchanged at the gauge) or of the points alone (typed without sign)."""
    return Fault("wrong sign", during=during, run=run, line=line)


def fan_running(flow_m3_h: float, during: During = "baseline before", run: int | None = 0) -> Fault:
    """The fan still turns while a baseline is taken."""
    return Fault("fan running", flow_m3_h, during, run)


def fan_uncovered(coefficient_m3_h: float = 560.0, during: During = "whole", run: int | None = None) -> Fault:
    """The fan is an open hole while a baseline is taken [3]."""
    return Fault("fan uncovered", coefficient_m3_h, during, run)


def exhaust(flow_m3_h: float, during: During = "whole", run: int | None = None) -> Fault:
    """An appliance blows out of the house."""
    return Fault("exhaust running", flow_m3_h, during, run)


def opening_moved(size: float, during: During) -> Fault:
    """A window or door is opened or shut: the leakage coefficient of the whole house changes by a share."""
    return Fault("opening moved", size, during, 0)


def fan_reference_wrong(size: float = 1.0, run: int | None = None) -> Fault:
    """The fan's reference tube ends on the wrong side of the door.

    With the sensing holes on the inlet the pressure across the door is added (+1), on the outlet taken off (-1).
    """
    return Fault("fan reference wrong", size, run=run)


def baseline(
    how: Literal["missing", "copied", "zero"],
    which: Literal["whole", "baseline before", "baseline after"] = "whole",
    run: int | None = None,
) -> Fault:
    """A baseline not written down, written as the other one, or as nought by habit; traces keep the true seconds."""
    kinds: dict[str, Kind] = {"missing": "baseline missing", "copied": "baseline copied", "zero": "baseline zero"}
    return Fault(kinds[how], during=which, run=run)


def wrong_opening(steps: int, only: int = -1, run: int | None = None) -> Fault:
    """The record claims another opening, and the flow is worked out with its coefficient."""
    return Fault("wrong opening", steps, run=run, extra=only)


def clock_shift(seconds: float) -> Fault:
    """The clock of the gauge is off against the weather record."""
    return Fault("clock shift", seconds)


def duplicate(share: float = 1.0, resolution_pa: float = 0.0) -> Fault:
    """A second record of the same readings, `Simulated.repeated`; resolution 0 keeps the digits."""
    return Fault("duplicate", share, extra=resolution_pa)


def planted(fault: Fault, plan: list[Stretch]) -> Planted:
    """Where in the plan a fault takes place."""
    end = plan[-1].stop_s
    if isinstance(fault.during, tuple):
        return Planted(fault, ((max(fault.during[0], 0.0), min(fault.during[1], float(end))),))
    runs = sorted({s.run for s in plan}) if fault.run is None else [fault.run]
    spans = [_span(fault.during, [s for s in plan if s.run == run], end) for run in runs]
    there: list[tuple[float, float]] = []
    for start, stop in sorted(span for span in spans if span[1] > span[0]):
        if there and start <= there[-1][1]:
            there[-1] = there[-1][0], max(float(stop), there[-1][1])
        else:
            there.append((float(start), float(stop)))
    if not there:
        raise ValueError(f"{fault.kind}: this test has no {fault.during!r} in run {fault.run}")
    return Planted(fault, tuple(there))


def _span(during: Moment, run: list[Stretch], end: int) -> tuple[int, int]:
    """First and last second of a part of one run (the settling before it included)."""
    if during == "whole":
        return run[0].start_s, run[-1].stop_s
    points = [s for s in run if s.station is not None]
    first, last = (points[0].start_s, points[-1].stop_s) if points else (run[-1].stop_s, run[-1].stop_s)
    return {
        "baseline before": (run[0].start_s, first),
        "points": (first, last),
        "from points": (first, end),
        "baseline after": (last, run[-1].stop_s),
        "from baseline after": (last, end if run[-1].stop_s > last else last),
    }[during]
