"""The `assess` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, emit, format_options, say


@click.command()
@archive_option
@format_options
@click.option(
    "--exponent",
    nargs=2,
    type=(click.FloatRange(0.5, 1.0), click.FloatRange(0.001, 0.5)),
    default=None,
    metavar="MEAN SD",
    help="Exponents of such houses, where those of your stock are known: their mean and their standard deviation.",
)
def assess(root: Path, form: str, output: Path | None, exponent: tuple[float, float] | None) -> None:
    """Estimate what wind left of each test, and list where the result differs.

    Beside the result of the rule set stands the best estimate in wind from the same readings. Listed are the tests
    in which the two differ by what matters, or by more than noise explains; the view `estimates` holds them all.
    Exponents of houses are taken to be 0.65 with a standard deviation of 0.06 unless told otherwise; the next import
    or change takes them so again.

    Example: interchange assess --archive tests-2026
    """
    from interchange.operations.assess import assess_archive, differing_table

    done = assess_archive(root, exponent=exponent, progress=say)
    emit(differing_table(root, done), form, output, done.units)
