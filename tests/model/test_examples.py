"""The documents under schema/session/1: one of each kind, and those at fault, by our own reader and by a library."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from interchange.model import document
from interchange.operations.schema import faults
from interchange.quantities import CHOICES

FOLDER = Path(__file__).parent.parent.parent / "schema" / "session" / "1"
EXAMPLES = sorted((FOLDER / "examples").iterdir())
REFUSED = json.loads((FOLDER / "refused" / "refused.json").read_text())
# the library that holds documents against the checked-in JSON Schema, dates and times included
VALIDATOR = jsonschema.Draft202012Validator(
    json.loads((FOLDER / "session.schema.json").read_text()),
    format_checker=jsonschema.Draft202012Validator.FORMAT_CHECKER,
)


def test_there_is_one_example_of_each_kind() -> None:
    kinds = {path.name.removesuffix(".session.json"): json.loads(path.read_text())["kind"] for path in EXAMPLES}
    assert kinds == {kind: kind for kind in CHOICES["kind"]}


@pytest.mark.parametrize("path", EXAMPLES, ids=lambda path: path.name)
def test_an_example_is_valid_and_comes_back_letter_by_letter(path: Path) -> None:
    example = json.loads(path.read_text())
    session = document.load(example, path.name)
    assert document.document_text(session) == path.read_text()
    assert session.session_id == document.session_id(session.source.source_sha256, session.source.source_place)
    VALIDATOR.validate(example)


def test_every_refused_document_is_listed() -> None:
    files = {path.name for path in (FOLDER / "refused").iterdir()} - {"refused.json"}
    assert [entry["file"] for entry in REFUSED] == list(dict.fromkeys(entry["file"] for entry in REFUSED))
    assert {entry["file"] for entry in REFUSED} == files


@pytest.mark.parametrize("entry", REFUSED, ids=lambda entry: entry["file"].removesuffix(".session.json"))
def test_a_document_at_fault_is_refused_with_the_stated_code_at_the_stated_path(entry: dict[str, Any]) -> None:
    path = FOLDER / "refused" / entry["file"]
    found = faults(path)
    assert [{"code": one.code, "path": one.place.column} for one in found] == entry["problems"]
    assert {one.place.file for one in found} == {str(path)}
    assert all(one.found and one.expected and one.cure for one in found)
    assert VALIDATOR.is_valid(json.loads(path.read_text())) != entry["json_schema_refuses"]
