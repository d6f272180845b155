"""Finds the folders that ship with the package, in a wheel and in a checkout alike."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

_PACKAGE = Path(__file__).resolve().parent


def shipped(folder: Literal["plugins", "schema", "demo_archive"]) -> Path:
    """Folder of the shipped plugins, schema or demo deliveries."""
    in_wheel = _PACKAGE / "_shipped" / folder
    return in_wheel if in_wheel.is_dir() else _PACKAGE.parent / folder
