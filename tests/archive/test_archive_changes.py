"""Deliveries undone and fields amended: what stands changes, nothing is overwritten, nothing is lost."""

from __future__ import annotations

import dataclasses
from datetime import UTC, datetime
from pathlib import Path

import pytest
from archive_samples import imported, monitoring, single_point, source

from interchange.archive.settings import Settings
from interchange.archive.store import STEPS, Store
from interchange.archive.verify import verify
from interchange.errors import UsageError
from interchange.model.amendment import read_value, value_text
from interchange.model.question import Change, Decision, Delivery
from interchange.model.session import Amendment, Session

WHO = Change("office 2", "wrong programme")
FIRST, SECOND = Delivery("2026-01", "Harrow"), Delivery("2026-02", "Ostrel")


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store.create(tmp_path / "a", Settings("Fennick Vale", None, "si"))


def standing(store: Store, version: int | None = None) -> dict[str, Session]:
    return {session.session_id: session for session in store.snapshot(version).sessions()}


def amendment(session: Session, field: str, text: str | None) -> Amendment:
    return Amendment(
        amended_field=field,
        amended_from=value_text(session, field),
        amended_to=None if text is None else read_value(session, field, text),
        amended_by="office 2",
        amended_why="drawings came in",
        amended_at_utc=datetime(2026, 3, 2, 10, 15, tzinfo=UTC),
    )


def sound(store: Store) -> bool:
    return [problem for problem in verify(store.root) if problem.blocks != "note"] == []


def test_an_undone_delivery_leaves_no_trace_in_the_current_state_and_all_in_the_history(store: Store) -> None:
    one, two = source(b"one", "one.csv"), source(b"two", "two.csv")
    store.commit([imported(one, single_point(one))], delivery=FIRST)
    before = standing(store)
    second = store.commit([imported(two, single_point(two))], delivery=SECOND)
    undone = store.undo("2026-02", WHO)
    assert standing(store) == before
    assert undone.hidden == second.added
    assert list(standing(store, second.version)) == [*before, *second.added]
    with store.original(two.sha256) as stream:
        assert stream.read() == b"two"
    (row,) = (row for row in store.snapshot().journal() if row.import_state == "undone")
    assert (row.changed_by, row.changed_why, row.delivery) == ("office 2", "wrong programme", "2026-02")
    assert sound(store)


def test_undoing_a_better_reading_brings_the_earlier_one_back(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))], delivery=FIRST)
    before = standing(store)
    store.commit([imported(of, single_point(of, flow_m3_h=2900.0))], delivery=SECOND)
    assert standing(store) != before
    receipt = store.undo("2026-02", WHO)
    assert standing(store) == before
    assert receipt.replaced == tuple(before)
    assert store.snapshot().sql().execute("SELECT count(*) FROM sessions").fetchall() == [(1,)]
    assert sound(store)


def test_a_source_that_a_later_delivery_also_brought_stays(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))], delivery=FIRST)
    store.commit([imported(of, single_point(of))], delivery=SECOND)
    with pytest.raises(UsageError, match="a delivery by which something stands"):
        store.undo("2026-01", WHO)
    assert len(standing(store)) == 1


def test_what_was_undone_comes_back_when_it_is_imported_again(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))], delivery=FIRST)
    before = standing(store)
    store.undo("2026-01", WHO)
    assert standing(store) == {}
    again = store.commit([imported(of, single_point(of))], delivery=SECOND)
    assert again.added == tuple(before)
    assert standing(store) == before
    assert sound(store)


@pytest.mark.parametrize("name", ["2026-03", ""])
def test_an_unknown_delivery_is_an_error_that_names_some(store: Store, name: str) -> None:
    of = source()
    store.commit([imported(of, single_point(of))], delivery=FIRST)
    with pytest.raises(UsageError, match="such as 2026-01"):
        store.undo(name, WHO)
    assert len(standing(store)) == 1


def test_a_delivery_is_undone_once(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))], delivery=FIRST)
    store.undo("2026-01", WHO)
    with pytest.raises(UsageError, match="Nothing of it stands any more"):
        store.undo("2026-01", WHO)


def test_an_amended_test_says_so_and_its_reading_stays(store: Store) -> None:
    of = source()
    receipt = store.commit([imported(of, single_point(of))], delivery=FIRST)
    (session,) = standing(store).values()
    change = amendment(session, "volume_m3", "300")
    store.amend({session.session_id: change})
    (now,) = standing(store).values()
    assert now.building.volume_m3 == 300.0
    assert now.amendments == (change,)
    assert now.model_copy(update={"building": session.building, "amendments": ()}) == session
    assert list(standing(store, receipt.version).values()) == [session]
    sql = "SELECT s.volume_m3, a.amended_from, a.amended_to FROM sessions s JOIN amendments a USING (session_id)"
    assert store.snapshot().sql().execute(sql).fetchall() == [(300.0, "412.5", "300.0")]
    assert sound(store)


def test_a_point_can_be_dropped_and_a_field_emptied(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))])
    (session,) = standing(store).values()
    store.amend({session.session_id: amendment(session, "runs.1.points.1.dropped", "true")})
    (session,) = standing(store).values()
    store.amend({session.session_id: amendment(session, "volume_m3", None)})
    (session,) = standing(store).values()
    assert session.runs[0].points[0].dropped is True
    assert session.building.volume_m3 is None
    assert [one.amended_field for one in session.amendments] == ["runs.1.points.1.dropped", "volume_m3"]


def test_an_amendment_of_a_value_that_is_no_longer_there_changes_nothing(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))])
    (session,) = standing(store).values()
    late = amendment(session, "volume_m3", "300")
    store.amend({session.session_id: amendment(session, "volume_m3", "310")})
    before = standing(store)
    with pytest.raises(UsageError, match="somebody else has changed it"):
        store.amend({session.session_id: late})
    assert standing(store) == before


def test_amendments_hold_when_the_source_is_read_again(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))], delivery=FIRST)
    (session,) = standing(store).values()
    store.amend({session.session_id: amendment(session, "volume_m3", "300")})
    amended = standing(store)
    same = store.commit([imported(of, single_point(of))], delivery=SECOND)
    assert same.unchanged == (session.session_id,)
    assert standing(store) == amended
    better = store.commit([imported(of, single_point(of, flow_m3_h=2900.0))], delivery=Delivery("2026-03"))
    (now,) = standing(store).values()
    assert better.replaced == (session.session_id,)
    assert (now.building.volume_m3, now.runs[0].points[0].fan_readings[0].flow_m3_h) == (300.0, 2900.0)
    assert sound(store)


def test_an_amendment_that_no_longer_fits_becomes_a_question(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))])
    (session,) = standing(store).values()
    store.amend({session.session_id: amendment(session, "volume_m3", "300")})
    building = session.building.model_copy(update={"volume_m3": 350.0})
    store.commit([imported(of, session.model_copy(update={"building": building}))])
    (now,) = standing(store).values()
    assert (now.building.volume_m3, now.amendments) == (350.0, ())
    *_, newest = store.snapshot().journal()
    (question,) = newest.questions
    assert question.subject == f"Does the amendment of volume_m3 of test {session.session_id} still hold?"
    assert "from 412.5 to 300.0" in question.why


def test_an_amended_test_keeps_its_traces(store: Store) -> None:
    of = source()
    session, traces = monitoring(of, [[1.0, 2.0, None]])
    store.commit([imported(of, session, traces=traces)])
    store.amend({session.session_id: amendment(session, "job_id", "0042")})
    (trace,) = store.snapshot().traces(session.session_id)
    assert trace.values.to_pylist() == [1.0, 2.0, None]
    assert standing(store)[session.session_id].record.job_id == "0042"
    assert sound(store)


@pytest.mark.parametrize("step", STEPS[1:])
@pytest.mark.parametrize("change", ["undo", "amend"])
def test_a_writer_cut_off_leaves_a_change_made_whole_or_not_at_all(store: Store, step: str, change: str) -> None:
    class CutOffError(Exception):
        pass

    def stop(done: str) -> None:
        if done == step:
            raise CutOffError

    of = source()
    store.commit([imported(of, single_point(of))], delivery=FIRST)
    (session,) = standing(store).values()
    with pytest.raises(CutOffError):
        if change == "undo":
            store.undo("2026-01", WHO, stop)
        else:
            store.amend({session.session_id: amendment(session, "volume_m3", "300")}, stop)
    (volume,) = [one.building.volume_m3 for one in standing(store).values()] or [None]
    assert volume in ({412.5, None} if change == "undo" else {412.5, 300.0})
    assert (volume == 412.5) == (STEPS.index(step) < STEPS.index("log entry"))
    assert sound(store)


def test_what_a_journal_row_of_an_older_archive_lacks_is_absent(store: Store) -> None:
    import pyarrow.parquet as pq

    of = source()
    store.commit([imported(of, single_point(of))], delivery=FIRST)
    (path,) = [path for path in store.snapshot().log.files["source"] if pq.read_metadata(path).num_rows]
    pq.write_table(pq.read_table(path).drop_columns(["delivery", "sender", "changed_by", "changed_why"]), path)
    (row,) = store.snapshot().journal()
    assert dataclasses.asdict(row)["delivery"] is None
    assert len(standing(store)) == 1


def decision(session_id: str, word: str, use: str | None = None) -> Decision:
    return Decision(session_id, use, word, "reviewer 1", "looked at it", datetime(2026, 3, 3, 8, 0, tzinfo=UTC))


def test_the_newest_decision_stands_and_earlier_ones_stay_on_record(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))])
    (session,) = standing(store).values()
    for word, use in (("return", None), ("accept", None), ("waive", "publishable")):
        store.decide(decision(session.session_id, word, use))
    sql = "SELECT use, decision, decided_on_current FROM decisions ORDER BY use NULLS FIRST"
    found = store.snapshot().sql().execute(sql).fetchall()
    assert found == [(None, "accept", True), ("publishable", "waive", True)]
    assert [one.decision for one in store.snapshot().decisions()] == ["return", "accept", "waive"]
    assert sound(store)


def test_a_decision_on_a_test_that_changed_since_says_so(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))])
    (session,) = standing(store).values()
    store.decide(decision(session.session_id, "accept"))
    store.amend({session.session_id: amendment(session, "volume_m3", "300")})
    sql = "SELECT decision, decided_on_current FROM decisions"
    assert store.snapshot().sql().execute(sql).fetchall() == [("accept", False)]


def test_a_decision_leaves_results_as_they_are(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))])
    (session,) = standing(store).values()
    before = store.snapshot()
    store.decide(decision(session.session_id, "accept"))
    after = store.snapshot()
    assert (after.version, after.log.tests_number) == (before.version + 1, before.log.tests_number)
