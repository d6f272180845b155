"""What a sheet of tests shows only as a whole: signs left out everywhere, a row that stands twice."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.errors import Place, Problem
from interchange.reading.assemble import Draft
from interchange.reading.collect import Collector


def note_unsigned(drafts: Sequence[Draft], file: str, found: Collector) -> None:
    """Note where every test of a sheet is pressurisation by its signs: so does a sheet look that writes none."""
    directions = [run.get("direction") for draft in drafts for run in draft.document["runs"]]
    if directions and set(directions) == {"pressurisation"}:
        found.add(
            Problem(
                "all-above-zero",
                Place(file),
                "house pressures that are all above zero, so that every test is taken as pressurisation",
                "a minus sign before pressures of depressurisation, inside minus outside",
                "If the fan took air out, write the signs into the source and import it again.",
            )
        )


def note_twice(drafts: Sequence[Draft], file: str, found: Collector) -> None:
    """Note each row that says the same as one above it: a test is rarely done twice in the same minute."""
    first: dict[str, int | None] = {}
    for draft in drafts:
        earlier = first.setdefault(repr(draft.document), draft.row)
        if earlier != draft.row:
            cure = "If it is one test, remove the row from the source and import it again."
            same = f"the same test as in row {earlier}"
            found.add(Problem("row-twice", Place(file, draft.row), same, "each test once", cure))
