"""Each sample of each plugin, damaged: the place is told, and no session has a value that the whole file has not."""

from __future__ import annotations

from collections.abc import Iterator
from copy import deepcopy
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from shipped_samples import Sample, content, outcome, samples

from interchange.errors import Problem
from interchange.model.manifest import level_of
from interchange.model.mapping import is_number
from interchange.reading.layout import texts_of

SAMPLES = pytest.mark.parametrize("sample", samples(), ids=str)


def _blocking(sample: Sample) -> list[Problem]:
    """What forbids taking a damaged sample in; nothing of it is."""
    found = outcome(sample)
    assert found.state == "refused", found.state
    return [problem for problem in found.mapped.problems if problem.blocks in ("session", "file")]


def _rows(sample: Sample) -> Iterator[int]:
    """The first, a middle and the last row of each table; of one that stands across, of its names."""
    for table in sample.extract().tables:
        rows = list(table.name_rows) or texts_of(table, -1).to_pylist()
        yield from sorted({rows[0], rows[len(rows) // 2], rows[-1]})


def _alone(sample: Sample) -> Iterator[int]:
    """The rows that alone in their table have an empty last cell."""
    for table in sample.extract().tables:
        texts = texts_of(table, len(table.header) - 1).to_pylist()
        empty = [row for row, text in zip(texts_of(table, -1).to_pylist(), texts, strict=True) if not text.strip()]
        yield from empty if len(empty) == 1 and not table.across else ()


def _assert_told(sample: Sample, row: int) -> None:
    assert row in [problem.place.row for problem in _blocking(sample)]


# a row that is not whole


@SAMPLES
def test_a_row_cut_in_the_middle_is_told(sample: Sample) -> None:
    for row in _rows(sample):
        line = sample.lines[row - 1]
        cells = sample.cells(row)
        _assert_told(sample.with_row(row, cells[: len(cells) // 2]), row)
        broken = list(sample.lines)
        broken[row - 1] = line[: line.rindex(sample.mark)]
        _assert_told(Sample(sample.plugin, sample.path, tuple(broken), sample.files, sample.crlf), row)


@SAMPLES
def test_a_cell_removed_so_that_others_shift_is_told(sample: Sample) -> None:
    for row in _rows(sample):
        cells = sample.cells(row)
        for at in range(len(cells)):
            short = sample.with_row(row, cells[:at] + cells[at + 1 :])
            if sample.transposed and at == 0:
                assert _blocking(short)
            else:
                _assert_told(short, row)


@SAMPLES
def test_a_cell_too_many_is_told(sample: Sample) -> None:
    """But for a last cell that is empty in this row alone: then the row looks like one with a mark after it."""
    alone = set(_alone(sample))
    for row in _rows(sample):
        cells = sample.cells(row)
        if row in alone:
            continue
        for at in range(len(cells)):
            wide = sample.with_row(row, [*cells[:at], "7", *cells[at:]])
            if sample.transposed and at == 0:  # another name, by which nobody knows the layout
                assert _blocking(wide)
            else:
                _assert_told(wide, row)


@SAMPLES
def test_a_header_or_units_with_a_cell_less_or_more_give_no_other_values(sample: Sample) -> None:
    """But where every row then has an empty cell too many, as where a mark stands after each row."""
    plain = content(outcome(sample))
    extract = sample.extract()
    for owner in extract.owners:
        if owner.kind not in ("header", "units") or sample.transposed:
            continue
        for row in range(owner.first_row, owner.last_row + 1):
            table = min(extract.tables, key=lambda table: abs(table.header_row - row))
            cells = sample.cells(row)
            ends = texts_of(table, len(table.header) - 1).to_pylist()
            changes = [[*cells[:at], "", *cells[at:]] for at in range(len(cells))]
            if any(end.strip() for end in ends) or owner.kind == "units":
                changes += [cells[:at] + cells[at + 1 :] for at in range(len(cells))]
            for changed in changes:
                found = outcome(sample.with_row(row, changed))
                assert found.state != "imported" or content(found) == plain


# a number that is none


def _numbers(sample: Sample) -> Iterator[tuple[int, int, int | None, str | None]]:
    """Physical row and position of some cells that hold numbers, and which part of the cell does where it has parts."""
    for table in sample.extract().tables:
        block = sample.block(table)
        rows = texts_of(table, -1).to_pylist()
        for column in block.fields:
            if column.to is None or not is_number(column.to) or column.name not in table.header:
                continue
            if block.each_row == "sample" and level_of(block, column.to) == "session":
                continue  # it stands the same in every row: one that differs is told
            position = table.header.index(column.name)
            texts = texts_of(table, position).to_pylist()
            filled = [at for at, text in enumerate(texts) if _has_digits(_part(text, column.part, column.part_mark))]
            for at in sorted({filled[0], filled[-1]}) if filled else ():
                place = (table.name_rows[position], rows[at] - 1) if table.across else (rows[at], position)
                yield *place, column.part, column.part_mark


def _part(text: str, part: int | None, mark: str | None) -> str:
    if part is None or mark is None:
        return text
    parts = text.split(mark)
    return parts[part - 1] if len(parts) >= part else ""


def _has_digits(text: str) -> bool:
    return len([character for character in text if character.isdigit()]) > 1


def _with_letter(text: str) -> str:
    """The text with a letter before the last of its digits."""
    at = max(index for index, character in enumerate(text) if character.isdigit())
    return f"{text[:at]}x{text[at:]}"


@SAMPLES
def test_a_letter_within_a_number_is_told(sample: Sample) -> None:
    for row, at, part, mark in _numbers(sample):
        cells = sample.cells(row)
        if part is None or mark is None:
            damaged = _with_letter(cells[at])
        else:
            parts = cells[at].split(mark)
            damaged = mark.join([*parts[: part - 1], _with_letter(parts[part - 1]), *parts[part:]])
        _assert_told(sample.with_row(row, [*cells[:at], damaged, *cells[at + 1 :]]), row)


@SAMPLES
def test_a_letter_within_a_number_beside_a_key_is_told(sample: Sample) -> None:
    extract = sample.extract()
    for entry in extract.entries:
        block = None if entry.block is None else sample.plugin.manifest.block[entry.block]
        fields = () if block is None else [field for field in block.fields if field.name == entry.key]
        if not any(field.to is not None and is_number(field.to) for field in fields):
            continue
        if not _has_digits(entry.text):
            continue
        line = sample.lines[entry.row - 1]
        start = line.index(entry.text, len(entry.key))
        damaged = f"{line[:start]}{_with_letter(entry.text)}{line[start + len(entry.text) :]}"
        lines = (*sample.lines[: entry.row - 1], damaged, *sample.lines[entry.row :])
        _assert_told(Sample(sample.plugin, sample.path, lines, sample.files, sample.crlf), entry.row)


# tables that are gone


@SAMPLES
def test_a_table_without_its_rows_is_told(sample: Sample) -> None:
    for table in sample.extract().tables:
        rows = texts_of(table, -1).to_pylist()
        if table.across:
            first = tuple(sample.cells(row)[0] for row in table.name_rows)
            assert [p.code for p in _blocking(Sample(sample.plugin, sample.path, first, {}, False))] == ["table-empty"]
            continue
        gone = range(min(rows), max(rows) + 1)
        found = [problem.code for problem in _blocking(sample.without(list(gone)))]
        assert found[0] == "table-empty"


# files cut short


def _fits(cut: Any, whole: Any) -> bool:
    """Whether all of a value stands in another: no field has another value, and lists at most end sooner."""
    if isinstance(cut, dict) and isinstance(whole, dict):
        return all(name in _COUNTED or (name in whole and _fits(value, whole[name])) for name, value in cut.items())
    if isinstance(cut, list) and isinstance(whole, list):
        return len(cut) <= len(whole) and all(map(_fits, cut, whole))
    return bool(cut == whole)


# what follows from how many rows there are: a shorter file has fewer, and says so by these
_COUNTED = {"sample_count", "missing_count", "kind"}


@SAMPLES
def test_a_file_that_ends_after_any_of_its_rows_has_no_other_values(sample: Sample) -> None:
    """Nothing proves that rows are missing at the end of a file: then it has fewer tests, points or samples."""
    whole = content(outcome(sample))
    for count in sorted({1, *range(2, len(sample.lines), max(1, len(sample.lines) // 25))}):
        cut = Sample(sample.plugin, sample.path, sample.lines[:count], sample.files, sample.crlf)
        found = outcome(cut)
        if found.state == "imported":
            assert _fits(_plain(content(found)), _plain(whole)), count


def _plain(documents: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """With the times of logs written out, and without baselines of the last run: fewer rows have other means."""
    documents = deepcopy(documents)
    for document in documents:
        for run in document.get("runs", ())[-1:]:
            for name in [name for name in run if name.startswith("baseline_")]:
                del run[name]
        for channel in document.get("channels", ()):
            channel.pop("interval_s", None)
        for trace in document["traces"]:
            step = trace.pop("interval_s") or 0.0
            even = [trace["start_s"] + index * step for index in range(len(trace["values"]))]
            trace["time_s"] = [round(time, 6) for time in trace["time_s"] or even]
    return documents


@given(st.data())
@settings(max_examples=60, deadline=None)
def test_a_file_cut_anywhere_is_told_or_noted_and_never_has_other_values(data: st.DataObject) -> None:
    sample = data.draw(st.sampled_from(samples()))
    text = sample.text
    at = data.draw(st.integers(1, len(text) - 1))
    found = outcome(sample, text[:at])
    if found.state != "imported":
        assert found.mapped.problems or found.mapped.questions
        return
    if text[at - 1] != "\n":
        assert "last-row-open" in [problem.code for problem in found.mapped.problems]
        last = text[:at].count("\n") + 1
        (note,) = [problem for problem in found.mapped.problems if problem.code == "last-row-open"]
        assert note.place.row == last
        return
    assert _fits(_plain(content(found)), _plain(content(outcome(sample))))


@SAMPLES
def test_a_last_row_without_its_end_is_noted(sample: Sample) -> None:
    plain, open_end = outcome(sample), outcome(sample, sample.text.removesuffix("\n"))
    assert content(open_end) == content(plain)
    codes = sorted(problem.code for problem in open_end.mapped.problems)
    assert codes == sorted(["last-row-open", *(problem.code for problem in plain.mapped.problems)])
