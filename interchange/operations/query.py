"""One question in SQL to an archive."""

from __future__ import annotations

from pathlib import Path

from interchange.archive import query
from interchange.table import Table

_VIEWS = """
select table_name as view_name, string_agg(column_name, ', ' order by column_index) as column_names
from duckdb_columns() where not internal group by table_name order by table_name
"""


def ask(root: Path, sql: str, version: int | None = None) -> Table:
    """The rows that one SELECT over the archive's views gives; `version` reads an older state.

    Raises UsageError for anything but one SELECT, and for one that cannot be answered.
    """
    answer = query.query(root, sql, version)
    return Table(answer.columns, list(answer.rows))


def views(root: Path) -> Table:
    """The views that can be asked, and their columns."""
    return ask(root, _VIEWS)
