"""Plugins are found in folders; a manifest with a fault is named with the place of the fault and skipped."""

from __future__ import annotations

from pathlib import Path

import pytest
from reading_inputs import SHEET, plugins

from interchange.errors import PluginError
from interchange.model import manifest
from interchange.model.manifest import Manifest
from interchange.model.mapping import DATES, SIGNED, TARGETS, TRUTHS
from interchange.quantities import CHOICES, QUANTITIES
from interchange.reading.registry import load_plugins

COLUMN = '{ name = "P", to = "envelope_pressure_pa", unit = "Pa", sign = "as_recorded", sign_reason = "stated" }'


def _with(column: str) -> str:
    assert COLUMN in SHEET
    return SHEET.replace(COLUMN, column)


def _fault(toml: str) -> str:
    with pytest.raises(PluginError) as raised:
        manifest.load(toml.encode(), "sheet/plugin.toml")
    (problem,) = raised.value.problems
    assert problem.place.file == "sheet/plugin.toml"
    return f"{problem.place.column}: {problem.expected}"


def test_a_broken_plugin_is_named_and_skipped(tmp_path: Path) -> None:
    for name, toml in (
        ("sheet", SHEET),
        ("torn", SHEET[:300]),
        ("wrong", SHEET.replace('decimal_mark = "."', 'decimal_mark = ";"').replace('"sheet"', '"wrong"')),
        ("renamed", SHEET),
    ):
        (tmp_path / name).mkdir()
        (tmp_path / name / "plugin.toml").write_text(toml)
    (tmp_path / "no-plugin").mkdir()
    (tmp_path / ".hidden").mkdir()
    (tmp_path / ".hidden" / "plugin.toml").write_text(SHEET)
    found = load_plugins([tmp_path, tmp_path / "absent"])
    assert [plugin.id for plugin in found.plugins] == ["sheet"]
    assert [(problem.code, str(problem.place)) for problem in found.problems] == [
        ("plugin-folder-name", "renamed/plugin.toml, column 'id'"),
        ("manifest-text", "torn/plugin.toml"),
        ("form-literal-error", "wrong/plugin.toml, column 'layout.decimal_mark'"),
    ]
    assert all(problem.cure.endswith("The plugin is left out until then.") for problem in found.problems)


def test_of_two_plugins_with_one_id_the_first_counts(tmp_path: Path) -> None:
    for parent in ("a", "b"):
        (tmp_path / parent / "sheet").mkdir(parents=True)
        (tmp_path / parent / "sheet" / "plugin.toml").write_text(SHEET)
    found = load_plugins([tmp_path / "a", tmp_path / "b"])
    assert [plugin.folder for plugin in found.plugins] == [tmp_path / "a" / "sheet"]
    assert [problem.code for problem in found.problems] == ["plugin-twice"]


def test_the_fingerprint_is_that_of_the_meaning() -> None:
    def read(toml: str) -> str:
        return manifest.load(toml.encode(), "plugin.toml").fingerprint

    same = "# a comment\n" + SHEET.replace('version = "1.0.0"', 'version = "1.0.1"').replace("for these tests", "anew")
    assert read(same) == read(SHEET)
    assert read(SHEET.replace('unit = "Pa"', 'unit = "hPa"')) != read(SHEET)
    assert len({plugin.fingerprint for plugin in plugins()}) == len(plugins()) == 13


@pytest.mark.parametrize(
    ("column", "fault"),
    [
        (
            '{ name = "P", to = "envelope_pressure_pa", unit = "Pa" }',
            "'P': signed pressures, and only they, need `sign` and `sign_reason`",
        ),
        (
            '{ name = "P", to = "envelope_pressure_pa", unit = "Pa", sign = "as_recorded" }',
            "'P': signed pressures, and only they, need `sign` and `sign_reason`",
        ),
        (
            '{ name = "P", to = "volume_m3", unit = "m3", sign = "reversed", sign_reason = "no" }',
            "'P': signed pressures, and only they, need `sign` and `sign_reason`",
        ),
        ('{ name = "P", to = "pressure" }', "'P': no field that a manifest can fill is called 'pressure'"),
        (
            '{ name = "P", to = "session_id" }',
            "'P': no field that a manifest can fill is called 'session_id'",
        ),
        (
            '{ name = "P", to = "volume_m3", unit = "barrels" }',
            "'P': the unit 'barrels' is not in the table of units",
        ),
        ('{ name = "P", to = "volume_m3", unit = "m2" }', "'P': the unit 'm2' does not measure volume_m3"),
        (
            '{ name = "P", to = "volume_m3", unit = "m3", unit_from = "text" }',
            "'P': give `unit` or `unit_from`, not both",
        ),
        (
            '{ name = "P", to = "stage" }',
            "'P': fields with a closed list of words need `codes`, and of the others only numbers take them",
        ),
        (
            '{ name = "P", to = "crew", codes = { a = "b" } }',
            "'P': fields with a closed list of words need `codes`, and of the others only numbers take them",
        ),
        (
            '{ name = "P", to = "stage", codes = { a = "final" } }',
            "'P': `codes`: 'final' is none of before, interim, after, inspection",
        ),
        (
            '{ name = "P", to = "dropped", codes = { x = "yes" } }',
            "'P': `codes`: 'yes' is none of true, false",
        ),
        (
            '{ name = "P", to = "started_at_local" }',
            "'P': dates, clocks and offsets need `time_format`",
        ),
        (
            '{ name = "P", to = "started_at_local", time_format = "%y" }',
            "'P': `time_format` gives year, month and day, or none of them",
        ),
        (
            '{ name = "P", to = "wind_as_recorded", beaufort = { breezy = [4, 3] } }',
            "'P': `beaufort`: the band of 'breezy' runs backwards",
        ),
        (
            '{ name = "P", to = "crew", beaufort = { breezy = [3, 4] } }',
            "'P': `beaufort` goes with `to = \"wind_as_recorded\"`",
        ),
        ('{ name = "P", to = "crew", ignore = "why" }', "'P': is both mapped and ignored"),
        ('{ name = "P", unit = "Pa" }', "'P': without `to`, unit have no meaning"),
        (
            '{ name = "P", to = "crew", also = { stage = "before" } }',
            "'P': `also` and `also_reason` go together",
        ),
        (
            '{ name = "P", to = "crew", also = { weather = "fair" }, also_reason = "why" }',
            "'P': `also`: no field that a manifest can fill is called 'weather'",
        ),
        ('{ name = "P", to = "arrangement", word_ends_at = ";", codes = { a = "far" } }', None),
        ('{ name = "P", to = "crew", word_ends_at = ";" }', "'P': `word_ends_at` goes with `codes`"),
    ],
)
def test_a_column_that_says_too_little_or_too_much_is_a_fault(column: str, fault: str | None) -> None:
    found = _fault(_with(column))
    assert found.startswith("block.0.table.columns.1: ")
    if fault is not None:
        assert found.removeprefix("block.0.table.columns.1: ") == fault


@pytest.mark.parametrize(
    ("old", "new", "fault"),
    [
        ('delimiter = ","', 'delimiter = ","\nmystery = 1', "layout.mystery: a field of this form"),
        ('header_names = ["Nr", "P"]', "", "recognise: give header_names, rows or first_cells: "
         "a plugin without them would take any file"),
        ('decimal_mark = "."', 'decimal_mark = ","', "layout: the delimiter cannot be the decimal mark too"),
        ('decimal_mark = "."', 'decimal_mark = "."\nthousands_mark = "."', "layout: decimal_mark and "
         "thousands_mark are the same"),
        ('decimal_mark = "."', 'decimal_mark = "."\nover_range = ["-"]\nmissing = ["-"]', "layout: a mark "
         "is listed both as missing and as over range"),
        ('value = "single_point"', 'value = "one"', "constant.0: kind is one of single_point, two_point, "
         "multi_point, monitoring, summary, not_tested, other_test, weather, by_points"),
        ('to = "kind"\nvalue = "single_point"', 'to = "crew"\nvalue = "C1"', ": nothing says the kind of "
         "the session: map it or give a constant"),
        ('unit = "Pa", ', "", ": block.0: 'P': envelope_pressure_pa needs `unit`, or `unit_from` or a "
         "unit row"),
        ('each_row = "session"', 'each_row = "fan_calibration"', ": block.0: 'Nr': a block like this cannot fill "
         "job_id"),
        ('to = "job_id"', 'to = "envelope_pressure_pa", unit = "Pa", sign = "reversed", sign_reason = "x"',
         ": block.0: 'P': envelope_pressure_pa is filled twice"),
        ('name = "Nr", to = "job_id"', 'name = "P"', ": block.0: 'P' is listed twice"),
        ('header_names = ["Nr"]', 'header_names = ["Nr"]\nsections = ["A"]', ": block.0: sections need "
         "layout.section_marks"),
    ],
)  # fmt: skip
def test_a_manifest_that_contradicts_itself_is_a_fault(old: str, new: str, fault: str) -> None:
    assert old in SHEET
    assert _fault(SHEET.replace(old, new, 1)) == fault


def test_a_manifest_without_blocks_is_a_fault() -> None:
    assert _fault(SHEET[: SHEET.index("[[block]]")] + "\n") == "block: this field"
    toml = "block = []\n" + SHEET[: SHEET.index("[[block]]")]
    assert _fault(toml) == ": a manifest has at least one block"


def test_rows_that_are_sessions_stand_alone() -> None:
    more = SHEET + SHEET[SHEET.index("[[block]]") :].replace('"session"', '"point"')
    assert _fault(more) == ": a table whose rows are sessions is the only table of its file"
    manifest.load((SHEET + '[[block]]\nkind = "entries"\n').encode(), "plugin.toml")  # keys above it are no table


def test_what_a_manifest_can_fill_stands_in_the_table_of_names() -> None:
    names = {name for part in TARGETS.values() for name in part} | SIGNED | DATES | TRUTHS
    assert names - set(QUANTITIES) == set()
    closed = {name for name in names if name in CHOICES}
    assert closed >= {"kind", "stage", "direction", "arrangement", "flow_basis"}


def test_the_form_of_a_manifest_has_a_json_schema() -> None:
    schema = Manifest.model_json_schema()
    assert sorted(schema["required"]) == [
        "block", "id", "languages", "layout", "manifest_version", "recognise", "title", "units", "version",
    ]  # fmt: skip
