"""Which tests change value or verdict from one rule set to another, by how much, and which correction makes it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path

from interchange.analysis.leakage import SHARES
from interchange.archive import query
from interchange.errors import Place, Problem, UsageError
from interchange.model.ruleset import RuleSet
from interchange.operations.recompute import recompute_archive
from interchange.operations.rules import load_rule_sets
from interchange.report.heads import Units
from interchange.table import Row, Table, counted

SAME_PERCENT = 0.05  # a flow that moves by less stays the same for people
FIT_SHARE = "share_fit_percent"
_COLUMNS = (
    *("job_id", "stage", "session_id", "rule_set", "other_rule_set", "flow_50_m3_h", "other_flow_50_m3_h"),
    *("change_percent", *SHARES, FIT_SHARE, "verdict_changes"),
)
_RESULTS = """
select s.kind, s.job_id, s.stage, s.session_id, a.session_id is not null, b.session_id is not null,
       a.flow_50_m3_h, b.flow_50_m3_h, {shares}
from sessions s
left join results a on a.session_id = s.session_id and a.rule_set = '{one}'
left join results b on b.session_id = s.session_id and b.rule_set = '{other}'
where s.kind <> 'weather'
order by s.job_id, s.started_at_local, s.session_id
"""
_VERDICTS = """
select session_id, use, rule_set, verdict, because_of from verdicts where rule_set in ('{one}', '{other}') order by all
"""
# of each session and use: verdict and reasons by rule set
_Verdicts = Mapping[str, Mapping[str, Mapping[str, tuple[str, str]]]]


@dataclass(frozen=True, slots=True)
class Compared:
    """The table, and the units its programme wants to see."""

    table: Table
    units: Units


def compare_rule_sets(
    root: Path, one: str, other: str, *, progress: Callable[[str], None] = lambda _: None
) -> Compared:
    """Recompute by both rule sets; a row for each test whose flow at 50 Pa or verdict changes from one to the other.

    The share of a correction is what it does by the other rule set against what it does by the one; that of the fit is
    the rest (weights, an assumed exponent, points behind it). Their factors multiply to the change. Raises UsageError
    where both are the same, RuleSetError and ArchiveError as `recompute_archive` does.
    """
    first, second = load_rule_sets([one, other])
    if first.reference == second.reference:
        place, found = Place("--compare"), f"{first.reference} twice"
        cure = "Name another one beside it."
        raise UsageError(Problem("compare-same", place, found, "two different rule sets", cure, blocks="file"))
    done = recompute_archive(root, [one, other], progress=progress)
    names = {"one": first.reference, "other": second.reference}
    shares = ", ".join(f"a.{share}, b.{share}" for share in SHARES)
    judged = _verdicts(root, names, done.version) if first.judges and second.judges else {}
    rows: list[Row] = []
    unlike, same, undivided = Counter[str](), 0, 0
    for kind, job, stage, session, by_one, by_other, flow, flow_other, *parts in query.query(
        root, _RESULTS.format(shares=shares, **names), done.version
    ).rows:
        if not (by_one and by_other):
            unlike[kind] += 1
            continue
        change = _percent(flow, flow_other)
        verdicts = _changes(judged.get(session, {}), **names)
        if (flow is None) == (flow_other is None) and abs(change or 0.0) < SAME_PERCENT and not verdicts:
            same += 1
            continue
        made = _shares(change, parts)
        undivided += change is not None and made[0] is None
        rows.append((job, stage, session, *names.values(), flow, flow_other, change, *made, verdicts))
    left_out = [f"{counted(same, 'test')}: same value to {SAME_PERCENT} % and same verdicts"] if same else []
    left_out += [
        f"{counted(count, 'test')} of kind {kind}: not both rule sets are for it"
        for kind, count in sorted(unlike.items())
    ]
    notes = _notes(first, second)
    if undivided:
        notes.append(
            f"{counted(undivided, 'test')} without shares: the gauge displayed no flow that they could start from"
        )
    return Compared(Table(_COLUMNS, rows, left_out, notes), done.units)


def _notes(first: RuleSet, second: RuleSet) -> list[str]:
    notes = [f"shares are those of {second.reference} against those of {first.reference}; their factors multiply"]
    previews = [rules.reference for rules in (first, second) if not rules.judges]
    return notes + [f"verdicts are not compared: {name} is a preview and gives none" for name in previews]


def _percent(flow: float | None, other: float | None) -> float | None:
    return None if flow is None or other is None else 100.0 * (other / flow - 1.0)


def _shares(change: float | None, parts: list[float | None]) -> list[float | None]:
    """What each correction, and at last the fit, has of the change [%]; `parts` are pairs of shares, one then other."""
    if change is None or None in parts:
        return [None] * (len(SHARES) + 1)
    factors = [1.0 + part / 100.0 for part in parts if part is not None]
    ratios = [other / one for one, other in zip(factors[::2], factors[1::2], strict=True)]
    rest = 1.0 + change / 100.0
    for ratio in ratios:
        rest /= ratio
    return [100.0 * (ratio - 1.0) for ratio in (*ratios, rest)]


def _verdicts(root: Path, names: Mapping[str, str], version: int) -> _Verdicts:
    found: dict[str, dict[str, dict[str, tuple[str, str]]]] = {}
    for session, use, rule_set, verdict, because in query.query(root, _VERDICTS.format(**names), version).rows:
        found.setdefault(session, {}).setdefault(use, {})[rule_set] = (verdict, because or "")
    return found


def _changes(uses: Mapping[str, Mapping[str, tuple[str, str]]], one: str, other: str) -> str:
    """Each use whose verdict changes, with the checks that only one of both holds against it, or else all of them."""
    said = []
    for use, by in uses.items():
        (before, because), (after, because_then) = by[one], by[other]
        if before != after:
            checks, then = _names(because), _names(because_then)
            gone, come = [name for name in checks if name not in then], [name for name in then if name not in checks]
            reasons = [f"no longer {', '.join(gone)}"] * bool(gone) + [f"now {', '.join(come)}"] * bool(come)
            said.append(f"{use}: {before} to {after} ({'; '.join(reasons) or 'otherwise ' + ', '.join(then)})")
    return "; ".join(said)


def _names(because: str) -> list[str]:
    return [name for name in because.split(";") if name]
