"""What wind and faults of line or handling have done to tests, as rows of the archive and as sentences for one test."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from interchange.analysis import reference_line
from interchange.analysis.reference_line import LineFaults
from interchange.analysis.wind_noise import LIMITS
from interchange.analysis.work import Work
from interchange.operations.judging import words
from interchange.quantities import CHOICES
from interchange.report.fault_sentences import fault_words
from interchange.report.section import Section
from interchange.report.wind import WindFound, wind_sentence

_FAULTS = CHOICES["line_fault"]
# Each flag: what is moved, by more than what, and whose error is told.
_FLAGS = {
    "wind_flow_50": ("the flow at 50 Pa", f"{100 * LIMITS.flow_50:g} %", "wind_error_50"),
    "wind_low": ("the flow at 10 Pa or the low points", f"{100 * LIMITS.flow_10:g} %", "wind_error_10"),
}


def fault_rows(ids: pa.Table, work: Work) -> pa.Table:
    """A row for each session and fault that its own record could show: state, probability, effects, onset."""
    found = reference_line.find(work)
    tables = []
    for name in _FAULTS:
        columns = {
            "line_fault": pa.repeat(pa.scalar(name), ids.num_rows),
            "line_fault_state": pa.array(words("line_fault_state", found.state[name]), pa.string()),
            "probability": found.probability[name],
            "effect_50_percent": found.effect_50_percent[name],
            "effect_10_percent": found.effect_10_percent[name],
            "onset_s": found.onset_s[name],
        }
        tables.append(pa.table({**{key: ids[key] for key in ids.column_names}, **columns}))
    return pa.concat_tables(tables)


def suspected(work: Work, estimate: Mapping[str, NDArray[np.generic]], reference: str) -> Section:
    """What wind and faults have probably done to the one session of a batch; at most two faults are named."""
    wind = [wind_sentence(found) for found in _wind(estimate)]
    faults = reference_line.find(work)
    asks = bool(faults.shown(0)) or any(sentence.action for sentence in wind)
    return Section(f"Wind and reference line, by {reference}", (*map(str, wind), *_faults(faults)), asks=asks)


def _wind(estimate: Mapping[str, NDArray[np.generic]]) -> Iterator[WindFound]:
    evidence = words("wind_evidence", estimate["wind_evidence"])[0] or ""
    for flag, (what, limit, error) in _FLAGS.items():
        yield WindFound(
            what,
            limit,
            _known(estimate, f"{flag}_probability"),
            _known(estimate, f"{error}_percent"),
            _known(estimate, f"{error}_low_percent"),
            _known(estimate, f"{error}_high_percent"),
            evidence,
        )


def _known(columns: Mapping[str, NDArray[np.generic]], name: str) -> float | None:
    value = float(columns[name][0])
    return None if math.isnan(value) else value


def _faults(found: LineFaults) -> Iterator[str]:
    shown = found.shown(0)
    numbers: dict[str, Any] = {name: float(values[0]) for name, values in found.evidence.items()}
    for name in shown:
        state = words("line_fault_state", found.state[name])[0]
        effects = (float(found.effect_50_percent[name][0]), float(found.effect_10_percent[name][0]))
        said = fault_words(name, numbers, *effects, found.else_it_could_be(0, name))
        grade = "retest advised" if state == "retest" else "note"
        yield f"{grade} ({100.0 * float(found.probability[name][0]):.0f} %): {said}"
    if not shown:
        yield "No fault of line or handling shows in this record, which is no proof that there was none."
