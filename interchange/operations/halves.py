"""Tests as halves of pairs: what the archive holds of each that a comparison with another test of the house needs."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from interchange.analysis.uncertainty import PARTS
from interchange.archive import derived, log, query, settings
from interchange.errors import Place, Problem, UsageError
from interchange.model.ruleset import RuleSet
from interchange.operations import from_registers
from interchange.operations.references import DISPLAYED
from interchange.operations.rules import load_rule_sets
from interchange.quantities import SUSPECT
from interchange.report.heads import Units

# Kinds of tests that give a flow of their own.
KINDS = ("single_point", "two_point", "multi_point")


@dataclass(frozen=True, slots=True)
class Half:
    """One test: what is recorded of it, and its result by the first rule set that is for its kind.

    A contractor that the record does not name is that of the register of jobs. Of several gauges, fans or openings of
    fans the texts join all, in order. `gear_from_register` says that gauge or fan come from the register of kit.
    `parts` are in per cent of the flow at 50 Pa, by the order of PARTS; all of the result is None where none was
    computed. The best estimate in wind, with its 95 % limits, is there where it was made; `estimated` says that it has
    taken the place of the result. `readings` is a hash of what was read, `import_number` says when it was taken in.
    """

    session_id: str
    kind: str
    job_id: str | None
    site_id: str | None
    contractor: str | None
    stage: str | None
    visit_number: int | None
    attempt_number: int | None
    retest_of: str | None
    supersedes: str | None
    result_of_record: bool | None
    started_at_local: datetime | None
    time_quality: str | None
    volume_m3: float | None
    boundary: str | None
    basement_included: bool | None
    garage_included: bool | None
    preparation_as_recorded: str | None
    exhaust_fans: str | None
    combustion_appliances: str | None
    openings: dict[str, str]
    gauge_serial: str | None
    gauge_calibrated_on: str | None
    fan_serial: str | None
    fan_calibrated_on: str | None
    gear_from_register: bool
    fan_configuration: str | None
    readings: int | None
    reading_count: int
    import_number: int
    rule_set: str | None
    flow_50_m3_h: float | None
    exponent_assumed: bool | None
    direction_used: str | None
    highest_pressure_pa: float | None
    verdict: str | None
    because_of: tuple[str, ...]
    windy: bool
    parts: tuple[float, ...] | None
    robust_flow_50_m3_h: float | None = None
    robust_flow_50_low_m3_h: float | None = None
    robust_flow_50_high_m3_h: float | None = None
    estimated: bool = False

    @property
    def house(self) -> str | None:
        """What the test is filed under: its job, else its house."""
        return self.job_id or self.site_id


@dataclass(frozen=True, slots=True)
class Halves:
    """All tests of an archive that can be halves, and what is known of them all.

    `others` counts the records that cannot, by kind; `version` is the one read, `rule_sets` those followed, `units`
    those of the programme.
    """

    tests: list[Half]
    others: dict[str, int]
    version: int
    rule_sets: tuple[RuleSet, ...]
    units: Units

    @property
    def followed(self) -> str:
        """The rule sets, for a note."""
        return f"rule sets followed: {', '.join(rules.reference for rules in self.rule_sets)}"


_PARTS = tuple(f"{part}_50_percent" for part in PARTS)
_TEXT = "string_agg(distinct {name}, ', ' order by {name})"
_BEST = "select * from estimates"
_NO_BEST = """
select null as session_id, null as rule_set, null as robust_flow_50_m3_h, null as robust_flow_50_low_m3_h,
       null as robust_flow_50_high_m3_h
where false
"""
_HALVES = """
with ranked as (
    select r.*, row_number() over (partition by session_id order by list_position({rule_sets}, rule_set)) as place
    from results r where rule_set in {rule_sets}
),
judged as (
    select session_id, rule_set, verdict, because_of from verdicts where use = 'before_after'
),
wind as (
    select session_id, rule_set, max(level) between {suspect} and {suspect} + 1 as windy
    from checks where check_name = 'wind_strength' group by all
),
gauge as (
    select session_id, {gauge_serial} as serial, cast(max(gauge_calibrated_on) as varchar) as calibrated
    from gauges group by 1
),
fan as (
    select session_id, {fan_serial} as serial, cast(max(fan_calibrated_on) as varchar) as calibrated
    from fans group by 1
),
kit as ({kit}),
expected as ({jobs}),
reading as (
    select session_id, {fan_configuration} as openings, count(*) as amount,
           hash(list((run_number, direction, envelope_pressure_pa, fan_pressure_pa, flow_m3_h)
                     order by run_number, envelope_pressure_pa, fan_pressure_pa, flow_m3_h)) as fingerprint
    from fan_readings group by 1
),
opened as (
    select session_id, map_from_entries(list((opening, opening_state))) as states
    from (select distinct session_id, opening, opening_state from openings
          where opening is not null and opening_state <> 'unknown'
          qualify count(*) over (partition by session_id, opening) = 1)
    group by 1
),
taken as (
    select session_id, max(import_number) as import_number
    from (select unnest(session_ids) as session_id, import_number from journal where import_state = 'imported')
    group by 1
)
select s.session_id, s.kind, s.job_id, s.site_id,
       coalesce(s.contractor, e.contractor) as contractor, s.stage, s.visit_number, s.attempt_number,
       s.retest_of, s.supersedes, s.result_of_record, s.started_at_local, s.time_quality, s.volume_m3, s.boundary,
       s.basement_included, s.garage_included, s.preparation_as_recorded, s.exhaust_fans, s.combustion_appliances,
       coalesce(o.states, map {{}}) as openings,
       coalesce(g.serial, k.gauge_serial) as gauge_serial, g.calibrated as gauge_calibrated_on,
       coalesce(f.serial, k.fan_serial) as fan_serial, f.calibrated as fan_calibrated_on,
       coalesce(g.serial is null and k.gauge_serial is not null, false)
           or coalesce(f.serial is null and k.fan_serial is not null, false) as gear_from_register,
       d.openings as fan_configuration, d.fingerprint as readings, coalesce(d.amount, 0) as reading_count,
       coalesce(t.import_number, 0) as import_number,
       r.rule_set, r.flow_50_m3_h, r.exponent_assumed, r.direction_used, r.highest_pressure_pa,
       v.verdict, coalesce(v.because_of, '') as because_of, coalesce(w.windy, false) as windy,
       {parts}, b.robust_flow_50_m3_h, b.robust_flow_50_low_m3_h, b.robust_flow_50_high_m3_h
from sessions s
left join ranked r on r.session_id = s.session_id and r.place = 1
left join ({best}) b on b.session_id = r.session_id and b.rule_set = r.rule_set
left join judged v on v.session_id = r.session_id and v.rule_set = r.rule_set
left join wind w on w.session_id = r.session_id and w.rule_set = r.rule_set
left join gauge g on g.session_id = s.session_id
left join fan f on f.session_id = s.session_id
left join expected e on e.job_id = s.job_id
left join kit k on k.session_id = s.session_id
left join reading d on d.session_id = s.session_id
left join opened o on o.session_id = s.session_id
left join taken t on t.session_id = s.session_id
where s.kind in {kinds}
order by s.job_id, s.started_at_local, s.session_id
"""


_OTHERS = "select kind, count(*) from sessions where kind <> 'weather' and kind not in {kinds} group by 1"


def read_halves(root: Path, rule_sets: Sequence[str] | None = None) -> Halves:
    """Every test that a rule set is for, with its result by the first of the rule sets that is for its kind.

    `rule_sets` are references or paths of files, by default those of the archive that judge, but for what was
    displayed. Raises UsageError for a rule set by which the archive has not been recomputed, ArchiveError where it has
    not been at all.
    """
    agreed = settings.read(root)
    loaded = load_rule_sets(rule_sets or agreed.rule_sets)
    chosen = tuple(rules for rules in loaded if rule_sets or (rules.judges and rules.reference != DISPLAYED))
    names = [rules.reference for rules in chosen]
    sql = _HALVES.format(
        rule_sets=repr(names),
        kinds=repr(list(KINDS)),
        suspect=SUSPECT,
        best=_BEST if _there(root, "estimates") else _NO_BEST,
        kit=from_registers.kit(root),
        jobs=from_registers.jobs(root),
        parts=", ".join(f"r.{name}" for name in _PARTS),
        **{name: _TEXT.format(name=name) for name in ("gauge_serial", "fan_serial", "fan_configuration")},
    )
    answer = query.query(root, sql)
    _raise_not_recomputed(root, answer.version, rule_sets or (), names)
    tests = [_half(dict(zip(answer.columns, row, strict=True))) for row in answer.rows]
    others = Counter[str](half.kind for half in tests if half.rule_set is None)
    others.update(dict(query.query(root, _OTHERS.format(kinds=repr(list(KINDS))), answer.version).rows))
    followed = [half for half in tests if half.rule_set is not None]
    return Halves(followed, dict(sorted(others.items())), answer.version, chosen, agreed.units)


def _half(row: dict[str, Any]) -> Half:
    parts = tuple(row.pop(name) for name in _PARTS)
    because = tuple(name for name in row.pop("because_of").split(";") if name)
    return Half(**row, because_of=because, parts=None if None in parts else parts)


def _there(root: Path, kind: str) -> bool:
    """Whether something of a kind was computed from the newest version."""
    return any(one.kind == kind for one in derived.current(root, log.read(log.usable(root)).tests_number))


def _raise_not_recomputed(root: Path, version: int, asked: Sequence[str], names: Sequence[str]) -> None:
    computed_from = log.read(log.usable(root), version).tests_number
    there = {one.rule_set for one in derived.current(root, computed_from) if one.kind == "results"}
    for reference, name in zip(asked, names, strict=False):
        if name not in there:
            cure = f"Run `interchange recompute --rules {reference}` first."
            found = f"no results by {name}"
            raise UsageError(Problem("rules-not-followed", Place("--rules"), found, "a rule set followed", cure))
