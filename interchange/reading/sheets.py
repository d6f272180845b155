"""What a sheet of tests shows only as a whole: signs left out everywhere, a row that stands twice."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.errors import Place, Problem
from interchange.reading.assemble import Draft, Part
from interchange.reading.collect import Collector
from interchange.reading.runs import direction_by_sign
from interchange.reading.start import Said


def note_unsigned(drafts: Sequence[Draft], file: str, found: Collector) -> None:
    """Note where every test of a sheet is pressurisation by its signs alone: so does a sheet look that writes none."""
    if found.blocked:
        return
    signs = {direction_by_sign(run) for draft in drafts for run in draft.document["runs"] if _by_sign(draft, run)}
    if signs - {None} == {"pressurisation"}:
        found.add(
            Problem(
                "all-above-zero",
                Place(file),
                "house pressures that are all above zero, so that every test is taken as pressurisation",
                "a minus sign before pressures of depressurisation, inside minus outside",
                "If the fan took air out, write the signs into the source and import it again.",
            )
        )


def _by_sign(draft: Draft, run: Part) -> bool:
    """Whether nothing but signs can say the direction of a run."""
    magnitudes = (draft.is_magnitude(point, "envelope_pressure_pa") for point in run.get("points", ()))
    return "direction" not in run and not any(magnitudes)


def note_twice(drafts: Sequence[tuple[Draft, Said]], file: str, found: Collector) -> None:
    """Note each row or column that says the same as an earlier one: a test is rarely done twice in a minute."""
    first: dict[str, Draft] = {}
    for draft, said in drafts:
        times = [text for _, text, _ in (*said.moments, *said.ends)]
        earlier = first.setdefault(repr((draft.document, times)), draft)
        if earlier is not draft:
            row = "column" if draft.row is None else "row"
            cure = f"If it is one test, remove the {row} from the source and import it again."
            same = f"the same test as in {earlier.place if earlier.row is None else f'row {earlier.row}'}"
            place = Place(file, draft.row, draft.place if draft.row is None else None)
            found.add(Problem("row-twice", place, same, "each test once", cure))
