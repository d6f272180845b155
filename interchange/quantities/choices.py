"""Closed lists of words, and the levels of checks."""

from __future__ import annotations

# Levels of a check: the five of QARTOD (IOOS, real-time data quality flags).
PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9

# Closed lists of words. Their order is that of the codes in batch arrays; absent is -1 there.
CHOICES: dict[str, tuple[str, ...]] = {
    "kind": (
        *("single_point", "two_point", "multi_point", "monitoring", "summary", "not_tested", "other_test"),
        "weather",
    ),
    "not_tested_reason": (
        *("no_access", "declined", "hazard", "weather", "equipment", "waived", "not_required", "other"),
    ),
    "other_test": ("duct", "room", "zone", "combustion_zone", "other"),
    "volume_source": ("measured", "drawings", "estimated", "assumed", "unknown"),
    "floor_area_source": ("measured", "drawings", "estimated", "assumed", "unknown"),
    "envelope_area_source": ("measured", "drawings", "estimated", "assumed", "unknown"),
    "building_type": (
        *("detached", "semi_detached", "terraced", "apartment", "manufactured", "non_residential", "other"),
    ),
    "foundation": ("slab", "crawl_space", "basement", "piers", "mixed", "other"),
    "terrain": ("open_water", "open_country", "suburban", "city"),
    "shielding": ("none", "light", "moderate", "heavy", "very_heavy"),
    "exhaust_fans": ("off", "on", "unknown"),
    "combustion_appliances": ("off", "on", "unknown"),
    "opening_state": ("open", "closed", "sealed", "unknown"),
    "fan_reference_at": ("room", "outdoors", "unknown"),
    "line_path": ("door_panel", "window", "under_door", "wall_opening", "other", "unknown"),
    "line_dry_check": ("dry", "water_found", "not_checked"),
    "row_is": ("point", "baseline_before", "baseline_after"),
    "quantity": (
        *("envelope_pressure_pa", "fan_pressure_pa", "flow_m3_h", "indoor_temperature_c", "outdoor_temperature_c"),
        *("indoor_relative_humidity", "outdoor_relative_humidity", "barometric_pressure_pa"),
        *("wind_speed_m_s", "wind_gust_m_s", "wind_from_deg"),
    ),
    "precipitation": ("none", "rain", "snow", "unknown"),
    "ground": ("dry", "wet", "frozen", "snow_covered", "unknown"),
    "reported_basis": ("measured", "estimated", "default", "unknown"),
    "stage": ("before", "interim", "after", "inspection"),
    "time_zone_from": ("source", "archive", "answer"),
    "time_quality": ("exact", "offset_assumed", "date_only", "upload_time"),
    "boundary": ("whole_building", "unit_total", "unit_to_outside", "guarded"),
    "direction": ("depressurisation", "pressurisation"),
    "direction_used": ("depressurisation", "pressurisation", "both"),
    "fan_held": ("by_hand", "automatic"),
    "flow_basis": ("indicated", "at_device", "envelope", "extrapolated", "summed"),
    "arrangement": ("open_end", "branched", "several_facades", "sheltered_end", "unknown"),
    "wind_source": ("on_site_hand", "on_site_mast", "station", "model", "observer_word"),
    "wind_evidence": ("traces", "averages", "points", "one_point"),
    "import_state": ("imported", "held", "refused", "amended", "undone"),
    "conforms": ("yes", "no", "cannot_tell", "not_asked"),
    "use": ("flow_at_50", "low_pressure_and_exponent", "before_after", "publishable"),
    "decision": ("accept", "accept_with_note", "ask_for_data", "return", "waive"),
    "verdict": ("sound", "note", "retest_advised", "cannot_tell"),
    "is_it_real": ("yes", "no", "cannot_tell"),
    "repeat_sort": ("retest", "same_day", "same_stage", "both_directions"),
    "likeness": ("certain", "probable", "possible"),
    "alike_as": ("same_test", "copied_readings"),
    "stated_intervals": ("too_narrow", "too_wide", "as_stated", "cannot_tell"),
    "line_fault": (
        *("water_in_line", "line_blocked", "line_disconnected", "line_end_in_fan_stream", "line_end_exposed"),
        *("channels_swapped", "sign_wrong", "fan_in_baseline", "fan_uncovered", "exhaust_running"),
        *("fan_reference_wrong", "baseline_missing", "baseline_copied", "baseline_zero_by_habit"),
        *("opening_moved", "gauge_drift", "fan_configuration_wrong", "clock_shifted", "duplicate"),
    ),
    "line_fault_state": ("no", "note", "retest", "cannot_tell"),
}
