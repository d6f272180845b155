"""Short column heads for people, and the units a programme wants to see. Data always stays in the archive's units."""

from __future__ import annotations

from typing import Literal

from interchange.errors import printable
from interchange.quantities import CHOICES, QUANTITIES
from interchange.units import unit

Units = Literal["si", "imperial"]

# Words for names whose values need no unit.
_WORDS = {
    "job_id": "job",
    "site_id": "house",
    "rule_set": "rule set",
    "session_id": "test",
    "session_count": "tests",
    "source_name": "file",
    "plugin_id": "plugin",
    "started_at_local": "started",
    "point_number": "point",
    "fan_configuration": "opening",
    "plugin_version": "version",
    "flow_at_50": "flow at 50 Pa",
    "low_pressure_and_exponent": "low pressure, exponent",
    "what_it_reads": "what it reads",
    "channel_id": "channel",
    "other_reading_as_recorded": "reading",
    "quantity": "what it records",
    "line_id": "line",
    "sample_count": "values",
    "missing_count": "missing",
    "view_name": "view",
    "column_names": "columns",
    "retest_advised": "retest advised",
    "cannot_tell": "cannot tell",
    "conforms_because": "because of",
    "other_rule_set": "other rule set",
    "verdict_changes": "verdicts that change",
    "is_it_real": "is it real",
    "in_words": "in words",
    "pair_count": "pairs",
    "real_count": "real",
    "not_real_count": "not real",
    "cannot_tell_count": "cannot tell",
    "repeat_sort": "repeats",
    "windy": "strong wind at one",
    "what_differs": "what differs",
    "what_to_do": "what to do",
    "agreeing_count": "agree",
    "stated_intervals": "stated intervals",
    "first_line": "first line",
    "second_line": "second line",
    "compared_part": "part",
    "trend_group": "group",
    "asked_count": "tests asked",
    "found_count": "found",
    "small_group": "small group",
}

# Their values are words of closed lists, which people read without underscores.
_CLOSED_LISTS = {*CHOICES, *CHOICES["use"]} - {"quantity"}

# name → (head, decimals in SI units, imperial unit, decimals in it)
_HEADS: dict[str, tuple[str, int, str, int]] = {
    "flow_50_m3_h": ("recomputed flow at 50 Pa", 0, "cfm", 0),
    "flow_50_low_m3_h": ("low (scatter only)", 0, "cfm", 0),
    "flow_50_high_m3_h": ("high (scatter only)", 0, "cfm", 0),
    "at_pressure_pa": ("at", 0, "Pa", 0),
    "result_flow_m3_h": ("result", 0, "cfm", 0),
    "result_low_m3_h": ("low", 0, "cfm", 0),
    "result_high_m3_h": ("high", 0, "cfm", 0),
    "best_flow_m3_h": ("best estimate in wind", 0, "cfm", 0),
    "best_low_m3_h": ("low", 0, "cfm", 0),
    "best_high_m3_h": ("high", 0, "cfm", 0),
    "flow_50_full_low_m3_h": ("low", 0, "cfm", 0),
    "flow_50_full_high_m3_h": ("high", 0, "cfm", 0),
    "robust_flow_50_m3_h": ("best estimate in wind at 50 Pa", 0, "cfm", 0),
    "robust_flow_10_m3_h": ("best estimate in wind at 10 Pa", 0, "cfm", 0),
    "robust_difference_50_percent": ("difference at 50 Pa", 1, "%", 1),
    "robust_difference_10_percent": ("difference at 10 Pa", 1, "%", 1),
    "other_flow_50_m3_h": ("flow at 50 Pa by the other", 0, "cfm", 0),
    "change_percent": ("change", 1, "%", 1),
    "share_fit_percent": ("fit", 1, "%", 1),
    "displayed_flow_50_m3_h": ("displayed flow at 50 Pa", 0, "cfm", 0),
    "reported_flow_m3_h": ("reported flow at 50 Pa", 0, "cfm", 0),
    "median_flow_50_m3_h": ("median flow at 50 Pa", 0, "cfm", 0),
    "median_change_percent": ("recomputed against displayed: median", 1, "%", 1),
    "lowest_change_percent": ("lowest", 1, "%", 1),
    "highest_change_percent": ("highest", 1, "%", 1),
    "flow_10_m3_h": ("flow at 10 Pa", 0, "cfm", 0),
    "flow_coefficient_m3_h": ("coefficient", 1, "cfm", 1),
    "volume_m3": ("volume", 0, "ft3", 0),
    "leakage_area_m2": ("leakage area", 4, "in2", 1),
    "air_change_50_per_h": ("air changes at 50 Pa", 2, "1/h", 2),
    "air_permeability_50_m3_h_m2": ("flow at 50 Pa for each m2 of envelope", 2, "cfm/ft2", 3),
    "specific_leakage_rate_50_m3_h_m2": ("flow at 50 Pa for each m2 of floor", 2, "cfm/ft2", 3),
    "specific_leakage_area": ("specific leakage area", 6, "1", 6),
    "normalised_leakage": ("normalised leakage", 2, "1", 2),
    "exponent": ("exponent", 3, "1", 3),
    "correlation_r2": ("r2", 4, "1", 4),
    "difference_percent": ("recomputed against reported", 1, "%", 1),
    "baseline_before_pressure_pa": ("baseline before", 2, "Pa", 2),
    "baseline_after_pressure_pa": ("baseline after", 2, "Pa", 2),
    "other_pressure_pa": ("pressure", 1, "Pa", 1),
    "other_flow_m3_h": ("flow", 0, "cfm", 0),
    "reported_leakage_area_m2": ("leakage area", 4, "in2", 1),
    "reported_air_change_50_per_h": ("air changes at 50 Pa", 2, "1/h", 2),
    "reported_natural_air_change_per_h": ("natural air changes", 2, "1/h", 2),
    "reported_coefficient_m3_h": ("coefficient", 1, "cfm", 1),
    "reported_leakage_area_pressure_pa": ("pressure of the leakage area", 0, "Pa", 0),
    "envelope_pressure_pa": ("pressure", 1, "Pa", 1),
    "flow_m3_h": ("fan flow", 0, "cfm", 0),
    "fan_pressure_pa": ("fan pressure", 1, "Pa", 1),
    "outdoor_temperature_c": ("outdoors", 1, "degF", 0),
    "indoor_temperature_c": ("indoors", 1, "degF", 0),
    "wind_speed_m_s": ("wind", 1, "mph", 1),
    "envelope_pressure_spread_pa": ("spread", 2, "Pa", 2),
    "target_pressure_pa": ("target", 0, "Pa", 0),
    "before_flow_50_m3_h": ("flow at 50 Pa before", 0, "cfm", 0),
    "after_flow_50_m3_h": ("after", 0, "cfm", 0),
    "reduction_50_m3_h": ("fell by", 0, "cfm", 0),
    "reduction_50_percent": ("fell by", 1, "%", 1),
    "reduction_50_low_percent": ("low", 1, "%", 1),
    "reduction_50_high_percent": ("high", 1, "%", 1),
    "median_reduction_percent": ("median of the real ones", 1, "%", 1),
    "agreeing_percent": ("share that agrees", 0, "%", 0),
    "agreeing_low_percent": ("low", 0, "%", 0),
    "agreeing_high_percent": ("high", 0, "%", 0),
    "expected_percent": ("expected", 0, "%", 0),
    "share_percent": ("share", 1, "%", 1),
    "share_low_percent": ("low", 1, "%", 1),
    "share_high_percent": ("high", 1, "%", 1),
    "median_difference_percent": ("median difference", 1, "%", 1),
    "expected_difference_percent": ("expected", 1, "%", 1),
    "minutes_compared": ("minutes", 0, "1", 0),
    "first_spread_pa": ("spread of the first", 2, "Pa", 2),
    "second_spread_pa": ("of the second", 2, "Pa", 2),
    "spread_ratio": ("ratio", 2, "1", 2),
    "spread_ratio_low": ("low", 2, "1", 2),
    "spread_ratio_high": ("high", 2, "1", 2),
    "line_difference_pa": ("second less first", 2, "Pa", 2),
    "line_difference_low_pa": ("low", 2, "Pa", 2),
    "line_difference_high_pa": ("high", 2, "Pa", 2),
    "share_baseline_percent": ("baseline", 1, "%", 1),
    "share_calibration_percent": ("fan calibration", 1, "%", 1),
    "share_fan_density_percent": ("air in fan", 1, "%", 1),
    "share_envelope_density_percent": ("air in leaks", 1, "%", 1),
    "share_reference_percent": ("reference conditions", 1, "%", 1),
}


def head(name: str, units: Units) -> str:
    """Head of a column: words, and the unit its values are shown in."""
    if name not in _HEADS:
        return _WORDS.get(name, name)
    words, unit_words = _HEADS[name][0], unit_words_of(name, units)
    return words if unit_words in ("1", "1/h", "/h") else f"{words}, {unit_words}"


def unit_words_of(name: str, units: Units) -> str:
    """The unit a value is shown in, as people write it."""
    code = _HEADS[name][2] if units == "imperial" else QUANTITIES[name].ucum
    return {"Cel": "°C", "degF": "°F"}.get(code, code)


def with_unit(name: str, value: float, units: Units) -> str:
    """A value as text, followed by its unit."""
    return f"{shown(name, value, units)} {unit_words_of(name, units)}"


def shown(name: str, value: object, units: Units) -> str:
    """A value as text in the unit of its head."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return _without_minus_zero(_number(name, value, units))
    text = printable(str(value))
    return text.replace("_", " ") if name in _CLOSED_LISTS else text


def _number(name: str, value: float, units: Units) -> str:
    if name not in _HEADS:
        return f"{value:.6g}"
    _, decimals, _, imperial_decimals = _HEADS[name]
    if units == "si":
        return f"{value:,.{decimals}f}"
    return f"{converted(name, value, units):,.{imperial_decimals}f}"


def converted(name: str, value: float, units: Units) -> float:
    """A value in the unit of its head."""
    if units == "si":
        return value
    source, target = unit(QUANTITIES[name].ucum), unit(_HEADS[name][2])
    return (value * float(source.factor) + float(source.offset) - float(target.offset)) / float(target.factor)


def _without_minus_zero(text: str) -> str:
    return text if text.strip("-0.") else text.lstrip("-")
