"""Views for people, and a stranger's SQL that can neither write nor look elsewhere."""

from __future__ import annotations

import hashlib
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import duckdb
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from archive_samples import imported, monitoring, multi_point, single_point, source

from interchange.archive import derived, query, registers, views
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.errors import ArchiveError, InterchangeError, UsageError
from interchange.quantities import QUANTITIES

# names of lists that a view of the whole nests, not of quantities
NESTED = {"problems", "questions", "session_ids", "revisions", "values", "time_s"}


@pytest.fixture(scope="module")
def store(tmp_path_factory: pytest.TempPathFactory) -> Store:
    store = Store.create(tmp_path_factory.mktemp("asked") / "archive", Settings("P"))
    one, many, log = source(b"one"), source(b"many"), source(b"log")
    store.commit([imported(one, single_point(one, flow_m3_h=1.0))])
    session, traces = monitoring(log, [[1.0, 2.5], [3.0]])
    store.commit(
        [
            imported(one, single_point(one)),
            imported(many, multi_point(many, points=2)),
            imported(log, session, traces=traces),
        ]
    )
    (store.root / "table/part=session/stranger.parquet").write_bytes(_parquet())
    return store


def _parquet() -> bytes:
    sink = pa.BufferOutputStream()
    pq.write_table(pa.table({"secret": [1]}), sink)
    return bytes(sink.getvalue())


def ask(store: Store, sql: str) -> list[tuple[object, ...]]:
    return list(query.query(store.root, sql).rows)


@pytest.mark.parametrize(
    ("sql", "rows"),
    [
        ("SELECT job_id, flow_m3_h FROM fan_readings JOIN sessions USING (session_id) WHERE kind = 'single_point'",
         [("0042", 2800.0)]),
        ("SELECT count(*), count(started_at_utc) FROM sessions", [(3, 1)]),
        ("SELECT run_number, direction, baseline_before_count FROM runs WHERE baseline_before_count > 0",
         [(1, "depressurisation", 60)]),
        ("SELECT point_number, envelope_pressure_pa FROM points ORDER BY ALL", [(1, -60.3), (2, -55.3), (None, -50.2)]),
        ("SELECT fan_id, fan_pressure_pa, flow_basis FROM fan_readings WHERE point_number = 2 ORDER BY fan_id",
         [("1", 40.2, None), ("2", None, "at_device")]),
        ("SELECT channel_id, sample_count FROM channels ORDER BY ALL", [("line 0", 2), ("line 1", 1)]),
        ("SELECT channel_id, chunk_number, values FROM traces ORDER BY ALL",
         [("line 0", 0, [1.0, 2.5]), ("line 1", 0, [3.0])]),
        ("SELECT import_number, import_state FROM journal ORDER BY ALL", [(n, "imported") for n in (1, 2, 3, 4)]),
        ("SELECT gauge_serial FROM gauges", [("G-0417",)]),
        ("SELECT fan_id, fan_serial FROM fans ORDER BY ALL", [("1", None), ("2", "F-0093")]),
        ("SELECT calibration_index, fan_exponent FROM fan_calibrations ORDER BY ALL", [(0, 0.5), (1, 0.505)]),
        ("SELECT line_id, arrangement FROM reference_lines ORDER BY ALL", [("A", "branched"), ("B", "open_end")]),
        ("SELECT kept_name, kept_first FROM kept", [("Tester", "tk")]),
        ("FROM SESSIONS SELECT count(*)", [(3,)]),
        ("WITH a AS (SELECT * FROM sessions) SELECT count(*) FROM a, (VALUES (1), (2))", [(6,)]),
        ("SELECT count(*) FROM (SELECT unnest(values) FROM traces)", [(3,)]),
        ("SELECT 1 UNION ALL SELECT 1", [(1,), (1,)]),
    ],
)  # fmt: skip
def test_the_views_show_current_sessions(store: Store, sql: str, rows: list[tuple[object, ...]]) -> None:
    assert ask(store, sql) == rows


def test_an_older_version_is_read_when_asked_for(store: Store) -> None:
    answer = query.query(store.root, "SELECT flow_m3_h FROM fan_readings", version=1)
    assert (answer.version, answer.columns, list(answer.rows)) == (1, ("flow_m3_h",), [(1.0,)])


def test_columns_of_the_views_stand_in_the_table_of_names(store: Store) -> None:
    rows = ask(store, "SELECT table_name, column_name FROM duckdb_columns() WHERE NOT internal")
    assert {name for name, _ in rows} == views.names() - set(derived.KINDS)
    assert {column for _, column in rows} - set(QUANTITIES) - NESTED == set()


REFUSED = """
COPY sessions TO '{out}'
COPY sessions TO '{file}' (USE_TMP_FILE false)
WITH a AS (COPY sessions TO '{out}') SELECT 1
WITH a AS (COPY sessions TO '{file}' (USE_TMP_FILE false)) SELECT 1
SELECT * FROM (WITH a AS (COPY sessions TO '{file}' (USE_TMP_FILE false)) SELECT 1)
SELECT (WITH a AS (COPY sessions TO '{file}' (USE_TMP_FILE false)) SELECT 1)
WITH a AS (DELETE FROM sessions RETURNING *) SELECT * FROM a
WITH a AS (INSERT INTO sessions (kind) VALUES ('x') RETURNING *) SELECT * FROM a
COPY (SELECT 1) TO '{out}' (FORMAT csv)
EXPORT DATABASE '{out}'
ATTACH '{out}'
ATTACH ':memory:' AS other
INSTALL httpfs
LOAD httpfs
PRAGMA memory_limit = '1TB'
PRAGMA database_list
SET memory_limit = '1TB'
SET allowed_paths = ['/etc/passwd']
RESET lock_configuration
CALL enable_logging()
SELECT * FROM enable_logging(storage = 'file', storage_path = '{out}')
SELECT * FROM enable_profiling(save_location = '{out}')
SELECT * FROM read_csv('/etc/passwd')
SELECT * FROM read_text('/etc/passwd')
SELECT * FROM read_blob('/etc/passwd')
SELECT * FROM read_json('/etc/passwd')
SELECT * FROM sniff_csv('/etc/passwd')
SELECT * FROM glob('/etc/*')
SELECT * FROM glob('{table}/*')
SELECT * FROM '/etc/passwd'
SELECT * FROM '/etc/passwd.csv'
SELECT * FROM read_parquet('{stranger}')
SELECT * FROM '{stranger}'
SELECT * FROM "{stranger}"
SELECT * FROM read_parquet('{table}/*.parquet')
SELECT * FROM read_parquet('{file}')
SELECT * FROM parquet_metadata('{stranger}')
SELECT * FROM read_parquet('http://127.0.0.1:9/x.parquet')
SELECT * FROM 'http://127.0.0.1:9/x.parquet'
SELECT * FROM 's3://bucket/x.parquet'
SELECT getenv('HOME')
SELECT * FROM mine
SELECT * FROM pandas_scan(1)
SELECT * FROM arrow_scan(1, 2, 3)
SELECT * FROM query('SELECT 1')
SELECT * FROM query('COPY sessions TO ''{out}''')
SELECT * FROM query_table('sessions')
SELECT * FROM json_execute_serialized_sql(json_serialize_sql('SELECT 1'))
SELECT * FROM duckdb_secrets()
SELECT * FROM duckdb_temporary_files()
SELECT * FROM read_duckdb('{out}')
SELECT * FROM checkpoint()
SELECT * FROM add_grammar_extension('x')
SELECT * FROM create_external_resource('x')
SELECT write_log('x')
SELECT nextval('x')
SELECT setseed(0.5)
SELECT sleep_ms(60000)
SELECT 1; SELECT 2
SELECT 1; COPY sessions TO '{out}'
CREATE TABLE mine (i INT)
CREATE TEMP TABLE mine AS SELECT 1
CREATE OR REPLACE VIEW sessions AS SELECT 1
CREATE MACRO m() AS 1
CREATE SECRET s (TYPE s3)
DROP VIEW sessions
INSERT INTO sessions VALUES (1)
UPDATE sessions SET kind = 'x'
DELETE FROM sessions
PREPARE p AS SELECT 1
EXECUTE p
BEGIN
VACUUM
CHECKPOINT
USE system
EXPLAIN ANALYZE SELECT 1
PIVOT sessions ON kind
SELECT
SELECT nothing FROM sessions
SELECT CAST('x' AS INT)

'
"""


@pytest.mark.parametrize("sql", REFUSED.splitlines()[1:], ids=lambda sql: sql[:60] or "empty")
def test_a_strangers_sql_can_neither_write_nor_look_elsewhere(store: Store, tmp_path: Path, sql: str) -> None:
    mine = pa.table({"q": [1]})  # noqa: F841 - a caller's variable that SQL must not reach
    files = store.snapshot().log.files["session"]
    out = tmp_path / "out"
    words = {"out": out, "file": files[0], "table": files[0].parent, "stranger": files[0].parent / "stranger.parquet"}
    before = _state(store.root)
    with pytest.raises(UsageError):
        ask(store, sql.format(**words) if "{" in sql else sql)
    assert not out.exists() and not list(tmp_path.iterdir())
    assert _state(store.root) == before


def _state(root: Path) -> dict[Path, str]:
    return {p: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(root.rglob("*")) if p.is_file()}


LOCKED = [
    line for line in REFUSED.splitlines()[1:] if any(word in line for word in ("/etc/", "{stranger}", "{out}", "127.0"))
]


@pytest.mark.parametrize("sql", [*LOCKED, "SET memory_limit = '1TB'", "LOAD httpfs", "SELECT * FROM mine"])
def test_the_connection_alone_is_locked_too(store: Store, tmp_path: Path, sql: str) -> None:
    """The second wall, without the check of the statement before it."""
    mine = pa.table({"q": [1]})  # noqa: F841
    files = store.snapshot().log.files["session"]
    words = {"out": tmp_path / "out", "table": files[0].parent, "stranger": files[0].parent / "stranger.parquet"}
    connection = store.snapshot().sql()
    assert connection.execute("SELECT count(*) FROM sessions").fetchall() == [(3,)]
    with pytest.raises(duckdb.Error):
        connection.execute(sql.format(**words)).fetchall()
    assert not list(tmp_path.iterdir())


def test_results_are_shown_only_when_computed_from_the_version_asked(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    with pytest.raises(ArchiveError, match="recompute"):
        ask(store, "SELECT * FROM results")
    for rule_set, flow in (("as_displayed", 1.0), ("other@2015", 2.0)):
        derived.write(store.root, "results", rule_set, 0, {"session_id": ["a"], "flow_50_m3_h": [flow]})
    rows = [("as_displayed", 1.0, 0), ("other@2015", 2.0, 0)]
    sql = "SELECT rule_set, flow_50_m3_h, archive_version FROM results ORDER BY rule_set"
    assert ask(store, sql) == rows
    of = source()
    store.commit([imported(of, single_point(of))])
    with pytest.raises(ArchiveError, match="results of version 0 only"):
        ask(store, sql)
    assert list(query.query(store.root, sql, version=0).rows) == rows
    assert ask(store, "SELECT count(*) FROM sessions") == [(1,)]


@pytest.fixture
def bare(store: Store) -> Iterator[str]:
    yield (
        "import sys\nfrom pathlib import Path\nfrom interchange.archive.query import query\n"
        f"print(list(query(Path({str(store.root)!r}), 'SELECT count(*), max(started_at_utc) FROM sessions').rows))\n"
        "print(sorted({'numpy', 'pyarrow', 'pydantic', 'pandas'} & set(sys.modules)))"
    )


def test_a_query_imports_neither_numpy_nor_pyarrow_nor_pydantic(bare: str) -> None:
    run = subprocess.run([sys.executable, "-c", bare], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    assert run.stdout.splitlines()[1] == "[]"


def test_a_harmed_file_is_the_archives_fault_not_the_askers(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    for path in store.snapshot().log.files["session"]:
        path.unlink()
    with pytest.raises(InterchangeError) as caught:
        ask(store, "SELECT * FROM sessions")
    assert isinstance(caught.value, ArchiveError)


def test_more_memory_than_is_allowed_ends_in_words_and_spills_nowhere(
    store: Store, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> None:
    monkeypatch.setitem(views._CONFIG, "memory_limit", "100MB")
    monkeypatch.chdir(tmp_path)
    with pytest.raises(UsageError, match="Ask for fewer rows"):
        ask(store, "SELECT list(range) FROM range(20000000)")
    assert not list(tmp_path.iterdir())


def test_the_connection_is_set_so_that_it_reaches_nothing_but_its_files(store: Store) -> None:
    connection = store.snapshot().sql()
    names = ("enable_external_access", "lock_configuration", "python_enable_replacements", "temp_directory",
             "autoinstall_known_extensions", "autoload_known_extensions", "allow_community_extensions",
             "allowed_directories")  # fmt: skip
    found = {name: connection.execute("SELECT current_setting(?)", [name]).fetchall()[0][0] for name in names}
    assert found == dict.fromkeys(names, False) | {
        "lock_configuration": True, "temp_directory": "", "allowed_directories": []}  # fmt: skip
    (allowed,) = connection.execute("SELECT current_setting('allowed_paths')").fetchall()[0]
    files = [path for paths in store.snapshot().log.files.values() for path in paths]
    files += [registers.path(store.root, name) for name in registers.NAMES]
    assert sorted(allowed) == sorted(map(str, files))
