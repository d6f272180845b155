"""One SELECT that somebody wrote, answered. Imports duckdb and deltalake, but neither pyarrow, numpy nor pydantic.

The connection can reach nothing but the archive's files; the parsed statement is checked besides, because a SELECT
of today's DuckDB may hold COPY, INSERT, UPDATE or DELETE inside WITH, which would write to those very files.
"""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import duckdb

from interchange.archive import log, settings, views
from interchange.archive.faults import cannot_read, first_line
from interchange.errors import InterchangeError, Place, Problem, UsageError

_NODES = {"SELECT_NODE", "SET_OPERATION_NODE", "RECURSIVE_CTE_NODE", "CTE_NODE"}
_TABLE_FUNCTIONS = {
    *("unnest", "range", "generate_series", "repeat", "json_each", "json_tree"),
    *("duckdb_columns", "duckdb_functions", "duckdb_types", "pragma_table_info"),
}
# functions that leave a trace, or wait; `query` and its like are table functions and so refused above
_REFUSED_FUNCTIONS = {"currval", "nextval", "setseed", "setval", "sleep_ms", "write_log"}
_CATALOGUE_SCHEMAS = ("pg_catalog", "information_schema")
_CATALOGUE_TABLES = ("sqlite_", "duckdb_", "pg_")
_FETCHED_ROWS = 10_000
_NO_SELECT = "Only SELECT statements can be serialized"  # how DuckDB words it


@dataclass(frozen=True, slots=True)
class Answer:
    """What a SELECT gives: the version asked, names of columns, and rows, which can be gone through once."""

    version: int
    columns: tuple[str, ...]
    rows: Iterator[tuple[Any, ...]]


def query(root: Path, sql: str, version: int | None = None) -> Answer:
    """Answer one SELECT over the views, from the newest version or the one given.

    Raises UsageError for anything but one SELECT and for one that DuckDB refuses, ArchiveError for the archive.
    """
    root = log.usable(root)
    settings.read(root)
    connection = views.connect()
    named = _tables(_checked(connection, sql)) & views.names()
    found = log.read(root, version)
    views.fill(connection, root, found, named or None)
    try:
        connection.execute(sql)
    except duckdb.Error as error:
        raise _refused(root, error) from None
    columns = tuple(column[0] for column in connection.description or ())
    return Answer(found.number, columns, _rows(root, connection))


def _rows(root: Path, connection: duckdb.DuckDBPyConnection) -> Iterator[tuple[Any, ...]]:
    try:
        while rows := connection.fetchmany(_FETCHED_ROWS):
            yield from rows
    except duckdb.Error as error:
        raise _refused(root, error) from None
    finally:
        connection.close()


def _checked(connection: duckdb.DuckDBPyConnection, sql: str) -> list[dict[str, Any]]:
    """All nodes of the parsed statement. Raises UsageError unless it is exactly one SELECT that only reads."""
    try:
        sql.encode()
    except UnicodeEncodeError:
        raise _not_a_select("bytes that are not text in UTF-8") from None
    try:
        parsed = json.loads(connection.execute("SELECT json_serialize_sql(?::VARCHAR)", [sql]).fetchall()[0][0])
    except duckdb.Error as error:
        raise _not_a_select(first_line(error)) from None
    if parsed["error"]:
        message = parsed["error_message"]
        raise _not_a_select("a statement that is not a SELECT" if message.startswith(_NO_SELECT) else message)
    if len(parsed["statements"]) != 1:
        raise _not_a_select(f"{len(parsed['statements'])} statements")
    nodes = list(_nodes(parsed))
    for node in nodes:
        kind, function = str(node.get("type")), node.get("function")
        if kind.endswith("_NODE") and kind not in _NODES:
            raise _not_a_select(f"{kind.removesuffix('_NODE').removesuffix('_QUERY')} inside the statement")
        if kind == "TABLE_FUNCTION" and isinstance(function, dict):
            _allow(function["function_name"], function["function_name"].lower() in _TABLE_FUNCTIONS)
        if kind == "BASE_TABLE":
            _allow(node["table_name"], not _is_catalogue(node), what="the table")
        if "function_name" in node:
            _allow(node["function_name"], node["function_name"].lower() not in _REFUSED_FUNCTIONS)
    return nodes


def _nodes(tree: Any) -> Iterator[dict[str, Any]]:
    if isinstance(tree, dict):
        yield tree
    for part in tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else ():
        yield from _nodes(part)


def _tables(nodes: list[dict[str, Any]]) -> set[str]:
    return {str(node["table_name"]).lower() for node in nodes if node.get("type") == "BASE_TABLE"}


def _is_catalogue(table: dict[str, Any]) -> bool:
    """Tables of DuckDB's own: the definitions of the views in them name the archive's files."""
    schema, name = str(table.get("schema_name", "")).lower(), str(table["table_name"]).lower()
    return schema in _CATALOGUE_SCHEMAS or name.startswith(_CATALOGUE_TABLES)


def _allow(name: str, allowed: bool, what: str = "the function") -> None:
    if not allowed:
        raise _not_a_select(f"{what} {name}")


def _not_a_select(found: str) -> UsageError:
    cure = "Write a single SELECT over the views; nothing was run."
    return UsageError(Problem("query-statement", Place("SQL"), found, "exactly one SELECT that only reads", cure))


def _refused(root: Path, error: duckdb.Error) -> InterchangeError:
    harmed = isinstance(error, duckdb.InvalidInputException) and str(root) in str(error)
    if harmed or isinstance(error, duckdb.IOException | duckdb.SerializationException):
        return cannot_read(root / log.TABLE, error)
    if isinstance(error, duckdb.OutOfMemoryException):
        found, expected = first_line(error), f"a SELECT that needs at most {views.MEMORY_LIMIT} of memory"
        return UsageError(Problem("query-memory", Place("SQL"), found, expected, "Ask for fewer rows or groups."))
    cure = "Correct the SELECT; without one, the query command lists the views and their columns."
    return UsageError(Problem("query-refused", Place("SQL"), first_line(error), "a SELECT over the views", cure))
