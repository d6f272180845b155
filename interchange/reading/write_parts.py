"""Where in a session the values of a layout's columns and keys come from: `map` in the other direction."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Literal

from interchange.model.base import Record
from interchange.model.manifest import Block, Manifest, TableBlock, level_of
from interchange.model.mapping import Level, Mapping
from interchange.model.question import Trace
from interchange.model.session import Session
from interchange.reading.points import OF_A_BASELINE
from interchange.reading.write_times import later

FIRST = "1"
EVERY_CHANNEL = "every"
KINDS_BY_POINTS = frozenset({"single_point", "two_point", "multi_point"})

GROUP_OF: dict[str, str] = {
    name: group
    for group, info in Session.model_fields.items()
    if isinstance(info.annotation, type) and issubclass(info.annotation, Record)
    for name in info.annotation.model_fields
}
# lists whose items a manifest names: list, name of the item, and the part of a column that gives it
_NAMED: dict[Level, tuple[str, str, str]] = {
    "opening": ("openings", "opening", "opening"),
    "gauge": ("gauges", "gauge_id", "gauge"),
    "fan": ("fans", "fan_id", "fan"),
    "line": ("reference_lines", "line_id", "line"),
    "other": ("other_readings", "other_reading_as_recorded", "other"),
}
_BASELINES = ("baseline before", "baseline after")


@dataclass(frozen=True, slots=True)
class Held:
    """A field of a session: its value, None where it has none, and the way to it, as `runs.0.points.2.flow_m3_h`."""

    value: Any
    path: str


@dataclass(frozen=True, slots=True)
class Row:
    """What one row of a table, or the keys of a section, is about. Numbers are positions in the session's lists.

    Points come with the number by which the layout tells them apart across the row, if it does.
    """

    run: int | None = None
    points: tuple[tuple[int | None, int], ...] = ()
    baseline: Literal["before", "after"] | None = None
    calibration: int | None = None
    calibration_point: int | None = None
    samples: dict[int, float | None] | None = None  # by the id of the column's mapping


@dataclass
class Test:
    """A session on its way into a file; `why` says by path why a value stands there otherwise than it is held."""

    session: Session
    traces: dict[str, Trace]
    manifest: Manifest
    document: dict[str, Any] = field(init=False)
    runs: Sequence[dict[str, Any]] = field(init=False)
    why: dict[str, str] = field(default_factory=dict)
    dropped: dict[str, str] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.document = self.session.model_dump(exclude_none=True)
        others = self.document["other_readings"]
        named = any(one.other is not None for block in self.manifest.block for one in block.fields)
        self.runs = [_as_run(others)] if others and not named else self.document["runs"]

    def clock(self, name: str = "started_at_local") -> tuple[datetime | None, int | None]:
        """A time of the test by the clock that the layout writes, and that clock's offset from UTC, if known [s]."""
        time = self.document["time"]
        when, offset_s = time.get(name), time.get("utc_offset_s")
        fields = [one for block in self.manifest.block for one in block.fields]
        stated = [constant.value for constant in self.manifest.constant if constant.to == "utc_offset_s"]
        if not stated or any(one.to == "utc_offset_s" or "%z" in (one.time_format or "") for one in fields):
            return when, offset_s
        if when is None or offset_s is None:
            return None, None
        own = int(stated[0])
        return later(when, own - offset_s), own

    def items(self, name: str) -> Sequence[dict[str, Any]]:
        """One of the session's lists."""
        items: Sequence[dict[str, Any]] = self.runs if name == "runs" else self.document[name]
        return items

    def drop(self, path: str, why: str) -> None:
        """An item of a list finds no place in the file, and so the items after it move up."""
        self.dropped[path] = why

    def left(self, name: str) -> list[int]:
        """Positions in one of the session's lists that are not dropped."""
        return [index for index in range(len(self.items(name))) if f"{name}.{index}" not in self.dropped]


def _as_run(others: Sequence[dict[str, Any]]) -> dict[str, Any]:
    """Readings of another test as the columns of an envelope test hold them: reading turns them back."""
    run: dict[str, Any] = {"points": []}
    for other in others:
        words = other.get("other_reading_as_recorded")
        if words in _BASELINES:
            run[f"{words.replace(' ', '_')}_pressure_pa"] = other.get("other_pressure_pa")
            continue
        reading = {"fan_id": FIRST, "fan_configuration": words, "flow_m3_h": other.get("other_flow_m3_h")}
        run["points"].append({"envelope_pressure_pa": other.get("other_pressure_pa"), "fan_readings": [reading]})
    return run


class Finder:
    """Finds the values for a manifest's columns and keys in one session."""

    def __init__(self, test: Test, manifest: Manifest) -> None:
        self.test = test
        self._positions: dict[tuple[str, str], int] = {}
        for level, (list_name, id_name, owner) in _NAMED.items():
            names = dict.fromkeys(
                getattr(one, owner) or FIRST
                for block in manifest.block
                for one in block.fields
                if one.to is not None and level_of(block, one.to) == level
            )
            own = [item.get(id_name, "") for item in test.items(list_name)]
            for name, position in paired(list(names), own).items():
                self._positions[list_name, name] = position

    def held(self, block: Block, mapping: Mapping, name: str, row: Row) -> Held:
        """The field of that name which a cell of this column or key holds in this row."""
        found = list(self._all(level_of(block, name) or "session", mapping, name, row))
        values = [one for one in found if one.value is not None]
        if not values:
            return found[0] if found else Held(None, name)
        if any(one.value != values[0].value for one in values) or len(values) < len(found):
            for one in found:
                self.test.why[one.path] = "points or channels differ, and the layout has one place for all of them"
        return values[0]

    def _all(self, level: Level, mapping: Mapping, name: str, row: Row) -> Iterator[Held]:
        document = self.test.document
        if level == "session":
            group = GROUP_OF.get(name)
            part = document if group is None else document[group]
            yield Held(part.get(name), name if group is None else f"{group}.{name}")
        elif level in _NAMED:
            list_name, _, owner = _NAMED[level]
            position = self._positions.get((list_name, getattr(mapping, owner) or FIRST))
            if position is not None:
                yield self._of(list_name, position, name)
        elif level == "channel":
            for position, channel in enumerate(self.test.items("channels")):
                if mapping.channel in (EVERY_CHANNEL, channel["channel_id"]):
                    yield self._of("channels", position, name)
        elif level == "sample":
            yield Held((row.samples or {}).get(id(mapping)), name)
        elif level in ("calibration", "calibration_point"):
            yield from self._of_a_calibration(level, name, row)
        elif row.run is not None:
            yield from self._of_a_run(level, mapping, name, row)

    def _of(self, list_name: str, position: int, name: str) -> Held:
        return Held(self.test.items(list_name)[position].get(name), f"{list_name}.{position}.{name}")

    def _of_a_calibration(self, level: Level, name: str, row: Row) -> Iterator[Held]:
        if row.calibration is None:
            return
        item, path = self.test.items("fan_calibrations")[row.calibration], f"fan_calibrations.{row.calibration}"
        if level == "calibration":
            yield Held(item.get(name), f"{path}.{name}")
        elif row.calibration_point is not None:
            point = item["calibration_points"][row.calibration_point]
            yield Held(point.get(name), f"{path}.calibration_points.{row.calibration_point}.{name}")

    def _of_a_run(self, level: Level, mapping: Mapping, name: str, row: Row) -> Iterator[Held]:
        assert row.run is not None
        run, path = self.test.items("runs")[row.run], f"runs.{row.run}"
        if row.baseline is not None:
            part = OF_A_BASELINE.get(name) if level == "point" else None
            name = name if part is None else f"baseline_{row.baseline}_{part}"
            if part is not None or level == "run":
                yield Held(run.get(name), f"{path}.{name}")
            return
        if level == "run":
            yield Held(run.get(name), f"{path}.{name}")
            return
        for number, position in row.points:
            if mapping.point not in (None, number):
                continue
            point, at = run["points"][position], f"{path}.points.{position}"
            if level == "point":
                counted = position + 1 if name == "point_number" and getattr(mapping, "filled", False) else None
                yield Held(point.get(name, counted), f"{at}.{name}")
                continue
            for index, reading in enumerate(point["fan_readings"]):
                if reading["fan_id"] == (mapping.fan or FIRST):
                    yield Held(reading.get(name), f"{at}.fan_readings.{index}.{name}")

    def direction(self, row: Row) -> str | None:
        """Direction of the row's run."""
        if row.run is None:
            return None
        direction: str | None = self.test.items("runs")[row.run].get("direction")
        return direction


def paired(places: Sequence[str], names: Sequence[str]) -> dict[str, int]:
    """For each place of a layout the position of the item it takes: that of its own name, else the next one left."""
    left = [position for position, name in enumerate(names) if name not in places]
    free = [place for place in places if place not in names]
    own = {place: names.index(place) for place in places if place in names}
    return own | dict(zip(free, left, strict=False))


def points_across(test: Test, run: int, block: TableBlock) -> tuple[tuple[int | None, int], ...]:
    """The points of a run that find a place in one row, in the order of the columns; the others are dropped."""
    points = test.items("runs")[run]["points"]
    numbers = sorted({one.point for one in block.fields if one.point is not None})
    places: list[int | None] = [*numbers] or [None]
    taken: dict[int | None, int] = {}
    later: list[int] = []
    for position, point in enumerate(points):
        number = point.get("point_number")
        if number in places and number not in taken:
            taken[number] = position
        else:
            later.append(position)
    free = [place for place in places if place not in taken]
    taken |= dict(zip(free, later, strict=False))
    for position in later[len(free) :]:
        test.drop(f"runs.{run}.points.{position}", "the layout has no place for a further point")
    return tuple((place, taken[place]) for place in places if place in taken)
