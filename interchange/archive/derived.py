"""Results, checks and verdicts: a cache of what was computed from one version, by rule set; rebuilt, never amended.

A file lies at `derived/<kind>/<rule set>/<archive version>.<program version>.<sha256>.<random>.parquet`. Listing
imports neither pyarrow nor numpy.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from interchange import __version__
from interchange.archive.faults import cannot_write
from interchange.files import fsync_folder

FOLDER = "derived"
Kind = Literal["results", "checks", "verdicts"]
KINDS: tuple[Kind, ...] = ("results", "checks", "verdicts")

_NAME = re.compile(r"(\d+)\.(.+)\.[0-9a-f]{64}\.[0-9a-f]{8}\.parquet")
_RULE_SET = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.@-]*")


@dataclass(frozen=True, slots=True)
class Derived:
    """One derived file, and what it was computed from and by."""

    kind: Kind
    rule_set: str
    archive_version: int
    program_version: str
    path: Path


def write(root: Path, kind: Kind, rule_set: str, archive_version: int, columns: Any) -> Derived:
    """Write all rows of a kind by a rule set, in place of those that stood there for this or an earlier version.

    `columns` is an Arrow table, or arrays and lists by column name; NaN becomes null. Columns rule_set,
    archive_version and program_version are added. Raises ArchiveError where the disk refuses.
    """
    if not _RULE_SET.fullmatch(rule_set):
        raise ValueError(f"rule set {rule_set!r} cannot name a folder")
    from interchange.archive import parquet

    folder = root / FOLDER / kind / rule_set
    table = _table({"rule_set": rule_set, "archive_version": archive_version, "program_version": __version__}, columns)
    try:
        written = parquet.write(folder, [table], table, prefix=f"{archive_version}.{__version__}.")
        for name in (folder, folder.parent, folder.parent.parent):
            fsync_folder(name)
        new = Derived(kind, rule_set, archive_version, __version__, written.path)
        for old in listing(root):
            same = (old.kind, old.rule_set) == (kind, rule_set) and old.archive_version <= archive_version
            if same and old.path != new.path:
                old.path.unlink(missing_ok=True)
    except OSError as error:
        raise cannot_write(root, error) from None
    return new


def listing(root: Path) -> list[Derived]:
    """Everything derived that is there, by kind, rule set and version; files of unknown names are left out."""
    found = []
    for kind in KINDS:
        for path in sorted((root / FOLDER / kind).glob("*/*.parquet")):
            if name := _NAME.fullmatch(path.name):
                found.append(Derived(kind, path.parent.name, int(name[1]), name[2], path))
    return sorted(found, key=lambda one: (one.kind, one.rule_set, one.archive_version, one.path.stat().st_mtime_ns))


def current(root: Path, archive_version: int) -> list[Derived]:
    """What was derived from exactly this version, the newest file for each kind and rule set; the rest is stale."""
    newest: Mapping[tuple[str, str], Derived] = {
        (one.kind, one.rule_set): one for one in listing(root) if one.archive_version == archive_version
    }
    return list(newest.values())


def _table(key: Mapping[str, Any], columns: Any) -> Any:
    import pyarrow as pa
    import pyarrow.compute as pc

    table = pa.table(columns)
    for index, field in enumerate(table.schema):
        if pa.types.is_floating(field.type):
            values = table.column(index)
            table = table.set_column(index, field.name, pc.if_else(pc.is_nan(values), None, values))
    for name, value in key.items():
        if name in table.column_names:
            table = table.drop_columns([name])
        table = table.append_column(name, pa.repeat(pa.scalar(value), table.num_rows))
    return table
