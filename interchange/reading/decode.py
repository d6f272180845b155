"""Bytes to text, strictly, in the order of encodings a manifest gives. Nothing is guessed."""

from __future__ import annotations

import codecs
from collections.abc import Sequence
from dataclasses import dataclass

BYTE_ORDER_MARK = codecs.BOM_UTF8


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
        if "\r" in text:
            text = text.replace("\r\n", "\n").replace("\r", "\n")
        return Decoded(text, encoding)
    return None
