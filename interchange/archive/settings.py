"""What `archive.toml` says: the format of the archive and what its programme has agreed on."""

from __future__ import annotations

import json
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any, Literal

from interchange.archive.faults import fault
from interchange.errors import ArchiveError
from interchange.files import write_atomically
from interchange.quantities import QUANTITIES

FORMAT = 1
FILE_NAME = "archive.toml"
Units = Literal["si", "imperial"]

_RESTORE = f"Put {FILE_NAME} back from a copy, or correct the line."


@dataclass(frozen=True, slots=True)
class Settings:
    """What a programme has agreed on for its archive.

    `time_zone` is an IANA name, None where houses lie in several zones; `units` are those that tables for people are
    shown in; `rule_sets` are those that results are computed by; `definitions` says in words what the programme means
    by a quantity, by the quantity's name.
    """

    programme: str
    time_zone: str | None = None
    units: Units = "si"
    rule_sets: tuple[str, ...] = ()
    definitions: Mapping[str, str] = field(default_factory=lambda: MappingProxyType({}))


def write(root: Path, settings: Settings) -> None:
    """Write `archive.toml`, whole or not at all. Raises ValueError for a definition of an unknown name."""
    unknown = set(settings.definitions) - set(QUANTITIES)
    if unknown:
        raise ValueError(f"definitions of unknown names: {sorted(unknown)}")
    write_atomically(root / FILE_NAME, _text(settings).encode())


def read(root: Path) -> Settings:
    """Read `archive.toml`. Raises ArchiveError where it is absent, damaged, or of a newer format."""
    path = root / FILE_NAME
    try:
        document = tomllib.loads(path.read_bytes().decode())
    except (FileNotFoundError, NotADirectoryError):
        cure = "Give the folder of an archive, or make one there first."
        raise fault("archive-missing", root, f"no {FILE_NAME}", "the folder of an archive", cure) from None
    except OSError as error:
        cure = "Ask the owner of the archive for the right to read it."
        raise fault("archive-unreadable", path, str(error), "a file that can be read", cure) from None
    except UnicodeDecodeError:
        raise fault("archive-settings", path, "bytes that are not text in UTF-8", "a TOML file", _RESTORE) from None
    except tomllib.TOMLDecodeError as error:
        raise fault("archive-settings", path, str(error), "a TOML file in UTF-8", _RESTORE) from None
    found = document.get("format")
    if isinstance(found, int) and found > FORMAT:
        cure = "Use a newer release of this toolkit; this one leaves the archive as it is."
        raise fault("archive-format", path, f"archive format {found}", f"format {FORMAT}", cure)
    return _settings(document, path)


def _settings(document: Mapping[str, object], path: Path) -> Settings:
    def bad(name: str) -> ArchiveError:
        found = f"{name} = {document[name]!r}" if name in document else f"no {name}"
        return fault("archive-settings", path, found, f"the settings of an archive of format {FORMAT}", _RESTORE)

    if type(document.get("format")) is not int or document["format"] != FORMAT:
        raise bad("format")
    for name in document:
        if name not in ("format", "programme", "time_zone", "units", "rule_sets", "definitions"):
            raise bad(name)
    programme, zone = document.get("programme"), document.get("time_zone")
    units: Any = document.get("units")
    rule_sets, definitions = document.get("rule_sets", []), document.get("definitions", {})
    if not isinstance(programme, str):
        raise bad("programme")
    if not (zone is None or isinstance(zone, str)):
        raise bad("time_zone")
    if units not in ("si", "imperial"):
        raise bad("units")
    if not (isinstance(rule_sets, list) and all(isinstance(name, str) for name in rule_sets)):
        raise bad("rule_sets")
    if not (isinstance(definitions, dict) and all(isinstance(text, str) for text in definitions.values())):
        raise bad("definitions")
    return Settings(programme, zone, units, tuple(rule_sets), MappingProxyType(definitions))


def _text(settings: Settings) -> str:
    lines = [f"format = {FORMAT}", f"programme = {_quoted(settings.programme)}"]
    if settings.time_zone is not None:
        lines.append(f"time_zone = {_quoted(settings.time_zone)}")
    lines.append(f"units = {_quoted(settings.units)}")
    lines.append(f"rule_sets = [{', '.join(map(_quoted, settings.rule_sets))}]")
    lines += ["", "[definitions]", *(f"{name} = {_quoted(text)}" for name, text in settings.definitions.items())]
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    # JSON's escapes are TOML's, except that TOML wants DEL escaped too
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")
