"""The columns of each part as SQL, so that views know them without pyarrow; checked in under `schema/tables`."""

from __future__ import annotations

import pyarrow as pa

from interchange.archive.log import Part
from interchange.archive.tables import SCHEMAS

_TYPES = {
    pa.string(): "VARCHAR",
    pa.int64(): "BIGINT",
    pa.float64(): "DOUBLE",
    pa.bool_(): "BOOLEAN",
    pa.date32(): "DATE",
    pa.timestamp("us"): "TIMESTAMP",
    pa.timestamp("us", "UTC"): "TIMESTAMP WITH TIME ZONE",
}
_HEAD = "-- Columns of the {part} part, without rows. Written by `interchange schema write schema`.\n"


def text(part: Part) -> str:
    """A SELECT with the columns of a part and no row."""
    columns = ",\n".join(f"    NULL::{_type(field.type)} AS {_quoted(field.name)}" for field in SCHEMAS[part])
    return f"{_HEAD.format(part=part)}SELECT\n{columns}\nLIMIT 0\n"


def _type(kind: pa.DataType) -> str:
    if pa.types.is_list(kind):
        return f"{_type(kind.value_type)}[]"
    if pa.types.is_struct(kind):
        return f"STRUCT({', '.join(f'{_quoted(field.name)} {_type(field.type)}' for field in kind)})"
    return _TYPES[kind]


def _quoted(name: str) -> str:
    return f'"{name}"'
