"""Any earlier state can be read: each command that takes --as-of shows it, or says what of it is not computed."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from interchange.archive.store import Store
from interchange.cli.main import cli
from interchange.errors import ArchiveError
from interchange.operations.changing import amend_test
from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
from interchange.resources import shipped

SENT = shipped("demo_archive") / "deliveries" / "harrow"


@pytest.fixture(scope="module")
def made(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, int]:
    """An archive whose one test was amended and sent again, and then recomputed; and the state before all that."""
    root = new_archive(tmp_path_factory.mktemp("as-of") / "a", "Fennick Vale")
    import_files(root, [SENT / "FV-2034-before.csv"], recompute=False)
    before = Store.open(root).snapshot().version
    amend_test(root, "FV-2034", "volume_m3", "400", "R.", "drawings")
    import_files(root, [SENT / "resent" / "FV-2034-before.csv"])
    return root, before


def _run(root: Path, *arguments: str | Path | int) -> Result:
    words = [str(one) for one in (*arguments, "--archive", root)]
    return CliRunner().invoke(cli, words, catch_exceptions=False)


def test_list_and_query_show_the_state_asked_for(made: tuple[Path, int]) -> None:
    root, before = made
    then = _run(root, "list", "--as-of", before, "--format", "json")
    assert len(json.loads(then.stdout)) == 1
    assert len(json.loads(_run(root, "list", "--format", "json").stdout)) == 2
    assert "this state of the archive has not been recomputed" in then.stderr
    sql = "select volume_m3 from sessions order by 1"
    assert [row["volume_m3"] for row in json.loads(_run(root, "query", sql, "--format", "json").stdout)] == [365, 400]
    old = json.loads(_run(root, "query", sql, "--as-of", before, "--format", "json").stdout)
    assert [row["volume_m3"] for row in old] == [356]


def test_results_of_a_state_that_is_not_computed_are_an_error_that_says_so(made: tuple[Path, int]) -> None:
    root, before = made
    with pytest.raises(ArchiveError, match="expected results computed from version"):
        _run(root, "query", "from results", "--as-of", before)


def test_show_export_and_duplicates_show_the_state_asked_for(made: tuple[Path, int], tmp_path: Path) -> None:
    root, before = made
    assert "volume 356 m3" in _run(root, "show", "FV-2034", "--as-of", before).stdout
    now = _run(root, "show", "FV-2034").stdout
    assert ("volume 400 m3" in now, "volume 365 m3" in now, "volume 356 m3" in now) == (True, True, False)
    _run(root, "export", "--as", "session", "--into", tmp_path, "--as-of", before)
    (document,) = (json.loads(path.read_text()) for path in tmp_path.glob("*.session.json"))
    assert document["building"]["volume_m3"] == 356
    assert len(json.loads(_run(root, "duplicates", "--format", "json").stdout)) == 1
    assert json.loads(_run(root, "duplicates", "--as-of", before, "--format", "json").stdout) == []


def test_a_version_that_never_was_is_an_error(made: tuple[Path, int]) -> None:
    for command in (("list",), ("show", "FV-2034"), ("query", "from sessions"), ("duplicates",)):
        with pytest.raises(ArchiveError, match="a version of this archive"):
            _run(made[0], *command, "--as-of", 99)
