"""Each sample of each plugin: written otherwise it gives the same sessions, and damaged it never gives other values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import pytest
from shipped_samples import Sample, content, outcome, samples

SAMPLES = pytest.mark.parametrize("sample", samples(), ids=str)


def _blanks(sample: Sample) -> Sample:
    """A blank after each cell of the tables, and after every other row."""
    wide = sample.with_tables(lambda _, cells: [f"{cell} " for cell in cells])
    return replace(
        wide,
        lines=tuple(f"{line} " if line == old else line for line, old in zip(wide.lines, sample.lines, strict=True)),
    )


def _fixed(sample: Sample) -> list[int]:
    """Tables whose whole header a layout is known by: it has its order and no more columns."""
    rows = {tuple(row) for row in sample.plugin.manifest.recognise.rows}
    return [table.block for table in sample.extract().tables if table.header in rows]


def _extra_column(sample: Sample) -> Sample:
    """A further column of every table; in a table that stands across, a further row."""
    if sample.transposed:
        width = max(len(sample.cells(row)) for row in range(1, len(sample.lines) + 1))
        return replace(sample, lines=(*sample.lines, sample.mark.join(["Unheard of", *["?"] * (width - 1)])))
    texts = {"header": "Unheard of", "units": "", "row": "?"}
    return sample.with_tables(lambda kind, cells: [*cells, texts[kind]], _fixed(sample))


def _turned(sample: Sample) -> Sample:
    """The columns of every table from right to left; in a table that stands across, its rows from below."""
    if sample.transposed:
        return replace(sample, lines=sample.lines[::-1])
    return sample.with_tables(lambda _, cells: cells[::-1], _fixed(sample))


SAME: dict[str, Callable[[Sample], str | bytes]] = {
    "byte order mark": lambda sample: b"\xef\xbb\xbf" + sample.text.encode(),
    "UTF-16": lambda sample: sample.text.encode("utf-16"),
    "LF": lambda sample: sample.text,
    "CRLF": lambda sample: sample.text.replace("\n", "\r\n"),
    "CR": lambda sample: sample.text.replace("\n", "\r"),
    "blanks after cells": lambda sample: _blanks(sample).text,
    "blank rows at the end": lambda sample: sample.text + "\n \n\n",
    "a further column": lambda sample: _extra_column(sample).text,
    "columns turned": lambda sample: _turned(sample).text,
}


@pytest.mark.parametrize("change", SAME)
@SAMPLES
def test_what_means_the_same_gives_the_same_sessions(sample: Sample, change: str) -> None:
    plain = outcome(sample, sample.path.read_bytes())
    assert plain.state == "imported"
    changed = SAME[change](sample)
    found = outcome(sample, changed)
    assert found.state == "imported", [str(problem) for problem in found.mapped.problems]
    assert content(found) == content(plain)
    codes = sorted(problem.code for problem in found.mapped.problems)
    assert codes == sorted(problem.code for problem in plain.mapped.problems)


@SAMPLES
def test_a_further_column_is_kept(sample: Sample) -> None:
    kept = [one.kept_name for session in outcome(_extra_column(sample)).mapped.sessions for one in session.kept]
    assert "Unheard of" in kept
