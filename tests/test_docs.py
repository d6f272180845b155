"""Every command has help with an example and stands in README; generated texts are those the code writes."""

from __future__ import annotations

import re
from collections.abc import Iterator
from pathlib import Path

import click
import pytest

from interchange.cli.main import COMMANDS, cli

ROOT = Path(__file__).parent.parent
README = (ROOT / "README.md").read_text()


def _commands(group: click.Group, prefix: str) -> Iterator[tuple[str, click.Command]]:
    context = click.Context(group)
    for name in group.list_commands(context):
        command = group.get_command(context, name)
        assert command is not None
        if isinstance(command, click.Group):
            yield from _commands(command, f"{prefix} {name}")
        else:
            yield f"{prefix} {name}", command


ALL = dict(_commands(cli, "interchange"))


@pytest.mark.parametrize("name", ALL)
def test_a_command_has_help_with_an_example_and_a_place_in_the_readme(name: str) -> None:
    words = ALL[name].help or ""
    assert f"Example: {name}" in words
    assert f"`{name.removeprefix('interchange ')}" in README


@pytest.mark.parametrize("name", COMMANDS)
def test_the_help_line_of_the_table_is_the_first_sentence_of_the_command(name: str) -> None:
    command = cli.get_command(click.Context(cli), name)
    assert command is not None and command.help is not None
    assert command.help.splitlines()[0] == COMMANDS[name][2]


def test_the_readme_has_exactly_two_set_up_commands() -> None:
    set_up = README.split("## Set up", 1)[1].split("\n## ", 1)[0]
    assert len(re.findall(r"```sh\n.*?```", set_up, re.S)) == 2


def test_every_shipped_plugin_has_a_row_in_the_readme() -> None:
    table = README.split("## What is read", 1)[1].split("\n## ", 1)[0]
    rows = re.findall(r"^\| `([\w-]+)` \|", table, re.M)
    assert sorted(rows) == sorted(path.parent.name for path in (ROOT / "plugins").glob("*/plugin.toml"))


def test_the_top_level_holds_what_the_design_card_allows() -> None:
    allowed = {
        "README.md",
        "DEVELOPERS.md",
        "LICENSE",
        "pyproject.toml",
        "interchange",
        "plugins",
        "schema",
        "tests",
        "demo_archive",
    }
    built = {"dist", "build"}
    names = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert names - built - allowed == set()


def test_checked_in_schemas_are_those_the_code_writes(tmp_path: Path) -> None:
    from interchange.operations.schema import write_all

    for path in write_all(tmp_path):
        name = path.relative_to(tmp_path)
        assert (ROOT / "schema" / name).read_text() == path.read_text(), "run: interchange schema write schema"
