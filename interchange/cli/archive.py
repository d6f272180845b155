"""The archive commands."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.changing import recompute_option, recompute_where
from interchange.cli.output import archive_option, emit, end_with, format_options, plugins_option, say, say_problems


@click.group()
def archive() -> None:
    """Look after the archive itself."""


@archive.command()
@archive_option
@format_options
def verify(root: Path, form: str, output: Path | None) -> None:
    """Read every byte of the archive again and say what is not as it was committed.

    Tests that harmed files touch are listed, with what they can be had from again.

    Example: interchange archive verify --archive tests-2026
    """
    from interchange.operations.verify import verify_archive

    verified = verify_archive(root)
    say_problems(verified.problems)
    if verified.touched.rows:
        emit(verified.touched, form, output)
    say(verified.summary)
    end_with(verified.whole)


@archive.command()
@archive_option
@plugins_option
@click.option("--dry-run", is_flag=True, help="Read and report, but write nothing.")
@recompute_option
@format_options
def rebuild(
    root: Path, plugin_folders: tuple[Path, ...], dry_run: bool, again: bool, form: str, output: Path | None
) -> None:
    """Read every original again with the plugins of now.

    What reads otherwise stands from now on, with the amendments made to it; the reading before it stays on record, and
    --as-of shows it. A source that no plugin reads any more, or that raises a question, keeps the tests that stand; the
    exit code is then 1.

    Example: interchange archive rebuild --dry-run --archive tests-2026
    """
    from interchange.operations.rebuilding import rebuild_archive

    done = rebuild_archive(root, plugin_folders, dry_run=dry_run, progress=say)
    recompute_where(root, again and done.changed)
    emit(done.table, form, output)
    say_problems(done.problems)
    for question in done.questions:
        say(f"question: {question}")
    say(done.summary)
    end_with(done.all_read)


@archive.command()
@archive_option
@click.option(
    "--grace-days",
    type=click.FloatRange(min=0),
    default=7.0,
    show_default=True,
    help="How long old files stay for those who are reading them. Earlier versions are readable as long as they stay.",
)
def compact(root: Path, grace_days: float) -> None:
    """Put the many small files of imports together, sorted, so that questions are answered faster.

    No test, no earlier reading, no journal row changes, and results stay valid. It may run while others import.

    Example: interchange archive compact --archive tests-2026
    """
    from interchange.operations.compact import compact_archive

    for sentence in compact_archive(root, grace_days).sentences:
        say(sentence)


@archive.command()
@click.argument("file", required=False, type=click.Path(path_type=Path, dir_okay=False))
@archive_option
@format_options
def stamp(file: Path | None, root: Path, form: str, output: Path | None) -> None:
    """Say by hashes what the archive holds now, and keep that in FILE to compare with later.

    Every current test, journal row, decision, register and original is read. Whoever has the total can tell later
    whether anything of it was changed; `archive changes` says what.

    Example: interchange archive stamp stamp-2026-06.json --archive tests-2026
    """
    from interchange.operations.stamp import stamp_archive

    emit(stamp_archive(root, file), form, output)


@archive.command()
@click.argument("first")
@click.argument("second")
@archive_option
@format_options
def changes(first: str, second: str, root: Path, form: str, output: Path | None) -> None:
    """Say row by row what changed between two stamps or versions, with who and why.

    FIRST and SECOND are version numbers, or files that `archive stamp` wrote.

    Example: interchange archive changes stamp-2026-05.json stamp-2026-06.json --archive tests-2026

    Example: interchange archive changes 12 15 --format csv --archive tests-2026
    """
    from interchange.operations.stamp import changes_between

    emit(changes_between(root, first, second), form, output)
