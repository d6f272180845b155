"""Shares of tests in which something was found, by group, with their intervals; counted by DuckDB, without arrays."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interchange.analysis.plain import share_limits
from interchange.archive import derived, log, query, settings
from interchange.operations import from_registers
from interchange.operations.measures import FIRST_ASKED, GROUPS, MEASURES, Group, Measure
from interchange.operations.references import DISPLAYED
from interchange.quantities import CHOICES, FAIL, PASS, SUSPECT
from interchange.report.section import Section
from interchange.report.trends import (
    by_words,
    flow_line,
    no_estimates_words,
    not_asked_words,
    share_words,
    small_words,
)
from interchange.table import Row, Table

TESTED = CHOICES["kind"][:3]  # kinds that are a test of an envelope with readings
FEWEST_TESTS = 20  # a group of fewer is small; a judgement, no source
ALL = "all"
_COLUMNS = (
    *("trend_by", "trend_group", "measure", "test_count", "asked_count", "found_count"),
    *("share_percent", "share_low_percent", "share_high_percent", "small_group"),
    *("adjusted_share_percent", "limit_low_percent", "limit_high_percent"),
)
_PAGE = ("trend_group", "asked_count", "found_count", "share_percent", "share_low_percent", "share_high_percent")

# One row a record, and everything counted over it in one pass.
_COUNTS = """
with judged as (
    select session_id, arg_min(rule_set, place) as rule_set, {uses}
    from (select *, coalesce(list_position({rule_sets}, rule_set), 1000) as place
          from verdicts where rule_set <> '{displayed}')
    group by session_id
),
checked as (
    select session_id, rule_set, {levels}
    from checks where rule_set <> '{displayed}' and check_name in ({names}) and level in ({evaluated})
    group by session_id, rule_set
),
tests as (
    select s.kind, v.rule_set, s.kind in ({kinds}) as is_test{columns}
    from sessions s
    left join judged v on v.session_id = s.session_id
    left join checked c on c.session_id = s.session_id and c.rule_set = v.rule_set
    {joins}
)
select kind, rule_set, is_test, grouping(kind) as of_group, count(*) as test_count{counts}
from tests
group by grouping sets ((kind, rule_set, is_test), (is_test){sets})
"""


@dataclass(frozen=True, slots=True)
class Trends:
    """One row a group and measure, the same as a page, and what was counted."""

    table: Table
    page: tuple[Section, ...]
    flow: str


@dataclass(frozen=True, slots=True)
class _Share:
    """One group and one measure."""

    by: str
    group: str
    measure: Measure
    tests: int
    asked: int
    found: int
    fewest: int

    @property
    def limits_percent(self) -> tuple[float, float] | None:
        if not self.asked:
            return None
        low, high = share_limits(self.found, self.asked)
        return 100.0 * low, 100.0 * high

    @property
    def share_percent(self) -> float | None:
        return 100.0 * self.found / self.asked if self.asked else None

    @property
    def is_small(self) -> bool:
        return self.asked < self.fewest

    def row(self) -> Row:
        counts = (self.tests, self.asked, self.found)
        share = (self.share_percent, *(self.limits_percent or (None, None)))
        return (self.by, self.group, self.measure.name, *counts, *share, self.is_small, None, None, None)

    def page_row(self) -> Row:
        share = (self.share_percent, *(self.limits_percent or (None, None)))
        return (self.group.replace("_", " "), self.asked, self.found, *share)


def trends(
    root: Path,
    by: Sequence[str] = ("crew",),
    measures: Sequence[str] = FIRST_ASKED,
    fewest: int = FEWEST_TESTS,
) -> Trends:
    """Shares of tests by group, each group kind by itself, and by all tests.

    A test counts as the first of the archive's rule sets judges it that is for its kind; records sent again and repeats
    count as the tests they are. `adjusted_share_percent` and control limits are null: they are not computed yet.
    Raises UsageError and ArchiveError as `query` does.
    """
    grouped = [GROUPS[name] for name in dict.fromkeys(by)]
    wanted = [MEASURES[name] for name in dict.fromkeys(measures)]
    root = log.usable(root)
    can_estimate = any("e." in one.found for one in wanted) and _has_estimates(root)
    asked = [one for one in wanted if can_estimate or "e." not in one.found]
    answer = query.query(root, _sql(root, grouped, asked))
    counts = [dict(zip(answer.columns, row, strict=True)) for row in answer.rows]
    flow = _flow(counts)
    shares = list(_shares(counts, grouped, asked, fewest))
    left_out = [no_estimates_words(one.words) for one in wanted if one not in asked]
    notes = [flow, small_words(fewest)]
    table = Table(_COLUMNS, [share.row() for share in shares], left_out, notes)
    lines = (flow, small_words(fewest), *(f"Left out: {words}." for words in left_out))
    page = (Section("Counted", lines), *_page(shares, grouped, asked))
    return Trends(table, page, flow)


def _has_estimates(root: Path) -> bool:
    version = log.read(root).tests_number
    return any(one.kind == "estimates" for one in derived.current(root, version))


def _sql(root: Path, groups: Sequence[Group], measures: Sequence[Measure]) -> str:
    """The one SELECT: only the checks, verdicts and estimates that the measures name are read."""
    said = " ".join(one.found for one in measures)
    checks, uses = (sorted(set(re.findall(rf"\b{letter}\.(\w+)", said))) for letter in "cv")
    levels = [f"max(level) filter (check_name = '{name}') as {name}" for name in checks]
    verdicts = [f"arg_min(verdict, place) filter (\"use\" = '{name}') as {name}" for name in uses]
    columns = [f"coalesce({group.column}, 'unknown') as by_{group.name}" for group in groups]
    columns += [f"({one.found}) as found_{one.name}" for one in measures]
    counts = [f"by_{group.name}, grouping(by_{group.name}) as without_{group.name}" for group in groups]
    counts += [f"count(found_{m.name}) as asked_{m.name}, count_if(found_{m.name}) as found_{m.name}" for m in measures]
    joins = [group.join.format(kit=from_registers.kit(root), jobs=from_registers.jobs(root)) for group in groups]
    if "e." in said:
        joins.append("left join estimates e on e.session_id = s.session_id and e.rule_set = v.rule_set")
    return _COUNTS.format(
        displayed=DISPLAYED,
        rule_sets=_texts(settings.read(root).rule_sets, "[{}]"),
        uses=", ".join(verdicts) or "null as nothing",
        levels=", ".join(levels) or "null as nothing",
        names=_texts(checks or [""]),
        evaluated=f"{PASS}, {SUSPECT}, {FAIL}",
        kinds=_texts(TESTED),
        columns="".join(f", {column}" for column in columns),
        joins="\n    ".join(filter(None, joins)),
        counts="".join(f", {count}" for count in counts),
        sets="".join(f", (is_test, by_{group.name})" for group in groups),
    )


def _texts(names: Sequence[str], form: str = "{}") -> str:
    """Names as texts of SQL."""
    return form.format(", ".join("'" + name.replace("'", "''") + "'" for name in names))


def _flow(counts: Sequence[dict[str, Any]]) -> str:
    others, judged = Counter[str](), Counter[str]()
    tests = 0
    for row in counts:
        if row["of_group"]:
            continue
        if not row["is_test"]:
            others[row["kind"]] += row["test_count"]
            continue
        tests += row["test_count"]
        if row["rule_set"] is not None:
            judged[row["rule_set"]] += row["test_count"]
    return flow_line(tests, others, judged)


def _shares(
    counts: Sequence[dict[str, Any]], groups: Sequence[Group], measures: Sequence[Measure], fewest: int
) -> Iterator[_Share]:
    """All tests first, then each sort of group: the greatest share first, small groups below by their name."""
    rows = [row for row in counts if row["is_test"] and row["of_group"]]
    whole = [row for row in rows if all(row[f"without_{group.name}"] for group in groups)]
    for one in measures:
        yield from (_share(row, ALL, ALL, one, fewest) for row in whole)
    for group in groups:
        own = [row for row in rows if not row[f"without_{group.name}"]]
        for one in measures:
            shares = [_share(row, group.name, row[f"by_{group.name}"], one, fewest) for row in own]
            yield from sorted(shares, key=_rank)


def _share(row: dict[str, Any], by: str, group: str, measure: Measure, fewest: int) -> _Share:
    asked, found = row[f"asked_{measure.name}"], row[f"found_{measure.name}"]
    return _Share(by, group, measure, row["test_count"], asked, found, fewest)


def _rank(share: _Share) -> tuple[bool, float, str]:
    return share.is_small, 0.0 if share.is_small else -(share.share_percent or 0.0), share.group


def _page(shares: Sequence[_Share], groups: Sequence[Group], measures: Sequence[Measure]) -> Iterator[Section]:
    for one in measures:
        whole = next((share for share in shares if (share.by, share.measure) == (ALL, one)), None)
        if whole is None:
            continue
        said = f"{share_words(whole.found, whole.asked, whole.limits_percent)} Asked: {one.asked}."
        yield Section(one.words, (said,))
        for group in groups if whole.asked else ():
            own = [share for share in shares if (share.by, share.measure) == (group.name, one)]
            yield _group_section(group, own)


def _group_section(group: Group, shares: Sequence[_Share]) -> Section:
    told = [share for share in shares if share.asked]
    rest = {share.group: share.tests for share in shares if not share.asked}
    small = any(share.is_small for share in told)
    rows: list[Row] = [(*share.page_row(), *(["small" if share.is_small else ""] * small)) for share in told]
    table = Table((*_PAGE, *(["small_group"] * small)), rows)
    title = f"  by {by_words(group.name)}" + (f"; {not_asked_words(rest)}" if rest else "")
    return Section(title, (), table)
