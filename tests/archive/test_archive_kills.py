"""Writers that are killed, hindered, or many at once: nothing acknowledged lost, nothing half, nothing twice."""

from __future__ import annotations

import os
import random
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import archive_child
import pytest
from archive_samples import batch_of_imports

from interchange.archive import verify
from interchange.archive.log import PARTS
from interchange.archive.settings import Settings
from interchange.archive.store import STEPS, Store
from interchange.model.question import Delivery

CHILD = Path(__file__).with_name("archive_child.py")
VISIBLE_FROM = STEPS.index("log entry")


def start(deed: str, root: Path, *words: str, stdout: int | IO[str] = subprocess.PIPE) -> subprocess.Popen[str]:
    environment = os.environ | {
        "PYTHONPATH": os.pathsep.join(path for path in sys.path if path),
        "PYTHONDONTWRITEBYTECODE": "1",
    }
    command = [sys.executable, str(CHILD), deed, str(root), *words]
    return subprocess.Popen(command, stdout=stdout, stderr=subprocess.PIPE, text=True, env=environment)


def jobs(store: Store) -> list[str]:
    """Job number, or source name, of each current session."""
    return sorted(s.record.job_id or s.source.source_name for s in store.snapshot().sessions())


def of_batch(label: str, count: int = 3) -> list[str]:
    return sorted([*(f"{label}-{number}" for number in range(count)), f"{label}-trace.csv"])


def assert_whole(store: Store) -> None:
    assert [str(problem) for problem in verify.verify(store.root) if problem.blocks != "note"] == []


@pytest.fixture
def open_folder() -> Iterator[Path]:
    """A folder that any user may look into."""
    folder = Path(tempfile.mkdtemp(prefix="archive-"))
    folder.chmod(0o755)
    yield folder
    shutil.rmtree(folder)


@pytest.mark.parametrize("step", STEPS)
def test_a_process_that_ends_after_a_step_leaves_all_or_nothing(tmp_path: Path, step: str) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    store.commit(batch_of_imports("before", 3))
    child = start("exit_after", store.root, step, "cut")
    child.communicate(timeout=60)
    assert child.returncode == 9
    visible = of_batch("cut") if STEPS.index(step) >= VISIBLE_FROM else []
    assert jobs(store) == sorted([*of_batch("before"), *visible])
    assert_whole(store)
    receipt = store.commit(batch_of_imports("cut", 3))
    assert len(receipt.unchanged if visible else receipt.added) == 4
    assert jobs(store) == sorted([*of_batch("before"), *of_batch("cut")])
    assert_whole(store)
    # whatever was cut off, each version has its checksum once the next commit is acknowledged
    assert not [problem for problem in verify.verify(store.root) if problem.code == "checksum-missing"]


CHANGES = ("undo", "amend", "decide", "rewrite")


def state(store: Store) -> tuple[list[str], list[float | None], int, int]:
    """Jobs, volumes, decisions and the number of stored revisions: what each sort of change shows in."""
    snapshot = store.snapshot()
    sessions = sorted(snapshot.sessions(), key=lambda s: s.session_id)
    revisions = len(list(snapshot.sessions(every_revision=True)))
    return jobs(store), [s.building.volume_m3 for s in sessions], len(list(snapshot.decisions())), revisions


def prepared(folder: Path) -> Store:
    store = Store.create(folder, Settings("P"))
    store.commit(batch_of_imports("before", 3), delivery=Delivery("first"))
    store.commit(batch_of_imports("cut", 1), delivery=Delivery("second"))
    return store


def assert_cut_off_whole(store: Store, what: str, step: str, after: tuple[object, ...]) -> None:
    """A change cut off after a step is there whole or not at all, and made again it is there once."""
    before, version = state(store), store.snapshot().version
    child = start("change_and_exit_after", store.root, what, step)
    _, errors = child.communicate(timeout=60)
    assert child.returncode == 9, errors
    visible = STEPS.index(step) >= VISIBLE_FROM
    assert state(store) == (after if visible else before)
    assert store.snapshot().version == version + visible
    assert_whole(store)


@pytest.mark.parametrize("step", ["folders", "log entry"])  # the long version goes through them all
@pytest.mark.parametrize("what", CHANGES)
def test_a_change_whose_process_ends_after_a_step_is_made_whole_or_not_at_all(
    tmp_path: Path, what: str, step: str
) -> None:
    twin = prepared(tmp_path / "twin")
    archive_child.change(twin.root, what)
    store = prepared(tmp_path / "archive")
    assert_cut_off_whole(store, what, step, state(twin))
    if STEPS.index(step) < VISIBLE_FROM:
        archive_child.change(store.root, what)
    assert state(store) == state(twin)
    assert_whole(store)


def kill_in_the_middle(store: Store, kills: int, said: Path, seed: int) -> list[str]:
    """Lines that processes said before they were killed, each at a random moment of imports and changes."""
    dice = random.Random(seed)
    lines: list[str] = []
    for kill in range(kills):
        with said.open("w") as stdout:
            child = start("all_until_killed", store.root, str(kill), stdout=stdout)
        while not said.read_text():
            assert child.poll() is None, child.communicate()
            time.sleep(0.01)
        time.sleep(dice.uniform(0.0, 0.6))
        child.send_signal(signal.SIGKILL)
        child.communicate(timeout=60)
        assert child.returncode == -signal.SIGKILL
        lines += said.read_text().splitlines()
    return lines


def assert_nothing_lost(store: Store, lines: list[str], kills: int) -> None:
    acknowledged = [line.split()[1] for line in lines if line.startswith("import")]
    there = [name for name in jobs(store) if not name.startswith(("before", "cut"))]
    labels = {name.rsplit("-", 1)[0] for name in there}
    assert len(acknowledged) >= kills
    assert set(acknowledged) - labels == set()  # none lost
    assert there == sorted(name for label in labels for name in of_batch(label))  # none half, none twice
    (amended,) = (s for s in store.snapshot().sessions() if s.record.job_id == "before-0")
    said = sum(line.startswith("amend") for line in lines)
    assert said <= len(amended.amendments) <= said + kills
    assert amended.building.volume_m3 == 412.5 + len(amended.amendments)
    said = sum(line.startswith("decide") for line in lines)
    assert said <= len(list(store.snapshot().decisions())) <= said + kills
    assert_whole(store)
    store.commit([one for label in sorted(labels) for one in batch_of_imports(label, 3)])
    assert [name for name in jobs(store) if not name.startswith(("before", "cut"))] == there


def test_kills_among_imports_changes_and_compaction_lose_nothing_and_halve_nothing(tmp_path: Path) -> None:
    store = prepared(tmp_path / "archive")
    assert_nothing_lost(store, kill_in_the_middle(store, 5, tmp_path / "said", 11), 5)


@pytest.mark.full
def test_a_thousand_kills_over_all_steps_and_at_random_moments_lose_nothing(tmp_path: Path) -> None:
    random_moments, exits = 400, 0
    for portion in range(10):  # so that no single archive grows out of measure
        store = prepared(tmp_path / f"random-{portion}")
        count = random_moments // 10
        assert_nothing_lost(store, kill_in_the_middle(store, count, tmp_path / "said", portion), count)
    while exits < 600:
        for step in STEPS:
            store = Store.create(tmp_path / f"steps-{exits}", Settings("P"))
            store.commit(batch_of_imports("before", 3))
            child = start("exit_after", store.root, step, "cut")
            child.communicate(timeout=60)
            assert child.returncode == 9
            visible = of_batch("cut") if STEPS.index(step) >= VISIBLE_FROM else []
            assert jobs(store) == sorted([*of_batch("before"), *visible])
            store.commit(batch_of_imports("cut", 3))
            assert jobs(store) == sorted([*of_batch("before"), *of_batch("cut")])
            assert_whole(store)
            exits += 1
        for what in CHANGES:
            for step in STEPS[1:]:
                twin = prepared(tmp_path / f"twin-{exits}")
                archive_child.change(twin.root, what)
                assert_cut_off_whole(prepared(tmp_path / f"change-{exits}"), what, step, state(twin))
                exits += 1


@pytest.mark.full
def test_eight_writers_of_a_hundred_commits_each_bring_everything_once(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    children = [start("commit_beside", store.root, label, "100") for label in "abcdefgh"]
    for child in children:
        _, errors = child.communicate(timeout=3600)
        assert child.returncode == 0, errors
    own = [name for label in "abcdefgh" for number in range(100) for name in of_batch(f"{label}-{number}", 2)]
    shared = [name for number in range(100) for name in of_batch(f"shared-{number}", 2)]
    assert jobs(store) == sorted([*own, *shared])
    assert store.snapshot().version >= 800
    assert_whole(store)


def test_twenty_kills_at_random_moments_lose_nothing_and_halve_nothing(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    random.seed(7)
    acknowledged: list[str] = []
    said = tmp_path / "said"
    for kill in range(20):
        with said.open("w") as stdout:
            child = start("commit_until_killed", store.root, str(kill), stdout=stdout)
        while not said.read_text():  # the first commit of a process takes longest; the kill falls into a later one
            assert child.poll() is None
            time.sleep(0.01)
        time.sleep(random.uniform(0.0, 0.25))
        child.send_signal(signal.SIGKILL)
        child.communicate(timeout=60)
        assert child.returncode == -signal.SIGKILL
        acknowledged += said.read_text().split()
    assert len(acknowledged) >= 20
    there = jobs(store)
    assert len(set(there)) == len(there)
    labels = {name.rsplit("-", 1)[0] for name in there}
    assert set(acknowledged) - labels == set()
    assert there == sorted(name for label in labels for name in of_batch(label))
    assert_whole(store)
    store.commit([one for label in sorted(labels) for one in batch_of_imports(label, 3)])
    assert jobs(store) == there
    assert_whole(store)


def test_four_writers_at_once_commit_everything_once(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    children = [start("commit_beside", store.root, label, "4") for label in "abcd"]
    added = unchanged = 0
    for child in children:
        output, errors = child.communicate(timeout=120)
        assert child.returncode == 0, errors
        counts = [line.split() for line in output.splitlines()]
        added += sum(int(one) for one, _ in counts)
        unchanged += sum(int(one) for _, one in counts)
    own = [name for label in "abcd" for number in range(4) for name in of_batch(f"{label}-{number}", 2)]
    shared = [name for number in range(4) for name in of_batch(f"shared-{number}", 2)]
    assert jobs(store) == sorted([*own, *shared])
    assert added == len(own) + len(shared) and unchanged == 3 * len(shared)
    assert store.snapshot().version == 16
    numbers = [entry.import_number for entry in store.snapshot().journal()]
    assert numbers == list(range(1, len(own) + 4 * len(shared) + 1))
    assert verify.verify(store.root) == []


def hinder(store: Store, hindrance: str) -> str:
    child = start("hindered", store.root, hindrance)
    output, errors = child.communicate(timeout=60)
    assert child.returncode == 0, errors
    return output


@pytest.mark.parametrize("locked", [".", "table/_delta_log"])
def test_a_folder_that_may_only_be_read_is_said_to_be_so(open_folder: Path, locked: str) -> None:
    store = Store.create(open_folder / "archive", Settings("P"))
    store.commit(batch_of_imports("before", 1))
    for path in [store.root, *store.root.rglob("*")]:
        path.chmod(0o777 if path.is_dir() else 0o666)
    for path in [store.root / locked, *(store.root / locked).rglob("*")]:
        path.chmod(0o555 if path.is_dir() else 0o444)
    output = hinder(store, "rights")
    assert "that you may not write in" in output and "Ask the owner" in output
    assert output.endswith("2 sessions\n")
    assert [problem for problem in verify.verify(store.root) if problem.code != "file-unknown"] == []
    assert len(list(store.root.rglob("*.parquet"))) == len(PARTS) + 3
    assert "\x1b" not in output


@pytest.mark.parametrize("limit", [50_000, 130_000, 700])
def test_a_disk_that_takes_no_more_leaves_the_archive_as_it_was(tmp_path: Path, limit: int) -> None:
    # 50 kB stops the original, 130 kB the trace file, 700 bytes the first write of all
    store = Store.create(tmp_path / "archive", Settings("P"))
    store.commit(batch_of_imports("before", 1))
    output = hinder(store, f"size{limit}")
    assert "File too large" in output and "import again" in output
    assert output.endswith("2 sessions\n")
    assert [problem for problem in verify.verify(store.root) if problem.code != "file-unknown"] == []
    assert not list(store.root.rglob("*.part"))


@pytest.mark.full
def test_a_full_disk_leaves_the_archive_as_it_was(tmp_path: Path) -> None:
    disk = tmp_path / "disk"
    disk.mkdir()
    if subprocess.run(
        ["mount", "-t", "tmpfs", "-o", "size=300k", "none", disk], check=False, capture_output=True
    ).returncode:
        pytest.skip("mounting a small disk is not allowed here")
    try:
        store = Store.create(disk / "archive", Settings("P"))
        store.commit(batch_of_imports("before", 1))
        output = hinder(store, "none")
        assert "No space left" in output and "Free some space" in output
        assert output.endswith("2 sessions\n")
        assert [problem for problem in verify.verify(store.root) if problem.code != "file-unknown"] == []
    finally:
        subprocess.run(["umount", disk], check=True)
