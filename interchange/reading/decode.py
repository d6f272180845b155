"""Bytes to text, strictly, in the order of encodings a manifest gives. Nothing is guessed."""

from __future__ import annotations

import codecs
import re
import tempfile
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

from interchange.errors import Place, Problem
from interchange.model.manifest import Layout
from interchange.reading.text import LargeText, Text

WIDE_MARKS = (codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)
_NAMES = {
    "utf-8": "UTF-8",
    "utf-16": "UTF-16",
    "cp1252": "Western code page 1252",
    "cp850": "Western code page 850",
    "latin-1": "ISO 8859-1",
}
_BLANKS = re.compile("[ \t]+")


@dataclass(frozen=True, slots=True)
class Decoded:
    """UTF-8 whose rows all end in a line feed alone, and the encoding that held for every byte of the source."""

    data: Text
    encoding: str

    @property
    def text(self) -> str:
        """The whole as text."""
        return self.data[:].decode("utf-8")


def decode(data: bytes, layout: Layout, *, cut: bool = False) -> Decoded | None:
    """The text in the first encoding that holds for every byte, without byte order mark; None where none does.

    Runs of blanks become tabs where the layout parts cells by them. `cut` says that the data is the beginning of
    something longer, so that its last character may be incomplete.
    """
    for encoding in _possible(data, layout.encodings):
        try:
            if encoding == "utf-8" and not cut and not data.startswith(codecs.BOM_UTF8) and b"\r" not in data:
                text = data.decode()
                return Decoded(data if layout.delimiter != "blanks" else _parted(text, layout).encode(), encoding)
            text = "".join(_pieces([data], encoding, cut=cut))
        except UnicodeDecodeError:
            continue
        return Decoded(_parted(text, layout).encode(), encoding)
    return None


def decode_stream(pieces: Callable[[], Iterable[bytes]], layout: Layout) -> Decoded | None:
    """As `decode`, for a source that is too large for memory; `pieces` gives its bytes anew at each call.

    The text lies in a temporary file without a name, which goes when it is no longer used.
    """
    first = next(iter(pieces()), b"")
    for encoding in _possible(first, layout.encodings):
        file = tempfile.TemporaryFile(prefix="interchange-")  # noqa: SIM115 (goes with the text)
        try:
            for text in _pieces(pieces(), encoding, cut=False):
                file.write(_parted(text, layout).encode())
        except UnicodeDecodeError:
            continue
        return Decoded(LargeText(file), encoding)
    return None


def _possible(data: bytes, encodings: Sequence[str]) -> list[str]:
    """The encodings that the mark at the start of a text allows; that of UTF-16 proves itself, whatever is listed."""
    if data.startswith(WIDE_MARKS):
        return ["utf-16"]
    marked = data.startswith(codecs.BOM_UTF8)
    return [encoding for encoding in encodings if encoding == "utf-8" or not marked]


def _pieces(pieces: Iterable[bytes], encoding: str, *, cut: bool) -> Iterator[str]:
    """Decoded stretches, each of whole rows but the last, in line feeds and without byte order mark."""
    decoder = codecs.getincrementaldecoder("utf-8-sig" if encoding == "utf-8" else encoding)("strict")
    waiting = ""
    for piece in pieces:
        waiting += decoder.decode(piece)
        # a carriage return at the end may be half of a line end
        end = waiting.rfind("\n") + 1 or waiting.rfind("\r", 0, len(waiting) - 1) + 1
        if end:
            yield with_line_feeds(waiting[:end])
            waiting = waiting[end:]
    yield with_line_feeds(waiting + decoder.decode(b"", not cut))


def _parted(text: str, layout: Layout) -> str:
    if layout.delimiter != "blanks":
        return text
    return "\n".join(_BLANKS.sub("\t", line.strip(" \t")) for line in text.split("\n"))


def with_line_feeds(text: str) -> str:
    """The text with rows that end in a line feed alone."""
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def refused(file: str, data: bytes, encodings: Sequence[str]) -> Problem:
    """Data that is text in none of the encodings, at the row where the encoding that gets furthest stops."""
    encodings = _possible(data, encodings) or encodings
    furthest, before = 0, ""
    for encoding in encodings:
        try:
            data.decode(encoding)
        except UnicodeDecodeError as error:
            if error.start > furthest:
                furthest, before = error.start, with_line_feeds(data[: error.start].decode(encoding))
    names = " or ".join(_NAMES[encoding] for encoding in encodings)
    place, cure = Place(file, before.count("\n") + 1), "Save it anew as CSV in UTF-8."
    return Problem("encoding", place, f"a character that is not {names}", f"text in {names}", cure, blocks="file")
