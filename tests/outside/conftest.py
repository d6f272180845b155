"""Archives to begin with: made once by the program, copied for each test."""

from __future__ import annotations

from pathlib import Path

import pytest
from from_outside import DONE, Programme, a_row, sectioned, sheet


@pytest.fixture(scope="session")
def empty(tmp_path_factory: pytest.TempPathFactory) -> Programme:
    return Programme.new(tmp_path_factory.mktemp("empty"))


@pytest.fixture(scope="session")
def begun(empty: Programme, tmp_path_factory: pytest.TempPathFactory) -> Programme:
    """One test is in the archive; a sheet of two lies beside it."""
    programme = empty.copied_to(tmp_path_factory.mktemp("begun") / "desk")
    (programme.folder / "first.csv").write_bytes(sectioned("F-1"))
    assert programme.take("first.csv").code == DONE
    (programme.folder / "good.csv").write_bytes(sheet(a_row("G-1"), a_row("G-2")))
    return programme


@pytest.fixture
def programme(empty: Programme, tmp_path: Path) -> Programme:
    return empty.copied_to(tmp_path / "desk")


@pytest.fixture
def filled(begun: Programme, tmp_path: Path) -> Programme:
    return begun.copied_to(tmp_path / "desk")
