"""Originals read again: better readings stand, others stay on record, what is not read any more is kept and said."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from pathlib import Path

import pytest
from click.testing import CliRunner

from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.archive.verify import verify
from interchange.cli.main import cli
from interchange.files import Source
from interchange.model.question import Delivery, Import, Mapped
from interchange.model.session import Session
from interchange.operations.changing import amend_test, undo_delivery
from interchange.operations.importing import import_files
from interchange.operations.plugins import plugins_of
from interchange.operations.rebuilding import Rebuilt, rebuild_archive
from interchange.reading.door import read_source
from interchange.resources import shipped

SENT = shipped("demo_archive") / "deliveries"
DELIVERY = Delivery("2026-01", "Ostrel")


def read(path: Path) -> Import:
    data = path.read_bytes()
    source = Source(path.name, hashlib.sha256(data).hexdigest(), len(data), data)
    return read_source(source, plugins_of().plugins)


def only(one: Import, *sessions: Session) -> Import:
    """What an older plugin made of the same bytes."""
    return replace(one, mapped=Mapped(sessions=sessions), plugin_version="0")


def other_volume(session: Session, volume_m3: float) -> Session:
    return session.model_copy(update={"building": session.building.model_copy(update={"volume_m3": volume_m3})})


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store.create(tmp_path / "a", Settings("Fennick Vale", None, "si"))


def standing(store: Store, version: int | None = None) -> dict[str, Session]:
    return {session.session_id: session for session in store.snapshot(version).sessions()}


def outcomes(done: Rebuilt) -> dict[str, tuple[str, int, str]]:
    return {row[0]: (row[1], row[2], row[4]) for row in done.table.rows}


def test_a_better_reading_stands_and_says_which_fields_differ(store: Store) -> None:
    one = read(SENT / "harrow" / "FV-2037-before.csv")
    (right,) = one.mapped.sessions
    was = store.commit([only(one, other_volume(right, 1.0))], delivery=DELIVERY)
    tried = rebuild_archive(store.root, dry_run=True)
    assert standing(store)[right.session_id].building.volume_m3 == 1.0
    done = rebuild_archive(store.root)
    assert outcomes(tried) == outcomes(done)
    assert outcomes(done) == {"FV-2037-before.csv": ("read otherwise", 1, "volume_m3: 1.0 → 301.5")}
    assert standing(store) == {right.session_id: right}
    assert standing(store, was.version)[right.session_id].building.volume_m3 == 1.0
    *_, newest = store.snapshot().journal()
    assert (newest.delivery, newest.sender) == ("2026-01", "Ostrel")
    assert rebuild_archive(store.root).summary == "1 original: 1 same."
    assert [problem for problem in verify(store.root) if problem.blocks != "note"] == []


def test_one_test_that_becomes_several_is_said(store: Store) -> None:
    one = read(SENT / "ostrel" / "tests-week-06.csv")
    store.commit([only(one, one.mapped.sessions[0])], delivery=DELIVERY)
    done = rebuild_archive(store.root)
    assert outcomes(done)["tests-week-06.csv"] == ("other number of tests", 8, "1 test became 8")
    assert standing(store) == {session.session_id: session for session in one.mapped.sessions}


def test_a_test_whose_plugin_was_withdrawn_is_kept_and_said(store: Store) -> None:
    data = b"a layout of old\n1;2;3\n"
    source = Source("old.csv", hashlib.sha256(data).hexdigest(), len(data), data)
    (session,) = read(SENT / "harrow" / "FV-2037-before.csv").mapped.sessions
    own = session.source.model_copy(update={"source_sha256": source.sha256})
    session = session.model_copy(update={"source": own})
    store.commit([Import(source, "imported", "old-layout", "1", "f" * 8, Mapped(sessions=(session,)))])
    before = store.snapshot().version
    done = rebuild_archive(store.root)
    assert outcomes(done)["old.csv"][:2] == ("kept as it stands", 1)
    assert (done.all_read, [problem.code for problem in done.problems]) == (False, ["layout-unknown"])
    assert store.snapshot().version == before
    arguments = ["archive", "rebuild", "--archive", str(store.root), "--no-recompute"]
    assert CliRunner().invoke(cli, arguments).exit_code == 1


def test_what_was_refused_before_is_taken_in_once_a_plugin_reads_it(store: Store) -> None:
    one = read(SENT / "harrow" / "FV-2037-before.csv")
    store.commit([Import(one.source, "refused")], delivery=DELIVERY)
    done = rebuild_archive(store.root)
    assert outcomes(done) == {"FV-2037-before.csv": ("now read", 1, "")}
    assert list(standing(store).values()) == list(one.mapped.sessions)


def test_an_amendment_holds_in_the_new_reading_or_becomes_a_question(store: Store) -> None:
    first, second = (read(SENT / "harrow" / f"FV-203{number}-before.csv") for number in (6, 7))
    for one in (first, second):
        store.commit([only(one, other_volume(one.mapped.sessions[0], 1.0))], delivery=DELIVERY)
    amend_test(store.root, "FV-2036", "crew", "C9", "R.", "roster")
    amend_test(store.root, "FV-2037", "volume_m3", "300", "R.", "drawings")
    done = rebuild_archive(store.root)
    by_job = {session.record.job_id: session for session in standing(store).values()}
    assert (by_job["FV-2036"].record.crew, by_job["FV-2037"].building.volume_m3) == ("C9", 301.5)
    (question,) = done.questions
    assert "Does the amendment of volume_m3 of test" in question


def test_an_undone_delivery_stays_undone(store: Store) -> None:
    store.commit([read(SENT / "harrow" / "FV-2037-before.csv")], delivery=DELIVERY)
    undo_delivery(store.root, "2026-01", "R.", "wrong programme")
    done = rebuild_archive(store.root)
    assert (standing(store), done.summary) == ({}, "0 originals: none.")


def test_companions_and_members_of_zip_files_read_the_same_again(store: Store) -> None:
    june = SENT / "ostrel" / "o1" / "2025-06" / "june.zip"
    january = SENT / "harrow" / "c2" / "2026-01"
    import_files(store.root, [june, january], recompute=False)
    before = standing(store)
    done = rebuild_archive(store.root)
    assert (done.table.rows, done.all_read) == ([], True)
    assert standing(store) == before
    assert len(before) > 7
