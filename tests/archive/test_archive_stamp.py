"""Stamps: the same archive gives the same total, any change another; changes are told row by row."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path

import pytest
from archive_samples import imported, monitoring, single_point, source

from interchange.archive import compaction, log, stamp
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.errors import ArchiveError, SourceError
from interchange.model.question import Change, Decision, Delivery
from interchange.operations.changing import amend_test
from interchange.operations.stamp import changes_between, stamp_archive


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = Store.create(tmp_path / "archive", Settings("P"))
    of, traced = source(b"one", "one.csv"), source(b"trace", "trace.csv")
    session, traces = monitoring(traced, [[1.0, None, 2.0]])
    store.commit([imported(of, single_point(of)), imported(traced, session, traces=traces)], delivery=Delivery("first"))
    return store


ONE = single_point(source(b"one", "one.csv")).session_id


def test_a_stamp_is_the_same_after_compacting_but_for_its_version(store: Store) -> None:
    before = stamp.of_archive(store.root)
    store.commit([imported(source(b"two"), single_point(source(b"two")))])
    middle = stamp.of_archive(store.root)
    store.rewrite()
    after = stamp.of_archive(store.root)
    assert (after.sessions, after.journal, after.originals) == (middle.sessions, middle.journal, middle.originals)
    assert before.sessions.items() < after.sessions.items()
    assert len({before.total, middle.total, after.total}) == 3


def test_a_total_covers_every_part(store: Store) -> None:
    totals = {stamp.of_archive(store.root).total}
    register = store.root / "registers" / "crews.csv"
    register.write_bytes(register.read_bytes() + b"x")
    totals.add(stamp.of_archive(store.root).total)
    when = datetime(2026, 3, 3, 8, 0, tzinfo=UTC)
    store.decide(Decision(ONE, None, "accept", "reviewer 1", "seen", when))
    totals.add(stamp.of_archive(store.root).total)
    assert len(totals) == 3


def test_a_stamp_reads_back_and_one_that_was_changed_is_refused(store: Store, tmp_path: Path) -> None:
    file = tmp_path / "stamp.json"
    table = stamp_archive(store.root, file)
    made = stamp.read(file)
    assert table.rows[-1] == ("total", "1", None, made.total)
    assert [row[0] for row in table.rows] == [
        *["session"] * 2, *["journal"] * 2, *["register"] * 4, *["original"] * 2, "total",
    ]  # fmt: skip
    document = json.loads(file.read_text())
    document["sessions"][ONE][1] = "0" * 64
    file.write_text(json.dumps(document))
    with pytest.raises(SourceError, match="other contents than its total says"):
        stamp.read(file)
    for wrong in ("", "[]", "{}", '{"stamp_format": 1}'):
        file.write_text(wrong)
        with pytest.raises(SourceError, match="a stamp that this toolkit wrote"):
            stamp.read(file)


def test_an_original_with_a_changed_byte_is_not_stamped(store: Store) -> None:
    path = next((store.root / "originals").glob("*/*.zst"))
    content = path.read_bytes()
    path.write_bytes(content[:-2] + bytes([content[-2] ^ 1]) + content[-1:])
    with pytest.raises(ArchiveError):
        stamp.of_archive(store.root)


@pytest.mark.parametrize("by", ["stamps", "versions", "stamps after old files are gone"])
def test_changes_are_told_field_by_field_with_who_and_why(store: Store, tmp_path: Path, by: str) -> None:
    stamp_archive(store.root, tmp_path / "a.json")
    amend_test(store.root, ONE, "volume_m3", "300", "office 2", "drawings")
    of = source(b"new", "new.csv")
    store.commit([imported(of, single_point(of))], delivery=Delivery("second"))
    gone = stamp.of_archive(store.root).archive_version
    if "gone" in by:
        store.rewrite()
        compaction.sweep(store.root, log.read(store.root), 0.0)
    stamp_archive(store.root, tmp_path / "b.json")
    names = ("1", str(gone)) if by == "versions" else (str(tmp_path / "a.json"), str(tmp_path / "b.json"))
    rows = changes_between(store.root, *names).rows
    new = single_point(of).session_id
    assert sorted(row for row in rows if row[0] == "session") == sorted(
        [
            ("session", ONE, "changed", "building.volume_m3", "412.5", "300.0", "office 2", "drawings"),
            ("session", new, "added", None, None, None, None, "delivery second"),
        ]
    )
    assert [row[1:3] for row in rows if row[0] == "journal"] == [("3", "added"), ("4", "added")]
    assert [row[1:3] for row in rows if row[0] == "original"] == [(of.sha256, "added")]


def test_what_was_undone_is_told_as_removed_by_whom_and_why(store: Store) -> None:
    store.undo("first", Change("office 2", "wrong programme"))
    rows = changes_between(store.root, "1", "2").rows
    assert [row[2:] for row in rows if row[0] == "session"] == [
        ("removed", None, None, None, "office 2", "wrong programme")
    ] * 2


def test_nothing_changed_is_said(store: Store) -> None:
    table = changes_between(store.root, "1", "1")
    assert (table.rows, table.notes) == ([], ["nothing changed from version 1 to version 1"])


def test_bytes_that_changed_behind_the_archives_back_are_told(store: Store, tmp_path: Path) -> None:
    stamp_archive(store.root, tmp_path / "a.json")
    made = json.loads((tmp_path / "a.json").read_text())
    forged = stamp.Stamp(
        **{k: v for k, v in made.items() if k not in ("stamp_format", "total", "sessions")},
        sessions={**{n: tuple(p) for n, p in made["sessions"].items()}, ONE: (made["sessions"][ONE][0], "0" * 64)},
    )
    (tmp_path / "b.json").write_text(stamp.text(forged))
    rows = changes_between(store.root, str(tmp_path / "a.json"), str(tmp_path / "b.json")).rows
    assert [row[:4] for row in rows] == [("session", ONE, "changed", "stored bytes")]
