"""Which plugin a file belongs to: by the shape of its first part, never by its name."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.model.manifest import Manifest, TableBlock
from interchange.reading.body import cell_mark
from interchange.reading.decode import WIDE_MARKS, decode, with_line_feeds
from interchange.reading.header import unmarked
from interchange.reading.registry import Plugin
from interchange.reading.rows import split_cells, trimmed

HEAD_BYTES = 65_536
HEAD_ROWS = 200
FAILED_SHOWN = 3
ANY_BYTES = "cp1252"  # reads nearly any bytes as some text, which is enough to know a shape by


@dataclass(frozen=True, slots=True)
class Clauses:
    """How a plugin's clauses fared on a file: those that hold and those that fail, in words."""

    plugin_id: str
    held: tuple[str, ...]
    failed: tuple[str, ...]

    def nearest(self) -> str:
        """What the file lacks for this plugin, as far as people can use it; nothing where all is foreign to it."""
        if not self.held:
            return ""
        shown = [*self.failed[:FAILED_SHOWN]]
        if len(self.failed) > FAILED_SHOWN:
            shown.append(f"and {len(self.failed) - FAILED_SHOWN} more")
        return f"; nearest: {self.plugin_id} ({', '.join(shown)})"


@dataclass(frozen=True, slots=True)
class Recognition:
    """`matches` are the plugins all of whose clauses hold; `misses` the others, nearest first.

    Exactly one match means the file is known: `plugin` is it, else None. `misread` is the plugin of a file without a
    match that has its shape, but holds characters in another encoding than the plugin states.
    """

    matches: tuple[Clauses, ...]
    misses: tuple[Clauses, ...]
    plugin: Plugin | None
    misread: Plugin | None = None

    def problem(self, file: str) -> Problem:
        """Why a file that is not known cannot be read."""
        if self.matches:
            by_clauses: dict[tuple[str, ...], list[str]] = {}
            for match in self.matches:
                by_clauses.setdefault(match.held, []).append(match.plugin_id)
            both = "; ".join(f"{' and '.join(ids)} ({', '.join(held)})" for held, ids in by_clauses.items())
            return Problem(
                "layout-ambiguous",
                Place(file),
                f"a layout that {len(self.matches)} plugins take for theirs: {both}",
                "a layout that one plugin recognises",
                "Add a clause under [recognise] to one of these plugins, or leave one of them out.",
                blocks="file",
            )
        near = self.misses[0].nearest() if self.misses else None
        return Problem(
            "layout-unknown",
            Place(file),
            "a layout, but no plugin to read it" if near is None else f"a layout that no plugin recognises{near}",
            "a layout that one plugin recognises",
            "Check that this is a test file; if it is, a plugin for its layout is needed.",
            blocks="file",
        )


def head_of(source: Source) -> bytes:
    """The first part of a source, as far as recognition looks."""
    with source.open() as stream:
        return stream.read(HEAD_BYTES)


def recognise(head: bytes, plugins: Sequence[Plugin]) -> Recognition:
    """Hold a file's first part (`head_of`) against every plugin's clauses."""
    head = _first_rows(head)
    decoded: dict[tuple[tuple[str, ...], bool], _Head | None] = {}

    def head_as(manifest: Manifest) -> _Head | None:
        key = (manifest.layout.encodings, manifest.layout.delimiter == "blanks")
        if key not in decoded:
            found = decode(head, manifest.layout, cut=True)
            decoded[key] = None if found is None else _Head(found.text)
        return decoded[key]

    return _recognised(head_as, _Head(with_line_feeds(head.decode(ANY_BYTES, errors="replace"))), plugins)


def _first_rows(head: bytes) -> bytes:
    """No more than is looked at, so that the rest need not be decoded."""
    return head if head.startswith(WIDE_MARKS) else b"\n".join(head.split(b"\n", HEAD_ROWS)[:HEAD_ROWS])


def recognise_text(text_of: Callable[[Manifest], str], plugins: Sequence[Plugin]) -> Recognition:
    """Hold a text, as each plugin would have it written, against every plugin's clauses."""
    return _recognised(lambda manifest: _Head(text_of(manifest)), _Head(""), plugins)


def begins_rows(source: Source, cells: Sequence[str], manifest: Manifest) -> bool:
    """Whether each of these cells begins some row of a source's first part, as a plugin's layout has rows."""
    try:
        decoded = decode(head_of(source), manifest.layout, cut=True)
    except OSError:
        return False
    found = _Head("" if decoded is None else decoded.text)
    mark = cell_mark(manifest.layout)
    return all(any(row[:1] == [cell] for row in found.rows_with((cell,), mark)) for cell in cells)


class _Head:
    """The first rows of a text."""

    def __init__(self, text: str) -> None:
        self._lines = text.split("\n", HEAD_ROWS)[:HEAD_ROWS]
        self._text = "\n".join(self._lines)

    def rows_with(self, words: Sequence[str], delimiter: str) -> list[list[str]]:
        """The cells of those rows that may hold one of the words."""
        there = [word for word in words if word in self._text]
        if not there:
            return []
        rows = (split_cells(line, delimiter) or [] for line in self._lines if any(word in line for word in there))
        return [[cell.strip() for cell in trimmed(row)] for row in rows]


def _recognised(head_as: Callable[[Manifest], _Head | None], any_head: _Head, plugins: Sequence[Plugin]) -> Recognition:
    clauses = [(plugin, _clauses(head_as(plugin.manifest), any_head, plugin.manifest)) for plugin in plugins]
    misread = [plugin for plugin, found in clauses if found.failed == (_not_text(plugin.manifest),)]
    matches = [(plugin, found) for plugin, found in clauses if not found.failed]
    misses = [found for _, found in clauses if found.failed]
    misses.sort(key=lambda miss: (-len(miss.held), len(miss.failed), miss.plugin_id))
    return Recognition(
        tuple(found for _, found in matches),
        tuple(misses),
        matches[0][0] if len(matches) == 1 else None,
        misread[0] if misread and not matches else None,
    )


def _clauses(own_head: _Head | None, any_head: _Head, manifest: Manifest) -> Clauses:
    head = any_head if own_head is None else own_head
    delimiter = cell_mark(manifest.layout)
    wanted = manifest.recognise
    held: list[str] = []
    failed: list[str] = []
    if wanted.header_names:
        rows = [_and_unmarked(row, manifest) for row in head.rows_with(wanted.header_names, delimiter)]
        if manifest.layout.transposed:
            rows = [_and_unmarked([row[0] for row in rows if row], manifest)]
        best = max(rows, key=lambda row: len(set(wanted.header_names) & set(row)), default=[])
        held.extend(f"header name '{name}'" for name in wanted.header_names if name in best)
        failed.extend(f"header name '{name}'" for name in wanted.header_names if name not in best)
    for marker in wanted.rows:
        found = trimmed(list(marker)) in head.rows_with(marker[:1], delimiter)
        (held if found else failed).append(f"row '{delimiter.join(marker)}'")
    for cell in wanted.first_cells:
        found = any(row[:1] == [cell] for row in head.rows_with((cell,), delimiter))
        (held if found else failed).append(f"row that begins with '{cell}'")
    lacks = [f"no {clause}" for clause in failed]
    if own_head is None:
        lacks.append(_not_text(manifest))
    return Clauses(manifest.id, tuple(held), tuple(lacks))


def _not_text(manifest: Manifest) -> str:
    return f"not text in {' or '.join(manifest.layout.encodings)}"


def _and_unmarked(row: list[str], manifest: Manifest) -> list[str]:
    """The cells of a header, and what they are where their units are taken off."""
    blocks = [block for block in manifest.block if isinstance(block, TableBlock) and block.header_unit_marks]
    return [*row, *(name for block in blocks for name in unmarked(row, block) if name not in row)]
