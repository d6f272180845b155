"""Results, checks and verdicts as a cache that shows what it belongs to."""

from __future__ import annotations

import os
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest

from interchange import __version__
from interchange.archive import derived, parquet, verify
from interchange.archive.settings import Settings
from interchange.archive.store import Store


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return Store.create(tmp_path / "archive", Settings("P")).root


def test_rows_are_kept_with_what_they_were_computed_from(root: Path) -> None:
    columns = {
        "session_id": pa.array(["a", "b"]),
        "exponent": np.array([0.65, np.nan]),
        "level": np.array([1, 9], np.int8),
    }
    one = derived.write(root, "results", "other@2015", 3, columns)
    assert (one.kind, one.rule_set, one.archive_version, one.program_version) == (
        "results",
        "other@2015",
        3,
        __version__,
    )
    assert pq.read_table(one.path).to_pylist() == [
        {"session_id": "a", "exponent": 0.65, "level": 1, "rule_set": "other@2015", "archive_version": 3,
         "program_version": __version__},
        {"session_id": "b", "exponent": None, "level": 9, "rule_set": "other@2015", "archive_version": 3,
         "program_version": __version__},
    ]  # fmt: skip
    assert parquet.named_sha256(one.path) == parquet.sha256(one.path)
    assert derived.listing(root) == [one]


def test_an_arrow_table_is_taken_as_it_is(root: Path) -> None:
    one = derived.write(
        root, "checks", "r", 1, pa.table({"check": ["flow"], "rule_set": ["r"], "empty": pa.nulls(1, pa.float64())})
    )
    assert pq.read_table(one.path).column_names == ["check", "empty", "rule_set", "archive_version", "program_version"]


def test_newer_rows_stand_in_place_of_older_ones_of_the_same_rule_set_and_kind(root: Path) -> None:
    rows = {"session_id": ["a"]}
    old = derived.write(root, "results", "r", 1, rows)
    other, checks = derived.write(root, "results", "s", 1, rows), derived.write(root, "checks", "r", 1, rows)
    old_too = derived.write(root, "results", "r", 2, rows)
    newest = derived.write(root, "results", "r", 2, {"session_id": ["b"]})
    assert derived.current(root, 2) == [newest]
    assert derived.current(root, 1) == [checks, old, other]
    for replaced in (old, old_too):
        assert replaced.path.exists()  # somebody may still be reading it
        os.utime(replaced.path, (0, 0))
    newest = derived.write(root, "results", "r", 2, {"session_id": ["b"]})
    assert not old.path.exists() and not old_too.path.exists()
    assert derived.current(root, 2) == [newest]
    assert derived.current(root, 1) == [checks, other]


def test_two_files_of_one_key_are_read_as_one(root: Path) -> None:
    """Two processes may compute the same at once; neither's rows may be counted twice."""
    one = derived.write(root, "results", "r", 1, {"session_id": ["a"]})
    twin = one.path.with_name(one.path.name[:-16] + "00000000.parquet")
    twin.write_bytes(one.path.read_bytes())
    assert len(derived.current(root, 1)) == 1
    connection = Store.open(root).snapshot(0)
    assert connection.version == 0


def test_a_rule_set_that_cannot_name_a_folder_is_a_bug(root: Path) -> None:
    for name in ("../x", "a/b", "", ".."):
        with pytest.raises(ValueError, match="rule set"):
            derived.write(root, "results", name, 1, {"session_id": ["a"]})


def test_a_flipped_byte_is_found_and_its_cure_is_to_compute_again(root: Path) -> None:
    one = derived.write(root, "results", "r", 0, {"session_id": ["a"]})
    content = bytearray(one.path.read_bytes())
    content[len(content) // 2] ^= 1
    one.path.write_bytes(content)
    (problem,) = verify.verify(root)
    assert problem.place.file == str(one.path) and "recompute" in problem.cure
