"""The judge: fan-pressurisation tests of a simulated house whose leakage is known, to hold estimators against.

`simulate(case, rng)` runs one test of a `Case`, `many(case, count, seed)` runs several. The judge is written from
physics alone and shares nothing with the programme it judges: it imports neither the estimator nor the demo.
Numbers name their source; "from memory" and "judgement" mark the ones nobody has looked up.
"""

from .case import Case
from .fan import Fan
from .gauges import Gauge
from .house import Air, House
from .lines import Line, branched_damped, open_end, several_facades, sheltered_end, yard_end
from .procedure import Procedure, multi_point, single_point
from .results import Run, Simulated, Trace, Truth
from .simulation import many, simulate
from .wind import CITY, OPEN_COUNTRY, SUBURB, WATER, Terrain, Wind

__all__ = [
    "CITY",
    "OPEN_COUNTRY",
    "SUBURB",
    "WATER",
    "Air",
    "Case",
    "Fan",
    "Gauge",
    "House",
    "Line",
    "Procedure",
    "Run",
    "Simulated",
    "Terrain",
    "Trace",
    "Truth",
    "Wind",
    "branched_damped",
    "many",
    "multi_point",
    "open_end",
    "several_facades",
    "sheltered_end",
    "simulate",
    "single_point",
    "yard_end",
]
