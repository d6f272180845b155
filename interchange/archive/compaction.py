"""Many small files of a part written anew as few sorted ones; and taking away what nothing reads any more."""

from __future__ import annotations

import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pyarrow as pa
import pyarrow.parquet as pq

from interchange.archive import grown, log, parts, tables
from interchange.archive.committing import Prepared, collected
from interchange.archive.faults import cannot_read, fault
from interchange.archive.snapshot import Snapshot

MOST_BYTES = 1 << 29  # memory that the rows of one new file take while it is made; on disk about a tenth
GRACE_S = 7 * 86_400.0
_LEAST_GRACE_S = 86_400.0  # of files that no entry names: their writer may be about to commit them
_VALUE_BYTES = 8

Keep = Mapping[log.Part, Callable[[pa.Table], Any]]  # by part: which rows of a table go on, as a mask


@dataclass(frozen=True, slots=True)
class Rewritten:
    """What a rewrite did; the version is the newest one, also where nothing was to be done."""

    version: int
    files_before: int = 0
    files_after: int = 0
    bytes_before: int = 0
    bytes_after: int = 0


@dataclass(frozen=True, slots=True)
class Swept:
    """Files taken away, their bytes, and files that wait for the grace period to end."""

    files: int
    size_bytes: int
    waiting: int


def prepared(before: Snapshot, keep: Keep | None, most_bytes: int) -> Prepared | None:
    """New files for the small ones of each part, and for all of a part that `keep` names; None where none are due."""
    portions = [
        (part, paths)
        for part in log.PARTS
        for paths in _portions(before.log.files[part], most_bytes, whole=part in (keep or {}))
    ]
    if not portions:
        return None
    written = collected(before.root, _written(before.root, portions, keep or {}))
    removed = tuple(_named(path, part) for part, paths in portions for path in paths)
    return Prepared(written, before.log.entry_number, tests=keep is not None, removed=removed)


def fits(work: Prepared, before: Snapshot) -> bool:
    """Whether what was made for an earlier version still stands in for files of this one."""
    there = {file for paths in before.log.files.values() for file in paths}
    return there.issuperset(before.root / log.TABLE / file.path for file in work.removed)


def sweep(root: Path, version: log.Version, grace_s: float = GRACE_S) -> Swept:
    """Take away files that rewriting took out of the archive, and those of writers that were cut off, after a time.

    Versions that stood on those files can then no longer be read; no test and no revision of one is lost.
    """
    now = time.time()
    live = {path for paths in version.files.values() for path in paths}
    out = log.superseded(root)
    gone, size, waiting = 0, 0, 0
    for path in sorted((root / log.TABLE).glob("part=*/*")):
        if path in live:
            continue
        with suppress(FileNotFoundError):  # another process sweeps too
            found = path.stat()
            since, grace = (out[path].at_s, grace_s) if path in out else (found.st_mtime, max(grace_s, _LEAST_GRACE_S))
            if now - since < grace:
                waiting += 1
                continue
            path.unlink()
            gone, size = gone + 1, size + found.st_size
    return Swept(gone, size, waiting)


def _portions(files: tuple[Path, ...], most_bytes: int, *, whole: bool) -> Iterator[list[Path]]:
    """Files to be put together, as far as memory allows; a large one goes alone, and only where it must."""
    portion: list[Path] = []
    filled = 0
    for path in files:
        size = _memory_bytes(path)
        if size > most_bytes // 2 and not whole:
            continue
        if portion and filled + size > most_bytes:
            yield portion
            portion, filled = [], 0
        portion.append(path)
        filled += size
    if len(portion) > 1 or (portion and whole):
        yield portion


def _memory_bytes(path: Path) -> int:
    try:
        metadata = pq.read_metadata(path)
    except (OSError, pa.ArrowException) as error:
        raise cannot_read(path, error) from None
    groups = (metadata.row_group(number) for number in range(metadata.num_row_groups))
    values: int = sum(group.column(n).num_values for group in groups for n in range(group.num_columns))
    return values * _VALUE_BYTES


def _written(root: Path, portions: list[tuple[log.Part, list[Path]]], keep: Keep) -> Iterator[log.Added]:
    for part, paths in portions:
        rows = pa.concat_tables([_rows(path, part) for path in paths])
        if part in keep:
            rows = rows.filter(keep[part](rows))
        yield parts.of_rows(root, part, rows)


def _rows(path: Path, part: log.Part) -> pa.Table:
    """All rows of a file in the columns of today. Refuses a file with columns that would be lost."""
    schema = tables.SCHEMAS[part]
    try:
        table = pq.read_table(path, partitioning=None)
    except (OSError, pa.ArrowException) as error:
        raise cannot_read(path, error) from None
    if newer := grown.unknown(table.schema, schema):
        found = f"{', '.join(newer[:3])}: columns that this release does not know"
        cure = "Use the newer release that wrote them; this one leaves the archive as it is."
        raise fault("archive-newer-columns", path, found, "columns of this release", cure)
    return pa.Table.from_batches([grown.filled(batch, schema) for batch in table.to_batches()], schema)


def _named(path: Path, part: log.Part) -> log.Added:
    return log.Added(f"{path.parent.name}/{path.name}", part, path.stat().st_size, pq.read_metadata(path).num_rows)
