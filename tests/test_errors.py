"""Problems say where, what was found, what was expected, what to do; many of a kind are told once."""

from __future__ import annotations

from pathlib import Path

import pytest

from interchange.errors import Place, Problem, grouped
from interchange.files import write_atomically


def _problem(row: int, column: str = "Flow") -> Problem:
    return Problem(
        "not-a-number", Place("a.csv", row, column), "'12,x'", "a number", "Correct the cell.", blocks="cell"
    )


def test_a_problem_says_where_what_and_what_to_do() -> None:
    assert str(_problem(14)) == "a.csv, row 14, column 'Flow': found '12,x'; expected a number. Correct the cell."


def test_problems_of_one_kind_in_one_column_are_told_once_with_their_count() -> None:
    folded = grouped([_problem(14), _problem(15), _problem(15, "Pressure")])
    assert [(p.place.row, p.place.column, p.count) for p in folded] == [(14, "Flow", 2), (15, "Pressure", 1)]
    assert str(folded[0]).endswith("(2 times; this is the first)")


def test_a_file_is_written_whole_or_not_at_all(tmp_path: Path) -> None:
    path = tmp_path / "a.txt"
    write_atomically(path, b"old")
    with pytest.raises(TypeError):
        write_atomically(path, "no bytes")  # type: ignore[arg-type]
    assert path.read_bytes() == b"old"
    assert [p.name for p in tmp_path.iterdir()] == ["a.txt"]
