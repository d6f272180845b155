"""Bytes to text in the order a manifest states, and rows to cells."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.model.manifest import Layout
from interchange.reading.decode import decode, decode_stream
from interchange.reading.rows import split_cells, trimmed


def _layout(*encodings: str, delimiter: str = ",") -> Layout:
    return Layout.model_validate({"encodings": encodings, "delimiter": delimiter, "decimal_mark": "."})


def _read(data: bytes, *encodings: str, cut: bool = False) -> tuple[bytes, str] | None:
    """What the bytes become at once; where they are whole, it is what they become piece by piece too."""
    found = decode(data, _layout(*encodings), cut=cut)
    if not cut:
        for size in (3, 4, 7):  # the first piece always holds the mark whole
            pieces = [data[at : at + size] for at in range(0, len(data), size)]
            streamed = decode_stream(lambda pieces=pieces: pieces, _layout(*encodings))  # type: ignore[misc]
            assert (streamed is None) == (found is None)
            if streamed is not None and found is not None:
                assert (streamed.data[:], streamed.encoding) == (found.data, found.encoding)
    return None if found is None else (found.data[:], found.encoding)


def test_the_first_encoding_that_holds_for_every_byte_is_taken() -> None:
    both = ("utf-8", "cp1252")
    assert _read("m³".encode(), *both) == ("m³".encode(), "utf-8")
    assert _read("m³".encode("cp1252"), *both) == ("m³".encode(), "cp1252")
    assert _read("m³".encode("cp1252"), "utf-8") is None
    assert _read(b"\x81", *both) is None  # a byte that cp1252 leaves undefined
    # code page 850 keeps the cube of m³ at FC hex, where ISO 8859-1 has ü (tables of the Unicode consortium)
    assert _read(b"m\xfc", "utf-8", "cp850") == ("m³".encode(), "cp850")
    assert _read(b"m\xfc", "utf-8", "latin-1") == ("mü".encode(), "latin-1")


def test_a_byte_order_mark_is_taken_off_and_means_utf_8() -> None:
    assert _read(b"\xef\xbb\xbfa", "cp1252", "utf-8") == (b"a", "utf-8")
    assert _read(b"\xef\xbb\xbfa", "cp1252") is None


@pytest.mark.parametrize("order", ["utf-16-le", "utf-16-be"])
def test_the_mark_of_utf_16_proves_it_whatever_is_listed(order: str) -> None:
    data = "\ufeffm³;°\r\n€\n".encode(order)
    assert _read(data, "cp1252") == ("m³;°\n€\n".encode(), "utf-16")
    assert _read(data[:-1], "cp1252") is None  # half of its last character is gone
    assert _read(data[:-1], "cp1252", cut=True) == ("m³;°\n€".encode(), "utf-16")


def test_line_ends_become_one_kind() -> None:
    assert _read(b"a\r\nb\rc\nd", "utf-8") == (b"a\nb\nc\nd", "utf-8")


def test_a_beginning_may_end_within_a_character() -> None:
    assert _read("m³".encode()[:-1], "utf-8", cut=True) == (b"m", "utf-8")
    assert _read("m³".encode()[:-1], "utf-8") is None


def test_runs_of_blanks_part_cells_where_the_layout_says_so() -> None:
    data = b"  step  \t flow\n 1\t\t 2.5 \n\n"
    whole = decode(data, _layout("utf-8", delimiter="blanks"))
    assert whole is not None
    assert whole.text == "step\tflow\n1\t2.5\n\n"
    streamed = decode_stream(lambda: [data[:9], data[9:]], _layout("utf-8", delimiter="blanks"))
    assert streamed is not None
    assert streamed.text == whole.text


_LINES = st.text(st.sampled_from("a³;\r\n\t €"), max_size=30)


@given(_LINES, st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]), st.integers(3, 7))
def test_a_text_in_pieces_is_the_text_at_once(text: str, encoding: str, size: int) -> None:
    data = text.encode(encoding)
    layout = _layout("utf-8", "cp1252")
    streamed = decode_stream(lambda: [data[at : at + size] for at in range(0, len(data), size)], layout)
    whole = decode(data, layout)
    assert streamed is not None
    assert whole is not None
    assert (streamed.text, streamed.encoding) == (whole.text, whole.encoding)
    if encoding != "cp1252":  # what cp1252 writes may be UTF-8 of something else
        assert whole.text == text.replace("\r\n", "\n").replace("\r", "\n")


@pytest.mark.parametrize("line", ['a,"b', 'a,"b"c', '"a""', 'a,"b,c', '3" pipe,x'])
def test_quotes_that_do_not_pair_give_no_cells(line: str) -> None:
    assert split_cells(line, ",") is None


@given(st.lists(st.text(st.sampled_from('ab,;" '), max_size=6), min_size=2, max_size=6))
def test_cells_written_by_the_csv_module_come_back(cells: list[str]) -> None:
    written = io.StringIO()
    csv.writer(written, lineterminator="").writerow(cells)
    assert split_cells(written.getvalue(), ",") == cells


def test_empty_cells_at_the_end_are_taken_off() -> None:
    assert trimmed(["a", "", "b", " ", ""]) == ["a", "", "b"]
    assert trimmed(["", ""]) == []
