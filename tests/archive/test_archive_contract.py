"""What we rely on in other people's software, and that theirs reads our files without ours."""

from __future__ import annotations

import json
from pathlib import Path

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from archive_samples import batch_of_imports, imported, multi_point, single_point, source
from deltalake import DeltaTable

from interchange.archive import log, query, tables
from interchange.archive.settings import Settings
from interchange.archive.store import Store


@pytest.fixture
def store(tmp_path: Path) -> Store:
    store = Store.create(tmp_path / "archive", Settings("P"))
    of = source(b"many")
    store.commit([imported(of, multi_point(of)), *batch_of_imports("a", 2)])
    store.commit(batch_of_imports("b", 1))
    return store


def actions(store: Store, version: int) -> dict[str, list[dict[str, object]]]:
    found: dict[str, list[dict[str, object]]] = {}
    for line in log.entry(store.root, version).read_text().splitlines():
        ((name, content),) = json.loads(line).items()
        found.setdefault(name, []).append(content)
    return found


def test_a_log_entry_holds_the_files_with_their_row_counts_only_and_our_transaction(store: Store) -> None:
    entry = actions(store, 1)
    assert set(entry) == {"commitInfo", "add", "txn"}
    assert [json.loads(str(add["stats"])) for add in entry["add"]] == [
        {"numRecords": 4},
        {"numRecords": 4},
        {"numRecords": 2},
    ]
    assert [add["partitionValues"] for add in entry["add"]] == [
        {"part": part} for part in ("source", "session", "trace")
    ]
    assert [(txn["appId"], txn["version"]) for txn in entry["txn"]] == [
        ("interchange/import", 4),
        ("interchange/tests", 1),
    ]
    assert set(actions(store, 0)) == {"commitInfo", "protocol", "metaData", "add", "txn"}


def test_a_second_commit_from_the_same_version_is_refused_whatever_its_number(store: Store) -> None:
    early, late = log.read(store.root), log.read(store.root)
    added = [log.Added("part=source/none.parquet", "source", 1, 0)]
    log.append(early, added, 90, hides=False, tests=True)
    for number in (89, 90, 91):
        with pytest.raises(log.OvertakenError):
            log.append(late, added, number, hides=number == 90, tests=True)
    assert log.read(store.root).number == 3


def test_the_log_tells_from_which_version_on_there_are_hidden_rows(store: Store) -> None:
    assert [log.read(store.root, number).hides for number in (0, 1, 2)] == [False] * 3
    of = source(b"many")
    store.commit([imported(of, single_point(of))])
    store.commit(batch_of_imports("c", 1))
    assert [log.read(store.root, number).hides for number in (2, 3, 4)] == [False, True, True]
    assert [txn["appId"] for txn in actions(store, 3)["txn"]] == [
        "interchange/import",
        "interchange/hidden",
        "interchange/tests",
    ]
    for version, count in ((2, 6), (3, 6), (4, 8)):
        assert len(list(store.snapshot(version).sessions())) == count
        sql = "SELECT count(*), count(DISTINCT session_id) FROM sessions"
        assert list(query.query(store.root, sql, version).rows) == [(count, count)]


def test_old_versions_are_never_cleaned_up_and_no_checkpoint_is_written(store: Store) -> None:
    assert DeltaTable(str(store.root / "table")).metadata().configuration == {"delta.enableExpiredLogCleanup": "false"}
    for number in range(99):
        log.append(
            log.read(store.root),
            [log.Added(f"part=source/{number}.parquet", "source", 1, 0)],
            100 + number,
            hides=False,
            tests=True,
        )
    names = {path.name for path in (store.root / "table/_delta_log").iterdir()}
    assert names == {f"{number:020d}.json" for number in range(102)}


def test_the_log_says_what_the_files_hold(store: Store) -> None:
    table = DeltaTable(str(store.root / "table"))
    declared = {field.name for field in table.schema().fields}
    assert declared == set(tables.union_schema().names)
    for uri in table.file_uris():
        part = Path(uri).parent.name.removeprefix("part=")
        assert pq.read_schema(uri).equals(tables.SCHEMAS[part])  # type: ignore[index]


def test_plain_duckdb_reads_the_files_that_the_log_names(store: Store) -> None:
    uris = DeltaTable(str(store.root / "table")).file_uris()
    rows = duckdb.sql(f"""
        SELECT part, count(*), count(DISTINCT session_id), sum(len(runs)), sum(len("values"))
        FROM read_parquet({uris}, union_by_name = true) GROUP BY part ORDER BY part
    """).fetchall()
    assert rows == [("session", 6, 6, 5, None), ("source", 6, 0, None, None), ("trace", 4, 2, None, 604)]


def test_plain_pyarrow_reads_them(store: Store) -> None:
    uris = [uri for uri in DeltaTable(str(store.root / "table")).file_uris() if "part=session" in uri]
    table = pa.concat_tables(pq.ParquetFile(uri).read() for uri in uris)
    assert sorted(table["kind"].to_pylist()) == ["monitoring"] * 2 + ["multi_point"] + ["single_point"] * 3


def test_polars_reads_the_table(store: Store) -> None:
    polars = pytest.importorskip("polars")
    frame = polars.scan_delta(str(store.root / "table"))
    counts = frame.group_by("part").len().sort("part").collect().rows()
    assert counts == [("session", 6), ("source", 6), ("trace", 4)]
    started = frame.filter(polars.col("kind") == "multi_point").select("started_at_utc", "gauges").collect().rows()
    assert started[0][0] == multi_point(source()).time.started_at_utc
    assert started[0][1][0]["gauge_serial"] == "G-0417"
