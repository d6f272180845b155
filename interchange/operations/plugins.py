"""Plugins: which there are, which reads a file and how, and whether each reads its own samples right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from interchange.errors import Place, Problem, UsageError
from interchange.files import Source
from interchange.model.mapping import Mapping
from interchange.reading import check, door, recognise
from interchange.reading.containers import walk
from interchange.reading.registry import Plugin, Registry, load_plugin, load_plugins
from interchange.resources import shipped
from interchange.table import Row, Table


@dataclass(frozen=True, slots=True)
class PluginAnswer:
    """A table, what is wrong, one sentence, and whether all went well."""

    table: Table
    problems: tuple[Problem, ...]
    summary: str
    read: bool


def plugins_of(folders: Sequence[Path] = (), archive: Path | None = None) -> Registry:
    """The shipped plugins, those an archive has settled, and those of the folders given."""
    settled = [archive / "plugins"] if archive is not None else []
    return load_plugins([shipped("plugins"), *settled, *folders])


def list_plugins(folders: Sequence[Path] = ()) -> tuple[Table, tuple[Problem, ...]]:
    """A row for each plugin that can be used, and the problems of those that cannot."""
    registry = plugins_of(folders)
    rows: list[Row] = [
        (p.id, p.manifest.version, p.manifest.title, p.manifest.units, ", ".join(p.manifest.languages))
        for p in registry.plugins
    ]
    return Table(("plugin_id", "plugin_version", "what_it_reads", "units", "languages"), rows), registry.problems


def explain_file(file: Path, folders: Sequence[Path] = ()) -> PluginAnswer:
    """Which plugin reads a file, by which clauses, and what becomes of each of its columns and keys."""
    registry = plugins_of(folders)
    sources = list(walk([file]))
    if len(sources) != 1:
        raise UsageError(
            Problem("one-file", Place(str(file)), f"{len(sources)} files", "one file", "Name a single file to explain.")
        )
    source = sources[0]
    if isinstance(source, Problem):
        return PluginAnswer(Table(_EXPLAINED, []), (source,), f"{file.name} cannot be read.", False)
    recognition = recognise.recognise(recognise.head_of(source), registry.plugins)
    taken = door.read_source(source, registry.plugins)
    problems = (*registry.problems, *taken.mapped.problems)
    if recognition.plugin is None:
        return PluginAnswer(Table(_EXPLAINED, []), problems, f"No one plugin reads {file.name}.", False)
    clauses = ", ".join(recognition.matches[0].held)
    sessions = len(taken.mapped.sessions)
    summary = (
        f"{file.name} is read by {recognition.plugin.id} {recognition.plugin.manifest.version}, because of: "
        f"{clauses}.\nIt would be {taken.state}, with {sessions} test{'s' if sessions != 1 else ''}."
    )
    return PluginAnswer(
        Table(_EXPLAINED, _fates(source, recognition.plugin)), problems, summary, taken.state == "imported"
    )


_EXPLAINED = ("section", "name", "becomes", "field", "unit", "how")


def _fates(source: Source, plugin: Plugin) -> list[Row]:
    """A row for each column and key that stands in the file: mapped, ignored or kept."""
    extract = door.read(source, plugin)
    listed = {
        (number, field.name): field for number, block in enumerate(plugin.manifest.block) for field in block.fields
    }
    there = [(entry.section, entry.key, entry.block) for entry in extract.entries]
    there += [(table.section, name, table.block) for table in extract.tables for name in table.header]
    return [
        _fate(section or "", name, listed.get((block, name)) if block is not None else None)
        for section, name, block in dict.fromkeys(there)
    ]


def _fate(section: str, name: str, field: Mapping | None) -> Row:
    if field is None or (field.to is None and field.ignore is None):
        return (section, name, "kept", "", "", "stays reachable in the original, by row and column")
    if field.to is None:
        return (section, name, "ignored", "", "", field.ignore)
    unit = field.unit or (f"from {field.unit_from.replace('_', ' ')}" if field.unit_from else "")
    how = field.sign_reason or field.time_format or (", ".join(field.codes) if field.codes else "")
    return (section, name, "mapped", field.to, unit, how)


def check_plugins(names: Sequence[str] = (), folders: Sequence[Path] = ()) -> PluginAnswer:
    """Read the samples of the plugins named (by id, or by their folder), or of all."""
    registry = plugins_of(folders)
    known = {plugin.id: plugin for plugin in registry.plugins}
    chosen = [known[name] if name in known else load_plugin(Path(name)) for name in names] or list(known.values())
    everyone = tuple({plugin.id: plugin for plugin in (*registry.plugins, *chosen)}.values())
    rows: list[Row] = []
    problems = list(registry.problems)
    for plugin in chosen:
        results = check.check(plugin, everyone)
        for result in results:
            rows.append(
                (
                    plugin.id,
                    result.name,
                    "as expected" if not result.differences else "differs",
                    len(result.differences),
                )
            )
            problems += [
                Problem(
                    "sample-differs",
                    Place(f"{plugin.id}/samples/{result.name}", column=difference.path),
                    repr(difference.found),
                    repr(difference.expected),
                    "Mend the manifest, or the expected file.",
                    blocks="file",
                )
                for difference in result.differences
            ]
        if not results:
            problems.append(
                Problem(
                    "sample-missing",
                    Place(f"{plugin.id}/samples"),
                    "no sample",
                    "at least one sample and what is expected",
                    "Add samples/NAME.csv and samples/NAME.expected.json.",
                    blocks="file",
                )
            )
    good = not problems
    summary = f"{len(chosen)} plugins, {len(rows)} samples: {'all as expected' if good else 'see above'}."
    return PluginAnswer(Table(("plugin_id", "sample", "outcome", "differences"), rows), tuple(problems), summary, good)
