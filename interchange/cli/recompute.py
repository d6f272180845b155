"""The `recompute` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, emit, format_options, say


@click.command()
@archive_option
@click.option(
    "--rules",
    "rule_sets",
    multiple=True,
    metavar="ID@EDITION|FILE",
    help="Rule set to follow; may be given several times. Default: those of the archive.",
)
@click.option("--shares", is_flag=True, help="Show which correction makes which part of the difference.")
@click.option(
    "--compare",
    nargs=2,
    metavar="A B",
    help="Recompute by two rule sets, and show the tests that change value or verdict from A to B, with the shares.",
)
@format_options
def recompute(
    root: Path,
    rule_sets: tuple[str, ...],
    shares: bool,
    compare: tuple[str, str] | None,
    form: str,
    output: Path | None,
) -> None:
    """Recompute leakage from the raw readings, and check it.

    Beside each result stand what the gauge displayed and what the source reported.

    Example: interchange recompute --archive tests-2026 --rules iso9972@2015

    Example: interchange recompute --archive tests-2026 --compare iso9972@2015 astm-e779@2019
    """
    if compare is not None:
        if rule_sets or shares:
            raise click.UsageError(
                "--compare names its rule sets and shows the shares: leave --rules and --shares out."
            )
        from interchange.operations.compare import compare_rule_sets

        compared = compare_rule_sets(root, *compare, progress=say)
        emit(compared.table, form, output, compared.units)
        return
    from interchange.operations.recompute import leakage_table, recompute_archive

    done = recompute_archive(root, rule_sets or None, progress=say)
    emit(leakage_table(root, done, shares=shares), form, output, done.units)
