"""One question in SQL to an archive."""

from __future__ import annotations

from itertools import islice
from pathlib import Path

from interchange.archive import query
from interchange.errors import Place, Problem, UsageError
from interchange.table import Table

MOST_ROWS = 1_000_000

_VIEWS = """
select table_name as view_name, string_agg(column_name, ', ' order by column_index) as column_names
from duckdb_columns() where not internal group by table_name order by table_name
"""


def ask(root: Path, sql: str, version: int | None = None) -> Table:
    """The rows that one SELECT over the archive's views gives; `version` reads an older state.

    Raises UsageError for anything but one SELECT, for one that cannot be answered, and for more rows than a person
    or a spreadsheet can take.
    """
    answer = query.query(root, sql, version)
    rows = list(islice(answer.rows, MOST_ROWS + 1))
    if len(rows) > MOST_ROWS:
        raise UsageError(
            Problem(
                "query-too-long",
                Place("SQL"),
                f"more than {MOST_ROWS:,} rows",
                "an answer that people read",
                "Count or group in the SELECT, or read the archive's Parquet files with a program of your own.",
            )
        )
    return Table(answer.columns, rows)


def views(root: Path) -> Table:
    """The views that can be asked, and their columns."""
    return ask(root, _VIEWS)
