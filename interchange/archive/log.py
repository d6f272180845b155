"""The commit log: which Parquet files a version of the archive consists of. Imports neither pyarrow nor numpy.

One Delta table holds all parts, so one entry of its log makes sessions, traces and journal visible together.
"""

from __future__ import annotations

import json
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from deltalake import DeltaTable, Field, Schema
from deltalake.exceptions import CommitFailedError, TableNotFoundError
from deltalake.transaction import (
    AddAction,
    CommitProperties,
    PostCommitHookProperties,
    RemoveAction,
    Transaction,
    create_table_with_add_actions,
)

from interchange.archive.faults import VERIFY, cannot_read, fault, first_line
from interchange.errors import ArchiveError
from interchange.files import write_atomically

Part = Literal["source", "session", "trace", "decision"]
PARTS: tuple[Part, ...] = ("source", "session", "trace", "decision")
TABLE = "table"
APPLICATION = "interchange/import"
# Carried by each commit that takes a stored revision out of the current ones; as long as there is none, all rows are
# current and nobody needs to read the journal to find out.
HIDING = "interchange/hidden"
# Number of the version that last changed which tests there are or what they say: results of it hold until the next.
TESTS = "interchange/tests"
# Cleaning up would take older versions away, checkpoints would be files that nobody makes durable.
_CONFIGURATION = {"delta.enableExpiredLogCleanup": "false"}
_NO_HOOKS = PostCommitHookProperties(create_checkpoint=False, cleanup_expired_logs=False)


class OvertakenError(Exception):
    """Another writer committed from the same version first."""


@dataclass(frozen=True, slots=True)
class Added:
    """A Parquet file ready to be committed: its path within the table, part, size and rows."""

    path: str
    part: Part
    size_bytes: int
    rows: int


@dataclass(frozen=True, slots=True)
class Superseded:
    """The version from which on a file is no part of the archive, and when that was, in seconds since 1970."""

    from_version: int
    at_s: float


@dataclass(frozen=True, slots=True)
class Version:
    """One version of the table: its files by part, the number of its last entry, whether it holds hidden rows.

    `tests_number` is that of the version that last changed the tests.
    """

    number: int
    tests_number: int
    files: Mapping[Part, tuple[Path, ...]]
    entry_number: int
    hides: bool
    table: DeltaTable


def entry(root: Path, version: int) -> Path:
    """Path of the log entry that made a version."""
    return root / TABLE / "_delta_log" / f"{version:020d}.json"


def usable(root: Path) -> Path:
    """The absolute path of an archive, once it is sure that every library used here can follow it."""
    absolute = root.absolute()
    odd = sorted({letter for letter in str(absolute) if letter in "%*?["})
    if odd:
        found = f"a path with {' '.join(odd)}"
        cure = "Rename the folder, or keep the archive elsewhere."
        raise fault("archive-path", absolute, found, "a path without %, *, ? and [", cure)
    return absolute


def create(root: Path, schema: Any, added: Sequence[Added]) -> None:
    """Write version 0. `schema` is an Arrow schema that starts with the partition column `part`."""
    create_table_with_add_actions(
        _uri(root),
        Schema.from_arrow(schema),
        [_action(file) for file in added],
        "error",
        ["part"],
        configuration=_CONFIGURATION,
        commit_properties=_properties(0, False, None),
        post_commithook_properties=_NO_HOOKS,
    )
    _forget_where(entry(root, 0))


def read(root: Path, version: int | None = None) -> Version:
    """The newest version, or the one asked for. Raises ArchiveError where the log cannot be read."""
    try:
        table = DeltaTable(_uri(root), version=version)
        files = _files(root, table.file_uris())
        if version is not None:
            _still_there(root, table.version(), files)
        last, hiding, tests = (table.transaction_version(mark) for mark in (APPLICATION, HIDING, TESTS))
        return Version(table.version(), tests or 0, files, last or 0, hiding is not None, table)
    except ArchiveError:
        raise
    except TableNotFoundError as error:
        raise cannot_read(root / TABLE, error) from None
    except BaseException as error:  # a damaged log can end in a Rust panic, which is no Exception
        if isinstance(error, KeyboardInterrupt | SystemExit):
            raise
        if version is not None and not entry(root, version).exists():
            cure = "Give a version that exists; leave it out for the newest."
            raise fault("archive-version", root, f"version {version}", "a version of this archive", cure) from None
        raise fault("archive-log", root / TABLE, first_line(error), "a log that reads", VERIFY) from None


def append(
    version: Version,
    added: Sequence[Added],
    entry_number: int,
    *,
    hides: bool,
    tests: bool,
    removed: Sequence[Added] = (),
) -> None:
    """Add one log entry after `version`; `hides` where it takes away from what is current, `tests` where it changes it.

    `removed` are files that the added ones stand in place of. Raises OvertakenError, or what the disk or the library
    says.
    """
    changes = tests or not removed
    now = int(time.time() * 1000)
    taken = [RemoveAction(file.path, changes, now, file.size_bytes, {"part": file.part}) for file in removed]
    try:
        version.table.create_write_transaction(
            [*(_action(file, changes) for file in added), *taken],
            "append",
            version.table.schema(),
            partition_by=["part"],
            commit_properties=_properties(entry_number, hides, version.number + 1 if tests else None),
            post_commithook_properties=_NO_HOOKS,
        )
    except CommitFailedError:
        raise OvertakenError from None


def grow(version: Version, schema: Any) -> bool:
    """Give the table the columns of an Arrow schema that it is older than, nested ones too; whether it lacked any.

    Raises OvertakenError, or what the disk or the library says.
    """
    there, wanted = (
        {field["name"]: field for field in json.loads(one.to_json())["fields"]}
        for one in (version.table.schema(), Schema.from_arrow(schema))
    )
    lacking = [field for name, field in wanted.items() if name not in there or not _covers(there[name], field)]
    if not lacking:
        return False
    try:
        version.table.alter.add_columns(
            [Field.from_json(json.dumps(field)) for field in lacking], post_commithook_properties=_NO_HOOKS
        )
    except CommitFailedError:
        raise OvertakenError from None
    return True


def _covers(there: Any, wanted: Any) -> bool:
    """Whether a type of the table, as Delta writes types, holds all members of another one."""
    if not (isinstance(there, dict) and isinstance(wanted, dict)):
        return True
    if "fields" in wanted:
        members = {field["name"]: field for field in there.get("fields", ())}
        return all(field["name"] in members and _covers(members[field["name"]], field) for field in wanted["fields"])
    return all(_covers(there.get(inner), wanted[inner]) for inner in ("type", "elementType") if inner in wanted)


def superseded(root: Path) -> dict[Path, Superseded]:
    """The files that rewriting has taken out of the archive; they may be there still."""
    found: dict[Path, Superseded] = {}
    number = 0
    while (place := entry(root, number)).exists():
        for line in place.read_text().splitlines():
            if '"remove"' in line and (remove := json.loads(line).get("remove")):
                found[root / TABLE / remove["path"]] = Superseded(number, remove["deletionTimestamp"] / 1000)
        number += 1
    return found


def find(root: Path, after: int, path: str) -> int | None:
    """The version later than `after` whose log entry added a file, None where there is none."""
    version = after + 1
    while (place := entry(root, version)).exists():
        if path in place.read_text():
            return version
        version += 1
    return None


def _still_there(root: Path, number: int, files: Mapping[Part, Sequence[Path]]) -> None:
    """Refuse a version that stood on files which are swept away since."""
    absent = {path for paths in files.values() for path in paths if not path.exists()}
    if absent and absent <= (out := superseded(root)).keys():
        first = max(one.from_version for path, one in out.items() if not path.exists())
        found = f"version {number}, which compacting the archive has taken away"
        cure = "Tests, their earlier revisions and the journal are all in the newest version."
        raise fault("archive-version-gone", root, found, f"version {first} or later", cure)


def _files(root: Path, uris: Sequence[str]) -> dict[Part, tuple[Path, ...]]:
    # file names are ours (hex digits), so only folders above them could be percent-encoded in a URI
    tails = sorted(tuple(uri.rsplit("/", 2)[1:]) for uri in uris)
    return {
        part: tuple(root / TABLE / folder / name for folder, name in tails if folder == f"part={part}")
        for part in PARTS
    }


def _forget_where(first: Path) -> None:
    """Take the folder of the writer's own disk, which may carry a person's name, out of the first entry."""
    info, *actions = first.read_text().splitlines()
    document = json.loads(info)
    document["commitInfo"]["operationParameters"].pop("location", None)
    write_atomically(first, "\n".join([json.dumps(document, separators=(",", ":")), *actions]).encode())


def _uri(root: Path) -> str:
    return (root / TABLE).as_uri()


def _action(file: Added, changes: bool = True) -> AddAction:
    # numRecords only: least and greatest values would copy names and ids into the log
    stats = json.dumps({"numRecords": file.rows})
    return AddAction(file.path, file.size_bytes, {"part": file.part}, 0, changes, stats)


def _properties(entry_number: int, hides: bool, tests_number: int | None) -> CommitProperties:
    marks = [Transaction(APPLICATION, entry_number)]
    if hides:
        marks.append(Transaction(HIDING, entry_number))
    if tests_number is not None:
        marks.append(Transaction(TESTS, tests_number))
    return CommitProperties(app_transactions=marks)
