"""The one table of names: what each is called everywhere, its unit, its open-standard name, its meaning.

Session fields, Arrow columns, batch arrays, views, rule sets' outputs and column heads of commands all take their
names from here; a name that has a unit ends in it. Units are UCUM codes (UCUM 2.2); "" marks text, dates and truth
values, "1" a plain number. Standard names are those of the CF conventions, where one exists.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Quantity:
    """One name of the table."""

    name: str
    ucum: str
    words: str
    standard_name: str | None = None
    personal: bool = False


def _q(name: str, ucum: str, words: str, standard_name: str | None = None, personal: bool = False) -> Quantity:
    return Quantity(name, ucum, words, standard_name, personal)


_TABLE = (
    # document
    _q("schema_version", "1", "version of the session schema this document follows"),
    _q("session_id", "", "stable id of the test: hash of the source's bytes and of the test's place in them"),
    _q("revision", "", "hash of the session's content without plugin version and fingerprint"),
    _q("kind", "", "what sort of record this is"),
    # record keeping
    _q("contractor", "", "firm that did the test"),
    _q("crew", "", "crew that did the test"),
    _q("tester", "", "pseudonym of the person who did the test", personal=True),
    _q("job_id", "", "the programme's job number, text as written"),
    _q("site_id", "", "the programme's id of the house, text as written"),
    _q("stage", "", "where in the work on the house the test stands"),
    _q("visit_number", "1", "number of the visit to the house"),
    _q("attempt_number", "1", "number of the attempt within a visit"),
    _q("retest_of", "", "job number or session id of the test this one repeats"),
    _q("title_as_recorded", "", "title or test name the source gives"),
    # time
    _q("started_at_as_recorded", "", "start of the test, text as the source writes it"),
    _q("started_at_local", "", "start of the test by the clock of the place, ISO 8601 without offset"),
    _q("started_at_utc", "", "start of the test in UTC, ISO 8601; only when the offset is known"),
    _q("utc_offset_s", "s", "offset of the place's clock from UTC at the start"),
    _q("time_zone", "", "IANA time zone of the place"),
    _q("time_zone_from", "", "who said what the time zone is"),
    _q("time_quality", "", "how well the start is known"),
    # building
    _q("volume_m3", "m3", "inside volume of the tested space"),
    _q("floor_area_m2", "m2", "floor area of the tested space"),
    _q("envelope_area_m2", "m2", "area of the tested envelope"),
    _q("height_m", "m", "height of the tested space above its lowest leak"),
    _q("storeys", "1", "storeys above ground"),
    _q("year_built", "1", "year the house was built"),
    _q("elevation_m", "m", "height of the site above sea level", "surface_altitude"),
    _q("boundary", "", "which space was tested"),
    _q("preparation_as_recorded", "", "how openings were prepared, text as the source writes it"),
    # gauges and fans
    _q("gauge_id", "", "number of the gauge within this session, counted from 1, as text"),
    _q("gauge_serial", "", "serial number of the gauge"),
    _q("gauge_calibrated_on", "", "date of the gauge's last calibration"),
    _q("fan_id", "", "number of the fan within this session, counted from 1, as text"),
    _q("fan_serial", "", "serial number of the fan"),
    _q("fan_calibrated_on", "", "date of the fan's last calibration"),
    _q("fan_configuration", "", "opening or low-flow plate fitted to the fan, as the source names it"),
    _q("fan_coefficient_m3_h", "m3/h", "flow through the fan at 1 Pa fan pressure, at the reference air density"),
    _q("fan_exponent", "1", "exponent of the fan's power law"),
    _q("reference_air_density_kg_m3", "kg/m3", "air density the fan calibration is stated for"),
    _q("minimum_fan_pressure_pa", "Pa", "lowest fan pressure the calibration is stated for"),
    # reference lines
    _q("line_id", "", "name of the reference line within this session"),
    _q("arrangement", "", "how the outdoor end of the reference line is arranged"),
    _q("arrangement_as_recorded", "", "arrangement of the reference line, text as the source writes it"),
    _q("line_length_m", "m", "length of the reference line"),
    _q("line_facade_deg", "deg", "compass direction the facade at the line's outdoor end faces"),
    # channels
    _q("channel_id", "", "name of the channel within this session"),
    _q("quantity", "", "name, in this table, of what the channel records"),
    _q("interval_s", "s", "seconds from one sample to the next; absent where samples carry their own times"),
    _q("averaging_s", "s", "seconds over which one value is averaged"),
    _q("sample_count", "1", "values recorded, missing ones included"),
    _q("missing_count", "1", "values that the source marks as missing or over range"),
    _q("start_s", "s", "seconds from the start of the session to the first value"),
    _q("time_s", "s", "seconds from the start of the session to each value, where the steps differ"),
    _q("chunk_number", "1", "number of this stretch of the channel, counted from 0"),
    _q("values", "", "values of the channel in the unit of its quantity; null where missing or over range"),
    # runs and points
    _q("run_number", "1", "number of the run within the session, counted from 1"),
    _q("direction", "", "which way the fan moves air"),
    _q("fan_held", "", "how the fan was held at each point"),
    _q("baseline_before_pressure_pa", "Pa", "mean pressure inside minus outside with the fan off, before the points"),
    _q("baseline_before_positive_pa", "Pa", "mean of the positive readings of the baseline before"),
    _q("baseline_before_negative_pa", "Pa", "mean of the negative readings of the baseline before"),
    _q("baseline_before_spread_pa", "Pa", "standard deviation of the readings of the baseline before"),
    _q("baseline_before_count", "1", "readings in the baseline before"),
    _q("baseline_before_duration_s", "s", "length of the baseline before"),
    _q("baseline_after_pressure_pa", "Pa", "mean pressure inside minus outside with the fan off, after the points"),
    _q("baseline_after_positive_pa", "Pa", "mean of the positive readings of the baseline after"),
    _q("baseline_after_negative_pa", "Pa", "mean of the negative readings of the baseline after"),
    _q("baseline_after_spread_pa", "Pa", "standard deviation of the readings of the baseline after"),
    _q("baseline_after_count", "1", "readings in the baseline after"),
    _q("baseline_after_duration_s", "s", "length of the baseline after"),
    _q("point_number", "1", "number of the point as the source counts it"),
    _q("target_pressure_pa", "Pa", "pressure the point was meant to reach, signed inside minus outside"),
    _q("envelope_pressure_pa", "Pa", "pressure across the envelope, inside minus outside, signed as recorded"),
    _q("envelope_pressure_spread_pa", "Pa", "standard deviation of the envelope pressure within the point"),
    _q("baseline_removed", "", "whether the source has already subtracted the baseline from the pressure"),
    _q("dropped", "", "whether the source leaves the point out of its own result"),
    _q("fan_pressure_pa", "Pa", "pressure signal of the fan"),
    _q("flow_m3_h", "m3/h", "flow the source gives for the fan"),
    _q("flow_basis", "", "what air the flow is counted at"),
    _q("calibration_index", "1", "which of the session's fan calibrations applies to this reading, counted from 0"),
    # conditions
    _q("indoor_temperature_c", "Cel", "air temperature indoors", "air_temperature"),
    _q("outdoor_temperature_c", "Cel", "air temperature outdoors", "air_temperature"),
    _q("barometric_pressure_pa", "Pa", "air pressure at the site, not reduced to sea level", "surface_air_pressure"),
    _q("wind_speed_m_s", "m/s", "mean wind speed", "wind_speed"),
    _q("wind_averaging_s", "s", "seconds over which the wind speed is averaged"),
    _q("wind_gust_m_s", "m/s", "highest gust", "wind_speed_of_gust"),
    _q("wind_from_deg", "deg", "direction the wind comes from; absent when calm", "wind_from_direction"),
    _q("wind_height_m", "m", "height above ground at which the wind was measured"),
    _q("wind_source", "", "where the wind values come from"),
    _q("wind_as_recorded", "", "wind in words, as the source writes it"),
    _q("wind_beaufort_low", "1", "lowest Beaufort force the words allow"),
    _q("wind_beaufort_high", "1", "highest Beaufort force the words allow"),
    # what the source reports
    _q("reported_flow_m3_h", "m3/h", "flow at a reference pressure that the source reports as its result"),
    _q("reported_flow_pressure_pa", "Pa", "pressure of the reported flow, as a magnitude"),
    _q("reported_air_change_50_per_h", "/h", "air changes an hour at 50 Pa that the source reports"),
    _q("reported_coefficient_m3_h", "m3/h", "flow coefficient that the source reports: flow at 1 Pa"),
    _q("reported_exponent", "1", "flow exponent that the source reports"),
    _q("reported_exponent_assumed", "", "whether the source says it assumed the exponent"),
    _q("reported_correlation_r", "1", "correlation coefficient r that the source reports"),
    _q("reported_correlation_r2", "1", "squared correlation r2 that the source reports"),
    _q("reported_leakage_area_m2", "m2", "leakage area that the source reports"),
    _q("reported_leakage_area_pressure_pa", "Pa", "pressure of the reported leakage area"),
    _q("reported_leakage_area_discharge_coefficient", "1", "discharge coefficient of the reported leakage area"),
    _q("reported_method", "", "standard or method that the source names"),
    # kept pointers
    _q("kept_section", "", "part of the source that holds the kept cells"),
    _q("kept_name", "", "column or key that was not mapped"),
    _q("kept_first_row", "1", "first row of the kept cells"),
    _q("kept_last_row", "1", "last row of the kept cells"),
    _q("kept_count", "1", "cells kept"),
    _q("kept_first", "", "first kept cell, text as written", personal=True),
    _q("kept_last", "", "last kept cell, text as written", personal=True),
    # source
    _q("source_name", "", "file name of the source as received"),
    _q("source_sha256", "", "SHA-256 of the source's bytes"),
    _q("source_size_bytes", "By", "size of the source"),
    _q("source_encoding", "", "text encoding the source was read with"),
    _q("source_place", "", "place of the test within the source"),
    _q("plugin_id", "", "plugin that read the source"),
    _q("plugin_version", "", "version of that plugin"),
    _q("plugin_fingerprint", "", "hash of that plugin's files"),
    # journal
    _q("imported_at_utc", "", "when the source was taken in"),
    _q("import_state", "", "what became of the source"),
    _q("program_version", "", "version of this toolkit"),
    _q("session_ids", "", "ids of the sessions that the source holds"),
    _q("revisions", "", "revisions of those sessions"),
    _q("session_count", "1", "tests that the source holds"),
    _q("problems", "", "what was wrong with the source, each with its place"),
    _q("questions", "", "what the source does not prove and somebody must say"),
    _q("import_number", "1", "number of the import try, counted from 1 in the order of commits"),
    _q("original_sha256", "", "SHA-256 of the source as the archive keeps it, compressed"),
    _q("archive_version", "1", "version of the archive that the row was computed from"),
    # problems and questions
    _q("code", "", "what sort of problem it is"),
    _q("file", "", "file the problem or question is about"),
    _q("row", "1", "row of the file, counted from 1 as an editor shows it"),
    _q("column", "", "column or key of the file"),
    _q("found", "", "what stands there"),
    _q("expected", "", "what should stand there"),
    _q("cure", "", "what to do about it"),
    _q("count", "1", "how often it occurs"),
    _q("blocks", "", "how much of the source cannot be used because of it"),
    _q("question_id", "", "id of the question: the same layout asking the same thing has the same id"),
    _q("subject", "", "what is asked"),
    _q("why", "", "why it must be asked"),
    _q("choices", "", "possible answers, or the closed list of words"),
    _q("words", "", "meaning of a field or answer"),
    _q("evidence", "", "what in the source speaks for an answer"),
    _q("consequence", "", "what follows from an answer"),
    _q("scopes", "", "how far an answer may reach"),
    # results
    _q("rule_set", "", "rule set and edition that was followed"),
    _q("direction_used", "", "direction of the runs behind the result"),
    _q("point_count", "1", "points behind the result"),
    _q("baseline_pressure_pa", "Pa", "baseline subtracted from the points of a run"),
    _q("exponent_standard_error", "1", "standard error of the exponent"),
    _q("coefficient_log_standard_error", "1", "standard error of the logarithm of the flow coefficient"),
    _q("points_dropped", "1", "points left out because the source drops them"),
    _q("points_without_pressure", "1", "points left out because they have no pressure"),
    _q("points_extrapolated", "1", "points left out because their flow is extrapolated to another pressure"),
    _q("points_without_flow", "1", "points left out because they have no flow above zero"),
    _q(
        "points_of_wrong_sign", "1", "points left out because the fan's pressure is zero or against the run's direction"
    ),
    _q("lowest_pressure_pa", "Pa", "lowest pressure in the fit, as a magnitude, after subtracting the baseline"),
    _q("highest_pressure_pa", "Pa", "highest pressure in the fit, as a magnitude, after subtracting the baseline"),
    _q("flow_coefficient_m3_h", "m3/h", "flow through the envelope at 1 Pa"),
    _q("exponent", "1", "flow exponent"),
    _q("exponent_low", "1", "lower limit of the exponent by the rule set"),
    _q("exponent_high", "1", "upper limit of the exponent by the rule set"),
    _q("exponent_assumed", "", "whether the exponent was assumed rather than fitted"),
    _q("correlation_r2", "1", "squared correlation of the logarithmic fit"),
    _q("flow_50_m3_h", "m3/h", "flow through the envelope at 50 Pa"),
    _q("flow_50_low_m3_h", "m3/h", "lower limit of the flow at 50 Pa by the rule set"),
    _q("flow_50_high_m3_h", "m3/h", "upper limit of the flow at 50 Pa by the rule set"),
    _q("flow_10_m3_h", "m3/h", "flow through the envelope at 10 Pa"),
    _q("air_change_50_per_h", "/h", "air changes an hour at 50 Pa"),
    _q("leakage_area_m2", "m2", "effective leakage area"),
    _q("leakage_area_pressure_pa", "Pa", "pressure the leakage area is stated for"),
    _q("leakage_area_discharge_coefficient", "1", "discharge coefficient the leakage area is stated with"),
    _q("displayed_flow_50_m3_h", "m3/h", "flow at 50 Pa as the gauge displayed it, without any correction"),
    _q("difference_percent", "%", "recomputed flow at 50 Pa against the reported one"),
    _q("share_baseline_percent", "%", "part of the change from the displayed flow that comes from the baseline"),
    _q("share_calibration_percent", "%", "part of the change that comes from the fan calibration"),
    _q("share_fan_density_percent", "%", "part of the change that comes from the air density in the fan"),
    _q("share_envelope_density_percent", "%", "part of the change that comes from the air density in the leaks"),
    _q("share_reference_percent", "%", "part of the change that comes from reference conditions"),
    _q("note", "", "what is assumed or absent in the calculation"),
    # checks and verdicts
    _q("check_name", "", "name of the check"),
    _q("level", "1", "1 pass, 2 not evaluated, 3 suspect, 4 fail, 9 missing (the five levels of QARTOD)"),
    _q("value", "", "what the check found"),
    _q("limit_value", "", "what the check was held against"),
    _q("effect_percent", "%", "what the finding does to the flow at 50 Pa, where it can be told"),
    _q("reason", "", "sentence for people"),
    _q("use", "", "what the result is wanted for"),
    _q("verdict", "", "whether the result serves that use"),
    _q("because_of", "", "checks that led to the verdict, the gravest first"),
    _q("flow_at_50", "", "verdict for the flow at 50 Pa"),
    _q("low_pressure_and_exponent", "", "verdict for the flow at low pressure and the exponent"),
    _q("before_after", "", "verdict for comparing before and after"),
    _q("publishable", "", "verdict for publication"),
    # lists for people
    _q("name", "", "name of a field, column or key"),
    _q("group", "", "part of the session a field stands in"),
    _q("ucum", "", "unit code"),
    _q("standard_name", "", "name in the CF conventions"),
    _q("outcome", "", "what became of it"),
    _q("what_it_reads", "", "layout that the plugin reads"),
    _q("units", "", "system of units"),
    _q("languages", "", "languages of the headers"),
    _q("section", "", "section of the file"),
    _q("becomes", "", "mapped, ignored or kept"),
    _q("field", "", "field of the session that takes it"),
    _q("unit", "", "unit, and who states it"),
    _q("how", "", "sign, form or list that is followed"),
    _q("sample", "", "sample of the plugin"),
    _q("differences", "1", "places in which the sample turned out otherwise"),
    _q("view_name", "", "view that can be asked in SQL"),
    _q("column_names", "", "columns of the view"),
)

QUANTITIES: dict[str, Quantity] = {quantity.name: quantity for quantity in _TABLE}

# Levels of a check: the five of QARTOD (IOOS, real-time data quality flags).
PASS, NOT_EVALUATED, SUSPECT, FAIL, MISSING = 1, 2, 3, 4, 9

# Closed lists of words. Their order is that of the codes in batch arrays; absent is -1 there.
CHOICES: dict[str, tuple[str, ...]] = {
    "kind": ("single_point", "two_point", "multi_point", "monitoring", "summary", "not_tested", "other_test"),
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
    "import_state": ("imported", "held", "refused"),
    "use": ("flow_at_50", "low_pressure_and_exponent", "before_after", "publishable"),
    "verdict": ("sound", "note", "retest_advised", "cannot_tell"),
}
