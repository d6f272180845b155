"""A plugin's own samples: equal passes, and every way to differ is found and named."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest
from reading_inputs import SHEET, plugins

from interchange.reading.check import Difference, Nothing, check
from interchange.reading.registry import Plugin, load_plugin

EXPECTED: dict[str, Any] = {
    "sessions": [
        {
            "source_place": "row 2",
            "schema_version": 1,
            "kind": "single_point",
            "record": {"job_id": "07"},
            "runs": [{"run_number": 1, "direction": "depressurisation", "points": [{"envelope_pressure_pa": -50.0}]}],
        }
    ],
    "traces": [],
    "problems": ["start-unknown"],
}


def _plugin(folder: Path, expected: Any = EXPECTED, sample: str | None = "Nr,P\n07,-50\n") -> Plugin:
    samples = folder / "sheet" / "samples"
    samples.mkdir(parents=True)
    (folder / "sheet" / "plugin.toml").write_text(SHEET)
    if sample is not None:
        (samples / "one.csv").write_text(sample)
    if expected is not None:
        (samples / "one.expected.json").write_text(expected if isinstance(expected, str) else json.dumps(expected))
    return load_plugin(folder / "sheet")


def _differences(plugin: Plugin) -> list[tuple[str, Any, Any]]:
    (result,) = check(plugin, [plugin])
    return [(difference.path, difference.expected, difference.found) for difference in result.differences]


@pytest.mark.parametrize("plugin", plugins(), ids=lambda plugin: plugin.id)
def test_the_shipped_plugins_read_their_samples_as_expected(plugin: Plugin) -> None:
    results = check(plugin, plugins())
    assert results
    assert [(result.name, result.differences) for result in results] == [(result.name, ()) for result in results]


def test_a_sample_as_expected_has_no_difference(tmp_path: Path) -> None:
    assert _differences(_plugin(tmp_path)) == []


def _changed(change: Any) -> Any:
    document = json.loads(json.dumps(EXPECTED))
    change(document)
    return document


@pytest.mark.parametrize(
    ("change", "difference"),
    [
        (lambda d: d["sessions"][0].update(kind="summary"), ("sessions.0.kind", "summary", "single_point")),
        (lambda d: d["sessions"][0]["record"].update(job_id=7), ("sessions.0.record.job_id", 7, "07")),
        (lambda d: d["sessions"][0]["record"].update(crew="C1"), ("sessions.0.record.crew", "C1", Nothing())),
        (lambda d: d["sessions"][0].pop("kind"), ("sessions.0.kind", Nothing(), "single_point")),
        (lambda d: d["sessions"].append({}), ("sessions.1", {}, Nothing())),
        (lambda d: d["problems"].append("over-range"), ("problems.1", "over-range", Nothing())),
        (
            lambda d: d["sessions"][0]["runs"][0]["points"][0].update(envelope_pressure_pa=-50.0000000001),
            ("sessions.0.runs.0.points.0.envelope_pressure_pa", -50.0000000001, -50.0),
        ),
        (lambda d: d["sessions"][0]["runs"][0].update(run_number=True), ("sessions.0.runs.0.run_number", True, 1)),
    ],
)
def test_every_difference_is_named(change: Any, difference: tuple[str, Any, Any], tmp_path: Path) -> None:
    assert _differences(_plugin(tmp_path, _changed(change))) == [difference]


def test_rounding_in_the_last_digit_is_no_difference(tmp_path: Path) -> None:
    def round_off(document: Any) -> None:
        document["sessions"][0]["runs"][0]["points"][0]["envelope_pressure_pa"] = -50.00000000000001

    assert _differences(_plugin(tmp_path, _changed(round_off))) == []


def test_a_sample_without_expectation_and_the_reverse_are_differences(tmp_path: Path) -> None:
    assert _differences(_plugin(tmp_path / "a", expected=None)) == [
        ("expected", "one.expected.json beside one.csv", Nothing())
    ]
    assert _differences(_plugin(tmp_path / "b", sample=None)) == [
        ("sample", "one.csv beside one.expected.json", Nothing())
    ]
    assert _differences(_plugin(tmp_path / "c", expected=None, sample=None)) == [
        ("samples", "at least one sample", Nothing())
    ]


def test_an_expectation_that_is_no_json_is_a_difference(tmp_path: Path) -> None:
    (difference,) = _differences(_plugin(tmp_path, "{"))
    assert difference[:2] == ("expected", "a JSON document in UTF-8")


def test_a_sample_that_another_plugin_takes_is_a_difference(tmp_path: Path) -> None:
    plugin = _plugin(tmp_path)
    other = load_plugin(_plugin_elsewhere(tmp_path))
    (result,) = check(plugin, [other])
    assert Difference("plugin", "sheet", "other") in result.differences


def _plugin_elsewhere(folder: Path) -> Path:
    (folder / "other").mkdir()
    (folder / "other" / "plugin.toml").write_text(SHEET.replace('id = "sheet"', 'id = "other"'))
    return folder / "other"


def test_a_sample_that_is_held_is_a_difference(tmp_path: Path) -> None:
    asking = SHEET.replace('to = "job_id"', 'to = "stage", codes = { a = "before" }')
    plugin = _plugin(tmp_path)
    (tmp_path / "sheet" / "plugin.toml").write_text(asking)
    paths = [path for path, _, _ in _differences(load_plugin(plugin.folder))]
    assert "questions" in paths
