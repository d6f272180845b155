"""Committing: what is added, what is known, what is replaced, and what stays readable."""

from __future__ import annotations

import dataclasses
import os
from pathlib import Path

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from archive_samples import batch_of_imports, imported, monitoring, multi_point, single_point, source

from interchange.archive import log, originals, verify
from interchange.archive.settings import Settings
from interchange.archive.store import STEPS, Receipt, Store
from interchange.errors import Place, Problem, SourceError
from interchange.model.document import revision
from interchange.model.question import Import, Mapped, Question


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store.create(tmp_path / "archive", Settings("P"))


def files(store: Store, part: str) -> int:
    return len(list((store.root / "table" / f"part={part}").iterdir()))


def test_a_committed_session_is_read_back_with_its_traces_and_its_original(store: Store) -> None:
    of = source(b"content\r\n" * 300_000)
    session, traces = monitoring(of, [[1.0, None, -0.5], [0.1]])
    receipt = store.commit([imported(of, session, traces=traces)])
    assert receipt == Receipt(1, added=(session.session_id,))
    again = Store.open(store.root)
    assert list(again.snapshot().sessions()) == [session]
    assert again.snapshot().traces(session.session_id) == traces
    with again.original(of.sha256) as stream:
        assert stream.read() == of.content
    assert verify.verify(store.root) == []


def test_the_steps_of_a_commit_come_in_their_order(store: Store) -> None:
    done: list[str] = []
    store.commit(batch_of_imports("a", 1), done.append)
    assert tuple(done) == STEPS


def test_nothing_to_commit_is_no_version(store: Store) -> None:
    assert store.commit([]) == Receipt(0)
    assert store.snapshot().version == 0


def test_the_same_again_is_one_journal_row_and_no_data(store: Store) -> None:
    imports = batch_of_imports("a", 2)
    first = store.commit(imports)
    before = files(store, "session"), files(store, "trace"), files(store, "source")
    second = store.commit(imports)
    assert second == Receipt(2, unchanged=first.added)
    assert (files(store, "session"), files(store, "trace"), files(store, "source")) == (*before[:2], before[2] + 1)
    assert [entry.import_number for entry in store.snapshot().journal()] == [1, 2, 3, 4, 5, 6]
    assert len(list(store.snapshot().sessions())) == 3


def test_a_newer_plugin_with_the_same_readings_changes_nothing(store: Store) -> None:
    of = source()
    session = single_point(of)
    store.commit([imported(of, session)])
    newer = session.model_copy(update={"source": session.source.model_copy(update={"plugin_version": "2"})})
    assert store.commit([imported(of, newer)]).unchanged == (session.session_id,)


def test_other_readings_of_the_same_bytes_replace_the_old_ones_which_stay_readable(store: Store) -> None:
    of = source()
    old, new = single_point(of, flow_m3_h=2800.0), single_point(of, flow_m3_h=2900.0)
    store.commit([imported(of, old)])
    assert store.commit([imported(of, new)]) == Receipt(2, replaced=(old.session_id,))
    assert list(store.snapshot().sessions()) == [new]
    assert list(store.snapshot(1).sessions()) == [old]
    assert sorted(map(revision, store.snapshot().sessions(every_revision=True))) == sorted(map(revision, (old, new)))
    # and back to the first reading, whose rows are still there
    assert store.commit([imported(of, old)]) == Receipt(3, replaced=(old.session_id,))
    assert list(store.snapshot().sessions()) == [old]
    assert len(list(store.snapshot().sessions(every_revision=True))) == 2
    assert verify.verify(store.root) == []


def test_other_values_of_a_trace_alone_replace_the_session(store: Store) -> None:
    of = source()
    session, traces = monitoring(of, [[1.0, 2.0]])
    _, mirrored = monitoring(of, [[-1.0, -2.0]])
    store.commit([imported(of, session, traces=traces)])
    assert store.commit([imported(of, session, traces=mirrored)]).replaced == (session.session_id,)
    assert store.snapshot().traces(session.session_id) == mirrored
    assert len(list(store.snapshot().sessions())) == 1
    assert verify.verify(store.root) == []


def test_a_source_that_becomes_two_sessions_hides_the_one(store: Store) -> None:
    of = source()
    whole, first, second = multi_point(of), single_point(of, row=2), single_point(of, row=3)
    store.commit([imported(of, whole)])
    receipt = store.commit([imported(of, first, second)])
    assert receipt.hidden == (whole.session_id,)
    assert receipt.added == (first.session_id, second.session_id)
    assert list(store.snapshot().sessions()) == [first, second]


def test_one_source_twice_in_a_commit_is_two_journal_rows_and_one_session(store: Store) -> None:
    of = source()
    renamed = dataclasses.replace(of, name="copy.csv")
    receipt = store.commit([imported(of, single_point(of)), imported(renamed, single_point(renamed))])
    assert receipt.added == receipt.unchanged
    assert [entry.source_name for entry in store.snapshot().journal()] == ["one.csv", "copy.csv"]
    assert len(list(store.snapshot().sessions())) == 1


def test_held_and_refused_sources_are_kept_with_what_stood_in_their_way(store: Store) -> None:
    held, refused, gone = source(b"held", "h.csv"), source(b"refused", "r.csv"), source(b"", "gone.csv")
    unread = dataclasses.replace(gone, sha256="", size_bytes=0)
    question = Question("q", "sign", "not stated", Place("h.csv"), ())
    problem = Problem("c", Place("r.csv", 1), "a", "b", "c", blocks="file")
    receipt = store.commit(
        [
            Import(held, "held", "p", "1", "f", Mapped(questions=(question,))),
            Import(refused, "refused", mapped=Mapped(problems=(problem,))),
            Import(unread, "refused", mapped=Mapped(problems=(problem,))),
        ]
    )
    assert receipt == Receipt(1)
    entries = list(store.snapshot().journal())
    assert [(entry.import_state, entry.source_sha256) for entry in entries] == [
        ("held", held.sha256),
        ("refused", refused.sha256),
        ("refused", None),
    ]
    assert entries[0].questions == (question,) and entries[1].problems == (problem,)
    with store.original(refused.sha256) as stream:
        assert stream.read() == b"refused"
    assert len(list((store.root / "originals").glob("*/*"))) == 2
    assert verify.verify(store.root) == []


def test_a_later_refusal_takes_nothing_away(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))])
    store.commit([Import(of, "refused")])
    assert list(store.snapshot().sessions()) == [single_point(of)]
    assert store.snapshot().sql().execute("SELECT count(*) FROM sessions").fetchall() == [(1,)]


@pytest.mark.parametrize("change", ["other bytes", "no file"])
def test_a_source_that_changes_under_way_is_an_error_and_nothing_is_imported(
    store: Store, tmp_path: Path, change: str
) -> None:
    path = tmp_path / "s.csv"
    path.write_bytes(b"one")
    of = dataclasses.replace(source(b"one"), content=path)
    path.write_bytes(b"two") if change == "other bytes" else path.unlink()
    other = source(b"fine")
    with pytest.raises(SourceError, match="import it again"):
        store.commit([imported(other, single_point(other)), imported(of, single_point(of))])
    assert store.snapshot().version == 0
    assert not originals.path(store.root, of.sha256).exists()
    assert not list(store.root.rglob("*.part"))


def test_a_whole_number_too_large_for_a_column_is_an_error_of_its_source(store: Store) -> None:
    of = source()
    session = single_point(of)
    large = session.model_copy(update={"record": session.record.model_copy(update={"visit_number": 2**63})})
    with pytest.raises(SourceError, match=r"one\.csv") as caught:
        store.commit([imported(of, large)])
    assert [problem.code for problem in caught.value.problems] == ["value-too-large"]
    assert store.snapshot().version == 0


def test_what_could_not_be_read_back_is_refused_as_a_bug(store: Store) -> None:
    of = source()
    session, (trace,) = monitoring(of, [[1.0, 2.0]])
    short = dataclasses.replace(trace, values=pa.array([1.0]))
    for wrong in (
        imported(of, session),
        imported(of, session, traces=[short]),
        imported(of, session, traces=[trace, trace]),
        imported(of, single_point(of), single_point(of)),
        Import(of, "held", mapped=Mapped(sessions=(single_point(of),))),
        imported(dataclasses.replace(of, sha256=""), single_point(of)),
    ):
        with pytest.raises(ValueError, match=r"one\.csv"):
            store.commit([wrong])
    assert store.snapshot().version == 0


def test_a_second_writer_from_the_same_version_is_refused_and_does_its_rest(store: Store) -> None:
    shared, own = batch_of_imports("shared", 2), batch_of_imports("own", 1)
    late = Store.open(store.root)
    first: list[Receipt] = []

    def overtake(step: str) -> None:
        if step == "folders" and not first:
            first.append(store.commit(shared))

    receipt = late.commit([*shared, *own], overtake)
    assert first[0].version == 1
    assert receipt == Receipt(2, added=tuple(i.mapped.sessions[0].session_id for i in own), unchanged=first[0].added)
    assert [entry.import_number for entry in store.snapshot().journal()] == list(range(1, 9))
    assert verify.verify(store.root) == []  # neither a session twice nor a file left over


@pytest.mark.parametrize(
    ("values", "encoding"),
    [
        ([round((number % 40) / 10, 1) for number in range(9000)], "RLE_DICTIONARY"),
        ([number * 1.000123 / 7 for number in range(9000)], "BYTE_STREAM_SPLIT"),
        ([number * 1.000123 / 7 for number in range(200)], "BYTE_STREAM_SPLIT"),
    ],
    ids=["at a gauge's resolution", "continuous", "continuous and short"],
)
def test_float_columns_are_encoded_by_their_values(store: Store, values: list[float], encoding: str) -> None:
    of = source()
    session, traces = monitoring(of, [values])
    store.commit([imported(of, session, traces=traces)])
    (metadata,) = (found for p in store.snapshot().log.files["trace"] if (found := pq.read_metadata(p)).num_rows)
    column = metadata.row_group(0).column(7)
    assert column.path_in_schema == "values.list.element" and column.compression == "ZSTD"
    assert {"RLE_DICTIONARY", "BYTE_STREAM_SPLIT"} & set(column.encodings) == {encoding}


def test_row_groups_hold_60_chunks_of_traces(store: Store) -> None:
    of = source()
    session, traces = monitoring(of, [[1.0]] * 130)
    store.commit([imported(of, session, traces=traces)])
    metadata = max((pq.read_metadata(p) for p in store.snapshot().log.files["trace"]), key=lambda m: m.num_rows)
    assert [metadata.row_group(group).num_rows for group in range(metadata.num_row_groups)] == [60, 60, 10]


def test_everything_is_durable_before_it_is_visible_and_visible_durably_before_it_is_acknowledged(
    store: Store, monkeypatch: pytest.MonkeyPatch
) -> None:
    entry = log.entry(store.root, 1)
    order: list[tuple[int, bool]] = []

    def fsync(handle: int) -> None:
        order.append((os.fstat(handle).st_ino, entry.exists()))

    monkeypatch.setattr(os, "fsync", fsync)
    store.commit(batch_of_imports("a", 2))
    early = {inode for inode, visible in order if not visible}
    late = {inode for inode, visible in order if visible}
    text = entry.read_text()
    written = [path for paths in log.read(store.root).files.values() for path in paths if path.name in text]
    kept = list((store.root / "originals").glob("*/*"))
    assert len(written) == 3 and len(kept) == 3
    for path in [*written, *kept]:
        assert path.stat().st_ino in early, path
        assert path.parent.stat().st_ino in early, path
    for folder in ("table", "originals"):
        assert (store.root / folder).stat().st_ino in early, folder
    checksum = store.root / "checksums" / f"{1:020d}.sha256"
    for path in (entry, entry.parent, checksum, checksum.parent):
        assert path.stat().st_ino in late, path
