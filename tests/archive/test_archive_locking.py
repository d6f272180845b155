"""Network folders: told by the table of mounts, warned of once, written to in turn."""

from __future__ import annotations

import fcntl
import os
import warnings
from pathlib import Path

import pytest
from archive_samples import batch_of_imports

from interchange.archive import locking, verify
from interchange.archive.settings import Settings
from interchange.archive.store import Store


def mounts(tmp_path: Path, kind: str, point: Path) -> Path:
    table = tmp_path / "mounts"
    shown = str(point).replace(" ", "\\040")
    table.write_text(f"/dev/disk / ext4 rw 0 0\nserver:/homes {shown} {kind} rw 0 0\n")
    return table


@pytest.mark.parametrize(
    ("kind", "network"),
    [("nfs4", True), ("cifs", True), ("smb3", True), ("fuse.sshfs", True), ("ext4", False), ("fuseblk", False)],
)
def test_the_table_of_mounts_tells_network_folders(tmp_path: Path, kind: str, network: bool) -> None:
    point = tmp_path / "our share"
    point.mkdir()
    table = mounts(tmp_path, kind, point)
    assert locking.network(point / "archive", table) == (kind if network else None)
    assert locking.network(tmp_path, table) is None
    assert locking.network(point, tmp_path / "no table") is None


def test_on_a_network_folder_people_are_warned_and_writers_wait_for_each_other(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(locking, "MOUNTS", mounts(tmp_path, "nfs4", tmp_path))
    store = Store.create(tmp_path / "archive", Settings("P"))
    with pytest.warns(locking.NetworkFolderWarning, match=r"network folder \(nfs4\).*one at a time"):
        Store.open(store.root)
    seen: list[bool] = []

    def look(step: str) -> None:
        if os.fork() == 0:  # a lock of another process is what counts
            with (store.root / locking.FILE_NAME).open("ab") as file:
                try:
                    fcntl.lockf(file, fcntl.LOCK_EX | fcntl.LOCK_NB)
                except OSError:
                    os._exit(0)
            os._exit(1)
        seen.append(os.wait()[1] == 0)

    store.commit(batch_of_imports("a", 1), lambda step: look(step) if step == "folders" else None)
    assert seen == [True]
    assert verify.verify(store.root) == []


def test_a_local_folder_gets_neither_lock_nor_warning(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        Store.open(store.root)
    store.commit(batch_of_imports("a", 1))
    assert not (store.root / locking.FILE_NAME).exists()
