"""What the program hands out: the same rows in each form, data only on standard output, one text when it cannot."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from pathlib import Path
from typing import Any

import pyarrow.parquet as pq
import pytest
from from_outside import (
    ANSWER_IS_NO,
    ARCHIVE,
    DONE,
    START,
    USAGE,
    Programme,
    a_row,
    at_once,
    environment,
    give_up_rights,
    linux_only,
    listing,
    log,
    rows_of,
    run,
    sectioned,
    sheet,
)

NOT_KNOWN = (
    "error: command line: found 'NOPE'; expected a job number or the id of a test in the archive. "
    "`interchange list` shows the tests of the archive."
)
NEEDS_EMPTY = (
    "found a folder with something in it; expected an empty folder. "
    "Give the name of a new folder, or open the archive that is there."
)


@pytest.fixture(scope="module")
def shown(empty: Programme, tmp_path_factory: pytest.TempPathFactory) -> Programme:
    """Recomputed; with text that forms must not harm, and with values that are absent."""
    programme = empty.copied_to(tmp_path_factory.mktemp("shown") / "desk")
    rows = [a_row("O-1", contractor='Häuser, "Söhne"'), a_row("O-2", baseline="", wind="", clock=""), a_row("007")]
    files = {"a.csv": sheet(*rows), "b.csv": sectioned("O-3"), "c.csv": log("O-4")}
    for name, content in files.items():
        (programme.folder / name).write_bytes(content)
    ended = programme.on("import", *files)
    assert ended.code == DONE, ended.err
    return programme


def as_text(value: Any) -> str:
    if value is None:
        return ""
    return str(value).lower() if isinstance(value, bool) else str(value)


COMMANDS = {
    "list": ("list",),
    "recompute": ("recompute",),
    "query": ("query", "select job_id, contractor, volume_m3, started_at_utc, stage from sessions order by 1"),
    "views": ("query",),
    "import": ("import", "a.csv", "--no-recompute"),
}


@pytest.mark.parametrize(
    "name",
    ["list", "query", *(pytest.param(n, marks=pytest.mark.full) for n in COMMANDS if n not in ("list", "query"))],
)
def test_csv_json_and_parquet_hold_the_same_rows(shown: Programme, name: str) -> None:
    if name != "recompute":  # that writes
        ended = at_once({form: (*COMMANDS[name], "--format", form) for form in ("csv", "json", "parquet")}, shown.on)
    else:
        ended = {form: shown.on(*COMMANDS[name], "--format", form) for form in ("csv", "json", "parquet")}
    assert {form: each.code for form, each in ended.items()} == dict.fromkeys(ended, DONE)
    told = rows_of(ended["json"])
    read = list(csv.DictReader(io.StringIO(ended["csv"].text, newline="")))
    stored = pq.read_table(io.BytesIO(ended["parquet"].out)).to_pylist()
    assert told
    assert [list(row) for row in read] == [list(row) for row in told] == [list(row) for row in stored]
    assert read == [{name: as_text(value) for name, value in row.items()} for row in told]
    for row, kept in zip(told, stored, strict=True):
        for column, value in row.items():
            if isinstance(value, int | float) and not isinstance(value, bool):
                assert kept[column] == value, column
            elif value is None:
                assert kept[column] is None, column


@pytest.mark.parametrize(
    "form", ["parquet", *(pytest.param(form, marks=pytest.mark.full) for form in ("table", "csv", "json"))]
)
def test_output_to_a_file_is_what_standard_output_would_be(shown: Programme, form: str) -> None:
    words = ("query", "select job_id, volume_m3 from sessions order by 1", "--format", form)
    straight = shown.on(*words)
    filed = shown.on(*words, "--output", f"out.{form}")
    written = (shown.folder / f"out.{form}").read_bytes()
    assert (filed.code, filed.out, filed.lines) == (DONE, b"", [f"wrote out.{form}"])
    assert written == straight.out


@linux_only
@pytest.mark.parametrize("place", ["nowhere/out.csv", "closed/out.csv", "closed"])
def test_output_to_where_nothing_can_be_written_is_one_text(shown: Programme, place: str) -> None:
    closed = shown.folder / "closed"
    closed.mkdir(exist_ok=True)
    closed.chmod(0o555)
    ended = shown.on("query", "select 1", "--output", place, before=give_up_rights)
    why = {"nowhere/out.csv": "No such file or directory", "closed/out.csv": "Permission denied"}
    assert (ended.code, ended.out) == (USAGE, b"")
    if place in why:
        assert ended.lines == [
            f"error: {place}: found {why[place]}; expected a place that can be written to. "
            "Give another place, or make room."
        ]
    assert "Traceback" not in ended.err


@linux_only
def test_a_full_device_is_told_without_a_traceback(shown: Programme) -> None:
    with Path("/dev/full").open("wb") as full:
        child = subprocess.run(
            [sys.executable, "-c", START, "list", "--archive", "archive"],
            cwd=shown.folder,
            env=environment(),
            stdout=full,
            stderr=subprocess.PIPE,
            text=True,
            check=False,
        )
    assert child.returncode != 0
    assert "Traceback" not in child.stderr


@pytest.mark.parametrize(
    "words",
    [
        ("query", "select * from range(300000)", "--archive", "archive", "--format", "csv"),
        ("list", "--archive", "archive"),
        ("schema", "show"),
        ("--help",),
    ],
    ids=["query", "list", "schema", "help"],
)
def test_a_reader_that_goes_away_is_no_fault(shown: Programme, words: tuple[str, ...]) -> None:
    child = subprocess.Popen(
        [sys.executable, "-c", START, *words],
        cwd=shown.folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stdout is not None
    assert child.stderr is not None
    child.stdout.readline()
    child.stdout.close()
    told = child.stderr.read().decode()
    child.stderr.close()
    child.wait()
    assert "Traceback" not in told
    assert "Error" not in told


def test_the_archive_may_be_named_by_the_environment(shown: Programme) -> None:
    named = shown.run("list", "--format", "csv", INTERCHANGE_ARCHIVE=str(shown.root))
    assert (named.code, named.out) == (DONE, shown.on("list", "--format", "csv").out)
    without = shown.run("list")
    assert without.code == USAGE
    assert without.lines[-1].startswith("Error: Missing option '--archive'")


@pytest.mark.parametrize("words", [("show", "NOPE"), ("export", "O-1", "NOPE", "--as", "session", "--into", "none")])
def test_a_test_nobody_knows_is_named(shown: Programme, words: tuple[str, ...]) -> None:
    ended = shown.on(*words)
    assert (ended.code, ended.out, ended.lines) == (USAGE, b"", [NOT_KNOWN])
    assert not (shown.folder / "none").exists()


def test_show_names_a_test_by_job_and_by_the_start_of_its_id(shown: Programme) -> None:
    by_job = shown.on("show", "O-3")
    id_ = shown.ask("select session_id from sessions where job_id = 'O-3'")[0]["session_id"]
    by_id = shown.on("show", id_[:10])
    assert (by_job.code, by_id.code) == (DONE, DONE)
    assert by_job.out == by_id.out
    assert "O-3" in by_job.text


def test_a_version_that_is_not_there_is_named(shown: Programme) -> None:
    ended = shown.on("list", "--as-of", "999")
    assert (ended.code, ended.out) == (ARCHIVE, b"")
    assert ended.lines == [
        f"error: {shown.root}: found version 999; expected a version of this archive. "
        "Give a version that exists; leave it out for the newest."
    ]


@pytest.mark.parametrize("words", [("demo", "--into", "desk"), ("new", "desk", "--programme", "P", "--yes")])
def test_a_folder_with_something_in_it_is_not_taken(tmp_path: Path, words: tuple[str, ...]) -> None:
    (tmp_path / "desk").mkdir()
    (tmp_path / "desk" / "letter.txt").write_text("keep me")
    before = listing(tmp_path)
    ended = run(*words, cwd=tmp_path)
    assert (ended.code, ended.out) == (ARCHIVE, b"")
    assert ended.lines == [f"error: {tmp_path}/desk: {NEEDS_EMPTY}"]
    assert listing(tmp_path) == before


def test_a_time_zone_that_is_none_is_a_wrong_call(tmp_path: Path) -> None:
    ended = run("new", "desk", "--programme", "P", "--time-zone", "Mars/Base", "--yes", cwd=tmp_path)
    assert (ended.code, ended.out) == (USAGE, b"")
    assert ended.lines == [
        "error: --time-zone: found 'Mars/Base'; expected the IANA name of a time zone. "
        "Give a name such as Europe/Dublin or America/Chicago."
    ]
    assert list(tmp_path.iterdir()) == []


def test_every_exported_session_is_valid(shown: Programme) -> None:
    ended = shown.on("export", "--as", "session", "--into", "handed-on")
    assert (ended.code, ended.out) == (DONE, b""), ended.err
    documents = sorted(path.name for path in (shown.folder / "handed-on").glob("*.session.json"))
    assert len(documents) == 5
    checked = run("schema", "validate", *documents, cwd=shown.folder / "handed-on")
    assert (checked.code, checked.out) == (DONE, b"")
    assert checked.lines == [f"{name}: valid" for name in documents]


def test_a_document_with_a_fault_is_not_valid(shown: Programme, tmp_path: Path) -> None:
    """Else the test above could not fail."""
    assert shown.on("export", "O-3", "--as", "session", "--into", str(tmp_path)).code == DONE
    (document,) = tmp_path.glob("*.session.json")
    document.write_text(document.read_text().replace('"volume_m3": 412.5', '"volume_m3": -412.5'))
    checked = run("schema", "validate", document.name, cwd=tmp_path)
    assert checked.code == ANSWER_IS_NO
    assert "volume_m3" in checked.err
    assert "-412.5" in checked.err
    assert "Traceback" not in checked.err


def test_a_log_of_one_row_does_not_stop_the_export_of_the_others(filled: Programme) -> None:
    (filled.folder / "short.csv").write_bytes(log("S-1", count=1))
    filled.take("short.csv")
    forms = at_once({form: ("export", "--as", form, "--into", form) for form in ("session", "tidy")}, filled.on)
    assert {form: ended.code for form, ended in forms.items()} == {"session": DONE, "tidy": DONE}


def test_tidy_tables_hold_the_values_of_the_archive(shown: Programme) -> None:
    ended = shown.on("export", "--as", "tidy", "--into", "tidy")
    assert (ended.code, ended.out) == (DONE, b""), ended.err
    (id_,) = [row["session_id"] for row in shown.ask("select session_id from sessions where job_id = 'O-3'")]
    with (shown.folder / "tidy" / "points.csv").open(newline="", encoding="utf-8") as file:
        points = [row for row in csv.DictReader(file) if row["session_id"] == id_]
    assert [(float(p["envelope_pressure_pa"]), float(p["flow_m3_h"])) for p in points] == [
        (-60.3, 3159),
        (-50.1, 2820),
        (-40.2, 2450),
        (-30.1, 2034),
        (-20.2, 1575),
    ]
    with (shown.folder / "tidy" / "traces.csv").open(newline="", encoding="utf-8") as file:
        values = [float(row["value"]) for row in csv.DictReader(file) if row["channel_id"] == "line A"]
    assert values == [float(f"-1.{step:02d}") for step in range(40)]


@pytest.mark.full
def test_the_demo_runs_and_keeps_its_archive(tmp_path: Path) -> None:
    ended = run("demo", "--into", "demo", cwd=tmp_path)
    assert ended.code in (DONE, ANSWER_IS_NO)
    assert "Traceback" not in ended.err
    verified = run("archive", "verify", "--archive", "demo", cwd=tmp_path)
    assert (verified.code, verified.lines[-1]) == (DONE, "The archive is whole: everything is as it was committed.")
