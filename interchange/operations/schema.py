"""The open schema as people and other programs get it: fields, faults of a document, JSON Schemas, field book."""

from __future__ import annotations

import json
import types
import typing
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

from pydantic import BaseModel

from interchange.errors import InterchangeError, Place, Problem
from interchange.files import write_atomically
from interchange.model import document
from interchange.model.base import Record
from interchange.model.manifest import Manifest
from interchange.model.ruleset import RuleSet
from interchange.model.session import SCHEMA_VERSION, Session
from interchange.model.values import LocalTime, UtcTime
from interchange.operations import rules
from interchange.operations.field_use import field_uses
from interchange.quantities import CHOICES, QUANTITIES
from interchange.table import Row, Table

_BOOK_HEAD = """# The session form, version {version}

<!-- Written by `interchange schema write schema`. Edit interchange/quantities/ or interchange/model instead. -->

One document is one test as it was recorded, or one record of a weather station. Units are SI and stand in the name of
the field; pressures are inside minus outside, signed as recorded; absent is absent, never 0 or a magic number; ids
stay text. Unit codes are UCUM, standard names those of the CF conventions; dates and times are written by ISO 8601,
those of UTC with a Z at the end, those of the place's clock without an offset. A field's name is unique in the whole
form but for ids that join and a few that mean the same of two things (`averaging_s`, `sample_count`,
`fan_configuration`), so the columns of the archive's tables have the same names. A released version of the form is
never edited: `CHANGES.md` says what each version added.

| what | file |
| --- | --- |
| session document | `session/1/session.schema.json` |
| a document of each kind | `session/1/examples/` |
| documents at fault, and what is said of them | `session/1/refused/` |
| plugin manifest | `plugin/1/plugin.schema.json` |
| rule set | `rules/rule_set.schema.json` |
| columns of the archive's tables, as SQL | `tables/1/` |

*Used in* says who reads a field by its name: views for SQL; recomputing and checks, by the rule sets that ship with the
program; tables of the tidy export. A session document as it is exported holds every field.

"""


_TIMES = (date, LocalTime, UtcTime)


def fields() -> Table:
    """Every field of a session in order: group, name, unit, standard name, closed list of words, meaning, uses."""
    uses = field_uses()
    columns = ("group", "name", "ucum", "standard_name", "choices", "words", "used_in")
    return Table(columns, [(*row, str(uses.get(row[1], ""))) for row in _rows(Session, "session")])


def _rows(record: type[BaseModel], group: str) -> Iterator[Row]:
    nested: list[tuple[type[Record], str]] = []
    for name, info in record.model_fields.items():
        part = _record_in(info.annotation)
        if part is not None:
            nested.append((part, name if group == "session" else f"{group}.{name}"))
            continue
        quantity = QUANTITIES[name]
        yield (
            group,
            name,
            quantity.ucum,
            "ISO 8601" if _is_time(info.annotation) else quantity.standard_name or "",
            " · ".join(CHOICES.get(name, ())),
            quantity.words,
        )
    for part, inner in nested:
        yield from _rows(part, inner)


def _record_in(annotation: Any) -> type[Record] | None:
    """The record type that a field holds, alone or in a list; None for plain values."""
    if typing.get_origin(annotation) in (tuple, types.UnionType):
        return next(filter(None, map(_record_in, typing.get_args(annotation))), None)
    return annotation if isinstance(annotation, type) and issubclass(annotation, Record) else None


def _is_time(annotation: Any) -> bool:
    return annotation in _TIMES or any(map(_is_time, typing.get_args(annotation)))


def faults(file: Path) -> tuple[Problem, ...]:
    """What is wrong with a session document (JSON) or a rule set (TOML) on disk; empty where it is valid.

    Problems that block nothing say what is allowed in a rule set, and perhaps not meant.
    """
    if file.suffix == ".toml":
        return tuple(rules.faults(file) or rules.remarks(file))
    try:
        document.load(json.loads(file.read_bytes()), str(file))
    except InterchangeError as error:
        return error.problems
    except (OSError, ValueError) as error:
        return (Problem("not-json", Place(str(file)), str(error), "a JSON document", "Check the file.", blocks="file"),)
    return ()


def write_all(folder: Path) -> list[Path]:
    """Write the JSON Schemas, the field book and the columns of tables below a folder; return the paths."""
    from interchange.archive import table_text
    from interchange.archive.log import PARTS

    texts = {
        "session/1/session.schema.json": _json(document.json_schema()),
        "plugin/1/plugin.schema.json": _json(_schema_of(Manifest)),
        "rules/rule_set.schema.json": _json(_schema_of(RuleSet)),
        "README.md": _field_book(),
        **{f"tables/1/{part}.sql": table_text.text(part) for part in PARTS},
    }
    for name, text in texts.items():
        (folder / name).parent.mkdir(parents=True, exist_ok=True)
        write_atomically(folder / name, text.encode())
    return [folder / name for name in texts]


def _schema_of(model: type[BaseModel]) -> dict[str, Any]:
    return {"$schema": document.JSON_SCHEMA_DIALECT, **model.model_json_schema()}


def _json(schema: dict[str, Any]) -> str:
    return json.dumps(schema, ensure_ascii=False, indent=1) + "\n"


def _field_book() -> str:
    lines = [_BOOK_HEAD.format(version=SCHEMA_VERSION)]
    group = None
    for row in fields().rows:
        if row[0] != group:
            group = row[0]
            lines += [
                "",
                f"## {group}",
                "",
                "| field | unit | standard name | meaning | used in |",
                "| --- | --- | --- | --- | --- |",
            ]
        words = f"{row[5]}: {row[4]}" if row[4] else row[5]
        lines.append(f"| `{row[1]}` | {row[2]} | {row[3]} | {words} | {row[6]} |")
    return "\n".join(lines) + "\n"
