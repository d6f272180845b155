"""The `export` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, say


@click.command()
@click.argument("tests", nargs=-1, metavar="[JOB|ID]...")
@archive_option
@click.option(
    "--as",
    "form",
    type=click.Choice(["session", "tidy"]),
    required=True,
    help="session: a JSON document a test, traces beside it; tidy: CSV tables of all tests.",
)
@click.option(
    "--into",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    metavar="DIR",
    help="Folder to write to; made if it is not there.",
)
@click.option("--as-of", "version", type=int, metavar="VERSION", help="Read an older state of the archive.")
def export(tests: tuple[str, ...], root: Path, form: str, folder: Path, version: int | None) -> None:
    """Hand tests on as session documents or tidy CSV.

    Without test names the whole archive is handed on. Existing files of the same name are replaced. In CSV an
    apostrophe stands before text that a spreadsheet would run as a formula.

    Example: interchange export FV-2031 --as session --into handed-on --archive tests-2026
    """
    from interchange.operations.export import export_tests

    written = export_tests(root, tests, "session" if form == "session" else "tidy", folder, version)
    say(f"wrote {len(written)} files below {folder}")
