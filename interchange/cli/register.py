"""The register commands."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, as_of_option, emit, end_with, format_options, say


@click.group()
def register() -> None:
    """Tell the archive what no gauge file holds: jobs, crews, kit, calibrations."""


@register.command()
@click.argument("name", metavar="jobs|crews|kit|calibrations")
@click.argument("file", type=click.Path(path_type=Path, exists=True, dir_okay=False))
@archive_option
def add(name: str, file: Path, root: Path) -> None:
    """Put the rows of a CSV file into a register, all of them or none.

    A row that is there already changes nothing; one that claims days which another row of the same crew, job or fan
    has is refused. `register show` with `--format csv` shows which columns a file has; those that may be empty may be
    left out, and their order is free. Dates are written 2026-02-03.

    Example: interchange register add calibrations fans.csv --archive tests-2026
    """
    from interchange.operations.register import add_to_register

    say(add_to_register(root, name, file).summary)


@register.command()
@click.argument("name", metavar="jobs|crews|kit|calibrations")
@archive_option
@format_options
def show(name: str, root: Path, form: str, output: Path | None) -> None:
    """Show the rows of a register.

    With --format csv it is the file that `register add` takes.

    Example: interchange register show kit --archive tests-2026
    """
    from interchange.operations.register import show_register

    emit(show_register(root, name), form, output)


@register.command()
@click.argument("name", metavar="jobs|crews|kit|calibrations")
@archive_option
@as_of_option
@format_options
def check(name: str, root: Path, version: int | None, form: str, output: Path | None) -> None:
    """Hold the tests against a register: gaps, what it does not know, values that differ.

    The day of a test decides which row holds. Nothing is changed; the exit code is 1 where there is a finding. With
    --as-of tests are those of an older state, registers always those of now.

    Example: interchange register check kit --archive tests-2026
    """
    from interchange.operations.register_check import check_register

    found = check_register(root, name, version)
    emit(found, form, output)
    end_with(not found.rows)
