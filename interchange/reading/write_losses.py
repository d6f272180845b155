"""What a written file does not bring back: the session as it was held beside the session as it reads."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from interchange.model.question import Trace
from interchange.model.session import Session
from interchange.reading.write_parts import Test

# what our own archive knows of a test, and no layout is asked to hold
OWN = ("schema_version", "session_id", "source", "kept")
_OF_THE_ARCHIVE = ("started_at_utc", "utc_offset_s", "time_zone", "time_zone_from", "time_quality")
_NAME_IN = {
    "gauges": "gauge_id",
    "fans": "fan_id",
    "reference_lines": "line_id",
    "channels": "channel_id",
    "openings": "opening",
    "fan_readings": "fan_id",
}
_OWN_WORDS = "the layout says of its own"
_NOTHING_TAKES_IT = "no column or key of the layout takes it"
_DIGITS = "no number in the unit of the layout brings back its last digits"
_SHOWN = 60
_LAST_DIGITS = 1e-12

Path = tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Loss:
    """A field that a written file does not bring back as it was held.

    `field` is its path, as `runs.0.points.2.flow_m3_h`, or that of an item of a list which is missing as a whole; it is
    empty where the whole test is missing. `value` is empty where the field had none and the file gives it one.
    """

    session_id: str
    field: str
    value: str
    why: str


def losses(test: Test, found: Session, found_traces: Mapping[str, Trace]) -> list[Loss]:
    """Every field of a session that reads otherwise than it is held."""
    held = {name: value for name, value in test.document.items() if name not in OWN}
    read = {name: value for name, value in found.model_dump(exclude_none=True).items() if name not in OWN}
    if held["time"].get("time_zone_from") == "archive":
        held["time"] = {
            name: value for name, value in held["time"].items() if name not in _OF_THE_ARCHIVE or name in read["time"]
        }
    listed = [
        Loss(test.session.session_id, path, _shown(value), why)
        for path, value, why in _differences(test, (), held, read)
    ]
    for position in test.left("channels"):
        channel = test.items("channels")[position]
        before, after = test.traces.get(channel["channel_id"]), found_traces.get(channel["channel_id"])
        why = None if before is None or after is None else _why_changed(before.values.slice(0), after.values.slice(0))
        if why is not None:
            path = f"channels.{position}.values"
            listed.append(Loss(test.session.session_id, path, _counted(channel["sample_count"]), why))
    return listed


def _why_changed(held: pa.Array, read: pa.Array) -> str | None:
    if held.equals(read):
        return None
    if len(held) != len(read) or not pc.is_null(held).equals(pc.is_null(read)):
        return "other values are missing"
    off, most = (pc.max(pc.abs(values)).as_py() for values in (pc.subtract(held, read), held))
    return _DIGITS if off <= _LAST_DIGITS * most else "the values change"


def lost(session: Session, why: str) -> Loss:
    """A test that the file does not hold at all."""
    record = session.record
    return Loss(session.session_id, "", " ".join(filter(None, (record.job_id, record.stage))), why)


def _differences(test: Test, path: Path, held: Any, read: Any) -> Iterator[tuple[str, Any, str]]:
    if isinstance(held, dict) and isinstance(read, dict):
        for name in held | read:
            yield from _differences(test, (*path, name), held.get(name), read.get(name))
    elif isinstance(held, tuple | list) and isinstance(read, tuple | list):
        yield from _in_lists(test, path, held, read)
    elif held != read:
        yield ".".join(path), held, _why(test, ".".join(path), held, read)


def _in_lists(test: Test, path: Path, held: Sequence[Any], read: Sequence[Any]) -> Iterator[tuple[str, Any, str]]:
    left = []
    for index, item in enumerate(held):
        where = ".".join((*path, str(index)))
        if where in test.dropped:
            yield where, item, test.dropped[where]
        else:
            left.append(index)
    order = _partners(_NAME_IN.get(path[-1]), [held[index] for index in left], read)
    for index, partner in zip(left, order, strict=True):
        where = ".".join((*path, str(index)))
        if partner is None:
            yield where, held[index], test.why.get(where, "the layout has no place for it")
        else:
            yield from _differences(test, (*path, str(index)), held[index], read[partner])
    taken = [partner for partner in order if partner is not None]
    if taken != sorted(taken):
        yield ".".join(path), held, "they stand in another order"
    for position in range(len(read)):
        if position not in taken:
            yield ".".join((*path, str(len(held) + position))), None, f"{_OWN_WORDS}: {_shown(read[position])}"


def _partners(name: str | None, held: Sequence[Any], read: Sequence[Any]) -> list[int | None]:
    """The item that each item became: that of the same name, where they have names, else the next one left."""
    names, read_names = [[item[name] if name is not None else None for item in items] for items in (held, read)]
    if len(set(names)) < len(names) or len(set(read_names)) < len(read_names):
        return [index if index < len(read) else None for index in range(len(held))]
    own = [read_names.index(one) if one in read_names else None for one in names]
    left = iter([position for position in range(len(read)) if position not in own])
    return [next(left, None) if position is None else position for position in own]


def _why(test: Test, path: str, held: Any, read: Any) -> str:
    said = test.why.get(path)
    if said is not None:
        return said
    if read is None:
        return _NOTHING_TAKES_IT
    if held is None:
        return f"{_OWN_WORDS}: {_shown(read)}"
    numbers = not isinstance(held, bool) and isinstance(held, int | float) and isinstance(read, int | float)
    if numbers and math.isclose(held, read, rel_tol=_LAST_DIGITS, abs_tol=_LAST_DIGITS):
        return _DIGITS
    return f"reads otherwise: {_shown(read)}"


def _shown(value: Any) -> str:
    if value is None:
        return ""
    if isinstance(value, dict | list | tuple):
        return _counted(_leaves(value))
    text = value.isoformat() if isinstance(value, date | datetime) else str(value)
    return text if len(text) <= _SHOWN else f"{text[:_SHOWN]}…"


def _counted(count: int) -> str:
    return f"{count} value{'' if count == 1 else 's'}"


def _leaves(value: Any) -> int:
    inner = value.values() if isinstance(value, dict) else value if isinstance(value, list | tuple) else None
    return 1 if inner is None else sum(map(_leaves, inner))
