"""Hands tests on in open forms."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Literal

from interchange.archive.snapshot import Snapshot
from interchange.archive.store import Store
from interchange.errors import Place, Problem, UsageError, cannot_write
from interchange.exchange import tidy
from interchange.files import write_atomically
from interchange.model import document
from interchange.model.session import Session
from interchange.operations.plugins import plugins_of
from interchange.operations.select import select_sessions
from interchange.reading.registry import Plugin
from interchange.reading.write import Loss, write
from interchange.table import Row, Table, csv_text

Form = Literal["session", "tidy"]
_NOT_OF_THE_FILE = (
    "Ids, revisions, sources, pointers to what was kept, and a time zone that the archive gave stand in no such file."
)


@dataclass(frozen=True, slots=True)
class InLayout:
    """Files written in the layout of a plugin, and what they do not hold: a row for each field and reason."""

    paths: tuple[Path, ...]
    losses: Table
    refused: bool


def export_tests(root: Path, tests: Sequence[str], form: Form, folder: Path, version: int | None = None) -> list[Path]:
    """Write the named tests, or all, below a folder; return the files written.

    session: `<session id>.session.json`, and `<session id>.traces.csv` beside it where the test has traces.
    tidy: tests.csv, runs.csv, points.csv, traces.csv.
    """
    snapshot = Store.open(root).snapshot(version)
    sessions = _chosen(snapshot, tests)
    texts = _documents(snapshot, sessions) if form == "session" else _tables(snapshot, sessions)
    return _write(folder, [(name, text.encode()) for name, text in texts.items()])


def export_in_layout(
    root: Path,
    tests: Sequence[str],
    plugin_id: str,
    folder: Path,
    plugin_folders: Sequence[Path] = (),
    *,
    accept_losses: bool = False,
    version: int | None = None,
) -> InLayout:
    """Write the named tests, or all, below a folder in the layout of a plugin.

    Every file is read back first; where something reads otherwise than the archive holds it, nothing is written unless
    the losses are accepted. Raises UsageError where no plugin has that id.
    """
    plugin = _plugin(plugin_id, root, plugin_folders)
    snapshot = Store.open(root).snapshot(version)
    sessions = _chosen(snapshot, tests)
    traces = [trace for session in sessions if session.channels for trace in snapshot.traces(session.session_id)]
    written = write(sessions, traces, plugin.manifest)
    losses = _grouped(written.losses)
    if losses.rows and not accept_losses:
        return InLayout((), losses, True)
    return InLayout(tuple(_write(folder, written.files)), losses, False)


def _chosen(snapshot: Snapshot, tests: Sequence[str]) -> list[Session]:
    return select_sessions(snapshot, tests) if tests else sorted(snapshot.sessions(), key=lambda s: s.session_id)


def _plugin(plugin_id: str, root: Path, folders: Sequence[Path]) -> Plugin:
    plugins = plugins_of(folders, root).plugins
    for plugin in plugins:
        if plugin.id == plugin_id:
            return plugin
    known = f"session, tidy, or a plugin: {', '.join(plugin.id for plugin in plugins)}"
    cure = "`interchange plugin list` shows what each plugin reads and writes."
    raise UsageError(Problem("plugin-unknown", Place("command line"), f"'{plugin_id}'", known, cure))


def _grouped(losses: Sequence[Loss]) -> Table:
    """A row for each field and reason, with the tests it happens to and the first value it happens to."""
    groups: dict[tuple[str, str], list[Loss]] = {}
    for loss in losses:
        field = ".".join(part for part in loss.field.split(".") if not part.isdecimal()) or "(the whole test)"
        groups.setdefault((field, loss.why.partition(": ")[0]), []).append(loss)
    rows: list[Row] = [
        (field, len({loss.session_id for loss in group}), group[0].why, group[0].value)
        for (field, _), group in groups.items()
    ]
    return Table(("field", "session_count", "reason", "found"), rows, notes=[_NOT_OF_THE_FILE])


def _write(folder: Path, files: Sequence[tuple[str, bytes]]) -> list[Path]:
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, data in files:
            write_atomically(folder / name, data)
    except OSError as error:
        raise cannot_write(str(folder), error) from None
    return [folder / name for name, _ in files]


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
