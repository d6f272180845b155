"""The one road from a source to what it turned into: import, dry run and check all go this way."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.errors import Problem
from interchange.files import Source
from interchange.model.question import Answer, Import, Mapped
from interchange.reading import guard
from interchange.reading.context import NO_CONTEXT, Context
from interchange.reading.decode import decode, refused
from interchange.reading.extract import Extract
from interchange.reading.layout import lay_out
from interchange.reading.map import map_
from interchange.reading.recognise import HEAD_BYTES, recognise
from interchange.reading.registry import Plugin


def read(source: Source, plugin: Plugin, limits: guard.Limits = guard.DEFAULT) -> Extract:
    """Cut a source into entries and tables as a plugin says. What is wrong stands in the extract's problems."""
    data = guard.load(source, limits)
    if isinstance(data, Problem):
        return Extract(source, plugin.manifest.layout.encodings[0], 0, problems=(data,))
    return _extract(source, data, plugin)


def read_source(
    source: Source,
    plugins: Sequence[Plugin],
    context: Context = NO_CONTEXT,
    answers: Sequence[Answer] = (),
    limits: guard.Limits = guard.DEFAULT,
) -> Import:
    """Turn one source into sessions, with all that was wrong or remains to be asked. Never raises for a bad source."""
    data = guard.load(source, limits)
    if isinstance(data, Problem):
        return Import(source, "refused", mapped=Mapped(problems=(data,)))
    recognition = recognise(data[:HEAD_BYTES], plugins)
    plugin = recognition.plugin or recognition.misread
    if plugin is None:
        return Import(source, "refused", mapped=Mapped(problems=(recognition.problem(source.name),)))
    mapped = map_(_extract(source, data, plugin), plugin.manifest, answers, context)
    blocked = any(problem.blocks in ("session", "file") for problem in mapped.problems)
    return Import(
        source,
        "refused" if blocked else "held" if mapped.questions else "imported",
        plugin.id,
        plugin.manifest.version,
        plugin.fingerprint,
        mapped,
    )


def _extract(source: Source, data: bytes, plugin: Plugin) -> Extract:
    encodings = plugin.manifest.layout.encodings
    decoded = decode(data, encodings)
    if decoded is not None:
        return lay_out(source, decoded.text, decoded.encoding, plugin.manifest)
    return Extract(source, encodings[0], 0, problems=(refused(source.name, data, encodings),))
