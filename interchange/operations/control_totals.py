"""Control totals that a sender states, against what was read of the delivery."""

from __future__ import annotations

import math
from collections.abc import Sequence
from pathlib import Path

from interchange.errors import Place, Problem
from interchange.model.covering import SUMMED, TotalsRow
from interchange.model.session import Session
from interchange.operations.said_of_files import ends_of, rows_of

SUM_RATIO = 1e-4  # sums agree within it: readings are rounded in other units; a judgement, no source


class Totals:
    """Control totals, and what of them was found while a delivery is read."""

    def __init__(self, path: Path) -> None:
        """Raises SourceError where the file is no table of control totals."""
        self._rows = [(place, row) for place, row in rows_of(TotalsRow, "control totals", path)]
        self._files: list[str] = []
        self._tests: list[tuple[str, str, dict[str, float]]] = []

    def take(self, file: str, sessions: Sequence[Session]) -> None:
        """Count what was read of a file; weather records are no tests."""
        self._files.append(file)
        for session in sessions:
            if session.kind != "weather":
                start = session.time.started_at_local
                values = {name: getattr(session.reported, name) or 0.0 for name in SUMMED}
                self._tests.append((file, str(start.year) if start else "", values))

    def differences(self) -> tuple[list[Problem], int]:
        """A problem for each total that what was read does not come to, and how many were compared."""
        problems, compared = [], 0
        for place, row in self._rows:
            assert isinstance(row, TotalsRow)
            if row.file and not any(row.file in ends_of(file) for file in self._files):
                cure = "Look whether the file was sent; the totals of it were not compared."
                expected = "a file of the delivery"
                problems.append(Problem("total-file", place, f"'{row.file}'", expected, cure, blocks="cell"))
                continue
            own = [values for file, year, values in self._tests if _is_of(row, file, year)]
            if row.session_count is not None:
                compared += 1
                if row.session_count != len(own):
                    problems.append(_differs(place, "session_count", f"{len(own)}", f"{row.session_count}"))
            for name in SUMMED:
                stated = getattr(row, name)
                if stated is not None:
                    compared += 1
                    found = math.fsum(values[name] for values in own)
                    if not math.isclose(found, stated, rel_tol=SUM_RATIO):
                        problems.append(_differs(place, name, f"a sum of {found:.7g}", f"{stated:.7g}"))
        return problems, compared


def _is_of(row: TotalsRow, file: str, year: str) -> bool:
    return (not row.file or row.file in ends_of(file)) and row.year in ("", year)


def _differs(place: Place, column: str, found: str, stated: str) -> Problem:
    cure = "Look for files that were refused or not sent, and for tests sent twice; nothing was left out for it."
    where = Place(place.file, place.row, column)
    return Problem("total-differs", where, f"{found} in what was read", f"{stated}, as stated", cure, blocks="cell")
