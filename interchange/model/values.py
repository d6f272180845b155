"""The kinds of value that fields of the forms have: limits that hold by their meaning, times, closed lists of words."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Literal

from pydantic import AfterValidator, AwareDatetime, Field, NaiveDatetime, StringConstraints, WithJsonSchema

Text = Annotated[str, StringConstraints(min_length=1, max_length=4000)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Count = Annotated[int, Field(ge=0)]
Ordinal = Annotated[int, Field(ge=1)]
# Beyond any test of an envelope: what lies outside is a mark for "no value" or a slip of the decimal point.
EnvelopePressure = Annotated[float, Field(ge=-500, le=500)]
Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
Ratio = Annotated[float, Field(ge=0, le=1)]


def _in_utc(when: datetime) -> datetime:
    if when.utcoffset():
        raise ValueError("a time in UTC ends in Z")
    return when


# JSON Schema's own "date-time" is RFC 3339, which knows no time without an offset.
_CLOCK = r"^\d{4}-\d\d-\d\dT\d\d:\d\d(:\d\d(\.\d{1,6})?)?"
LocalTime = Annotated[NaiveDatetime, WithJsonSchema({"type": "string", "pattern": f"{_CLOCK}$"})]
UtcTime = Annotated[
    AwareDatetime,
    AfterValidator(_in_utc),
    WithJsonSchema({"type": "string", "format": "date-time", "pattern": rf"{_CLOCK}(Z|\+00:00)$"}),
]

Kind = Literal[
    "single_point", "two_point", "multi_point", "monitoring", "summary", "not_tested", "other_test", "weather"
]
Direction = Literal["depressurisation", "pressurisation"]
FlowBasis = Literal["indicated", "at_device", "envelope", "extrapolated", "summed"]
Arrangement = Literal["open_end", "branched", "several_facades", "sheltered_end", "unknown"]
ValueSource = Literal["measured", "drawings", "estimated", "assumed", "unknown"]
OnOff = Literal["off", "on", "unknown"]
Recorded = Literal[
    "envelope_pressure_pa",
    "fan_pressure_pa",
    "flow_m3_h",
    "indoor_temperature_c",
    "outdoor_temperature_c",
    "indoor_relative_humidity",
    "outdoor_relative_humidity",
    "barometric_pressure_pa",
    "wind_speed_m_s",
    "wind_gust_m_s",
    "wind_from_deg",
]
