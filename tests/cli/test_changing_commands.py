"""Commands by which people change what stands: undo, amend, review, decide; on the demo archive."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from interchange.cli.main import cli
from interchange.errors import UsageError
from interchange.operations.demo import run_demo
from interchange.operations.new import new_archive
from interchange.resources import shipped


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("changing") / "demo"
    run_demo(root)
    return root


@pytest.fixture
def archive(made: Path, tmp_path: Path) -> Path:
    return Path(shutil.copytree(made, tmp_path / "copy"))


def _run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], catch_exceptions=False)


def _rows(*arguments: str | Path) -> list[dict[str, Any]]:
    rows: list[dict[str, Any]] = json.loads(_run(*arguments, "--format", "json").stdout)
    return rows


def _query(archive: Path, sql: str) -> list[dict[str, Any]]:
    return _rows("query", sql, "--archive", archive)


SAID = ("--who", "R.", "--why", "drawings of May")


def test_an_amended_volume_changes_the_air_changes_and_show_says_who(archive: Path) -> None:
    air_changes = """select r.air_change_50_per_h from results r join sessions using (session_id)
                     where job_id = 'FV-2036' and rule_set = 'iso9972@2015'"""
    ((before,),) = [row.values() for row in _query(archive, air_changes)]
    ((volume,),) = [row.values() for row in _query(archive, "select volume_m3 from sessions where job_id = 'FV-2036'")]
    done = _run("amend", "FV-2036", "volume_m3", str(2 * volume), *SAID, "--archive", archive)
    assert done.exit_code == 0
    ((after,),) = [row.values() for row in _query(archive, air_changes)]
    assert after == pytest.approx(before / 2, rel=1e-12)
    shown = " ".join(_run("show", "FV-2036", "--archive", archive).stdout.split())
    assert f"volume_m3: {volume:g} → {2 * volume:g}, by R. (drawings of May)" in shown


@pytest.mark.parametrize(
    ("arguments", "said"),
    [
        (("FV-2036", "volume", "3"), "such as"),
        (("FV-2036", "volume_m3", "-3"), "greater than 0"),
        (("FV-9999", "volume_m3", "3"), "FV-9999"),
        (("FV-3010", "volume_m3", "3"), "one test; there are 2"),
    ],
)
def test_what_cannot_be_amended_is_an_error_that_says_what_could(
    archive: Path, arguments: tuple[str, ...], said: str
) -> None:
    with pytest.raises(UsageError, match=said):
        _run("amend", *arguments, *SAID, "--archive", archive, "--no-recompute")
    with pytest.raises(UsageError, match="some words"):
        _run("amend", "FV-2036", "volume_m3", "3", "--who", " ", "--why", "x", "--archive", archive, "--no-recompute")


def test_a_delivery_is_undone_by_the_name_that_import_told(tmp_path: Path) -> None:
    root = new_archive(tmp_path / "a", "Fennick Vale")
    sent = shipped("demo_archive") / "deliveries" / "harrow" / "FV-2037-before.csv"
    done = _run("import", sent, "--from", "Harrow", "--archive", root)
    name = next(line for line in done.stderr.splitlines() if line.startswith("delivery ")).split()[1].rstrip(";")
    (row,) = _query(root, "from deliveries")
    assert (row["delivery"], row["sender"], row["files_standing"], row["session_count"]) == (name, "Harrow", 1, 1)
    undone = _run("undo", name, *SAID, "--archive", root)
    assert undone.stderr.splitlines()[-1].startswith("1 test no longer in the current state")
    assert _query(root, "select * from sessions") == []
    (row,) = _query(root, "from deliveries")
    assert (row["files"], row["files_standing"], row["session_count"], row["undone"]) == (1, 0, 0, True)
    assert _query(root, "select * from results") == []


def test_a_decision_takes_a_test_from_the_review_and_results_stay(archive: Path) -> None:
    waiting = _rows("review", "--archive", archive)
    (row,) = (row for row in waiting if row["job_id"] == "FV-2037")
    assert (row["verdict"], row["suggested_decision"]) == ("retest_advised", "return")
    done = _run("decide", "FV-2037", "return", *SAID, "--archive", archive)
    assert done.exit_code == 0
    left = _rows("review", "--archive", archive)
    assert [one for one in waiting if one["job_id"] != "FV-2037"] == left
    assert len(_rows("review", "--all", "--archive", archive)) == len(waiting)
    shown = " ".join(_run("show", "FV-2037", "--archive", archive).stdout.split())
    assert "Decided: return, for all uses, by R. (drawings of May)" in shown


def test_reductions_are_the_same_after_a_decision(archive: Path) -> None:
    before = _run("reductions", "--rules", "iso9972@2015", "--archive", archive).stdout
    _run("decide", "FV-2037", "return", *SAID, "--archive", archive)
    assert _run("reductions", "--rules", "iso9972@2015", "--archive", archive).stdout == before != ""


def test_a_test_that_changed_after_its_decision_waits_again(archive: Path) -> None:
    _run("decide", "FV-2036", "accept", *SAID, "--archive", archive)
    _run("amend", "FV-2036", "volume_m3", "500", *SAID, "--archive", archive)
    (row,) = (row for row in _rows("review", "--archive", archive) if row["job_id"] == "FV-2036")
    assert (row["decision"], row["decided_on_current"]) == ("accept", False)


@pytest.mark.parametrize("arguments", [("decide", "FV-2036", "keep", *SAID), ("review", "--use", "payment")])
def test_unknown_words_are_errors_that_name_the_known_ones(archive: Path, arguments: tuple[str, ...]) -> None:
    with pytest.raises(UsageError, match="one of "):
        _run(*arguments, "--archive", archive)


def test_the_result_of_record_is_the_one_that_reductions_rest_on(archive: Path) -> None:
    of_job = "select session_id, result_of_record from sessions where job_id = 'FV-1905' and stage = 'after' order by 1"
    tests = [row["session_id"] for row in _query(archive, of_job)]
    assert len(tests) == 2
    for chosen in tests:
        done = _run("record", chosen, *SAID, "--archive", archive)
        assert (done.exit_code, done.stderr.splitlines()[-1].endswith("1 other test of it marked as not counting")) == (
            0,
            True,
        )
        marks = {row["session_id"]: row["result_of_record"] for row in _query(archive, of_job)}
        assert marks == {name: name == chosen for name in tests}
        pairs = [row for row in _rows("reductions", "--archive", archive) if row["job_id"] == "FV-1905"]
        assert [row["after_session_id"] for row in pairs] == [chosen]
    said = _query(archive, "select amended_to from amendments order by amended_at_utc")
    assert sorted(row["amended_to"] for row in said) == ["false", "false", "true", "true"]
    with pytest.raises(UsageError, match="Nothing was changed"):
        _run("record", tests[-1], *SAID, "--archive", archive)
    with pytest.raises(UsageError, match="one test; there are"):
        _run("record", "FV-1905", *SAID, "--archive", archive)
