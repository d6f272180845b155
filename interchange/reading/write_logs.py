"""Logs: channels side by side, or a value a row with a legend of the channels."""

from __future__ import annotations

from collections.abc import Mapping as Named
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import UTC, timedelta

from interchange.model.manifest import Manifest, TableBlock
from interchange.model.mapping import SIGNED, Mapping
from interchange.model.question import Trace
from interchange.reading.write_cells import Pen, spelled
from interchange.reading.write_parts import Held, Row, Test, paired
from interchange.reading.write_starts import OWN_FORM
from interchange.reading.write_times import time_text

Columns = Named[str, Sequence[Mapping]]
Units = Sequence[str | None]
Clock = tuple[float, float | None, int]
_DAY_DECIMALS = 6  # a tenth of a second
_NO_START = "the layout writes when each value was taken, and the start of the test is not known to the second"


@dataclass(frozen=True, slots=True)
class _Series:
    position: int
    trace: Trace
    seconds: list[float]


def log_rows(pen: Pen, table: TableBlock, manifest: Manifest, columns: Columns, units: Units) -> list[list[str]]:
    """The rows of a table of samples, or of the legend of one."""
    if table.each_row == "channel":
        return [_legend_row(pen, table, columns, one) for one in _in_legend(pen.test, manifest)]
    if table.tall:
        return _tall(pen, manifest, columns, units)
    return _wide(pen, table, columns, units)


def _series(test: Test, positions: Sequence[int]) -> list[_Series]:
    """The channels with their values; those without them are dropped."""
    found = []
    for position in positions:
        channel = test.items("channels")[position]
        trace = test.traces.get(channel["channel_id"])
        if trace is None:
            test.drop(f"channels.{position}", "its values were not given")
        else:
            found.append(_Series(position, trace, _seconds(trace)))
    return found


def _seconds(trace: Trace) -> list[float]:
    if trace.time_s is not None:
        seconds: list[float] = trace.time_s.to_pylist()
        return seconds
    step = trace.interval_s or 0.0
    return [round(trace.start_s + index * step, 9) for index in range(len(trace.values))]


# side by side


def _wide(pen: Pen, table: TableBlock, columns: Columns, units: Units) -> list[list[str]]:
    test = pen.test
    places = [one for one in table.columns if one.channel is not None and one.to is not None]
    taken = _places(test, places)
    series = {one.position: one for one in _series(test, list(taken))}
    if not series:
        return []
    first = next(series[position] for position in taken if position in series)
    for one in [*series.values()]:
        if one.seconds != first.seconds:
            test.drop(f"channels.{one.position}", "its values were not taken at the times of the others")
            del series[one.position]
    held = {id(taken[position]): one for position, one in series.items()}
    texts: list[list[str]] = []
    for mappings, unit in zip(columns.values(), units, strict=True):
        if mappings and mappings[0].to in ("time_s", "sampled_at"):
            stamps = _stamps(pen, mappings[0], unit, first.seconds)
            if stamps is None:
                for position in series:
                    test.drop(f"channels.{position}", _NO_START)
                return []
            texts.append(stamps)
        else:
            of_column = next((held[id(one)] for one in mappings if id(one) in held), None)
            values = [None] * len(first.seconds) if of_column is None else of_column.trace.values.to_pylist()
            texts.append([_value(pen, table, mappings, value, unit) for value in values])
    return [list(row) for row in zip(*texts, strict=True)]


def _places(test: Test, places: Sequence[Mapping]) -> dict[int, Mapping]:
    """The column of each channel that has one, by the channel's position; the others are dropped."""
    taken: dict[int, Mapping] = {}
    channels = test.items("channels")
    for quantity in dict.fromkeys(one.to for one in places):
        columns = {one.channel or "": one for one in places if one.to == quantity}
        positions = [position for position, channel in enumerate(channels) if channel["quantity"] == quantity]
        for name, index in paired(list(columns), [channels[position]["channel_id"] for position in positions]).items():
            taken[positions[index]] = columns[name]
    for position in range(len(channels)):
        if position not in taken:
            test.drop(f"channels.{position}", "no column of the layout takes it")
    return dict(sorted(taken.items()))


def _value(pen: Pen, table: TableBlock, mappings: Sequence[Mapping], value: float | None, unit: str | None) -> str:
    if value is None or not mappings:
        return pen.missing
    written = pen.number(table, mappings[0], Held(value, ""), Row(), unit)
    return written.text if written is not None else pen.missing


def _stamps(pen: Pen, mapping: Mapping, unit: str | None, seconds: Sequence[float]) -> list[str] | None:
    """The times of the rows; None where the layout writes moments and the start is not known."""
    if mapping.to == "time_s":
        return [pen.elapsed(mapping, second, unit) for second in seconds]
    time = pen.test.document["time"]
    start, offset_s = time.get("started_at_local"), time.get("utc_offset_s")
    if start is None and time.get("started_at_utc") is not None:
        start, offset_s = time["started_at_utc"].astimezone(UTC).replace(tzinfo=None), 0
    form = mapping.time_format or ""
    texts = []
    for second in seconds:
        when = None if start is None else start + timedelta(seconds=second)
        text = None if when is None else time_text(form, when, offset_s, pen.layout, day_decimals=_DAY_DECIMALS)
        if text is None:
            return None
        texts.append(text)
    if texts and time.get("started_at_as_recorded") != texts[0]:
        pen.test.why["time.started_at_as_recorded"] = OWN_FORM
    return texts


# a value a row


def _in_legend(test: Test, manifest: Manifest) -> list[_Series]:
    words = {
        quantity
        for block in manifest.block
        for one in block.fields
        if one.to == "quantity" and isinstance(block, TableBlock)
        for quantity in (one.codes or {}).values()
    }
    positions = []
    for position, channel in enumerate(test.items("channels")):
        if channel["quantity"] in words:
            positions.append(position)
        else:
            test.drop(f"channels.{position}", "the legend of the layout has no word for what it records")
    return _series(test, positions)


def _legend_row(pen: Pen, table: TableBlock, columns: Columns, series: _Series) -> list[str]:
    channel, path = pen.test.items("channels")[series.position], f"channels.{series.position}"
    cells = []
    for mappings in columns.values():
        to = mappings[0].to if mappings else None
        name = "channel_id" if to == "channel_key" else to or ""
        if to == "channel_unit":
            cells.append(spelled(channel["quantity"]))
            continue
        held = Held(channel.get(name), f"{path}.{name}")
        written = pen.written(table, mappings[0], held) if mappings else None
        cells.append(written.text if written is not None else pen.missing)
    return cells


def _tall(pen: Pen, manifest: Manifest, columns: Columns, units: Units) -> list[list[str]]:
    test = pen.test
    clock = next(one for mappings in columns.values() for one in mappings if one.to in ("time_s", "sampled_at"))
    rows: list[tuple[float, int, list[str]]] = []
    for series in _in_legend(test, manifest):
        channel = test.items("channels")[series.position]
        stamps = _stamps(pen, clock, None, series.seconds)
        if stamps is None:
            test.drop(f"channels.{series.position}", _NO_START)
            continue
        values = series.trace.values.to_pylist()
        for second, stamp, value in zip(series.seconds, stamps, values, strict=True):
            cells = [
                _tall_cell(pen, mappings[0] if mappings else None, channel, stamp, value)
                for mappings in columns.values()
            ]
            rows.append((second, series.position, cells))
    return [cells for _, _, cells in sorted(rows, key=lambda row: row[:2])]


def _tall_cell(pen: Pen, mapping: Mapping | None, channel: dict[str, str], stamp: str, value: float | None) -> str:
    if mapping is None:
        return pen.missing
    if mapping.to == "channel_key":
        return channel["channel_id"]
    if mapping.to != "channel_value":
        return stamp
    if value is None:
        return pen.missing
    reversed_ = mapping.sign == "reversed" and channel["quantity"] in SIGNED
    return pen.plain(0.0 - value if reversed_ else value)
