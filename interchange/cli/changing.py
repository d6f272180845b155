"""The `undo`, `amend` and `record` commands."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any, TypeVar

import click

from interchange.cli.output import archive_option, say
from interchange.table import counted

Command = TypeVar("Command", bound=Callable[..., Any])


def who_and_why(command: Command) -> Command:
    """Add --who and --why."""
    command = click.option("--why", required=True, metavar="TEXT", help="Why; it stays on record.")(command)
    return click.option(
        "--who", required=True, metavar="NAME", help="Who says so: a pseudonym will do; it stays on record."
    )(command)


def recompute_option(command: Command) -> Command:
    """Add --recompute and --no-recompute."""
    return click.option(
        "--recompute/--no-recompute",
        "again",
        default=True,
        show_default=True,
        help="Recompute, check and assess the whole archive afterwards.",
    )(command)


def recompute_where(root: Path, again: bool) -> None:
    """Recompute, check and assess, unless told not to."""
    if again:
        from interchange.operations.assess import recompute_and_assess

        recompute_and_assess(root, say)


@click.command()
@click.argument("delivery")
@archive_option
@who_and_why
@recompute_option
def undo(delivery: str, root: Path, who: str, why: str, again: bool) -> None:
    """Let what a delivery brought stand no more.

    What stood before it stands again. Nothing is deleted: originals and journal stay, earlier states can be read with
    --as-of, and importing the files again brings them back. The view `deliveries` lists deliveries.

    Example: interchange undo 2026-03-02-094112-3fa2 --who R. --why "wrong programme" --archive tests-2026
    """
    from interchange.operations.changing import undo_delivery

    done = undo_delivery(root, delivery, who, why)
    recompute_where(root, again)
    say(
        f"{counted(len(done.hidden), 'test')} no longer in the current state, {len(done.replaced)} as before that "
        f"delivery, {len(done.added)} back. Earlier states: --as-of {done.version - 1} or less."
    )


@click.command(context_settings={"ignore_unknown_options": True})  # a value below zero is no option
@click.argument("test", metavar="JOB|ID")
@click.argument("field")
@click.argument("value", required=False)
@click.option("--empty", is_flag=True, help="Empty the field instead of giving it a value.")
@archive_option
@who_and_why
@recompute_option
def amend(test: str, field: str, value: str | None, empty: bool, root: Path, who: str, why: str, again: bool) -> None:
    """Correct one field of a test, with who and why.

    The reading as it came stays; the test carries the amendment, in exports too. Values are in the archive's units
    (`interchange schema show` lists fields and units); runs and points count from 1.

    Example: interchange amend FV-2037 volume_m3 312 --who R. --why "drawings of May" --archive tests-2026

    Example: interchange amend FV-2037 runs.1.points.3.dropped true --who R. --why "door open" --archive tests-2026
    """
    if empty == (value is not None):
        raise click.UsageError("Give a value, or --empty.")
    from interchange.operations.changing import amend_test

    done = amend_test(root, test, field, value, who, why)
    recompute_where(root, again)
    say(f"{field} of test {done.session.session_id}: {done.was or 'nothing'} → {done.now or 'nothing'}")


@click.command()
@click.argument("test", metavar="JOB|ID")
@archive_option
@who_and_why
@recompute_option
def record(test: str, root: Path, who: str, why: str, again: bool) -> None:
    """Say which test of a job and stage is the result of record.

    All others of that job and stage are marked as not counting, in the same step; each carries it as an amendment.
    Comparisons of before and after then rest on that test.

    Example: interchange record 4f1c09aa --who R. --why "the retest in still air" --archive tests-2026
    """
    from interchange.operations.changing import mark_of_record

    session, others = mark_of_record(root, test, who, why)
    recompute_where(root, again)
    say(
        f"test {session.session_id} is the result of record of job {session.record.job_id}, {session.record.stage}; "
        f"{counted(len(others), 'other test')} of it marked as not counting"
    )
