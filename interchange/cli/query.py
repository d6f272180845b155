"""The `query` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, as_of_option, emit, format_options


@click.command()
@click.argument("sql", required=False)
@archive_option
@as_of_option
@format_options
def query(sql: str | None, root: Path, version: int | None, form: str, output: Path | None) -> None:
    """Ask the archive one question in SQL.

    One SELECT over the archive's views (sessions, runs, points, results, checks, verdicts and more). It can read
    nothing else and write nothing. Without SQL the views and their columns are listed. Ctrl-C ends a long query.

    Example: interchange query "select crew, count(*) from sessions group by crew" --archive tests-2026
    """
    from interchange.operations.query import ask, views

    emit(views(root) if sql is None else ask(root, sql, version), form, output)
