"""What is known of the start of a test: from the file's own words, and from the zone of the archive."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, time
from typing import Any
from zoneinfo import ZoneInfo

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.model.question import Choice
from interchange.reading import times
from interchange.reading.assemble import Draft
from interchange.reading.collect import Asker, Collector
from interchange.reading.context import Context
from interchange.reading.words import quoted

FIRST_PASS, SECOND_PASS = "first", "second"


@dataclass(slots=True)
class Said:
    """What one test's cells say of its start and end: moments in the order of the file, with text and place."""

    moments: list[tuple[times.Moment, str, Place]] = field(default_factory=list)
    ends: list[tuple[times.Moment, str, Place]] = field(default_factory=list)
    offset_s: int | None = None


def fill(draft: Draft, said: Said, context: Context, source: Source, found: Collector, asker: Asker) -> None:
    """Fill the session's time group. UTC stays absent where neither file nor archive says the offset."""
    group = _started(said, context, source, found, asker)
    group |= _ended(said, group.get("started_at_local"), found)
    own = draft.document.get("time", {})  # what a column says of the quality stands above what follows from the text
    if group or own:
        draft.document["time"] = group | own


def seconds_between(said: Said, later: times.Moment) -> float:
    """Seconds from the start that a file states to the first stamp of its log; zero where either has no clock."""
    start = _moment(said.moments)
    if start is None or later.day is None or later.clock is None:
        return 0.0
    return (datetime.combine(later.day, later.clock) - start).total_seconds()


def _moment(moments: list[tuple[times.Moment, str, Place]], day: date | None = None) -> datetime | None:
    day = next((part.day for part, *_ in moments if part.day is not None), day)
    clock = next((part.clock for part, *_ in moments if part.clock is not None), None)
    return None if day is None or clock is None else datetime.combine(day, clock)


def _ended(said: Said, started: datetime | None, found: Collector) -> dict[str, Any]:
    if not said.ends:
        return {}
    group: dict[str, Any] = {"ended_at_as_recorded": " ".join(text for _, text, _ in said.ends)}
    ended = _moment(said.ends, None if started is None else started.date())
    if ended is None:
        return group
    if started is not None and ended < started:
        _, text, place = said.ends[0]
        expected, cure = f"an end after the start at {started:%H:%M}", "Check both times in the source."
        found.add(Problem("end-before-start", place, quoted(text), expected, cure, blocks="cell"))
        return group
    return {**group, "ended_at_local": ended}


def _started(said: Said, context: Context, source: Source, found: Collector, asker: Asker) -> dict[str, Any]:
    # a date in its own column goes before the clock, wherever the columns stand
    moments = sorted(said.moments, key=lambda item: item[0].day is None)
    group: dict[str, Any] = {}
    day = next((part.day for part, *_ in moments if part.day is not None), None)
    local = _moment(moments)
    offset_s = next((part.offset_s for part, *_ in moments if part.offset_s is not None), said.offset_s)
    if moments:
        group["started_at_as_recorded"] = " ".join(text for _, text, _ in moments)
    if offset_s is not None and moments:
        group.update(utc_offset_s=offset_s, time_zone_from="source")
    if day is None:
        return group
    if context.latest is not None and day > context.latest:
        cure = "Check the date in the source."
        found.add(Problem("start-in-future", moments[0][2], f"a test of {day}", "one that has taken place", cure))
    if local is None:
        group.update(started_at_local=datetime.combine(day, time()), time_quality="date_only")
        return group
    group["started_at_local"] = local
    zone_name = context.time_zone
    if offset_s is not None:
        group.update(started_at_utc=times.in_utc(local, offset_s), time_quality="exact")
    elif zone_name is not None:
        text, place = group["started_at_as_recorded"], moments[-1][2]
        offset_s = _offset_in_zone(
            local, zone_name, text=text, sha256=source.sha256, place=place, found=found, asker=asker
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
