"""From an extract to sessions: every column and key goes where the manifest says, or is kept, or is a problem."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from interchange.errors import Place
from interchange.model.document import session_id
from interchange.model.manifest import Manifest
from interchange.model.question import Answer, Mapped, Trace
from interchange.model.session import Session
from interchange.reading import keep, points, runs, shape, sheets, start, times
from interchange.reading.assemble import Draft, Part
from interchange.reading.collect import Asker, Collector
from interchange.reading.context import NO_CONTEXT, Context
from interchange.reading.extract import Extract, Table
from interchange.reading.fields import Fields
from interchange.reading.file import FileTest, tests_of
from interchange.reading.layout import texts_of
from interchange.reading.points import FIRST, RowParts
from interchange.reading.values import Reader


@dataclass(frozen=True, slots=True)
class Book:
    """The workbook that a sheet was taken from. Its cells have types, and places in it begin with the sheet."""

    file: str
    sheet: str


def map_(
    extract: Extract,
    manifest: Manifest,
    answers: Sequence[Answer] = (),
    context: Context = NO_CONTEXT,
    *,
    book: Book | None = None,
) -> Mapped:
    """Sessions and traces of an extract. None of them where a problem blocks the file or a question is open."""
    return _Mapper(extract, manifest, answers, context, book).mapped()


class _Mapper:
    def __init__(
        self, extract: Extract, manifest: Manifest, answers: Sequence[Answer], context: Context, book: Book | None
    ) -> None:
        self.extract, self.manifest, self.context = extract, manifest, context
        self.source, self.file, self.book = extract.source, extract.source.name, book
        self.within = "" if book is None else f"sheet {book.sheet}, "
        self.found = Collector([*extract.problems, *(p for one in extract.companions.values() for p in one.problems)])
        self.asker = Asker(manifest.fingerprint, answers)
        weather = any((part.to, part.value) == ("kind", "weather") for part in manifest.constant)
        years = times.WEATHER_YEARS if weather else times.START_YEARS
        self.fields = Fields(
            manifest, Reader(manifest.layout, self.found, self.asker, years=years, typed=book is not None)
        )
        self.traces: list[Trace] = []

    def mapped(self) -> Mapped:
        sessions: list[Session] = []
        if not self.found.blocked:
            shape.check(self.extract, self.manifest, self.found)
        drafts: list[tuple[Draft, list[Part], start.Said]] = []
        if not self.found.blocked:
            rows = [table for table in self.extract.tables if self.fields.block(table).each_row == "session"]
            drafts = list(self._rows(rows[0])) if rows else list(self._file())
            if rows:
                sheets.note_unsigned([draft for draft, *_ in drafts], self.file, self.found)
                sheets.note_twice([(draft, said) for draft, _, said in drafts], self.file, self.found)
            for draft, kept, said in drafts:
                finished = self._finish(draft, kept, said)
                if finished is not None:
                    sessions.append(finished)
        if self.found.blocked or self.asker.questions:
            shifted = self.found.shifted_rows
            questions = tuple(one for one in self.asker.questions if one.place.row not in shifted)
            return Mapped(questions=questions, problems=self.found.problems)
        for draft, *_ in drafts:
            if "started_at_local" not in draft.document.get("time", {}):
                self.found.add(start.unknown(Place(self.file, draft.row)))
        return Mapped(tuple(sessions), tuple(self.traces), (), self.found.problems)

    # rows that are tests

    def _rows(self, table: Table) -> Iterator[tuple[Draft, list[Part], start.Said]]:
        block = self.fields.block(table)
        rows = texts_of(table, -1).to_pylist()
        where = "column" if table.across else "row"
        drafts = [Draft(f"{self.within}{where} {row}", None if table.across else row) for row in rows]
        parts = [RowParts(draft, row) for draft, row in zip(drafts, rows, strict=True)]
        said = [start.Said() for _ in rows]
        for entry in self.fields.entries(self.extract.entries):  # what stands above the table holds for all its rows
            for draft, one in zip(drafts, said, strict=True):
                self.fields.assign(entry, [RowParts(draft, draft.row or 1)], [one])
        for texts in self.fields.columns(table, block):
            self.fields.assign(texts, parts, said)
        columns = keep.cells_of_rows(table, block)
        for index, (draft, part) in enumerate(zip(drafts, parts, strict=True)):
            joined = part.joined()
            if joined or part.run:
                run = draft.merged(part.run)
                run.update(run_number=1, points=joined)
                if not joined:
                    del run["points"]
                draft.document["runs"].append(run)
            kept = [
                keep.kept_cell(table, block, *column, index)
                for column in columns
                if column[2][index] not in ("", *self.manifest.layout.missing)
            ]
            if index == 0:
                kept = keep.in_order([*self._kept_entries(), *kept])
            yield draft, kept, said[index]

    def _kept_entries(self) -> list[Part]:
        return keep.kept_of_file(self.extract, self.manifest.block, tables=False)

    # a file that is one test, or several

    def _file(self) -> Iterator[tuple[Draft, list[Part], start.Said]]:
        for place, extract in tests_of(self.extract, self.manifest, self.found):
            draft, said = Draft(f"{self.within}{place}"), start.Said()
            test = FileTest(extract, self.manifest, self.fields, draft, said)
            self.traces.extend(test.fill(session_id(self.source.sha256, draft.place)))
            yield draft, keep.kept_of_file(extract, self.manifest.block), said

    # common to both

    def _finish(self, draft: Draft, kept: list[Part], said: start.Said) -> Session | None:
        for constant in self.manifest.constant:
            if constant.to == "utc_offset_s":
                said.offset_s = int(constant.value) if said.offset_s is None else said.offset_s
            elif not draft.has(constant.to):
                draft.set(draft.part("session", constant.to, FIRST), constant.to, constant.value, None)
        start.fill(draft, said, self.context, self.source, self.found, self.asker)
        if draft.document.get("kind") == "other_test":
            points.turn_to_other(draft)
        points.sign_magnitudes(draft, self.file, self.found)
        runs.settle_kind(draft)
        for run in draft.document["runs"]:
            direction = runs.direction_by_sign(run)
            if direction is not None:
                run.setdefault("direction", direction)
        if "fan_calibrations" in draft.document:
            runs.point_at_calibrations(draft, self.file, self.found)
        runs.note_points(draft, self.file, self.found)
        for line in draft.document.get("reference_lines", ()):
            line.setdefault("arrangement", "unknown")
        draft.document.update(
            session_id=session_id(self.source.sha256, draft.place),
            kept=kept,
            source={
                "source_name": self.file if self.book is None else self.book.file,
                "source_sha256": self.source.sha256,
                "source_size_bytes": self.source.size_bytes,
                "source_encoding": self.extract.encoding,
                "source_place": draft.place,
                "plugin_id": self.manifest.id,
                "plugin_version": self.manifest.version,
                "plugin_fingerprint": self.manifest.fingerprint,
                "companions": [
                    {
                        "companion_role": role,
                        "companion_name": one.source.name,
                        "companion_sha256": one.source.sha256,
                    }
                    for role, one in sorted(self.extract.companions.items())
                ],
                "answers_used": [
                    {"question_id": name, "answer_value": value} for name, value in self.asker.used.items()
                ],
            },
        )
        finished = draft.finish(self.file)
        if isinstance(finished, Session):
            return finished
        for problem in finished:
            self.found.add(problem)
        return None
