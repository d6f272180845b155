"""The `list` and `show` commands."""

from __future__ import annotations

import json
from pathlib import Path

import click

from interchange.cli.output import (
    archive_option,
    as_of_option,
    emit,
    end_with,
    format_options,
    print_heading,
    print_section,
    say,
)
from interchange.table import counted


@click.command("list")
@archive_option
@as_of_option
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
@as_of_option
@click.option(
    "--steps",
    is_flag=True,
    help="Print the whole calculation instead, by each rule set: every number with the equation that leads to it, "
    "to follow with a pocket calculator. Always in SI units.",
)
@click.option(
    "--format",
    "form",
    type=click.Choice(["table", "json"]),
    default="table",
    show_default=True,
    help="How to write the steps.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.svg",
    help="Draw the test into a file as well: points and line, what is left beside it, and the pressure of its log.",
)
def show(test: str, root: Path, version: int | None, steps: bool, form: str, picture: Path | None) -> None:
    """Show one test: readings, results, checks, verdicts.

    The result and its verdict stand first, then what speaks against it, then how sure it is and what was read. The
    test is named by its job number (all tests of the job are shown) or by the beginning of its id. With --steps the
    exit code is 1 where no test of the job is of a kind that is recomputed.

    Example: interchange show FV-2031 --picture FV-2031.svg --archive tests-2026
    """
    if steps and picture:
        raise click.UsageError("--picture goes with the page: leave out --steps.")
    if steps:
        _show_steps(root, test, version, form)
        return
    if form != "table":
        raise click.UsageError("--format is for --steps: give both, or neither.")
    from interchange.operations.show import show_tests

    views = show_tests(root, test, version, picture)
    for view in views:
        print_heading(view.heading)
        for section in view.sections:
            print_section(section, view.units)
    if picture:
        say(f"wrote {picture}")
    say(counted(len(views), "test"))


def _show_steps(root: Path, test: str, version: int | None, form: str) -> None:
    from interchange.operations.account import account_tests
    from interchange.report.account import account_lines

    documents = account_tests(root, test, version)
    if form == "json":
        click.echo(json.dumps(documents, ensure_ascii=False, indent=1))
    else:
        for document in documents:
            for line in account_lines(document):
                click.echo(line)
    say(counted(len(documents), "test"))
    end_with(any(document["rule_sets"] for document in documents))
