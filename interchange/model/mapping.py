"""One column or key of a layout, and where its values go: the part of a manifest that names session fields."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import Annotated, Literal, Self

from pydantic import Field, StringConstraints, model_validator

from interchange.model.base import Form
from interchange.model.session import (
    Building,
    CalibrationPoint,
    Channel,
    Conditions,
    Fan,
    FanCalibration,
    FanReading,
    Gauge,
    Opening,
    OtherReading,
    Point,
    Preparation,
    RecordKeeping,
    ReferenceLine,
    Reported,
    Run,
    WeatherStation,
)
from interchange.quantities import CHOICES, QUANTITIES
from interchange.units import UnknownUnitError, WrongDimensionError, conversion

Word = Annotated[str, StringConstraints(min_length=1, max_length=200)]
Words = Annotated[str, StringConstraints(min_length=1, max_length=2000)]
Beaufort = Annotated[int, Field(ge=0, le=12)]
Ordinal = Annotated[int, Field(ge=1)]
Level = Literal[
    "session",
    "opening",
    "gauge",
    "fan",
    "line",
    "channel",
    "run",
    "point",
    "reading",
    "other",
    "calibration",
    "calibration_point",
    "sample",
    "row",
    "legend",
]

# Field names a manifest may fill, by the part of the session that holds them. Times of the start are one target,
# `started_at_local`; what else is known about them follows from it, from `utc_offset_s`, and from the archive.
TARGETS: dict[Level, frozenset[str]] = {
    "session": frozenset(
        {"kind", "started_at_local", "ended_at_local", "utc_offset_s", "time_quality"}
        | {
            name
            for part in (RecordKeeping, Building, Preparation, Conditions, WeatherStation, Reported)
            for name in part.model_fields
        }
    ),
    "opening": frozenset(Opening.model_fields) - {"opening"},
    "gauge": frozenset(Gauge.model_fields) - {"gauge_id"},
    "fan": frozenset(Fan.model_fields) - {"fan_id"},
    "line": frozenset(ReferenceLine.model_fields) - {"line_id"},
    "channel": frozenset({"averaging_s"}) & frozenset(Channel.model_fields),
    "run": frozenset(Run.model_fields) - {"run_number", "points"},
    "point": frozenset(Point.model_fields) - {"fan_readings"},
    "reading": frozenset(FanReading.model_fields) - {"fan_id", "calibration_index"},
    "other": frozenset(OtherReading.model_fields) - {"other_reading_as_recorded"},
    "calibration": frozenset(FanCalibration.model_fields) - {"fan_id", "calibration_points"},
    "calibration_point": frozenset(CalibrationPoint.model_fields),
    "sample": frozenset({"time_s", "sampled_at", "channel_key", "channel_value", *CHOICES["quantity"]}),
    # what a row of a table of points is: a point, or a baseline before or after them
    "row": frozenset({"row_is"}),
    # what a row of a legend says of a channel
    "legend": frozenset({"channel_key", "channel_id", "quantity", "channel_unit", "line_id"}),
}
# Pressures that have a direction: a manifest says how their sign was recorded, and how that is known.
SIGNED = frozenset(
    {"envelope_pressure_pa", "target_pressure_pa", "channel_value"}
    | {f"baseline_{when}_{what}_pa" for when in ("before", "after") for what in ("pressure", "positive", "negative")}
)
DATES = frozenset(
    {"started_at_local", "ended_at_local", "sampled_at"}
    | {f"{part}_{what}_on" for part in ("gauge", "fan") for what in ("calibrated", "calibration_due")}
)
TRUTHS = frozenset(
    {"reported_exponent_assumed", "baseline_removed", "dropped", "given_up", "result_of_record", "attached_garage"}
    | {"basement_included", "garage_included", "wind_gust_none_reported"}
    | {f"baseline_{when}_fan_covered" for when in ("before", "after")}
)

BY_POINTS = "by_points"  # in place of a kind: as many points as there are make it one

TIME_PARTS = {"%Y": "YYYY", "%y": "YY", "%m": "MM", "%b": "month", "%d": "DD", "%H": "hh", "%I": "hh", "%M": "mm"}
TIME_PARTS |= {"%S": "ss", "%f": "fraction", "%p": "AM/PM", "%z": "±hh:mm"}
# counts in place of a calendar: Unix time is UTC, the days of a spreadsheet are those of its own clock
TIME_COUNTS = ("epoch s", "epoch ms", "days since 1899-12-30", "days since 1904-01-01")
ELAPSED_PARTS = frozenset({"%H", "%M", "%S", "%f"})


class Mapping(Form):
    """What becomes of one column or key. A column may be listed several times, for different fields."""

    name: Annotated[str, StringConstraints(max_length=200)] = Field(
        description="header name or key, as the file writes it; `{n}` counts points across columns; empty: no name"
    )
    to: Word | None = Field(None, description="field of the session that takes the value")
    ignore: Words | None = Field(None, description="why the value is left out of the session")
    unit: Word | None = Field(None, description="unit the values are in, where the file does not write it by itself")
    unit_from: Literal["unit_row", "unit_cell", "header", "text"] | None = Field(
        None, description="where the file writes the unit; stands above that of the block"
    )
    sign: Literal["as_recorded", "reversed", "by_direction"] | None = Field(
        None,
        description="as_recorded: the file writes inside minus outside; reversed: outside minus inside; "
        "by_direction: magnitudes, below zero for depressurisation",
    )
    sign_reason: Words | None = Field(None, description="how the sign convention is known")
    codes: dict[Word, str | bool | float] | None = Field(
        None, description="closed list: word of the file to value of the field; for numbers, words beside them"
    )
    beaufort: dict[Word, tuple[Beaufort, Beaufort]] | None = Field(
        None, description="closed list: word of the file to lowest and highest Beaufort force"
    )
    word_ends_at: Word | None = Field(None, description="mark that ends the word looked up in `codes`")
    whole_text_to: Word | None = Field(None, description="text field that takes the whole text beside the value")
    missing: tuple[Word, ...] = Field((), description="further cells of this column that mean: no value")
    part: Ordinal | None = Field(None, description="which part of the cell counts, from 1")
    part_mark: Word | None = Field(None, description="mark between the parts of the cell")
    time_format: Word | None = Field(
        None,
        description="form of a date, clock, offset or elapsed time: %Y %y (20yy) %m %b %d %H %I %M %S %f %p %z; "
        f"or one of: {', '.join(TIME_COUNTS)}",
    )
    decimals: Annotated[int, Field(ge=0, le=9)] | None = Field(None, description="decimals with which it is written")
    opening: Word | None = Field(None, description="name of the opening the field belongs to")
    gauge: Word | None = Field(None, description="number of the gauge the field belongs to; 1 where not given")
    fan: Word | None = Field(None, description="number of the fan the field belongs to; 1 where not given")
    line: Word | None = Field(None, description="name of the reference line the field or channel belongs to")
    channel: Word | None = Field(None, description="name of the channel; `every` for a key that holds for all")
    other: Word | None = Field(None, description="what a reading of a test other than of the envelope is of")
    point: Ordinal | None = Field(None, description="which of several points of a row the field belongs to")
    also: dict[Word, str | float | bool] | None = Field(None, description="fields set wherever this one has a value")
    also_reason: Words | None = Field(None, description="how it is known that they go with it")

    @model_validator(mode="after")
    def _whole(self) -> Self:
        for fault in self._faults():
            raise ValueError(f"'{self.name}': {fault}")
        return self

    def _faults(self) -> Iterator[str]:
        said = self.model_fields_set - {"name", "required", "filled"}
        if self.to is None:
            if said - {"ignore"}:
                yield f"without `to`, {', '.join(sorted(said - {'ignore'}))} have no meaning"
            return
        if self.ignore is not None:
            yield "is both mapped and ignored"
        if self.to not in QUANTITIES or not any(self.to in names for names in TARGETS.values()):
            yield f"no field that a manifest can fill is called {self.to!r}"
            return
        yield from self._unit_faults(self.to)
        yield from self._list_faults(self.to)
        yield from self._owner_faults(self.to)
        if (self.to in SIGNED) != (self.sign is not None) or (self.sign is None) != (self.sign_reason is None):
            yield "signed pressures, and only they, need `sign` and `sign_reason`"
        yield from self._time_faults(self.to)
        if self.sign == "by_direction" and self.to not in ("envelope_pressure_pa", "target_pressure_pa"):
            yield "only pressures of points take their sign from the direction of the run"
        if self.decimals is not None and not is_number(self.to):
            yield "`decimals` goes with numbers"
        if (self.also is None) != (self.also_reason is None):
            yield "`also` and `also_reason` go together"
        for name in self.also or ():
            if not any(name in names for names in TARGETS.values()):
                yield f"`also`: no field that a manifest can fill is called {name!r}"

    def _owner_faults(self, to: str) -> Iterator[str]:
        if (self.part is None) != (self.part_mark is None):
            yield "`part` and `part_mark` go together"
        if (to in TARGETS["opening"]) != (self.opening is not None):
            yield "fields of an opening, and only they, need `opening`"
        if (to in TARGETS["other"]) != (self.other is not None):
            yield "readings of other tests, and only they, need `other`"

    def _time_faults(self, to: str) -> Iterator[str]:
        needs_format = to in DATES or to == "utc_offset_s"
        if needs_format and self.time_format is None:
            yield "dates, clocks and offsets need `time_format`"
        elif not needs_format and to != "time_s" and self.time_format is not None:
            yield "only dates, clocks, offsets and elapsed times take `time_format`"
        if self.time_format is None or (self.time_format in TIME_COUNTS and to != "time_s"):
            return
        parts = re.findall(r"%.", self.time_format)
        allowed = ELAPSED_PARTS if to == "time_s" else TIME_PARTS.keys()
        day = {"%d", "%m" if "%m" in parts else "%b", "%Y" if "%Y" in parts else "%y"}
        if to != "time_s" and set(parts) & {"%Y", "%y", "%m", "%b", "%d"} not in (set(), day):
            yield "`time_format` gives year, month and day, or none of them"
        if ("%I" in parts) != ("%p" in parts):
            yield "`time_format`: %I and %p go together"
        if not parts or len(set(parts)) < len(parts) or not set(parts) <= allowed:
            yield f"`time_format` takes each of {' '.join(part for part in TIME_PARTS if part in allowed)} once at most"

    def _unit_faults(self, to: str) -> Iterator[str]:
        if self.unit is not None and self.unit_from is not None:
            yield "give `unit` or `unit_from`, not both"
        if self.time_format is not None and (self.unit is not None or self.unit_from is not None):
            yield "`time_format` says the unit"
        if self.unit is not None:
            try:
                conversion(self.unit, to)
            except UnknownUnitError:
                yield f"the unit {self.unit!r} is not in the table of units"
            except WrongDimensionError:
                yield f"the unit {self.unit!r} does not measure {to}"

    def _list_faults(self, to: str) -> Iterator[str]:
        needs_codes = to in CHOICES or to in TRUTHS
        if needs_codes != (self.codes is not None) and not (self.codes and is_number(to)):
            yield "fields with a closed list of words need `codes`, and of the others only numbers take them"
        for value in (self.codes or {}).values():
            if is_number(to) != (isinstance(value, float | int) and not isinstance(value, bool)):
                yield f"`codes`: {value!r} is no value for {to}"
            if isinstance(value, bool) != (to in TRUTHS) or (to in CHOICES and value not in choices_of(to)):
                allowed = ", ".join(choices_of(to) or ("true", "false"))
                yield f"`codes`: {value!r} is none of {allowed}"
        if self.word_ends_at is not None and self.codes is None:
            yield "`word_ends_at` goes with `codes`"
        if self.beaufort is not None and to != "wind_as_recorded":
            yield '`beaufort` goes with `to = "wind_as_recorded"`'
        for word, (low, high) in (self.beaufort or {}).items():
            if low > high:
                yield f"`beaufort`: the band of {word!r} runs backwards"


class Key(Mapping):
    """One key of an entries block."""

    required: bool = Field(False, description="whether a file without this key is at fault")


class Column(Mapping):
    """One column of a table block."""

    required: bool = Field(True, description="whether a table without this column is at fault")
    filled: bool = Field(False, description="whether a row without a value here is at fault, as a row of totals is")


def choices_of(name: str) -> tuple[str, ...]:
    """The closed list of words that a manifest may give for a field; empty where it has none."""
    return (*CHOICES.get(name, ()), *([BY_POINTS] if name == "kind" else []))


def is_number(name: str) -> bool:
    """Whether the field holds a number, and not text, a date or a truth value."""
    return QUANTITIES[name].ucum != "" and name != "utc_offset_s"
