"""Rows of files that are older than a column: it holds nothing there, however deep it lies."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

_LIST = 2  # steps of a path that Parquet takes into a list: "list", "element"


def wanted(schema: pa.Schema, columns: Sequence[str] | None) -> pa.Schema:
    """The columns of a schema that paths name as Parquet writes them, in the order of the paths; all for None."""
    if columns is None:
        return schema
    paths: dict[str, list[tuple[str, ...]]] = {}
    for name, *rest in (column.split(".") for column in columns):
        paths.setdefault(name, []).append(tuple(rest))
    return pa.schema([pa.field(name, _part(schema.field(name).type, rests)) for name, rests in paths.items()])


def filled(rows: pa.RecordBatch, schema: pa.Schema) -> pa.RecordBatch:
    """The rows with exactly the columns of a schema."""
    count = rows.num_rows
    columns = [
        _filled(rows[field.name], field.type) if field.name in rows.schema.names else pa.nulls(count, field.type)
        for field in schema
    ]
    return pa.RecordBatch.from_arrays(columns, names=schema.names)


def unknown(found: pa.Schema, schema: pa.Schema) -> list[str]:
    """Paths of what a file holds and a schema does not know."""
    return list(_unknown(pa.struct(list(found)), pa.struct(list(schema)), ""))


def _part(whole: pa.DataType, paths: Collection[tuple[str, ...]]) -> pa.DataType:
    if () in paths:
        return whole
    if pa.types.is_list(whole):
        return pa.list_(_part(whole.value_type, [path[_LIST:] for path in paths]))
    return pa.struct(
        [
            pa.field(field.name, _part(field.type, rests))
            for field in whole
            if (rests := [path[1:] for path in paths if path[0] == field.name])
        ]
    )


def _filled(values: Any, target: pa.DataType) -> Any:
    if values.type == target:
        return values
    mask = values.is_null() if values.null_count else None
    if pa.types.is_struct(target):
        there = {field.name: index for index, field in enumerate(values.type)}
        children = [
            _filled(pa.StructArray.field(values, there[field.name]), field.type)
            if field.name in there
            else pa.nulls(len(values), field.type)
            for field in target
        ]
        return pa.StructArray.from_arrays(children, fields=list(target), mask=mask)
    if pa.types.is_list(target):
        offsets = values.offsets
        inner = _filled(
            values.values.slice(offsets[0].as_py(), offsets[-1].as_py() - offsets[0].as_py()), target.value_type
        )
        moved = pc.subtract(offsets, offsets[0])
        return pa.ListArray.from_arrays(moved, inner, type=target, mask=mask)
    return values.cast(target)


def _unknown(found: pa.DataType, known: pa.DataType, path: str) -> Iterator[str]:
    while pa.types.is_list(found) and pa.types.is_list(known):
        found, known = found.value_type, known.value_type
    if not (pa.types.is_struct(found) and pa.types.is_struct(known)):
        return
    there = {field.name: field.type for field in known}
    for field in found:
        name = f"{path}.{field.name}" if path else field.name
        if field.name not in there:
            yield name
        else:
            yield from _unknown(field.type, there[field.name], name)
