"""Tests of an archive handed on in the layout of a plugin: losses first, then files that read as what was held."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from interchange.archive.store import Store
from interchange.cli.main import cli
from interchange.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, UsageError
from interchange.model.session import Session
from interchange.operations.export import export_in_layout
from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
from interchange.resources import shipped

PLUGINS = shipped("plugins")
OWN = {"session_id", "source", "kept"}


def _archive(root: Path, *samples: str) -> Path:
    new_archive(root, "Test", "Etc/UTC", "si")
    report = import_files(root, [PLUGINS / sample for sample in samples], recompute=False)
    assert report.all_imported
    return root


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return _archive(
        tmp_path_factory.mktemp("layouts") / "a",
        "one-row-a-test/samples/eight-tests.csv",
        "sectioned-points/samples/little.csv",
        "wide-log-two-lines/samples/half-a-minute.csv",
    )


def _tests(root: Path) -> list[Session]:
    return sorted(Store.open(root).snapshot().sessions(), key=lambda session: session.session_id)


def _content(session: Session) -> dict[str, object]:
    return {name: value for name, value in session.model_dump().items() if name not in OWN}


def _run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], catch_exceptions=False)


@pytest.mark.parametrize(
    ("plugin", "names"),
    [
        ("one-row-a-test", ("0042", "0043", "0044", "0045", "0046", "0047", "0048")),
        ("sectioned-points", ("0173",)),
        ("wide-log-two-lines", ("FV-2052",)),
    ],
)
def test_what_is_written_without_loss_imports_as_the_same_tests(
    archive: Path, tmp_path: Path, plugin: str, names: tuple[str, ...]
) -> None:
    done = export_in_layout(archive, names, plugin, tmp_path / "out")
    assert (done.losses.rows, done.refused) == ([], False)
    again = tmp_path / "b"
    new_archive(again, "Test", "Etc/UTC", "si")
    import_files(again, done.paths, recompute=False)
    held = [session for session in _tests(archive) if session.record.job_id in names]
    read = _tests(again)
    assert sorted(map(repr, map(_content, read))) == sorted(map(repr, map(_content, held)))
    for session in held:
        other = next(one for one in read if one.record.job_id == session.record.job_id)
        if session.channels:
            before = Store.open(archive).snapshot().traces(session.session_id)
            after = Store.open(again).snapshot().traces(other.session_id)
            assert [trace.values for trace in before] == [trace.values for trace in after]


def test_losses_are_listed_first_and_nothing_is_written_until_they_are_accepted(archive: Path, tmp_path: Path) -> None:
    words = ("export", "0173", "--as", "one-row-points-across", "--into", tmp_path / "out", "--archive", archive)
    refused = _run(*words)
    assert refused.exit_code == EXIT_ANSWER_IS_NO
    assert not (tmp_path / "out").exists()
    assert refused.stdout == ""
    assert refused.stderr.startswith("the layout does not hold all:\n")
    assert "no column or key of the layout takes it" in refused.stderr
    assert "runs.points.target_pressure_pa" in refused.stderr
    assert "nothing was written; with --accept-losses it is written all the same" in refused.stderr
    assert "note: Ids, revisions, sources," in refused.stderr
    accepted = _run(*words, "--accept-losses")
    assert accepted.exit_code == EXIT_DONE
    assert "runs.points.target_pressure_pa" in accepted.stderr and "wrote 1 files below" in accepted.stderr
    assert [path.name for path in (tmp_path / "out").iterdir()] == ["one-row-points-across.csv"]


def test_the_losses_of_many_tests_are_counted_by_field_and_reason(archive: Path, tmp_path: Path) -> None:
    done = export_in_layout(archive, ["0042", "0043"], "transposed-table", tmp_path)
    assert done.refused and done.paths == ()
    rows = {row[0]: row[1:] for row in done.losses.rows}
    assert rows["record.contractor"] == (3, "no column or key of the layout takes it", "Ostrel Retrofit")


def test_a_test_without_a_place_is_left_out_and_said(archive: Path, tmp_path: Path) -> None:
    done = export_in_layout(archive, ["0173", "FV-2052"], "sectioned-points", tmp_path, accept_losses=True)
    ((field, count, why, job),) = done.losses.rows
    assert (field, count, job) == ("(the whole test)", 1, "FV-2052")
    assert "found no table; expected a table whose header holds 'Point'" in why
    assert [path.name for path in done.paths] == ["0173-inspection.csv"]


def test_an_unknown_layout_is_named_with_those_there_are(archive: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match=r"found 'sheet'; expected session, tidy, or a plugin: .*one-row-a-test"):
        export_in_layout(archive, [], "sheet", tmp_path)
