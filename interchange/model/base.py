"""What every form of ours has in common: frozen, closed, finite, and described by the table of names."""

from __future__ import annotations

from typing import Any

from pydantic import BaseModel, ConfigDict, GetJsonSchemaHandler
from pydantic.json_schema import JsonSchemaValue
from pydantic_core import CoreSchema

from interchange.quantities import QUANTITIES


class Form(BaseModel):
    """Base of all models. Absent is None; NaN, infinity and unknown fields are refused."""

    model_config = ConfigDict(frozen=True, extra="forbid", allow_inf_nan=False, str_strip_whitespace=False)


class Record(Form):
    """A form whose field names stand in the table of names and take their meaning and unit from it."""

    @classmethod
    def __get_pydantic_json_schema__(cls, core_schema: CoreSchema, handler: GetJsonSchemaHandler) -> JsonSchemaValue:
        schema = handler.resolve_ref_schema(handler(core_schema))
        properties: dict[str, dict[str, Any]] = schema.get("properties", {})
        for name, field in properties.items():
            quantity = QUANTITIES.get(name)
            if quantity is not None:
                field["description"] = quantity.words
                if quantity.ucum:
                    field["unit"] = quantity.ucum
                if quantity.standard_name:
                    field["standard_name"] = quantity.standard_name
        return schema
