"""Sessions as documents: loading, canonical text, identity, JSON Schema."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Mapping
from typing import Any

from pydantic import ValidationError

from interchange.errors import Place, Problem, SourceError
from interchange.model.session import SCHEMA_VERSION, Session

JSON_SCHEMA_DIALECT = "https://json-schema.org/draft/2020-12/schema"


def session_id(source_sha256: str, source_place: str) -> str:
    """Stable id of the test at a place of a source: the first 24 hex digits of a SHA-256 over both."""
    return hashlib.sha256(f"{source_sha256}\n{source_place}".encode()).hexdigest()[:24]


def as_document(session: Session) -> dict[str, Any]:
    """The session as a plain document; absent values, empty lists and empty groups are left out."""
    document: dict[str, Any] = _without_empty(session.model_dump(mode="json", exclude_none=True))
    return document


def _without_empty(value: Any) -> Any:
    if isinstance(value, dict):
        inner = {name: _without_empty(part) for name, part in value.items()}
        return {name: part for name, part in inner.items() if part not in ({}, [])}
    return [_without_empty(part) for part in value] if isinstance(value, list) else value


def document_text(session: Session) -> str:
    """The session as JSON text for people and files: keys in the order of the model, numbers as `repr`."""
    return json.dumps(as_document(session), ensure_ascii=False, indent=2) + "\n"


def revision(session: Session) -> str:
    """Hash of the content: equal for equal readings, whichever plugin version or file name brought them."""
    document = as_document(session)
    source = {
        name: value
        for name, value in document["source"].items()
        if name not in ("source_name", "plugin_version", "plugin_fingerprint")
    }
    canonical = json.dumps({**document, "source": source}, ensure_ascii=False, sort_keys=True, separators=(",", ":"))
    return hashlib.sha256(canonical.encode()).hexdigest()[:24]


def load(document: Mapping[str, Any], file: str) -> Session:
    """Read a session document. Numbers and truth values written as text are refused, never read as what they look like.

    Raises SourceError with one problem for each fault, placed by its path in the document.
    """
    version = document.get("schema_version")
    if version != SCHEMA_VERSION:
        raise SourceError(
            Problem(
                "schema-version",
                Place(file, column="schema_version"),
                f"version {version!r}",
                f"version {SCHEMA_VERSION}",
                "Use a newer release of this toolkit, or write the document anew.",
            )
        )
    try:
        return Session.model_validate_json(json.dumps(document), strict=True)
    except ValidationError as error:
        raise SourceError(*validation_problems(error, file)) from None


def validation_problems(error: ValidationError, file: str) -> list[Problem]:
    """What pydantic found wrong, as problems of ours: where, found, expected, cure."""
    problems = []
    faults = [(".".join(map(str, fault["loc"])), fault) for fault in error.errors(include_url=False)]
    missing = [path for path, fault in faults if fault["type"] == "missing"]
    if len(missing) > 1:
        found = f"no {', '.join(missing)}"
        problems.append(Problem("form-missing", Place(file), found, "all of these fields", "Add them.", blocks="file"))
        faults = [(path, fault) for path, fault in faults if fault["type"] != "missing"]
    for path, fault in faults:
        words = fault["msg"].removeprefix("Value error, ")
        kinds = {
            "extra_forbidden": ("an unknown field", "a field of this form", "Remove the field or correct its name."),
            "missing": ("nothing", "this field", "Add it."),
        }
        given = fault["input"]
        shown = f"a list of {len(given)}" if isinstance(given, list) else repr(given)
        otherwise = (shown, words[:1].lower() + words[1:], "Correct the value.")
        found, expected, cure = kinds.get(fault["type"], otherwise)
        code = f"form-{fault['type'].replace('_', '-')}"
        problems.append(Problem(code, Place(file, column=path), found[:200], expected, cure, blocks="file"))
    return problems


def json_schema() -> dict[str, Any]:
    """JSON Schema of a session document, with the unit and standard name of each field."""
    return {"$schema": JSON_SCHEMA_DIALECT, **Session.model_json_schema(), "title": "Airtightness test session"}
