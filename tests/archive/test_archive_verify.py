"""Verifying: every flipped byte, lost file and leftover is named, and nothing crashes."""

from __future__ import annotations

import random
import shutil
from collections.abc import Iterator
from pathlib import Path

import pyarrow.parquet as pq
import pytest
from archive_samples import batch_of_imports, imported, multi_point, single_point, source

from interchange.archive import damage, derived, log, originals, parquet, tables, verify
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.errors import Problem


@pytest.fixture(scope="module")
def whole(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An archive with everything in it; tests that harm it put it right again."""
    store = Store.create(tmp_path_factory.mktemp("whole") / "archive", Settings("P", definitions={"volume_m3": "é"}))
    of = source(b"many" * 400, "many.csv")
    store.commit([imported(of, multi_point(of)), *batch_of_imports("a", 2)])
    store.commit([imported(of, single_point(of))])
    plugin = store.root / "plugins" / "invented"
    plugin.mkdir()
    (plugin / "plugin.toml").write_text("id = 'invented'")
    store.commit(batch_of_imports("b", 1))
    store.rewrite()  # files of earlier versions stay beside the new ones
    derived.write(store.root, "results", "r", 4, {"session_id": ["a"]})
    assert verify.verify(store.root) == []
    return store.root


def harm(problems: list[Problem]) -> list[Problem]:
    return [problem for problem in problems if problem.blocks != "note"]


def files(root: Path) -> list[Path]:
    return sorted(path for path in root.rglob("*") if path.is_file())


def flips(root: Path, seed: int, count: int) -> Iterator[tuple[Path, int, int]]:
    """Places to flip: each file in turn, large and small alike, at random bytes and by random bits."""
    dice = random.Random(seed)
    there = files(root)
    for number in range(count):
        path = there[number % len(there)]
        yield path, dice.randrange(path.stat().st_size), dice.randrange(1, 256)


def assert_each_flip_is_found(root: Path, seed: int, count: int) -> None:
    for path, position, bits in flips(root, seed, count):
        content = path.read_bytes()
        path.write_bytes(content[:position] + bytes([content[position] ^ bits]) + content[position + 1 :])
        try:
            problems = harm(verify.verify(root))
        finally:
            path.write_bytes(content)
        assert problems, f"{path.relative_to(root)}, byte {position} by {bits:#x}"
        related = {str(path), str(path.with_suffix("")), str(root / "archive.toml"), str(root / "table")}
        if path.suffix != ".sha256":
            assert {problem.place.file for problem in problems} & related, f"{path} {problems}"
        assert all(problem.cure and problem.found and problem.expected for problem in problems)


def test_ninety_flipped_bytes_are_found(whole: Path) -> None:
    assert_each_flip_is_found(whole, seed=1, count=90)
    assert verify.verify(whole) == []


@pytest.mark.full
def test_three_thousand_flipped_bytes_are_found(whole: Path) -> None:
    assert_each_flip_is_found(whole, seed=2, count=3000)
    assert verify.verify(whole) == []


@pytest.mark.full
def test_every_byte_of_the_small_files_counts(whole: Path) -> None:
    dice = random.Random(3)
    for path in (whole / "archive.toml", log.entry(whole, 1), *(whole / "originals").rglob("*.zst")):
        content = path.read_bytes()
        for position in range(len(content)):
            changed = bytes([content[position] ^ dice.randrange(1, 256)])
            path.write_bytes(content[:position] + changed + content[position + 1 :])
            assert harm(verify.verify(whole)), f"{path}, byte {position}"
        path.write_bytes(content)


def test_each_lost_file_is_found(whole: Path, tmp_path: Path) -> None:
    superseded = log.superseded(whole)
    for path in files(whole):
        # a cache may go, and what only earlier versions stand on; the newest checksum may be one that its writer was
        # cut off before it could record
        if path.parts[-4] == "derived" or path.name == f"{4:020d}.sha256" or path in superseded:
            continue
        away = tmp_path / "away"
        shutil.move(path, away)
        problems = harm(verify.verify(whole))
        shutil.move(away, path)
        assert problems, path
    assert verify.verify(whole) == []


def test_each_file_cut_short_is_found(whole: Path) -> None:
    for path in files(whole):
        content = path.read_bytes()
        for size in (0, len(content) // 2, len(content) - 1):
            path.write_bytes(content[:size])
            problems = harm(verify.verify(whole))
            path.write_bytes(content)
            assert problems, (path, size)
    assert verify.verify(whole) == []


def test_a_flip_is_told_with_what_it_touches_and_what_to_do(whole: Path) -> None:
    of = source(b"many" * 400, "many.csv")
    path = whole / "originals" / of.sha256[:2] / f"{of.sha256}.zst"
    content = path.read_bytes()
    path.write_bytes(content[:-3] + bytes([content[-3] ^ 1]) + content[-2:])
    (problem,) = verify.verify(whole)
    path.write_bytes(content)
    assert problem.place.file == str(path)
    assert "many.csv" in problem.cure and "Put the file back from a copy" in problem.cure


@pytest.mark.parametrize(
    "name",
    ["table/part=session/.x.part", "table/part=trace/x.parquet", "table/_delta_log/x.json.tmp", "originals/ab/x.zst",
     "originals/ab/.y.part", "notes.txt", "checksums/.z.part"],
)  # fmt: skip
def test_leftovers_are_notes(whole: Path, name: str) -> None:
    path = whole / name
    path.parent.mkdir(exist_ok=True)
    path.write_bytes(b"left")
    problems = verify.verify(whole)
    path.unlink()
    assert [(problem.place.file, problem.blocks) for problem in problems] == [(str(path), "note")]


def test_a_version_without_checksum_is_a_note_while_it_is_the_newest(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    store.commit(batch_of_imports("a", 1))
    store.commit(batch_of_imports("b", 1))
    (store.root / "checksums" / f"{2:020d}.sha256").unlink()
    assert [(problem.code, problem.blocks) for problem in verify.verify(store.root)] == [("checksum-missing", "note")]
    store.commit(batch_of_imports("c", 1))
    assert verify.verify(store.root) == []
    (store.root / "checksums" / f"{2:020d}.sha256").unlink()
    assert [problem.code for problem in harm(verify.verify(store.root))] == ["checksum-missing"]


def forge(store: Store, part: log.Part, table: object) -> None:
    """Commit rows past our own road, as a fault of ours would."""
    written = parquet.write(store.root / "table" / f"part={part}", [table], table)  # type: ignore[arg-type, list-item]
    version = log.read(store.root)
    added = log.Added(f"part={part}/{written.path.name}", part, written.size_bytes, written.rows)
    log.append(version, [added], version.entry_number + 1, hides=False, tests=True)


def test_a_session_twice_and_traces_that_do_not_fit_are_found(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    imports = batch_of_imports("a", 1)
    store.commit(imports)
    (session,) = imports[0].mapped.sessions
    forge(store, "session", tables.session_rows([(session, tables.stored_revision(session, ()))]))
    (problem,) = harm(verify.verify(store.root))
    assert (
        problem.code == "session-count"
        and f"session {session.session_id}, " in problem.found
        and "2 times" in problem.found
    )
    (monitored,) = imports[1].mapped.sessions
    again = imports[1].mapped.traces[:1]
    stored = tables.stored_revision(monitored, imports[1].mapped.traces)
    forge(store, "trace", tables.trace_table(list(tables.trace_rows([(again[0], stored)]))))
    problems = harm(verify.verify(store.root))
    assert [problem.code for problem in problems] == ["session-count", "trace-count"]
    assert "600 values of channel 'line 0'" in problems[1].found and "300 values" in problems[1].expected


def test_a_journal_row_whose_session_is_not_there_is_found(tmp_path: Path) -> None:
    import pyarrow as pa

    store = Store.create(tmp_path / "archive", Settings("P"))
    store.commit(batch_of_imports("a", 1))
    rows = [row for batch in store.snapshot().batches("source") for row in batch.to_pylist()][:1]
    row = rows[0] | {"import_number": 9, "session_ids": ["gone"], "revisions": ["r"]}
    forge(store, "source", pa.Table.from_pylist([row], schema=tables.SCHEMAS["source"]))
    found = [problem.found for problem in harm(verify.verify(store.root)) if problem.code == "session-count"]
    assert "session gone, revision r, no times" in found


def test_rows_that_are_not_current_while_the_log_says_that_all_are_are_found(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    imports = batch_of_imports("a", 1)
    store.commit(imports)
    other = single_point(imports[0].source, flow_m3_h=1.0)
    forge(store, "session", tables.session_rows([(other, "r")]))
    problems = harm(verify.verify(store.root))
    assert [problem.code for problem in problems] == ["session-count"] and "each current session once" in problems[
        0
    ].expected


def flipped(path: Path) -> None:
    content = path.read_bytes()
    path.write_bytes(content[:-9] + bytes([content[-9] ^ 1]) + content[-8:])


def touched(root: Path) -> set[tuple[str, str, str]]:
    return {(one.source_name, one.harmed_part, one.rebuilt_from) for one in damage.touched(root, verify.verify(root))}


@pytest.mark.parametrize(
    ("part", "names", "harmed"),
    [
        ("session", {"b-0.csv", "b-trace.csv"}, "session"),
        ("trace", {"b-trace.csv"}, "trace"),
        ("original", {"a-0.csv"}, "original"),
    ],
)
def test_harm_is_told_by_the_sessions_it_touches_and_what_they_can_be_had_from(
    tmp_path: Path, part: str, names: set[str], harmed: str
) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    store.commit(batch_of_imports("a", 1))
    first = {path for paths in store.snapshot().log.files.values() for path in paths}
    store.commit(batch_of_imports("b", 1))
    of_a = batch_of_imports("a", 1)[0].source.sha256
    if part == "original":
        flipped(originals.path(store.root, of_a))
    else:
        (path,) = (path for path in store.snapshot().log.files[part] if path not in first)  # type: ignore[index]
        flipped(path)
    found = touched(store.root)
    assert {name for name, _, _ in found} == names and {one for _, one, _ in found} == {harmed}
    words = "nothing of it is lost" if part == "original" else "its original, which is whole"
    assert all(cure.startswith(words) for _, _, cure in found)


def test_a_session_whose_original_is_harmed_too_is_in_a_copy_only(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    store.commit(batch_of_imports("a", 0))
    (path,) = (path for path in store.snapshot().log.files["session"] if parquet_rows(path))
    flipped(path)
    flipped(next((store.root / "originals").glob("*/*.zst")))
    assert ("a-trace.csv", "session", "a copy of the archive only") in touched(store.root)


def test_a_journal_that_is_harmed_touches_the_sessions_it_lists(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    store.commit(batch_of_imports("a", 1))
    (path,) = (path for path in store.snapshot().log.files["source"] if parquet_rows(path))
    flipped(path)
    assert {harmed for _, harmed, _ in touched(store.root)} == {"journal"}


def parquet_rows(path: Path) -> int:
    return int(pq.read_metadata(path).num_rows)
