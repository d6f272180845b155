"""What a recomputation yields: leakage of each session and of each run, and notes on what is assumed or absent."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Ints

FLOW_PRESSURE_PA = 50.0  # [Pa] the pressure results are compared at
LOW_FLOW_PRESSURE_PA = 10.0  # [Pa] the low pressure a flow is stated for
LEAKAGE_PRESSURE_PA = 4.0  # [Pa] about what drives air through a house without a fan

# Codes of notes; the order is that of the bits in `Leakage.note_mask`. Sentences for them stand in `report.notes`.
NOTES = (
    "kind_not_fitted",
    "no_usable_point",
    "too_few_points",
    "too_many_points",
    "points_left_out",
    "run_left_out",
    "direction_unknown",
    "directions_averaged",
    "exponent_assumed",
    "baseline_unknown",
    "baseline_removed_by_source",
    "baseline_removal_unknown",
    "calibration_absent",
    "calibration_partly_absent",
    "fan_pressure_below_minimum",
    "fan_pressure_above_maximum",
    "fan_pressure_outside_table",
    "fan_flow_unknown",
    "calibration_from_register",
    "calibration_density_assumed",
    "calibration_density_unknown",
    "temperature_unknown",
    "barometer_from_elevation",
    "barometer_unknown",
    "barometer_assumed",
    "fan_density_not_corrected",
    "elevation_unknown",
    "envelope_density_not_corrected",
    "reference_not_corrected",
    "points_found_in_trace",
    "several_tests_in_log",
    "later_tests_left_out",
    "humidity_not_used",
    "humidity_partly_recorded",
)

# Why a point is not in the fit, in the order in which reasons are looked for; each is a count of a run.
EXCLUSIONS = (
    "points_dropped",
    "points_without_pressure",
    "points_extrapolated",
    "points_without_flow",
    "points_of_wrong_sign",
)

# How many of a run's fan readings lie outside the range of their calibration; NaN where no range is known.
OUTSIDE_CALIBRATION = ("readings_below_calibration", "readings_above_calibration")

SHARES = (
    "share_baseline_percent",
    "share_calibration_percent",
    "share_fan_density_percent",
    "share_envelope_density_percent",
    "share_reference_percent",
)

Columns = Mapping[str, NDArray[np.generic]]


@dataclass(frozen=True, slots=True)
class Leakage:
    """Results as arrays by the names of `quantities`: one entry per session, one per run.

    `run_offsets[i]:run_offsets[i + 1]` are the runs of session i. Absent numbers are NaN, absent codes -1.
    `note_mask` has bit k set where note `NOTES[k]` holds for a session.
    """

    run_offsets: Ints
    session: Columns
    run: Columns
    note_mask: Ints

    def notes(self) -> NDArray[np.object_]:
        """Codes of the notes of each session, joined by ";" (empty text where there is none)."""
        masks, inverse = np.unique(self.note_mask, return_inverse=True)
        texts = np.array([";".join(note_codes(int(mask))) for mask in masks], dtype=object)
        return np.asarray(texts[inverse], dtype=object)


def note_codes(mask: int) -> tuple[str, ...]:
    """Codes of the notes in one mask."""
    return tuple(code for bit, code in enumerate(NOTES) if mask >> bit & 1)


def note_bit(code: str) -> int:
    """The bit of a note."""
    return 1 << NOTES.index(code)
