"""What an archive holds at a moment, as hashes over canonical rows: to prove later that it still does, or what changed.

A row's hash leaves out what the row does not have, so a column that a later release adds changes none.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from dataclasses import asdict, dataclass
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

import pyarrow as pa

from interchange import __version__
from interchange.archive import log, originals, registers
from interchange.archive.faults import VERIFY, cannot_read, fault
from interchange.archive.snapshot import Snapshot
from interchange.errors import Place, Problem, SourceError

FORMAT = 1


@dataclass(frozen=True, slots=True)
class Stamp:
    """Hashes by id: of current sessions (with their revision), journal, decisions, registers and originals."""

    archive_version: int
    stamped_at_utc: str
    program_version: str
    sessions: Mapping[str, tuple[str, str]]
    journal: Mapping[str, str]
    decisions: Mapping[str, str]
    registers: Mapping[str, str]
    originals: Mapping[str, str]

    @property
    def total(self) -> str:
        """One hash over everything but the date and the program."""
        parts = [self.sessions, self.journal, self.decisions, self.registers, self.originals]
        return _hash([self.archive_version, *({name: part[name] for name in sorted(part)} for part in parts)])


def of_archive(root: Path) -> Stamp:
    """Read all that is current, every journal row and every original. Raises ArchiveError on damage."""
    snapshot = Snapshot(root, log.read(root))
    traces = _traces(snapshot)
    sessions: dict[str, tuple[str, str]] = {}
    for rows in snapshot.batches("session"):
        for row in rows.to_pylist():
            key = row["session_id"], row["revision"]
            sessions[key[0]] = (key[1], _hash([_canonical(row), sorted(traces.get(key, ()))]))
    journal: dict[str, str] = {}
    sources: dict[str, str] = {}
    for rows in snapshot.batches("source"):
        for row in rows.to_pylist():
            journal[str(row["import_number"])] = _hash(_canonical(row))
            if row["source_sha256"]:
                sources[row["source_sha256"]] = _original(root, row["source_sha256"])
    decisions = {
        str(row["decision_number"]): _hash(_canonical(row))
        for rows in snapshot.batches("decision")
        for row in rows.to_pylist()
    }
    kept = {name: registers.path(root, name) for name in registers.NAMES}
    tables = {name: hashlib.sha256(path.read_bytes()).hexdigest() for name, path in kept.items() if path.exists()}
    when = datetime.now(UTC).isoformat(timespec="seconds")
    return Stamp(snapshot.version, when, __version__, sessions, journal, decisions, tables, sources)


def text(stamp: Stamp) -> str:
    """The stamp as a JSON document."""
    document = {"stamp_format": FORMAT, **asdict(stamp), "total": stamp.total}
    return json.dumps(document, ensure_ascii=False, indent=1) + "\n"


def read(path: Path) -> Stamp:
    """A stamp out of its file. Raises SourceError where it is none, of a newer form, or not as it was written."""
    try:
        document = json.loads(path.read_text())
        newer = document.pop("stamp_format") > FORMAT
        total = document.pop("total")
        document["sessions"] = {name: (pair[0], pair[1]) for name, pair in document["sessions"].items()}
        stamp = Stamp(**document)
        whole = stamp.total == total
    except (OSError, ValueError, KeyError, TypeError, AttributeError, IndexError) as error:
        raise _no_stamp(path, f"{type(error).__name__}: {error}", "a stamp that this toolkit wrote") from None
    if newer:
        raise _no_stamp(path, "a stamp of a newer form", f"form {FORMAT}: use a newer release")
    if not whole:
        raise _no_stamp(path, "other contents than its total says", "a stamp as it was written")
    return stamp


def _no_stamp(path: Path, found: str, expected: str) -> SourceError:
    cure = "Give the file that `interchange archive stamp` wrote, or a version number."
    return SourceError(Problem("stamp-unreadable", Place(str(path)), found, expected, cure, blocks="file"))


def _traces(snapshot: Snapshot) -> dict[tuple[str, str], list[str]]:
    found: dict[tuple[str, str], list[str]] = {}
    for rows in snapshot.batches("trace"):
        for index in range(rows.num_rows):
            row = rows.slice(index, 1)
            head = {name: row[name][0].as_py() for name in row.schema.names if name not in ("values", "time_s")}
            digests = [_samples(row[name][0].values) for name in ("values", "time_s") if row[name][0].is_valid]
            found.setdefault((head["session_id"], head["revision"]), []).append(_hash([head, digests]))
    return found


def _samples(values: pa.Array) -> str:
    digest = hashlib.sha256(values.fill_null(0.0).to_numpy(zero_copy_only=False).tobytes())
    if values.null_count:
        digest.update(values.is_valid().cast(pa.uint8()).to_numpy(zero_copy_only=False).tobytes())
    return digest.hexdigest()


def _original(root: Path, sha256: str) -> str:
    path = originals.path(root, sha256)
    try:
        content = originals.content_sha256(path)
    except (OSError, pa.ArrowException) as error:
        raise cannot_read(path, error) from None
    if content != sha256:
        raise fault("file-changed", path, "other bytes than were received", "bytes of the hash in its name", VERIFY)
    return content


def _canonical(value: Any) -> Any:
    """A row without what it does not have; times as ISO 8601."""
    if isinstance(value, dict):
        inner = {name: _canonical(part) for name, part in value.items()}
        return {name: part for name, part in inner.items() if part not in (None, {}, [])}
    if isinstance(value, list):
        return [_canonical(part) for part in value]
    return value.isoformat() if isinstance(value, date) else value


def _hash(value: Any) -> str:
    written = json.dumps(value, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(written.encode()).hexdigest()
