"""What all commands share: options, and the printing of tables. Data to stdout, everything else to stderr."""

from __future__ import annotations

import shutil
import sys
import textwrap
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import click

from interchange.errors import EXIT_ANSWER_IS_NO, Problem, cannot_write
from interchange.files import write_atomically
from interchange.report.heads import Units, head, shown
from interchange.report.section import Section
from interchange.table import Table, csv_text, json_text

Command = TypeVar("Command", bound=Callable[..., Any])

_NUMBER = (int, float)
_LEAST_COLUMN_WIDTH = 12
_PAGE_WIDTH = 140


def archive_option(command: Command) -> Command:
    """Add --archive, read from INTERCHANGE_ARCHIVE where it is not given."""
    return click.option(
        "--archive",
        "root",
        type=click.Path(path_type=Path),
        envvar="INTERCHANGE_ARCHIVE",
        required=True,
        metavar="DIR",
        help="The archive's folder; or set INTERCHANGE_ARCHIVE.",
    )(command)


def as_of_option(command: Command) -> Command:
    """Add --as-of."""
    return click.option("--as-of", "version", type=int, metavar="VERSION", help="Read an older state of the archive.")(
        command
    )


def plugins_option(command: Command) -> Command:
    """Where else to look for plugins."""
    return click.option(
        "--plugins",
        "plugin_folders",
        multiple=True,
        type=click.Path(path_type=Path, file_okay=False, exists=True),
        metavar="DIR",
        help="Another folder of plugins; may be given several times.",
    )(command)


def rules_option(command: Command) -> Command:
    """Add --rules for commands that read results by rule set."""
    return click.option(
        "--rules",
        "rule_sets",
        multiple=True,
        metavar="ID@EDITION|FILE",
        help="Rule set whose results are read; of several, the first that is for the kind of test. Default: those of "
        "the archive.",
    )(command)


def format_options(command: Command) -> Command:
    """Add --format and --output."""
    command = click.option(
        "--output",
        type=click.Path(path_type=Path, dir_okay=False),
        metavar="FILE",
        help="Write the data to a file instead of standard output.",
    )(command)
    return click.option(
        "--format",
        "form",
        type=click.Choice(["table", "csv", "json", "parquet"]),
        default="table",
        show_default=True,
        help="How to write the data; all but table are in SI units. In CSV an apostrophe stands before text that a "
        "spreadsheet would run as a formula.",
    )(command)


def say(text: str = "") -> None:
    """Print a line that is not data."""
    click.echo(text, err=True)


def say_table(table: Table) -> None:
    """Print a table that is not data."""
    click.echo(_text(table, "si"), nl=False, err=True)
    for sentence in table.notes:
        say(f"note: {sentence}")


def say_problems(problems: Iterable[Problem]) -> None:
    """Print problems, a line each."""
    for problem in problems:
        say(f"{'note' if problem.blocks == 'note' else 'problem'}: {problem}")


def end_with(answer_is_yes: bool) -> None:
    """End with exit code 0, or 1 where the command was carried out and the answer is no."""
    if not answer_is_yes:
        click.get_current_context().exit(EXIT_ANSWER_IS_NO)


def emit(table: Table, form: str = "table", output: Path | None = None, units: Units = "si") -> None:
    """Print a table in the asked form, and to stderr what it leaves out."""
    if form == "parquet" and output is None and sys.stdout.isatty():
        raise click.UsageError("Parquet is not text: name a file with --output, or send standard output to one.")
    if form == "table":
        data = _text(table, units).encode()
    elif form == "parquet":
        from interchange.exchange.tidy import parquet_bytes

        data = parquet_bytes(table)
    else:
        data = (csv_text(table) if form == "csv" else json_text(table)).encode()
    try:
        if output is None:
            click.echo(data, nl=False)
        else:
            write_atomically(output, data)
            say(f"wrote {output}")
    except BrokenPipeError:
        raise
    except OSError as error:
        place = "standard output" if output is None else str(output)
        raise cannot_write(place, error) from None
    for sentence in table.left_out:
        say(f"left out: {sentence}")
    for sentence in table.notes:
        say(f"note: {sentence}")


def print_heading(words: str) -> None:
    """Print a heading to standard output."""
    click.echo(f"\n{words}\n{'=' * len(words)}")


def print_section(section: Section, units: Units = "si") -> None:
    """Print a part of a page to standard output, long lines wrapped and indented below their beginning."""
    click.echo(f"\n{section.title}")
    width = min(_page_width(), _PAGE_WIDTH)
    for line in section.lines:
        hang = " " * (4 if line.startswith(("- ", "  ")) else 2)
        click.echo(textwrap.fill(line, width, initial_indent="  ", subsequent_indent="  " + hang) or "")
    if section.table is not None:
        emit(section.table, units=units)


def _text(table: Table, units: Units) -> str:
    if not table.rows:
        return "(no rows)\n"
    heads = [head(name, units) for name in table.columns]
    cells = [[shown(name, value, units) for name, value in zip(table.columns, row, strict=True)] for row in table.rows]
    numeric = [all(isinstance(row[i], _NUMBER) or row[i] is None for row in table.rows) for i in range(len(heads))]
    words = [
        [word for text in (heads[i], *(row[i] for row in cells)) for word in text.split()] for i in range(len(heads))
    ]
    least = [max(map(len, column), default=1) for column in words]
    widths = [max(_head_width(heads[i]), *(len(row[i]) for row in cells)) for i in range(len(heads))]
    widths = _fitted(widths, least)
    lines = [
        *_laid_out(
            [_wrapped(text, width) for text, width in zip(heads, widths, strict=True)], widths, numeric, "below"
        ),
        "  ".join("-" * width for width in widths),
    ]
    for row in cells:
        lines += _laid_out(
            [_wrapped(text, width) for text, width in zip(row, widths, strict=True)], widths, numeric, "above"
        )
    return "\n".join(lines) + "\n"


def _head_width(words: str) -> int:
    """A head may break over lines at its blanks."""
    longest = max(map(len, words.split(" ")), default=0)
    return min(len(words), max(longest, _LEAST_COLUMN_WIDTH))


def _fitted(widths: list[int], least: list[int]) -> list[int]:
    """Narrow the widest columns, down to their longest word, until the table fits the terminal, or else a page."""
    room = _page_width() - 2 * (len(widths) - 1)
    widths = list(widths)
    while sum(widths) > room:
        wide = [i for i in range(len(widths)) if widths[i] > least[i]]
        if not wide:
            break
        widths[max(wide, key=lambda i: widths[i])] -= 1
    return widths


def _page_width() -> int:
    """Columns of the terminal, or of a page where there is none."""
    return shutil.get_terminal_size((_PAGE_WIDTH, 40)).columns if sys.stdout.isatty() else _PAGE_WIDTH


def _wrapped(text: str, width: int) -> list[str]:
    return textwrap.wrap(text, width, break_on_hyphens=False, break_long_words=False) or [""]


def _laid_out(blocks: list[list[str]], widths: list[int], numeric: list[bool], pad: str) -> list[str]:
    """Lines of one table row from cells of several lines; `pad` says where the empty lines of short cells go."""
    height = max(map(len, blocks))
    filled = [
        [""] * (height - len(block)) + block if pad == "below" else block + [""] * (height - len(block))
        for block in blocks
    ]
    return [
        "  ".join(
            (line.rjust if right else line.ljust)(width)
            for line, width, right in zip(row, widths, numeric, strict=True)
        ).rstrip()
        for row in zip(*filled, strict=True)
    ]
