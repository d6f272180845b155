"""The `reductions` and `repeats` commands."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, emit, format_options, rules_option


@click.command()
@archive_option
@rules_option
@click.option("--by-contractor", is_flag=True, help="Show how many pairs each contractor has, in place of the pairs.")
@click.option(
    "--least",
    "least_percent",
    type=click.FloatRange(0, 100),
    default=0.0,
    show_default=True,
    metavar="PERCENT",
    help="The smallest reduction of practical size: a pair whose whole interval lies below it has none.",
)
@click.option(
    "--days-apart",
    type=click.IntRange(0),
    default=730,
    show_default=True,
    metavar="DAYS",
    help="Name pairs whose tests lie further apart.",
)
@format_options
def reductions(
    root: Path,
    rule_sets: tuple[str, ...],
    by_contractor: bool,
    least_percent: float,
    days_apart: int,
    form: str,
    output: Path | None,
) -> None:
    """Say by how much leakage fell from before to after, and whether it is real.

    A reduction is real where its whole 95 % interval is one and the two tests match. What does not match is named.

    Example: interchange reductions --archive tests-2026 --least 10
    """
    from interchange.operations.mismatches import Limits
    from interchange.operations.reductions import reductions as find

    found = find(root, rule_sets or None, Limits(least_percent=least_percent, days_apart=days_apart))
    table = found.by_contractor if by_contractor else found.page if form == "table" else found.table
    emit(table, form, output, found.units)


@click.command()
@archive_option
@rules_option
@click.option("--each", is_flag=True, help="Show each pair, in place of how many agree.")
@click.option(
    "--days-apart",
    "most_days",
    type=click.IntRange(0),
    default=60,
    show_default=True,
    metavar="DAYS",
    help="Leave out tests of one stage that lie further apart: there may be work between them.",
)
@format_options
def repeats(root: Path, rule_sets: tuple[str, ...], each: bool, most_days: int, form: str, output: Path | None) -> None:
    """Hold repeated tests against the intervals stated for them.

    Repeats are tests of one house and stage, and both directions of one test. If the intervals are right, 95 in 100
    pairs agree.

    Example: interchange repeats --archive tests-2026 --each
    """
    from interchange.operations.repeats import repeats as find

    found = find(root, rule_sets or None, most_days)
    emit(found.each if each else found.table, form, output, found.units)
