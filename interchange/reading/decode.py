"""Bytes to text, strictly, in the order of encodings a manifest gives. Nothing is guessed."""

from __future__ import annotations

import codecs
from collections.abc import Sequence
from dataclasses import dataclass

from interchange.errors import Place, Problem

BYTE_ORDER_MARK = codecs.BOM_UTF8
_NAMES = {"utf-8": "UTF-8", "cp1252": "Western code page 1252"}


@dataclass(frozen=True, slots=True)
class Decoded:
    """Text whose rows all end in a line feed alone, and the encoding that held for every byte of it."""

    text: str
    encoding: str


def decode(data: bytes, encodings: Sequence[str], *, cut: bool = False) -> Decoded | None:
    """The text in the first encoding that holds for every byte, without byte order mark; None where none does.

    `cut` says that the data is the beginning of something longer, so that its last character may be incomplete.
    """
    marked = data.startswith(BYTE_ORDER_MARK)
    for encoding in encodings:
        if marked and encoding != "utf-8":
            continue
        decoder = codecs.getincrementaldecoder(encoding)("strict")
        try:
            text = decoder.decode(data[len(BYTE_ORDER_MARK) :] if marked else data, final=not cut)
        except UnicodeDecodeError:
            continue
        return Decoded(with_line_feeds(text), encoding)
    return None


def with_line_feeds(text: str) -> str:
    """The text with rows that end in a line feed alone."""
    return text.replace("\r\n", "\n").replace("\r", "\n") if "\r" in text else text


def refused(file: str, data: bytes, encodings: Sequence[str]) -> Problem:
    """Data that is text in none of the encodings, at the row where the encoding that gets furthest stops."""
    furthest = 0
    for encoding in encodings:
        try:
            data.decode(encoding)
        except UnicodeDecodeError as error:
            furthest = max(furthest, error.start)
    before = with_line_feeds(data[:furthest].decode("latin-1"))
    names = " or ".join(_NAMES.get(encoding, encoding) for encoding in encodings)
    place, cure = Place(file, before.count("\n") + 1), "Save it anew as CSV in UTF-8."
    return Problem("encoding", place, f"a character that is not {names}", f"text in {names}", cure, blocks="file")
