"""Decoded text: bytes in memory, or a temporary file that is searched and cut as bytes are, without being held."""

from __future__ import annotations

from typing import IO, TypeAlias

_WINDOW = 1 << 22


class LargeText:
    """UTF-8 in a file. Slices are read anew each time; the file goes with the last reference to it."""

    def __init__(self, file: IO[bytes]) -> None:
        self._file = file
        self._size = file.seek(0, 2)

    def __len__(self) -> int:
        return self._size

    def __getitem__(self, part: slice) -> bytes:
        start, stop, _ = part.indices(self._size)
        self._file.seek(start)
        return self._file.read(max(stop - start, 0))

    def find(self, mark: bytes, start: int = 0, stop: int | None = None) -> int:
        """Place of the first such bytes from `start` on, wholly before `stop`; -1 where there are none."""
        stop = self._size if stop is None else min(stop, self._size)
        for at in range(start, stop, _WINDOW):
            found = self[at : min(at + _WINDOW + len(mark) - 1, stop)].find(mark)
            if found >= 0:
                return at + found
        return -1

    def rfind(self, mark: bytes, start: int = 0, stop: int | None = None) -> int:
        """Place of the last such bytes from `start` on, wholly before `stop`; -1 where there are none."""
        end = self._size if stop is None else min(stop, self._size)
        while end - start >= len(mark):
            first = max(end - _WINDOW, start)
            found = self[first:end].rfind(mark)
            if found >= 0:
                return first + found
            if first == start:
                break
            end = first + len(mark) - 1
        return -1


Text: TypeAlias = bytes | LargeText
