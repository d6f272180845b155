"""Finds plugins in folders. A broken one is named and skipped; nothing of a plugin is ever run."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from pathlib import Path

from interchange.errors import Place, PluginError, Problem
from interchange.model import manifest as manifests
from interchange.model.manifest import Manifest


@dataclass(frozen=True, slots=True)
class Plugin:
    """A plugin that can be used: its manifest and its folder."""

    manifest: Manifest
    folder: Path

    @property
    def id(self) -> str:
        """The manifest's id, which is the folder's name too."""
        return self.manifest.id

    @property
    def fingerprint(self) -> str:
        """Hash of the manifest's meaning."""
        return self.manifest.fingerprint


@dataclass(frozen=True, slots=True)
class Registry:
    """The plugins found, ordered by id, and what was wrong with the others."""

    plugins: tuple[Plugin, ...]
    problems: tuple[Problem, ...]


def load_plugin(folder: Path) -> Plugin:
    """The plugin in a folder. Raises PluginError where its plugin.toml is absent, cannot be read or has faults."""
    path = folder / "plugin.toml"
    name = f"{folder.name}/plugin.toml"
    try:
        text = path.read_bytes()
    except OSError as error:
        raise PluginError(
            Problem(
                "plugin-unreadable",
                Place(name),
                error.strerror or str(error),
                "a readable file plugin.toml",
                "Restore the file, or remove the folder.",
                blocks="file",
            )
        ) from None
    manifest = manifests.load(text, name)
    if manifest.id != folder.name:
        raise PluginError(
            Problem(
                "plugin-folder-name",
                Place(name, column="id"),
                f"'{manifest.id}'",
                f"'{folder.name}', the name of the plugin's folder",
                "Rename the folder or correct the id.",
                blocks="file",
            )
        )
    return Plugin(manifest, folder)


def load_plugins(folders: Iterable[Path]) -> Registry:
    """All plugins in the subfolders of these folders. Of two with one id the first counts, and the second is named."""
    plugins: dict[str, Plugin] = {}
    problems: list[Problem] = []
    for parent in folders:
        for folder in sorted(parent.iterdir()) if parent.is_dir() else ():
            if folder.name.startswith(".") or not (folder / "plugin.toml").exists():
                continue
            try:
                plugin = load_plugin(folder)
            except PluginError as error:
                problems += [
                    replace(one, cure=f"{one.cure} The plugin is left out until then.") for one in error.problems
                ]
                continue
            if plugin.id in plugins:
                problems.append(
                    Problem(
                        "plugin-twice",
                        Place(f"{folder.name}/plugin.toml", column="id"),
                        f"'{plugin.id}' in {folder} and in {plugins[plugin.id].folder}",
                        "one plugin of that name",
                        "Remove one of the two folders or give it another id; the one named last is used.",
                        blocks="file",
                    )
                )
                continue
            plugins[plugin.id] = plugin
    return Registry(tuple(plugins[name] for name in sorted(plugins)), tuple(problems))
