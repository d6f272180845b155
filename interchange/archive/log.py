"""The commit log: which Parquet files a version of the archive consists of. Imports neither pyarrow nor numpy.

One Delta table holds all parts, so one entry of its log makes sessions, traces and journal visible together.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal

from deltalake import DeltaTable, Schema
from deltalake.exceptions import CommitFailedError, TableNotFoundError
from deltalake.transaction import (
    AddAction,
    CommitProperties,
    PostCommitHookProperties,
    Transaction,
    create_table_with_add_actions,
)

from interchange.archive.faults import VERIFY, cannot_read, fault, first_line
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
        last, hiding, tests = (table.transaction_version(mark) for mark in (APPLICATION, HIDING, TESTS))
        return Version(table.version(), tests or 0, files, last or 0, hiding is not None, table)
    except TableNotFoundError as error:
        raise cannot_read(root / TABLE, error) from None
    except BaseException as error:  # a damaged log can end in a Rust panic, which is no Exception
        if isinstance(error, KeyboardInterrupt | SystemExit):
            raise
        if version is not None and not entry(root, version).exists():
            cure = "Give a version that exists; leave it out for the newest."
            raise fault("archive-version", root, f"version {version}", "a version of this archive", cure) from None
        raise fault("archive-log", root / TABLE, first_line(error), "a log that reads", VERIFY) from None


def append(version: Version, added: Sequence[Added], entry_number: int, *, hides: bool, tests: bool) -> None:
    """Add one log entry after `version`; `hides` where it takes away from what is current, `tests` where it changes it.

    Raises OvertakenError, or what the disk or the library says.
    """
    try:
        version.table.create_write_transaction(
            [_action(file) for file in added],
            "append",
            version.table.schema(),
            partition_by=["part"],
            commit_properties=_properties(entry_number, hides, version.number + 1 if tests else None),
            post_commithook_properties=_NO_HOOKS,
        )
    except CommitFailedError:
        raise OvertakenError from None


def find(root: Path, after: int, path: str) -> int | None:
    """The version later than `after` whose log entry added a file, None where there is none."""
    version = after + 1
    while (place := entry(root, version)).exists():
        if path in place.read_text():
            return version
        version += 1
    return None


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


def _action(file: Added) -> AddAction:
    # numRecords only: least and greatest values would copy names and ids into the log
    stats = json.dumps({"numRecords": file.rows})
    return AddAction(file.path, file.size_bytes, {"part": file.part}, 0, True, stats)


def _properties(entry_number: int, hides: bool, tests_number: int | None) -> CommitProperties:
    marks = [Transaction(APPLICATION, entry_number)]
    if hides:
        marks.append(Transaction(HIDING, entry_number))
    if tests_number is not None:
        marks.append(Transaction(TESTS, tests_number))
    return CommitProperties(app_transactions=marks)
