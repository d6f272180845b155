"""Keeps out files that no gauge writes: too large, rows without end, thousands of columns, bytes that are no text."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.reading.decode import WIDE_MARKS

PIECE_BYTES = 1 << 20
DELIMITERS = (b",", b";", b"\t", b"|")


@dataclass(frozen=True, slots=True)
class Limits:
    """The most a source may hold."""

    file_bytes: int = 1 << 30
    row_bytes: int = 1_000_000
    columns: int = 4096


DEFAULT = Limits()


def load(source: Source) -> bytes:
    """The bytes of a source that has been checked."""
    return source.content if isinstance(source.content, bytes) else b"".join(pieces(source))


def pieces(source: Source) -> Iterator[bytes]:
    """The bytes of a source, piece by piece."""
    with source.open() as stream:
        while piece := stream.read(PIECE_BYTES):
            yield piece


def check(source: Source, limits: Limits = DEFAULT) -> Problem | None:
    """Why a source is refused, if it is. Reads piece by piece and stops at the first trouble."""
    if source.size_bytes > limits.file_bytes:
        return too_large(source, limits)
    size, row, row_bytes = 0, 1, 0
    wide, filled = False, False
    try:
        for piece in pieces(source):
            wide = piece.startswith(WIDE_MARKS) if size == 0 else wide
            size += len(piece)
            if size > limits.file_bytes:
                return too_large(source, limits, size)
            trouble = _trouble(piece, row, row_bytes, source.name, limits, wide=wide)
            if trouble is not None:
                return trouble
            last = piece.rfind(b"\n")
            row_bytes = row_bytes + len(piece) if last < 0 else len(piece) - last - 1
            row += piece.count(b"\n")
            filled = filled or bool(piece.strip())
    except OSError as error:
        return unreadable(source, error)
    return None if filled else _empty(Place(source.name), size)


def unreadable(source: Source, error: OSError) -> Problem:
    """A source that the system does not let be read."""
    return Problem(
        "file-unreadable",
        Place(source.name),
        error.strerror or str(error),
        "a file that can be read",
        "Check that it is still there and that you may read it.",
        blocks="file",
    )


def _trouble(piece: bytes, row: int, carried: int, file: str, limits: Limits, *, wide: bool) -> Problem | None:
    """What forbids reading on; `row` and `carried` are the row in which the piece begins and its bytes so far."""
    nul = -1 if wide else piece.find(b"\0")
    if nul >= 0:
        return _not_text(Place(file, row + piece.count(b"\n", 0, nul)))
    # only a row with as many bytes can have too many columns; one cut by the end of a piece may have twice the limit
    for start, end, length in _long_rows(piece, carried, limits.columns - 1):
        place = Place(file, row + piece.count(b"\n", 0, start))
        if length > limits.row_bytes:
            return _row_too_long(place, limits)
        columns = 1 + max(piece.count(mark, start, end) for mark in DELIMITERS)
        if columns > limits.columns:
            return _too_many_columns(place, columns, limits)
    return None


def _long_rows(piece: bytes, carried: int, threshold: int) -> list[tuple[int, int, int]]:
    """Start, end and whole length of the rows longer than the threshold; the first has `carried` bytes before it."""
    found = []
    start, size = 0, len(piece)
    while start < size:
        room = max(threshold - carried, 0)
        if size - start + carried <= threshold:
            break
        # the last line end within reach shows that every row before it is short: no need to look at each
        last = piece.rfind(b"\n", start, start + room + 1)
        if last >= 0:
            start, carried = last + 1, 0
            continue
        end = piece.find(b"\n", start)
        end = size if end < 0 else end
        found.append((start, end, carried + end - start))
        start, carried = end + 1, 0
    return found


def too_large(source: Source, limits: Limits, size: int | None = None) -> Problem:
    """A source with more bytes than any test file."""
    return Problem(
        "file-too-large",
        Place(source.name),
        f"{source.size_bytes if size is None else size:,} bytes",
        f"at most {limits.file_bytes:,} bytes",
        "Check that this is a test file; export a shorter stretch if it is one.",
        blocks="file",
    )


def _row_too_long(place: Place, limits: Limits) -> Problem:
    return Problem(
        "row-too-long",
        place,
        f"a row of more than {limits.row_bytes:,} bytes",
        "text in rows, as a gauge or a spreadsheet exports it",
        "Check that this is a test file and that it is whole.",
        blocks="file",
    )


def _too_many_columns(place: Place, columns: int, limits: Limits) -> Problem:
    return Problem(
        "too-many-columns",
        place,
        f"{columns:,} columns",
        f"at most {limits.columns:,} columns",
        "Check that this is a test file and that its rows end where they should.",
        blocks="file",
    )


def _not_text(place: Place) -> Problem:
    return Problem(
        "not-text",
        place,
        "a NUL byte, which no text holds but UTF-16 with its mark at the start",
        "text in UTF-8, or in an encoding that a plugin names",
        "Export the test as text (CSV); a binary memory file cannot be read.",
        blocks="file",
    )


def _empty(place: Place, size: int) -> Problem:
    return Problem(
        "file-empty",
        place,
        "no bytes" if size == 0 else "nothing but blanks",
        "a test",
        "Export the test again and send the new file.",
        blocks="file",
    )
