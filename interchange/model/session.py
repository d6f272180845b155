"""The session: one document is one test as it was recorded.

SI units, unit in the name, pressures inside minus outside and signed as recorded, absent is None, ids stay text.
Groups only order the document for a reader; a field's name is unique in the whole session, so tables spread the
single groups into columns of the same names and keep the lists as nested lists.
"""

from __future__ import annotations

from datetime import date
from functools import cache
from itertools import pairwise
from typing import Annotated, Literal, Self

from pydantic import Field, model_validator

from interchange.model.base import Record
from interchange.model.source import Kept, SourceOfRecord
from interchange.model.values import (
    Arrangement,
    Count,
    Direction,
    EnvelopePressure,
    FlowBasis,
    Kind,
    LocalTime,
    NotNegative,
    OnOff,
    Ordinal,
    Positive,
    Ratio,
    Recorded,
    Text,
    UtcTime,
    ValueSource,
)

SCHEMA_VERSION = 1


class RecordKeeping(Record):
    """Who did what for which job, and what stood in the way where nothing was tested."""

    programme: Text | None = None
    contractor: Text | None = None
    crew: Text | None = None
    tester: Text | None = None
    job_id: Text | None = None
    site_id: Text | None = None
    stage: Literal["before", "interim", "after", "inspection"] | None = None
    visit_number: Ordinal | None = None
    attempt_number: Ordinal | None = None
    retest_of: Text | None = None
    supersedes: Text | None = None
    result_of_record: bool | None = None
    title_as_recorded: Text | None = None
    not_tested_reason: (
        Literal["no_access", "declined", "hazard", "weather", "equipment", "waived", "not_required", "other"] | None
    ) = None
    not_tested_as_recorded: Text | None = None
    other_test: Literal["duct", "room", "zone", "combustion_zone", "other"] | None = None
    other_test_as_recorded: Text | None = None


class Time(Record):
    """When the test began, and how well that is known."""

    started_at_as_recorded: Text | None = None
    started_at_local: LocalTime | None = None
    started_at_utc: UtcTime | None = None
    ended_at_as_recorded: Text | None = None
    ended_at_local: LocalTime | None = None
    utc_offset_s: int | None = None
    time_zone: Text | None = None
    time_zone_from: Literal["source", "archive", "answer"] | None = None
    time_quality: Literal["exact", "offset_assumed", "date_only", "upload_time"] | None = None


class Building(Record):
    """The tested space, and by whose definition it was measured."""

    volume_m3: Positive | None = None
    volume_definition: Text | None = None
    volume_source: ValueSource | None = None
    floor_area_m2: Positive | None = None
    floor_area_definition: Text | None = None
    floor_area_source: ValueSource | None = None
    envelope_area_m2: Positive | None = None
    envelope_area_definition: Text | None = None
    envelope_area_source: ValueSource | None = None
    height_m: Positive | None = None
    storeys: Positive | None = None
    year_built: Ordinal | None = None
    building_type: (
        Literal["detached", "semi_detached", "terraced", "apartment", "manufactured", "non_residential", "other"] | None
    ) = None
    foundation: Literal["slab", "crawl_space", "basement", "piers", "mixed", "other"] | None = None
    attached_garage: bool | None = None
    elevation_m: float | None = None
    terrain: Literal["open_water", "open_country", "suburban", "city"] | None = None
    shielding: Literal["none", "light", "moderate", "heavy", "very_heavy"] | None = None
    climate_zone: Text | None = None
    boundary: Literal["whole_building", "unit_total", "unit_to_outside", "guarded"] | None = None
    boundary_as_recorded: Text | None = None
    basement_included: bool | None = None
    garage_included: bool | None = None


class Preparation(Record):
    """How the house was made ready; single openings stand in `openings`."""

    preparation_as_recorded: Text | None = None
    exhaust_fans: OnOff | None = None
    combustion_appliances: OnOff | None = None
    direction_reason: Text | None = None


class Opening(Record):
    """One opening of the envelope, as it stood during the test."""

    opening: Text
    opening_state: Literal["open", "closed", "sealed", "unknown"]
    opening_as_recorded: Text | None = None


class Conditions(Record):
    """Air, wind and ground during the test."""

    indoor_temperature_c: Annotated[float, Field(gt=-90, lt=90)] | None = None
    outdoor_temperature_c: Annotated[float, Field(gt=-90, lt=60)] | None = None  # 56.7 is the record (WMO, from memory)
    indoor_relative_humidity: Ratio | None = None
    outdoor_relative_humidity: Ratio | None = None
    barometric_pressure_pa: Annotated[float, Field(gt=30_000, lt=120_000)] | None = None
    wind_speed_m_s: NotNegative | None = None
    wind_averaging_s: Positive | None = None
    wind_gust_m_s: NotNegative | None = None
    wind_gust_window_s: Positive | None = None
    wind_gust_none_reported: bool | None = None
    wind_from_deg: Annotated[float, Field(gt=0, le=360)] | None = None
    wind_height_m: Positive | None = None
    wind_source: Literal["on_site_hand", "on_site_mast", "station", "model", "observer_word"] | None = None
    wind_station: Text | None = None
    wind_distance_m: NotNegative | None = None
    wind_as_recorded: Text | None = None
    wind_beaufort_low: Annotated[int, Field(ge=0, le=12)] | None = None
    wind_beaufort_high: Annotated[int, Field(ge=0, le=12)] | None = None
    precipitation: Literal["none", "rain", "snow", "unknown"] | None = None
    ground: Literal["dry", "wet", "frozen", "snow_covered", "unknown"] | None = None


class WeatherStation(Record):
    """Where a weather record was taken."""

    station_id: Text | None = None
    station_as_recorded: Text | None = None
    station_latitude_deg: Annotated[float, Field(ge=-90, le=90)] | None = None
    station_longitude_deg: Annotated[float, Field(ge=-180, le=180)] | None = None
    station_elevation_m: float | None = None


class Reported(Record):
    """What the source itself says of the result. Never taken for a measurement of ours."""

    reported_flow_m3_h: Positive | None = None
    reported_flow_pressure_pa: Positive | None = None
    reported_air_change_50_per_h: Positive | None = None
    reported_natural_air_change_per_h: Positive | None = None
    reported_coefficient_m3_h: Positive | None = None
    reported_exponent: float | None = None
    reported_exponent_assumed: bool | None = None
    reported_correlation_r: Annotated[float, Field(ge=-1, le=1)] | None = None
    reported_correlation_r2: Annotated[float, Field(ge=0, le=1)] | None = None
    reported_leakage_area_m2: Positive | None = None
    reported_leakage_area_pressure_pa: Positive | None = None
    reported_leakage_area_discharge_coefficient: Positive | None = None
    reported_method: Text | None = None
    reported_basis: Literal["measured", "estimated", "default", "unknown"] | None = None


class Gauge(Record):
    """A pressure gauge used in the test."""

    gauge_id: Text
    gauge_serial: Text | None = None
    gauge_calibrated_on: date | None = None
    gauge_calibration_due_on: date | None = None
    gauge_accuracy_pa: NotNegative | None = None
    gauge_accuracy_ratio: Ratio | None = None
    gauge_resolution_pa: NotNegative | None = None


class Fan(Record):
    """A calibrated fan used in the test."""

    fan_id: Text
    fan_serial: Text | None = None
    fan_calibrated_on: date | None = None
    fan_calibration_due_on: date | None = None
    fan_accuracy_ratio: Ratio | None = None
    fan_reference_at: Literal["room", "outdoors", "unknown"] | None = None


class CalibrationPoint(Record):
    """One row of a calibration table."""

    calibration_pressure_pa: Positive
    calibration_flow_m3_h: Positive


class FanCalibration(Record):
    """Calibration of one fan in one configuration, over one range of its pressure signal.

    Either a power law, flow = coefficient * (fan pressure / 1 Pa) ** exponent, or a table of at least two rows with
    rising pressures and flows. A calibration in ranges is a list of them, each with its least and greatest fan
    pressure; `calibration_index` of a reading says which of them holds for it.
    """

    fan_id: Text
    fan_configuration: Text | None = None
    fan_coefficient_m3_h: Positive | None = None
    fan_exponent: Positive | None = None
    reference_air_density_kg_m3: Positive | None = None
    minimum_fan_pressure_pa: NotNegative | None = None
    maximum_fan_pressure_pa: Positive | None = None
    calibration_points: tuple[CalibrationPoint, ...] = ()

    @model_validator(mode="after")
    def _one_form(self) -> Self:
        law = (self.fan_coefficient_m3_h is not None, self.fan_exponent is not None)
        if law[0] != law[1] or law[0] == bool(self.calibration_points):
            raise ValueError("a calibration is a coefficient with an exponent, or a table of points")
        least, greatest = self.minimum_fan_pressure_pa, self.maximum_fan_pressure_pa
        if least is not None and greatest is not None and least >= greatest:
            raise ValueError("the least fan pressure of a calibration lies below the greatest")
        rows = [(row.calibration_pressure_pa, row.calibration_flow_m3_h) for row in self.calibration_points]
        if len(rows) == 1 or any(a[0] >= b[0] or a[1] >= b[1] for a, b in pairwise(rows)):
            raise ValueError("a calibration table has at least two rows, and pressures and flows that rise")
        return self


class ReferenceLine(Record):
    """A tube from the gauge to outdoors, and how its end is arranged."""

    line_id: Text
    arrangement: Arrangement
    arrangement_as_recorded: Text | None = None
    line_length_m: Positive | None = None
    line_bore_m: Positive | None = None
    line_end_treatment: Text | None = None
    line_damping: Text | None = None
    line_facade_deg: Annotated[float, Field(ge=0, le=360)] | None = None
    line_end_height_m: float | None = None
    line_end_to_fan_m: NotNegative | None = None
    line_end_to_wall_m: NotNegative | None = None
    line_path: Literal["door_panel", "window", "under_door", "wall_opening", "other", "unknown"] | None = None
    line_dry_check: Literal["dry", "water_found", "not_checked"] | None = None
    indoor_port_at: Text | None = None


class Channel(Record):
    """A series of values; the values themselves stand in the trace table."""

    channel_id: Text
    quantity: Recorded
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
    extrapolated_to_pa: Positive | None = None
    extrapolated_with_exponent: Positive | None = None
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
    dropped_reason: Text | None = None
    given_up: bool | None = None
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
    baseline_before_fan_covered: bool | None = None
    baseline_after_pressure_pa: EnvelopePressure | None = None
    baseline_after_positive_pa: NotNegative | None = None
    baseline_after_negative_pa: Annotated[float, Field(le=0)] | None = None
    baseline_after_spread_pa: NotNegative | None = None
    baseline_after_count: Count | None = None
    baseline_after_duration_s: NotNegative | None = None
    baseline_after_fan_covered: bool | None = None
    points: tuple[Point, ...] = ()


class OtherReading(Record):
    """A reading of a test that is not one of the envelope: kept, never fitted."""

    other_reading_as_recorded: Text | None = None
    other_pressure_pa: float | None = None
    other_flow_m3_h: float | None = None


class Amendment(Record):
    """A field that a person corrected: what it held, what it holds now, as JSON text; absent where it is empty."""

    amended_field: Text
    amended_from: Text | None = None
    amended_to: Text | None = None
    amended_by: Text
    amended_why: Text
    amended_at_utc: UtcTime


class Session(Record):
    """One test as recorded, with the amendments that people made to it."""

    schema_version: Literal[1] = 1
    session_id: Text
    kind: Kind
    record: RecordKeeping = RecordKeeping()
    time: Time = Time()
    building: Building = Building()
    preparation: Preparation = Preparation()
    conditions: Conditions = Conditions()
    weather_station: WeatherStation = WeatherStation()
    reported: Reported = Reported()
    openings: tuple[Opening, ...] = ()
    gauges: tuple[Gauge, ...] = ()
    fans: tuple[Fan, ...] = ()
    fan_calibrations: tuple[FanCalibration, ...] = ()
    reference_lines: tuple[ReferenceLine, ...] = ()
    channels: tuple[Channel, ...] = ()
    runs: tuple[Run, ...] = ()
    other_readings: tuple[OtherReading, ...] = ()
    from_register: tuple[Text, ...] = ()
    kept: tuple[Kept, ...] = ()
    amendments: tuple[Amendment, ...] = ()
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
