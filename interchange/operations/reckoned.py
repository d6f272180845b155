"""What is reckoned from a result and not measured: leakage for the size of the house, reported values elsewhere."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence

from interchange.analysis import conversion
from interchange.analysis.conversion import Converted, Exponent
from interchange.analysis.handbook import ELA_AIR_DENSITY_KG_M3
from interchange.analysis.reported_areas import AREA_PAIRS
from interchange.model.session import Session
from interchange.operations.judging import Judged
from interchange.quantities import FAIL, QUANTITIES
from interchange.report.heads import Units, shown, with_unit

FLOW_PRESSURES_PA = (75.0, 50.0, 25.0, 10.0, 4.0)  # [Pa] at which programmes state flows
SAME_PRESSURE_PA = 0.5  # [Pa] a flow is not carried to a pressure this near
_FOR_SIZE = {
    "air_permeability_50_m3_h_m2": "flow at 50 Pa over envelope area {}",
    "specific_leakage_rate_50_m3_h_m2": "flow at 50 Pa over floor area {}",
    "specific_leakage_area": "specific leakage area {} (4 Pa, coefficient 1, over floor area)",
    "normalised_leakage": "normalised leakage {} (that times 1000, brought to a height of 2.5 m)",
}


def size_line(one: Judged, units: Units) -> Iterator[str]:
    """Leakage of one test for the size of its house by a rule set: one line, none where no size is recorded."""
    parts = []
    for name, words in _FOR_SIZE.items():
        value = float(one.leakage.session[name][0])
        if not math.isnan(value):
            told = shown(name, value, units) if QUANTITIES[name].ucum == "1" else with_unit(name, value, units)
            parts.append(words.format(told))
    if parts:
        yield f"For the size of the house by {one.rules.reference}: {', '.join(parts)}."


def reported_elsewhere(session: Session, assessed: Sequence[Judged], units: Units) -> Iterator[str]:
    """The reported result of one test at other pressures, with what its exponent leaves open.

    None where nothing is reported to start from, or where the reported values contradict each other.
    """
    said, volume = session.reported, session.building.volume_m3
    flow, pressure = said.reported_flow_m3_h, said.reported_flow_pressure_pa
    if flow is None or pressure is None:
        rate = said.reported_air_change_50_per_h
        if rate is None or volume is None:
            return
        flow, pressure = float(conversion.flow_of_air_changes(rate, volume, 50.0, 50.0, 0.0, 0.0).value), 50.0
    if any(check.level[0] == FAIL for one in assessed for check in one.checks.values()):
        yield "Not carried to other pressures, because the reported values contradict each other."
        return
    reported = math.nan if said.reported_exponent is None else said.reported_exponent
    exponent = conversion.exponent_of(reported, said.reported_exponent_assumed is True)
    flows = [
        _told(conversion.flow_at(flow, pressure, to, exponent.value, exponent.sd), "flow_50_m3_h", units)
        + f" at {to:g} Pa"
        for to in FLOW_PRESSURES_PA
        if abs(to - pressure) > SAME_PRESSURE_PA
    ]
    yield f"flow: {', '.join(flows)}"
    areas = [
        _told(
            conversion.area_of_flow(flow, pressure, to, discharge, ELA_AIR_DENSITY_KG_M3, exponent.value, exponent.sd),
            "leakage_area_m2",
            units,
        )
        + f" at {to:g} Pa with discharge coefficient {discharge:g}"
        for to, discharge in AREA_PAIRS
    ]
    yield f"leakage area: {', '.join(areas)}"
    yield f"In brackets what the exponent leaves open (95 %): {_which(exponent)}."


def _told(found: Converted, name: str, units: Units) -> str:
    low, high = (shown(name, float(end), units) for end in (found.low, found.high))
    return f"{with_unit(name, float(found.value), units)} ({low} to {high})"


def _which(exponent: Exponent) -> str:
    value, sd = f"{float(exponent.value):.2f}", f"{float(exponent.sd):.2f}"
    if exponent.assumed:
        return f"{value} +- {sd} assumed, as houses have it"
    return f"{value} as reported, +- {sd} taken for its standard error, which is not stated"
