"""Rows to runs and points: one place where readings of rows become parts of a session."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import Any

from interchange.errors import Problem
from interchange.model.mapping import Level, Mapping
from interchange.reading.assemble import Draft, Part
from interchange.reading.collect import Collector
from interchange.reading.extract import Table
from interchange.reading.words import quoted

FIRST = "1"
Parts = Callable[[Level, str, Mapping], Part]
_BASELINES = ("baseline_before", "baseline_after")
# what a baseline's own row says of it
OF_A_BASELINE = {
    "envelope_pressure_pa": "pressure_pa",
    "envelope_pressure_spread_pa": "spread_pa",
    "sample_count": "count",
    "averaging_s": "duration_s",
}


def number_of(level: Level, mapped: Mapping) -> str:
    """Which gauge, fan, line, opening or other reading of the session a field belongs to."""
    owners = {"gauge": mapped.gauge, "fan": mapped.fan, "line": mapped.line}
    owners |= {"opening": mapped.opening, "other": mapped.other, "reading": mapped.fan}
    return owners.get(level) or FIRST


@dataclass(slots=True)
class RowParts:
    """The parts of a session that one row fills. Points are told apart by their number across the row."""

    draft: Draft
    row: int
    run: Part = field(default_factory=dict)
    points: dict[int | None, Part] = field(default_factory=dict)
    readings: dict[tuple[int | None, str], Part] = field(default_factory=dict)
    is_: dict[str, Any] = field(default_factory=dict)

    def part_for(self, level: Level, name: str, mapped: Mapping) -> Part:
        """The part that takes a field of this row."""
        if level == "row":
            return self.is_
        if level == "run":
            return self.run
        if level == "point":
            return self.points.setdefault(mapped.point, {})
        if level == "reading":
            return self.readings.setdefault((mapped.point, number_of(level, mapped)), {})
        return self.draft.part(level, name, number_of(level, mapped))

    def joined(self) -> list[Part]:
        """The points of the row with their readings, in order; what names no point holds for each of them."""
        numbers = {number for number, part in self.points.items() if part}
        numbers |= {number for (number, _), part in self.readings.items() if part}
        if numbers - {None}:
            shared, common = self.points.get(None, {}), self._readings_of(None)
            numbers.discard(None)
        else:
            shared, common = {}, {}
        found = []
        for number in sorted(numbers, key=lambda one: one or 0):
            own, readings = self.points.get(number, {}), self._readings_of(number)
            point = self.draft.merged(shared, own)
            joined = [self.draft.merged(common.get(fan, {}), part) for fan, part in readings.items()]
            for fan, part in zip(readings, joined, strict=True):
                part["fan_id"] = fan
            if joined:
                point["fan_readings"] = joined
            if number is not None:
                point.setdefault("point_number", number)
            found.append(point)
        return found

    def _readings_of(self, number: int | None) -> dict[str, Part]:
        return {
            fan: part
            for (of, fan), part in sorted(self.readings.items(), key=lambda item: item[0][1])
            if of == number and part
        }


def gather(rows: Sequence[RowParts], table: Table, run: Part | None, draft: Draft, found: Collector) -> list[Part]:
    """The rows of a table of points as runs: one for each direction that the rows name, in order of appearance.

    `run` is that of the section the table stands in; then all rows belong to it.
    """
    runs: dict[str | None, Part] = {}
    for row in rows:
        direction = row.run.get("direction")
        at = None if run is not None else direction
        if at not in runs:
            runs[at] = run if run is not None else {"run_number": len(draft.document["runs"]) + 1, "points": []}
            if run is None:
                draft.document["runs"].append(runs[at])
        _settle_same(row, runs[at], draft, table.file, found)
    for at, one in runs.items():
        mine = [row for row in rows if run is not None or row.run.get("direction") == at]
        baselines: dict[str, list[Part]] = {}
        for row in mine:
            is_ = row.is_.get("row_is", "point")
            if is_ == "point":
                one["points"].extend(row.joined() or [{}])
            else:
                baselines.setdefault(is_, []).extend(row.joined())
        for name, parts in baselines.items():
            _set_baseline(one, name, parts, draft)
    return list(runs.values())


def _settle_same(row: RowParts, run: Part, draft: Draft, file: str, found: Collector) -> None:
    """Fields of the run that stand in each of its rows are the same in all of them, or a problem."""
    for name, value in row.run.items():
        if name not in run:
            draft.move(row.run, run, name)
        elif run[name] != value:
            cell = draft.cell_of(row.run, name)
            place = draft.place_of(row.run, name, file)
            found.add(
                Problem(
                    "value-differs",
                    place,
                    quoted(cell[2] if cell is not None else str(value)),
                    f"the same value in every row of the run, first {run[name]!r}",
                    "Correct the row, or give each test a name of its own.",
                    blocks="session",
                )
            )


def _set_baseline(run: Part, name: str, parts: Sequence[Part], draft: Draft) -> None:
    """A baseline of one row as it stands; of several the mean of their means, of those above and below zero."""
    if len(parts) == 1:
        for own, theirs in OF_A_BASELINE.items():
            if own in parts[0]:
                draft.move(parts[0], run, own, f"{name}_{theirs}")
        return
    pressures = [part["envelope_pressure_pa"] for part in parts if "envelope_pressure_pa" in part]
    if not pressures:
        return
    run[f"{name}_pressure_pa"] = sum(pressures) / len(pressures)
    for word, some in (("positive", [p for p in pressures if p > 0]), ("negative", [p for p in pressures if p < 0])):
        if some:
            run[f"{name}_{word}_pa"] = sum(some) / len(some)
    run[f"{name}_count"] = len(pressures)
    durations = [part["averaging_s"] for part in parts if "averaging_s" in part]
    if durations:
        run[f"{name}_duration_s"] = sum(durations)


def sign_magnitudes(draft: Draft, file: str, found: Collector) -> None:
    """Pressures given as magnitudes take the sign of their run's direction; without one nobody can tell it."""
    for run in draft.document["runs"]:
        for point in run.get("points", ()):
            for name in [
                name for name in ("envelope_pressure_pa", "target_pressure_pa") if draft.is_magnitude(point, name)
            ]:
                direction = run.get("direction")
                if direction is None:
                    cure = "Write the direction of the test into the source, and import again."
                    place = draft.place_of(point, name, file)
                    expected = "a direction beside a pressure that has no sign"
                    found.add(Problem("direction-unknown", place, "no direction", expected, cure, blocks="session"))
                elif direction == "depressurisation":
                    point[name] = 0.0 - point[name]


def turn_to_other(draft: Draft) -> None:
    """What was read in a test other than of the envelope is kept as such, and never becomes a run."""
    others: list[Part] = draft.document.setdefault("other_readings", [])
    for run in draft.document["runs"]:
        for name in _BASELINES:
            if f"{name}_pressure_pa" in run:
                other: Part = {"other_reading_as_recorded": name.replace("_", " ")}
                draft.move(run, other, f"{name}_pressure_pa", "other_pressure_pa")
                others.append(other)
        for point in run.get("points", ()):
            readings = point.get("fan_readings") or [{}]
            for reading in readings:
                other = {}
                for part, own, theirs in (
                    (reading, "fan_configuration", "other_reading_as_recorded"),
                    (point, "envelope_pressure_pa", "other_pressure_pa"),
                    (reading, "flow_m3_h", "other_flow_m3_h"),
                ):
                    if own in part:
                        draft.move(part, other, own, theirs)
                if other:
                    others.append(other)
    draft.document["runs"] = []
