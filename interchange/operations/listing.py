"""Lists the tests of an archive, a line each."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from interchange.archive import derived, log, query, settings
from interchange.operations.references import DISPLAYED, REPORTED
from interchange.report.heads import Units
from interchange.table import Table, counted


@dataclass(frozen=True, slots=True)
class Listing:
    """The table, and the units its programme wants to see."""

    table: Table
    units: Units


_TESTS = """
select {columns} from sessions s where s.kind <> 'weather' order by s.job_id, s.started_at_local, s.session_id
"""
_WEATHER = "select count(*) from weather_records"
_COLUMNS = "s.job_id, s.site_id, s.stage, s.kind, s.started_at_local, s.contractor, s.crew"
_JUDGED = """
with ranked as (
    select r.*, row_number() over (partition by session_id order by list_position({rule_sets}, rule_set)) as place
    from results r where rule_set in {rule_sets}
),
standard as (select * from ranked where place = 1),
judged as (
    select session_id, rule_set,
           max(verdict) filter (use = 'flow_at_50') as flow_at_50,
           max(verdict) filter (use = 'low_pressure_and_exponent') as low_pressure_and_exponent
    from verdicts group by all
)
select {columns}, r.flow_50_m3_h, r.air_change_50_per_h, j.flow_at_50, j.low_pressure_and_exponent, s.session_id
from sessions s
left join standard r using (session_id)
left join judged j on j.session_id = s.session_id and j.rule_set = coalesce(r.rule_set, '{reported}')
where s.kind <> 'weather'
order by s.job_id, s.started_at_local, s.session_id
"""


def list_tests(root: Path, version: int | None = None) -> Listing:
    """Current tests with their result and verdicts by the first of the archive's rule sets that is for their kind.

    An older state, and a state that has not been recomputed, is listed without results.
    """
    agreed = settings.read(root)
    bare = query.query(root, _TESTS.format(columns=f"{_COLUMNS}, s.session_id"), version)
    rule_sets = [name for name in agreed.rule_sets if name != DISPLAYED]
    ((weather,),) = query.query(root, _WEATHER, bare.version).rows
    left_out = [f"{counted(weather, 'weather record')}: no test; the view weather_records has them"] if weather else []
    computed_from = log.read(log.usable(root), bare.version).tests_number
    if not any(one.kind == "results" for one in derived.current(root, computed_from)):
        left_out.append("results and verdicts: this state of the archive has not been recomputed")
        return Listing(Table(bare.columns, list(bare.rows), left_out), agreed.units)
    sql = _JUDGED.format(columns=_COLUMNS, rule_sets=repr(rule_sets), reported=REPORTED)
    answer = query.query(root, sql, bare.version)
    return Listing(Table(answer.columns, list(answer.rows), left_out), agreed.units)
