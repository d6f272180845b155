"""What follows for a run from its points: direction by sign, and which fan calibration each reading belongs to."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

from interchange.errors import Place, Problem
from interchange.model.mapping import BY_POINTS, SIGNED
from interchange.model.question import Choice
from interchange.reading.assemble import Draft, Part
from interchange.reading.collect import Asker, Collector
from interchange.reading.words import quoted

HEADING, SIGNS = "heading", "signs"
_OPPOSITE = {"depressurisation": "pressurisation", "pressurisation": "depressurisation"}


def direction_by_sign(run: Part) -> str | None:
    """Direction of a run whose envelope pressures, inside minus outside, all have one sign."""
    signs = {pressure > 0 for pressure in _pressures(run)}
    if len(signs) != 1:
        return None
    return "pressurisation" if signs.pop() else "depressurisation"


def settle_direction(run: Part, section: str, place: Place, asker: Asker) -> None:
    """Ask what is right where a section's heading and the signs of all its pressures contradict each other."""
    stated, signed = run.get("direction"), direction_by_sign(run)
    if stated is None or signed is None or stated == signed:
        return
    side = "above" if signed == "pressurisation" else "below"
    evidence = f"every envelope pressure in section [{section}] is {side} zero"
    answer = asker.ask(
        f"Section [{section}] holds only envelope pressures {side} zero. Which is right, the heading or the signs?",
        f"Inside minus outside, {stated} gives pressures on the other side of zero. "
        "Correct the heading or the signs in the source, and import again.",
        place,
        (
            Choice(HEADING, "the heading", evidence, "the sign of every pressure of the run is turned round"),
            Choice(SIGNS, "the signs", evidence, f"the run is taken as {signed}"),
        ),
    )
    if answer == SIGNS:
        run["direction"] = _OPPOSITE[stated]
    elif answer == HEADING:
        for part in (run, *run["points"]):
            for name in SIGNED & part.keys():
                part[name] = 0.0 - part[name]


def point_at_calibrations(draft: Draft, file: str, found: Collector) -> None:
    """Let each fan reading point at the calibration of its fan, its configuration and the range of its pressure.

    Noted is a configuration for which the file has none, refused are two that hold for the same pressure.
    """
    places: dict[tuple[str, str], list[tuple[float, float, int]]] = {}
    for index, part in enumerate(draft.document["fan_calibrations"]):
        name = part.get("fan_configuration")
        if name is None:
            continue
        least, most = part.get("minimum_fan_pressure_pa", 0.0), part.get("maximum_fan_pressure_pa", math.inf)
        ranges = places.setdefault((part["fan_id"], name), [])
        if any(least < other_most and other_least < most for other_least, other_most, _ in ranges):
            found.add(
                Problem(
                    "calibration-twice",
                    draft.place_of(part, "fan_configuration", file),
                    f"{quoted(name)} for a second time",
                    "one calibration for each opening, or several for ranges that do not overlap",
                    "Remove the one that does not hold.",
                    blocks="session",
                )
            )
        ranges.append((least, most, index))
    for reading in _readings(draft.document["runs"]):
        name = reading.get("fan_configuration")
        if name is None:
            continue
        ranges = places.get((reading["fan_id"], name), [])
        signal = abs(reading.get("fan_pressure_pa") or 0.0)
        # a signal between or beyond the ranges belongs to the nearest; that it lies outside is told with the result
        nearest = min(ranges, key=lambda one: max(one[0] - signal, signal - one[1], 0.0), default=None)
        if nearest is not None:
            reading["calibration_index"] = nearest[2]
            continue
        found.add(
            Problem(
                "calibration-absent",
                draft.place_of(reading, "fan_configuration", file),
                f"{quoted(name)}, for which the file holds no fan calibration",
                "an opening of the table of fan calibrations",
                "Nothing need be done if the flows stand in the file; they cannot be recomputed from fan pressures.",
            )
        )


def settle_kind(draft: Draft) -> None:
    """Where the layout leaves it to the points what kind of test it is, count them."""
    if draft.document.get("kind") == BY_POINTS:
        count = sum(len(run.get("points", ())) for run in draft.document["runs"])
        draft.document["kind"] = {1: "single_point", 2: "two_point"}.get(count, "multi_point")


def note_points(draft: Draft, file: str, found: Collector) -> None:
    """Note points of one number in a run, and a kind of test that the number of points contradicts."""
    document = draft.document
    for run in document["runs"]:
        numbers: set[int] = set()
        for point in run.get("points", ()):
            number = point.get("point_number")
            if number in numbers:
                place = draft.place_of(point, "point_number", file)
                again, cure = (
                    f"'{number:g}' for a second time in this run",
                    "Check that no point was copied; both are taken.",
                )
                found.add(Problem("point-number-twice", place, again, "each point number once", cure))
            if number is not None:
                numbers.add(number)
    count, kind = sum(len(run.get("points", ())) for run in document["runs"]), document.get("kind") or ""
    wanted = {"single_point": "one point", "multi_point": "several points"}.get(kind)
    if count and wanted is not None and (count == 1) != (kind == "single_point"):
        found.add(
            Problem(
                "kind-and-points",
                draft.place_of(document, "kind", file),
                f"{count} point{'s' if count > 1 else ''}",
                f"{wanted}, as the kind '{kind.replace('_', ' ')}' says",
                "Check which is right, the kind of test or the points; all of them are taken.",
            )
        )


def _pressures(run: Part) -> list[float]:
    pressures = (point.get("envelope_pressure_pa") for point in run.get("points", ()))
    return [pressure for pressure in pressures if pressure]


def _readings(runs: list[Part]) -> Iterator[dict[str, Any]]:
    for run in runs:
        for point in run.get("points", ()):
            yield from point.get("fan_readings", ())
