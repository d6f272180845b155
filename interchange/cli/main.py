"""The `interchange` command. Commands are loaded by name when called; `--help` imports none of them."""

from __future__ import annotations

import importlib
import sys
import traceback
import warnings
from typing import Final

import click

from interchange import __version__
from interchange.errors import EXIT_OUR_BUG, EXIT_USAGE, InterchangeError

# command → (module below interchange.cli, attribute, help line)
COMMANDS: Final[dict[str, tuple[str, str, str]]] = {
    "demo": ("demo", "demo", "Build the demo archive and show what it says."),
    "new": ("new", "new", "Make an empty archive."),
    "import": ("importing", "import_", "Take test files into the archive."),
    "register": (
        "register",
        "register",
        "Tell the archive what no gauge file holds: jobs, crews, kit, calibrations.",
    ),
    "list": ("tests", "list_", "List the tests of the archive, a line each."),
    "show": ("tests", "show", "Show one test: readings, results, checks, verdicts."),
    "recompute": ("recompute", "recompute", "Recompute leakage from the raw readings, and check it."),
    "assess": ("assess", "assess", "Estimate what wind left of each test, and list where the result differs."),
    "reductions": ("pairs", "reductions", "Say by how much leakage fell from before to after, and whether it is real."),
    "repeats": ("pairs", "repeats", "Hold repeated tests against the intervals stated for them."),
    "compare-lines": ("lines", "compare_lines", "Compare two reference lines read side by side with the fan off."),
    "trends": (
        "trends",
        "trends",
        "Show in which share of tests something went wrong, by crew, sender, gauge, month, wind and more.",
    ),
    "duplicates": (
        "duplicates",
        "duplicates",
        "List tests that are probably one and the same: sent again in other bytes, or copied.",
    ),
    "review": ("reviewing", "review", "List the tests that wait for a decision, with what the checks suggest."),
    "decide": ("reviewing", "decide", "Put on record what was decided of a test."),
    "amend": ("changing", "amend", "Correct one field of a test, with who and why."),
    "record": ("changing", "record", "Say which test of a job and stage is the result of record."),
    "undo": ("changing", "undo", "Let what a delivery brought stand no more."),
    "query": ("query", "query", "Ask the archive one question in SQL."),
    "export": ("export", "export", "Hand tests on as session documents, tidy CSV, or files in the layout of a plugin."),
    "plugin": ("plugin", "plugin", "List, explain and check import plugins."),
    "schema": ("schema", "schema", "Show, validate against, or write the open schema."),
    "archive": ("archive", "archive", "Look after the archive itself."),
}


class LazyGroup(click.Group):
    """A group whose commands are named in a table and imported when called."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Names in the order of the table."""
        return list(COMMANDS)

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Import the module of one command."""
        if cmd_name not in COMMANDS:
            return None
        module, attribute, _ = COMMANDS[cmd_name]
        command: click.Command = getattr(importlib.import_module(f"interchange.cli.{module}"), attribute)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the help lines from the table, so that help imports no command."""
        with formatter.section("Commands"):
            formatter.write_dl([(name, words) for name, (_, _, words) in COMMANDS.items()])


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110})
@click.version_option(__version__, prog_name="interchange")
def cli() -> None:
    """Take airtightness tests of houses from any gauge into one open archive, and recompute their leakage.

    Every command works on the archive named by --archive or by the variable INTERCHANGE_ARCHIVE.
    Data goes to standard output, everything else to standard error.
    """


def main() -> None:
    """Entry point: run a command and end with its exit code."""
    warnings.showwarning = lambda message, *_, **__: click.echo(f"warning: {message}", err=True)
    try:
        code = cli.main(standalone_mode=False)
    except click.ClickException as error:
        error.show()
        sys.exit(EXIT_USAGE)
    except click.Abort:
        click.echo("stopped", err=True)
        sys.exit(130)
    except BrokenPipeError:
        sys.stderr.close()
        sys.exit(0)
    except InterchangeError as error:
        for problem in error.problems:
            click.echo(f"error: {problem}", err=True)
        sys.exit(error.exit_code)
    except Exception:
        traceback.print_exc()
        click.echo("This is a fault of interchange itself, not of your data. Please report the lines above.", err=True)
        sys.exit(EXIT_OUR_BUG)
    sys.exit(code or 0)
