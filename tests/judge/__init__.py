"""The judge: fan-pressurisation tests of a simulated house whose leakage is known, to hold estimators against.

The judge is written from physics alone and shares nothing with the programme it judges: it imports neither an estimator
nor a detector nor the demo. Numbers name their source; "from memory" and "judgement" mark those nobody has looked up.

One test, several, or one of each case (test i is drawn from the seed and i alone, whatever stands beside it):

    test = simulate(Case(wind=Wind(7.0), keep_trace=True), numpy.random.default_rng(1))
    tests = many(Case(), 100, seed=1)
    tests = many_cases([Case(), Case(procedure=single_point())], seed=1)

Faults, with kind, onset, size and line known afterwards (`faults` lists the kinds and what their sizes mean):

    wet = Case(faults=(faults.water(8.0, "from points", run=0), faults.gain(0.02)))
    simulate(wet, rng).planted[0].onset_s

What wind or fault has done to the standard result, by twins with the same draws and one thing off:

    found = effects(wet, seed=1)             # of simulate(wet, default_rng(1))
    found.fault.flow_50_percent              # with the fault over without it, the wind on in both
    found.wind.flow_50_affected              # with the wind over without it, the fault in both
    found.wind_without_faults.low_affected   # the same of the test as it would have been without the fault
    still = clean_twin(wet, 1)               # the record with the wind off

Where a fault has wrecked the record (channels exchanged, a line that is off), `found.wind` compares two wrecks: use
`wind_without_faults`.

Scores over a family, for an estimator or a detector that sees what a crew sees:

    members = family(1000, seed=1, winds=("breezy", "windy"), fault_share=0.3, keep_trace=True)
    for member, each in zip(members, judged([m.case for m in members], seed=1)):
        score = detector(blind(each.test))
        truth = each.effects.flow_50_affected, member.fault, each.test.planted

An hour without a fan, lines side by side, a weather record beside them:

    case = Case(lines=(open_end(), several_facades()), mast=Mast(distance_m=500.0))
    hour = simulate_monitoring(case, 3600, rng)   # readings, hour.weather; hour.truth is the judge's

Who is judged may use of a `Simulated`: `runs`, `lines`, `indoor_c`, `outdoor_c`, `barometer_pa`, `weather` less its
true offset, `repeated`, and of the trace `time_s`, `pressure_pa`, `fan_pressure_pa`, `run`, `station`, `averaged`.
Forbidden: `truth`, `planted`, `wind_10m_m_s`, `wind_from_deg`, `residual`, `trace.true_*`, `trace.wind_*`,
`weather.true_clock_offset_s`, the `Case` and its faults, effects and twins. `blind` takes the forbidden fields out. Of
a `Monitoring`: forbidden are `truth` and what begins with `true_`.
"""

from . import faults
from .case import Case
from .families import Member, family, grid, member
from .fan import Fan
from .faults import Fault, Planted
from .gauges import Gauge
from .house import Air, House
from .lines import Line, branched_damped, open_end, several_facades, sheltered_end, yard_end
from .mast import Mast, WeatherRecord
from .monitoring import Monitoring, MonitoringTruth, simulate_monitoring
from .plain import Standard, standard
from .procedure import Procedure, multi_point, single_point
from .results import Run, Simulated, Trace, Truth, blind
from .simulation import many, many_cases, simulate
from .twins import Change, Effects, Judged, WindChange, clean_twin, effects, judged, many_effects
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
    "Member",
    "Monitoring",
    "MonitoringTruth",
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
    "family",
    "faults",
    "grid",
    "judged",
    "many",
    "many_cases",
    "many_effects",
    "member",
    "multi_point",
    "open_end",
    "several_facades",
    "sheltered_end",
    "simulate",
    "simulate_monitoring",
    "single_point",
    "standard",
    "yard_end",
]
