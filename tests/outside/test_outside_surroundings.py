"""What lies around the files: rights, room on the disk, archives that are none, plugins that are broken."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest
from from_outside import (
    ANSWER_IS_NO,
    ARCHIVE,
    DONE,
    REPOSITORY,
    SUPERUSER,
    USAGE,
    Programme,
    a_row,
    give_up_rights,
    linux_only,
    listing,
    outcomes,
    run,
    sectioned,
    sheet,
    smallest_file,
)

GOOD = sheet(a_row("G-1"), a_row("G-2"))
NOT_ONE = (
    "found no archive.toml; expected the folder of an archive. Give the folder of an archive, or make one there first."
)
NEWER = (
    "found archive format 2; expected format 1. "
    "Use a newer release of this toolkit; this one leaves the archive as it is."
)


def may_not_write(root: Path) -> None:
    for path in [root, *root.rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)


def may_write(root: Path) -> None:
    for path in [root, *root.rglob("*")]:
        path.chmod(0o755 if path.is_dir() else 0o644)


@linux_only
def test_files_that_may_not_be_read_are_named_and_the_others_come_in(programme: Programme) -> None:
    delivery = programme.folder / "delivery"
    (delivery / "closed").mkdir(parents=True)
    (delivery / "closed" / "within.csv").write_bytes(sheet(a_row("S-1")))
    (delivery / "secret.csv").write_bytes(sheet(a_row("S-2")))
    (delivery / "good.csv").write_bytes(GOOD)
    (delivery / "secret.csv").chmod(0)
    (delivery / "closed").chmod(0)
    ended = programme.take("delivery", before=give_up_rights)
    (delivery / "closed").chmod(0o755)
    assert ended.code == ANSWER_IS_NO, ended.err
    assert outcomes(ended) == {
        "delivery/closed": ("refused", 0),
        "delivery/secret.csv": ("refused", 0),
        "delivery/good.csv": ("new", 2),
    }
    wanted = (
        "found Permission denied; expected a file that can be read. Check that it is there and that you may read it."
    )
    assert [line for line in ended.lines if line.startswith("problem: ")] == [
        f"problem: delivery/closed: {wanted}",
        f"problem: delivery/secret.csv: {wanted}",
    ]
    programme.assert_whole()


@linux_only
def test_an_archive_that_may_not_be_written_is_left_as_it_is(filled: Programme) -> None:
    may_not_write(filled.root)
    before = listing(filled.root)
    ended = filled.on("import", "good.csv", before=give_up_rights)
    reading = filled.on("list", before=give_up_rights)
    verified = filled.on("archive", "verify", before=give_up_rights)
    after = listing(filled.root)
    may_write(filled.root)
    assert (ended.code, ended.out, "Traceback" in ended.err) == (ARCHIVE, b"", False), ended.err
    assert ended.lines[-1].startswith(f"error: {filled.root}: found ")
    assert ended.lines[-1].endswith(
        "; expected a folder that takes what is written. "
        "Ask the owner of the archive for the right to write in it, or work on a copy."
    )
    assert (reading.code, verified.code) == (DONE, DONE)
    assert after == before


@linux_only
def test_a_read_only_archive_is_told_in_words(filled: Programme) -> None:
    may_not_write(filled.root)
    ended = filled.on("import", "good.csv", "--no-recompute", before=give_up_rights)
    may_write(filled.root)
    assert ended.lines[-1] == (
        f"error: {filled.root}: found a folder that you may not write in; expected a folder that takes what is "
        "written. Ask the owner of the archive for the right to write in it, or work on a copy."
    )


@linux_only
@pytest.mark.parametrize(
    "limit", [2000, *(pytest.param(size, marks=pytest.mark.full) for size in (0, 300, 1000, 8000, 15000, 30000))]
)
def test_a_full_disk_leaves_what_was_there_whole(filled: Programme, limit: int) -> None:
    ended = filled.on("import", "good.csv", "--no-recompute", before=smallest_file(limit))
    assert "Traceback" not in ended.err
    if limit < 30000:
        assert ended.code == ARCHIVE, ended.err
        assert ended.out == b""
        assert ended.lines[-1].startswith(f"error: {filled.root}: found ")
        assert ended.lines[-1].endswith(
            "; expected a folder that takes what is written. "
            "Raise the limit on the size of files and import again; what was there before is whole."
        )
    filled.assert_whole()
    assert {row["job_id"] for row in filled.ask("select job_id from sessions")} in ({"F-1"}, {"F-1", "G-1", "G-2"})
    assert filled.take("good.csv").code == DONE
    assert [row["job_id"] for row in filled.ask("select job_id from sessions order by 1")] == ["F-1", "G-1", "G-2"]


@pytest.mark.parametrize(
    "words",
    [
        ("import", "good.csv"),
        *(pytest.param(words, marks=pytest.mark.full) for words in (("list",), ("query", "select 1"), ("recompute",))),
    ],
)
def test_a_folder_that_is_no_archive_is_said_to_be_none(tmp_path: Path, words: tuple[str, ...]) -> None:
    (tmp_path / "good.csv").write_bytes(GOOD)
    (tmp_path / "folder").mkdir()
    ended = run(*words, "--archive", "folder", cwd=tmp_path)
    assert (ended.code, ended.out) == (ARCHIVE, b"")
    where = [f"error: {place}: {NOT_ONE}" for place in ("folder", tmp_path / "folder")]
    assert [ended.err.rstrip("\n")] in ([where[0]], [where[1]])
    assert list((tmp_path / "folder").iterdir()) == []


@pytest.mark.parametrize(
    "words",
    [
        ("import", "good.csv"),
        *(pytest.param(words, marks=pytest.mark.full) for words in (("list",), ("query", "select 1"), ("recompute",))),
    ],
)
def test_an_archive_of_a_newer_format_is_left_alone(filled: Programme, words: tuple[str, ...]) -> None:
    settings = filled.root / "archive.toml"
    settings.write_text(settings.read_text().replace("format = 1", "format = 2"))
    before = listing(filled.root)
    ended = filled.on(*words)
    assert (ended.code, ended.out) == (ARCHIVE, b"")
    assert ended.lines in ([f"error: {place}/archive.toml: {NEWER}"] for place in ("archive", filled.root))
    assert listing(filled.root) == before


def test_verify_of_a_newer_archive_does_not_call_it_broken(filled: Programme) -> None:
    settings = filled.root / "archive.toml"
    settings.write_text(settings.read_text().replace("format = 1", "format = 2"))
    ended = filled.on("archive", "verify")
    assert (ended.code, ended.lines) == (ARCHIVE, [f"error: {filled.root}/archive.toml: {NEWER}"])


def copied_plugin(folder: Path, name: str) -> Path:
    place = folder / "plugins" / name
    place.mkdir(parents=True)
    text = (REPOSITORY / "plugins" / "one-row-a-test" / "plugin.toml").read_text()
    (place / "plugin.toml").write_text(text.replace('id = "one-row-a-test"', f'id = "{name}"'))
    return place / "plugin.toml"


def test_a_file_that_two_plugins_take_for_theirs_is_refused(filled: Programme) -> None:
    copied_plugin(filled.folder, "copied")
    (filled.folder / "second.csv").write_bytes(sectioned("F-2"))
    ended = filled.take("good.csv", "second.csv", "--plugins", "plugins")
    assert ended.code == ANSWER_IS_NO
    assert outcomes(ended) == {"good.csv": ("refused", 0), "second.csv": ("new", 1)}
    assert [line for line in ended.lines if "good.csv" in line] == [
        "problem: good.csv: found a layout that 2 plugins take for theirs: copied and one-row-a-test (header name 'Job "
        "number', header name 'House', header name 'Stage', header name 'Test date', header name 'Fan setting'); "
        "expected a layout that one plugin recognises. "
        "Add a clause under [recognise] to one of these plugins, or leave one of them out."
    ]
    filled.assert_whole()


@pytest.mark.parametrize("broken", ["id = [", pytest.param("\x00", marks=pytest.mark.full)], ids=["not TOML", "NUL"])
def test_a_broken_plugin_is_named_and_the_others_work(filled: Programme, broken: str) -> None:
    (filled.folder / "plugins" / "broken").mkdir(parents=True)
    (filled.folder / "plugins" / "broken" / "plugin.toml").write_text(broken)
    ended = filled.take("good.csv", "--plugins", "plugins")
    assert (ended.code, outcomes(ended)) == (DONE, {"good.csv": ("new", 2)})
    assert [line for line in ended.lines if "broken/plugin.toml" in line] != []
    assert "Traceback" not in ended.err
    listed = filled.run("plugin", "list", "--plugins", "plugins")
    assert listed.code == ANSWER_IS_NO
    assert "broken/plugin.toml" in listed.err
    assert "one-row-a-test" in listed.text
    filled.assert_whole()


def test_half_a_plugin_is_told_in_one_text(filled: Programme) -> None:
    (filled.folder / "plugins" / "broken").mkdir(parents=True)
    (filled.folder / "plugins" / "broken" / "plugin.toml").write_text('manifest_version = 1\nid = "broken"\n')
    ended = filled.take("good.csv", "--plugins", "plugins")
    assert [line for line in ended.lines if "broken/plugin.toml" in line] == [
        "note: broken/plugin.toml: found no version, title, languages, units, recognise, layout, block; "
        "expected all of these fields. Add them. The plugin is left out until then."
    ]


def test_a_plugin_whose_folder_has_another_name_is_left_out(filled: Programme) -> None:
    manifest = copied_plugin(filled.folder, "copied")
    shutil.move(manifest.parent, manifest.parent.with_name("renamed"))
    ended = filled.take("good.csv", "--plugins", "plugins")
    assert (ended.code, outcomes(ended)) == (DONE, {"good.csv": ("new", 2)})
    assert [line for line in ended.lines if "renamed/plugin.toml" in line] == [
        "note: renamed/plugin.toml, column 'id': found 'copied'; expected 'renamed', the name of the plugin's "
        "folder. "
        "Rename the folder or correct the id. The plugin is left out until then."
    ]


def test_a_folder_of_plugins_that_is_not_there_is_a_wrong_call(filled: Programme) -> None:
    ended = filled.take("good.csv", "--plugins", "nowhere")
    assert ended.code == USAGE
    assert "nowhere" in ended.err


def test_a_path_that_is_not_there_is_a_wrong_call_and_nothing_comes_in(filled: Programme) -> None:
    ended = filled.take("good.csv", "nowhere.csv")
    assert ended.code == USAGE
    assert ended.lines[-1] == "Error: Invalid value for 'PATHS...': Path 'nowhere.csv' does not exist."
    assert filled.ask("select count(*) as n from sessions") == [{"n": 1}]


def test_the_tests_of_rights_can_fail(filled: Programme) -> None:
    """Without its rights given up, a superuser reads all; then the tests above would prove nothing."""
    (filled.folder / "good.csv").chmod(0)
    ended = filled.take("good.csv")
    assert (ended.code == DONE) == SUPERUSER
