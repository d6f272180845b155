"""The archive commands."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import archive_option, end_with, say, say_problems


@click.group()
def archive() -> None:
    """Look after the archive itself."""


@archive.command()
@archive_option
def verify(root: Path) -> None:
    """Read every byte of the archive again and say what is not as it was committed.

    Example: interchange archive verify --archive tests-2026
    """
    from interchange.operations.verify import verify_archive

    verified = verify_archive(root)
    say_problems(verified.problems)
    say(verified.summary)
    end_with(verified.whole)
