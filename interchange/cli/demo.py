"""The `demo` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import print_heading, print_section, say


@click.command()
@click.option(
    "--into",
    "folder",
    type=click.Path(path_type=Path, file_okay=False),
    metavar="DIR",
    help="Keep the archive in this new folder; without it, it is thrown away at the end.",
)
@click.option(
    "--jobs",
    type=int,
    metavar="N",
    help="Make a larger programme of N jobs, to see how an archive of its size behaves.",
)
def demo(folder: Path | None, jobs: int | None) -> None:
    """Build the demo archive and show what it says.

    Imports the deliveries of an invented programme, recomputes every test, and names those not to be relied on.

    Example: interchange demo --into demo
    """
    from interchange.operations.demo import run_demo

    page = run_demo(folder, jobs, progress=say)
    print_heading(page.heading)
    for section in page.sections:
        print_section(section, page.units)
