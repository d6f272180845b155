"""One step as it was taken in one run: the work before it and after it, and the book it is written into."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.account.book import Book
from interchange.analysis.batch import Floats, Ints
from interchange.analysis.work import Work, floats


@dataclass(frozen=True, slots=True)
class Taken:
    """A step of one run of a batch that holds one session."""

    run: int
    before: Work
    after: Work
    book: Book
    arguments: Mapping[str, Any]

    @property
    def points(self) -> slice:
        """The run's points in the batch."""
        offsets = self.after.batch.point_offsets
        return slice(int(offsets[self.run]), int(offsets[self.run + 1]))

    @property
    def readings(self) -> slice:
        """The run's fan readings in the batch."""
        offsets = self.after.reading_offsets
        return slice(int(offsets[self.run]), int(offsets[self.run + 1]))

    def of_session(self, name: str) -> float:
        """A recorded number of the session."""
        return float(self.after.batch.session[name][0])

    def of_run(self, name: str) -> float:
        """A recorded number of the run."""
        return float(self.after.batch.run[name][self.run])

    def of_points(self, name: str) -> Floats:
        """A recorded column of the run's points."""
        return floats(self.after.batch.point[name][self.points])

    def of_readings(self, name: str) -> Floats:
        """A recorded column of the run's fan readings."""
        return floats(self.after.batch.reading[name][self.readings])

    def has_basis(self, *codes: int) -> NDArray[np.bool_]:
        """Which of the run's fan readings hold a flow of one of these sorts."""
        return np.isin(self.after.batch.reading["flow_basis"][self.readings], codes)


def reading_offsets(work: Work, run: int) -> Ints:
    """Fan readings of each point of a run, counted within the run."""
    start, end = work.batch.point_offsets[run : run + 2]
    offsets = work.batch.reading_offsets[start : end + 1]
    return np.asarray(offsets - offsets[0])
