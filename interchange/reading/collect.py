"""Gathers problems and questions while a source is read; what recurs in a column is counted, not listed anew."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.errors import Place, Problem, grouped
from interchange.model.question import Answer, Choice, Question, Scope, question_id

# what a cell alone can be at fault for; a number with the wrong marks is read well enough to say so by itself
_FAULTS_OF_A_CELL = frozenset(
    {"cell-missing", "time-form", "no-such-time", "year-refused", "not-a-number", "value-refused"}
)
SHIFTED_CELLS = 3  # so many different texts that do not fit make the row the trouble, not its cells
_MANY = 100_000


class Collector:
    """Problems of one source. Beyond many they are folded as they come, so that millions take no room."""

    def __init__(self, problems: Sequence[Problem] = ()) -> None:
        self._came = list(problems)

    def add(self, problem: Problem) -> None:
        """Take in a problem."""
        self._came.append(problem)
        if len(self._came) > _MANY:
            self._came = _folded(self._came)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """All of them, in the order in which the first of each came; what recurs in a column is counted to it."""
        return tuple(_folded(self._came))

    @property
    def shifted_rows(self) -> frozenset[int]:
        """Rows that are at fault as a whole: what their single cells say means nothing."""
        return frozenset(_shifted(self._came))

    @property
    def blocked(self) -> bool:
        """Whether any of them forbids taking in the source."""
        return any(problem.blocks in ("session", "file") for problem in self._came)


def _shifted(problems: list[Problem]) -> dict[int, list[Problem]]:
    """The rows in which many cells do not fit, and what is wrong with each of these."""
    rows: dict[int, list[Problem]] = {}
    for problem in problems:
        if _of_a_cell(problem):
            rows.setdefault(problem.place.row or 0, []).append(problem)
    return {row: found for row, found in rows.items() if len({one.found for one in found}) >= SHIFTED_CELLS}


def _folded(problems: list[Problem]) -> list[Problem]:
    """Problems by column, but those of a row in which many cells do not fit as one of the row."""
    shifted = _shifted(problems)
    folded: list[Problem] = []
    for problem in problems:
        found = shifted.get(problem.place.row or 0) if _of_a_cell(problem) else None
        if found is None:
            folded.append(problem)
        elif found[0] is problem:
            folded.append(_of_the_row(found))
    return grouped(folded)


def _of_a_cell(problem: Problem) -> bool:
    return problem.code in _FAULTS_OF_A_CELL and problem.count == 1 and problem.place.row is not None


def _of_the_row(cells: list[Problem]) -> Problem:
    first = cells[0]
    return Problem(
        "row-shifted",
        Place(first.place.file, first.place.row),
        f"{len(cells)} cells that do not fit their columns, the first {first.found} under '{first.place.column}'",
        f"there {first.expected}",
        "Compare the row with the original: its cells may be shifted.",
        blocks="session",
    )


class Asker:
    """Asks what a source does not prove, unless it was answered."""

    def __init__(self, fingerprint: str, answers: Sequence[Answer]) -> None:
        self._fingerprint = fingerprint
        self._answers = {answer.question_id: answer.value for answer in answers}
        self._questions: dict[str, Question] = {}
        self.used: dict[str, str] = {}

    def ask(
        self,
        subject: str,
        why: str,
        place: Place,
        choices: Sequence[Choice],
        *,
        about: str = "",
        only_here: str | None = None,
    ) -> str | None:
        """The value of the answer, or None once the question is noted.

        `about` is the whole of a text that the subject may quote cut. `only_here` names the source where the answer can
        hold for that source alone.
        """
        key = "\n".join(filter(None, (only_here, subject, about)))
        name = question_id(self._fingerprint, key)
        answer = self._answers.get(name)
        if answer is not None and any(choice.value == answer for choice in choices):
            self.used[name] = answer
            return answer
        scopes: tuple[Scope, ...] = ("file", "layout", "sender") if only_here is None else ("file",)
        self._questions.setdefault(name, Question(name, subject, why, place, tuple(choices), scopes))
        return None

    @property
    def questions(self) -> tuple[Question, ...]:
        """What remains to be asked."""
        return tuple(self._questions.values())
