"""What differs between two tests, field by field, named as people name fields in amendments."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from interchange.model.document import as_document
from interchange.model.session import Session

# Which test this is, where it was read from, and what people did to it: no readings.
_NOT_RECORDED = ("session_id", "source", "kept", "amendments", "schema_version")


@dataclass(frozen=True, slots=True)
class Differs:
    """A field with the values of both tests as JSON text, None where it is absent."""

    field: str
    first: str | None
    second: str | None

    def __str__(self) -> str:
        return f"{self.field}: {self.first or 'nothing'} → {self.second or 'nothing'}"


def differences(first: Session, second: Session) -> list[Differs]:
    """The recorded fields in which two tests differ, in the order of the document; runs and points count from 1."""
    one, other = (dict(_leaves(as_document(session), "")) for session in (first, second))
    return [
        Differs(name, one.get(name), other.get(name))
        for name in dict.fromkeys((*one, *other))
        if one.get(name) != other.get(name)
    ]


def _leaves(document: dict[str, Any], above: str) -> Iterator[tuple[str, str]]:
    for name, value in document.items():
        if not above and name in _NOT_RECORDED:
            continue
        if isinstance(value, dict):  # a group: its fields' names are unique in the session
            yield from _leaves(value, above)
        elif isinstance(value, list) and value and isinstance(value[0], dict):
            for number, one in enumerate(value, 1):
                yield from _leaves(one, f"{above}{name}.{number}.")
        else:
            yield f"{above}{name}", json.dumps(value, ensure_ascii=False)
