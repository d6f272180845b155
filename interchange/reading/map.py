"""From an extract to sessions: every column and key goes where the manifest says, or is kept, or is a problem."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any

import pyarrow as pa

from interchange.errors import Place
from interchange.model.document import session_id
from interchange.model.manifest import (
    Level,
    Manifest,
    Mapping,
    TableBlock,
    is_number,
    level_of,
    unit_source,
)
from interchange.model.question import Answer, Mapped, Trace
from interchange.model.session import Session
from interchange.reading import cells, keep, logs, ranges, runs, shape, sheets, start
from interchange.reading.assemble import Cell, Draft, Part
from interchange.reading.collect import Asker, Collector
from interchange.reading.context import NO_CONTEXT, Context
from interchange.reading.extract import Extract, Table
from interchange.reading.layout import texts_of
from interchange.reading.values import Reader, Texts

FIRST = "1"
EVERY_CHANNEL = "every"

Parts = Callable[[Level, str, Mapping], Part]


def map_(extract: Extract, manifest: Manifest, answers: Sequence[Answer] = (), context: Context = NO_CONTEXT) -> Mapped:
    """Sessions and traces of an extract. None of them where a problem blocks the file or a question is open."""
    return _Mapper(extract, manifest, answers, context).mapped()


class _Mapper:
    def __init__(self, extract: Extract, manifest: Manifest, answers: Sequence[Answer], context: Context) -> None:
        self.extract, self.manifest, self.context = extract, manifest, context
        self.source, self.file = extract.source, extract.source.name
        self.found = Collector(extract.problems)
        self.asker = Asker(manifest.fingerprint, answers)
        self.reader = Reader(self.file, manifest.layout, self.found, self.asker)
        self.traces: list[Trace] = []

    def mapped(self) -> Mapped:
        sessions: list[Session] = []
        if not self.found.blocked:
            shape.check(self.extract, self.manifest, self.found)
        drafts: list[tuple[Draft, list[Part]]] = []
        if not self.found.blocked:
            rows = [table for table in self.extract.tables if self._block(table).each_row == "session"]
            drafts = list(self._rows(rows[0])) if rows else [self._file()]
            if rows:
                sheets.note_unsigned([draft for draft, _ in drafts], self.file, self.found)
                sheets.note_twice([draft for draft, _ in drafts], self.file, self.found)
            for draft, kept in drafts:
                finished = self._finish(draft, kept)
                if finished is not None:
                    sessions.append(finished)
        if self.found.blocked or self.asker.questions:
            shifted = self.found.shifted_rows
            questions = tuple(one for one in self.asker.questions if one.place.row not in shifted)
            return Mapped(questions=questions, problems=self.found.problems)
        for draft, _ in drafts:
            if "started_at_local" not in draft.document.get("time", {}):
                self.found.add(start.unknown(Place(self.file, draft.row)))
        return Mapped(tuple(sessions), tuple(self.traces), (), self.found.problems)

    def _block(self, table: Table) -> TableBlock:
        block = self.manifest.block[table.block]
        if not isinstance(block, TableBlock):
            raise AssertionError("a table belongs to a table block")
        return block

    # rows that are sessions

    def _rows(self, table: Table) -> Iterator[tuple[Draft, list[Part]]]:
        block = self._block(table)
        rows = texts_of(table, -1).to_pylist()
        drafts = [Draft(row) for row in rows]
        parts: list[dict[Level, Part]] = [{} for _ in rows]
        where = [self._parts_of_row(draft, part) for draft, part in zip(drafts, parts, strict=True)]
        said = [start.Said() for _ in rows]
        for texts in self._columns(table, block):
            self._assign(texts, drafts, where, said)
        columns = [(name, texts_of(table, position).to_pylist()) for position, name in keep.kept_columns(table, block)]
        for index, (draft, part, row) in enumerate(zip(drafts, parts, rows, strict=True)):
            self._join_row(draft, part)
            self._set_time(draft, said[index])
            texts_kept = ((name, column[index].strip()) for name, column in columns)
            yield draft, [keep.kept_cell(block.part, name, text, row) for name, text in texts_kept if text]

    @staticmethod
    def _parts_of_row(draft: Draft, parts: dict[Level, Part]) -> Parts:
        def part_for(level: Level, name: str, field: Mapping) -> Part:
            if level in ("run", "point", "reading"):
                return parts.setdefault(level, {})
            return draft.part(level, name, _number(level, field))

        return part_for

    @staticmethod
    def _join_row(draft: Draft, parts: dict[Level, Part]) -> None:
        run, point, reading = (parts.get(level) for level in ("run", "point", "reading"))
        if reading is not None:
            reading["fan_id"] = FIRST
            point = {} if point is None else point
            point["fan_readings"] = [reading]
        if point is not None:
            run = {} if run is None else run
            run["points"] = [point]
        if run is not None:
            run["run_number"] = 1
            direction = runs.direction_by_sign(run)
            if direction is not None:
                run.setdefault("direction", direction)
            draft.document["runs"].append(run)

    # a file that is one session

    def _file(self) -> tuple[Draft, list[Part]]:
        draft = Draft()
        said = start.Said()
        by_section = self._run_parts(draft)
        channel_fields: list[tuple[Mapping, Any]] = []
        for texts in self._entries():
            if level_of(texts.block, texts.to) == "channel":
                ((value,), _) = self.reader.values(texts)
                channel_fields.append((texts.field, value))
            else:
                self._assign(texts, [draft], [self._parts_of_entry(draft, by_section.get(texts.section))], [said])
        for table in self.extract.tables:
            block = self._block(table)
            if block.each_row == "sample":
                self._log(draft, table, block)
            elif block.each_row == "point":
                self._points(draft, table, block, by_section.get(table.section))
            else:
                self._calibrations(draft, table, block)
        for field, value in channel_fields:
            for channel in draft.document.get("channels", ()):
                if value is not None and field.channel in (EVERY_CHANNEL, channel["channel_id"]):
                    draft.set(channel, field.to or "", value, None)
        self._settle_runs(draft, by_section)
        self._set_time(draft, said)
        return draft, keep.kept_of_file(self.extract, self.manifest.block)

    def _run_parts(self, draft: Draft) -> dict[str | None, Part]:
        """A run for each section that is one, in the order of the file."""
        directions: dict[str, str] = {}
        for block in self.manifest.block:
            directions.update(block.directions or {})
        places = [(entry.row, entry.section) for entry in self.extract.entries]
        places += [(table.header_row, table.section) for table in self.extract.tables]
        parts: dict[str | None, Part] = {}
        for _, section in sorted(places, key=lambda place: place[0]):
            if section in directions and section not in parts:
                part = {"run_number": len(parts) + 1, "direction": directions[section], "points": []}
                parts[section] = part
                draft.document["runs"].append(part)
        return parts

    def _entries(self) -> list[Texts]:
        """The mapped keys; the numbers among them are read together, which is far quicker than one by one."""
        keys = [{field.name: field for field in block.fields} for block in self.manifest.block]
        found: list[Texts] = []
        numeric: list[int] = []
        for entry in self.extract.entries:
            field = keys[entry.block].get(entry.key) if entry.block is not None else None
            if entry.block is None or field is None or field.to is None:
                continue
            block = self.manifest.block[entry.block]
            if is_number(field.to) and unit_source(block, field) != "text":
                numeric.append(len(found))
            text, row = pa.array([entry.text], pa.string()), pa.array([entry.row], pa.int64())
            found.append(Texts(block, field, entry.section, text, row, entry.unit, entry.row))
        if numeric:
            together = cells.numbers(pa.concat_arrays([found[index].cells for index in numeric]), self.manifest.layout)
            for position, index in enumerate(numeric):
                found[index] = replace(found[index], numbers=together.at(position))
        return found

    @staticmethod
    def _parts_of_entry(draft: Draft, run: Part | None) -> Parts:
        def part_for(level: Level, name: str, field: Mapping) -> Part:
            if level == "run" and run is not None:
                return run
            return draft.part(level, name, _number(level, field))

        return part_for

    def _points(self, draft: Draft, table: Table, block: TableBlock, run: Part | None) -> None:
        if run is None:
            run = {"run_number": len(draft.document["runs"]) + 1, "points": []}
            draft.document["runs"].append(run)
        parts: list[dict[Level, Part]] = [{} for _ in range(len(texts_of(table, -1)))]
        where = [self._parts_of_row(draft, part) for part in parts]
        for texts in self._columns(table, block):
            self._assign(texts, [draft] * len(parts), where, [])
        for part in parts:
            point, reading = part.get("point", {}), part.get("reading")
            if reading is not None:
                reading["fan_id"] = FIRST
                point["fan_readings"] = [reading]
            run["points"].append(point)

    def _calibrations(self, draft: Draft, table: Table, block: TableBlock) -> None:
        found: list[Part] = [{"fan_id": FIRST} for _ in range(len(texts_of(table, -1)))]
        where = [self._part_as_it_is(part) for part in found]
        for texts in self._columns(table, block):
            self._assign(texts, [draft] * len(found), where, [])
        draft.document.setdefault("fan_calibrations", []).extend(found)

    @staticmethod
    def _part_as_it_is(part: Part) -> Parts:
        return lambda _level, _name, _field: part

    def _log(self, draft: Draft, table: Table, block: TableBlock) -> None:
        columns = list(self._columns(table, block))
        clock = next(texts for texts in columns if texts.to == "time_s")
        start_s, interval_s = logs.steps(self.reader.numbers(clock)[0], clock, self.file, self.found)
        name = session_id(self.source.sha256, draft.place)
        for texts in columns:
            if texts is clock:
                continue
            values, scale = self.reader.numbers(texts)
            place = Place(self.file, column=texts.field.name)
            beyond = ranges.check_column(texts.to, values, scale, texts=texts.cells, rows=texts.rows, place=place)
            if beyond is not None:
                self.found.add(beyond)
            channel, trace = logs.channel(name, texts.field, start_s, interval_s, values)
            draft.document.setdefault("channels", []).append(channel)
            self.traces.append(trace)

    def _settle_runs(self, draft: Draft, by_section: dict[str | None, Part]) -> None:
        rows = {table.section: table.header_row for table in self.extract.tables}
        for section, run in by_section.items():
            runs.settle_direction(run, section or "", Place(self.file, rows.get(section)), self.asker)
        for run in draft.document["runs"]:
            direction = runs.direction_by_sign(run)
            if direction is not None:
                run.setdefault("direction", direction)
        if any(isinstance(b, TableBlock) and b.each_row == "fan_calibration" for b in self.manifest.block):
            runs.point_at_calibrations(draft, self.file, self.found)

    # common to both

    def _columns(self, table: Table, block: TableBlock) -> Iterator[Texts]:
        rows = texts_of(table, -1)
        for column in block.columns:
            if column.to is not None and column.name in table.header:
                position = table.header.index(column.name)
                unit = table.units[position] if table.units is not None else None
                yield Texts(block, column, table.section, texts_of(table, position), rows, unit, table.header_row + 1)

    def _assign(
        self, texts: Texts, drafts: Sequence[Draft], where: Sequence[Parts], said: Sequence[start.Said]
    ) -> None:
        """Set one field from each of its cells, with all that goes with it."""
        field, to = texts.field, texts.to
        level = level_of(texts.block, to)
        if level is None:
            raise AssertionError("a manifest maps only what its blocks can fill")
        values, scale = self.reader.values(texts)
        self.reader.check_filled(texts)
        columns = zip(texts.rows.to_pylist(), texts.cells.to_pylist(), values, strict=True)
        for index, (row, text, value) in enumerate(columns):
            if value is None:
                continue
            draft, part_for = drafts[index], where[index]
            cell: Cell = (row, field.name, text.strip(), scale)
            if to == "started_at_local":
                said[index].moments.append((value, cell[2], row, field.name))
                continue
            if to == "utc_offset_s":
                said[index].offset_s = value.offset_s
                continue
            draft.set(part_for(level, to, field), to, value.day if field.time_format is not None else value, cell)
            if field.whole_text_to is not None:
                draft.set(self._beside(texts, field.whole_text_to, part_for), field.whole_text_to, cell[2], cell)
            for name, constant in (field.also or {}).items():
                draft.set(self._beside(texts, name, part_for), name, constant, None)
            if field.beaufort is not None:
                band = self.reader.beaufort(texts, value, row)
                for name, force in zip(("wind_beaufort_low", "wind_beaufort_high"), band or (), strict=False):
                    draft.set(part_for(level, name, field), name, force, cell)

    @staticmethod
    def _beside(texts: Texts, name: str, part_for: Parts) -> Part:
        level = level_of(texts.block, name)
        if level is None:
            raise AssertionError("a manifest maps only what its blocks can fill")
        return part_for(level, name, texts.field)

    def _set_time(self, draft: Draft, said: start.Said) -> None:
        group = start.time_group(said, self.context, self.source, self.found, self.asker)
        if group:
            draft.document["time"] = group

    def _finish(self, draft: Draft, kept: list[Part]) -> Session | None:
        for constant in self.manifest.constant:
            if not draft.has(constant.to):
                draft.set(draft.part("session", constant.to, FIRST), constant.to, constant.value, None)
        runs.note_points(draft, self.file, self.found)
        for line in draft.document.get("reference_lines", ()):
            line.setdefault("arrangement", "unknown")
        draft.document.update(
            session_id=session_id(self.source.sha256, draft.place),
            kept=kept,
            source={
                "source_name": self.file,
                "source_sha256": self.source.sha256,
                "source_size_bytes": self.source.size_bytes,
                "source_encoding": self.extract.encoding,
                "source_place": draft.place,
                "plugin_id": self.manifest.id,
                "plugin_version": self.manifest.version,
                "plugin_fingerprint": self.manifest.fingerprint,
            },
        )
        finished = draft.finish(self.file)
        if isinstance(finished, Session):
            return finished
        for problem in finished:
            self.found.add(problem)
        return None


def _number(level: Level, field: Mapping) -> str:
    number = {"gauge": field.gauge, "fan": field.fan, "line": field.line}.get(level)
    return number or FIRST
