"""What the readings of each crew give, beside what its gauge displayed."""

from __future__ import annotations

from pathlib import Path

from interchange.archive import query
from interchange.operations.references import DISPLAYED
from interchange.table import Table

_BY_CREW = f"""
select coalesce(s.contractor, 'unknown') as contractor, coalesce(s.crew, 'unknown') as crew,
       count(distinct s.session_id) as session_count,
       round(median(r.flow_50_m3_h)) as median_flow_50_m3_h,
       round(median(100 * (r.flow_50_m3_h / d.flow_50_m3_h - 1)), 1) as median_change_percent,
       round(min(100 * (r.flow_50_m3_h / d.flow_50_m3_h - 1)), 1) as lowest_change_percent,
       round(max(100 * (r.flow_50_m3_h / d.flow_50_m3_h - 1)), 1) as highest_change_percent
from results r join sessions s using (session_id)
left join results d on d.session_id = r.session_id and d.rule_set = '{DISPLAYED}'
where r.rule_set != '{DISPLAYED}'
group by all order by all
"""


def by_crew(root: Path) -> Table:
    """A row for each contractor and crew: its tests, their median flow at 50 Pa, and how far recomputing moved it."""
    answer = query.query(root, _BY_CREW)
    return Table(answer.columns, list(answer.rows))
