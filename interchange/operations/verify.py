"""Reads every byte of an archive again."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from interchange.archive import verify
from interchange.errors import Problem


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
        return f"The archive is not whole: {faults} fault{'s' if faults > 1 else ''}, listed above."


def verify_archive(root: Path) -> Verified:
    """Check originals, tables, log and settings against what was recorded when they were written."""
    return Verified(tuple(verify.verify(root)))
