"""Values of a channel as they come; beyond what memory should hold they lie in a temporary file."""

from __future__ import annotations

import tempfile
from collections.abc import Iterator
from typing import IO

import pyarrow as pa
import pyarrow.compute as pc

SPILL_VALUES = 1 << 20
PIECE_VALUES = 1 << 20
_WIDTH = 8
_NOTHING = float("nan")


class Series:
    """A column of numbers that grows, null where there is no value. Reads as an Arrow array does."""

    def __init__(self) -> None:
        self._parts: list[pa.Array] = []
        self._file: IO[bytes] | None = None
        self._count = self._waiting = self.null_count = 0

    def append(self, values: pa.Array) -> None:
        """Take in further values, finite or null."""
        self._parts.append(values)
        self._count += len(values)
        self._waiting += len(values)
        self.null_count += values.null_count
        if self._waiting >= SPILL_VALUES:
            self._spill()

    def _spill(self) -> None:
        if self._file is None:
            # it goes with the last reference to it
            self._file = tempfile.TemporaryFile(prefix="interchange-")  # noqa: SIM115
        for part in self._parts:
            plain = pc.fill_null(part, _NOTHING).cast(pa.float64())
            buffer = plain.buffers()[1]
            self._file.write(memoryview(buffer)[plain.offset * _WIDTH : (plain.offset + len(plain)) * _WIDTH])
        self._parts, self._waiting = [], 0

    def finished(self) -> pa.Array | Series:
        """The values: an Arrow array where they are few, else this."""
        if self._file is not None:
            self._spill()
            self._file.flush()
            return self
        if len(self._parts) == 1:
            return self._parts[0]
        return pa.concat_arrays(self._parts) if self._parts else pa.array([], pa.float64())

    def __len__(self) -> int:
        return self._count

    def slice(self, offset: int = 0, length: int | None = None) -> pa.Array:
        """Values from `offset` on, at most `length`, as an Arrow array."""
        if self._file is None:
            raise AssertionError("only finished series are read")
        count = max(min(self._count - offset, self._count if length is None else length), 0)
        self._file.seek(offset * _WIDTH)
        plain = pa.Array.from_buffers(pa.float64(), count, [None, pa.py_buffer(self._file.read(count * _WIDTH))])
        return pc.if_else(pc.is_nan(plain), pa.scalar(None, pa.float64()), plain)

    def to_pylist(self) -> list[float | None]:
        """All values."""
        values: list[float | None] = self.slice().to_pylist()
        return values


def shifted(values: pa.Array | Series, by: float) -> pa.Array | Series:
    """The values plus a number."""
    if not by:
        return values
    found = Series()
    for _, part in pieces(values):
        found.append(pc.add(part, by))
    return found.finished()


def pieces(values: pa.Array | Series, length: int = PIECE_VALUES) -> Iterator[tuple[int, pa.Array]]:
    """Stretches of the values with the position of their first."""
    for first in range(0, len(values), length):
        yield first, values.slice(first, length)
