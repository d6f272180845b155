"""The guard refuses what no gauge writes, and never reads further than it must."""

from __future__ import annotations

import io
from pathlib import Path
from typing import BinaryIO

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading_inputs import SECTIONS, plugins, source

from interchange.errors import Place, Problem
from interchange.files import Source
from interchange.reading import guard
from interchange.reading.door import read_source
from interchange.reading.guard import Limits

TWO_GB = 2 * 1024**3


class _Counted(io.RawIOBase):
    """A stream that knows how many bytes were taken from it."""

    def __init__(self, inner: BinaryIO) -> None:
        self.inner, self.count = inner, 0

    def read(self, size: int = -1) -> bytes:
        data = self.inner.read(size)
        self.count += len(data)
        return data


class _CountedSource(Source):
    stream: _Counted

    def open(self) -> BinaryIO:
        object.__setattr__(self, "stream", _Counted(super().open()))
        return self.stream  # type: ignore[return-value]


def test_a_row_of_2_gb_is_refused_after_about_1_mb(tmp_path: Path) -> None:
    path = tmp_path / "endless.csv"
    path.write_bytes(b"a,b\n" + b"7" * (guard.PIECE_BYTES + 5))
    with path.open("r+b") as handle:
        handle.truncate(TWO_GB)
    endless = _CountedSource("endless.csv", "0" * 64, TWO_GB, path)
    problem = guard.check(endless, Limits(file_bytes=4 * 1024**3))
    assert isinstance(problem, Problem)
    assert str(problem) == (
        "endless.csv, row 2: found a row of more than 1,000,000 bytes; "
        "expected text in rows, as a gauge or a spreadsheet exports it. "
        "Check that this is a test file and that it is whole."
    )
    assert endless.stream.count == guard.PIECE_BYTES


def test_a_file_of_2_gb_is_refused_unread(tmp_path: Path) -> None:
    path = tmp_path / "huge.csv"
    path.touch()
    with path.open("r+b") as handle:
        handle.truncate(TWO_GB)
    outcome = read_source(Source("huge.csv", "0" * 64, TWO_GB, path), plugins())
    assert outcome.state == "refused"
    assert [str(problem) for problem in outcome.mapped.problems] == [
        "huge.csv: found 2,147,483,648 bytes; expected at most 1,073,741,824 bytes. "
        "Check that this is a test file; export a shorter stretch if it is one."
    ]


def test_a_file_that_grows_beyond_the_limit_while_it_is_read_is_refused() -> None:
    grown = Source("grown.csv", "0" * 64, 3, b"1,2\n" * 10)
    problem = guard.check(grown, Limits(file_bytes=20))
    assert isinstance(problem, Problem)
    assert problem.code == "file-too-large"


def test_an_empty_file_is_refused() -> None:
    outcome = read_source(source(b"", "empty.csv"), plugins())
    assert [str(problem) for problem in outcome.mapped.problems] == [
        "empty.csv: found no bytes; expected a test. Export the test again and send the new file."
    ]


@pytest.mark.parametrize("blanks", [b"\n", b" \r\n\t\n"])
def test_a_file_of_blanks_is_refused(blanks: bytes) -> None:
    problem = guard.check(source(blanks))
    assert isinstance(problem, Problem)
    assert (problem.code, problem.found) == ("file-empty", "nothing but blanks")


def test_a_binary_file_is_refused_at_its_first_nul_byte() -> None:
    outcome = read_source(source(b"PK\x03\x04\nabc\n\x00\x01", "memory.bin"), plugins())
    assert [str(problem) for problem in outcome.mapped.problems] == [
        "memory.bin, row 3: found a NUL byte, which no text holds but UTF-16 with its mark at the start; "
        "expected text in UTF-8, or in an encoding that a plugin names. "
        "Export the test as text (CSV); a binary memory file cannot be read."
    ]


def test_utf_16_is_text_by_its_mark_alone() -> None:
    for order in ("utf-16-le", "utf-16-be"):
        marked, bare = ("\ufeffa,b\n".encode(order), "a,b\n".encode(order))
        assert guard.check(source(marked)) is None
        problem = guard.check(source(bare))
        assert isinstance(problem, Problem)
        assert (problem.code, problem.place.row) == ("not-text", 1)


def test_a_file_in_utf_16_gives_the_session_it_gives_in_utf_8() -> None:
    outcome = read_source(source(SECTIONS.encode("utf-16")), plugins())
    (wide,), (plain,) = outcome.mapped.sessions, read_source(source(SECTIONS), plugins()).mapped.sessions
    assert wide.source.source_encoding == "utf-16"
    assert wide.model_dump(exclude={"session_id", "source"}) == plain.model_dump(exclude={"session_id", "source"})


def test_rows_of_more_than_4096_columns_are_refused() -> None:
    most = source("a\n" + ";" * 4095 + "\n")
    assert (guard.check(most), guard.load(most)) == (None, b"a\n" + b";" * 4095 + b"\n")
    problem = guard.check(source("a\n" + ";" * 4096 + "\n", "wide.csv"))
    assert isinstance(problem, Problem)
    assert (problem.code, problem.place, problem.found) == ("too-many-columns", Place("wide.csv", 2), "4,097 columns")


def test_a_row_may_have_just_a_million_bytes_even_across_pieces(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(guard, "PIECE_BYTES", 4096)
    for size, refused in ((1_000_000, False), (1_000_001, True)):
        outcome = guard.check(source(b"x\n" + b"y" * size + b"\nz\n"))
        assert isinstance(outcome, Problem) is refused
        if isinstance(outcome, Problem):
            assert outcome.place.row == 2


def test_a_file_that_has_gone_is_a_problem(tmp_path: Path) -> None:
    problem = guard.check(Source("gone.csv", "0" * 64, 5, tmp_path / "gone.csv"))
    assert str(problem) == (
        "gone.csv: found No such file or directory; expected a file that can be read. "
        "Check that it is still there and that you may read it."
    )
    outcome = read_source(Source("gone.csv", "0" * 64, 5, tmp_path / "gone.csv"), plugins())
    assert (outcome.state, outcome.mapped.problems) == ("refused", (problem,))


@given(st.lists(st.integers(0, 60), min_size=1, max_size=40), st.integers(1, 16))
def test_the_longest_row_decides_wherever_pieces_end(lengths: list[int], piece: int) -> None:
    data = b"\n".join(b"x" * length for length in [*lengths, 1])
    limits = Limits(row_bytes=30, columns=5)
    before = guard.PIECE_BYTES
    guard.PIECE_BYTES = piece
    try:
        outcome = guard.check(source(data), limits)
    finally:
        guard.PIECE_BYTES = before
    first_long = next((row for row, length in enumerate(lengths, 1) if length > 30), None)
    found = outcome.place.row if isinstance(outcome, Problem) else None
    assert found == first_long
