"""The session: one document is one test as it was recorded.

SI units, unit in the name, pressures inside minus outside and signed as recorded, absent is None, ids stay text.
Groups only order the document for a reader; a field's name is unique in the whole session, so tables spread the
single groups into columns of the same names and keep the lists as nested lists.
"""

from __future__ import annotations

from datetime import date
from functools import cache
from typing import Annotated, Literal

from pydantic import AwareDatetime, Field, NaiveDatetime, StringConstraints

from interchange.model.base import Record

SCHEMA_VERSION = 1

Text = Annotated[str, StringConstraints(min_length=1, max_length=4000)]
Positive = Annotated[float, Field(gt=0)]
NotNegative = Annotated[float, Field(ge=0)]
Count = Annotated[int, Field(ge=0)]
Ordinal = Annotated[int, Field(ge=1)]
# Beyond any test of an envelope: what lies outside is a mark for "no value" or a slip of the decimal point.
EnvelopePressure = Annotated[float, Field(ge=-500, le=500)]
Sha256 = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]

Kind = Literal["single_point", "two_point", "multi_point", "monitoring", "summary", "not_tested", "other_test"]
Direction = Literal["depressurisation", "pressurisation"]
FlowBasis = Literal["indicated", "at_device", "envelope", "extrapolated", "summed"]
Arrangement = Literal["open_end", "branched", "several_facades", "sheltered_end", "unknown"]


class RecordKeeping(Record):
    """Who did what for which job."""

    contractor: Text | None = None
    crew: Text | None = None
    tester: Text | None = None
    job_id: Text | None = None
    site_id: Text | None = None
    stage: Literal["before", "interim", "after", "inspection"] | None = None
    visit_number: Ordinal | None = None
    attempt_number: Ordinal | None = None
    retest_of: Text | None = None
    title_as_recorded: Text | None = None


class Time(Record):
    """When the test began, and how well that is known."""

    started_at_as_recorded: Text | None = None
    started_at_local: NaiveDatetime | None = None
    started_at_utc: AwareDatetime | None = None
    utc_offset_s: int | None = None
    time_zone: Text | None = None
    time_zone_from: Literal["source", "archive", "answer"] | None = None
    time_quality: Literal["exact", "offset_assumed", "date_only", "upload_time"] | None = None


class Building(Record):
    """The tested space."""

    volume_m3: Positive | None = None
    floor_area_m2: Positive | None = None
    envelope_area_m2: Positive | None = None
    height_m: Positive | None = None
    storeys: Positive | None = None
    year_built: Ordinal | None = None
    elevation_m: float | None = None
    boundary: Literal["whole_building", "unit_total", "unit_to_outside", "guarded"] | None = None
    preparation_as_recorded: Text | None = None


class Conditions(Record):
    """Air and wind during the test."""

    indoor_temperature_c: Annotated[float, Field(gt=-90, lt=90)] | None = None
    outdoor_temperature_c: Annotated[float, Field(gt=-90, lt=60)] | None = None  # 56.7 is the record (WMO, from memory)
    barometric_pressure_pa: Annotated[float, Field(gt=30_000, lt=120_000)] | None = None
    wind_speed_m_s: NotNegative | None = None
    wind_averaging_s: Positive | None = None
    wind_gust_m_s: NotNegative | None = None
    wind_from_deg: Annotated[float, Field(gt=0, le=360)] | None = None
    wind_height_m: Positive | None = None
    wind_source: Literal["on_site_hand", "on_site_mast", "station", "model", "observer_word"] | None = None
    wind_as_recorded: Text | None = None
    wind_beaufort_low: Annotated[int, Field(ge=0, le=12)] | None = None
    wind_beaufort_high: Annotated[int, Field(ge=0, le=12)] | None = None


class Reported(Record):
    """What the source itself says of the result. Never taken for a measurement of ours."""

    reported_flow_m3_h: Positive | None = None
    reported_flow_pressure_pa: Positive | None = None
    reported_air_change_50_per_h: Positive | None = None
    reported_coefficient_m3_h: Positive | None = None
    reported_exponent: float | None = None
    reported_exponent_assumed: bool | None = None
    reported_correlation_r: Annotated[float, Field(ge=-1, le=1)] | None = None
    reported_correlation_r2: Annotated[float, Field(ge=0, le=1)] | None = None
    reported_leakage_area_m2: Positive | None = None
    reported_leakage_area_pressure_pa: Positive | None = None
    reported_leakage_area_discharge_coefficient: Positive | None = None
    reported_method: Text | None = None


class Gauge(Record):
    """A pressure gauge used in the test."""

    gauge_id: Text
    gauge_serial: Text | None = None
    gauge_calibrated_on: date | None = None


class Fan(Record):
    """A calibrated fan used in the test."""

    fan_id: Text
    fan_serial: Text | None = None
    fan_calibrated_on: date | None = None


class FanCalibration(Record):
    """Power law of one fan in one configuration: flow = coefficient * (fan pressure / 1 Pa) ** exponent."""

    fan_id: Text
    fan_configuration: Text | None = None
    fan_coefficient_m3_h: Positive
    fan_exponent: Positive
    reference_air_density_kg_m3: Positive | None = None
    minimum_fan_pressure_pa: NotNegative | None = None


class ReferenceLine(Record):
    """A tube from the gauge to outdoors, and how its end is arranged."""

    line_id: Text
    arrangement: Arrangement
    arrangement_as_recorded: Text | None = None
    line_length_m: Positive | None = None
    line_facade_deg: Annotated[float, Field(ge=0, le=360)] | None = None


class Channel(Record):
    """A series of values; the values themselves stand in the trace table."""

    channel_id: Text
    quantity: Text
    line_id: Text | None = None
    gauge_id: Text | None = None
    start_s: float | None = None
    interval_s: Positive | None = None
    averaging_s: Positive | None = None
    sample_count: Count
    missing_count: Count


class FanReading(Record):
    """What one fan shows at a point."""

    fan_id: Text
    fan_configuration: Text | None = None
    fan_pressure_pa: float | None = None
    flow_m3_h: float | None = None
    flow_basis: FlowBasis | None = None
    calibration_index: Count | None = None


class Point(Record):
    """One held pressure and the fan readings that go with it."""

    point_number: Ordinal | None = None
    target_pressure_pa: EnvelopePressure | None = None
    envelope_pressure_pa: EnvelopePressure | None = None
    envelope_pressure_spread_pa: NotNegative | None = None
    sample_count: Count | None = None
    averaging_s: Positive | None = None
    baseline_removed: bool | None = None
    dropped: bool | None = None
    fan_readings: tuple[FanReading, ...] = ()


class Run(Record):
    """A series of points in one direction, with the baselines about it."""

    run_number: Ordinal
    direction: Direction | None = None
    fan_held: Literal["by_hand", "automatic"] | None = None
    baseline_before_pressure_pa: EnvelopePressure | None = None
    baseline_before_positive_pa: NotNegative | None = None
    baseline_before_negative_pa: Annotated[float, Field(le=0)] | None = None
    baseline_before_spread_pa: NotNegative | None = None
    baseline_before_count: Count | None = None
    baseline_before_duration_s: NotNegative | None = None
    baseline_after_pressure_pa: EnvelopePressure | None = None
    baseline_after_positive_pa: NotNegative | None = None
    baseline_after_negative_pa: Annotated[float, Field(le=0)] | None = None
    baseline_after_spread_pa: NotNegative | None = None
    baseline_after_count: Count | None = None
    baseline_after_duration_s: NotNegative | None = None
    points: tuple[Point, ...] = ()


class Kept(Record):
    """A pointer to cells of the source that no field takes; the original holds them."""

    kept_section: Text | None = None
    kept_name: Text
    kept_first_row: Ordinal
    kept_last_row: Ordinal
    kept_count: Ordinal
    kept_first: str | None = None
    kept_last: str | None = None


class SourceOfRecord(Record):
    """Where the session was read from, and by which plugin."""

    source_name: Text
    source_sha256: Sha256
    source_size_bytes: Count
    source_encoding: Text
    source_place: Text
    plugin_id: Text
    plugin_version: Text
    plugin_fingerprint: Text


class Session(Record):
    """One test as recorded."""

    schema_version: Literal[1] = 1
    session_id: Text
    kind: Kind
    record: RecordKeeping = RecordKeeping()
    time: Time = Time()
    building: Building = Building()
    conditions: Conditions = Conditions()
    reported: Reported = Reported()
    gauges: tuple[Gauge, ...] = ()
    fans: tuple[Fan, ...] = ()
    fan_calibrations: tuple[FanCalibration, ...] = ()
    reference_lines: tuple[ReferenceLine, ...] = ()
    channels: tuple[Channel, ...] = ()
    runs: tuple[Run, ...] = ()
    kept: tuple[Kept, ...] = ()
    source: SourceOfRecord


_BOUNDS = {
    "exclusiveMinimum": "greater_than",
    "minimum": "greater_than_equal",
    "exclusiveMaximum": "less_than",
    "maximum": "less_than_equal",
}


@cache
def bounds(name: str) -> tuple[tuple[str, float], ...]:
    """Bounds of a measured value in its own unit, each with the kind of fault that a value beyond it is.

    They hold for whole columns of a log as for single fields: `(("greater_than", -90.0), ("less_than", 90.0))`.
    """
    for form in (Point, FanReading, Conditions):
        if name in form.model_fields:
            number = form.model_json_schema()["properties"][name].get("anyOf", [{}])[0]
            return tuple((kind, float(number[key])) for key, kind in _BOUNDS.items() if key in number)
    return ()
