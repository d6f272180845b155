"""A test in several files of one folder: they are put together in any order, and none of them is lost."""

from __future__ import annotations

import itertools
from typing import Any

import pytest
from made_layouts import PRESSURE, entries, plugin_of, table
from reading_inputs import plugins, source

from interchange.errors import Place
from interchange.files import Source
from interchange.model.document import as_document
from interchange.model.question import Import
from interchange.reading.companions import together
from interchange.reading.door import read_all

MAIN = """\
Points record,3
Job,FV-1
House,H-1
Stage,after
Started,2026-05-20 14:05
Step,Pressure Pa,Spread Pa,Seconds,Plate,Fan Pa,Flow m3/h
1,-59.8,0.7,30,open,40.1,3085
2,-40.2,0.7,30,open,25.0,2410
"""
BASELINE = "Baseline record,3\nPhase,Mean Pa,Spread Pa,Seconds\nbefore,-1.5,0.4,60\nafter,-1.0,0.5,60\n"
WEATHER = "Weather record,3\nTime,Wind m/s,Gust m/s,From deg\n00:01:00,2.0,4.0,240\n00:02:00,2.5,4.5,250\n"
NAMES = ("in/a.csv", "in/a-baseline.csv", "in/a-weather.csv")


def _files(*contents: str, names: tuple[str, ...] = NAMES) -> list[Source]:
    return [source(content, name) for content, name in zip(contents, names, strict=False)]


def _read(sources: list[Source]) -> dict[str, Import]:
    found = list(read_all(sources, plugins()))
    assert sorted(one.source.name for one in found) == sorted(one.name for one in sources)  # none twice, none lost
    return {one.source.name: one for one in found}


def _content(outcome: Import) -> dict[str, Any]:
    (session,) = outcome.mapped.sessions
    return as_document(session)


@pytest.mark.parametrize("order", list(itertools.permutations(range(3))), ids=str)
def test_in_any_order_three_files_are_one_test(order: tuple[int, ...]) -> None:
    files = _files(MAIN, BASELINE, WEATHER)
    found = _read([files[index] for index in order])
    assert {one.state for one in found.values()} == {"imported"}
    assert [len(found[name].mapped.sessions) for name in NAMES] == [1, 0, 0]
    assert {(one.plugin_id, one.plugin_version) for one in found.values()} == {("points-with-companions", "1.0.0")}
    document = _content(found["in/a.csv"])
    (run,) = document["runs"]
    assert {name: value for name, value in run.items() if name.startswith("baseline")} == {
        "baseline_before_pressure_pa": -1.5,
        "baseline_before_spread_pa": 0.4,
        "baseline_before_duration_s": 60.0,
        "baseline_after_pressure_pa": -1.0,
        "baseline_after_spread_pa": 0.5,
        "baseline_after_duration_s": 60.0,
    }
    assert [(trace.channel_id, trace.start_s, trace.interval_s) for trace in found["in/a.csv"].mapped.traces] == [
        ("wind", 60.0, 60.0),
        ("gust", 60.0, 60.0),
        ("from", 60.0, 60.0),
    ]
    assert document["source"]["source_sha256"] == files[0].sha256
    assert document["source"]["companions"] == [
        {"companion_role": role, "companion_name": file.name, "companion_sha256": file.sha256}
        for role, file in (("baseline", files[1]), ("weather", files[2]))
    ]


def test_a_companion_that_may_be_absent_changes_nothing_else() -> None:
    whole, less = (
        _content(_read(_files(*texts))["in/a.csv"]) for texts in ((MAIN, BASELINE, WEATHER), (MAIN, BASELINE))
    )
    assert less["runs"] == whole["runs"]
    assert "channels" not in less
    assert [one["companion_role"] for one in less["source"]["companions"]] == ["baseline"]


def test_a_companion_that_must_be_there_is_named() -> None:
    found = _read(_files(MAIN, WEATHER, names=(NAMES[0], NAMES[2])))
    assert {name: one.state for name, one in found.items()} == {NAMES[0]: "refused", NAMES[2]: "refused"}
    assert [str(problem) for problem in found[NAMES[0]].mapped.problems] == [
        "in/a.csv: found no such file beside it; expected 'a-baseline.csv'. "
        "Put the file beside this one, in the same folder or zip archive, and import both again."
    ]
    assert [str(problem) for problem in found[NAMES[2]].mapped.problems] == [
        "in/a-weather.csv: found a file of the test in 'in/a.csv', which was refused; "
        "expected a test that can be taken in. Mend what is wrong with its files, and import them all again."
    ]


@pytest.mark.parametrize(
    ("name", "old", "new", "row", "column"),
    [
        (NAMES[0], "-40.2", "-4x.2", 8, "Pressure Pa"),
        (NAMES[1], "-1.0", "-1.x", 4, "Mean Pa"),
        (NAMES[1], "after,-1.0,0.5,60", "after,-1.0", 4, None),
        (NAMES[2], "2.5", "-2.5", 4, "Wind m/s"),
        (NAMES[2], "00:02:00", "00:02:99", 4, "Time"),
    ],
)
def test_what_is_wrong_in_one_of_the_files_is_located_there_and_refuses_all(
    name: str, old: str, new: str, row: int, column: str | None
) -> None:
    files = [
        source(one.open().read().decode().replace(old, new) if one.name == name else one.open().read(), one.name)
        for one in _files(MAIN, BASELINE, WEATHER)
    ]
    found = _read(files)
    assert {one.state for one in found.values()} == {"refused"}
    assert [problem.place for problem in found[NAMES[0]].mapped.problems] == [Place(name, row, column)]
    assert [p.code for p in found[NAMES[1]].mapped.problems] == ["companion-of-refused"]


def test_a_companion_without_its_test_is_not_taken_for_one() -> None:
    found = _read(_files(BASELINE, names=NAMES[1:2]))
    assert found[NAMES[1]].state == "refused"
    assert [problem.code for problem in found[NAMES[1]].mapped.problems] == ["companion-alone"]


def test_files_of_other_folders_and_other_names_do_not_belong_together() -> None:
    for names in (
        ("in/a.csv", "out/a-baseline.csv"),
        ("in/a.csv", "in/b-baseline.csv"),
        ("in/a.csv", "in/a-baseline.txt"),
    ):
        found = _read(_files(MAIN, BASELINE, names=names))
        assert {one.state for one in found.values()} == {"refused"}
        assert [p.code for p in found[names[0]].mapped.problems] == ["companion-missing"]


def test_a_file_that_only_has_the_name_of_a_companion_is_read_by_itself() -> None:
    other = MAIN.replace("FV-1", "FV-2")
    pairs = {main.name: files for main, files in together(_files(MAIN, other), plugins())}
    assert pairs == {NAMES[0]: {}, NAMES[1]: {}}


def test_tests_of_one_folder_do_not_mix() -> None:
    names = ("a.csv", "a-baseline.csv", "b.csv", "b-baseline.csv")
    texts = (MAIN, BASELINE, MAIN.replace("FV-1", "FV-2"), BASELINE.replace("-1.5", "-2.5"))
    found = _read(list(reversed(_files(*texts, names=names))))
    before = [_content(found[name])["runs"][0]["baseline_before_pressure_pa"] for name in ("a.csv", "b.csv")]
    assert before == [-1.5, -2.5]


def test_what_of_a_companion_no_field_takes_is_kept_with_its_name() -> None:
    noted = BASELINE.replace("Seconds\n", "Seconds,Gauge zeroed\n").replace("60\n", "60,yes\n")
    kept = _content(_read(_files(MAIN, noted))["in/a.csv"])["kept"]
    assert [(one.get("kept_source_name"), one["kept_name"], one["kept_count"]) for one in kept] == [
        ("in/a-baseline.csv", "Gauge zeroed", 2)
    ]


def test_a_companion_may_be_in_another_encoding_and_is_checked_as_any_file_is() -> None:
    files = _files(MAIN, BASELINE)
    wide = [files[0], source(BASELINE.encode("utf-16"), files[1].name)]
    assert _content(_read(wide)["in/a.csv"])["runs"] == _content(_read(files)["in/a.csv"])["runs"]
    torn = [files[0], source(BASELINE.encode() + b"\0", files[1].name)]
    found = _read(torn)["in/a.csv"]
    assert ("not-text", NAMES[1]) in [(problem.code, problem.place.file) for problem in found.mapped.problems]


def test_a_plugin_may_name_one_companion_and_need_it_not() -> None:
    plugin = plugin_of(
        entries({"name": "Job", "to": "job_id"}),
        table([PRESSURE], "point"),
        entries({"name": "Sky", "to": "wind_as_recorded"}, file="sky"),
        recognise={"header_names": ["P"]},
        companion=[{"name": "sky", "stem_ends": "_sky", "first_cells": ["Sky"]}],
    )
    files = [source("Job,7\nP\n-50\n", "a.csv"), source("Sky,grey\n", "a_sky.csv")]
    main, beside = list(read_all(files, [plugin]))
    assert as_document(main.mapped.sessions[0])["conditions"] == {"wind_as_recorded": "grey"}
    assert (beside.state, beside.mapped.sessions) == ("imported", ())
    (alone,) = read_all(files[:1], [plugin])
    assert "conditions" not in as_document(alone.mapped.sessions[0])
