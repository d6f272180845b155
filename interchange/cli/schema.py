"""The schema commands."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import emit, end_with, format_options, say, say_problems
from interchange.table import counted


@click.group()
def schema() -> None:
    """Show, validate against, or write the open schema."""


@schema.command()
@format_options
def show(form: str, output: Path | None) -> None:
    """Show every field of a session: its group, unit, open-standard name and meaning.

    Example: interchange schema show --format csv
    """
    from interchange.operations.schema import fields

    emit(fields(), form, output)


@schema.command()
@click.argument("files", nargs=-1, required=True, type=click.Path(path_type=Path, exists=True))
def validate(files: tuple[Path, ...]) -> None:
    """Check session documents (JSON) against the schema, and rule sets (TOML) against what they may name.

    Example: interchange schema validate session.json

    Example: interchange schema validate vale@2026.toml
    """
    from interchange.operations.schema import faults

    valid = True
    for file in files:
        found = faults(file)
        wrong = [problem for problem in found if problem.blocks != "note"]
        valid = valid and not wrong
        say(f"{file}: {'valid' if not wrong else counted(len(wrong), 'fault')}")
        say_problems(found)
    end_with(valid)


@schema.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
def write(folder: Path) -> None:
    """Write the JSON Schemas and the field book into a folder, as they stand in schema/.

    Example: interchange schema write schema
    """
    from interchange.operations.schema import write_all

    for path in write_all(folder):
        say(f"wrote {path}")
