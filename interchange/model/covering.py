"""What a sender says beside a delivery: which file is of which job, and how much of what there should be."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BeforeValidator, Field, StringConstraints

from interchange.model.register import AmountOrZero, Row
from interchange.model.values import Text


def _count(value: object) -> object:
    if isinstance(value, str) and not value.isdecimal():
        raise ValueError("a whole number")
    return value


class CoveringRow(Row):
    """One line of a covering list: a file of the delivery, and what it does not say itself."""

    key = ("file",)

    file: Text
    job_id: Text | None = None
    site_id: Text | None = None
    stage: Literal["before", "interim", "after", "inspection"] | None = None


class TotalsRow(Row):
    """Control totals of a file, of a year, or, with neither, of all of it. Sums are in the unit of the name."""

    key = ("file", "year")

    file: str = ""
    year: Annotated[str, StringConstraints(pattern=r"^([0-9]{4})?$")] = ""
    session_count: Annotated[int, BeforeValidator(_count), Field(ge=0)] | None = None
    reported_flow_m3_h: AmountOrZero | None = None
    reported_air_change_50_per_h: AmountOrZero | None = None
    reported_leakage_area_m2: AmountOrZero | None = None


SUMMED = tuple(name for name in TotalsRow.model_fields if name.startswith("reported_"))
SAID = tuple(name for name in CoveringRow.model_fields if name not in CoveringRow.key)
