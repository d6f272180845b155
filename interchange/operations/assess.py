"""The `assess` command: the best estimate in wind of every test, and what wind and faults have done to it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa
from numpy.typing import NDArray

from interchange.analysis import beside, chain, robust, uncertainty, wind
from interchange.analysis.robust import PRIOR, Prior
from interchange.analysis.traces import Traced
from interchange.analysis.uncertainty import Budget
from interchange.analysis.work import Work
from interchange.archive import batches, derived, query, registers, traced
from interchange.archive.store import Store
from interchange.model.ruleset import RuleSet
from interchange.operations.judging import applies, budget_of, words
from interchange.operations.recompute import Recomputed, recompute_archive
from interchange.operations.references import DISPLAYED
from interchange.operations.rules import load_rule_sets
from interchange.operations.suspicions import fault_rows
from interchange.quantities import CHOICES
from interchange.report.heads import Units
from interchange.table import Row, Table, counted

_REFERENCE = "reference_conditions"


@dataclass(frozen=True, slots=True)
class Estimated:
    """Which version of the archive was gone through, by the corrections of which rule sets, with which prior."""

    version: int
    rule_sets: tuple[str, ...]
    units: Units
    prior: Prior


def best_estimate(
    rules: RuleSet,
    work: Work,
    result: Mapping[str, NDArray[np.generic]],
    budget: Budget,
    *,
    prior: Prior = PRIOR,
    told: Traced | None = None,
) -> dict[str, NDArray[np.generic]]:
    """The best estimate in wind of each session, from readings as the rule set corrects them, beside its result."""
    reference: Mapping[str, Any] = next((step.arguments for step in rules.steps if step.name == _REFERENCE), {})
    unrecorded = np.nan_to_num(np.hypot(*(budget.parts[name][:, 0] for name in uncertainty.OF_AIR)))
    found = robust.estimate(
        work, prior=prior, instruments=budget.instruments, unrecorded_sd=unrecorded, traced=told, **reference
    )
    believed = {
        "robust_prior_exponent": np.full(work.batch.run_offsets.size - 1, prior.exponent),
        "robust_prior_exponent_sd": np.full(work.batch.run_offsets.size - 1, prior.exponent_sd),
    }
    moved = wind.affected(work, result, found, prior=prior, traced=told)
    columns = {**found.session, **believed, **moved.session}
    return {**columns, **beside.differences(result, budget, found.session)}


def assess_archive(
    root: Path, *, exponent: tuple[float, float] | None = None, progress: Callable[[str], None] = lambda _: None
) -> Estimated:
    """Estimate every current test by the corrections of each rule set of the archive that judges its kind.

    `exponent` is the mean and the standard deviation of exponents among such houses, what is usual if None; a later run
    with another one replaces the estimates.
    Raises RuleSetError before anything is computed, ArchiveError where the archive cannot be read or written.
    """
    prior = PRIOR if exponent is None else replace(PRIOR, exponent=exponent[0], exponent_sd=exponent[1])
    store = Store.open(root)
    chosen = [rules for rules in load_rule_sets(store.settings.rule_sets) if estimates(rules)]
    snapshot = store.snapshot()
    register = registers.calibrations(store.root)
    kinds = sorted({kind for rules in chosen for kind in rules.applies_to})
    pieces: dict[str, list[pa.Table]] = {rules.reference: [] for rules in chosen}
    faults: dict[str, list[pa.Table]] = {rules.reference: [] for rules in chosen}
    count = 0
    for loaded in batches.load(snapshot, {"kind": kinds}, register.rows):
        told = traced.of_batch(snapshot, loaded)
        shared = chain.Shared()
        for rules in chosen:
            work = chain.follow(loaded.batch, rules.steps, rules.applies_to, shared=shared)
            plain = chain.leakage(work).session
            columns = best_estimate(rules, work, plain, budget_of(work), prior=prior, told=told)
            columns["wind_evidence"] = words("wind_evidence", columns["wind_evidence"])
            ids = pa.table({"session_id": loaded.session_ids, "revision": loaded.revisions})
            wanted = pa.array(applies(loaded.batch, rules))
            table = pa.table({**{name: ids[name] for name in ids.column_names}, **columns})
            pieces[rules.reference].append(table.filter(wanted))
            repeated = pa.concat_arrays([wanted] * len(CHOICES["line_fault"]))
            faults[rules.reference].append(fault_rows(ids, work).filter(repeated))
        count += len(loaded.session_ids)
        progress(f"assessed {count} tests")
    parts: dict[derived.Kind, dict[str, list[pa.Table]]] = {"estimates": pieces, "faults": faults}
    for kind, by_rules in parts.items():
        for reference, tables in by_rules.items():
            if tables:
                table = pa.concat_tables(tables)
                derived.write(store.root, kind, reference, snapshot.log.tests_number, table, register.fingerprint)
    return Estimated(snapshot.version, tuple(pieces), store.settings.units, prior)


def recompute_and_assess(root: Path, progress: Callable[[str], None] = lambda _: None) -> Recomputed:
    """Bring everything that is derived up to the newest version, by the archive's own rule sets.

    Raises as `recompute_archive` does.
    """
    done = recompute_archive(root, progress=progress)
    assess_archive(root, progress=progress)
    return done


def estimates(rules: RuleSet) -> bool:
    """Whether tests are estimated by the corrections of a rule set: it corrects, and gives a verdict."""
    return rules.judges and bool(rules.steps) and rules.reference != DISPLAYED


_DIFFERS = " or ".join(
    f"robust_differs_{pressure:.0f} or abs(robust_difference_{pressure:.0f}_percent) > {percent}"
    for pressure, percent in beside.WORTH_SAYING_PERCENT.items()
)
_DIFFERING = f"""
select s.job_id, s.stage, e.rule_set, r.flow_50_m3_h, e.robust_flow_50_m3_h, e.robust_difference_50_percent,
       r.flow_10_m3_h, e.robust_flow_10_m3_h, e.robust_difference_10_percent, e.session_id
from estimates e
join sessions s using (session_id)
join results r on r.session_id = e.session_id and r.rule_set = e.rule_set
where {_DIFFERS}
order by abs(e.robust_difference_50_percent) desc, s.job_id, e.session_id
"""
_COUNTS = """
select count(*) filter (where robust_flow_50_m3_h is not null), count(*) filter (where robust_flow_50_m3_h is null)
from estimates
"""


def differing_table(root: Path, done: Estimated) -> Table:
    """A row for each test whose best estimate in wind differs from the result by what matters, or beyond noise."""
    answer = query.query(root, _DIFFERING, done.version)
    rows: list[Row] = [tuple(row) for row in answer.rows]
    ((there, without),) = query.query(root, _COUNTS, done.version).rows
    limits = " or ".join(
        f"{percent:g} % at {pressure:g} Pa" for pressure, percent in beside.WORTH_SAYING_PERCENT.items()
    )
    notes = [
        f"{counted(there, 'result')} stand beside a best estimate in wind; in the {len(rows)} listed the two differ by "
        f"more than {limits}, or by more than the noise of the readings explains.",
        f"Exponents of such houses were taken to be {done.prior.exponent:g} with a standard deviation of "
        f"{done.prior.exponent_sd:g}.",
    ]
    left_out = [f"{counted(without, 'test')} without an estimate: no usable point"] if without else []
    return Table(answer.columns, rows, left_out, notes)
