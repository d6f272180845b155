"""Is everything there that was committed, and unharmed? Reads every byte of the archive, writes none.

Only what has the hash it was committed with is decoded, so harm is named where it lies and never believed.
"""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from interchange.archive import derived, locking, log, originals, parquet, plugin_sums, registers, settings, sums
from interchange.archive.faults import first_line, problem
from interchange.archive.snapshot import Snapshot
from interchange.errors import ArchiveError, Problem

_DIGEST = 66  # letters of a checksum line before the file's name
_FROM_COPY = "Put the file back from a copy of the archive."
_AGAIN = "Without a copy, make a new archive and import what lies in originals into it."


def verify(root: Path) -> list[Problem]:
    """Everything that is not as it was committed, most telling first; `blocks="note"` marks what does no harm."""
    root = log.usable(root)
    found: list[Problem] = []
    try:
        settings.read(root)
    except ArchiveError as error:
        found += error.problems
        if not (root / log.TABLE).is_dir():
            return found
    if not found:
        found += _sum(root, root / settings.FILE_NAME, "what the programme has agreed on")
    harmed_log = list(_log(root))
    found += harmed_log
    version = None if any(one.blocks != "note" for one in harmed_log) else _version(root, found)
    table = list(_table(root, version))
    found += table
    found += _derived(root)
    found += _registers(root)
    found += _plugins(root)
    if version is not None and not any(one.blocks != "note" for one in table):
        snapshot = Snapshot(root, version)
        for check in (_sessions, _traces, _originals):
            try:
                found += check(snapshot)
            except ArchiveError as error:
                found += error.problems
    else:
        found += _originals_by_name(root)
    return [*found, *_strangers(root)]


def _version(root: Path, found: list[Problem]) -> log.Version | None:
    try:
        return log.read(root)
    except ArchiveError as error:
        found += error.problems
        return None


def _sum(root: Path, target: Path, holds: str) -> Iterator[Problem]:
    """A file against its recorded checksum."""
    kept = sums.path(root, target)
    if not kept.exists():
        cure = "If the file is right, write the line that `sha256sum` gives for it into the checksum file."
        yield problem("checksum-missing", target, "no checksum", f"one in {sums.FOLDER}/{kept.name}", cure)
    elif sums.line(root, target).encode() not in kept.read_bytes().splitlines(keepends=True):
        expected = f"what {sums.FOLDER}/{kept.name} says, or that file as it was written"
        yield problem(
            "file-changed", target, "other bytes than were recorded", expected, f"It holds {holds}. {_FROM_COPY}"
        )


def _log(root: Path) -> Iterator[Problem]:
    folder = log.entry(root, 0).parent
    entries = {int(path.stem) for path in folder.glob("*.json") if path.stem.isdigit()}
    recorded = {int(path.stem) for path in (root / sums.FOLDER).glob("*.sha256") if path.stem.isdigit()}
    for number in range(max(entries | recorded, default=0) + 1):
        entry = log.entry(root, number)
        if not entry.exists():
            cure = f"Versions from {number} on cannot be read without it. {_FROM_COPY}"
            yield problem("file-missing", entry, "no file", f"the log entry of version {number}", cure)
        elif number not in recorded and number > max(recorded, default=-1):
            cure = "Nothing to do: its writer was cut off before it could report success; the next import records it."
            yield problem("checksum-missing", entry, "no checksum", "a checksum", cure, blocks="note")
        else:
            yield from _sum(root, entry, f"what version {number} added")


def _table(root: Path, version: log.Version | None) -> Iterator[Problem]:
    """Parquet files by the hash in their names; with a log to go by, absent and superfluous ones too."""
    there = set((root / log.TABLE).glob("part=*/*.parquet"))
    named = there if version is None else {path for paths in version.files.values() for path in paths}
    for path in sorted(named):
        part = path.parent.name.removeprefix("part=")
        if path not in there:
            yield problem("file-missing", path, "no file", f"a file of the {part} part", f"{_FROM_COPY} {_AGAIN}")
            continue
        if parquet.sha256(path) != parquet.named_sha256(path):
            cure = f"It holds rows of the {part} part. {_FROM_COPY} {_AGAIN}"
            yield problem(
                "file-changed", path, "other bytes than were committed", "bytes of the hash in its name", cure
            )
            continue
        try:
            with pq.ParquetFile(path) as file:
                for _ in file.iter_batches(columns=None):
                    pass
        except (OSError, pa.ArrowException) as error:
            yield problem("file-unreadable", path, first_line(error), "a Parquet file", f"{_FROM_COPY} {_AGAIN}")
    yield from _unnamed(root, there - named)


def _unnamed(root: Path, paths: set[Path]) -> Iterator[Problem]:
    """Files that the newest version does not name: earlier versions stand on some, nothing reads the others."""
    try:
        earlier = log.superseded(root)
    except (OSError, ValueError, KeyError):  # a damaged log is named by its own check
        earlier = {}
    for path in sorted(paths):
        if path not in earlier:
            yield _stranger(path)
        elif parquet.sha256(path) != parquet.named_sha256(path):
            cure = f"Only versions before {earlier[path].from_version} stand on it: compacting takes it away in time."
            yield problem(
                "file-changed", path, "other bytes than were committed", "bytes of the hash in its name", cure
            )


def _plugins(root: Path) -> Iterator[Problem]:
    """The archive's own plugins against what they were at the last commit."""
    kept, now = plugin_sums.path(root), plugin_sums.lines(root)
    if not kept.exists():
        if now:
            cure = f"The next import records them. If one has done so before: {_FROM_COPY}"
            yield problem("checksum-missing", kept, "no file", "checksums of the archive's plugins", cure)
        return
    head, *lines = kept.read_bytes().splitlines(keepends=True) or [b""]
    if head != plugin_sums.text([]).replace(b"0", str(len(lines)).encode()):
        yield problem("file-changed", kept, "lines that were not written so", "its own count of lines", _FROM_COPY)
    recorded = {line[_DIGEST:]: line for line in lines}
    for line in (text.encode() for text in now):
        path, before = root / line[_DIGEST:].decode().rstrip("\n"), recorded.pop(line[_DIGEST:], None)
        if before is None:
            cure = "The next import records it."
            yield problem("checksum-missing", path, "no checksum", f"one in {kept.name}", cure, blocks="note")
        elif before != line:
            cure = f"If somebody edited it, the next import records it so. Otherwise: {_FROM_COPY}"
            yield problem("file-changed", path, "other bytes than at the last import", "the plugin as it was", cure)
    for gone in recorded:
        path = root / gone.decode(errors="replace").rstrip("\n")
        cure = f"If somebody took it away, the next import records it so. Otherwise: {_FROM_COPY}"
        yield problem("file-missing", path, "no file", "a file of a plugin", cure)


def _derived(root: Path) -> Iterator[Problem]:
    for path in sorted((root / derived.FOLDER).rglob("*.parquet")):
        if parquet.sha256(path) != parquet.named_sha256(path):
            cure = "It holds nothing that cannot be computed again: run the recompute command."
            yield problem("file-changed", path, "other bytes than were written", "bytes of the hash in its name", cure)


def _registers(root: Path) -> Iterator[Problem]:
    """Registers against their checksums; an archive that is older than registers has neither."""
    for name in registers.NAMES:
        target = registers.path(root, name)
        if target.exists():
            yield from _sum(root, target, f"the register {name}")
        elif sums.path(root, target).exists():
            yield problem("file-missing", target, "no file", f"the register {name}", _FROM_COPY)


def _sessions(snapshot: Snapshot) -> Iterator[Problem]:
    """Each current session is stored exactly once."""
    keys = ["session_id", "revision"]
    rows = pa.Table.from_batches(snapshot.batches("session", keys, every_revision=True), _schema(keys))
    counts = rows.group_by(keys).aggregate([([], "count_all")])
    current = snapshot.current.select(keys).append_column("current", pa.repeat(True, snapshot.current.num_rows))
    joined = current.join(counts, keys, join_type="full outer")
    wrong = pc.not_equal(pc.fill_null(joined["count_all"], 0), 1)
    if not snapshot.log.hides:  # then nobody looks for hidden rows, so there must be none
        wrong = pc.or_(wrong, pc.is_null(joined["current"]))
    for row in joined.filter(wrong).to_pylist():
        found = f"session {row['session_id']}, revision {row['revision']}, {row['count_all'] or 'no'} times"
        path = snapshot.root / log.TABLE / "part=session"
        yield problem(
            "session-count",
            path,
            found,
            "each current session once, and no other without a mark in the log",
            f"This is a fault of ours. {_AGAIN}",
        )


def _traces(snapshot: Snapshot) -> Iterator[Problem]:
    """Each channel of each stored session has as many values as it says, in chunks that follow one another."""
    keys = ["session_id", "revision", "channel_id"]
    said, there = [], []
    for rows in snapshot.batches("session", ["session_id", "revision", "channels"], every_revision=True):
        owner, channels = pc.list_parent_indices(rows["channels"]), rows["channels"].flatten()
        columns = [rows["session_id"].take(owner), rows["revision"].take(owner)]
        columns += [channels.field(channels.type.get_field_index(name)) for name in ("channel_id", "sample_count")]
        said.append(pa.table(columns, [*keys, "sample_count"]))
    for rows in snapshot.batches("trace", [*keys, "chunk_number", "values"], every_revision=True):
        length = pc.cast(pc.list_value_length(rows["values"]), pa.int64())
        there.append(
            pa.table([*(rows[name] for name in [*keys, "chunk_number"]), length], [*keys, "chunk_number", "n"])
        )
    expected = pa.concat_tables(said) if said else None
    if expected is None:
        return
    empty = pa.table([pa.array([], t) for t in (*[pa.string()] * 3, *[pa.int64()] * 2)], [*keys, "chunk_number", "n"])
    found = (
        pa.concat_tables([empty, *there])
        .group_by(keys)
        .aggregate(
            [("n", "sum"), ("chunk_number", "max"), ("chunk_number", "count"), ("chunk_number", "count_distinct")]
        )
    )
    joined = expected.join(found, keys, join_type="full outer")
    for row in _wrong_traces(joined):
        text = f"{row['n_sum'] or 0} values of channel '{row['channel_id']}' of session {row['session_id']}"
        path = snapshot.root / log.TABLE / "part=trace"
        cure = f"This is a fault of ours. {_AGAIN}"
        yield problem("trace-count", path, text, f"{row['sample_count'] or 0} values, each chunk once", cure)


def _wrong_traces(joined: pa.Table) -> list[dict[str, object]]:
    said, found = (pc.fill_null(joined[name], 0) for name in ("sample_count", "n_sum"))
    chunks = pc.fill_null(joined["chunk_number_count"], 0)
    gaps = pc.not_equal(chunks, pc.add(pc.fill_null(joined["chunk_number_max"], -1), 1))
    twice = pc.not_equal(chunks, pc.fill_null(joined["chunk_number_count_distinct"], 0))
    wrong: list[dict[str, object]] = joined.filter(pc.or_(pc.not_equal(said, found), pc.or_(gaps, twice))).to_pylist()
    return wrong


def _originals(snapshot: Snapshot) -> Iterator[Problem]:
    """Each source of the journal is kept, in the very bytes, compressed and not, that were written."""
    names: dict[str, str] = {}
    hashes: dict[str, set[str]] = {}
    for rows in snapshot.batches("source", ["source_sha256", "source_name", "original_sha256"]):
        for row in rows.to_pylist():
            if row["source_sha256"]:
                names[row["source_sha256"]] = row["source_name"]
                hashes.setdefault(row["source_sha256"], set()).add(row["original_sha256"])
    for sha256, name in names.items():
        yield from _original(originals.path(snapshot.root, sha256), name, hashes[sha256])
    known = {originals.path(snapshot.root, sha256) for sha256 in names}
    for path in sorted(set((snapshot.root / originals.FOLDER).glob("*/*.zst")) - known):
        yield _stranger(path)


def _originals_by_name(root: Path) -> Iterator[Problem]:
    for path in sorted((root / originals.FOLDER).glob("*/*.zst")):
        yield from _original(path, "a source", None)


def _original(path: Path, name: str, compressed: set[str] | None) -> Iterator[Problem]:
    cure = f"It is the original of {name}; what was read from it is not touched. {_FROM_COPY}"
    if not path.exists():
        yield problem("file-missing", path, "no file", f"the original of {name}", cure)
        return
    try:
        content = originals.content_sha256(path)
    except (OSError, pa.ArrowException) as error:
        yield problem("file-changed", path, first_line(error), "a file that decompresses", cure)
        return
    if content != path.stem or (compressed is not None and compressed != {parquet.sha256(path)}):
        yield problem("file-changed", path, "other bytes than were received", "bytes of the hash in its name", cure)


def _strangers(root: Path) -> Iterator[Problem]:
    """Leftovers of writers that were cut off, and files that somebody else has put there."""
    own = {
        *(settings.FILE_NAME, log.TABLE, originals.FOLDER, sums.FOLDER, derived.FOLDER, registers.FOLDER),
        plugin_sums.FOLDER,
        locking.FILE_NAME,
    }
    for path in sorted(root.iterdir()):
        if path.name not in own:
            yield _stranger(path)
    for folder in (log.TABLE, originals.FOLDER, sums.FOLDER, derived.FOLDER):
        for path in sorted((root / folder).rglob("*")):
            known = path.suffix in (".parquet", ".zst", ".sha256") or (path.suffix == ".json" and path.stem.isdigit())
            if path.is_file() and (path.name.startswith(".") or not known):
                yield _stranger(path)
    for path in sorted((root / registers.FOLDER).glob("*")):
        if path not in [registers.path(root, name) for name in registers.NAMES]:
            yield _stranger(path)


def _stranger(path: Path) -> Problem:
    cure = "Nothing reads it: it may stay, or go while nothing is being imported."
    return problem(
        "file-unknown", path, "a file that no version names", "files of the archive only", cure, blocks="note"
    )


def _schema(names: list[str]) -> pa.Schema:
    return pa.schema([(name, pa.string()) for name in names])
