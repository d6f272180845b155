"""Sentences for the notes on a calculation: what was assumed, absent, or taken from elsewhere."""

from __future__ import annotations

NOTE_SENTENCES = {
    "kind_not_fitted": "This record is not of a kind that the rule set recomputes.",
    "no_usable_point": "No point could be used.",
    "too_few_points": "There are too few usable points for the fit that the rule set asks for.",
    "too_many_points": (
        "The record is of one point but holds several, and this rule set draws its line through one only; as "
        "displayed, a line goes through all of them."
    ),
    "points_left_out": "Some points were left out.",
    "run_left_out": "One run gave no result and was left out.",
    "direction_unknown": (
        "The source does not say which way the fan blew, so nothing is corrected for the density of the air."
    ),
    "directions_averaged": "Both directions were run; the result is the mean of their flows.",
    "exponent_assumed": "The flow exponent was assumed, not measured.",
    "baseline_unknown": "No baseline is recorded, so none was subtracted.",
    "baseline_removed_by_source": "The source has already subtracted the baseline.",
    "baseline_removal_unknown": (
        "The source does not say whether its pressures still hold the baseline; it was subtracted as if they did."
    ),
    "calibration_absent": "No fan calibration with fan pressures is recorded; the flow shown by the gauge was used.",
    "calibration_partly_absent": (
        "For some points the flow shown by the gauge was used, because calibration or fan pressure is missing."
    ),
    "fan_pressure_below_minimum": "Some fan pressures lie below the range of the fan's calibration.",
    "fan_pressure_above_maximum": "Some fan pressures lie above the range of the fan's calibration.",
    "fan_pressure_outside_table": (
        "Some fan pressures lie outside the table of the fan's calibration, which is not extrapolated; there the flow "
        "shown by the gauge was used, and points without one were left out."
    ),
    "fan_flow_unknown": (
        "For some fan pressures there is neither a flow nor a fan calibration, in the file or valid on that day in the "
        "register; their points were left out."
    ),
    "calibration_from_register": "The fan calibration was taken from the register.",
    "calibration_density_assumed": (
        "The fan calibration does not say for which air density it holds; that of the rule set was assumed."
    ),
    "calibration_density_unknown": "The fan calibration does not say for which air density it holds.",
    "temperature_unknown": "Indoor or outdoor temperature is missing.",
    "barometer_from_elevation": "The air pressure was reckoned from the elevation of the site.",
    "barometer_unknown": "Neither air pressure nor elevation of the site is known.",
    "barometer_assumed": (
        "Neither air pressure nor elevation of the site is known; that of sea level was assumed, which costs about "
        "0.5 % of the flow at 50 Pa for 300 m of elevation."
    ),
    "fan_density_not_corrected": "The flow is not corrected for the density of the air in the fan.",
    "elevation_unknown": "The elevation of the site is not known, so the rule set's factor for it is left out.",
    "envelope_density_not_corrected": "The flow is not corrected for the density of the air in the leaks.",
    "reference_not_corrected": "The result is not brought to reference conditions.",
    "points_found_in_trace": (
        "The source names no points; points and baselines were found in its log, and temperatures and air pressure as "
        "far as only the log tells them."
    ),
    "several_tests_in_log": (
        "The log holds several tests in one direction with long pauses between; their flows agree within a tenth, so "
        "they were taken for repeats. The log does not say whether it was always the same house."
    ),
    "later_tests_left_out": (
        "The log holds several tests whose flows do not agree, so they are of other houses, or something was changed "
        "between; only the first was used."
    ),
    "humidity_not_used": "The recorded humidity was not used: this rule set reckons with dry air.",
    "humidity_partly_recorded": (
        "Humidity is recorded indoors or outdoors only; the other air was taken for dry, which can cost about 1 % of "
        "the flow."
    ),
}


def note_sentence(code: str) -> str:
    """The sentence for a note on the calculation. Raises KeyError for an unknown code."""
    return NOTE_SENTENCES[code]
