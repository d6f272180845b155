"""One test on one screen: what was recorded, what was made of it, what speaks against it."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from interchange.analysis.leakage import SHARES
from interchange.archive import batches, registers
from interchange.archive.store import Store
from interchange.model.register import CalibrationRow
from interchange.model.ruleset import RuleSet
from interchange.model.session import Run, Session
from interchange.operations.assess import Assessed, assess, words
from interchange.operations.recompute import DISPLAYED
from interchange.operations.rules import load_rule_sets
from interchange.operations.select import select_sessions
from interchange.quantities import NOT_EVALUATED, PASS
from interchange.report.heads import Units, shown, with_unit
from interchange.report.notes import note_sentence
from interchange.report.safety import LIMITS, SAFETY
from interchange.report.section import Section
from interchange.report.sentences import LEVEL_WORDS, check_sentence, subject_words, verdict_sentence
from interchange.table import Row, Table


@dataclass(frozen=True, slots=True)
class TestView:
    """One test for people."""

    heading: str
    sections: tuple[Section, ...]
    units: Units


def show_tests(root: Path, name: str, version: int | None = None) -> list[TestView]:
    """The tests of a job number, or the one whose id begins so, recomputed by the archive's rule sets.

    Raises UsageError where there is none.
    """
    store = Store.open(root)
    sessions = select_sessions(store.snapshot(version), [name])
    rule_sets = load_rule_sets(store.settings.rule_sets)
    calibrations = registers.calibrations(store.root).rows
    return [_view(session, _assessed(session, rule_sets, calibrations), store.settings.units) for session in sessions]


def _view(session: Session, assessed: Sequence[Assessed], units: Units) -> TestView:
    sections = [Section("Recorded", tuple(_recorded(session, units)))]
    sections += [Section(_run_title(run, units), table=_points(run)) for run in session.runs if run.points]
    if session.channels:
        sections.append(Section("Channels", table=_channels(session)))
    if assessed:
        lines = (*_reported(session, units), *_areas(assessed, units))
        sections.append(Section("Flow at 50 Pa", lines, _results(assessed)))
    for one in assessed:
        if one.rules.reference != DISPLAYED:
            sections += _judged(one)
    return TestView(_heading(session), tuple(sections), units)


def _assessed(session: Session, rule_sets: Sequence[RuleSet], calibrations: Sequence[CalibrationRow]) -> list[Assessed]:
    loaded = batches.from_sessions([session], calibrations)
    return [assess(loaded.batch, rules) for rules in rule_sets if session.kind in rules.applies_to]


def _heading(session: Session) -> str:
    record = session.record
    stage = f", {record.stage}" if record.stage else ""
    return f"Job {record.job_id or 'unknown'}, house {record.site_id or 'unknown'}{stage} ({session.kind})"


def _recorded(session: Session, units: Units) -> Iterator[str]:
    time, record, air = session.time, session.record, session.conditions
    zone = "UTC" if time.started_at_utc else "time zone unknown"
    yield f"test    {session.session_id}, {time.started_at_utc or time.started_at_local or 'time unknown'} ({zone})"
    yield f"by      {record.contractor or 'unknown contractor'}, crew {record.crew or 'unknown'}"
    yield f"from    {session.source.source_name}, {session.source.source_place}; read by {session.source.plugin_id}"
    house = {
        "volume_m3": session.building.volume_m3,
        "indoor_temperature_c": air.indoor_temperature_c,
        "outdoor_temperature_c": air.outdoor_temperature_c,
        "wind_speed_m_s": air.wind_speed_m_s,
    }
    known = [f"{_WORDS[name]} {with_unit(name, value, units)}" for name, value in house.items() if value is not None]
    if air.wind_as_recorded:
        known.append(f"wind '{air.wind_as_recorded}'")
    yield f"house   {', '.join(known) or 'nothing recorded'}"
    for line in session.reference_lines:
        yield f"line {line.line_id}  {line.arrangement_as_recorded or line.arrangement}"
    if session.kept:
        names = ", ".join(dict.fromkeys(kept.kept_name for kept in session.kept))
        yield f"kept    {names}: not part of the form, reachable in the original"


_WORDS = {
    "volume_m3": "volume",
    "indoor_temperature_c": "indoors",
    "outdoor_temperature_c": "outdoors",
    "wind_speed_m_s": "wind",
}


def _run_title(run: Run, units: Units) -> str:
    baselines = [
        f"baseline {when} {shown('baseline_before_pressure_pa', value, units)} Pa"
        if value is not None
        else f"no baseline {when}"
        for when, value in (("before", run.baseline_before_pressure_pa), ("after", run.baseline_after_pressure_pa))
    ]
    return f"Run {run.run_number}, {run.direction or 'direction unknown'}; {', '.join(baselines)}"


def _points(run: Run) -> Table:
    rows: list[Row] = [
        (
            point.point_number,
            point.target_pressure_pa,
            point.envelope_pressure_pa,
            point.envelope_pressure_spread_pa,
            reading.fan_configuration,
            reading.fan_pressure_pa,
            reading.flow_m3_h,
        )
        for point in run.points
        for reading in point.fan_readings
    ]
    columns = (
        "point_number",
        "target_pressure_pa",
        "envelope_pressure_pa",
        "envelope_pressure_spread_pa",
        "fan_configuration",
        "fan_pressure_pa",
        "flow_m3_h",
    )
    return _without_empty_columns(Table(columns, rows))


def _without_empty_columns(table: Table) -> Table:
    full = [i for i in range(len(table.columns)) if any(row[i] is not None for row in table.rows)]
    return Table(tuple(table.columns[i] for i in full), [tuple(row[i] for i in full) for row in table.rows])


def _channels(session: Session) -> Table:
    return Table(
        ("channel_id", "quantity", "line_id", "interval_s", "sample_count", "missing_count"),
        [
            (c.channel_id, c.quantity, c.line_id, c.interval_s, c.sample_count, c.missing_count)
            for c in session.channels
        ],
    )


def _reported(session: Session, units: Units) -> tuple[str, ...]:
    said = session.reported
    if said.reported_flow_m3_h is None or said.reported_flow_pressure_pa is None:
        return ("The source reports no flow.",)
    flow = with_unit("reported_flow_m3_h", said.reported_flow_m3_h, units)
    return (f"The source reports {flow} at {said.reported_flow_pressure_pa:g} Pa.",)


def _areas(assessed: Sequence[Assessed], units: Units) -> Iterator[str]:
    for one in assessed:
        area = _value(one, "leakage_area_m2")
        if area is not None:
            yield (
                f"Effective leakage area by {one.rules.reference}: {with_unit('leakage_area_m2', area, units)} "
                f"at {_value(one, 'leakage_area_pressure_pa'):g} Pa, discharge coefficient "
                f"{_value(one, 'leakage_area_discharge_coefficient'):g}."
            )


def _results(assessed: Sequence[Assessed]) -> Table:
    columns = (
        "rule_set",
        "flow_50_m3_h",
        "flow_50_low_m3_h",
        "flow_50_high_m3_h",
        "exponent",
        "correlation_r2",
        "air_change_50_per_h",
        *SHARES,
    )
    rows: list[Row] = [(one.rules.reference, *(_value(one, name) for name in columns[1:])) for one in assessed]
    return Table(columns, rows)


def _value(assessed: Assessed, name: str) -> float | None:
    value = float(assessed.leakage.session[name][0])
    return None if math.isnan(value) else value


def _judged(one: Assessed) -> Iterator[Section]:
    verdicts = []
    for use, found in one.verdicts.items():
        reasons = ", ".join(name.replace("_", " ") for name in found.reasons(0))
        verdict = words("verdict", found.verdict)[0]
        verdicts.append(verdict_sentence(use, verdict) + (f" Because of: {reasons}." if reasons else ""))
    yield Section(f"Verdict by {one.rules.reference}", tuple(verdicts))
    passed: list[str] = []
    sentences: list[str] = []
    actions = False
    for name in one.checks:
        finding = one.finding(name, 0)
        if finding.level == PASS:
            passed.append(subject_words(name))
        elif finding.level != NOT_EVALUATED or list(one.worth_saying(name)):
            sentence = check_sentence(finding)
            actions |= bool(sentence.action)
            sentences.append(f"{LEVEL_WORDS[finding.level]}: {sentence}")
    if passed:
        sentences.append(f"pass: {', '.join(passed)}")
    notes = tuple(f"note: {note_sentence(code)}" for code in filter(None, str(one.leakage.notes()[0]).split(";")))
    yield Section(f"Checks by {one.rules.reference}", (*sentences, *notes))
    if actions:
        yield Section("Safety", tuple(SAFETY.splitlines()))
    yield Section("Limits", tuple(LIMITS.splitlines()))
