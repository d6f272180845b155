"""What people read: the unit of their own column, one cell at most, no words of a library, and what to do."""

from __future__ import annotations

import zipfile
from pathlib import Path

import pytest
from reading_inputs import LOG, ROWS, SECTIONS, SHEET, made_plugin, plugins, problems, source, taken, the_problem

from interchange.errors import Place, Problem
from interchange.reading.containers import walk
from interchange.reading.door import read_source
from interchange.reading.recognise import recognise

LONG = "Jane Doe said: " + "x" * 5000
CUT = f"'{LONG[:60]}…'"
MISSING = "If it stands for a missing value, leave the cell empty, or add it to `missing` in the plugin's layout."


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("68,32", "68,999", "air temperature outdoors: a number less than 140 °F"),
        ("68,32", "-999,32", "air temperature indoors: a number greater than -130 °F"),
        ("14000", "-14000", "inside volume of the tested space: a number greater than 0 cu ft"),
    ],
)
def test_bounds_are_told_in_the_unit_of_the_column(old: str, new: str, expected: str) -> None:
    assert the_problem(ROWS.replace(old, new, 1)).expected == expected


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ("1009,5;hPa", "1,0;hPa", "air pressure at the site, not reduced to sea level: a number greater than 300 hPa"),
        ("1009,5;hPa", "9999;kPa", "air pressure at the site, not reduced to sea level: a number less than 120 kPa"),
        ("1009,5;hPa", "5;Pa", "air pressure at the site, not reduced to sea level: a number greater than 30000 Pa"),
        ("20,5;°C", "5;K", "air temperature indoors: a number greater than 183.15 K"),
        ("20,5;°C", "90;C", "air temperature indoors: a number less than 90 °C"),
        ("Exponent;0,641", "Correlation r2;1,5", "squared correlation r2 that the source reports: 1 or less"),
        ("1;50;", "1,5;50;", "number of the point as the source counts it: a whole number"),
    ],
)
def test_bounds_are_told_in_the_unit_that_the_file_writes(old: str, new: str, expected: str) -> None:
    assert [p.expected for p in problems(SECTIONS.replace(old, new, 1)) if p.blocks != "note"] == [expected]


def test_a_bound_of_a_pressure_written_the_other_way_round_is_turned_too() -> None:
    toml = SHEET.replace('unit = "Pa", sign = "as_recorded"', 'unit = "hPa", sign = "reversed"')
    toml = toml.replace("envelope_pressure_pa", "baseline_before_positive_pa")
    (problem,) = read_source(source("Nr,P\n1,4\n"), [made_plugin(toml)]).mapped.problems
    assert problem.expected.endswith("0 hPa or less")


@pytest.mark.parametrize("text", ["-999", "999", "9999", "-99.9", "-9999.00", "\u2212999", "-999.9"])
def test_a_refused_number_that_looks_like_a_mark_is_told_what_to_do_with_marks(text: str) -> None:
    found = the_problem(LOG.replace("OL", "-2").replace("20.3,3.9", f"{text},3.9"))
    assert found.cure == (
        f"Correct the cell in the source, or the unit or the field that the plugin states for it. {MISSING}"
    )


@pytest.mark.parametrize("text", ["-998", "909", "1e9", "499"])
def test_a_refused_number_that_looks_like_none_is_not(text: str) -> None:
    assert MISSING not in the_problem(ROWS.replace("68,32", f"68,{text}")).cure


# one cell at most, and not the whole of it


def test_a_long_cell_is_cut() -> None:
    assert the_problem(ROWS.replace("2100", LONG)).found == CUT
    assert the_problem(ROWS.replace("9:15 AM", LONG)).found == CUT
    found = next(p for p in problems(SECTIONS.replace("G-1", LONG)) if p.blocks != "note")
    assert (found.found, found.expected) == (CUT, "serial number of the gauge: text of at most 4000 characters")
    unit = next(p for p in problems(SECTIONS.replace("412,5;m³", f"412,5;{LONG}")) if p.blocks != "note")
    assert unit.found == f"the unit {CUT}"
    assert LONG[:61] not in str(the_problem(ROWS.replace("Crew,Contractor", f"{LONG},{LONG}", 1)))


@pytest.mark.parametrize(
    ("text", "found"),
    [
        (LOG.replace("1,OL,-1.20,20.3,\n", "Jane Doe,-1\n"), "2 cells"),
        (ROWS.replace("loft hatch taped", '"Jane Doe'), "a quotation mark that does not pair within the row"),
        (SECTIONS.replace("Height;540;cm", "Height;Jane;Doe;x"), "the key 'Height' with 3 cells after it"),
        (SECTIONS.replace("Height;540;cm", ";Jane Doe;cm"), "a row without a key"),
        (SECTIONS.replace("Height;540;cm", "Height"), "'Height' by itself"),
        (LOG + "# note: resumed\n3,Jane Doe,1,20,3\n", "a row that begins with '3'"),
    ],
)
def test_a_row_at_fault_is_not_quoted(text: str, found: str) -> None:
    assert next(p for p in problems(text) if p.blocks == "file").found == found


def test_a_long_word_that_is_asked_for_is_cut_but_not_mixed_up_with_another() -> None:
    first, second = (taken(ROWS.replace("test-in", LONG + end)).mapped.questions[0] for end in "ab")
    assert first.subject == second.subject == f"What does {CUT} mean in 'Stage'?"
    assert first.question_id != second.question_id
    assert first.choices[0].evidence == f"{CUT} in row 2"


# what may be cut short


@pytest.mark.parametrize(
    ("text", "value"),
    [
        (LOG.replace("OL", "-2").removesuffix("\n"), "4.4"),
        (SECTIONS.replace("third", "full").removesuffix(";0,641\n") + ";0,6", "0,6"),
        (ROWS.replace("n/a,\n", "n/a,Jane"), "Jane"),
        (LOG.replace("OL", "-2") + "# note: resum", "resum"),
    ],
)
def test_a_last_value_without_a_line_end_is_quoted(text: str, value: str) -> None:
    found = the_problem(text)
    assert found.code == "last-row-open"
    assert found.found == f"a last row without a line end; its last value '{value}' may be cut short"


def test_a_last_row_that_ends_in_an_empty_cell_has_no_value_to_quote() -> None:
    assert the_problem(ROWS.removesuffix("\n")).found == "a last row without a line end; it may be cut short"


# encodings and layouts


def test_a_sheet_in_another_encoding_is_told_which_row_and_what_to_do() -> None:
    outcome = read_source(source(ROWS.replace("plate 2", "plaqué").encode("cp1252"), "latin.csv"), plugins())
    assert (outcome.state, outcome.plugin_id) == ("refused", "one-row-a-test")
    assert [str(problem) for problem in outcome.mapped.problems] == [
        "latin.csv, row 2: found a character that is not UTF-8; expected text in UTF-8. Save it anew as CSV in UTF-8."
    ]


def test_the_row_is_that_of_the_encoding_that_gets_furthest() -> None:
    data = SECTIONS.encode("cp1252").replace(b"Gauge;G-1", b"Gauge;G-\x81")
    (problem,) = read_source(source(data), plugins()).mapped.problems
    assert (problem.place, problem.found) == (
        Place("test.csv", 21),
        "a character that is not UTF-8 or Western code page 1252",
    )


def test_rows_that_end_in_carriage_returns_are_counted_too() -> None:
    data = ROWS.replace("test-out", "é").replace("\n", "\r").encode("cp1252")
    (problem,) = read_source(source(data), plugins()).mapped.problems
    assert problem.place == Place("test.csv", 3)


def test_a_file_in_another_encoding_and_of_another_shape_is_of_no_known_layout() -> None:
    (problem,) = read_source(source("Name,Straße\nä,ö\n".encode("cp1252")), plugins()).mapped.problems
    assert problem.code == "layout-unknown"
    assert recognise("Nr,Straße\n".encode("cp1252"), [made_plugin(SHEET)]).misread is None


def test_an_unknown_layout_names_the_nearest_plugin_and_three_clauses_at_most() -> None:
    def text(rows: str) -> str:
        (problem,) = read_source(source(rows), plugins()).mapped.problems
        return problem.found

    assert text("Job number,House,Stage,Date\n1,2,3,4\n") == (
        "a layout that no plugin recognises; nearest: one-row-a-test (no header name 'Test date', "
        "no header name 'Fan setting')"
    )
    assert text("House,Date\n1,2\n") == (
        "a layout that no plugin recognises; nearest: one-row-a-test (no header name 'Job number', "
        "no header name 'Stage', no header name 'Test date', and 1 more)"
    )
    assert text("Name,Street\n1,2\n") == "a layout that no plugin recognises"


# library words, steps


def test_words_of_the_zip_library_do_not_reach_people(tmp_path: Path) -> None:
    (tmp_path / "fake.zip").write_bytes(b"no zip")
    with zipfile.ZipFile(tmp_path / "torn.zip", "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("a.csv", "1,2,3\n" * 200)
    data = bytearray((tmp_path / "torn.zip").read_bytes())
    data[40:50] = b"\xff" * 10
    (tmp_path / "torn.zip").write_bytes(bytes(data))
    found = [one.found for one in walk([tmp_path / "fake.zip", tmp_path / "torn.zip"]) if isinstance(one, Problem)]
    assert found == ["a zip archive that does not open", "a member that does not unpack"]


@pytest.mark.parametrize(
    ("times", "step"),
    [
        (("0", "1.001", "2", "3.001", "4"), "1"),
        (("0.0", "0.5", "1.0", "1.5", "2.4"), "0.5"),
        (("0", "2", "4", "7", "9"), "2"),
        (("0", "0.4", "1"), "0.4"),
    ],
)
def test_the_expected_step_is_the_commonest_in_the_digits_of_the_file(times: tuple[str, ...], step: str) -> None:
    found = the_problem(LOG[: LOG.index("0,-1.84")] + "".join(f"{second},-1,-1,20,3\n" for second in times))
    assert found.expected == f"steps of {step} s throughout, as between most rows"


# questions


def test_a_question_says_what_to_do() -> None:
    (word,) = taken(ROWS.replace("test-in", "final")).mapped.questions
    assert word.why == (
        "The plugin knows 'test-in', 'test-out', 'interim', 'inspection'. "
        "Correct the source, or add the code to the plugin, and import again."
    )
    (wind,) = taken(ROWS.replace("breezy", "gusty")).mapped.questions
    assert wind.why.endswith("Correct the source, or add the code to the plugin, and import again.")
    (unit,) = taken(SECTIONS.replace("412,5;m³", "412,5")).mapped.questions
    assert unit.why == "The file writes none. Write it in the source, or state it in the plugin, and import again."
    (hour,) = taken(ROWS.replace("11/01/2026,12:15 PM", "11/01/2026,1:30 AM"), "America/Chicago").mapped.questions
    assert hour.why.endswith("Correct the time in the source, or leave it empty, and import again.")
    (sign,) = taken(SECTIONS.replace("1;-60;-60,3", "1;60;60,3")).mapped.questions
    assert sign.why.endswith("Correct the heading or the signs in the source, and import again.")
    for question in (word, wind, unit, hour, sign):
        assert len(question.choices) > 1
        assert all(choice.words and choice.evidence and choice.consequence for choice in question.choices)


def test_a_file_that_other_plugins_can_read_is_not_misread() -> None:
    wide = SHEET.replace('["utf-8"]', '["utf-8", "cp1252"]')
    both = [made_plugin(wide.replace('"sheet"', f'"{name}"')) for name in ("first", "second")]
    found = recognise("Nr,P,ü\n".encode("cp1252"), [made_plugin(SHEET), *both])
    assert (found.plugin, found.misread, found.problem("a.csv").code) == (None, None, "layout-ambiguous")
