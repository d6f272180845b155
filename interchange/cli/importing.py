"""The `import` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.changing import recompute_option
from interchange.cli.output import archive_option, emit, end_with, format_options, plugins_option, say, say_problems


@click.command("import")
@click.argument("paths", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True))
@archive_option
@plugins_option
@click.option("--from", "sender", metavar="SENDER", help="Who sent the files; stands in the view `deliveries`.")
@click.option(
    "--job-from",
    metavar="PATTERN",
    help="Where a file says no job, take it from its name: {job}, {site}, {stage} and {any} stand for parts of it, as "
    "in '{job}-{stage}.csv'.",
)
@click.option(
    "--jobs-list",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Where a file says no job, take it from this list: CSV with the columns file, job_id, site_id, stage.",
)
@click.option(
    "--totals",
    type=click.Path(path_type=Path, exists=True, dir_okay=False),
    metavar="FILE",
    help="Control totals to compare: CSV with the columns file or year or neither, session_count, and sums such as "
    "reported_flow_m3_h. Exit code 1 where one differs; nothing is left out for it.",
)
@click.option("--dry-run", is_flag=True, help="Read and report, but write nothing.")
@recompute_option
@format_options
def import_(
    paths: tuple[Path, ...],
    root: Path,
    plugin_folders: tuple[Path, ...],
    sender: str | None,
    job_from: str | None,
    jobs_list: Path | None,
    totals: Path | None,
    dry_run: bool,
    again: bool,
    form: str,
    output: Path | None,
) -> None:
    """Take test files into the archive.

    Files, folders and zip files may be given. What a file does not prove is asked, not guessed; a file with an open
    question or a fault is kept as it came, its tests wait outside. Importing the same file again changes nothing.

    What a file says itself always counts; where its name or the list says otherwise, that is a problem. A name that can
    be read in two ways, or not at all, is no name: a file that needs it is refused.

    Afterwards the whole archive is recomputed and searched for tests that are alike; --no-recompute leaves both out.

    Example: interchange import deliveries/ --archive tests-2026

    Example: interchange import logs/ --job-from '{job}-{stage}.csv' --totals march.csv --archive tests-2026
    """
    from interchange.operations.importing import import_files

    report = import_files(
        root,
        paths,
        plugin_folders,
        sender=sender,
        job_from=job_from,
        jobs_list=jobs_list,
        totals=totals,
        dry_run=dry_run,
        recompute=again,
        progress=say,
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
