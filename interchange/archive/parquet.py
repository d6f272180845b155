"""Writing Parquet files whose names carry their own hash, with the encoding each column's values ask for."""

from __future__ import annotations

import hashlib
import secrets
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

import pyarrow as pa
import pyarrow.compute as pc
import pyarrow.parquet as pq

from interchange.files import fsync_file

SUFFIX = ".parquet"
_SAMPLE = 65_536
_MOST_DISTINCT = 4_000  # measured: up to here a dictionary beats byte-stream split, at a gauge's resolution by far


@dataclass(frozen=True, slots=True)
class Written:
    """A Parquet file on disk: its path, size and rows."""

    path: Path
    size_bytes: int
    rows: int


def write(folder: Path, groups: Iterable[pa.Table], sample: pa.Table, prefix: str = "") -> Written:
    """Write tables as the row groups of one durable file named `<prefix><sha256>.<random>.parquet`.

    `sample` has the schema of them all and decides the encoding of its float columns.
    """
    folder.mkdir(parents=True, exist_ok=True)
    part = folder / f".{secrets.token_hex(8)}.part"
    quantised, continuous = _encodings(sample)
    try:
        rows = 0
        with pq.ParquetWriter(
            part,
            sample.schema,
            compression="zstd",
            compression_level=3,
            use_dictionary=quantised,
            column_encoding=dict.fromkeys(continuous, "BYTE_STREAM_SPLIT"),
        ) as writer:
            for group in groups:
                writer.write_table(group, row_group_size=max(group.num_rows, 1))
                rows += group.num_rows
        fsync_file(part)
        path = folder / f"{prefix}{sha256(part)}.{secrets.token_hex(4)}{SUFFIX}"
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)
    return Written(path, path.stat().st_size, rows)


def sha256(path: Path) -> str:
    """Hash of a file's bytes, as hex digits."""
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def named_sha256(path: Path) -> str:
    """The hash that a file's name promises; "" for a name that is not one of ours."""
    first = path.name.split(".")[-3:][0]
    return first if path.suffix == SUFFIX and len(first) == 64 else ""


def _encodings(sample: pa.Table) -> tuple[list[str], list[str]]:
    quantised, continuous = [], []
    for name in sample.column_names:
        for path, values in _leaves(name, sample[name].combine_chunks()):
            if pa.types.is_floating(values.type) and not _repeats(values):
                continuous.append(path)
            else:
                quantised.append(path)
    return quantised, continuous


def _leaves(path: str, values: pa.Array) -> Iterable[tuple[str, pa.Array]]:
    if pa.types.is_list(values.type):
        yield from _leaves(f"{path}.list.element", values.flatten())
    elif pa.types.is_struct(values.type):
        for index, field in enumerate(values.type):
            yield from _leaves(f"{path}.{field.name}", values.field(index))
    else:
        yield path, values


def _repeats(values: pa.Array) -> bool:
    known = values.drop_null()
    step = len(known) // _SAMPLE + 1
    sample = known.take(pa.array(range(0, len(known), step), pa.int64())) if step > 1 else known
    return int(pc.count_distinct(sample).as_py()) <= min(_MOST_DISTINCT, len(sample) // 2)
