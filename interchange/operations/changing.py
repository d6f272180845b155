"""Changes that people make to what stands in an archive: a delivery undone, a field amended. Nothing is overwritten."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path

from interchange.archive.store import Receipt, Store
from interchange.errors import Place, Problem, UsageError
from interchange.model.amendment import read_value, value_text
from interchange.model.question import Change
from interchange.model.session import Amendment, Session
from interchange.operations.select import one_test


@dataclass(frozen=True, slots=True)
class Amended:
    """What a field held and holds now, as JSON text; None where it was or is empty."""

    receipt: Receipt
    session: Session
    was: str | None
    now: str | None


def undo_delivery(root: Path, delivery: str, who: str, why: str) -> Receipt:
    """Let what a delivery brought stand no more. Raises UsageError where there is none, ArchiveError as a commit."""
    return Store.open(root).undo(delivery, Change(said(who, "--who"), said(why, "--why")))


def amend_test(root: Path, test: str, field: str, text: str | None, who: str, why: str) -> Amended:
    """Change one field of the test of a job number or id; `text` is as a person writes it, None empties the field.

    Raises UsageError where there is no such test or several, no such field, or the field cannot hold the value.
    """
    store = Store.open(root)
    session = one_test(store.snapshot(), test)
    was = value_text(session, field)
    now = None if text is None else read_value(session, field, text)
    if was == now:
        place, expected = Place(f"test {session.session_id}", column=field), "another value"
        raise UsageError(Problem("amend-same", place, was or "nothing", expected, "Nothing was changed."))
    amendment = Amendment(
        amended_field=field,
        amended_from=was,
        amended_to=now,
        amended_by=said(who, "--who"),
        amended_why=said(why, "--why"),
        amended_at_utc=datetime.now(UTC),
    )
    return Amended(store.amend({session.session_id: amendment}), session, was, now)


def mark_of_record(root: Path, test: str, who: str, why: str) -> tuple[Session, list[Session]]:
    """Let the test of a job number or id be the result of record of its job and stage, and no other one; in one commit.

    The test, and the others that no longer can be. Raises UsageError where there is no such test or several, it names
    neither job nor stage, or nothing would change; ArchiveError as a commit.
    """
    store = Store.open(root)
    snapshot = store.snapshot()
    session = one_test(snapshot, test)
    job, stage = session.record.job_id, session.record.stage
    if job is None or stage is None:
        place = Place(f"test {session.session_id}")
        cure = "Put it on record first: `interchange amend`."
        raise UsageError(Problem("record-of-what", place, "no job or no stage", "both", cure))
    others = [
        one
        for one in snapshot.sessions(job_ids=[job])
        if one.record.stage == stage and one.session_id != session.session_id
    ]
    marks = {one.session_id: (one, one is session) for one in (session, *others)}
    changes = {
        name: Amendment(
            amended_field="result_of_record",
            amended_from=value_text(one, "result_of_record"),
            amended_to="true" if counts else "false",
            amended_by=said(who, "--who"),
            amended_why=said(why, "--why"),
            amended_at_utc=datetime.now(UTC),
        )
        for name, (one, counts) in marks.items()
        if one.record.result_of_record is not counts
    }
    if not changes:
        place = Place(f"test {session.session_id}", column="result_of_record")
        raise UsageError(Problem("amend-same", place, "true", "another test", "Nothing was changed."))
    store.amend(changes)
    return session, others


def said(text: str, option: str) -> str:
    """What somebody said under an option. Raises UsageError where it is nothing."""
    if text.strip():
        return text.strip()
    cure = "Say it: a change that nobody stands for cannot be defended."
    raise UsageError(Problem("change-unsaid", Place("command line", column=option), "nothing", "some words", cure))
