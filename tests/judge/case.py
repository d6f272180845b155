"""A case: everything that a family of tests has in common."""

from __future__ import annotations

from dataclasses import dataclass, field

from .fan import Fan
from .faults import Fault
from .gauges import Gauge
from .house import Air, House
from .lines import Line, open_end
from .mast import Mast
from .procedure import Procedure
from .wind import Wind


@dataclass(frozen=True, slots=True)
class Case:
    """By default: a two-storey house of 2543 m3/h at 50 Pa in a suburb, 4 m/s at the weather station from anywhere,
    12 K of stack, one open end on the north wall, ten stations of depressurisation with the fan held by hand.

    The crew goes by the first of the lines; the others are read beside it by gauges of the same kind.
    """

    house: House = field(default_factory=House)
    air: Air = field(default_factory=Air)
    wind: Wind = field(default_factory=Wind)
    lines: tuple[Line, ...] = (open_end(),)
    gauge: Gauge = field(default_factory=Gauge)
    fan: Fan = field(default_factory=Fan)
    procedure: Procedure = field(default_factory=Procedure)
    keep_trace: bool = False
    faults: tuple[Fault, ...] = ()
    mast: Mast | None = None  # where there is one, a weather record stands beside the test
