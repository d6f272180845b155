"""How sure the result of one test is: its interval and where that comes from, the best estimate in wind beside it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.beside import WORTH_SAYING_PERCENT
from interchange.analysis.uncertainty import PARTS, PRESSURES_PA, result_columns
from interchange.operations.judging import Judged
from interchange.report.how_sure import agreement_sentence, assumed_sentence, budget_sentence, prior_sentence
from interchange.report.section import Section
from interchange.table import Row, Table

_COLUMNS = (
    "at_pressure_pa",
    "result_flow_m3_h",
    "result_low_m3_h",
    "result_high_m3_h",
    "best_flow_m3_h",
    "best_low_m3_h",
    "best_high_m3_h",
)
_SAID_AT_PA = PRESSURES_PA[:2]  # [Pa] where parts are named


def how_sure(one: Judged, best: Mapping[str, NDArray[np.generic]]) -> Section:
    """A section on the one session of a batch, which has a result, with its best estimate in wind beside it."""
    result = {**one.leakage.session, **result_columns(one.budget, one.leakage.session)}
    table = Table(_COLUMNS, [_row(result, best, f"{pressure:.0f}", pressure) for pressure in PRESSURES_PA])
    return Section(
        f"How sure the result by {one.rules.reference} is (95 %)", tuple(filter(None, _lines(one, best))), table
    )


def _row(result: Mapping[str, NDArray[np.generic]], best: Mapping[str, NDArray[np.generic]], at: str, pa: float) -> Row:
    own = [_number(result, f"flow_{at}{end}_m3_h") for end in ("", "_full_low", "_full_high")]
    other = [_number(best, f"robust_flow_{at}{end}_m3_h") for end in ("", "_low", "_high")]
    return (pa, *(None if math.isnan(value) else value for value in (*own, *other)))


def _lines(one: Judged, best: Mapping[str, NDArray[np.generic]]) -> Iterator[str]:
    for place, pressure in enumerate(_SAID_AT_PA):
        parts = {name: 100.0 * float(one.budget.parts[name][0, place]) for name in PARTS}
        yield budget_sentence(pressure, parts, 100.0 * float(one.budget.total[0, place]))
    gear = one.budget.instruments
    gauge = f"gauge within {gear.gauge_pa[0]:g} Pa and {100.0 * gear.gauge_ratio[0]:g} %"
    fan = f"fan flow within {100.0 * gear.fan_ratio[0]:g} %"
    yield assumed_sentence(bool(gear.gauge_assumed[0]), bool(gear.fan_assumed[0]), gauge, fan)
    if math.isnan(_number(best, "robust_flow_50_m3_h")):
        return
    apart = {pressure: _number(best, f"robust_difference_{pressure:.0f}_percent") for pressure in _SAID_AT_PA}
    beyond = {pressure for pressure in _SAID_AT_PA if best[f"robust_differs_{pressure:.0f}"][0]}
    said = {p: percent for p, percent in apart.items() if p in beyond or abs(percent) > WORTH_SAYING_PERCENT[p]}
    yield agreement_sentence(said, not beyond)
    moved = _number(best, "robust_prior_moved_flow_10_percent")
    yield prior_sentence(_number(best, "robust_exponent_prior_share"), moved)


def _number(columns: Mapping[str, NDArray[np.generic]], name: str) -> float:
    return float(columns[name][0])
