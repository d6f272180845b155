"""Stamps an archive, and says row by row what changed between two stamps or versions of it."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from interchange.archive import stamp, tables
from interchange.archive.snapshot import JournalEntry, Snapshot
from interchange.archive.stamp import Stamp
from interchange.archive.store import Store
from interchange.errors import cannot_write
from interchange.files import write_atomically
from interchange.model.document import as_document
from interchange.model.session import Session
from interchange.table import Row, Table, counted

_STAMPED = ("stamped_part", "stamped_id", "revision", "content_sha256")
_CHANGES = (
    *("stamped_part", "stamped_id", "change", "changed_field", "old_value", "new_value"),
    *("changed_by", "changed_why"),
)
_OWN = ("amendments",)  # told by who and why, not as a field


@dataclass(frozen=True, slots=True)
class _State:
    """Ids and what stands for their contents, by part; parts that are not known are not there."""

    name: str
    parts: Mapping[str, Mapping[str, str]]
    sessions: Mapping[str, tuple[str, str | None]]


def stamp_archive(root: Path, output: Path | None = None) -> Table:
    """Hashes of everything that the archive holds, the total last; written as JSON too where `output` says so.

    Raises ArchiveError where the archive is damaged, or the file cannot be written.
    """
    made = stamp.of_archive(Store.open(root).root)
    if output is not None:
        try:
            write_atomically(output, stamp.text(made).encode())
        except OSError as error:
            raise cannot_write(str(output), error) from None
    rows: list[Row] = [("session", name, *pair) for name, pair in sorted(made.sessions.items())]
    for part, hashes in _parts(made).items():
        rows += [(part, name, None, digest) for name, digest in hashes.items()]
    rows.append(("total", str(made.archive_version), None, made.total))
    note = f"version {made.archive_version} at {made.stamped_at_utc}, {counted(len(made.sessions), 'record')}, "
    return Table(_STAMPED, rows, notes=[f"{note}total {made.total}"])


def changes_between(root: Path, first: str, second: str) -> Table:
    """What was added, removed and changed from one stamp or version to another, a row each.

    Each is a version number or the file of a stamp. Fields are told as long as the archive holds both readings.
    Raises SourceError for a file that is no stamp, ArchiveError for a version that cannot be read.
    """
    store = Store.open(root)
    old, new = (_state(store, word) for word in (first, second))
    newest = store.snapshot()
    rows = list(_sessions(newest, old, new))
    for part in new.parts:
        if part in old.parts:
            rows += _of_part(part, old.parts[part], new.parts[part])
    known = "register" in old.parts and "register" in new.parts
    left_out = [] if known else ["registers: versions do not hold them; compare two stamps"]
    notes = [] if rows else [f"nothing changed from {old.name} to {new.name}"]
    return Table(_CHANGES, rows, left_out, notes)


def _parts(made: Stamp) -> dict[str, Mapping[str, str]]:
    return {
        "journal": made.journal,
        "decision": made.decisions,
        "register": made.registers,
        "original": made.originals,
    }


def _state(store: Store, word: str) -> _State:
    if not word.isdigit():
        made = stamp.read(Path(word))
        sessions: dict[str, tuple[str, str | None]] = dict(made.sessions)
        return _State(f"the stamp {word}", _parts(made), sessions)
    snapshot = store.snapshot(int(word))
    current = snapshot.current.to_pydict()
    sessions = {name: (of, None) for name, of in zip(current["session_id"], current["revision"], strict=True)}
    entries = list(snapshot.journal())
    parts: dict[str, Mapping[str, str]] = {
        "journal": {str(entry.import_number): "" for entry in entries},
        "decision": {
            str(number): ""
            for rows in snapshot.batches("decision", ["decision_number"])
            for number in rows["decision_number"].to_pylist()
        },
        "original": {entry.source_sha256: "" for entry in entries if entry.source_sha256},
    }
    return _State(f"version {word}", parts, sessions)


def _of_part(part: str, old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[Row]:
    for name in sorted(old.keys() | new.keys(), key=lambda name: (len(name), name)):
        if name not in old or name not in new:
            yield (part, name, "added" if name in new else "removed", *[None] * 5)
        elif old[name] and new[name] and old[name] != new[name]:
            yield (part, name, "changed", None, old[name], new[name], None, None)


def _sessions(newest: Snapshot, old: _State, new: _State) -> Iterator[Row]:
    differing = sorted(
        name
        for name in old.sessions.keys() | new.sessions.keys()
        if name not in old.sessions or name not in new.sessions or _differ(old.sessions[name], new.sessions[name])
    )
    if not differing:
        return
    stored = _stored(newest, differing)
    said = _said(newest, set(differing))
    for name in differing:
        was, now = old.sessions.get(name), new.sessions.get(name)
        who = said.get(name, (None, None))
        if was is None or now is None:
            yield ("session", name, "removed" if now is None else "added", *[None] * 3, *who)
        elif was[0] == now[0]:
            yield ("session", name, "changed", "stored bytes", was[1], now[1], None, None)
        else:
            yield from _fields(name, was[0], now[0], stored, who)


def _differ(was: tuple[str, str | None], now: tuple[str, str | None]) -> bool:
    return was[0] != now[0] or (was[1] is not None and now[1] is not None and was[1] != now[1])


def _stored(snapshot: Snapshot, names: list[str]) -> dict[tuple[str, str], Session]:
    """Every stored reading of some sessions, by id and revision."""
    found = {}
    for rows in snapshot.batches("session", where={"session_id": names}, every_revision=True):
        for session, revision in zip(tables.sessions(rows), rows["revision"].to_pylist(), strict=True):
            found[session.session_id, revision] = session
    return found


def _said(snapshot: Snapshot, names: set[str]) -> dict[str, tuple[str | None, str | None]]:
    """Who last changed what stands of a session, and why; of an import its delivery."""
    found: dict[str, tuple[str | None, str | None]] = {}
    for entry in snapshot.journal():
        if entry.import_state in ("imported", "amended", "undone"):
            for name in names & set(entry.session_ids) | (names & found.keys() if _undoes(entry) else set()):
                found[name] = (entry.changed_by, entry.changed_why or (entry.delivery and f"delivery {entry.delivery}"))
    return found


def _undoes(entry: JournalEntry) -> bool:
    return entry.import_state == "undone" and not entry.session_ids


def _fields(
    name: str,
    was: str,
    now: str,
    stored: Mapping[tuple[str, str], Session],
    who: tuple[str | None, str | None],
) -> Iterator[Row]:
    before, after = stored.get((name, was)), stored.get((name, now))
    if before is None or after is None:  # erased since
        yield ("session", name, "changed", "revision", was, now, *who)
        return
    amended = {one.amended_field: (one.amended_by, one.amended_why) for one in after.amendments}
    left, right = (dict(_leaves(as_document(one), "")) for one in (before, after))
    told = False
    for path in dict.fromkeys([*left, *right]):
        if left.get(path) != right.get(path):
            told = True
            said = next((by for field, by in amended.items() if path == field or path.endswith(f".{field}")), who)
            yield ("session", name, "changed", path, _json(left.get(path)), _json(right.get(path)), *said)
    if not told:
        yield ("session", name, "changed", "traces", was, now, *who)


def _leaves(value: Any, path: str) -> Iterator[tuple[str, Any]]:
    """Paths as `amend` writes them: members of lists count from 1."""
    if isinstance(value, dict):
        for name, part in value.items():
            if path or name not in _OWN:
                yield from _leaves(part, f"{path}.{name}" if path else name)
    elif isinstance(value, list):
        for number, part in enumerate(value, 1):
            yield from _leaves(part, f"{path}.{number}")
    else:
        yield path, value


def _json(value: Any) -> str | None:
    return None if value is None else json.dumps(value, ensure_ascii=False)
