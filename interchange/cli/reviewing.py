"""The `review` and `decide` commands."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.changing import who_and_why
from interchange.cli.output import archive_option, emit, format_options, say


@click.command()
@archive_option
@click.option("--use", default="flow_at_50", show_default=True, metavar="USE", help="What the tests are wanted for.")
@click.option("--all", "whole", is_flag=True, help="Tests that were decided on, too.")
@format_options
def review(root: Path, use: str, whole: bool, form: str, output: Path | None) -> None:
    """List the tests that wait for a decision, with what the checks suggest.

    Uses: flow_at_50, low_pressure_and_exponent, before_after, publishable. A test that changed after it was decided on
    waits again.

    Example: interchange review --use publishable --archive tests-2026
    """
    from interchange.operations.reviewing import review_table

    emit(review_table(root, use, whole=whole), form, output)


@click.command()
@click.argument("test", metavar="JOB|ID")
@click.argument("decision")
@click.option("--use", metavar="USE", help="For one use only; for all where it is left out.")
@archive_option
@who_and_why
def decide(test: str, decision: str, use: str | None, root: Path, who: str, why: str) -> None:
    """Put on record what was decided of a test.

    Decisions: accept, accept_with_note, ask_for_data, return, waive. A decision stands above the computed verdict;
    earlier ones stay on record.

    Example: interchange decide FV-2037 return --who R. --why "line full of water" --archive tests-2026
    """
    from interchange.operations.reviewing import decide as put_on_record

    made = put_on_record(root, test, decision, use, who, why)
    say(f"test {made.session_id}, {made.use or 'all uses'}: {made.decision}")
