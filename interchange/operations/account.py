"""The whole calculation of a test as data: each rule set, each step, each number with the equation that leads to it."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from interchange.analysis.account.book import Part, Term
from interchange.analysis.account.formula import TOTAL, names, with_values
from interchange.analysis.account.trail import Account, account
from interchange.analysis.batch import Batch
from interchange.archive import batches, registers
from interchange.archive.store import Store
from interchange.model.ruleset import Rule, RuleSet
from interchange.model.session import Session
from interchange.operations.recorded import heading
from interchange.operations.references import DISPLAYED
from interchange.operations.rules import load_rule_sets
from interchange.operations.select import select_sessions
from interchange.report.account_words import (
    EXCLUSION_WORDS,
    ORIGIN_WORDS,
    STEP_WORDS,
    remark_sentence,
    symbol_words,
)
from interchange.report.notes import note_sentence

Document = dict[str, Any]


def account_tests(root: Path, name: str, version: int | None = None) -> list[Document]:
    """Accounts of the tests of a job number, or of the one whose id begins so, by the archive's rule sets.

    What the gauge displayed comes first, whether the archive asks for it or not. Raises UsageError where there is no
    such test.
    """
    store = Store.open(root)
    sessions = select_sessions(store.snapshot(version), [name])
    others = [reference for reference in store.settings.rule_sets if reference != DISPLAYED]
    rule_sets = load_rule_sets([DISPLAYED, *others])
    calibrations = registers.calibrations(store.root).rows
    return [_test(session, batches.from_sessions([session], calibrations).batch, rule_sets) for session in sessions]


def _test(session: Session, batch: Batch, rule_sets: Sequence[RuleSet]) -> Document:
    of_kind = [rules for rules in rule_sets if rules.steps and session.kind in rules.applies_to]
    followed = of_kind if session.runs else []
    return {
        "session_id": session.session_id,
        "job_id": session.record.job_id,
        "heading": heading(session),
        "rule_sets": [_by_rules(session, batch, rules) for rules in followed],
        "remarks": [] if followed else [remark_sentence("no_runs" if of_kind else "no_steps")],
    }


def _by_rules(session: Session, batch: Batch, rules: RuleSet) -> Document:
    steps = {step.name: step for step in rules.steps}
    known: dict[int | None, dict[str, Term]] = {run: {} for run in (None, *range(len(session.runs)))}
    return {
        "rule_set": rules.reference,
        "title": rules.title,
        "status": rules.status,
        "steps": [
            _step(session, one, steps.get(one.name), known) for one in account(batch, rules.steps, rules.applies_to)
        ],
    }


def _step(session: Session, one: Account, rule: Rule | None, known: dict[int | None, dict[str, Term]]) -> Document:
    share = None if one.share is None else {"value": _numbers(one.share)[0], "decimals": one.share.decimals}
    notes = [note_sentence(code) for code in one.notes]
    return {
        "step": one.name,
        "words": STEP_WORDS[one.name],
        "clause": rule.clause if rule else None,
        "provenance": rule.provenance if rule else None,
        "source": rule.source if rule else None,
        "arguments": dict(rule.arguments) if rule else {},
        "share_percent": share,
        "parts": [_part(session, part, rule is not None, notes, known[part.run]) for part in one.parts],
        "notes": notes,
    }


def _part(session: Session, part: Part, is_step: bool, notes: Sequence[str], known: dict[str, Term]) -> Document:
    run = None if part.run is None else session.runs[part.run]
    known |= {term.symbol: term for term in part.terms}
    does_nothing = is_step and not any(term.formula or term.origin == "assumed" for term in part.terms)
    remarks = [remark_sentence("does_nothing")] * does_nothing + [remark_sentence(code) for code in part.remarks]
    points = () if run is None else run.points
    dropped = [point.dropped_reason for point in points] if part.reasons else []
    return {
        "run": None if run is None else run.run_number,
        "direction": None if run is None else run.direction,
        "remarks": [remark for remark in dict.fromkeys(remarks) if remark not in notes],
        "symbols": [term.symbol for term in part.terms],
        "numbers": [_number(term, known) for term in part.terms if term.level == "run"],
        "columns": [_column(term, known) for term in part.terms if term.level != "run"],
        "points": [point.point_number or place for place, point in enumerate(points, 1)],
        "readings": [
            {"point": point.point_number or place, "fan_configuration": reading.fan_configuration}
            for place, point in enumerate(points, 1)
            for reading in point.fan_readings
        ],
        "left_out": [
            f"{EXCLUSION_WORDS[code]}{f': {said}' if said and code == 'points_dropped' else ''}" if code else ""
            for code, said in zip(part.reasons, dropped, strict=True)
        ],
    }


def _number(term: Term, known: Mapping[str, Term]) -> Document:
    return {
        "symbol": term.symbol,
        "words": symbol_words(term.symbol),
        "value": _numbers(term)[0],
        "decimals": term.decimals,
        "printed": term.texts()[0],
        "unit": term.unit,
        "equation": term.formula or None,
        "with_values": _filled(term.formula, known),
        "from": ORIGIN_WORDS[term.origin] if term.origin else None,
    }


def _column(term: Term, known: Mapping[str, Term]) -> Document:
    texts = term.texts()
    rows = [row for row, text in enumerate(texts) if text and (term.holds is None or term.holds[row])]
    return {
        "symbol": term.symbol,
        "words": symbol_words(term.symbol),
        "of_each": term.level,
        "values": _numbers(term),
        "decimals": term.decimals,
        "printed": texts,
        "unit": term.unit,
        "equation": term.formula or None,
        "equation_holds": None if term.holds is None else term.holds.tolist(),
        "first_row": rows[0] if rows else None,
        "first_row_with_values": _filled(term.formula, known, rows[0]) if rows else None,
        "from": ORIGIN_WORDS[term.origin] if term.origin else None,
    }


def _filled(equation: str, known: Mapping[str, Term], row: int | None = None) -> str | None:
    """The equation with the printed numbers of a row in it; None where it goes over several rows, or has no numbers."""
    terms = [known[name] for name in names(equation)]
    columns = [one.texts() for one in terms if one.level != "run"]
    if row is None and columns:
        rows = [place for place, cells in enumerate(zip(*columns, strict=True)) if all(cells)]
        if len(rows) != 1:
            return None
        row = rows[0]
    if not equation or equation.isidentifier() or TOTAL in equation:
        return None
    return with_values(equation, {one.symbol: one.texts()[0 if one.level == "run" else row or 0] for one in terms})


def _numbers(term: Term) -> list[float | None]:
    return [None if math.isnan(value) else value for value in term.printed().tolist()]
