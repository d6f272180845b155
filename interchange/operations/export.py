"""Hands tests on in open forms."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import Literal

from interchange.archive.snapshot import Snapshot
from interchange.archive.store import Store
from interchange.errors import cannot_write
from interchange.exchange import tidy
from interchange.files import write_atomically
from interchange.model import document
from interchange.model.session import Session
from interchange.operations.select import select_sessions
from interchange.table import Table, csv_text

Form = Literal["session", "tidy"]


def export_tests(root: Path, tests: Sequence[str], form: Form, folder: Path, version: int | None = None) -> list[Path]:
    """Write the named tests, or all, below a folder; return the files written.

    session: `<session id>.session.json`, and `<session id>.traces.csv` beside it where the test has traces.
    tidy: tests.csv, runs.csv, points.csv, traces.csv.
    """
    snapshot = Store.open(root).snapshot(version)
    sessions = select_sessions(snapshot, tests) if tests else sorted(snapshot.sessions(), key=lambda s: s.session_id)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        texts = _documents(snapshot, sessions) if form == "session" else _tables(snapshot, sessions)
        return [_write(folder / name, text) for name, text in texts.items()]
    except OSError as error:
        raise cannot_write(str(folder), error) from None


def _write(path: Path, text: str) -> Path:
    write_atomically(path, text.encode())
    return path


def _documents(snapshot: Snapshot, sessions: Sequence[Session]) -> dict[str, str]:
    texts = {}
    for session in sessions:
        texts[f"{session.session_id}.session.json"] = document.document_text(session)
        if session.channels:
            texts[f"{session.session_id}.traces.csv"] = csv_text(_traces(snapshot, [session]))
    return texts


def _tables(snapshot: Snapshot, sessions: Sequence[Session]) -> dict[str, str]:
    tables = {
        "tests.csv": tidy.tests_table(sessions),
        "runs.csv": tidy.runs_table(sessions),
        "points.csv": tidy.points_table(sessions),
        "traces.csv": _traces(snapshot, sessions),
    }
    return {name: csv_text(table) for name, table in tables.items()}


def _traces(snapshot: Snapshot, sessions: Sequence[Session]) -> Table:
    traces = [trace for session in sessions if session.channels for trace in snapshot.traces(session.session_id)]
    return tidy.traces_table(traces)
