"""Finds the tests that a person names."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.archive.snapshot import Snapshot
from interchange.errors import Place, Problem, UsageError
from interchange.model.session import Session

_SHORTEST_ID = 6


def select_sessions(snapshot: Snapshot, names: Sequence[str]) -> list[Session]:
    """The tests of the job numbers or ids given; an id may be cut after six letters or later.

    Raises UsageError, naming every name that no test has.
    """
    found: dict[str, Session] = {}
    unknown = []
    for name in names:
        sessions = list(snapshot.sessions(job_ids=[name])) or _by_id(snapshot, name)
        found |= {session.session_id: session for session in sessions}
        if not sessions:
            unknown.append(
                Problem(
                    "test-unknown",
                    Place("command line"),
                    f"'{name}'",
                    "a job number or the id of a test in the archive",
                    "`interchange list` shows the tests of the archive.",
                )
            )
    if unknown:
        raise UsageError(*unknown)
    return sorted(found.values(), key=lambda s: (s.record.job_id or "", str(s.time.started_at_local), s.session_id))


def _by_id(snapshot: Snapshot, start: str) -> list[Session]:
    if len(start) < _SHORTEST_ID:
        return []
    ids = [name for name in snapshot.current["session_id"].to_pylist() if name.startswith(start)]
    return list(snapshot.sessions(session_ids=ids)) if ids else []
