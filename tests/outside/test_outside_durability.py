"""The same delivery again, in any dress; programs that are killed; writers at the same time."""

from __future__ import annotations

import json
import random
import signal
import subprocess
import sys
import time
import zipfile
from collections import Counter
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from from_outside import (
    DONE,
    START,
    Programme,
    a_row,
    environment,
    log,
    outcomes,
    sectioned,
    sheet,
)

ROWS = 40
CHANNELS = 4


def delivery(folder: Path, label: str) -> dict[str, int]:
    """A sheet of two tests, a test in sections, a log: file names, and how many tests are in each."""
    folder.mkdir(parents=True, exist_ok=True)
    (folder / f"{label}-sheet.csv").write_bytes(sheet(a_row(f"{label}-1"), a_row(f"{label}-2")))
    (folder / f"{label}-test.csv").write_bytes(sectioned(f"{label}-3"))
    (folder / f"{label}-log.csv").write_bytes(log(f"{label}-4", count=ROWS))
    return {f"{label}-sheet.csv": 2, f"{label}-test.csv": 1, f"{label}-log.csv": 1}


def jobs_of(label: str) -> list[str]:
    return [f"{label}-{number}" for number in range(1, 5)]


def jobs(programme: Programme) -> Counter[str]:
    return Counter(row["job_id"] for row in programme.ask("select job_id from sessions"))


def current(programme: Programme) -> list[dict[str, Any]]:
    return programme.ask("select session_id, revision, job_id, source_sha256 from sessions order by session_id")


def assert_nothing_half(programme: Programme) -> None:
    """Each session of a log has each of its channels with each value; each other has its points and readings."""
    logs = programme.ask(
        "select s.job_id, count(distinct t.channel_id) as channels, sum(len(t.values)) as values "
        "from sessions s left join traces t using (session_id) where kind = 'monitoring' group by 1"
    )
    assert [row for row in logs if (row["channels"], row["values"]) != (CHANNELS, CHANNELS * ROWS)] == []
    points = programme.ask(
        "select s.job_id, s.kind, count(f.flow_m3_h) as flows "
        "from sessions s left join fan_readings f using (session_id) where kind <> 'monitoring' group by 1, 2"
    )
    wanted = {"single_point": 1, "multi_point": 5}
    assert [row for row in points if row["flows"] != wanted[row["kind"]]] == []


def test_the_same_delivery_in_any_dress_is_the_same_tests_once(programme: Programme) -> None:
    delivery(programme.folder / "first", "A")
    assert programme.take("first").code == DONE
    before = current(programme)
    assert len(before) == 4
    names = ["A-test.csv", "A-sheet.csv", "A-log.csv"]
    (programme.folder / "renamed").mkdir()
    with zipfile.ZipFile(programme.folder / "packed.zip", "w") as file:
        for name in names:
            file.write(programme.folder / "first" / name, f"deep/{name}")
            (programme.folder / "renamed" / f"other {name}.txt").write_bytes(
                (programme.folder / "first" / name).read_bytes()
            )
    for paths in (["packed.zip"], ["renamed", *(f"first/{name}" for name in names)]):
        ended = programme.take(*paths)
        assert ended.code == DONE, ended.err
        assert {outcome for outcome, _ in outcomes(ended).values()} == {"known already"}
    assert current(programme) == before
    assert_nothing_half(programme)
    programme.assert_whole()


def test_a_file_twice_in_one_delivery_comes_in_once(programme: Programme) -> None:
    delivery(programme.folder / "one", "B")
    delivery(programme.folder / "two", "B")
    ended = programme.take("one", "two")
    assert ended.code == DONE, ended.err
    assert Counter(outcome for outcome, _ in outcomes(ended).values()) == {"new": 3, "known already": 3}
    assert jobs(programme) == Counter(jobs_of("B"))


def started(programme: Programme, *words: str) -> subprocess.Popen[bytes]:
    return subprocess.Popen(
        [sys.executable, "-c", START, *words, "--archive", "archive"],
        cwd=programme.folder,
        env=environment(),
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )


def kill_imports(programme: Programme, kills: int, seed: int) -> None:
    """Kill imports, each of its own delivery, at moments spread over a whole run; two go on side by side."""
    for number in range(kills):
        delivery(programme.folder / f"k{number}", f"K{number}")
    delivery(programme.folder / "measure", "M")
    begun = time.monotonic()
    assert programme.on("import", "measure").code == DONE
    whole_run = time.monotonic() - begun
    chance = random.Random(seed)
    moments = [(number + chance.random()) / kills * whole_run * 1.2 for number in range(kills)]

    def kill(number: int) -> tuple[int, bytes]:
        child = started(programme, "import", f"k{number}", "--format", "json")
        try:
            out, _ = child.communicate(timeout=moments[number])
        except subprocess.TimeoutExpired:
            child.send_signal(signal.SIGKILL)
            out, _ = child.communicate()
        return child.returncode, out

    with ThreadPoolExecutor(max_workers=2) as pool:
        ends = list(pool.map(kill, range(kills)))
    assert {code for code, _ in ends} <= {DONE, -signal.SIGKILL}
    assert [code for code, _ in ends].count(-signal.SIGKILL) >= kills / 2, "too late to prove anything"
    acknowledged = Counter(jobs_of("M"))
    for number, (code, out) in enumerate(ends):
        if code == DONE:
            assert {row["outcome"] for row in json.loads(out)} == {"new"}
            acknowledged.update(jobs_of(f"K{number}"))
    programme.assert_whole()
    there = jobs(programme)
    assert acknowledged - there == Counter(), "acknowledged and lost"
    assert set(there.values()) == {1}, "twice"
    for number in range(kills):
        assert {there[job] for job in jobs_of(f"K{number}")} in ({0}, {1}), "half a delivery file"
    assert_nothing_half(programme)
    again = programme.on("import", *(f"k{number}" for number in range(kills)), "--format", "json")
    assert again.code == DONE, again.err
    assert jobs(programme) == Counter(jobs_of("M") + [job for n in range(kills) for job in jobs_of(f"K{n}")])
    assert_nothing_half(programme)
    programme.assert_whole()


def test_imports_that_are_killed_lose_nothing_and_leave_nothing_half(programme: Programme) -> None:
    kill_imports(programme, 20, seed=20)


@pytest.mark.full
def test_many_imports_that_are_killed_lose_nothing_and_leave_nothing_half(programme: Programme) -> None:
    kill_imports(programme, 200, seed=200)


def failed(children: list[subprocess.Popen[bytes]]) -> list[tuple[int, str]]:
    ends = [(*child.communicate(timeout=300), child.returncode) for child in children]
    return [(code, err.decode()) for _, err, code in ends if code != DONE or b"Traceback" in err]


def write_at_once(programme: Programme, writers: int) -> None:
    for number in range(writers):
        delivery(programme.folder / f"w{number}", f"W{number}")
        delivery(programme.folder / f"w{number}", "SHARED")
    assert failed([started(programme, "import", f"w{number}", "--no-recompute") for number in range(writers)]) == []
    wanted = jobs_of("SHARED") + [job for number in range(writers) for job in jobs_of(f"W{number}")]
    assert jobs(programme) == Counter(wanted)
    assert_nothing_half(programme)
    programme.assert_whole()


def test_four_writers_at_once_are_all_there_once(programme: Programme) -> None:
    write_at_once(programme, 4)


@pytest.mark.full
def test_eight_writers_at_once_are_all_there_once(programme: Programme) -> None:
    write_at_once(programme, 8)


def recompute_and_read(programme: Programme, rounds: int) -> None:
    """Whoever reads results while another recomputes them has the new ones, or is told that they are not there yet."""
    for number in range(rounds):
        delivery(programme.folder / f"r{number}", f"R{number}")
        assert programme.take(f"r{number}").code == DONE
        sql = "select count(*) from sessions join results using (session_id)"
        if number == 0:
            assert programme.on("recompute").code == DONE
        first = started(programme, "recompute")
        readers = [started(programme, *words) for words in (("list",), ("query", sql))]
        others = [started(programme, "recompute") for _ in range(2)]
        assert failed([first, *others]) == []
        not_yet = "expected results computed from version"  # a reader may be quicker than the recomputing
        assert [end for end in failed(readers) if not_yet not in end[1]] == []
    programme.assert_whole()


def test_recomputing_and_reading_at_once_disturb_nobody(programme: Programme) -> None:
    recompute_and_read(programme, 1)


@pytest.mark.full
def test_recomputing_and_reading_at_once_disturb_nobody_for_long(programme: Programme) -> None:
    recompute_and_read(programme, 15)


def test_a_lost_byte_is_found(programme: Programme) -> None:
    """Else `assert_whole` above could not fail."""
    delivery(programme.folder / "first", "A")
    assert programme.take("first").code == DONE
    file = next((programme.root / "table").rglob("part=session/*.parquet"))
    file.write_bytes(file.read_bytes()[:-1] + b"?")
    ended = programme.on("archive", "verify")
    assert ended.code == 1
    assert file.name in ended.err
