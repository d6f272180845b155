"""The judge: fan-pressurisation tests of a simulated house whose leakage is known, to hold estimators against.

`simulate(case, rng)` runs one test of a `Case`, `many(case, count, seed)` runs several. The judge is written from
physics alone and shares nothing with the programme it judges: it imports neither the estimator nor the demo.
Numbers name their source; "from memory" and "judgement" mark the ones nobody has looked up.
"""

from . import faults
from .case import Case
from .effects import Change, Effects, Judged, WindChange, clean_twin, effects, judged, many_effects
from .fan import Fan
from .faults import Fault, Planted
from .gauges import Gauge
from .house import Air, House
from .lines import Line, branched_damped, open_end, several_facades, sheltered_end, yard_end
from .mast import Mast, WeatherRecord
from .plain import Standard, standard
from .procedure import Procedure, multi_point, single_point
from .results import Run, Simulated, Trace, Truth, blind
from .simulation import many, many_cases, simulate
from .wind import CITY, OPEN_COUNTRY, SUBURB, WATER, Terrain, Wind

__all__ = [
    "CITY",
    "OPEN_COUNTRY",
    "SUBURB",
    "WATER",
    "Air",
    "Case",
    "Change",
    "Effects",
    "Fan",
    "Fault",
    "Gauge",
    "House",
    "Judged",
    "Line",
    "Mast",
    "Planted",
    "Procedure",
    "Run",
    "Simulated",
    "Standard",
    "Terrain",
    "Trace",
    "Truth",
    "WeatherRecord",
    "Wind",
    "WindChange",
    "blind",
    "branched_damped",
    "clean_twin",
    "effects",
    "faults",
    "judged",
    "many",
    "many_cases",
    "many_effects",
    "multi_point",
    "open_end",
    "several_facades",
    "sheltered_end",
    "simulate",
    "single_point",
    "standard",
    "yard_end",
]
