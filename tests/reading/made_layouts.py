"""Plugins made for one test each: a table of these columns, and what the layout says beside them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from reading_inputs import source

from interchange.errors import Problem
from interchange.files import Source
from interchange.model.document import as_document
from interchange.model.manifest import Manifest
from interchange.model.question import Answer, Import
from interchange.model.session import Session
from interchange.reading.context import Context
from interchange.reading.door import read_source
from interchange.reading.registry import Plugin

PRESSURE = {
    "name": "P",
    "to": "envelope_pressure_pa",
    "unit": "Pa",
    "sign": "as_recorded",
    "sign_reason": "made for a test",
}
Fields = Mapping[str, Any]


def table(columns: Sequence[Fields], each_row: str = "session", **more: Any) -> dict[str, Any]:
    """A table block known by its first column that has a name."""
    names = [column["name"] for column in columns if column["name"]]
    block = {"kind": "table", "header_names": names[:1], "each_row": each_row, "columns": list(columns)}
    return block | more


def entries(*keys: Fields, **more: Any) -> dict[str, Any]:
    """A block of keys."""
    return {"kind": "entries", "keys": list(keys)} | more


def plugin_of(
    *blocks: Fields,
    kind: str | None = "by_points",
    layout: Fields | None = None,
    constants: Mapping[str, Any] | None = None,
    recognise: Fields | None = None,
    **more: Any,
) -> Plugin:
    """A plugin of these blocks; it knows its files by the header of its first table."""
    tables = [block for block in blocks if block["kind"] == "table"]
    fixed = {} if kind is None else {"kind": kind}
    document = {
        "manifest_version": 1,
        "id": "made",
        "version": "1.0.0",
        "title": "made",
        "languages": ["English"],
        "units": "metric",
        "recognise": recognise or {"header_names": tables[0]["header_names"]},
        "layout": {"encodings": ["utf-8"], "delimiter": ",", "decimal_mark": "."} | dict(layout or {}),
        "constant": [
            {"to": to, "value": value, "reason": "made"} for to, value in (fixed | dict(constants or {})).items()
        ],
        "block": list(blocks),
    }
    return Plugin(Manifest.model_validate(document | more), Path("nowhere"))


def outcome(
    content: str | bytes,
    plugin: Plugin,
    *,
    zone: str | None = None,
    answers: tuple[Answer, ...] = (),
    files: Mapping[str, Source] | None = None,
) -> Import:
    """What becomes of these bytes. Where something forbids taking them in, nothing of them is."""
    found = read_source(source(content), [plugin], Context(zone), answers, files=files)
    if any(problem.blocks in ("session", "file") for problem in found.mapped.problems):
        assert (found.state, found.mapped.sessions, found.mapped.traces) == ("refused", (), ())
    return found


def read(content: str | bytes, plugin: Plugin, *, zone: str | None = None) -> tuple[Session, ...]:
    """The sessions of these bytes."""
    found = outcome(content, plugin, zone=zone)
    assert found.state == "imported", [str(problem) for problem in found.mapped.problems]
    return found.mapped.sessions


def document(content: str | bytes, plugin: Plugin) -> dict[str, Any]:
    """The only session of these bytes, as a document."""
    (session,) = read(content, plugin)
    return as_document(session)


def refused(content: str | bytes, plugin: Plugin) -> list[Problem]:
    """What forbids taking these bytes in."""
    found = outcome(content, plugin)
    assert found.state == "refused"
    return [problem for problem in found.mapped.problems if problem.blocks in ("session", "file")]


def noted(content: str | bytes, plugin: Plugin) -> list[Problem]:
    """What is noted of these bytes, which are taken in; that they state no date is left aside."""
    found = outcome(content, plugin)
    assert found.state == "imported", [str(problem) for problem in found.mapped.problems]
    return [problem for problem in found.mapped.problems if problem.code != "start-unknown"]
