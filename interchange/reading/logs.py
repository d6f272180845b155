"""The table of a log to channels and traces: steps proven over the whole column, values whole columns at a time."""

from __future__ import annotations

from collections.abc import Mapping as Dictionary
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from interchange.errors import Place, Problem
from interchange.model.manifest import TableBlock
from interchange.model.mapping import SIGNED, Mapping
from interchange.reading import cells, ranges, stamps, times
from interchange.reading.extract import Table
from interchange.reading.series import Series
from interchange.reading.steps import Steps, proven
from interchange.reading.values import Reader, Texts
from interchange.reading.words import quoted

Column = tuple[Mapping, int, str | None]  # field, position in the table, unit that the file writes


@dataclass(frozen=True, slots=True)
class Legend:
    """What the file says of one channel: its key, and how its values are read. Without a field it is kept."""

    key: str
    field: Mapping | None
    unit: str | None
    unit_row: int
    channel_id: str


@dataclass(slots=True)
class Channel:
    """One channel of a log: its values, its times in seconds from the log's first stamp, and how these step."""

    mapped: Mapping
    channel_id: str
    values: pa.Array | Series
    steps: Steps


@dataclass(slots=True)
class _Growing:
    mapped: Mapping
    channel_id: str
    values: Series = field(default_factory=Series)
    time_s: Series = field(default_factory=Series)
    rows: Series = field(default_factory=Series)


@dataclass(frozen=True, slots=True)
class Log:
    """The channels of a log; `first_stamp` is the text of its first time where that is a date."""

    channels: tuple[Channel, ...]
    first_stamp: tuple[times.Moment, str, int, str] | None


def read(table: Table, block: TableBlock, columns: Sequence[Column], legend: Sequence[Legend], reader: Reader) -> Log:
    """Read a log whole, a stretch of rows at a time. What is wrong goes to the reader's collector."""
    return _Reading(table, block, columns, legend, reader).log()


class _Reading:
    def __init__(
        self, table: Table, block: TableBlock, columns: Sequence[Column], legend: Sequence[Legend], reader: Reader
    ) -> None:
        self.table, self.block, self.reader, self.legend = table, block, reader, legend
        self.clocks = [column for column in columns if column[0].to in ("time_s", "sampled_at")]
        self.others = [column for column in columns if column[0].to not in ("time_s", "sampled_at")]
        self.base_s: float | None = None
        self.misread = False  # whether a time was told to be none: then it is not said to be absent too
        self.first_stamp: tuple[times.Moment, str, int, str] | None = None
        self.common = _Growing(self.clocks[0][0], "")
        self.growing: dict[str, _Growing] = {}

    def log(self) -> Log:
        for batch in self.table.rows:
            time_s = self._times(batch)
            if self.block.tall:
                self._tall(batch, time_s)
            else:
                self._wide(batch, time_s)
        if self.block.tall:
            channels = [
                Channel(one.mapped, one.channel_id, one.values.finished(), self._steps(one))
                for one in self.growing.values()
            ]
        else:
            steps = self._steps(self.common)
            channels = [
                Channel(one.mapped, one.channel_id, one.values.finished(), steps) for one in self.growing.values()
            ]
        return Log(tuple(channels), self.first_stamp)

    def _texts(self, batch: pa.RecordBatch, column: Column) -> Texts:
        mapped, position, unit = column
        texts = Texts(
            self.block,
            mapped,
            self.table.file,
            self.table.section,
            batch.column(position),
            batch.column(-1),
            unit,
            self.table.unit_row,
        )
        return self.reader.parted(texts)

    def _times(self, batch: pa.RecordBatch) -> pa.Array:
        """Seconds of each row from the first stamp, or as the log counts them."""
        total: pa.Array | None = None
        for column in self.clocks:
            texts = self._texts(batch, column)
            found = self._clock(texts)
            total = found if total is None else pc.add(total, found)
        if total is None:
            raise AssertionError("a log has a column of times")
        if self.clocks[0][0].to == "time_s":
            return total
        if self.base_s is None and len(total):
            self.base_s = total[0].as_py()
            self.first_stamp = self._first([self._texts(batch, column) for column in self.clocks])
        return total if self.base_s is None else pc.subtract(total, self.base_s)

    def _clock(self, texts: Texts) -> pa.Array:
        form = texts.field.time_format
        layout = self.reader.layout_of(texts.field)
        if form is None:
            found = self.reader.numbers(texts)[0]
            self.misread |= found.null_count > 0 and len(cells.numbers(texts.cells, layout).faults) > 0
            return found
        found, faults = stamps.seconds(texts.cells, form, layout)
        self.misread |= len(faults) > 0
        for index in faults:
            text, row = texts.cells[index].as_py().strip(), texts.rows[index].as_py()
            expected = f"a time that exists, written {times.form_in_words(form)}"
            cure = "Correct the cell in the source."
            self.reader.found.add(
                Problem("time-form", texts.place(row), quoted(text), expected, cure, blocks="session")
            )
        return found

    def _first(self, clocks: Sequence[Texts]) -> tuple[times.Moment, str, int, str] | None:
        """The first stamp of the log, its parts put together."""
        parts: list[times.Moment] = []
        for texts in clocks:
            try:
                text = texts.cells[0].as_py().strip()
                parts.append(times.moment(text, texts.field.time_format or "", self.reader.layout.month_names))
            except ValueError:
                return None
        day = next((part.day for part in parts if part.day is not None), None)
        clock = next((part.clock for part in parts if part.clock is not None), None)
        offset_s = next((part.offset_s for part in parts if part.offset_s is not None), None)
        text = " ".join(texts.cells[0].as_py().strip() for texts in clocks)
        start, row = times.Moment(day, clock, offset_s), clocks[0].rows[0].as_py()
        self.reader.check_year(start, text, clocks[0].place(row))
        return start, text, row, clocks[0].field.name

    def _wide(self, batch: pa.RecordBatch, time_s: pa.Array) -> None:
        self.common.time_s.append(time_s)
        self.common.rows.append(batch.column(-1).cast(pa.float64()))
        for column in self.others:
            mapped = column[0]
            name = mapped.channel or mapped.name
            one = self.growing.setdefault(name, _Growing(mapped, name))
            one.values.append(self._values(self._texts(batch, column)))

    def _tall(self, batch: pa.RecordBatch, time_s: pa.Array) -> None:
        keys_at = next(column for column in self.others if column[0].to == "channel_key")
        values_at = next(column for column in self.others if column[0].to == "channel_value")
        if not self.growing:
            for entry in self.legend:
                if entry.field is not None:
                    self.growing[entry.key] = _Growing(entry.field, entry.channel_id)
        keys = pc.utf8_trim_whitespace(batch.column(keys_at[1]))
        self._unknown_keys(keys, batch.column(-1), keys_at[0].name)
        for entry in self.legend:
            if entry.field is None:
                continue
            mask = pc.equal(keys, entry.key)
            rows = batch.column(-1).filter(mask)
            if len(rows) == 0:
                continue
            one = self.growing[entry.key]
            value, cells_of = values_at[0], batch.column(values_at[1]).filter(mask)
            mapped = value.model_copy(
                update={"to": entry.field.to, "sign": value.sign if entry.field.to in SIGNED else None}
            )
            texts = Texts(
                self.block, mapped, self.table.file, self.table.section, cells_of, rows, entry.unit, entry.unit_row
            )
            one.values.append(self._values(texts))
            one.time_s.append(time_s.filter(mask))
            one.rows.append(rows.cast(pa.float64()))

    def _unknown_keys(self, keys: pa.Array, rows: pa.Array, column: str) -> None:
        known = pa.array([entry.key for entry in self.legend], pa.string())
        wrong = pc.indices_nonzero(pc.invert(pc.is_in(keys, value_set=known)))
        if len(wrong) == 0:
            return
        index = wrong[0].as_py()
        names = ", ".join(f"'{key}'" for key in known.to_pylist()) or "none"
        self.reader.found.add(
            Problem(
                "channel-unknown",
                Place(self.table.file, rows[index].as_py(), column),
                quoted(keys[index].as_py()),
                f"a channel of the legend: {names}",
                "Correct the row, or add the channel to the legend.",
                len(wrong),
                "session",
            )
        )

    def _values(self, texts: Texts) -> pa.Array:
        values, scale = self.reader.numbers(texts)
        single = scale if isinstance(scale, ranges.Scale) else None
        beyond = ranges.check_column(texts.to, values, single, texts=texts.cells, rows=texts.rows, place=texts.place())
        if beyond is not None:
            self.reader.found.add(beyond)
        return values

    def _steps(self, one: _Growing) -> Steps:
        if self.misread:
            return Steps(0.0, None)
        rows = one.rows.finished()
        place = Place(self.table.file, None, self.clocks[0][0].name)
        return proven(one.time_s.finished(), rows, place, self.reader.found, uneven=self.block.uneven)


def document(channel: Channel, gauge: str | None, offset_s: float) -> dict[str, Any]:
    """A channel as part of a session document; `offset_s` lies between the session's start and the log's zero."""
    found: dict[str, Any] = {"channel_id": channel.channel_id, "quantity": channel.mapped.to}
    found["start_s"] = channel.steps.start_s + offset_s
    found.update(sample_count=len(channel.values), missing_count=channel.values.null_count)
    joined = {"line_id": channel.mapped.line, "gauge_id": gauge, "interval_s": channel.steps.interval_s}
    found.update({name: value for name, value in joined.items() if value is not None})
    return found


def legend_of(rows: Sequence[Dictionary[str, Any]], fields: Dictionary[str, Mapping]) -> list[Legend]:
    """The legend of a tall log from its rows: values by target, with the physical row under "row"."""
    found = []
    for row in rows:
        key = row.get("channel_key")
        if key is None:
            continue
        name = row.get("channel_id") or key
        quantity = row.get("quantity")
        value = fields["channel_value"]
        mapped = None
        if quantity is not None:
            update = {"to": quantity, "channel": name, "line": row.get("line_id"), "gauge": value.gauge}
            mapped = value.model_copy(update=update)
        found.append(Legend(key, mapped, row.get("channel_unit"), row["row"], name))
    return found
