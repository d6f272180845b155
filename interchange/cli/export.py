"""The `export` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, as_of_option, end_with, plugins_option, say, say_table


@click.command()
@click.argument("tests", nargs=-1, metavar="[JOB|ID]...")
@archive_option
@click.option(
    "--as",
    "form",
    required=True,
    metavar="session|tidy|PLUGIN",
    help="session: a JSON document a test, traces beside it; tidy: CSV tables of all tests; or the id of a plugin: "
    "files in the layout that it reads.",
)
@click.option(
    "--into",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    required=True,
    metavar="DIR",
    help="Folder to write to; made if it is not there.",
)
@as_of_option
@click.option("--accept-losses", is_flag=True, help="Write a plugin's layout even where it cannot hold all.")
@plugins_option
def export(
    tests: tuple[str, ...],
    root: Path,
    form: str,
    folder: Path,
    version: int | None,
    accept_losses: bool,
    plugin_folders: tuple[Path, ...],
) -> None:
    """Hand tests on as session documents, tidy CSV, or files in the layout of a plugin.

    Without test names the whole archive is handed on. Existing files of the same name are replaced. In CSV an
    apostrophe stands before text that a spreadsheet would run as a formula.

    A plugin's layout rarely holds all of a test: what it would lose is listed first, by field and reason, and nothing
    is written until the losses are accepted.

    Example: interchange export FV-2031 --as session --into handed-on --archive tests-2026

    Example: interchange export --as one-row-a-test --into sheet --accept-losses --archive tests-2026
    """
    from interchange.operations.export import export_in_layout, export_tests

    if form in ("session", "tidy"):
        written = export_tests(root, tests, "session" if form == "session" else "tidy", folder, version)
        say(f"wrote {len(written)} files below {folder}")
        return
    done = export_in_layout(root, tests, form, folder, plugin_folders, accept_losses=accept_losses, version=version)
    if done.losses.rows:
        say("the layout does not hold all:")
        say_table(done.losses)
    if done.refused:
        say("nothing was written; with --accept-losses it is written all the same")
    else:
        say(f"wrote {len(done.paths)} files below {folder}")
    end_with(not done.refused)
