"""A file that is a test, or several told apart by sections or by a column: its tables and keys to one document each."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from interchange.errors import Place, Problem
from interchange.model.manifest import Manifest, TableBlock, level_of
from interchange.model.mapping import Mapping
from interchange.model.question import Trace
from interchange.reading import logs, points, runs, start
from interchange.reading.assemble import Draft, Part
from interchange.reading.collect import Collector
from interchange.reading.extract import Entry, Extract, Table
from interchange.reading.fields import Fields
from interchange.reading.layout import texts_of
from interchange.reading.points import FIRST, RowParts, number_of
from interchange.reading.series import shifted
from interchange.reading.values import Texts
from interchange.reading.words import quoted

EVERY_CHANNEL = "every"


def tests_of(extract: Extract, manifest: Manifest, found: Collector) -> Iterator[tuple[str, Extract]]:
    """Each test of a file: its place, and what of the file belongs to it. Companions are part of the one test."""
    entries = (*extract.entries, *(entry for one in extract.companions.values() for entry in one.entries))
    tables = (*extract.tables, *(table for one in extract.companions.values() for table in one.tables))
    whole = replace(extract, entries=entries, tables=tables)
    numbers = sorted(({entry.test for entry in entries} | {table.test for table in tables}) - {0})
    if numbers:
        for number in numbers:
            yield (
                f"test {number}",
                replace(
                    whole,
                    entries=tuple(entry for entry in entries if entry.test in (0, number)),
                    tables=tuple(table for table in tables if table.test in (0, number)),
                    passed=extract.passed if number == numbers[0] else (),
                ),
            )
        return
    apart = [table for table in tables if _block(manifest, table).session_by]
    if not apart:
        yield "file", whole
        return
    (table,) = apart
    others = tuple(other for other in tables if other is not table)
    for index, (key, part) in enumerate(_by_key(table, _block(manifest, table), found)):
        yield f"test {key}", replace(whole, tables=(*others, part), passed=extract.passed if index == 0 else ())


def _block(manifest: Manifest, table: Table) -> TableBlock:
    block = manifest.block[table.block]
    if not isinstance(block, TableBlock):
        raise AssertionError("a table belongs to a table block")
    return block


def _by_key(table: Table, block: TableBlock, found: Collector) -> Iterator[tuple[str, Table]]:
    """The rows of each test of a table, in order of first appearance."""
    positions = [table.header.index(name) for name in block.session_by if name in table.header]
    columns = [pc.utf8_trim_whitespace(texts_of(table, position)).to_pylist() for position in positions]
    keys = [" / ".join(parts) for parts in zip(*columns, strict=True)]
    rows = texts_of(table, -1)
    batch = pa.RecordBatch.from_arrays(
        [*(texts_of(table, position) for position in range(len(table.header))), rows],
        [*(str(position) for position in range(len(table.header))), "row"],
    )
    for key in dict.fromkeys(keys):
        at = [index for index, other in enumerate(keys) if other == key]
        if not key.strip(" /"):
            place = Place(table.file, rows[at[0]].as_py(), block.session_by[0])
            cure = "Fill in the cell; if the row is a mean, a total or a footer, remove it."
            expected = "the test that the row belongs to"
            found.add(Problem("cell-missing", place, "''", expected, cure, len(at), "session"))
        yield key, replace(table, rows=(batch.take(pa.array(at, pa.int64())),))


class FileTest:
    """Fills the document of one test from the part of a file that belongs to it."""

    def __init__(self, extract: Extract, manifest: Manifest, fields: Fields, draft: Draft, said: start.Said) -> None:
        self.extract, self.manifest, self.fields, self.draft, self.said = extract, manifest, fields, draft, said
        self.file = extract.source.name
        self.found = fields.reader.found
        self.by_section = self._run_parts()

    def fill(self, session: str) -> list[Trace]:
        """Fill the document; the traces of its channels."""
        channel_fields: list[tuple[Mapping, Any]] = []
        for texts in self.fields.entries(self.extract.entries):
            if level_of(texts.block, texts.to) == "channel":
                ((value,), _) = self.fields.reader.values(texts)
                channel_fields.append((texts.field, value))
            else:
                run = self.by_section.get(texts.section)
                self.fields.assign(texts, [_EntryParts(self.draft, texts.rows[0].as_py(), run)], [self.said])
        traces: list[Trace] = []
        for table in self.extract.tables:
            block = self.fields.block(table)
            if block.each_row == "point":
                self._points(table, block)
            elif block.each_row == "fan_calibration":
                self._calibrations(table, block)
            elif block.each_row == "sample":
                traces += self._log(table, block, session)
        for field, value in channel_fields:
            for channel in self.draft.document.get("channels", ()):
                if value is not None and field.channel in (EVERY_CHANNEL, channel["channel_id"]):
                    self.draft.set(channel, field.to or "", value, None)
        rows = {table.section: table.header_row for table in self.extract.tables}
        for section, run in self.by_section.items():
            runs.settle_direction(run, section or "", Place(self.file, rows.get(section)), self.fields.reader.asker)
        return traces

    def _run_parts(self) -> dict[str | None, Part]:
        """A run for each section that is one, in the order of the file."""
        directions: dict[str, str] = {}
        for block in self.manifest.block:
            directions.update(block.directions or {})
        items: list[Entry | Table] = [*self.extract.entries, *self.extract.tables]
        places = [(item.row if isinstance(item, Entry) else item.header_row, item.section) for item in items]
        parts: dict[str | None, Part] = {}
        for _, section in sorted(places, key=lambda place: place[0]):
            if section in directions and section not in parts:
                part = {"run_number": len(parts) + 1, "direction": directions[section], "points": []}
                parts[section] = part
                self.draft.document["runs"].append(part)
        return parts

    def _points(self, table: Table, block: TableBlock) -> None:
        rows = [RowParts(self.draft, row) for row in texts_of(table, -1).to_pylist()]
        said = [start.Said() for _ in rows]
        for texts in self.fields.columns(table, block):
            self.fields.assign(texts, rows, said)
            if level_of(texts.block, texts.to) in ("session", "gauge", "fan", "line", "opening"):
                self._check_same(texts.cells.to_pylist(), texts.rows.to_pylist(), texts.field.name, table.file)
        for one in said[:1]:
            self.said.moments += one.moments
            self.said.ends += one.ends
            self.said.offset_s = one.offset_s if self.said.offset_s is None else self.said.offset_s
        run = self.by_section.get(table.section)
        if run is None and block.file is not None and self.draft.document["runs"]:
            run = self.draft.document["runs"][0]  # a companion holds the baselines of the run that the file gives
        points.gather(rows, table, run, self.draft, self.found)

    def _check_same(self, texts: Sequence[str], rows: Sequence[int], column: str, file: str) -> None:
        """What a test has once stands the same in all of its rows."""
        first = texts[0].strip()
        other = next((index for index, text in enumerate(texts) if text.strip() != first), None)
        if other is None:
            return
        place, found = Place(file, rows[other], column), quoted(texts[other].strip())
        expected = f"{quoted(first)}, as in row {rows[0]}: the same in every row of a test"
        cure = "Correct the row, or give each test a name of its own."
        self.found.add(Problem("value-differs", place, found, expected, cure, blocks="session"))

    def _calibrations(self, table: Table, block: TableBlock) -> None:
        rows = [_CalibrationParts(self.draft, row) for row in texts_of(table, -1).to_pylist()]
        for texts in self.fields.columns(table, block):
            self.fields.assign(texts, rows, [start.Said() for _ in rows])
        calibrations: list[Part] = self.draft.document.setdefault("fan_calibrations", [])
        for row in rows:
            row.calibration.setdefault("fan_id", FIRST)
            if not row.pair:
                calibrations.append(row.calibration)
                continue
            same = next((one for one in calibrations if _same_calibration(one, row.calibration)), None)
            if same is None:
                same = row.calibration
                same["calibration_points"] = []
                calibrations.append(same)
            same["calibration_points"].append(row.pair)

    def _log(self, table: Table, block: TableBlock, session: str) -> list[Trace]:
        columns = []
        for column in block.fields:
            if column.to is None or column.name not in table.header:
                continue
            position = table.header.index(column.name)
            unit = table.units[position] if table.units is not None else None
            if level_of(block, column.to) == "session":
                self._same_in_all(table, block, column, position, unit)
            else:
                columns.append((column, position, unit))
        log = logs.read(table, block, columns, self._legend(block), self.fields.reader)
        offset_s = 0.0
        if log.first_stamp is not None:
            moment, text, row, name = log.first_stamp
            if self.said.moments:
                offset_s = start.seconds_between(self.said, moment)
            else:
                self.said.moments.append((moment, text, Place(table.file, row, name)))
        traces = []
        for channel in log.channels:
            gauges = [part["gauge_id"] for part in self.draft.document.get("gauges", ())]
            gauge = channel.mapped.gauge if channel.mapped.gauge in gauges else None
            if gauge is None and block.tall and gauges and channel.mapped.to in _BY_GAUGE:
                gauge = FIRST
            document = logs.document(channel, gauge, offset_s)
            self.draft.document.setdefault("channels", []).append(document)
            if channel.mapped.line is not None:
                self.draft.part("line", "arrangement", channel.mapped.line)
            steps = channel.steps
            own = None if steps.time_s is None else shifted(steps.time_s, offset_s)
            start_s = steps.start_s + offset_s
            traces.append(Trace(session, channel.channel_id, start_s, steps.interval_s, own, channel.values))
        return traces

    def _same_in_all(self, table: Table, block: TableBlock, column: Mapping, position: int, unit: str | None) -> None:
        """What a log has once stands in each of its rows: it is taken from the first."""
        first: Texts | None = None
        for batch in table.rows:
            cells, rows = batch.column(position), batch.column(-1)
            if first is None:
                first = Texts(
                    block, column, table.file, table.section, cells.slice(0, 1), rows.slice(0, 1), unit, table.unit_row
                )
            other = pc.index(pc.equal(cells, first.cells[0]), False).as_py()
            if other >= 0:
                both = [first.cells[0].as_py(), cells[other].as_py()]
                self._check_same(both, [first.rows[0].as_py(), rows[other].as_py()], column.name, table.file)
                return
        if first is not None:
            self.fields.assign(first, [RowParts(self.draft, first.rows[0].as_py())], [self.said])

    def _legend(self, block: TableBlock) -> list[logs.Legend]:
        if not block.tall:
            return []
        value = next(column for column in block.columns if column.to == "channel_value")
        found: list[logs.Legend] = []
        for table in self.extract.tables:
            legend = self.fields.block(table)
            if legend.each_row != "channel":
                continue
            rows: list[dict[str, Any]] = [{"row": row} for row in texts_of(table, -1).to_pylist()]
            for texts in self.fields.columns(table, legend):
                values, _ = self.fields.reader.values(texts)
                for row, one in zip(rows, values, strict=True):
                    if one is not None:
                        row[texts.to] = one
            for entry in logs.legend_of(rows, {"channel_value": value}):
                if any(entry.key == other.key or entry.channel_id == other.channel_id for other in found):
                    place, twice = Place(table.file, entry.unit_row), f"the channel {quoted(entry.channel_id)} again"
                    cure = "Give each channel a key and a name of its own."
                    self.found.add(
                        Problem(
                            "channel-twice", place, twice, "each channel of the legend once", cure, blocks="session"
                        )
                    )
                if all(entry.key != other.key for other in found):
                    found.append(entry)
        return found


_BY_GAUGE = ("envelope_pressure_pa", "fan_pressure_pa")


def _same_calibration(one: Part, other: Part) -> bool:
    names = ("fan_id", "fan_configuration", "minimum_fan_pressure_pa", "maximum_fan_pressure_pa")
    return "calibration_points" in one and all(one.get(name) == other.get(name) for name in names)


class _EntryParts(RowParts):
    """The parts that a key fills: those of the run of its section, or of the whole test."""

    def __init__(self, draft: Draft, row: int, run: Part | None) -> None:
        super().__init__(draft, row)
        self.of_section = run

    def part_for(self, level: Any, name: str, mapped: Mapping) -> Part:
        if level == "run" and self.of_section is not None:
            return self.of_section
        if level == "run":
            if not self.draft.document["runs"]:
                self.draft.document["runs"].append({"run_number": 1, "points": []})
            first: Part = self.draft.document["runs"][0]
            return first
        return self.draft.part(level, name, number_of(level, mapped))


class _CalibrationParts(RowParts):
    """The parts that a row of a calibration fills: a power law, or one pair of a table."""

    def __init__(self, draft: Draft, row: int) -> None:
        super().__init__(draft, row)
        self.calibration: Part = {}
        self.pair: Part = {}

    def part_for(self, level: Any, name: str, mapped: Mapping) -> Part:
        if level == "calibration_point":
            return self.pair
        if level == "calibration":
            return self.calibration
        return super().part_for(level, name, mapped)
