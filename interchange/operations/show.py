"""One test for people: its result, what speaks against it, how sure it is, what was read and recorded."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.leakage import SHARES
from interchange.analysis.traces import Traced
from interchange.analysis.uncertainty import result_columns
from interchange.archive import batches, found_points, registers, traced
from interchange.archive.found_points import Found
from interchange.archive.store import Store
from interchange.model.question import Decision
from interchange.model.register import CalibrationRow
from interchange.model.ruleset import RuleSet
from interchange.model.session import Session
from interchange.operations.assess import best_estimate
from interchange.operations.how_sure import how_sure
from interchange.operations.judging import Judged, judge, words
from interchange.operations.picture import write_picture
from interchange.operations.reckoned import reported_elsewhere, size_line
from interchange.operations.recorded import by_people, found_in_log, heading, made_by, recorded
from interchange.operations.references import DISPLAYED
from interchange.operations.rules import load_rule_sets
from interchange.operations.select import select_sessions
from interchange.operations.suspicions import suspected
from interchange.quantities import FAIL, MISSING, NOT_EVALUATED, PASS, SUSPECT
from interchange.report.conformity import conforms_sentence
from interchange.report.heads import Units, with_unit
from interchange.report.how_sure import result_sentence
from interchange.report.notes import note_sentence
from interchange.report.safety import LIMITS, SAFETY
from interchange.report.section import Section
from interchange.report.sentences import LEVEL_WORDS, check_sentence, subject_words, verdict_sentence
from interchange.table import Row, Table

_RESULTS = (
    "flow_50_m3_h",
    "flow_50_low_m3_h",
    "flow_50_high_m3_h",
    "exponent",
    "correlation_r2",
    "air_change_50_per_h",
)
_GRAVEST_FIRST = (FAIL, SUSPECT, MISSING, NOT_EVALUATED)
WITHOUT_READINGS = (
    "A result without its readings: it stays as reported, nothing is recomputed, and the record cannot tell how good "
    "it is."
)


@dataclass(frozen=True, slots=True)
class TestView:
    """One test for people."""

    heading: str
    sections: tuple[Section, ...]
    units: Units


def show_tests(root: Path, name: str, version: int | None = None, picture: Path | None = None) -> list[TestView]:
    """The tests of a job number, or the one whose id begins so, recomputed by the archive's rule sets.

    With `picture` they are drawn into that file as SVG besides. Raises UsageError where there is none, or nothing to
    draw, OutputError where the file cannot be written.
    """
    store = Store.open(root)
    snapshot = store.snapshot(version)
    sessions = select_sessions(snapshot, [name])
    logs = found_points.of_sessions(snapshot, sessions)
    decisions = list(snapshot.decisions())
    rule_sets = load_rule_sets(store.settings.rule_sets)
    calibrations = registers.calibrations(store.root).rows
    units = store.settings.units
    assessed = [_assessed(session, logs, rule_sets, calibrations) for session in sessions]
    if picture is not None:
        drawn = [(one, by, next(_results_in_words(by, units), "")) for one, by in zip(sessions, assessed, strict=True)]
        write_picture(snapshot, drawn, units, picture)
    return [
        _view(
            session,
            [made for made in decisions if made.session_id == session.session_id],
            logs,
            by,
            traced.of_session(session, snapshot.traces(session.session_id) if session.channels else (), logs),
            units,
        )
        for session, by in zip(sessions, assessed, strict=True)
    ]


def _view(
    session: Session,
    decisions: Sequence[Decision],
    logs: Mapping[str, Found],
    assessed: Sequence[Judged],
    told: Traced | None,
    units: Units,
) -> TestView:
    """What the test says first, then what speaks against it, then how sure it is, then what was read and recorded."""
    about, *read = recorded(session, units)
    judged = [one for one in assessed if one.rules.judges and one.rules.reference != DISPLAYED]
    sections = [*_result(session, judged, units), *by_people(session, decisions)]
    if session.kind == "summary":
        sections += read
        read = []
    measured = [(one, _estimate(one, told)) for one in judged if _has_result(one)]
    for one in judged:
        sections += _judged(one)
    sections += [suspected(one.work, estimate, one.rules.reference) for one, estimate in measured]
    if any(section.asks for section in sections):
        sections.append(Section("Safety", tuple(SAFETY.splitlines())))
    sections += [how_sure(one, estimate) for one, estimate in measured]
    sections += _details(session, assessed, units)
    found = logs.get(session.session_id)
    if found:
        at = [section.title for section in read].index("Channels") + 1
        read[at:at] = found_in_log(found, units)
    limits = [Section("Limits", tuple(LIMITS.splitlines()))] * bool(judged)
    if judged:
        return TestView(heading(session), (*sections, *read, about, *limits), units)
    return TestView(heading(session), (about, *read, *sections), units)


def _result(session: Session, judged: Sequence[Judged], units: Units) -> Iterator[Section]:
    """The result by each rule set with its interval, and whose test it is."""
    lines = list(_results_in_words(judged, units))
    if lines:
        yield Section("Result", (*lines, made_by(session)))


def _results_in_words(judged: Sequence[Judged], units: Units) -> Iterator[str]:
    for one in judged:
        if not one.rules.steps or one.rules.reference == DISPLAYED or not one.rules.judges:
            continue
        columns = result_columns(one.budget, one.leakage.session)
        interval = [float(columns[f"flow_50_full_{end}_m3_h"][0]) for end in ("low", "high")]
        flow, changes, exponent = (_value(one, name) for name in ("flow_50_m3_h", "air_change_50_per_h", "exponent"))
        assumed = bool(one.leakage.session["exponent_assumed"][0])
        yield result_sentence(one.rules.reference, flow, interval, changes, None if assumed else exponent, units)


def _details(session: Session, assessed: Sequence[Judged], units: Units) -> Iterator[Section]:
    """Results beside what was displayed, what made the difference, and what is reckoned from them."""
    recomputed = [one for one in assessed if one.rules.steps]
    if recomputed:
        standard = [one for one in recomputed if one.rules.reference != DISPLAYED]
        lines = (*_areas(recomputed, units), *(line for one in standard for line in size_line(one, units)))
        yield Section("Flow at 50 Pa", lines, _results(recomputed, _RESULTS))
        shares = "What each correction did to the displayed flow at 50 Pa"
        yield Section(shares, (), _results(recomputed, ("flow_50_m3_h", *SHARES)))
    elsewhere = tuple(reported_elsewhere(session, assessed, units)) if session.kind == "summary" else ()
    if elsewhere:
        yield Section("Reported values at other pressures, reckoned and not measured", elsewhere)
    for one in assessed:
        if not one.rules.judges:
            preview = "A preview: it computes values, and gives neither checks nor verdicts."
            yield Section(f"By {one.rules.reference}", (preview,))


def _assessed(
    session: Session,
    logs: Mapping[str, Found],
    rule_sets: Sequence[RuleSet],
    calibrations: Sequence[CalibrationRow],
) -> list[Judged]:
    loaded = batches.from_sessions([session], calibrations, logs)
    zones = loaded.climate_zones.to_pylist()
    return [judge(loaded.batch, rules, zones) for rules in rule_sets if session.kind in rules.applies_to]


def _has_result(one: Judged) -> bool:
    return bool(one.rules.steps) and _value(one, "flow_50_m3_h") is not None


def _estimate(one: Judged, told: Traced | None) -> dict[str, NDArray[np.generic]]:
    return best_estimate(one.rules, one.work, one.leakage.session, one.budget, told=told)


def _areas(assessed: Sequence[Judged], units: Units) -> Iterator[str]:
    for one in assessed:
        area = _value(one, "leakage_area_m2")
        if area is not None:
            yield (
                f"Effective leakage area by {one.rules.reference}: {with_unit('leakage_area_m2', area, units)} "
                f"at {_value(one, 'leakage_area_pressure_pa'):g} Pa, discharge coefficient "
                f"{_value(one, 'leakage_area_discharge_coefficient'):g}."
            )


def _results(assessed: Sequence[Judged], columns: Sequence[str]) -> Table:
    rows: list[Row] = [(one.rules.reference, *(_value(one, name) for name in columns)) for one in assessed]
    return Table(("rule_set", *columns), rows)


def _value(assessed: Judged, name: str) -> float | None:
    value = float(assessed.leakage.session[name][0])
    return None if math.isnan(value) else value


def _judged(one: Judged) -> Iterator[Section]:
    verdicts = [] if one.rules.steps else [WITHOUT_READINGS]
    for use, judged in one.verdicts.items() if one.rules.steps else ():
        reasons = ", ".join(name.replace("_", " ") for name in judged.reasons(0))
        verdict = words("verdict", judged.verdict)[0]
        verdicts.append(verdict_sentence(use, verdict) + (f" Because of: {reasons}." if reasons else ""))
    if one.rules.thresholds:
        answer = words("conforms", one.conformity.conforms)[0]
        verdicts.append(conforms_sentence(answer, one.conformity_words()[0]))
    yield Section(f"Verdict by {one.rules.reference}", tuple(verdicts))
    passed: list[str] = []
    found: list[tuple[int, str]] = []
    actions = False
    for name in one.checks if one.rules.steps else [rule.name for rule in one.rules.checks]:
        finding = one.finding(name, 0)
        if finding.level == PASS:
            passed.append(subject_words(name))
        elif finding.level != NOT_EVALUATED or list(one.worth_saying(name)):
            sentence = check_sentence(finding)
            actions |= bool(sentence.action)
            found.append((_GRAVEST_FIRST.index(finding.level), f"{LEVEL_WORDS[finding.level]}: {sentence}"))
    sentences = [sentence for _, sentence in sorted(found, key=lambda one: one[0])]
    if passed:
        sentences.append(f"pass: {', '.join(passed)}")
    codes = str(one.leakage.notes()[0]).split(";") if one.rules.steps else ()
    notes = tuple(f"note: {note_sentence(code)}" for code in filter(None, codes))
    yield Section(f"Checks by {one.rules.reference}", (*sentences, *notes), asks=actions)
