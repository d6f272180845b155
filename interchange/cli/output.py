"""What all commands share: options, and the printing of tables. Data to stdout, everything else to stderr."""

from __future__ import annotations

import shutil
import sys
from collections.abc import Callable, Iterable
from pathlib import Path
from typing import Any, TypeVar

import click

from interchange.errors import EXIT_ANSWER_IS_NO, Problem
from interchange.report.heads import Units, head, shown
from interchange.report.table import Table, csv_text, json_text

Command = TypeVar("Command", bound=Callable[..., Any])

_NUMBER = (int, float)
_LEAST_COLUMN_WIDTH = 12


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
        help="How to write the data; all but table are in SI units.",
    )(command)


def say(text: str = "") -> None:
    """Print a line that is not data."""
    click.echo(text, err=True)


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
        data = (csv_text if form == "csv" else json_text)(table).encode()
    if output is None:
        click.get_binary_stream("stdout").write(data)
    else:
        output.write_bytes(data)
        say(f"wrote {output}")
    for sentence in table.left_out:
        say(f"left out: {sentence}")


def _text(table: Table, units: Units) -> str:
    if not table.rows:
        return "(no rows)\n"
    heads = [head(name, units) for name in table.columns]
    cells = [[shown(name, value, units) for name, value in zip(table.columns, row, strict=True)] for row in table.rows]
    numeric = [all(isinstance(row[i], _NUMBER) or row[i] is None for row in table.rows) for i in range(len(heads))]
    widths = [max(_head_width(heads[i]), *(len(row[i]) for row in cells)) for i in range(len(heads))]
    widths = _fitted(widths, numeric)
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


def _fitted(widths: list[int], numeric: list[bool]) -> list[int]:
    """Narrow the widest column of text until the table fits the terminal; into files nothing is narrowed."""
    if not sys.stdout.isatty():
        return widths
    room = shutil.get_terminal_size((120, 40)).columns - 2 * (len(widths) - 1)
    widths = list(widths)
    while sum(widths) > room:
        widest = max((i for i in range(len(widths)) if not numeric[i]), key=lambda i: widths[i], default=None)
        if widest is None or widths[widest] <= _LEAST_COLUMN_WIDTH:
            break
        widths[widest] -= 1
    return widths


def _wrapped(text: str, width: int) -> list[str]:
    lines: list[str] = [""]
    for word in text.split(" "):
        if lines[-1] and len(lines[-1]) + 1 + len(word) > width:
            lines.append(word)
        else:
            lines[-1] = f"{lines[-1]} {word}" if lines[-1] else word
    return lines


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
