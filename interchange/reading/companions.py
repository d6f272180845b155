"""Files that belong together: a test's own file, and others beside it that hold its baselines or its weather."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from pathlib import PurePosixPath

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.model.manifest import Companion, Manifest
from interchange.model.question import Import, Mapped
from interchange.reading.extract import Extract
from interchange.reading.recognise import begins_rows
from interchange.reading.registry import Plugin


def roles(manifest: Manifest) -> dict[str, Companion]:
    """The companions that a plugin's files may have, by their role."""
    return {companion.name: companion for companion in manifest.companion}


def missing(source: Source, manifest: Manifest, found: Mapping[str, Extract]) -> Iterator[Problem]:
    """What a test's file needs beside it and has not."""
    for role, companion in roles(manifest).items():
        if companion.required and role not in found:
            name = _beside(source.name, companion)
            cure = "Put the file beside this one, in the same folder or zip archive, and import both again."
            yield Problem(
                "companion-missing", Place(source.name), "no such file beside it", f"'{name}'", cure, blocks="file"
            )


def together(sources: Sequence[Source], plugins: Sequence[Plugin]) -> Iterator[tuple[Source, dict[str, Source]]]:
    """Each source with its companions, in the order of the sources; a companion comes with its test's file."""
    by_name = {source.name: source for source in sources}
    taken: dict[str, tuple[str, str]] = {}
    for source in sources:
        for plugin, companion, main in _could_be(source, plugins):
            if main in by_name and begins_rows(source, companion.first_cells, plugin.manifest):
                taken[source.name] = (main, companion.name)
    for source in sources:
        if source.name not in taken:
            yield source, {role: by_name[name] for name, (main, role) in taken.items() if main == source.name}


def alone(source: Source, plugins: Sequence[Plugin]) -> Problem | None:
    """A companion whose test's file was not given with it; None for any other file."""
    for plugin, companion, main in _could_be(source, plugins):
        if begins_rows(source, companion.first_cells, plugin.manifest):
            found = f"a {companion.name} file of the layout {plugin.id} without the file of its test"
            expected = f"'{PurePosixPath(main).name}' beside it"
            cure = "Put that file beside this one, in the same folder or zip archive, and import both again."
            return Problem("companion-alone", Place(source.name), found, expected, cure, blocks="file")
    return None


def read_with(source: Source, main: Import) -> Import:
    """What became of a companion: what became of its test's file, which holds the test."""
    plugin = (main.plugin_id, main.plugin_version, main.plugin_fingerprint)
    if main.state == "imported":
        return Import(source, "imported", *plugin)
    found = f"a file of the test in '{main.source.name}', which was {main.state}"
    expected, cure = "a test that can be taken in", "Mend what is wrong with its files, and import them all again."
    problem = Problem("companion-of-refused", Place(source.name), found, expected, cure, blocks="file")
    return Import(source, "refused", *plugin, Mapped(problems=(problem,)))


def _could_be(source: Source, plugins: Sequence[Plugin]) -> Iterator[tuple[Plugin, Companion, str]]:
    """The companions that a source could be by its name, each with the name of its test's file."""
    for plugin in plugins:
        for companion in plugin.manifest.companion:
            main = _main(source.name, companion)
            if main is not None:
                yield plugin, companion, main


def _beside(name: str, companion: Companion) -> str:
    path = PurePosixPath(name)
    return f"{path.stem}{companion.stem_ends}{path.suffix}"


def _main(name: str, companion: Companion) -> str | None:
    """Name of the file that a companion by its name would belong to."""
    path = PurePosixPath(name)
    if not path.stem.endswith(companion.stem_ends) or path.stem == companion.stem_ends:
        return None
    return str(path.with_name(f"{path.stem.removesuffix(companion.stem_ends)}{path.suffix}"))
