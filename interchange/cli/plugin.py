"""The plugin commands."""

from __future__ import annotations

from pathlib import Path

import click

from interchange.cli.output import emit, end_with, format_options, plugins_option, say, say_problems


@click.group()
def plugin() -> None:
    """List, explain and check import plugins."""


@plugin.command("list")
@plugins_option
@format_options
def list_(plugin_folders: tuple[Path, ...], form: str, output: Path | None) -> None:
    """List the plugins that can be used, and name the broken ones.

    Example: interchange plugin list
    """
    from interchange.operations.plugins import list_plugins

    table, problems = list_plugins(plugin_folders)
    emit(table, form, output)
    say_problems(problems)
    end_with(not problems)


@plugin.command()
@click.argument("file", type=click.Path(path_type=Path, exists=True))
@plugins_option
@format_options
def explain(file: Path, plugin_folders: tuple[Path, ...], form: str, output: Path | None) -> None:
    """Say which plugin reads a file, why, and what becomes of each column and key.

    Example: interchange plugin explain delivery.csv
    """
    from interchange.operations.plugins import explain_file

    explained = explain_file(file, plugin_folders)
    emit(explained.table, form, output)
    say_problems(explained.problems)
    say(explained.summary)
    end_with(explained.read)


@plugin.command()
@click.argument("names", nargs=-1, metavar="[PLUGIN|DIR]...")
@plugins_option
@format_options
def check(names: tuple[str, ...], plugin_folders: tuple[Path, ...], form: str, output: Path | None) -> None:
    """Read each plugin's samples and compare them with the sessions expected of them.

    Example: interchange plugin check one-row-a-test
    """
    from interchange.operations.plugins import check_plugins

    checked = check_plugins(names, plugin_folders)
    emit(checked.table, form, output)
    say_problems(checked.problems)
    say(checked.summary)
    end_with(checked.read)
