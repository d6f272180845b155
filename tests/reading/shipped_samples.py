"""The samples of the plugins that ship, as text, with their tables taken apart and put together again."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from reading_inputs import plugins, source

from interchange.files import Source
from interchange.model.document import as_document
from interchange.model.manifest import TableBlock
from interchange.model.question import Import
from interchange.reading.body import cell_mark
from interchange.reading.door import read, read_source
from interchange.reading.extract import Extract, Table
from interchange.reading.registry import Plugin
from interchange.reading.rows import split_cells

TABLE_ROWS = ("header", "units", "row")


@dataclass(frozen=True)
class Sample:
    """A file of a plugin and those that belong to it; `lines` are its rows without their ends."""

    plugin: Plugin
    path: Path
    lines: tuple[str, ...]
    files: dict[str, Source]
    crlf: bool

    def __str__(self) -> str:
        return f"{self.plugin.id}/{self.path.name}"

    @property
    def text(self) -> str:
        """The whole with line feeds."""
        return "".join(line + "\n" for line in self.lines)

    @property
    def mark(self) -> str:
        """What stands between its cells."""
        return cell_mark(self.plugin.manifest.layout)

    @property
    def transposed(self) -> bool:
        """Whether each column is a test."""
        return self.plugin.manifest.layout.transposed

    def extract(self) -> Extract:
        """Its tables and keys."""
        return read(source(self.text, self.path.name), self.plugin, files=self.files)

    def block(self, table: Table) -> TableBlock:
        """The manifest's block of one of its tables."""
        block = self.plugin.manifest.block[table.block]
        assert isinstance(block, TableBlock)
        return block

    def cells(self, row: int) -> list[str]:
        """The cells of a physical row."""
        found = split_cells(self.lines[row - 1], self.mark)
        assert found is not None
        return found

    def with_row(self, row: int, cells: Sequence[str]) -> Sample:
        """The sample with other cells in a physical row."""
        written = io.StringIO()
        csv.writer(written, delimiter=self.mark, lineterminator="").writerow(cells)
        return replace(self, lines=(*self.lines[: row - 1], written.getvalue(), *self.lines[row:]))

    def with_tables(self, change: Callable[[str, list[str]], list[str]], spared: Sequence[int] = ()) -> Sample:
        """The sample with the cells of each row of its tables changed; the kind of the row comes first."""
        changed = self
        for owner in self.extract().owners:
            if owner.kind in TABLE_ROWS and owner.block not in spared:
                for row in range(owner.first_row, owner.last_row + 1):
                    changed = changed.with_row(row, change(owner.kind, self.cells(row)))
        return changed

    def without(self, rows: Sequence[int]) -> Sample:
        """The sample without some physical rows."""
        return replace(self, lines=tuple(line for row, line in enumerate(self.lines, 1) if row not in set(rows)))


@cache
def samples() -> tuple[Sample, ...]:
    """All of them."""
    return tuple(_samples())


def _samples() -> list[Sample]:
    found = []
    for plugin in plugins():
        companions = {one.name: one.stem_ends for one in plugin.manifest.companion}
        for path in sorted((plugin.folder / "samples").glob("*.csv")):
            if companions and path.stem.endswith(tuple(companions.values())):
                continue
            data = path.read_bytes()
            try:
                text = data.decode("utf-8-sig")
            except UnicodeDecodeError:
                text = data.decode("cp1252")
            beside = {role: path.with_name(f"{path.stem}{ends}{path.suffix}") for role, ends in companions.items()}
            files = {role: source(one.read_bytes(), one.name) for role, one in beside.items() if one.exists()}
            lines = text.replace("\r\n", "\n").removesuffix("\n").split("\n")
            found.append(Sample(plugin, path, tuple(lines), files, b"\r\n" in data))
    return found


def outcome(sample: Sample, content: str | bytes | None = None) -> Import:
    """What becomes of a sample, or of other content in its place. What forbids taking it in leaves nothing of it."""
    found = read_source(
        source(sample.text if content is None else content, sample.path.name), plugins(), files=sample.files
    )
    if any(problem.blocks in ("session", "file") for problem in found.mapped.problems):
        assert (found.state, found.mapped.sessions, found.mapped.traces) == ("refused", (), ())
    return found


def content(found: Import) -> list[dict[str, Any]]:
    """Sessions without ids, source and kept, in their order, each with the values of its channels."""
    documents = []
    for session in found.mapped.sessions:
        document = as_document(session)
        for name in ("session_id", "source", "kept"):
            document.pop(name, None)
        document["traces"] = [
            {
                "channel_id": trace.channel_id,
                "start_s": trace.start_s,
                "interval_s": trace.interval_s,
                "time_s": None if trace.time_s is None else trace.time_s.to_pylist(),
                "values": trace.values.to_pylist(),
            }
            for trace in found.mapped.traces
            if trace.session_id == session.session_id
        ]
        documents.append(document)
    return documents
