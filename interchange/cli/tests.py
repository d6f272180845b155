"""The `list` and `show` commands."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, emit, format_options, print_heading, print_section, say


@click.command("list")
@archive_option
@click.option("--as-of", "version", type=int, metavar="VERSION", help="Read an older state of the archive.")
@format_options
def list_(root: Path, version: int | None, form: str, output: Path | None) -> None:
    """List the tests of the archive, a line each.

    Example: interchange list --archive tests-2026
    """
    from interchange.operations.listing import list_tests

    listed = list_tests(root, version)
    emit(listed.table, form, output, listed.units)


@click.command()
@click.argument("test", metavar="JOB|ID")
@archive_option
@click.option("--as-of", "version", type=int, metavar="VERSION", help="Read an older state of the archive.")
def show(test: str, root: Path, version: int | None) -> None:
    """Show one test: readings, results, checks, verdicts.

    The test is named by its job number (all tests of the job are shown) or by the beginning of its id.

    Example: interchange show FV-2031 --archive tests-2026
    """
    from interchange.operations.show import show_tests

    views = show_tests(root, test, version)
    for view in views:
        print_heading(view.heading)
        for section in view.sections:
            print_section(section, view.units)
    say(f"{len(views)} test{'s' if len(views) != 1 else ''}")
