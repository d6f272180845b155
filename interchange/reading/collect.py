"""Gathers problems and questions while a source is read; what recurs in a column is counted, not listed anew."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from interchange.errors import Place, Problem
from interchange.model.question import Answer, Choice, Question, Scope, question_id


class Collector:
    """Problems of one source, folded as they come, so that a million like ones take the room of one."""

    def __init__(self, problems: Sequence[Problem] = ()) -> None:
        self._problems: dict[tuple[str, str, str | None, str], Problem] = {}
        for problem in problems:
            self.add(problem)

    def add(self, problem: Problem) -> None:
        """Take in a problem, or count it to the first of its code and column."""
        key = (problem.code, problem.place.file, problem.place.column, problem.blocks)
        seen = self._problems.get(key)
        self._problems[key] = problem if seen is None else replace(seen, count=seen.count + problem.count)

    @property
    def problems(self) -> tuple[Problem, ...]:
        """All of them, in the order in which the first of each came."""
        return tuple(self._problems.values())

    @property
    def blocked(self) -> bool:
        """Whether any of them forbids taking in the source."""
        return any(problem.blocks in ("session", "file") for problem in self._problems.values())


class Asker:
    """Asks what a source does not prove, unless it was answered."""

    def __init__(self, fingerprint: str, answers: Sequence[Answer]) -> None:
        self._fingerprint = fingerprint
        self._answers = {answer.question_id: answer.value for answer in answers}
        self._questions: dict[str, Question] = {}

    def ask(
        self,
        subject: str,
        why: str,
        place: Place,
        choices: Sequence[Choice],
        *,
        only_here: str | None = None,
    ) -> str | None:
        """The value of the answer, or None once the question is noted.

        `only_here` names the source where the answer can hold for that source alone.
        """
        key = subject if only_here is None else f"{only_here}\n{subject}"
        name = question_id(self._fingerprint, key)
        answer = self._answers.get(name)
        if answer is not None and any(choice.value == answer for choice in choices):
            return answer
        scopes: tuple[Scope, ...] = ("file", "layout", "sender") if only_here is None else ("file",)
        self._questions.setdefault(name, Question(name, subject, why, place, tuple(choices), scopes))
        return None

    @property
    def questions(self) -> tuple[Question, ...]:
        """What remains to be asked."""
        return tuple(self._questions.values())
