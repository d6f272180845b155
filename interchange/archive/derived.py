"""Results, checks, verdicts, best estimates: a cache of what was computed from one version, by rule set.

It is rebuilt, never amended.

A file lies at `derived/<kind>/<rule set>/<archive version>.<program version>.<registers>.<sha256>.<random>.parquet`,
`<registers>` being the fingerprint of the register of calibrations. Listing imports neither pyarrow nor numpy.
"""

from __future__ import annotations

import re
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from interchange import __version__
from interchange.archive import registers
from interchange.archive.faults import cannot_write
from interchange.files import fsync_folder

FOLDER = "derived"
GRACE_S = 600  # how long a file stays that a newer one has taken the place of: others may be reading it
Kind = Literal["results", "checks", "verdicts", "estimates", "faults"]
KINDS: tuple[Kind, ...] = ("results", "checks", "verdicts", "estimates", "faults")

_NAME = re.compile(r"(\d+)\.(.+)\.([0-9a-f]{8})\.[0-9a-f]{64}\.[0-9a-f]{8}\.parquet")
_RULE_SET = re.compile(r"[A-Za-z0-9][A-Za-z0-9_.@-]*")


@dataclass(frozen=True, slots=True)
class Derived:
    """One derived file, and what it was computed from and by."""

    kind: Kind
    rule_set: str
    archive_version: int
    program_version: str
    registers: str
    path: Path


def write(
    root: Path, kind: Kind, rule_set: str, archive_version: int, columns: Any, fingerprint: str | None = None
) -> Derived:
    """Write all rows of a kind by a rule set, in place of those that stood there for this or an earlier version.

    `columns` is an Arrow table, or arrays and lists by column name; NaN becomes null. `fingerprint` is that of the
    register of calibrations that they were computed with, by default the one that is there now. Columns rule_set,
    archive_version and program_version are added. Raises ArchiveError where the disk refuses.
    """
    if not _RULE_SET.fullmatch(rule_set):
        raise ValueError(f"rule set {rule_set!r} cannot name a folder")
    from interchange.archive import parquet

    folder = root / FOLDER / kind / rule_set
    taken = registers.fingerprint(root) if fingerprint is None else fingerprint
    table = _table({"rule_set": rule_set, "archive_version": archive_version, "program_version": __version__}, columns)
    try:
        written = parquet.write(folder, [table], table, prefix=f"{archive_version}.{__version__}.{taken}.")
        for name in (folder, folder.parent, folder.parent.parent):
            fsync_folder(name)
        new = Derived(kind, rule_set, archive_version, __version__, taken, written.path)
        _sweep(root, new)
    except OSError as error:
        raise cannot_write(root, error) from None
    return new


def _sweep(root: Path, new: Derived) -> None:
    """Remove what a new file stands in place of, once nobody can still be reading it."""
    long_ago = time.time() - GRACE_S
    for old in listing(root):
        same = (old.kind, old.rule_set) == (new.kind, new.rule_set) and old.archive_version <= new.archive_version
        if same and old.path != new.path:
            with suppress(FileNotFoundError):  # another process sweeps too
                if old.path.stat().st_mtime < long_ago:
                    old.path.unlink()


def listing(root: Path) -> list[Derived]:
    """Everything derived that is there, by kind, rule set and version; files of unknown names are left out."""
    found = []
    for kind in KINDS:
        for path in (root / FOLDER / kind).glob("*/*.parquet"):
            name = _NAME.fullmatch(path.name)
            if name is None:
                continue
            try:
                written = path.stat().st_mtime_ns
            except FileNotFoundError:  # another process has just put a newer file in its place
                continue
            found.append((kind, path.parent.name, int(name[1]), written, name[2], name[3], path))
    return [
        Derived(kind, rule_set, version, by, taken, path)
        for kind, rule_set, version, _, by, taken, path in sorted(found)
    ]


def current(root: Path, archive_version: int) -> list[Derived]:
    """What this release derived from exactly this version with the register of calibrations as it is now.

    The newest file for each kind and rule set.
    """
    taken = registers.fingerprint(root)
    newest: Mapping[tuple[str, str], Derived] = {
        (one.kind, one.rule_set): one
        for one in listing(root)
        if (one.archive_version, one.program_version, one.registers) == (archive_version, __version__, taken)
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
