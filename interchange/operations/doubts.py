"""Which tests not to rely on, for which use, and why: in counts and, test by test, in sentences."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from interchange.archive import query
from interchange.operations.references import DISPLAYED
from interchange.quantities import CHOICES
from interchange.report.section import Section
from interchange.report.sentences import use_words
from interchange.table import Table

_VERDICTS = CHOICES["verdict"]
_MOST_SENTENCES = 3

_COUNTS = f"""
select use, {", ".join(f"count(*) filter (verdict = '{verdict}') as {verdict}" for verdict in _VERDICTS)}
from verdicts join sessions using (session_id)
where rule_set != '{DISPLAYED}' and kind <> 'summary' group by use
order by list_position({list(CHOICES["use"])}, use)
"""

# One-point tests cannot show an exponent, results without readings nothing; that alone makes none of them doubtful.
_DOUBTFUL = f"""
with grave as (
    select v.* from verdicts v join sessions s using (session_id)
    where v.rule_set != '{DISPLAYED}' and v.verdict in ('retest_advised', 'cannot_tell')
      and not (s.kind = 'single_point' and v.use = 'low_pressure_and_exponent') and s.kind <> 'summary'
),
said as (select session_id, rule_set, map(list(check_name), list(reason)) as reasons from checks
         where reason is not null group by all)
select s.job_id, s.stage, s.started_at_local, s.contractor, s.crew, g.session_id, g.rule_set,
       list(struct_pack(use, verdict, because_of) order by list_position({list(CHOICES["use"])}, use)) as uses,
       first(reasons) as reasons
from grave g join sessions s using (session_id) left join said using (session_id, rule_set)
group by all
order by not list_contains(list(g.use), 'flow_at_50'), s.job_id, s.started_at_local, g.session_id
"""


def verdict_counts(root: Path) -> Table:
    """How many tests with readings serve each use, by verdict; each once for each rule set that is for its kind."""
    answer = query.query(root, _COUNTS)
    return Table(answer.columns, [(use_words(row[0]), *row[1:]) for row in answer.rows])


def doubtful_tests(root: Path) -> list[Section]:
    """A section for each test that some use had better do without, the gravest reasons first."""
    answer = query.query(root, _DOUBTFUL)
    sections = []
    for row in answer.rows:
        test = dict(zip(answer.columns, row, strict=True))
        started = f", {test['started_at_local']:%Y-%m-%d %H:%M}" if test["started_at_local"] else ""
        stage = f" {test['stage']}" if test["stage"] else ""
        title = (
            f"{test['job_id'] or test['session_id']}{stage}{started}, {test['contractor'] or 'contractor unknown'}, "
            f"crew {test['crew'] or 'unknown'}"
        )
        sections.append(Section(title, tuple(_lines(test))))
    return sections


def _lines(test: dict[str, Any]) -> Iterator[str]:
    by_verdict: dict[str, list[str]] = {}
    for use in test["uses"]:
        by_verdict.setdefault(use["verdict"], []).append(_inside(use_words(use["use"])))
    for verdict, uses in by_verdict.items():
        yield f"{verdict.replace('_', ' ')}: {', '.join(uses)}"
    named = list(dict.fromkeys(name for use in test["uses"] for name in use["because_of"].split(";")))
    said = [test["reasons"][name] for name in named if name in (test["reasons"] or {})]
    for sentence in said[:_MOST_SENTENCES]:
        yield f"- {sentence}"
    if len(said) > _MOST_SENTENCES:
        yield f"- and {len(said) - _MOST_SENTENCES} more: `interchange show {test['job_id'] or test['session_id']}`"


def _inside(words: str) -> str:
    """Words that began a sentence, inside one."""
    return words[0].lower() + words[1:]
