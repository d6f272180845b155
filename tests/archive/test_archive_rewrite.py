"""Compacting: fewer, sorted files hold the same rows; what nobody reads any more goes after a time."""

from __future__ import annotations

import os
import time
from datetime import UTC, datetime
from pathlib import Path

import pyarrow.compute as pc
import pyarrow.parquet as pq
import pytest
from archive_samples import batch_of_imports, imported, single_point, source

from interchange.archive import compaction, log, verify
from interchange.archive.log import PARTS
from interchange.archive.settings import Settings
from interchange.archive.store import STEPS, Store
from interchange.errors import ArchiveError
from interchange.model.question import Decision


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = Store.create(tmp_path / "archive", Settings("P"))
    for label in "cab":
        store.commit(batch_of_imports(label, 3))
    of = source(b"again")
    store.commit([imported(of, single_point(of))])
    store.commit([imported(of, single_point(of, flow_m3_h=2900.0))])
    name = single_point(of).session_id
    store.decide(Decision(name, None, "accept", "reviewer 1", "seen", datetime(2026, 3, 3, 8, 0, tzinfo=UTC)))
    return store


def everything(store: Store) -> dict[str, list[str]]:
    """Every stored row of every part, as text, whatever file it lies in."""
    snapshot = store.snapshot()
    return {
        part: sorted(str(row) for rows in snapshot.batches(part, every_revision=True) for row in rows.to_pylist())
        for part in PARTS
    }


def counts(store: Store) -> dict[str, int]:
    return {part: len(files) for part, files in store.snapshot().log.files.items()}


def test_compacting_leaves_one_sorted_file_a_part_and_every_row_as_it_was(store: Store) -> None:
    before, current, rows = store.snapshot(), list(store.snapshot().sessions()), everything(store)
    rewritten = store.rewrite()
    after = store.snapshot()
    assert (rewritten.version, rewritten.files_after) == (before.version + 1, 4)
    assert counts(store) == dict.fromkeys(PARTS, 1)
    assert everything(store) == rows
    assert sorted(s.session_id for s in after.sessions()) == sorted(s.session_id for s in current)
    assert after.log.tests_number == before.log.tests_number  # results stay valid
    assert after.log.entry_number == before.log.entry_number
    numbers = [entry.import_number for entry in after.journal()]
    assert numbers == sorted(numbers)
    (path,) = after.log.files["trace"]
    ids = pq.read_table(path)["session_id"].to_pylist()
    assert ids == sorted(ids)
    assert verify.verify(store.root) == []


def test_an_archive_that_is_compact_is_left_alone(store: Store) -> None:
    first = store.rewrite()
    assert store.rewrite().files_before == 0
    assert store.snapshot().version == first.version


def test_row_groups_and_encodings_are_those_of_the_part(store: Store) -> None:
    imports = [one for label in range(20) for one in batch_of_imports(f"more {label}", 0)]
    for one in imports:
        store.commit([one])
    store.rewrite()
    (path,) = store.snapshot().log.files["trace"]
    metadata = pq.read_metadata(path)
    groups = [metadata.row_group(number) for number in range(metadata.num_row_groups)]
    assert [group.num_rows for group in groups] == [46]
    column = next(c for n in range(8) if (c := groups[0].column(n)).path_in_schema == "values.list.element")
    assert column.compression == "ZSTD" and "RLE_DICTIONARY" in column.encodings


def test_files_above_half_the_memory_limit_are_not_written_again(store: Store) -> None:
    assert store.rewrite(most_bytes=1).files_before == 0


def test_an_import_after_compacting_knows_what_is_there(store: Store) -> None:
    store.rewrite()
    receipt = store.commit(batch_of_imports("a", 3))
    assert (len(receipt.unchanged), receipt.added) == (4, ())


def test_an_import_that_was_first_is_not_lost_and_the_work_is_not_done_twice(store: Store) -> None:
    done: list[str] = []

    def overtake(step: str) -> None:
        done.append(step)
        if step == "folders" and done.count("folders") == 1:
            store.commit(batch_of_imports("first", 1))

    rows = {part: len(found) for part, found in everything(store).items()}
    rewritten = store.rewrite(after_step=overtake)
    assert done.count("folders") == 2
    assert {part: len(found) for part, found in everything(store).items()} == rows | {
        "source": rows["source"] + 2, "session": rows["session"] + 2, "trace": rows["trace"] + 2,
    }  # fmt: skip
    assert rewritten.files_after == 4
    assert verify.verify(store.root) == []


def test_of_two_that_compact_at_once_the_later_one_finds_nothing_to_do(store: Store) -> None:
    raced: list[int] = []

    def overtake(step: str) -> None:
        if step == "folders" and not raced:
            raced.append(store.rewrite().version)

    rows = everything(store)
    assert store.rewrite(after_step=overtake).files_before == 0
    assert everything(store) == rows
    assert verify.verify(store.root) == []


def test_rows_that_shall_not_go_on_are_gone_even_those_that_come_meanwhile(store: Store) -> None:
    raced: list[int] = []

    def overtake(step: str) -> None:
        if step == "folders" and not raced:
            raced.append(store.commit(batch_of_imports("gone", 1)).version)

    numbers = store.snapshot().log.tests_number
    keep = {"session": lambda rows: pc.fill_null(pc.invert(pc.starts_with(rows["job_id"], "gone")), True)}
    store.rewrite(keep=keep, after_step=overtake)
    assert raced
    assert not any((s.record.job_id or "").startswith("gone") for s in store.snapshot().sessions(every_revision=True))
    assert store.snapshot().log.tests_number > numbers


@pytest.mark.parametrize("step", STEPS[1:])
def test_compacting_cut_off_after_a_step_changes_no_row(store: Store, step: str) -> None:
    class CutOffError(Exception):
        pass

    def stop(done: str) -> None:
        if done == step:
            raise CutOffError

    rows = everything(store)
    with pytest.raises(CutOffError):
        store.rewrite(after_step=stop)
    assert everything(store) == rows
    assert [one for one in verify.verify(store.root) if one.blocks != "note"] == []
    store.rewrite()
    assert everything(store) == rows


def test_old_files_stay_for_the_grace_period_and_then_go(store: Store) -> None:
    old = store.snapshot().version
    files = len(list((store.root / "table").glob("part=*/*")))
    store.rewrite()
    newest = log.read(store.root)
    kept = compaction.sweep(store.root, newest)
    assert (kept.files, kept.waiting) == (0, files)
    assert len(list(store.snapshot(old).sessions())) == 13
    gone = compaction.sweep(store.root, newest, 0.0)
    assert (gone.files, gone.waiting) == (files, 0)
    assert verify.verify(store.root) == []
    with pytest.raises(ArchiveError, match=f"version {old}, which compacting") as caught:
        store.snapshot(old)
    assert caught.value.problems[0].expected == f"version {newest.number} or later"


def test_files_of_a_writer_that_may_still_be_at_work_stay_a_day_at_least(store: Store) -> None:
    left = store.root / "table" / "part=session" / f"{'0' * 64}.00000000.parquet"
    left.write_bytes(b"half")
    assert compaction.sweep(store.root, log.read(store.root), 0.0).waiting == 1
    long_ago = time.time() - 86_401
    os.utime(left, (long_ago, long_ago))
    assert compaction.sweep(store.root, log.read(store.root), 0.0).files == 1
    assert not left.exists()


def test_a_changed_byte_of_a_file_that_only_earlier_versions_name_is_found(store: Store) -> None:
    path = store.snapshot().log.files["session"][0]
    number = store.rewrite().version
    path.write_bytes(path.read_bytes()[:-1] + b"x")
    (found,) = verify.verify(store.root)
    assert (found.code, found.place.file) == ("file-changed", str(path))
    assert f"Only versions before {number}" in found.cure
