"""A stranger's SQL: it reads the views and nothing else, and whatever it tries, nothing is written."""

from __future__ import annotations

import os
from collections.abc import Iterator

import pytest
from from_outside import (
    DONE,
    USAGE,
    Ended,
    Programme,
    a_row,
    at_once,
    linux_only,
    listing,
    log,
    rows_of,
    run_with_peak,
    sectioned,
    sheet,
)

ONE_SELECT = "expected exactly one SELECT that only reads. Write a single SELECT over the views; nothing was run."
OVER_VIEWS = (
    "expected a SELECT over the views. "
    "Correct the SELECT; without one, the query command lists the views and their columns."
)

FUNCTIONS = {
    "read_csv": "select * from read_csv('/etc/passwd')",
    "read_text": "select * from read_text('/etc/passwd')",
    "read_blob": "select * from read_blob('/etc/passwd')",
    "read_json": "select * from read_json('/etc/passwd')",
    "sniff_csv": "select * from sniff_csv('/etc/passwd')",
    "glob": "select * from glob('/*')",
    "read_parquet": "select * from read_parquet('https://example.org/x.parquet')",
    "parquet_scan": "select * from parquet_scan('archive/table/*.parquet')",
    "parquet_metadata": "select * from parquet_metadata('archive/table/x.parquet')",
    "delta_scan": "select * from delta_scan('archive/table')",
    "duckdb_settings": "select * from duckdb_settings()",
    "duckdb_secrets": "select * from duckdb_secrets()",
    "query": "select * from query('select 1')",
    "query_table": "select * from query_table('sessions')",
    "json_execute_serialized_sql": (
        "select * from json_execute_serialized_sql(json_serialize_sql('select * from read_text(''/etc/passwd'')'))"
    ),
    "write_log": "select write_log('x')",
    "nextval": "select nextval('x')",
    "checkpoint": "select * from checkpoint()",
}
NO_SUCH = {
    "select * from '/etc/passwd'": "Catalog Error: Table with name /etc/passwd does not exist!",
    'select * from "/etc/passwd"': "Catalog Error: Table with name /etc/passwd does not exist!",
    "select * from 'archive/archive.toml'": "Catalog Error: Table with name archive/archive.toml does not exist!",
    "select getenv('HOME')": "Catalog Error: Scalar Function with name getenv does not exist!",
    "select nosuch from sessions": 'Binder Error: Referenced column "nosuch" not found in FROM clause!',
    "select * from nosuch": "Catalog Error: Table with name nosuch does not exist!",
    'select * from "x.parquet"': (
        'Permission Error: Cannot access file "x.parquet" - file system operations are disabled by configuration'
    ),
    "select * from 'https://example.org/x.parquet'": (
        'Permission Error: Cannot access file "https://example.org/x.parquet" '
        "- file system operations are disabled by configuration"
    ),
}
OTHER_STATEMENTS = {
    "COPY": "copy sessions to 'stolen.csv'",
    "COPY of a SELECT": "copy (select 1) to 'stolen.parquet'",
    "ATTACH": "attach 'stolen.db' as x",
    "EXPORT": "export database 'stolen'",
    "IMPORT": "import database 'stolen'",
    "INSTALL": "install httpfs",
    "LOAD": "load httpfs",
    "LOAD of a file": "load '/tmp/x.duckdb_extension'",
    "PRAGMA": "pragma database_list",
    "SET": "set memory_limit = '1TB'",
    "CALL": "call pragma_version()",
    "DROP": "drop view sessions",
    "CREATE": "create table stolen as select * from sessions",
    "INSERT": "insert into sessions values (1)",
    "UPDATE": "update sessions set crew = 'x'",
    "DELETE": "delete from sessions",
    "PREPARE": "prepare p as select 1",
    "EXPLAIN ANALYZE": "explain analyze select 1",
    "VACUUM": "vacuum",
}
SEVERAL = {
    "select 1; select 2": "2 statements",
    "select 1; drop view sessions": "a statement that is not a SELECT",
    "select 1; -- and\n copy sessions to 'stolen.csv'": "a statement that is not a SELECT",
    "/* select 1; */ ; ": "0 statements",
    "": "0 statements",
    "with gone as (delete from sessions returning *) select * from gone": "DELETE inside the statement",
}
ALLOWED = {
    "select 1 as n": [{"n": 1}],
    "select 1 as n;": [{"n": 1}],
    "select 1 as n -- ; drop view sessions": [{"n": 1}],
    "select /* ; copy sessions to 'stolen.csv' */ 1 as n": [{"n": 1}],
    "select ';' as n": [{"n": ";"}],
    "with recursive t(n) as (select 1 union all select n + 1 from t where n < 3) select max(n) as n from t": [{"n": 3}],
    "select count(*) as n from sessions": [{"n": 3}],
}

NOT_UTF_8 = os.fsdecode(b"select '\xff\xfe'")


@pytest.fixture(scope="module")
def asked(empty: Programme, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Programme]:
    """No statement of this module may change one byte of the archive or of the folder it is given in."""
    programme = empty.copied_to(tmp_path_factory.mktemp("asked") / "desk")
    for name, content in {"a.csv": sheet(a_row("Q-1")), "b.csv": sectioned("Q-2"), "c.csv": log("Q-3")}.items():
        (programme.folder / name).write_bytes(content)
    assert programme.take("a.csv", "b.csv", "c.csv").code == DONE
    assert programme.on("recompute").code == DONE
    before = listing(programme.folder)
    yield programme
    assert listing(programme.folder) == before


@pytest.fixture(scope="module")
def answers(asked: Programme) -> dict[str, Ended]:
    """What came of each statement."""
    statements = [*FUNCTIONS.values(), *OTHER_STATEMENTS.values(), *NO_SUCH, *SEVERAL, *ALLOWED, NOT_UTF_8]
    return at_once({sql: ("query", sql, "--format", "json") for sql in statements}, asked.on)


def assert_refused(ended: Ended, text: str) -> None:
    assert (ended.code, ended.out, ended.lines) == (USAGE, b"", [f"error: SQL: found {text}"])


@pytest.mark.parametrize("name", FUNCTIONS)
def test_functions_that_reach_beyond_the_views_are_refused(answers: dict[str, Ended], name: str) -> None:
    assert_refused(answers[FUNCTIONS[name]], f"the function {name}; {ONE_SELECT}")


@pytest.mark.parametrize("sql", NO_SUCH)
def test_files_are_no_tables(answers: dict[str, Ended], sql: str) -> None:
    assert_refused(answers[sql], f"{NO_SUCH[sql]}; {OVER_VIEWS}")


@pytest.mark.parametrize("name", OTHER_STATEMENTS)
def test_statements_that_are_no_select_do_nothing(answers: dict[str, Ended], name: str) -> None:
    assert_refused(answers[OTHER_STATEMENTS[name]], f"a statement that is not a SELECT; {ONE_SELECT}")


@pytest.mark.parametrize("sql", SEVERAL)
def test_one_statement_only(answers: dict[str, Ended], sql: str) -> None:
    assert_refused(answers[sql], f"{SEVERAL[sql]}; {ONE_SELECT}")


@pytest.mark.parametrize("sql", ALLOWED)
def test_comments_and_marks_within_texts_do_no_harm(answers: dict[str, Ended], sql: str) -> None:
    assert (answers[sql].code, answers[sql].err) == (DONE, "")
    assert rows_of(answers[sql]) == ALLOWED[sql]


def test_text_that_is_not_utf_8_is_called_that(answers: dict[str, Ended]) -> None:
    assert_refused(answers[NOT_UTF_8], f"bytes that are not text in UTF-8; {ONE_SELECT}")


def test_brackets_in_brackets_end_in_a_text(asked: Programme) -> None:
    ended = asked.on("query", "select " + "(" * 5000 + "1" + ")" * 5000)
    assert (ended.code, ended.out, len(ended.lines)) == (USAGE, b"", 1)


def test_no_path_of_the_archive_shows_in_an_error(asked: Programme) -> None:
    for sql in ("select * from nosuch", "select 1 from sessions where crew = 1 / 'x'", "select error('x')"):
        assert str(asked.folder) not in asked.on("query", sql).err


def test_no_path_of_the_archive_can_be_asked_for(asked: Programme) -> None:
    for sql in (
        "select sql from sqlite_master",
        "select sql from duckdb_views",
        "select sql from duckdb_views()",
        "select view_definition from information_schema.views",
        "select definition from pg_catalog.pg_views",
    ):
        assert str(asked.folder) not in asked.on("query", sql).text


def test_a_query_of_some_seconds_writes_only_data(asked: Programme) -> None:
    """An engine that shows its progress would show it here."""
    sql = "select count(*) as n from range(600000000) where hash(range) % 7 = 1"
    ended = asked.on("query", sql, "--format", "csv")
    head, number = ended.text.splitlines()
    assert (ended.code, head, ended.err) == (DONE, "n", "")
    assert int(number) == pytest.approx(600_000_000 / 7, rel=0.01)
    assert ended.seconds > 2, "too short to prove anything"


@linux_only
@pytest.mark.full
def test_a_sort_too_large_for_memory_ends_with_one_text(asked: Programme) -> None:
    sql = "select count(*) from (select a.range, b.range from range(100000) a, range(100000) b order by 1, 2 limit 9e8)"
    ended, peak = run_with_peak("query", sql, "--archive", "archive", "--format", "csv", cwd=asked.folder, seconds=100)
    (asked.folder / "peak.txt").unlink()
    assert (ended.code, ended.out, len(ended.lines)) == (USAGE, b"", 1), ended.err
    assert ended.lines[-1].startswith("error: SQL: found Out of Memory Error")
    assert ended.lines[-1].endswith(
        "; expected a SELECT that needs at most 2GB of memory. Ask for fewer rows or groups."
    )
    assert peak < 3e9


@linux_only
def test_an_answer_of_more_rows_than_people_read_is_refused_with_little_memory(asked: Programme) -> None:
    words = ("query", "select * from range(300000000)", "--archive", "archive", "--format", "csv")
    ended, peak = run_with_peak(*words, cwd=asked.folder, seconds=60)
    (asked.folder / "peak.txt").unlink()
    assert (ended.code, ended.out) == (USAGE, b"")
    assert ended.lines == [
        "error: SQL: found more than 1,000,000 rows; expected an answer that people read. "
        "Count or group in the SELECT, or read the archive's Parquet files with a program of your own."
    ]
    assert peak < 1e9


def test_an_answer_of_a_million_rows_is_written_whole(asked: Programme) -> None:
    ended = asked.on("query", "select * from range(1000000)", "--format", "csv")
    assert (ended.code, ended.err) == (DONE, "")
    assert ended.text.splitlines() == ["range", *map(str, range(1_000_000))]


@linux_only
@pytest.mark.full
@pytest.mark.xfail(strict=True, reason="a value of 300 MB is held several times over")
def test_one_large_value_does_not_fill_the_memory(asked: Programme) -> None:
    words = ("query", "select repeat('x', 300000000) as x", "--archive", "archive", "--format", "csv")
    ended, peak = run_with_peak(*words, cwd=asked.folder, seconds=100)
    (asked.folder / "peak.txt").unlink()
    assert ended.code in (DONE, USAGE)
    assert peak < 1e9, f"{peak / 1e9:.1f} GB"


def test_every_column_can_be_named_without_quotation_marks(asked: Programme) -> None:
    views = rows_of(asked.on("query", "--format", "json"))
    columns = {row["view_name"]: row["column_names"] for row in views}
    selects = {view: f"select {columns[view]} from {view} limit 0" for view in ("checks", "verdicts", "results")}
    ended = at_once({view: ("query", sql) for view, sql in selects.items()}, asked.on)
    assert {view: each.err for view, each in ended.items() if each.code != DONE} == {}


def test_without_a_statement_the_views_are_listed(asked: Programme) -> None:
    ended = asked.on("query", "--format", "json")
    assert ended.code == DONE
    views = {row["view_name"]: [name.strip() for name in row["column_names"].split(",")] for row in rows_of(ended)}
    assert {"sessions", "runs", "points", "fan_readings", "channels", "traces", "journal"} <= views.keys()
    assert {"results", "checks", "verdicts"} <= views.keys()
    for view in ("sessions", "verdicts"):
        described = asked.on("query", f"select * from {view} limit 0", "--format", "csv")
        assert described.text.strip().split(",") == views[view]
