"""The `trends` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, emit, format_options, print_section
from interchange.operations.measures import FIRST_ASKED, GROUPS, MEASURES


@click.command()
@archive_option
@click.option(
    "--by",
    multiple=True,
    type=click.Choice(list(GROUPS)),
    default=("crew",),
    show_default=True,
    help="What to group tests by; may be given several times, each by itself.",
)
@click.option(
    "--measure",
    "measures",
    multiple=True,
    type=click.Choice(list(MEASURES)),
    default=FIRST_ASKED,
    show_default=True,
    help="What to count; may be given several times.",
)
@click.option(
    "--fewest",
    type=click.IntRange(1),
    default=20,
    show_default=True,
    metavar="TESTS",
    help="A group of fewer tests is called small and is not ranked.",
)
@format_options
def trends(
    root: Path, by: tuple[str, ...], measures: tuple[str, ...], fewest: int, form: str, output: Path | None
) -> None:
    """Show in which share of tests something went wrong, by crew, sender, gauge, month, wind and more.

    First a line says what was counted and what was left out. Shares come with 95 % intervals (Wilson). They are as
    found, not adjusted for the wind that each group met: the columns for that are there in data, and empty.

    Example: interchange trends --by crew --by month --measure baseline_moved --archive tests-2026
    """
    from interchange.operations.trends import trends as find

    found = find(root, by, measures, fewest)
    if form == "table" and output is None:
        for section in found.page:
            print_section(section)
    else:
        emit(found.table, form, output)
