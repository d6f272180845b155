"""Bytes to text in the order a manifest states, and rows to cells."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.reading.decode import Decoded, decode
from interchange.reading.rows import split_cells, trimmed


def test_the_first_encoding_that_holds_for_every_byte_is_taken() -> None:
    assert decode("m³".encode(), ("utf-8", "cp1252")) == Decoded("m³", "utf-8")
    assert decode("m³".encode("cp1252"), ("utf-8", "cp1252")) == Decoded("m³", "cp1252")
    assert decode("m³".encode("cp1252"), ("utf-8",)) is None
    assert decode(b"\x81", ("utf-8", "cp1252")) is None  # a byte that cp1252 leaves undefined


def test_a_byte_order_mark_is_taken_off_and_means_utf_8() -> None:
    assert decode(b"\xef\xbb\xbfa", ("cp1252", "utf-8")) == Decoded("a", "utf-8")
    assert decode(b"\xef\xbb\xbfa", ("cp1252",)) is None


def test_line_ends_become_one_kind() -> None:
    assert decode(b"a\r\nb\rc\nd", ("utf-8",)) == Decoded("a\nb\nc\nd", "utf-8")


def test_a_beginning_may_end_within_a_character() -> None:
    assert decode("m³".encode()[:-1], ("utf-8",), cut=True) == Decoded("m", "utf-8")
    assert decode("m³".encode()[:-1], ("utf-8",)) is None


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
