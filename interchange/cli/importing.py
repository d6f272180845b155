"""The `import` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, emit, end_with, format_options, plugins_option, say, say_problems


@click.command("import")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True))
@archive_option
@plugins_option
@click.option("--from", "sender", metavar="SENDER", help="Who sent the files; stands in the view `deliveries`.")
@click.option("--dry-run", is_flag=True, help="Read and report, but write nothing.")
@click.option(
    "--recompute/--no-recompute",
    default=True,
    show_default=True,
    help="Recompute and check the whole archive afterwards.",
)
@format_options
def import_(
    paths: tuple[Path, ...],
    root: Path,
    plugin_folders: tuple[Path, ...],
    sender: str | None,
    dry_run: bool,
    recompute: bool,
    form: str,
    output: Path | None,
) -> None:
    """Take test files into the archive.

    Files, folders and zip files may be given. What a file does not prove is asked, not guessed; a file with an open
    question or a fault is kept as it came, its tests wait outside. Importing the same file again changes nothing.

    Example: interchange import deliveries/ --archive tests-2026
    """
    from interchange.operations.importing import import_files

    report = import_files(
        root, paths, plugin_folders, sender=sender, dry_run=dry_run, recompute=recompute, progress=say
    )
    emit(report.table(), form, output)
    say_problems(report.problems)
    for question in report.questions:
        say(f"question: {question}")
    for remark in report.remarks:
        say(f"note: {remark}")
    if not dry_run:
        say(f"delivery {report.delivery}; `interchange undo {report.delivery}` takes it back")
    say(report.summary())
    end_with(report.all_imported)
