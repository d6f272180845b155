"""What `archive.toml` says, and archives that cannot be opened."""

from __future__ import annotations

from pathlib import Path

import pytest

from interchange.archive import settings
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.errors import ArchiveError

AGREED = Settings(
    'Harbour "Warm" Homes\n\x7fé',
    "Europe/Dublin",
    "imperial",
    ("as_displayed", "other@2015"),
    {"volume_m3": "inside, cellar\tcounted"},
)


def test_settings_are_read_as_they_were_written(tmp_path: Path) -> None:
    settings.write(tmp_path, AGREED)
    assert settings.read(tmp_path) == AGREED


def test_absent_settings_stay_absent(tmp_path: Path) -> None:
    settings.write(tmp_path, Settings("P"))
    assert settings.read(tmp_path) == Settings("P", None, "si", (), {})


def test_a_definition_of_an_unknown_name_is_a_bug(tmp_path: Path) -> None:
    with pytest.raises(ValueError, match="volume_ft3"):
        settings.write(tmp_path, Settings("P", definitions={"volume_ft3": "?"}))


@pytest.mark.parametrize(
    ("text", "code", "words"),
    [
        ("format = 2\nnew = 1\n", "archive-format", "Use a newer release"),
        ("format = 'one'\n", "archive-settings", "format = 'one'"),
        ("format = true\nprogramme = 'P'\n", "archive-settings", "format = True"),
        ("programme = 'P'\n", "archive-settings", "no format"),
        ("format = 1\n", "archive-settings", "no programme"),
        ("format = 1\nprogramme = 'P'\ntime_zone = 3\n", "archive-settings", "time_zone = 3"),
        ("format = 1\nprogramme = 'P'\nunits = 'other'\n", "archive-settings", "units"),
        ("format = 1\nprogramme = 'P'\nunits = 'si'\nrule_sets = ['a', 2]\n", "archive-settings", "rule_sets"),
        ("format = 1\nprogramme = 'P'\nwhat = 2\n", "archive-settings", "what = 2"),
        ("format = 1\nprogramme = 'P'\nunits = 'si'\n[definitions]\na = 2\n", "archive-settings", "definitions"),
        ("format = \n", "archive-settings", "line 1"),
    ],
)
def test_other_settings_are_refused_by_name(tmp_path: Path, text: str, code: str, words: str) -> None:
    (tmp_path / "archive.toml").write_text(text)
    with pytest.raises(ArchiveError, match=words) as caught:
        Store.open(tmp_path)
    assert [problem.code for problem in caught.value.problems] == [code]


def test_what_is_no_archive_is_called_so(tmp_path: Path) -> None:
    for root in (tmp_path, tmp_path / "nowhere"):
        with pytest.raises(ArchiveError, match=r"no archive\.toml") as caught:
            Store.open(root)
        assert caught.value.exit_code == 4


def test_an_archive_is_made_in_an_empty_folder_only(tmp_path: Path) -> None:
    root = Store.create(tmp_path / "new" / "archive", AGREED).root
    assert Store.open(root).settings == AGREED
    with pytest.raises(ArchiveError, match="a folder with something in it"):
        Store.create(root, AGREED)


@pytest.mark.parametrize("name", ["50 % done", "a[1]", "what?"])
def test_a_path_that_the_libraries_misread_is_refused(tmp_path: Path, name: str) -> None:
    with pytest.raises(ArchiveError, match="Rename the folder"):
        Store.create(tmp_path / name, AGREED)


def test_blanks_and_other_letters_in_the_path_do_no_harm(tmp_path: Path) -> None:
    root = Store.create(tmp_path / "Häuser 2026 #1 + it's", AGREED).root
    assert Store.open(root).snapshot().version == 0
    assert Store.open(root).snapshot().sql().execute("SELECT count(*) FROM sessions").fetchall() == [(0,)]


def test_the_log_does_not_tell_where_the_archive_was_made(tmp_path: Path) -> None:
    root = Store.create(tmp_path / "private-name", AGREED).root
    assert not [path for path in root.rglob("*") if path.is_file() and b"private-name" in path.read_bytes()]


def test_a_damaged_log_is_an_error_in_words(tmp_path: Path) -> None:
    root = Store.create(tmp_path / "a", AGREED).root
    (root / "table/_delta_log/00000000000000000000.json").write_text("{")
    with pytest.raises(ArchiveError, match="verify"):
        Store.open(root)
