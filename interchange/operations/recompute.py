"""Recomputes, checks and judges a whole archive, and lists what came out beside what was displayed and reported."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
import pyarrow as pa

from interchange.analysis import chain, uncertainty
from interchange.analysis.leakage import SHARES
from interchange.archive import batches, derived, query, registers
from interchange.archive.batches import Loaded
from interchange.archive.store import Store
from interchange.model.ruleset import RuleSet
from interchange.operations.judging import Judged, applies, judge, words
from interchange.operations.references import DISPLAYED, REPORTED
from interchange.operations.rules import load_rule_sets, raise_faults
from interchange.quantities import CHOICES, FAIL, SUSPECT
from interchange.report.heads import Units
from interchange.report.notes import note_sentence
from interchange.report.sentences import check_sentence
from interchange.table import Row, Table, counted

_CODED = ("direction_used", "exponent_assumed", "points_found_in_trace")


@dataclass(frozen=True, slots=True)
class Recomputed:
    """Which rule sets were followed on which version of the archive."""

    version: int
    rule_sets: tuple[str, ...]
    units: Units
    thresholds: bool = False
    notes: tuple[str, ...] = ()


@dataclass(slots=True)
class _Collected:
    """Derived tables of one rule set, a piece for each batch."""

    results: list[pa.Table] = field(default_factory=list)
    checks: list[pa.Table] = field(default_factory=list)
    verdicts: list[pa.Table] = field(default_factory=list)


def recompute_archive(
    root: Path,
    rule_sets: Sequence[str] | None = None,
    *,
    progress: Callable[[str], None] = lambda _: None,
) -> Recomputed:
    """Recompute every current test by each rule set that is for its kind, and keep results, checks and verdicts.

    `rule_sets` are references (`iso9972@2015`) or paths of files; the archive's own where none are given. Raises
    RuleSetError before anything is computed, ArchiveError where the archive cannot be read or written.
    """
    store = Store.open(root)
    chosen = load_rule_sets(rule_sets or store.settings.rule_sets)
    for rules in chosen:
        raise_faults(rules)
    snapshot = store.snapshot()
    register = registers.calibrations(store.root)
    collected = {rules.reference: _Collected() for rules in chosen}
    kinds = sorted({kind for rules in chosen for kind in rules.applies_to})
    count, zones = 0, set[str]()
    for loaded in batches.load(snapshot, {"kind": kinds}, register.rows):
        zones.update(zone.strip() for zone in loaded.climate_zones.unique().to_pylist() if zone)
        shared = chain.Shared()
        for rules in chosen:
            _collect(loaded, rules, collected[rules.reference], shared)
        count += _recomputed(loaded, chosen)
        progress(f"recomputed {count} tests")
    for reference, pieces in collected.items():
        tables: dict[derived.Kind, list[pa.Table]] = {
            "results": pieces.results,
            "checks": pieces.checks,
            "verdicts": pieces.verdicts,
        }
        for kind, some in tables.items():
            if some:
                table = pa.concat_tables(some)
                derived.write(store.root, kind, reference, snapshot.log.tests_number, table, register.fingerprint)
    asked = any(rules.thresholds for rules in chosen)
    notes = tuple(note for rules in chosen for note in _zones_of_no_test(rules, zones))
    return Recomputed(snapshot.version, tuple(collected), store.settings.units, asked, notes)


def _zones_of_no_test(rules: RuleSet, recorded: set[str]) -> list[str]:
    """Climate zones of thresholds that no test is recorded in: perhaps the records spell them in another way."""
    known = {zone.casefold() for zone in recorded}
    asked = dict.fromkeys(zone.strip() for threshold in rules.thresholds for zone in threshold.climate_zones)
    there = ", ".join(sorted(recorded)) or "none"
    return [
        f"climate zone '{zone}' of {rules.reference}: no test is recorded in it (recorded: {there})"
        for zone in asked
        if zone.casefold() not in known
    ]


def _recomputed(loaded: Loaded, chosen: Sequence[RuleSet]) -> int:
    """Tests of a batch that some rule set recomputes; of results without readings there are only checks."""
    by_rules = [applies(loaded.batch, rules) for rules in chosen if rules.steps]
    return int(np.any(by_rules, axis=0).sum()) if by_rules else 0


def _collect(loaded: Loaded, rules: RuleSet, into: _Collected, shared: chain.Shared) -> None:
    assessed = judge(loaded.batch, rules, loaded.climate_zones.to_pylist() if rules.thresholds else None, shared)
    wanted = pa.array(applies(loaded.batch, rules))
    ids = pa.table({"session_id": loaded.session_ids, "revision": loaded.revisions})
    computed = wanted if rules.steps else pa.array(np.zeros(ids.num_rows, dtype=np.bool_))
    into.results.append(_results(ids, assessed).filter(computed))
    into.checks += [_checks(ids, assessed, name).filter(wanted) for name in assessed.checks]
    into.verdicts += [_verdicts(ids, assessed, use).filter(wanted) for use in assessed.verdicts]


def _results(ids: pa.Table, assessed: Judged) -> pa.Table:
    columns: dict[str, Any] = dict(assessed.leakage.session)
    columns |= uncertainty.result_columns(assessed.budget, assessed.leakage.session)
    for name in _CODED:
        columns[name] = _coded(name, assessed.leakage.session[name])
    columns["note"] = pa.array(assessed.leakage.notes(), pa.string())
    columns["conforms"] = _coded("conforms", assessed.conformity.conforms)
    columns["threshold_value"] = assessed.conformity.value
    columns["threshold_limit"] = assessed.conformity.limit
    columns["conforms_because"] = pa.array(assessed.conformity_words(), pa.string())
    return _beside(ids, columns)


def _checks(ids: pa.Table, assessed: Judged, name: str) -> pa.Table:
    check = assessed.checks[name]
    reasons: list[str | None] = [None] * ids.num_rows
    for session in assessed.worth_saying(name):
        reasons[session] = check_sentence(assessed.finding(name, session)).finding
    return _beside(
        ids,
        {
            "check_name": _repeated(name, ids.num_rows),
            "level": check.level.astype(np.int64),
            "value": check.value,
            "limit_value": check.limit,
            "effect_percent": check.effect_percent,
            "reason": pa.array(reasons, pa.string()),
        },
    )


def _verdicts(ids: pa.Table, assessed: Judged, use: str) -> pa.Table:
    found = assessed.verdicts[use]
    return _beside(
        ids,
        {
            "use": _repeated(use, ids.num_rows),
            "verdict": _coded("verdict", found.verdict),
            "because_of": pa.array(found.reason_texts(), pa.string()),
        },
    )


def _beside(ids: pa.Table, columns: dict[str, Any]) -> pa.Table:
    return pa.table({**{name: ids[name] for name in ids.column_names}, **columns})


def _repeated(word: str, count: int) -> pa.Array:
    return pa.repeat(pa.scalar(word), count)


def _coded(name: str, codes: Any) -> pa.Array:
    return pa.array(words(name, codes), pa.bool_() if name not in CHOICES else pa.string())


_LEAKAGE = """
select s.job_id, s.stage, r.rule_set, d.flow_50_m3_h as displayed_flow_50_m3_h {shares}, r.flow_50_m3_h,
       case when s.reported_flow_pressure_pa = 50 then s.reported_flow_m3_h end as reported_flow_m3_h,
       r.difference_percent, r.exponent, r.air_change_50_per_h {conforms}, r.note
from results r
join sessions s using (session_id)
left join results d on d.session_id = r.session_id and d.rule_set = '{displayed}'
where r.rule_set in ({rule_sets})
order by s.job_id, s.started_at_local, r.session_id, r.rule_set
"""
_NOT_COMPUTED = """
select kind, count(*) from sessions
where kind <> 'weather' and session_id not in (select session_id from results where rule_set in ({rule_sets}))
group by 1 order by 1
"""
_DOUBTED = f"""
select count(distinct session_id) from checks where rule_set = '{REPORTED}' and level in ({SUSPECT}, {FAIL})
"""
_NO_RULE_SET = "no rule set followed here is for it"


def _doubted(root: Path, done: Recomputed) -> str:
    """What became of results without readings."""
    ((count,),) = query.query(root, _DOUBTED, done.version).rows
    return f"results without readings, nothing to recompute; values of {count} do not fit together (view checks)"


def leakage_table(root: Path, done: Recomputed, *, shares: bool = False) -> Table:
    """A row for each test and rule set: displayed, recomputed, reported; with `shares` what each correction did.

    The shares of a row are the percentages by which the corrections, one after the other, move the displayed flow at
    50 Pa: their factors multiply to the recomputed one.
    """
    shown = [name for name in done.rule_sets if name not in (DISPLAYED, REPORTED)] or list(done.rule_sets)
    extra = "".join(f", r.{name}" for name in SHARES) if shares else ""
    followed = ", ".join(f"'{name}'" for name in shown)
    conforms = ", r.conforms, r.conforms_because" if done.thresholds else ""
    sql = _LEAKAGE.format(shares=extra, conforms=conforms, displayed=DISPLAYED, rule_sets=followed)
    answer = query.query(root, sql, done.version)
    rows: list[Row] = []
    codes = Counter[str]()
    for *row, note in answer.rows:
        rows.append(tuple(row))
        codes.update(note.split(";") if note else ())
    left_out = [
        f"{counted(count, 'test')} of kind {kind}: "
        + (_doubted(root, done) if kind == "summary" and REPORTED in done.rule_sets else _NO_RULE_SET)
        for kind, count in query.query(root, _NOT_COMPUTED.format(rule_sets=followed), done.version).rows
    ]
    notes = [f"{count} of {len(rows)} results: {note_sentence(code)}" for code, count in codes.most_common()]
    return Table(answer.columns[:-1], rows, left_out, [*done.notes, *notes])
