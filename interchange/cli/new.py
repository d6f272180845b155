"""The `new` command."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import say


@click.command()
@click.argument("folder", type=click.Path(path_type=Path, file_okay=False))
@click.option("--programme", help="Name of the programme.")
@click.option(
    "--time-zone", metavar="ZONE", help="IANA zone of the houses, as in Europe/Dublin; '-' where they differ."
)
@click.option("--units", type=click.Choice(["si", "imperial"]), help="Units that tables are shown in.")
@click.option(
    "--rules",
    "rule_sets",
    multiple=True,
    metavar="ID@EDITION",
    help="Rule set to compute by; may be given several times.",
)
@click.option("--yes", is_flag=True, help="Ask nothing: take the defaults for what is not given.")
def new(
    folder: Path, programme: str | None, time_zone: str | None, units: str | None, rule_sets: tuple[str, ...], yes: bool
) -> None:
    """Make an empty archive.

    Asks once for what the programme has agreed on; all of it can be changed later in archive.toml.

    Example: interchange new tests-2026 --programme "Fennick Vale" --time-zone UTC --units si --yes
    """
    from interchange.operations.new import DEFAULT_RULE_SETS, new_archive

    if programme is None:
        programme = folder.name if yes else click.prompt("Name of the programme", default=folder.name, err=True)
    if time_zone is None:
        time_zone = (
            "-"
            if yes
            else click.prompt(
                "Time zone of the houses (IANA name, '-' where they lie in several)", default="-", err=True
            )
        )
    if units is None:
        units = (
            "si"
            if yes
            else click.prompt("Units for tables", type=click.Choice(["si", "imperial"]), default="si", err=True)
        )
    if not rule_sets:
        rule_sets = (
            DEFAULT_RULE_SETS
            if yes
            else tuple(
                click.prompt(
                    "Rule sets to compute by, separated by blanks", default=" ".join(DEFAULT_RULE_SETS), err=True
                ).split()
            )
        )
    path = new_archive(
        folder,
        programme,
        None if time_zone == "-" else time_zone,
        "imperial" if units == "imperial" else "si",
        rule_sets,
    )
    say(f"made an archive in {path}; next: interchange import PATH... --archive {path}")
