"""What several modules of this folder read, made once."""

from __future__ import annotations

from pathlib import Path

import pytest

from interchange.operations.demo import run_demo


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo archive, to be read only."""
    root = tmp_path_factory.mktemp("demo") / "demo"
    run_demo(root)
    return root
