"""The `assess` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, emit, format_options, say


@click.command()
@archive_option
@format_options
def assess(root: Path, form: str, output: Path | None) -> None:
    """Estimate what wind left of each test, and list where the result differs.

    Beside the result of the rule set stands the best estimate in wind from the same readings. Listed are the tests
    in which the two differ by what matters, or by more than noise explains; the view `estimates` holds them all.

    Example: interchange assess --archive tests-2026
    """
    from interchange.operations.assessing import assess_archive, differing_table

    done = assess_archive(root, progress=say)
    emit(differing_table(root, done), form, output, done.units)
