"""Archives that grow old: files that lack a column, a form that gains one, an archive of format 1 kept for ever."""

from __future__ import annotations

import shutil
from collections.abc import Sequence
from itertools import permutations
from pathlib import Path

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from archive_samples import batch_of_imports, imported, multi_point, single_point, source

from interchange.archive import batches, grown, log, parts, tables, verify
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.errors import ArchiveError
from interchange.operations.listing import list_tests
from interchange.operations.recompute import recompute_archive

FORMAT_1 = Path(__file__).with_name("format_1")
# a column of sessions, members of runs, of points and of readings, each within a list of the one before
LATER = {"volume_m3", "runs.baseline_before_count", "runs.points.averaging_s", "runs.points.fan_readings.flow_basis"}


def without(kind: pa.DataType, later: set[str], path: str = "") -> pa.DataType:
    """A type as it was before some of its members came."""
    if pa.types.is_list(kind):
        return pa.list_(without(kind.value_type, later, path))
    if not pa.types.is_struct(kind):
        return kind
    kept = [(f"{path}.{field.name}" if path else field.name, field) for field in kind]
    return pa.struct([pa.field(f.name, without(f.type, later, name)) for name, f in kept if name not in later])


def old_schema(schema: pa.Schema) -> pa.Schema:
    return pa.schema(list(without(pa.struct(list(schema)), LATER)))


@pytest.fixture
def store(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Store:
    """An archive whose first files and whose Delta schema are older than some fields."""
    now = dict(tables.SCHEMAS)
    before = {**now, "session": old_schema(now["session"])}
    of = source(b"old", "old.csv")
    with monkeypatch.context() as patch:
        patch.setattr(tables, "SCHEMAS", before)
        patch.setattr(log, "grow", lambda version, schema: False)
        store = Store.create(tmp_path / "archive", Settings("P", rule_sets=("as_displayed",)))
        store.commit([imported(of, multi_point(of))])
    names = {path.name for path in pq.read_schema(store.snapshot().log.files["session"][0])}
    assert "volume_m3" not in names and "height_m" in names
    return store


def later(store: Store) -> tuple[str, str]:
    """Commit a session of today beside the old one; the ids of both."""
    of = source(b"new", "new.csv")
    store.commit([imported(of, single_point(of))])
    return multi_point(source(b"old", "old.csv")).session_id, single_point(of).session_id


def session_files(store: Store) -> list[Sequence[Path]]:
    files = [path for path in store.snapshot().log.files["session"] if pq.read_metadata(path).num_rows]
    return list(permutations(files))


def test_old_files_alone_are_read_listed_and_recomputed(store: Store) -> None:
    (session,) = store.snapshot().sessions()
    assert session.building.volume_m3 is None and len(session.runs[0].points) == 8
    assert session.runs[0].points[1].fan_readings[1].flow_m3_h == 120.5
    assert session.runs[0].points[1].fan_readings[1].flow_basis is None
    recompute_archive(store.root)
    assert len(list_tests(store.root).table.rows) == 1
    sql = store.snapshot().sql()
    assert sql.execute("SELECT count(averaging_s), count(*) FROM points").fetchall() == [(0, 8)]
    assert verify.verify(store.root) == []


def test_the_table_gains_the_columns_with_the_next_commit_and_not_again(store: Store) -> None:
    old, new = later(store)
    number = store.snapshot().version
    assert number == 3  # one entry for the columns, one for the session
    schema = store.snapshot().log.table.schema().to_json()
    for name in LATER:
        assert f'"{name.rsplit(".", 1)[-1]}"' in schema
    store.commit(batch_of_imports("a", 1))
    assert store.snapshot().version == number + 1
    assert {session.session_id for session in store.snapshot().sessions()} >= {old, new}
    assert verify.verify(store.root) == []


def test_old_and_new_files_are_read_in_both_orders_by_us(store: Store) -> None:
    old, new = later(store)
    for files in session_files(store):
        snapshot = store.snapshot()
        object.__setattr__(snapshot.log, "files", {**snapshot.log.files, "session": tuple(files)})
        volumes = {s.session_id: s.building.volume_m3 for s in snapshot.sessions()}
        assert volumes == {old: None, new: 412.5}
        (loaded,) = batches.load(snapshot)
        assert sorted(loaded.session_ids.to_pylist()) == sorted([old, new])
        rows = snapshot.sql().execute("SELECT session_id, count(*), count(averaging_s) FROM points GROUP BY 1")
        assert sorted(rows.fetchall()) == sorted([(old, 8, 0), (new, 1, 0)])
        rows = snapshot.sql().execute("SELECT session_id, volume_m3 FROM sessions")
        assert dict(rows.fetchall()) == volumes


def test_old_and_new_files_are_read_in_both_orders_by_duckdb_alone(store: Store) -> None:
    old, new = later(store)
    for files in session_files(store):
        names = [str(path) for path in files]
        rows = f"read_parquet({names}, union_by_name = true)"
        sql = f"SELECT session_id, volume_m3, runs[1].points[1].averaging_s FROM {rows}"
        assert sorted(duckdb.sql(sql).fetchall()) == sorted([(old, None, None), (new, 412.5, None)])


def test_old_and_new_files_are_read_in_both_orders_by_polars(store: Store) -> None:
    polars = pytest.importorskip("polars")
    old, new = later(store)
    for files in session_files(store):
        found = polars.concat([polars.read_parquet(path) for path in files], how="diagonal_relaxed")
        assert sorted(found.select("session_id", "volume_m3").rows()) == sorted([(old, None), (new, 412.5)])
        lengths = dict(zip(found["session_id"], found["runs"].list.len(), strict=True))
        assert lengths == {old: 2, new: 1}


def test_compacting_gives_old_rows_the_columns_of_today(store: Store) -> None:
    old, new = later(store)
    sessions = {session.session_id: session for session in store.snapshot().sessions()}
    store.rewrite()
    (path,) = store.snapshot().log.files["session"]
    assert pq.read_schema(path).names == tables.SCHEMAS["session"].names
    assert {session.session_id: session for session in store.snapshot().sessions()} == sessions
    assert set(sessions) == {old, new}


def test_columns_of_a_newer_release_are_not_lost_by_compacting(store: Store) -> None:
    rows = tables.session_rows([(single_point(source(b"x")), "r")])
    newer = rows.append_column("invented_later", pa.array(["kept"]))
    added = parts.write(store.root, "session", [newer], newer)
    version = log.read(store.root)
    log.append(version, [added], version.entry_number + 1, hides=False, tests=True)
    assert len(list(store.snapshot().batches("session"))) == 2
    with pytest.raises(ArchiveError, match=r"invented_later.*Use the newer release"):
        store.rewrite()
    assert f"{store.root / log.TABLE / added.path}" in map(str, store.snapshot().log.files["session"])


def test_rows_are_filled_however_deep_a_member_is_missing_and_however_they_are_sliced() -> None:
    inner = pa.list_(pa.struct([("a", pa.int64())]))
    rows = pa.record_batch({"x": pa.array([[{"a": 1}], None, [], [{"a": 2}, None]], inner)})
    target = pa.schema([("x", pa.list_(pa.struct([("b", pa.string()), ("a", pa.int64())]))), ("y", pa.float64())])
    filled = grown.filled(rows, target)
    assert filled["x"].to_pylist() == [[{"b": None, "a": 1}], None, [], [{"b": None, "a": 2}, None]]
    assert grown.filled(rows.slice(3), target)["x"].to_pylist() == [[{"b": None, "a": 2}, None]]
    assert grown.filled(rows.slice(1, 2), target)["x"].to_pylist() == [None, []]
    assert filled["y"].to_pylist() == [None] * 4


def test_an_archive_of_format_1_opens_lists_recomputes_and_verifies_for_ever(tmp_path: Path) -> None:
    root = Path(shutil.copytree(FORMAT_1, tmp_path / "archive"))
    assert [str(one) for one in verify.verify(root)] == []
    store = Store.open(root)
    sessions = sorted(store.snapshot().sessions(), key=lambda session: session.kind)
    assert [session.kind for session in sessions] == ["monitoring", "multi_point", "single_point"]
    assert sessions[2].building.volume_m3 == 300.0 and sessions[2].amendments[0].amended_from == "412.5"
    assert [trace.values.to_pylist() for trace in store.snapshot().traces(sessions[0].session_id)] == [
        [1.0, None, -0.5],
        [0.1, 0.2],
    ]
    states = [entry.import_state for entry in store.snapshot().journal()]
    assert states == ["imported", "imported", "imported", "held", "amended"]
    assert [one.decision for one in store.snapshot().decisions()] == ["accept"]
    assert recompute_archive(root).version == 3
    rows = list_tests(root).table.rows
    assert len(rows) == 3
    store.commit(batch_of_imports("today", 1))
    assert len(list(store.snapshot().sessions())) == 5
    store.rewrite()
    assert verify.verify(root) == []


def test_an_archive_from_before_decisions_answers_without_them(tmp_path: Path) -> None:
    root = Path(shutil.copytree(FORMAT_1, tmp_path / "archive"))
    snapshot = Store.open(root).snapshot()
    object.__setattr__(snapshot.log, "files", {**snapshot.log.files, "decision": ()})
    assert list(snapshot.decisions()) == []
    assert snapshot.sql().execute("SELECT count(*) FROM decisions").fetchall() == [(0,)]


def test_an_archive_of_a_newer_format_is_refused_with_what_to_do(tmp_path: Path) -> None:
    root = Path(shutil.copytree(FORMAT_1, tmp_path / "archive"))
    toml = root / "archive.toml"
    toml.write_text(toml.read_text().replace("format = 1", "format = 2"))
    with pytest.raises(ArchiveError, match=r"archive format 2.*Use a newer release of this toolkit"):
        Store.open(root)
