"""Census: every field of the form is filled by a sample or example, and read by a view, a kernel or an export."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from interchange.operations.field_use import field_uses
from interchange.operations.schema import fields

ROOT = Path(__file__).parent.parent.parent
SAMPLES = sorted((ROOT / "plugins").glob("*/samples/*.expected.json"))
EXAMPLES = sorted((ROOT / "schema" / "session" / "1" / "examples").glob("*.session.json"))

# Fields, by their path, that no sample and no example fills, and those that nothing reads; each with its reason.
NOT_FILLED: dict[str, str] = {}
NOT_USED: dict[str, str] = {}


def _paths(value: Any, path: str) -> Iterator[str]:
    if isinstance(value, dict):
        for name, part in value.items():
            yield from _paths(part, f"{path}.{name}".lstrip("."))
    elif isinstance(value, list) and value and isinstance(value[0], dict):
        for part in value:
            yield from _paths(part, path)
    else:
        yield path


def _form() -> dict[str, str]:
    """Names of the fields by their paths."""
    rows = [(row[0], row[1]) for row in fields().rows]
    return {name if group == "session" else f"{group}.{name}": name for group, name in rows}


def test_every_field_is_filled_by_a_sample_or_an_example() -> None:
    documents = [session for path in SAMPLES for session in json.loads(path.read_text())["sessions"]]
    documents += [json.loads(path.read_text()) for path in EXAMPLES]
    filled = {path for document in documents for path in _paths(document, "")}
    assert _form().keys() - filled == NOT_FILLED.keys()


def test_every_field_is_read_by_a_view_a_kernel_or_an_export() -> None:
    uses = field_uses()
    assert {path for path, name in _form().items() if name not in uses} == NOT_USED.keys()


def test_uses_are_those_that_the_code_has() -> None:
    uses = {name: str(use) for name, use in field_uses().items()}
    assert uses["wind_source"] == "view sessions, weather_records; check wind_strength; tidy tests"
    assert uses["fan_exponent"] == "view fan_calibrations; recomputed"
    assert uses["opening_state"] == "view openings"
    assert uses["envelope_pressure_spread_pa"] == "view points; check low_pressure_spread; tidy points"
