"""What a commit will write after a certain version: journal rows that say what stands, and revisions not stored yet."""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import asdict, dataclass, field
from datetime import UTC, datetime
from typing import Any

import pyarrow.compute as pc

from interchange.archive import tables
from interchange.archive.snapshot import STANDING, Snapshot
from interchange.errors import Place, Problem, UsageError
from interchange.model.amendment import amended, value_text
from interchange.model.question import Change, Choice, Decision, Delivery, Import, Question, Trace, question_id
from interchange.model.session import Amendment, Session

_NAMED = 5  # deliveries that an error names


@dataclass(slots=True)
class Plan:
    """What a commit has to write, and the receipt it will give."""

    journal: list[dict[str, Any]] = field(default_factory=list)
    sessions: list[tuple[Session, str]] = field(default_factory=list)
    traces: list[tuple[Trace, str]] = field(default_factory=list)
    added: list[str] = field(default_factory=list)
    unchanged: list[str] = field(default_factory=list)
    replaced: list[str] = field(default_factory=list)
    hidden: list[str] = field(default_factory=list)
    decisions: list[dict[str, Any]] = field(default_factory=list)

    @property
    def last_number(self) -> int:
        """Number of the last row; rows of all sorts are numbered in the order of commits."""
        return int(self.journal[-1]["import_number"] if self.journal else self.decisions[-1]["decision_number"])


def of_imports(
    before: Snapshot, imports: Sequence[Import], kept: Sequence[str | None], delivery: Delivery | None
) -> Plan:
    """Imports, whose originals have the hashes `kept`, as one delivery or part of one."""
    plan, when, number = Plan(), datetime.now(UTC), before.log.entry_number
    current: dict[str, dict[str, str]] = {}
    stored: set[tuple[str, str]] = set()
    touched: set[str] = set()
    for row in before.taken_in({one.source.sha256 for one in imports if one.source.sha256}).to_pylist():
        current[row["source_sha256"]] = dict(zip(row["session_ids"], row["revisions"], strict=True))
        stored.update(current[row["source_sha256"]].items())
        if row["import_state"] == "amended":
            touched.update(row["session_ids"])
    amendments = _amendments(before, touched)
    for one, original in zip(imports, kept, strict=True):
        traces: dict[str, list[Trace]] = {}
        for trace in one.mapped.traces:
            traces.setdefault(trace.session_id, []).append(trace)
        revisions: dict[str, str] = {}
        questions: list[Question] = []
        was = current.get(one.source.sha256, {})
        for read in one.mapped.sessions:
            name, own = read.session_id, traces.get(read.session_id, [])
            session = _amended_again(read, amendments.get(name, ()), one.source.name, questions)
            revisions[name] = revision = tables.stored_revision(session, own)
            if (name, revision) not in stored:
                stored.add((name, revision))
                plan.sessions.append((session, revision))
                plan.traces += [(trace, revision) for trace in own]
            same = was.get(name) == revision
            (plan.unchanged if same else plan.replaced if name in was else plan.added).append(name)
        if one.state == "imported":
            plan.hidden += [name for name in was if name not in revisions]
            current[one.source.sha256] = revisions
        number += 1
        plan.journal.append(
            tables.journal_row(
                one, revisions, questions, number=number, when=when, original_sha256=original, delivery=delivery
            )
        )
    return plan


def of_undo(before: Snapshot, delivery: str, change: Change) -> Plan:
    """Every source that stands by this delivery stands by the one before it again, or not at all."""
    plan, when, number = Plan(), datetime.now(UTC), before.log.entry_number
    rows = _standing(before)
    there = {row["delivery"] for row in rows}
    by_source: dict[str, list[dict[str, Any]]] = {}
    for row in rows:
        by_source.setdefault(row["source_sha256"], []).append(row)
    for of_source in by_source.values():
        newest = of_source[-1]
        if newest["delivery"] != delivery or newest["import_state"] == "undone":
            continue
        earlier = next((row for row in reversed(of_source) if row["delivery"] != delivery), None)
        now, then = _revisions(newest), _revisions(earlier) if earlier else {}
        number += 1
        row = tables.changed_row(earlier or newest, "undone", then, number=number, when=when, change=change)
        plan.journal.append(row)
        plan.hidden += [name for name in now if name not in then]
        plan.replaced += [name for name in now if name in then and then[name] != now[name]]
        plan.added += [name for name in then if name not in now]
    if not plan.journal:
        raise UsageError(_nothing_to_undo(delivery, there))
    return plan


def of_amendments(before: Snapshot, amendments: Mapping[str, Amendment]) -> Plan:
    """One field of each of some current sessions changed, in a new revision of each; all or none."""
    plan, number = Plan(replaced=list(amendments)), before.log.entry_number
    standing: dict[str, dict[str, Any]] = {}
    for session in before.sessions(session_ids=amendments):
        name, source = session.session_id, session.source.source_sha256
        amendment = amendments[name]
        changed = amended(session, amendment)
        if changed is None:
            found = f"{value_text(session, amendment.amended_field) or 'nothing'}"
            place = Place(f"test {name}", column=amendment.amended_field)
            expected, cure = (
                amendment.amended_from or "nothing",
                "Look at the test again: somebody else has changed it.",
            )
            raise UsageError(Problem("amend-changed", place, found, expected, cure))
        own = before.traces(name)
        revision = tables.stored_revision(changed, own)
        newest = standing.get(source) or _standing(before, [source])[-1]
        number += 1
        standing[source] = tables.changed_row(
            newest,
            "amended",
            {**_revisions(newest), name: revision},
            number=number,
            when=amendment.amended_at_utc,
            change=Change(amendment.amended_by, amendment.amended_why),
        )
        plan.journal.append(standing[source])
        plan.sessions.append((changed, revision))
        plan.traces += [(trace, revision) for trace in own]
    return plan


def of_decision(before: Snapshot, decision: Decision) -> Plan:
    """What a reviewer decided, with the revision of the test as it stands now."""
    current = before.current
    (revision,) = current.filter(pc.equal(current["session_id"], decision.session_id))["revision"].to_pylist()
    row = {"decision_number": before.log.entry_number + 1, "revision": revision, **asdict(decision)}
    return Plan(decisions=[row])


def _standing(before: Snapshot, sources: Collection[str] | None = None) -> list[dict[str, Any]]:
    """Whole journal rows that say what stands of sources, oldest first."""
    where: dict[str, Collection[Any]] = {"import_state": STANDING}
    if sources is not None:
        where["source_sha256"] = sources
    rows = [row for batch in before.batches("source", where=where) for row in batch.to_pylist()]
    return sorted(rows, key=lambda row: int(row["import_number"]))


def _revisions(row: Mapping[str, Any]) -> dict[str, str]:
    return dict(zip(row["session_ids"], row["revisions"], strict=True))


def _amendments(before: Snapshot, session_ids: Collection[str]) -> dict[str, tuple[Amendment, ...]]:
    if not session_ids:
        return {}
    return {session.session_id: session.amendments for session in before.sessions(session_ids=session_ids)}


def _amended_again(
    session: Session, amendments: Sequence[Amendment], source: str, questions: list[Question]
) -> Session:
    """A test that was read anew with the amendments made to it, as far as they still fit; a question for each other."""
    for amendment in amendments:
        try:
            changed = amended(session, amendment)
        except UsageError:  # the new reading has no such run or point
            changed = None
        if changed is None:
            questions.append(_still_holds(session, amendment, source))
        else:
            session = changed
    return session


def _still_holds(session: Session, amendment: Amendment, source: str) -> Question:
    field = amendment.amended_field
    was, shall = amendment.amended_from or "nothing", amendment.amended_to or "nothing"
    subject = f"Does the amendment of {field} of test {session.session_id} still hold?"
    why = (
        f"{amendment.amended_by} changed it from {was} to {shall} ({amendment.amended_why}); the file, read anew, no "
        f"longer gives {was}. The test stands as it was read."
    )
    choices = (
        Choice(
            "yes", f"it holds: amend {field} to {shall} again", "the amendment on record", f"{field} becomes {shall}"
        ),
        Choice("no", "it does not", "the file as it is read now", "the test stays as it was read"),
    )
    place = Place(source, column=field)
    return Question(question_id(session.session_id, subject), subject, why, place, choices, ("file",))


def _nothing_to_undo(delivery: str, there: Collection[str | None]) -> Problem:
    place, found = Place("command line"), repr(delivery)
    if delivery in there:
        expected = "a delivery by which something stands"
        return Problem("delivery-undone", place, found, expected, "Nothing of it stands any more; nothing was changed.")
    last = sorted(filter(None, there))[-_NAMED:]
    expected = f"a delivery of this archive, such as {', '.join(last)}" if last else "a delivery of this archive"
    cure = '`interchange query "from deliveries"` lists them.'
    return Problem("delivery-unknown", place, found, expected, cure)
