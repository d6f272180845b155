"""What can go wrong, as values: where it is, what was found, what was expected, what to do.

A `Problem` is data: collected, counted, stored in the journal, printed. An `InterchangeError` ends a command;
its class carries the exit code. Anything else that is raised is a bug of ours (exit code 70).
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import ClassVar, Literal

Blocks = Literal["note", "cell", "column", "session", "file"]

EXIT_DONE = 0
EXIT_ANSWER_IS_NO = 1
EXIT_USAGE = 2
EXIT_SOURCE = 3
EXIT_ARCHIVE = 4
EXIT_OUR_BUG = 70


_LONGEST_FOUND = 300


def printable(text: str) -> str:
    """Text that a terminal shows as it is: characters that would steer it are written out."""
    return text if text.isprintable() else "".join(c if c.isprintable() else repr(c)[1:-1] for c in text)


@dataclass(frozen=True, slots=True)
class Place:
    """Where in a source something stands. Rows count physical lines from 1, as an editor shows them."""

    file: str
    row: int | None = None
    column: str | None = None

    def __str__(self) -> str:
        text = self.file
        if self.row is not None:
            text += f", row {self.row}"
        if self.column is not None:
            text += f", column '{self.column}'"
        return text


@dataclass(frozen=True, slots=True)
class Problem:
    """One kind of trouble at one place (and, when `count` is above 1, at that many places like it).

    `blocks` says how much of the source cannot be used because of it; a note blocks nothing.
    """

    code: str
    place: Place
    found: str
    expected: str
    cure: str
    count: int = 1
    blocks: Blocks = "note"

    def __str__(self) -> str:
        more = f" ({self.count} times; this is the first)" if self.count > 1 else ""
        found = self.found if len(self.found) <= _LONGEST_FOUND else f"{self.found[:_LONGEST_FOUND]}…"
        return printable(f"{self.place}: found {found}; expected {self.expected}. {self.cure}{more}")


def grouped(problems: list[Problem]) -> list[Problem]:
    """Fold problems of the same code, file and column into the first of them, with their count."""
    first: dict[tuple[str, str, str | None, Blocks], Problem] = {}
    for problem in problems:
        key = (problem.code, problem.place.file, problem.place.column, problem.blocks)
        seen = first.get(key)
        first[key] = problem if seen is None else replace(seen, count=seen.count + problem.count)
    return list(first.values())


class InterchangeError(Exception):
    """An end that a user or a source can cause; carries the problems that led to it."""

    exit_code: ClassVar[int] = EXIT_OUR_BUG

    def __init__(self, *problems: Problem) -> None:
        self.problems = problems
        super().__init__("\n".join(str(problem) for problem in problems))


class UsageError(InterchangeError):
    """The command was called in a way that cannot be carried out."""

    exit_code = EXIT_USAGE


class SourceError(InterchangeError):
    """A source, or a document given to us, cannot be read."""

    exit_code = EXIT_SOURCE


class PluginError(InterchangeError):
    """A plugin's own folder is at fault."""

    exit_code = EXIT_SOURCE


class RuleSetError(InterchangeError):
    """A rule set's own file is at fault."""

    exit_code = EXIT_SOURCE


class ArchiveError(InterchangeError):
    """The archive cannot be opened, written or trusted."""

    exit_code = EXIT_ARCHIVE


def cannot_write(place: str, error: OSError) -> UsageError:
    """The end of a command whose output has no place to go."""
    found = error.strerror or str(error)
    return UsageError(
        Problem(
            "cannot-write", Place(place), found, "a place that can be written to", "Give another place, or make room."
        )
    )
