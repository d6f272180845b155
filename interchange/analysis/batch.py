"""The one form in which readings reach the kernels: flat arrays with offsets, session ─< run ─< point ─< reading.

Absent numbers are NaN, absent words are -1 (codes follow the order in `quantities.CHOICES`), absent truth values
are -1 (0 no, 1 yes). Only `archive.batches` makes a Batch from stored rows.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
Codes = NDArray[np.int8]

# The columns each level of a Batch holds; numbers as float64, words and truth values as int8 codes.
SESSION_COLUMNS = (
    "kind",
    "building_type",
    "volume_m3",
    "floor_area_m2",
    "envelope_area_m2",
    "height_m",
    "elevation_m",
    "indoor_temperature_c",
    "outdoor_temperature_c",
    "indoor_relative_humidity",
    "outdoor_relative_humidity",
    "barometric_pressure_pa",
    "wind_speed_m_s",
    "wind_averaging_s",
    "wind_gust_m_s",
    "wind_height_m",
    "wind_source",
    "wind_beaufort_low",
    "wind_beaufort_high",
    "reported_flow_m3_h",
    "reported_flow_pressure_pa",
    "reported_air_change_50_per_h",
    "reported_natural_air_change_per_h",
    "reported_coefficient_m3_h",
    "reported_exponent",
    "reported_exponent_assumed",
    "reported_correlation_r2",
    "reported_leakage_area_m2",
    "reported_leakage_area_pressure_pa",
    "reported_leakage_area_discharge_coefficient",
    "arrangement",
    "gauge_accuracy_pa",
    "gauge_accuracy_ratio",
    "fan_accuracy_ratio",
    "points_found_in_trace",
    "tests_in_log",
    "tests_left_out",
)
RUN_COLUMNS = (
    "direction",
    "baseline_before_pressure_pa",
    "baseline_before_positive_pa",
    "baseline_before_negative_pa",
    "baseline_before_spread_pa",
    "baseline_before_count",
    "baseline_before_duration_s",
    "baseline_after_pressure_pa",
    "baseline_after_positive_pa",
    "baseline_after_negative_pa",
    "baseline_after_spread_pa",
    "baseline_after_count",
    "baseline_after_duration_s",
)
POINT_COLUMNS = (
    "target_pressure_pa",
    "envelope_pressure_pa",
    "envelope_pressure_spread_pa",
    "sample_count",
    "averaging_s",
    "baseline_removed",
    "dropped",
)
READING_COLUMNS = ("fan_pressure_pa", "flow_m3_h", "flow_basis", "calibration_index")
CALIBRATION_COLUMNS = (
    "fan_coefficient_m3_h",
    "fan_exponent",
    "reference_air_density_kg_m3",
    "minimum_fan_pressure_pa",
    "maximum_fan_pressure_pa",
    "calibration_from_register",
)
CALIBRATION_POINT_COLUMNS = ("calibration_pressure_pa", "calibration_flow_m3_h")


@dataclass(frozen=True, slots=True)
class Batch:
    """Readings of many sessions. Offsets have one entry more than their level has rows.

    `run_offsets[i]:run_offsets[i + 1]` are the runs of session i, `point_offsets` the points of a run,
    `reading_offsets` the fan readings of a point, `calibration_offsets` the fan calibrations of a session,
    `calibration_point_offsets` the rows of a calibration's table: none where it is a power law. Rows of a table rise
    in pressure and in flow.
    Runs of a session with `session["points_found_in_trace"]` were found in its log; it names none itself.
    `session["arrangement"]` is that of the session's first reference line; accuracies are those of its least accurate
    gauge and fan.
    """

    run_offsets: Ints
    point_offsets: Ints
    reading_offsets: Ints
    calibration_offsets: Ints
    calibration_point_offsets: Ints
    session: Mapping[str, NDArray[np.generic]]
    run: Mapping[str, NDArray[np.generic]]
    point: Mapping[str, NDArray[np.generic]]
    reading: Mapping[str, NDArray[np.generic]]
    calibration: Mapping[str, NDArray[np.generic]]
    calibration_point: Mapping[str, NDArray[np.generic]]
