"""Session documents: canonical text, identity, refusal, and the JSON Schema against a library of its own."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import jsonschema
import pytest

from interchange.errors import SourceError
from interchange.model import document
from interchange.model.session import Session

ROOT = Path(__file__).parent.parent.parent
SCHEMA = json.loads((ROOT / "schema" / "session" / "1" / "session.schema.json").read_text())
SOURCE = {
    "source_name": "a.csv",
    "source_sha256": "0" * 64,
    "source_size_bytes": 10,
    "source_encoding": "utf-8",
    "source_place": "row 2",
    "plugin_id": "one-row-a-test",
    "plugin_version": "1.0.0",
    "plugin_fingerprint": "f",
}
POINT = {"envelope_pressure_pa": -50.2, "fan_readings": [{"fan_id": "1", "flow_m3_h": 2500.0}]}
MINIMAL: dict[str, Any] = {
    "schema_version": 1,
    "session_id": "abc",
    "kind": "single_point",
    "building": {"volume_m3": 350.0},
    "runs": [{"run_number": 1, "points": [POINT]}],
    "source": SOURCE,
}
SAMPLES = sorted((ROOT / "plugins").glob("*/samples/*.expected.json"))


def _expected(path: Path) -> list[dict[str, Any]]:
    sessions: list[dict[str, Any]] = json.loads(path.read_text())["sessions"]
    for number, session in enumerate(sessions):
        session["source"] = SOURCE | {"source_place": session.pop("source_place")}
        session["session_id"] = str(number)
    return sessions


def test_the_schema_is_one_by_the_rules_of_its_dialect() -> None:
    jsonschema.Draft202012Validator.check_schema(SCHEMA)


@pytest.mark.parametrize("path", SAMPLES, ids=lambda path: path.name)
def test_the_makers_documents_satisfy_the_schema_and_survive_a_round_trip(path: Path) -> None:
    for expected in _expected(path):
        jsonschema.validate(expected, SCHEMA)
        assert document.as_document(document.load(expected, path.name)) == expected


@pytest.mark.parametrize(
    ("change", "code", "column"),
    [
        ({"colour": "red"}, "form-extra-forbidden", "colour"),
        ({"building": {"volume_m3": -1.0}}, "form-greater-than", "building.volume_m3"),
        ({"building": {"volume_m3": float("nan")}}, "form-finite-number", "building.volume_m3"),
        ({"kind": "duct"}, "form-literal-error", "kind"),
        ({"session_id": ""}, "form-string-too-short", "session_id"),
        ({"runs": [{"run_number": 0}]}, "form-greater-than-equal", "runs.0.run_number"),
        ({"source": SOURCE | {"source_sha256": "xyz"}}, "form-string-pattern-mismatch", "source.source_sha256"),
        ({"schema_version": 2}, "schema-version", "schema_version"),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_a_document_at_fault_is_refused_with_the_place_of_the_fault(
    change: dict[str, Any], code: str, column: str
) -> None:
    with pytest.raises(SourceError) as refused:
        document.load(MINIMAL | change, "a.json")
    assert [(problem.code, problem.place.column) for problem in refused.value.problems] == [(code, column)]
    if code != "form-finite-number":  # JSON has no NaN
        with pytest.raises(jsonschema.ValidationError):
            jsonschema.validate(MINIMAL | change, SCHEMA)


def test_a_document_holds_only_what_is_there() -> None:
    assert document.as_document(document.load(MINIMAL, "a.json")) == MINIMAL


def test_the_revision_follows_the_readings_and_not_the_plugins_version() -> None:
    def revision(**change: Any) -> str:
        return document.revision(Session.model_validate(MINIMAL | change))

    same = revision(source=SOURCE | {"plugin_version": "2.0.0", "plugin_fingerprint": "g", "source_name": "b.csv"})
    assert revision() == same
    assert revision(building={"volume_m3": 351.0}) != same
    assert revision(source=SOURCE | {"source_sha256": "1" * 64}) != same


def test_the_id_of_a_test_is_that_of_its_bytes_and_its_place_in_them() -> None:
    ids = {document.session_id(sha, place) for sha in ("a" * 64, "b" * 64) for place in ("row 2", "row 3")}
    assert len(ids) == 4
    # SHA-256 over hash and place by the shell's sha256sum: printf '%064d\nrow 2' 0 | sha256sum
    assert document.session_id("0" * 64, "row 2") == "5f4c5aa7dddae56cf67e3bd5"
