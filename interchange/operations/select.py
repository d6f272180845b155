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


def one_test(snapshot: Snapshot, name: str) -> Session:
    """The test of a job number or id. Raises UsageError where there is none, or several."""
    sessions = select_sessions(snapshot, [name])
    if len(sessions) > 1:
        raise UsageError(_several(name, sessions))
    return sessions[0]


def _by_id(snapshot: Snapshot, start: str) -> list[Session]:
    if len(start) < _SHORTEST_ID:
        return []
    ids = [name for name in snapshot.current["session_id"].to_pylist() if name.startswith(start)]
    return list(snapshot.sessions(session_ids=ids)) if ids else []


def _several(test: str, sessions: Sequence[Session]) -> Problem:
    ids = ", ".join(f"{s.session_id} ({s.record.stage or 'no stage'}, {s.time.started_at_local})" for s in sessions)
    expected = f"one test; there are {len(sessions)}: {ids}"
    return Problem("test-several", Place("command line"), f"'{test}'", expected, "Give the id of the one you mean.")
