"""Logs: channels side by side, or a value a row with a legend of the channels."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from collections.abc import Mapping as Named
from dataclasses import dataclass

from interchange.model.manifest import Manifest, TableBlock
from interchange.model.mapping import SIGNED, Mapping
from interchange.model.question import Trace
from interchange.reading.write_cells import Pen
from interchange.reading.write_parts import Held, Row, Test, paired
from interchange.reading.write_starts import OWN_FORM
from interchange.reading.write_times import later, time_text
from interchange.reading.write_units import best_unit

Columns = Named[str, Sequence[Mapping]]
UnitOf = Callable[[TableBlock, Sequence[Mapping], Iterable[float | None]], str | None]
Rows = tuple[list[list[str]], dict[str, str | None]]
_CLOCKS = ("time_s", "sampled_at")
_DAY_DECIMALS = 6  # a tenth of a second
_NO_START = "the layout writes when each value was taken, and the start of the test is not known to the second"


@dataclass(frozen=True, slots=True)
class _Series:
    position: int
    trace: Trace
    seconds: list[float]


def log_rows(pen: Pen, table: TableBlock, manifest: Manifest, columns: Columns, unit_of: UnitOf) -> Rows:
    """The rows of a table of samples, or of the legend of one, and the names of its columns with their units."""
    nothing: dict[str, str | None] = dict.fromkeys(columns)
    if table.each_row == "channel":
        return [_legend_row(pen, table, columns, one) for one in _in_legend(pen.test, manifest)], nothing
    return (_tall(pen, manifest, columns), nothing) if table.tall else _wide(pen, table, columns, unit_of)


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


def _wide(pen: Pen, table: TableBlock, columns: Columns, unit_of: UnitOf) -> Rows:
    test = pen.test
    taken = _places(test, [one for one in table.columns if one.channel is not None and one.to is not None])
    series = {one.position: one for one in _series(test, list(taken))}
    first = next(iter(series.values()), None)
    for one in [*series.values()]:
        if first is not None and one.seconds != first.seconds:
            test.drop(f"channels.{one.position}", "its values were not taken at the times of the others")
            del series[one.position]
    if first is None:
        return [], {}
    values = {id(taken[position]): one.trace.values.to_pylist() for position, one in series.items()}
    rows = [Row(samples={key: some[index] for key, some in values.items()}) for index in range(len(first.seconds))]
    texts: list[list[str]] = []
    found: dict[str, str | None] = {}
    for name, mappings in columns.items():
        of_column = next((values[id(one)] for one in mappings if id(one) in values), None)
        channels = [one for one in table.columns if one.name == name and one.channel is not None]
        if channels and of_column is None and not any(one.required for one in channels):
            continue  # an empty column would read as a channel
        unit = unit_of(table, mappings, of_column or ())
        if mappings and mappings[0].to in _CLOCKS:
            stamps = _stamps(pen, mappings[0], unit, first.seconds)
            if stamps is None:
                for position in series:
                    test.drop(f"channels.{position}", _NO_START)
                return [], {}
            texts.append(stamps)
        else:
            cells = [pen.cell(table, mappings, row, unit) if mappings else None for row in rows]
            texts.append([pen.missing if cell is None else cell.text for cell in cells])
        found[name] = unit
    return [list(row) for row in zip(*texts, strict=True)], found


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


def _stamps(pen: Pen, mapping: Mapping, unit: str | None, seconds: Sequence[float]) -> list[str] | None:
    """The times of the rows; None where the layout writes moments and the start is not known."""
    if mapping.to == "time_s":
        return [pen.elapsed(mapping, second, unit) for second in seconds]
    start, offset_s = pen.test.clock()
    form = mapping.time_format or ""
    texts = []
    for second in seconds:
        when = None if start is None else later(start, second)
        text = None if when is None else time_text(form, when, offset_s, pen.layout, day_decimals=_DAY_DECIMALS)
        if text is None:
            return None
        texts.append(text)
    if texts and pen.test.document["time"].get("started_at_as_recorded") != texts[0]:
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
            cells.append(_legend_unit(pen, series))
            continue
        held = Held(channel.get(name), f"{path}.{name}")
        written = pen.written(table, mappings[0], held) if mappings else None
        cells.append(written.text if written is not None else pen.missing)
    return cells


def _legend_unit(pen: Pen, series: _Series) -> str:
    quantity = pen.test.items("channels")[series.position]["quantity"]
    return best_unit(quantity, series.trace.values.to_pylist(), pen.layout)


def _tall(pen: Pen, manifest: Manifest, columns: Columns) -> list[list[str]]:
    test = pen.test
    clock = next(one for mappings in columns.values() for one in mappings if one.to in _CLOCKS)
    rows: list[tuple[float, int, list[str]]] = []
    for series in _in_legend(test, manifest):
        stamps = _stamps(pen, clock, None, series.seconds)
        if stamps is None:
            test.drop(f"channels.{series.position}", _NO_START)
            continue
        quantity, unit = test.items("channels")[series.position]["quantity"], _legend_unit(pen, series)
        values = series.trace.values.to_pylist()
        for second, stamp, value in zip(series.seconds, stamps, values, strict=True):
            cells = []
            for mappings in columns.values():
                mapping = mappings[0] if mappings else None
                if mapping is not None and mapping.to == "channel_value" and value is not None:
                    turned = mapping.sign == "reversed" and quantity in SIGNED
                    cells.append(pen.sample(0.0 - value if turned else value, quantity, unit))
                elif mapping is not None and mapping.to == "channel_key":
                    cells.append(series.trace.channel_id)
                else:
                    cells.append(stamp if mapping is clock else pen.missing)
            rows.append((second, series.position, cells))
    return [cells for _, _, cells in sorted(rows, key=lambda row: row[:2])]
