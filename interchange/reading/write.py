"""The map run backwards: sessions to files in a plugin's layout, and what such files cannot hold."""

from __future__ import annotations

import hashlib
import re
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from interchange.files import Source
from interchange.model.manifest import Manifest, TableBlock
from interchange.model.question import Import, Trace
from interchange.model.session import Session
from interchange.reading.door import read_source
from interchange.reading.registry import Plugin
from interchange.reading.write_losses import Loss, losses, lost
from interchange.reading.write_parts import GROUP_OF, KINDS_BY_POINTS, Test
from interchange.reading.write_rows import Writer

__all__ = ["Loss", "Written", "write"]

SUFFIX = ".csv"
_UNSAFE = re.compile(r"[^\w.-]+")


@dataclass(frozen=True, slots=True)
class Written:
    """Names and bytes of files, and all that they do not hold. A test without a place in them is a loss as a whole."""

    files: tuple[tuple[str, bytes], ...]
    losses: tuple[Loss, ...]


def write(sessions: Sequence[Session], traces: Sequence[Trace], manifest: Manifest) -> Written:
    """Files of these sessions in the layout of a manifest.

    Each file is read back before it is handed out, so that whatever reads otherwise than it was held is a loss, known
    by its field. Ids, revisions, sources, kept pointers and a time zone given by an archive are no part of a file.
    """
    by_session: dict[str, dict[str, Trace]] = {}
    for trace in traces:
        by_session.setdefault(trace.session_id, {})[trace.channel_id] = trace
    files: list[tuple[str, bytes]] = []
    found: list[Loss] = []
    for name, members in _by_file(sessions, manifest):
        tests = [(session, by_session.get(session.session_id, {})) for session in members]
        one = _File(manifest, name, tests)
        files += one.files
        found += one.losses
    return Written(tuple(files), tuple(found))


Member = tuple[Session, dict[str, Trace]]


class _File:
    """One file with its companions. A test that spoils it is left out, and the rest is written again."""

    def __init__(self, manifest: Manifest, name: str, members: Sequence[Member]) -> None:
        self.manifest, self.name = manifest, name
        self.files: list[tuple[str, bytes]] = []
        self.losses: list[Loss] = []
        why = self._try(members)
        if why is None:
            return
        if len(members) == 1:
            self.losses = [lost(members[0][0], why)]
            return
        alone = [(member, _File(manifest, name, [member])) for member in members]
        good = [member for member, file in alone if file.files]
        self.losses = [loss for _, file in alone if not file.files for loss in file.losses]
        if good:
            left_out = self.losses
            why = self._try(good)
            if why is not None:
                self.files, self.losses = [], [lost(session, why) for session, _ in good]
            self.losses = [*left_out, *self.losses]

    def _try(self, members: Sequence[Member]) -> str | None:
        """Write and read back; why the file cannot be read where that is so."""
        tests = [Test(session, traces, self.manifest) for session, traces in members]
        writer = Writer(self.manifest)
        files: dict[str | None, tuple[str, bytes]] = {}
        for role, ends in [(None, ""), *((one.name, one.stem_ends) for one in self.manifest.companion)]:
            text = writer.text(tests, role)
            if text is not None:
                data = self._encoded(text)
                if data is None:
                    return f"no encoding of the layout holds its text: {' or '.join(self.manifest.layout.encodings)}"
                files[role] = (f"{self.name}{ends}{SUFFIX}", data)
        if None not in files:
            return "the layout holds nothing of it"
        outcome = _read(self.manifest, files)
        mapped = outcome.mapped
        if outcome.state != "imported":
            trouble = [str(problem) for problem in mapped.problems if problem.blocks in ("session", "file")]
            asked = [question.subject for question in mapped.questions]
            return f"the file could not be read: {' '.join([*trouble, *asked])}"
        if len(mapped.sessions) != len(tests):
            return "the file reads as another number of tests"
        for test, read in zip(tests, mapped.sessions, strict=True):
            if test.session.kind != read.kind and not {test.session.kind, read.kind} <= KINDS_BY_POINTS:
                return f"the layout would make {read.kind.replace('_', ' ')} of {test.session.kind.replace('_', ' ')}"
        by_session: dict[str, dict[str, Trace]] = {}
        for trace in mapped.traces:
            by_session.setdefault(trace.session_id, {})[trace.channel_id] = trace
        self.files = list(files.values())
        self.losses = [
            loss
            for test, session in zip(tests, mapped.sessions, strict=True)
            for loss in losses(test, session, by_session.get(session.session_id, {}))
        ]
        return None

    def _encoded(self, text: str) -> bytes | None:
        layout = self.manifest.layout
        if layout.line_end == "crlf":
            text = text.replace("\n", "\r\n")
        for encoding in layout.encodings:
            marked = encoding == "utf-8" and layout.byte_order_mark
            try:
                return text.encode("utf-8-sig" if marked else encoding)
            except UnicodeEncodeError:
                continue
        return None


def _read(manifest: Manifest, files: Mapping[str | None, tuple[str, bytes]]) -> Import:
    sources = {
        role: Source(name, hashlib.sha256(data).hexdigest(), len(data), data) for role, (name, data) in files.items()
    }
    beside = {role: source for role, source in sources.items() if role is not None}
    return read_source(sources[None], [Plugin(manifest, Path())], files=beside)


def _by_file(sessions: Sequence[Session], manifest: Manifest) -> Iterator[tuple[str, list[Session]]]:
    """Names of files, without suffix, and the sessions that share them."""
    rows = any(isinstance(block, TableBlock) and block.each_row == "session" for block in manifest.block)
    if rows or manifest.session_starts is not None:
        if sessions:
            yield manifest.id, list(sessions)
        return
    keys = _keys(manifest)
    if keys:
        yield from _told_apart(sessions, keys, manifest.id)
        return
    names: dict[str, int] = {}
    for session in sessions:
        name = _UNSAFE.sub("-", "-".join(filter(None, (session.record.job_id, session.record.stage)))).strip("-.")
        name = name or session.session_id
        names[name] = names.get(name, 0) + 1
        yield (name if names[name] == 1 else f"{name}-{names[name]}"), [session]


def _keys(manifest: Manifest) -> list[str]:
    """Fields by which a table tells its tests apart."""
    return [
        one.to
        for block in manifest.block
        if isinstance(block, TableBlock)
        for one in block.columns
        if one.name in block.session_by and one.to is not None
    ]


def _told_apart(sessions: Sequence[Session], keys: Sequence[str], name: str) -> Iterator[tuple[str, list[Session]]]:
    """Files in which no two tests share a key."""
    files: list[list[Session]] = []
    seen: Counter[tuple[object, ...]] = Counter()
    for session in sessions:
        groups = [getattr(session, GROUP_OF[key]) if key in GROUP_OF else session for key in keys]
        key = tuple(getattr(group, name) for group, name in zip(groups, keys, strict=True))
        if seen[key] == len(files):
            files.append([])
        files[seen[key]].append(session)
        seen[key] += 1
    for number, members in enumerate(files, 1):
        yield (name if number == 1 else f"{name}-{number}"), members
