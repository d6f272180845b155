"""What is known of the start of a test: from the file's own words, and from the zone of the archive."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.model.question import Choice
from interchange.reading import times
from interchange.reading.collect import Asker, Collector
from interchange.reading.context import Context

FIRST_PASS, SECOND_PASS = "first", "second"


@dataclass(slots=True)
class Said:
    """What one test's cells say of its start: moments in the order of the file, with text, row and column."""

    moments: list[tuple[times.Moment, str, int, str]] = field(default_factory=list)
    offset_s: int | None = None


def time_group(said: Said, context: Context, source: Source, found: Collector, asker: Asker) -> dict[str, Any]:
    """The session's time group. UTC stays absent where neither file nor archive says the offset."""
    # a date in its own column goes before the clock, wherever the columns stand
    moments = sorted(said.moments, key=lambda item: item[0].day is None)
    group: dict[str, Any] = {}
    day = next((part.day for part, *_ in moments if part.day is not None), None)
    clock = next((part.clock for part, *_ in moments if part.clock is not None), None)
    offset_s = next((part.offset_s for part, *_ in moments if part.offset_s is not None), said.offset_s)
    if moments:
        group["started_at_as_recorded"] = " ".join(text for _, text, *_ in moments)
    if offset_s is not None:
        group.update(utc_offset_s=offset_s, time_zone_from="source")
    if day is None:
        return group
    if context.latest is not None and day > context.latest:
        place, cure = Place(source.name, moments[0][2], moments[0][3]), "Check the date in the source."
        found.add(Problem("start-in-future", place, f"a test of {day}", "one that has taken place", cure))
    if clock is None:
        group.update(started_at_local=datetime.combine(day, time()), time_quality="date_only")
        return group
    local = datetime.combine(day, clock)
    group["started_at_local"] = local
    zone_name = context.time_zone
    if offset_s is not None:
        group.update(started_at_utc=times.in_utc(local, offset_s), time_quality="exact")
    elif zone_name is not None:
        place = Place(source.name, moments[-1][2], moments[-1][3])
        offset_s = _offset_in_zone(
            local,
            zone_name,
            text=group["started_at_as_recorded"],
            sha256=source.sha256,
            place=place,
            found=found,
            asker=asker,
        )
        if offset_s is not None:
            group.update(started_at_utc=times.in_utc(local, offset_s), utc_offset_s=offset_s, time_zone=zone_name)
            group.update(time_zone_from="archive", time_quality="offset_assumed")
    return group


def unknown(place: Place) -> Problem:
    """Nothing in the source says when the test was."""
    cure = "Add it to the source if it is known; the time of the test stays unknown until then."
    return Problem("start-unknown", place, "no date", "the date of the test", cure)


def _offset_in_zone(
    local: datetime, zone_name: str, *, text: str, sha256: str, place: Place, found: Collector, asker: Asker
) -> int | None:
    zone = ZoneInfo(zone_name)
    shown = times.on_clock(local, zone)
    if shown == "never":
        found.add(
            Problem(
                "no-such-time",
                place,
                f"'{text}', an hour that clocks in {zone_name} skip on that day",
                "a time that exists",
                "Correct the time in the source, or the time zone of the archive.",
                blocks="session",
            )
        )
        return None
    fold = 0
    if shown == "twice":
        passes = {
            value: times.offset_in_zone_s(local, zone, fold) for fold, value in enumerate((FIRST_PASS, SECOND_PASS))
        }
        answer = asker.ask(
            f"Which of the two times {text} in row {place.row} is meant?",
            f"Clocks in {zone_name} were set back on that day and showed this time twice. "
            "Correct the time in the source, or leave it empty, and import again.",
            place,
            [
                Choice(
                    value,
                    f"the {value} pass",
                    f"'{text}'",
                    f"the test began at {times.in_utc(local, offset):%Y-%m-%dT%H:%M:%SZ}",
                )
                for value, offset in passes.items()
            ],
            only_here=sha256,
        )
        if answer is None:
            return None
        fold = int(answer == SECOND_PASS)
    return times.offset_in_zone_s(local, zone, fold)
