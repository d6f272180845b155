"""Keeps out files that no gauge writes: too large, rows without end, thousands of columns, bytes that are no text."""

from __future__ import annotations

from dataclasses import dataclass

from interchange.errors import Place, Problem
from interchange.files import Source

PIECE_BYTES = 1 << 20
DELIMITERS = (b",", b";", b"\t", b"|")


@dataclass(frozen=True, slots=True)
class Limits:
    """The most a source may hold."""

    file_bytes: int = 1 << 30
    row_bytes: int = 1_000_000
    columns: int = 4096


DEFAULT = Limits()


def load(source: Source, limits: Limits = DEFAULT) -> bytes | Problem:
    """The bytes of a source, or why it is refused. Reads piece by piece and stops at the first trouble."""
    place = Place(source.name)
    if source.size_bytes > limits.file_bytes:
        return _too_large(place, source.size_bytes, limits)
    pieces: list[bytes] = []
    size, row, row_bytes = 0, 1, 0
    try:
        with source.open() as stream:
            while piece := stream.read(PIECE_BYTES):
                size += len(piece)
                if size > limits.file_bytes:
                    return _too_large(place, size, limits)
                trouble = _trouble(piece, row, row_bytes, source.name, limits)
                if trouble is not None:
                    return trouble
                last = piece.rfind(b"\n")
                row_bytes = row_bytes + len(piece) if last < 0 else len(piece) - last - 1
                row += piece.count(b"\n")
                pieces.append(piece)
    except OSError as error:
        return Problem(
            "file-unreadable",
            place,
            error.strerror or str(error),
            "a file that can be read",
            "Check that it is still there and that you may read it.",
            blocks="file",
        )
    data = pieces[0] if len(pieces) == 1 else b"".join(pieces)
    return data if data.strip() else _empty(place, len(data))


def _trouble(piece: bytes, row: int, carried: int, file: str, limits: Limits) -> Problem | None:
    """What forbids reading on; `row` and `carried` are the row in which the piece begins and its bytes so far."""
    nul = piece.find(b"\0")
    if nul >= 0:
        return _not_text(Place(file, row + piece.count(b"\n", 0, nul)), piece)
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


def _too_large(place: Place, size: int, limits: Limits) -> Problem:
    return Problem(
        "file-too-large",
        place,
        f"{size:,} bytes",
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


def _not_text(place: Place, piece: bytes) -> Problem:
    wide = piece.startswith((b"\xff\xfe", b"\xfe\xff"))
    return Problem(
        "not-text",
        place,
        "text in UTF-16" if wide else "a NUL byte, which no text holds",
        "text in UTF-8, or in an encoding that a plugin names",
        "Save it anew as CSV in UTF-8."
        if wide
        else "Export the test as text (CSV); a binary memory file or a workbook cannot be read.",
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
