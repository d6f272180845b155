"""The `duplicates` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, as_of_option, emit, format_options


@click.command()
@archive_option
@as_of_option
@click.option("--all", "whole", is_flag=True, help="Pairs that are settled, too.")
@format_options
def duplicates(root: Path, version: int | None, whole: bool, form: str, output: Path | None) -> None:
    """List tests that are probably one and the same: sent again in other bytes, or copied.

    Tests are held against each other by readings, start, job and house. A pair is certain, probable or possible;
    nothing is changed. It is settled once one of the two says that it supersedes the other (`amend`), or once the
    delivery that brought one is taken back (`undo`).

    Example: interchange duplicates --archive tests-2026
    """
    from interchange.operations.likeness import duplicates as find

    found = find(root, version, whole=whole)
    emit(found.page if form == "table" else found.table, form, output)
