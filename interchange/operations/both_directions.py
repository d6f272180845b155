"""Both directions of one test, each reckoned by itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np

from interchange.analysis.apart import runs_apart
from interchange.analysis.batch import Batch
from interchange.analysis.uncertainty import PARTS
from interchange.analysis.work import DEPRESSURISATION, PRESSURISATION, floats
from interchange.archive import batches
from interchange.archive.batches import Loaded
from interchange.archive.store import Store
from interchange.model.ruleset import RuleSet
from interchange.operations.halves import Half
from interchange.operations.judging import Judged, judge
from interchange.quantities import CHOICES

_BASELINES = ("baseline_before_pressure_pa", "baseline_after_pressure_pa")
OF_THIS_TEST = "of this test"  # stands for a serial number that is not recorded: one test has one set of gear


@dataclass(frozen=True, slots=True)
class Directions:
    """The first run of each direction that gives a flow, as if it were a test; whether both took off one baseline."""

    depressurised: Half
    pressurised: Half
    same_zero: bool


def both_directions(root: Path, version: int, tests: Sequence[Half], rule_sets: Sequence[RuleSet]) -> list[Directions]:
    """Both directions of the tests given, by the rule set that each has its result by.

    Tests of which one direction gives no flow are left out.
    """
    if not tests:
        return []
    snapshot = Store.open(root).snapshot(version)
    by_id = {half.session_id: half for half in tests}
    return [
        one
        for loaded in batches.load(snapshot, {"session_id": list(by_id)})
        for rules in rule_sets
        for one in _of_batch(loaded, rules, by_id)
    ]


def _of_batch(loaded: Loaded, rules: RuleSet, by_id: dict[str, Half]) -> Iterator[Directions]:
    apart, owner = runs_apart(loaded.batch)
    assessed = judge(apart, rules)
    ids = loaded.session_ids.to_pylist()
    usable = np.isfinite(floats(assessed.leakage.session["flow_50_m3_h"]))
    first: list[dict[int, int]] = [{} for _ in ids]
    for run in np.flatnonzero(usable).tolist():
        first[owner[run]].setdefault(int(apart.run["direction"][run]), run)
    for session, runs in enumerate(first):
        half = by_id[ids[session]]
        if half.rule_set == rules.reference and runs.keys() >= {DEPRESSURISATION, PRESSURISATION}:
            down, up = runs[DEPRESSURISATION], runs[PRESSURISATION]
            yield Directions(_run(half, assessed, down), _run(half, assessed, up), _same_zero(apart, down, up))


def _run(half: Half, assessed: Judged, run: int) -> Half:
    """The test as one of its runs shows it."""
    result = assessed.leakage.session
    return replace(
        half,
        flow_50_m3_h=float(floats(result["flow_50_m3_h"])[run]),
        highest_pressure_pa=float(floats(result["highest_pressure_pa"])[run]),
        direction_used=CHOICES["direction_used"][int(floats(result["direction_used"])[run])],
        parts=tuple(100.0 * float(assessed.budget.parts[name][run, 0]) for name in PARTS),
        gauge_serial=half.gauge_serial or OF_THIS_TEST,
        fan_serial=half.fan_serial or OF_THIS_TEST,
    )


def _same_zero(batch: Batch, down: int, up: int) -> bool:
    """Whether one baseline stands in both runs."""
    pairs = [floats(batch.run[name])[[down, up]] for name in _BASELINES]
    known = [values for values in pairs if np.isfinite(values).any()]
    return bool(known) and all(values[0] == values[1] for values in known)
