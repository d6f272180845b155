"""Corrections that people make to a recorded test: one field at a time, with the value it had, and why.

A field is named as in the document, without its group: `volume_m3`, `runs.1.baseline_after_pressure_pa`,
`runs.1.points.3.dropped`; runs, points and other lists are counted from 1.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Iterator
from typing import Any

from pydantic import BaseModel, TypeAdapter, ValidationError

from interchange.errors import Place, Problem, UsageError
from interchange.model.base import Record
from interchange.model.document import validation_problems
from interchange.model.session import Amendment, Session

# What says which test this is and where it came from; to amend it would cut the test off from its source.
_FIXED = ("schema_version", "session_id", "source", "kept", "channels", "amendments", "from_register")


def amended(session: Session, amendment: Amendment) -> Session | None:
    """The session with one field changed and the amendment on record; None where the field holds another value.

    Raises UsageError where there is no such field, or the new value is none it can hold.
    """
    before = value_text(session, amendment.amended_field)
    if before != amendment.amended_from:
        return None
    document = session.model_dump()
    holder, name = _holder(document, session, amendment.amended_field)
    holder[name] = None if amendment.amended_to is None else json.loads(amendment.amended_to)
    document["amendments"] = [*document["amendments"], amendment.model_dump()]
    try:
        return Session.model_validate_json(json.dumps(document, default=str))
    except ValidationError as error:
        raise UsageError(*validation_problems(error, f"test {session.session_id}")) from None


def value_text(session: Session, field: str) -> str | None:
    """The value of a field as JSON text, None where it is absent. Raises UsageError where there is no such field."""
    holder, name = _holder(session.model_dump(mode="json"), session, field)
    return None if holder[name] is None else json.dumps(holder[name], ensure_ascii=False)


def read_value(session: Session, field: str, text: str) -> str:
    """What a person wrote for a field, as JSON text. Raises UsageError where the field cannot hold it."""
    record, name = _record(session, field)
    info = type(record).model_fields[name]
    try:
        adapter: TypeAdapter[Any] = TypeAdapter(info.rebuild_annotation())
        value = adapter.validate_strings(text)
    except ValidationError as error:
        words = error.errors(include_url=False)[0]["msg"].removeprefix("Value error, ")
        expected = words[:1].lower() + words[1:]
        problem = Problem(
            "amend-value", Place("command line", column=field), repr(text), expected, "Correct the value."
        )
        raise UsageError(problem) from None
    return json.dumps(adapter.dump_python(value, mode="json"), ensure_ascii=False)


def _holder(document: dict[str, Any], session: Session, field: str) -> tuple[dict[str, Any], str]:
    """The part of a document that holds a field, and the field's own name."""
    path, name = _path(session, field)
    part: Any = document
    for step in path:
        part = part[step]
    return part, name


def _record(session: Session, field: str) -> tuple[BaseModel, str]:
    path, name = _path(session, field)
    part: Any = session
    for step in path:
        part = part[step] if isinstance(step, int) else getattr(part, step)
    return part, name


def _path(session: Session, field: str) -> tuple[tuple[str | int, ...], str]:
    known = dict(_fields(session, (), ""))
    if field not in known:
        near = difflib.get_close_matches(field, known, 3, 0.5)
        expected = f"a field of this test{', such as ' + ', '.join(near) if near else ''}"
        cure = (
            "`interchange schema show` lists the fields; runs and points are counted from 1: runs.1.points.3.dropped."
        )
        raise UsageError(Problem("amend-field", Place("command line"), repr(field), expected, cure))
    return known[field], field.rpartition(".")[2]


def _fields(record: BaseModel, path: tuple[str | int, ...], said: str) -> Iterator[tuple[str, tuple[str | int, ...]]]:
    """Every field that can be amended, as people name it, with the path to the record that holds it."""
    for name in type(record).model_fields:
        value = getattr(record, name)
        if not path and name in _FIXED:
            continue
        if isinstance(value, Record):
            yield from _fields(value, (*path, name), said)
        elif isinstance(value, tuple):
            for number, one in enumerate(value):
                if isinstance(one, Record):
                    yield from _fields(one, (*path, name, number), f"{said}{name}.{number + 1}.")
        else:
            yield f"{said}{name}", path
