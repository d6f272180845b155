"""Reads every byte of an archive again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from interchange.archive import verify
from interchange.errors import ArchiveError, Problem
from interchange.table import counted


@dataclass(frozen=True, slots=True)
class Verified:
    """What is not as it was committed."""

    problems: tuple[Problem, ...]

    @property
    def whole(self) -> bool:
        """Whether nothing that was committed is lost or changed; notes do no harm."""
        return all(problem.blocks == "note" for problem in self.problems)

    @property
    def summary(self) -> str:
        """One sentence."""
        if self.whole:
            return "The archive is whole: everything is as it was committed."
        faults = sum(problem.blocks != "note" for problem in self.problems)
        return f"The archive is not whole: {counted(faults, 'fault')}, listed above."


def verify_archive(root: Path) -> Verified:
    """Check originals, tables, log and settings against what was recorded when they were written.

    Raises ArchiveError where there is no archive, or one of a newer format.
    """
    problems = tuple(verify.verify(root))
    for problem in problems:
        if problem.code in ("archive-missing", "archive-format"):
            raise ArchiveError(problem)
    return Verified(problems)
