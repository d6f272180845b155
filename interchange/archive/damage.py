"""Which sessions harmed files touch, and what can be read again from originals. Reads whole files only."""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from interchange.archive import log, originals
from interchange.archive.snapshot import STANDING, Snapshot
from interchange.errors import ArchiveError, Problem

_AGAIN = "its original, which is whole: import it into a new archive"
_AMENDED = "; amendments must be made again"
_COPY = "a copy of the archive only"
_STANDS = "nothing of it is lost; its original comes from a copy only"


@dataclass(frozen=True, slots=True)
class Touched:
    """A session, the part of it that is harmed, and what it can be had from again."""

    session_id: str
    source_name: str
    harmed_part: str
    rebuilt_from: str


def touched(root: Path, problems: Collection[Problem]) -> list[Touched]:
    """The sessions that files at fault touch. Empty where the log itself is harmed: then it is all of them."""
    harmed = {Path(problem.place.file) for problem in problems if problem.blocks != "note"}
    root = log.usable(root)
    try:
        version = log.read(root)
        files = {part: tuple(p for p in paths if p not in harmed) for part, paths in version.files.items()}
        return list(_touched(Snapshot(root, replace(version, files=files)), version, harmed))
    except ArchiveError:
        return []


def _touched(whole: Snapshot, version: log.Version, harmed: Collection[Path]) -> Iterator[Touched]:
    sources = _sources(whole)
    current = set(zip(*whole.current.to_pydict().values(), strict=True))
    stored, said = _stored(whole)
    known = {name for name, _ in current}

    def one(name: str, part: str) -> Touched:
        sha256, source_name, amended = sources.get(name, ("", "an unknown source", False))
        kept = bool(sha256) and originals.path(whole.root, sha256) not in harmed
        if part == "original":
            return Touched(name, source_name, part, _STANDS)
        return Touched(name, source_name, part, (_AGAIN + _AMENDED * amended) if kept else _COPY)

    harms = {part: any(path in harmed for path in version.files[part]) for part in log.PARTS}
    if harms["session"]:
        yield from (one(name, "session") for name, revision in sorted(current) if (name, revision) not in stored)
    if harms["source"]:
        yield from (one(name, "journal") for name in sorted({name for name, _ in stored} - known))
    if harms["trace"]:
        there = {key for rows in whole.batches("trace", _CHANNEL, every_revision=True) for key in _keys(rows)}
        lacking = {(name, revision) for name, revision, channel in said - there}
        yield from (one(name, "trace") for name, revision in sorted(lacking & current))
    yield from (
        one(name, "original")
        for name, (sha256, _, _) in sorted(sources.items())
        if name in known and originals.path(whole.root, sha256) in harmed
    )


_CHANNEL = ("session_id", "revision", "channel_id")


def _keys(rows: object) -> Iterator[tuple[str, str, str]]:
    columns = (rows[name].to_pylist() for name in _CHANNEL)  # type: ignore[index]
    return zip(*columns, strict=True)


def _sources(whole: Snapshot) -> dict[str, tuple[str, str, bool]]:
    """Hash and name of the source of each session, and whether somebody amended it."""
    found: dict[str, tuple[str, str, bool]] = {}
    columns = ["source_sha256", "source_name", "session_ids", "import_state", "import_number"]
    for rows in whole.batches("source", columns, {"import_state": STANDING}):
        for row in sorted(rows.to_pylist(), key=lambda row: int(row["import_number"])):
            for name in row["session_ids"]:
                before = found.get(name, ("", "", False))[2]
                found[name] = (row["source_sha256"], row["source_name"], before or row["import_state"] == "amended")
    return found


def _stored(whole: Snapshot) -> tuple[set[tuple[str, str]], set[tuple[str, str, str]]]:
    """Keys of the stored revisions, and of their channels that have values."""
    stored: set[tuple[str, str]] = set()
    said: set[tuple[str, str, str]] = set()
    for rows in whole.batches("session", ["session_id", "revision", "channels"], every_revision=True):
        for row in rows.to_pylist():
            key = row["session_id"], row["revision"]
            stored.add(key)
            said |= {(*key, one["channel_id"]) for one in row["channels"] if one["sample_count"]}
    return stored, said
