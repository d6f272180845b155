"""One plugin takes a file by its shape, or the file is refused with what each plugin lacked or found."""

from __future__ import annotations

from pathlib import Path

import pytest
from reading_inputs import LOG, ROWS, SECTIONS, SHEET, made_plugin, plugins, source

from interchange.errors import Problem
from interchange.files import Source
from interchange.reading.door import read_source
from interchange.reading.recognise import HEAD_BYTES, Clauses, head_of, recognise


@pytest.mark.parametrize(
    ("text", "name"), [(ROWS, "one-row-a-test"), (SECTIONS, "sectioned-points"), (LOG, "wide-log-two-lines")]
)
def test_each_layout_is_taken_by_its_plugin_alone(text: str, name: str) -> None:
    found = recognise(text.encode(), plugins())
    assert found.plugin is not None
    assert (found.plugin.id, [match.plugin_id for match in found.matches]) == (name, [name])
    assert sorted(miss.plugin_id for miss in found.misses) == sorted({p.id for p in plugins()} - {name})


def test_the_name_of_a_file_plays_no_part() -> None:
    assert read_source(source(LOG, "one-row-a-test.xml"), plugins()).plugin_id == "wide-log-two-lines"


def test_a_layout_that_no_plugin_knows_names_the_nearest_misses() -> None:
    outcome = read_source(source("Job number,House,Stage,Date\n1,2,3,4\n"), plugins())
    assert outcome.state == "refused"
    assert [str(problem) for problem in outcome.mapped.problems] == [
        "test.csv: found a layout that no plugin recognises; nearest: "
        "one-row-a-test (no header name 'Test date', no header name 'Fan setting'); "
        "expected a layout that one plugin recognises. "
        "Check that this is a test file; if it is, a plugin for its layout is needed."
    ]


def test_a_layout_that_two_plugins_take_names_both_and_their_clauses() -> None:
    first = made_plugin(SHEET)
    second = made_plugin(SHEET.replace('id = "sheet"', 'id = "other-sheet"').replace('"Nr", "P"', '"P"', 1))
    outcome = read_source(source("Nr,P\n1,5\n"), [first, second])
    assert outcome.state == "refused"
    assert [str(problem) for problem in outcome.mapped.problems] == [
        "test.csv: found a layout that 2 plugins take for theirs: "
        "sheet (header name 'Nr', header name 'P'); other-sheet (header name 'P'); "
        "expected a layout that one plugin recognises. "
        "Add a clause under [recognise] to one of these plugins, or leave one of them out."
    ]


def test_without_any_plugin_a_file_is_refused() -> None:
    (problem,) = read_source(source(LOG), []).mapped.problems
    assert (problem.code, problem.found) == ("layout-unknown", "a layout, but no plugin to read it")


def test_header_names_must_stand_in_one_row() -> None:
    found = recognise(b"Nr\nP\n", [made_plugin(SHEET)])
    assert found.misses == (Clauses("sheet", ("header name 'Nr'",), ("no header name 'P'",)),)


def test_text_in_another_encoding_is_a_miss_that_says_so() -> None:
    found = recognise("Nr,P,ü\n".encode("cp1252"), [made_plugin(SHEET)])
    assert found.misses == (Clauses("sheet", ("header name 'Nr'", "header name 'P'"), ("not text in utf-8",)),)


def test_only_the_first_part_is_read() -> None:
    head = head_of(source("ü" + "x" * HEAD_BYTES + "\nNr,P\n"))
    assert len(head) == HEAD_BYTES
    assert recognise(head, [made_plugin(SHEET)]).plugin is None


def test_a_head_that_ends_within_a_character_is_no_miss() -> None:
    text = ("Nr,P\n" + "1,2\n" * 20_000).encode()[: HEAD_BYTES - 1] + "ü".encode()
    assert recognise(text[:HEAD_BYTES], [made_plugin(SHEET)]).plugin is not None


def test_a_file_that_stops_being_text_further_on_is_refused_at_its_row() -> None:
    data = ("Nr,P\n" + "1,2\n" * 30_000).encode() + "ü,3\n".encode("cp1252")
    (problem,) = read_source(Source("late.csv", "0" * 64, len(data), data), [made_plugin(SHEET)]).mapped.problems
    assert isinstance(problem, Problem)
    assert str(problem) == (
        "late.csv, row 30002: found a character that is not UTF-8; "
        "expected text in UTF-8. Save it anew as CSV in UTF-8."
    )


def test_a_source_on_disk_is_read_like_one_in_memory(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(LOG.encode())
    inside = source(LOG)
    outside = Source(inside.name, inside.sha256, inside.size_bytes, path)
    assert read_source(outside, plugins()).mapped.sessions == read_source(inside, plugins()).mapped.sessions
