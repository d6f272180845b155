"""The account of one test by one rule set: every step in turn, then the result and each correction's share."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from inspect import signature
from typing import Any

import numpy as np

from interchange.analysis import chain
from interchange.analysis.account import corrections, fits, result
from interchange.analysis.account.book import Book, Part, Term
from interchange.analysis.account.taken import Taken, reading_offsets
from interchange.analysis.batch import Batch
from interchange.analysis.leakage import note_codes
from interchange.analysis.steps import STEPS
from interchange.analysis.work import Work

# How each step accounts for itself in one run; "begin" and "points" stand between the steps of a rule set.
ACCOUNTS: dict[str, Callable[[Taken], None]] = {
    "begin": corrections.begin,
    "air_pressure": corrections.assume_air_pressure,
    "baseline": corrections.subtract_baseline,
    "fan_calibration": corrections.apply_fan_calibration,
    "fan_density": corrections.correct_fan_density,
    "elevation_factor": corrections.apply_elevation_factor,
    "envelope_density": corrections.correct_envelope_density,
    "points": corrections.gather,
    "power_law": fits.fit_power_law,
    "weighted_power_law": fits.fit_power_law,
    "two_point": fits.fit_two_point,
    "one_point": fits.fit_one_point,
    "reference_conditions": fits.to_reference_conditions,
    "leakage_area": fits.state_leakage_area,
}


@dataclass(frozen=True, slots=True)
class Account:
    """What a step has to say: of each run, of the session (last, where `run` is None), its notes, its share."""

    name: str
    parts: tuple[Part, ...]
    notes: tuple[str, ...]
    share: Term | None


def account(batch: Batch, steps: Sequence[chain.Step], kinds: Sequence[str] = chain.FITTED_KINDS) -> list[Account]:
    """Accounts of the steps of a rule set for a batch of one session, in order.

    "begin" comes first, "points" behind the corrections, "result" and "shares" last. Raises RuleSetError as
    `chain.follow` does.
    """
    seen: list[tuple[str, Work]] = []
    said = 0

    def watch(name: str, work: Work) -> None:
        nonlocal said
        seen.append((name, work.as_it_is()))
        said |= int(work.note_mask[0])
        work.note_mask = np.zeros_like(work.note_mask)  # so that each step's notes are its own

    work = chain.follow(batch, steps, kinds, watch)
    leakage = chain.leakage(work)
    ending = int(leakage.note_mask[0])
    arguments = {step.name: _with_defaults(step) for step in steps}
    books = [Book(run, reading_offsets(work, run)) for run in range(work.direction.size)]
    told: list[Account] = []
    before = seen[0][1]
    for name, after in seen:
        parts = []
        for run, book in enumerate(books):
            parts.append(book.open())
            taken = Taken(run, before, after, book, arguments.get(name, {}))
            if taken.points.stop > taken.points.start:
                ACCOUNTS[name](taken)
            elif name != "begin":
                book.remark("no_points")
        told.append(Account(name, tuple(parts), note_codes(int(after.note_mask[0])), None))
        before = after
    session = Book(None, np.zeros(1, dtype=np.int64))
    parts = []
    for run, book in enumerate(books):
        parts.append(book.open())
        result.of_run(run, work, leakage, book)
    parts.append(session.open())
    result.of_session(work, leakage, books, session)
    told.append(Account("result", tuple(parts), note_codes(ending), None))
    part = session.open()
    stages = _stages(seen)
    result.shares(work, leakage, list(stages.values()), session)
    told.append(Account("shares", (part,), (), None))
    return [_with_share(one, session, stages.get(one.name)) for one in told]


def _with_defaults(step: chain.Step) -> dict[str, Any]:
    taken = signature(STEPS[step.name]).parameters.values()
    return {part.name: part.default for part in taken if part.kind is part.KEYWORD_ONLY} | dict(step.arguments)


def _stages(seen: Sequence[tuple[str, Work]]) -> dict[str, str]:
    """Which share each step has, by the stage that it closes."""
    stages, known = {}, set(seen[0][1].stages)
    for name, work in seen:
        for stage in set(work.stages) - known:
            stages[name] = stage
        known |= set(work.stages)
    return stages | {name: "reference" for name, _ in seen if name == "reference_conditions"}


def _with_share(one: Account, session: Book, stage: str | None) -> Account:
    return Account(one.name, one.parts, one.notes, session.terms.get(f"S_{stage}"))
