"""An archive of its own for a test, or one for all tests of a module."""

from __future__ import annotations

from pathlib import Path

import pytest
from from_outside import Programme


@pytest.fixture
def programme(tmp_path: Path) -> Programme:
    folder = tmp_path / "desk"
    folder.mkdir()
    return Programme(folder)
