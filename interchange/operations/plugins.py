"""Plugins: which there are, which reads a file and how, and whether each reads its own samples right."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from interchange.errors import Place, Problem, UsageError
from interchange.files import Source
from interchange.model.mapping import Mapping
from interchange.reading import check, companions, door, recognise
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
    main, files = _with_companions(file, source, registry.plugins)
    taken = door.read_source(main, registry.plugins, files=files)
    problems = (*registry.problems, *taken.mapped.problems)
    plugin = next((one for one in registry.plugins if one.id == taken.plugin_id), None)
    if plugin is None:
        return PluginAnswer(Table(_EXPLAINED, []), problems, f"No one plugin reads {file.name}.", False)
    recognition = recognise.recognise(recognise.head_of(main), registry.plugins)
    clauses = f", because of: {', '.join(recognition.matches[0].held)}" if recognition.matches else ""
    beside = f" with {main.name}" if main is not source else ""
    others = f", beside it {', '.join(one.name for one in files.values())}" if files else ""
    sessions = len(taken.mapped.sessions)
    summary = (
        f"{file.name} is read{beside} by {plugin.id} {plugin.manifest.version}{clauses}{others}.\n"
        f"It would be {taken.state}, with {sessions} test{'s' if sessions != 1 else ''}."
    )
    rows = _fates(main, plugin, files) if recognition.plugin is not None else []
    return PluginAnswer(Table(_EXPLAINED, rows), problems, summary, taken.state == "imported")


def _with_companions(file: Path, source: Source, plugins: Sequence[Plugin]) -> tuple[Source, dict[str, Source]]:
    """The file of the test that a file belongs to, itself as a rule, and the files beside it."""
    ends = [companion.stem_ends for plugin in plugins for companion in plugin.manifest.companion]
    stems = {file.stem.removesuffix(end) for end in ends}
    names = {f"{stem}{end}{file.suffix}" for stem in stems for end in ("", *ends)}
    beside = [file.with_name(name) for name in sorted(names) if name != file.name and file.with_name(name).is_file()]
    others = [one for one in walk(beside) if isinstance(one, Source)]
    for main, files in companions.together([source, *others], plugins):
        if main is source or source in files.values():
            return main, files
    return source, {}


_EXPLAINED = ("section", "name", "becomes", "field", "unit", "how")


def _fates(source: Source, plugin: Plugin, files: dict[str, Source]) -> list[Row]:
    """A row for each column and key that stands in the file, for each field it fills: mapped, ignored or kept."""
    extract = door.read(source, plugin, files=files)
    listed: dict[tuple[int, str], list[Mapping]] = {}
    for number, block in enumerate(plugin.manifest.block):
        for field in block.fields:
            listed.setdefault((number, field.name), []).append(field)
    found: list[Row] = []
    for one in (extract, *extract.companions.values()):
        there = [(entry.section, entry.key, entry.block) for entry in one.entries]
        there += [(table.section, name, table.block) for table in one.tables for name in table.header]
        for section, name, at in dict.fromkeys(there):
            for mapping in listed.get((at, name), [None]) if at is not None else [None]:
                found.append(_fate(section or "", name, mapping))
    return found


def _fate(section: str, name: str, field: Mapping | None) -> Row:
    if field is None or (field.to is None and field.ignore is None):
        return (section, name, "kept", "", "", "stays reachable in the original, by row and column")
    if field.to is None:
        return (section, name, "ignored", "", "", field.ignore)
    unit = field.unit or (f"from {field.unit_from.replace('_', ' ')}" if field.unit_from else "")
    part = f"part {field.part} of the cell, parts end at '{field.part_mark}'" if field.part else ""
    how = part or field.sign_reason or field.time_format or (", ".join(field.codes) if field.codes else "")
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
