"""Decisions of reviewers: what waits for one with what the checks suggest, and what was decided. People decide."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from interchange.archive import query
from interchange.archive.store import Store
from interchange.errors import Place, Problem, UsageError
from interchange.model.question import Decision
from interchange.operations.changing import said
from interchange.operations.references import DISPLAYED
from interchange.operations.select import one_test
from interchange.quantities import CHOICES
from interchange.table import Table, counted

# What each verdict suggests, the gravest last.
_SUGGESTED = {"sound": "accept", "note": "accept_with_note", "cannot_tell": "ask_for_data", "retest_advised": "return"}

_REVIEW = """
with judged as (
    select session_id, rule_set, verdict, because_of,
           row_number() over (partition by session_id order by list_position({verdicts}, verdict) desc) as place
    from verdicts where use = '{use}' and rule_set <> '{displayed}'
),
decided as (
    select session_id, arg_max(decision, decision_number) as decision,
           arg_max(decided_on_current, decision_number) as decided_on_current
    from decisions where use is null or use = '{use}' group by session_id
)
select s.job_id, s.stage, s.started_at_local, s.contractor, s.crew, j.verdict, j.because_of,
       ({suggested})[j.verdict] as suggested_decision, d.decision, d.decided_on_current, s.session_id
from judged j join sessions s using (session_id) left join decided d using (session_id)
where j.place = 1
order by s.contractor, s.crew, s.job_id, s.started_at_local, s.session_id
"""


def decide(root: Path, test: str, decision: str, use: str | None, who: str, why: str) -> Decision:
    """Put a decision on the test of a job number or id on record, for one use or all (None).

    Raises UsageError where there is no such test or several, or an unknown word; ArchiveError as a commit.
    """
    for name, word in (("decision", decision), ("use", use)):
        if word is not None and word not in CHOICES[name]:
            expected = f"one of {', '.join(CHOICES[name])}"
            raise UsageError(Problem("word-unknown", Place("command line"), repr(word), expected, "Correct the word."))
    store = Store.open(root)
    session = one_test(store.snapshot(), test)
    made = Decision(session.session_id, use, decision, said(who, "--who"), said(why, "--why"), datetime.now(UTC))
    store.decide(made)
    return made


def review_table(root: Path, use: str, *, whole: bool = False) -> Table:
    """Tests that wait for a decision on a use, with what the checks suggest; all of them with `whole`.

    A test that changed after its decision waits again. Raises UsageError for an unknown use.
    """
    if use not in CHOICES["use"]:
        expected = f"one of {', '.join(CHOICES['use'])}"
        raise UsageError(Problem("word-unknown", Place("--use"), repr(use), expected, "Correct the word."))
    suggested = "map {" + ", ".join(f"'{verdict}': '{word}'" for verdict, word in _SUGGESTED.items()) + "}"
    sql = _REVIEW.format(use=use, displayed=DISPLAYED, verdicts=list(_SUGGESTED), suggested=suggested)
    answer = query.query(root, sql)
    rows = [tuple(row) for row in answer.rows]
    waiting = [row for row in rows if not row[-2]]
    left_out = []
    if not whole and len(waiting) < len(rows):
        left_out.append(f"{counted(len(rows) - len(waiting), 'test')} decided on; --all shows them too")
    notes = ["What is suggested follows from the checks alone. People decide: `interchange decide`."]
    return Table(answer.columns, rows if whole else waiting, left_out, notes)
