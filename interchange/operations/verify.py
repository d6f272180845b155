"""Reads every byte of an archive again."""

from __future__ import annotations

from dataclasses import astuple, dataclass
from pathlib import Path

from interchange.archive import damage, verify
from interchange.errors import ArchiveError, Problem
from interchange.table import Table, counted

_TOUCHED = ("session_id", "source_name", "harmed_part", "rebuilt_from")


@dataclass(frozen=True, slots=True)
class Verified:
    """What is not as it was committed."""

    problems: tuple[Problem, ...]
    touched: Table

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
    rows = [astuple(one) for one in damage.touched(root, problems)] if problems else []
    return Verified(problems, Table(_TOUCHED, rows))
