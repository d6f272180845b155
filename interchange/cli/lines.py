"""The `compare-lines` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, emit, format_options, print_section, say
from interchange.errors import cannot_write
from interchange.files import write_atomically


@click.command("compare-lines")
@archive_option
@click.argument("tests", nargs=-1, metavar="[TEST]...")
@click.option(
    "--plan",
    "plan_ratio",
    type=click.FloatRange(0, 100, min_open=True),
    metavar="RATIO",
    help="Say how long to measure to see this ratio of spreads, as 0.8, in wind like that of each record.",
)
@click.option(
    "--picture",
    type=click.Path(path_type=Path, dir_okay=False),
    metavar="FILE.svg",
    help="Draw spread against wind speed, and readings and difference over time.",
)
@format_options
def compare_lines(
    root: Path, tests: tuple[str, ...], plan_ratio: float | None, picture: Path | None, form: str, output: Path | None
) -> None:
    """Compare two reference lines read side by side with the fan off.

    TEST is a job number or the id of a test; without one, all records with two lines are compared. The first line is
    the measure: a spread ratio below 1 means that the second is calmer.

    Example: interchange compare-lines FV-2962 --plan 0.8 --picture lines.svg --archive tests-2026
    """
    from interchange.operations.side_by_side import compare_lines as compare
    from interchange.report.picture_of_lines import svg
    from interchange.report.section import Section

    if plan_ratio == 1.0:
        raise click.UsageError("A ratio of 1 is no difference: no length of record shows it.")
    found = compare(root, tests, plan_ratio)
    emit(found.page if form == "table" else found.table, form, output, found.units)
    if form == "table" and output is None:
        for title, lines in found.said:
            print_section(Section(title, lines))
    if picture is not None and found.pictures:
        try:
            write_atomically(picture, svg(found.pictures).encode())
        except OSError as error:
            raise cannot_write(str(picture), error) from None
        say(f"wrote {picture}")
