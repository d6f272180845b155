"""The one road from a source to what it turned into: import, dry run and check all go this way."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import replace

from interchange.errors import Problem
from interchange.files import Source
from interchange.model.manifest import Manifest
from interchange.model.question import Answer, Import, Mapped
from interchange.reading import companions, guard, workbook_sheets, workbooks
from interchange.reading.context import NO_CONTEXT, Context
from interchange.reading.decode import Decoded, decode, decode_stream, refused
from interchange.reading.extract import Extract
from interchange.reading.layout import lay_out
from interchange.reading.map import Book, map_
from interchange.reading.recognise import HEAD_ROWS, Recognition, head_of, recognise, recognise_text
from interchange.reading.registry import Plugin

LARGE_BYTES = 64 << 20  # from here on a source is not held in memory
_BLOCKS = ("session", "file")


def read(
    source: Source, plugin: Plugin, limits: guard.Limits = guard.DEFAULT, files: Mapping[str, Source] | None = None
) -> Extract:
    """Cut a source into entries and tables as a plugin says; `files` are its companions by their role.

    What is wrong stands in the extract's problems.
    """
    problem = guard.check(source, limits)
    if problem is not None:
        return Extract(source, plugin.manifest.layout.encodings[0], 0, problems=(problem,))
    return _read(source, plugin.manifest, limits, files or {})


def read_source(
    source: Source,
    plugins: Sequence[Plugin],
    context: Context = NO_CONTEXT,
    answers: Sequence[Answer] = (),
    limits: guard.Limits = guard.DEFAULT,
    files: Mapping[str, Source] | None = None,
) -> Import:
    """Turn one source into sessions, with all that was wrong or remains to be asked. Never raises for a bad source.

    `files` are further files of the same test by their role, as `companions` finds them in a delivery.
    """
    try:
        head = head_of(source)
    except OSError as error:
        return _refused(source, guard.unreadable(source, error))
    kind = workbooks.is_workbook(head)
    if kind is not None:
        return _read_workbook(source, kind, plugins, context, answers, limits)
    problem = guard.check(source, limits)
    if problem is not None:
        return _refused(source, problem)
    recognition = recognise(head, plugins)
    plugin = recognition.plugin or recognition.misread
    if plugin is None:
        return _refused(source, companions.alone(source, plugins) or recognition.problem(source.name))
    mapped = map_(_read(source, plugin.manifest, limits, files or {}), plugin.manifest, answers, context)
    return _imported(source, plugin, mapped)


def _refused(source: Source, *problems: Problem) -> Import:
    return Import(source, "refused", mapped=Mapped(problems=problems))


def _imported(source: Source, plugin: Plugin, mapped: Mapped) -> Import:
    blocked = any(problem.blocks in _BLOCKS for problem in mapped.problems)
    return Import(
        source,
        "refused" if blocked else "held" if mapped.questions else "imported",
        plugin.id,
        plugin.manifest.version,
        plugin.fingerprint,
        mapped,
    )


def _read(source: Source, manifest: Manifest, limits: guard.Limits, files: Mapping[str, Source]) -> Extract:
    """The extract of a source that has been checked, with those of its companions."""
    one = _extract(source, manifest, None)
    found: dict[str, Extract] = {}
    for role in companions.roles(manifest).keys() & files.keys():
        problem = guard.check(files[role], limits)
        if problem is None:
            found[role] = _extract(files[role], manifest, role)
        else:
            found[role] = Extract(files[role], manifest.layout.encodings[0], 0, problems=(problem,))
    return replace(one, companions=found, problems=(*one.problems, *companions.missing(source, manifest, found)))


def _extract(source: Source, manifest: Manifest, role: str | None) -> Extract:
    decoded = _decoded(source, manifest)
    if decoded is None:
        encodings = manifest.layout.encodings
        return Extract(source, encodings[0], 0, problems=(refused(source.name, guard.load(source), encodings),))
    return lay_out(source, decoded.data, decoded.encoding, manifest, role)


def _decoded(source: Source, manifest: Manifest) -> Decoded | None:
    if source.size_bytes < LARGE_BYTES:
        return decode(guard.load(source), manifest.layout)
    return decode_stream(lambda: guard.pieces(source), manifest.layout)


# workbooks: each visible sheet is a file of its own


def _read_workbook(
    source: Source,
    kind: str,
    plugins: Sequence[Plugin],
    context: Context,
    answers: Sequence[Answer],
    limits: guard.Limits,
) -> Import:
    if source.size_bytes > limits.file_bytes:
        return _refused(source, guard.too_large(source, limits))
    book = workbooks.open_workbook(guard.load(source), source.name)
    if isinstance(book, Problem):
        return _refused(source, book)
    found: list[tuple[Plugin, Mapped]] = []
    notes: list[Problem] = []
    for sheet in book.sheets:
        name = workbook_sheets.sheet_file(source.name, sheet.name)
        if sheet.hidden or not sheet.rows:
            notes += workbook_sheets.problems(sheet, source.name)
            continue
        recognition = _recognised(sheet, plugins)
        plugin = recognition.plugin
        if plugin is None:
            notes.append(recognition.problem(name))
            continue
        text = _text(sheet, plugin.manifest)
        extract = lay_out(replace(source, name=name), text.encode(), kind, plugin.manifest)
        extract = replace(extract, problems=(*workbook_sheets.problems(sheet, source.name), *extract.problems))
        mapped = map_(extract, plugin.manifest, answers, context, book=Book(source.name, sheet.name))
        found.append((plugin, mapped))
    if not found:
        return _refused(source, *(notes or [workbooks.nothing(source.name)]))
    first = found[0][0]
    mixed = [plugin for plugin, _ in found if plugin is not first]
    if mixed:
        return _refused(source, workbooks.several_layouts(source.name, first.id, mixed[0].id))
    notes = [replace(note, blocks="note") if note.blocks == "file" else note for note in notes]
    return _imported(source, first, _together([mapped for _, mapped in found], notes))


def _together(parts: Sequence[Mapped], notes: Sequence[Problem]) -> Mapped:
    problems = (*(problem for part in parts for problem in part.problems), *notes)
    questions = tuple(question for part in parts for question in part.questions)
    if questions or any(problem.blocks in _BLOCKS for problem in problems):
        return Mapped(questions=questions, problems=problems)
    return Mapped(
        tuple(session for part in parts for session in part.sessions),
        tuple(trace for part in parts for trace in part.traces),
        (),
        problems,
    )


def _recognised(sheet: workbook_sheets.Sheet, plugins: Sequence[Plugin]) -> Recognition:
    head = replace(sheet, rows=sheet.rows[:HEAD_ROWS])
    texts: dict[tuple[str, str, str | None], str] = {}

    def text_of(manifest: Manifest) -> str:
        layout = manifest.layout
        key = (layout.delimiter, layout.decimal_mark, layout.key_prefix)
        if key not in texts:
            texts[key] = _text(head, manifest)
        return texts[key]

    return recognise_text(text_of, [plugin for plugin in plugins if plugin.manifest.layout.delimiter != "blanks"])


def _text(sheet: workbook_sheets.Sheet, manifest: Manifest) -> str:
    layout = manifest.layout
    return workbook_sheets.as_text(sheet, layout.delimiter, layout.decimal_mark, layout.key_prefix)


def read_all(sources: Sequence[Source], plugins: Sequence[Plugin], context: Context = NO_CONTEXT) -> Iterator[Import]:
    """Read the sources of a delivery in order; files that belong together give one test."""
    for main, files in companions.together(sources, plugins):
        taken = read_source(main, plugins, context, files=files)
        yield taken
        for source in files.values():
            yield companions.read_with(source, taken)
