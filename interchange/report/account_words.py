"""Words of an account: names of steps and symbols, where numbers come from, what is said where a step does nothing."""

from __future__ import annotations

import re

from interchange.report.notes import NOTE_SENTENCES

STEP_WORDS = {
    "begin": "What was recorded",
    "air_pressure": "Air pressure where none is known",
    "baseline": "Subtract the baseline",
    "fan_calibration": "Flow out of the fan pressure, by the fan's calibration",
    "fan_density": "Flow for the density of the air in the fan",
    "elevation_factor": "Flow for the elevation of the site",
    "envelope_density": "Flow through the fan to flow through the leaks",
    "points": "Points for the fit",
    "power_law": "Fit of Q = C dp^n to all points",
    "weighted_power_law": "Fit of Q = C dp^n, points weighted",
    "two_point": "Line through the means at two pressures",
    "one_point": "Line through one point, with an assumed exponent",
    "reference_conditions": "To reference conditions",
    "leakage_area": "Leakage area",
    "result": "Result",
    "shares": "What each correction did to the flow at 50 Pa",
}

SYMBOL_WORDS = {
    "p": "pressure inside minus outside",
    "Q_shown": "flow shown by the gauge",
    "p_b": "air pressure",
    "z": "elevation of the site",
    "p_before": "baseline before the points",
    "p_after": "baseline after the points",
    "k": "place of the point in its run, at equal intervals",
    "k_end": "place of the baseline after the points",
    "p0": "baseline",
    "dp": "pressure made by the fan",
    "P": "fan pressure, as a magnitude",
    "c": "coefficient of the fan",
    "m": "exponent of the fan",
    "Q_cal": "flow by the calibration",
    "P_1": "row of the table at or below P: pressure",
    "P_2": "row of the table above P: pressure",
    "Q_1": "flow in the row at or below",
    "Q_2": "flow in the row above",
    "Q_tab": "flow by the table of the calibration",
    "T_fan": "air in the fan",
    "T_leak": "air in the leaks",
    "phi_fan": "relative humidity of the air in the fan",
    "phi_leak": "relative humidity of the air in the leaks",
    "pv_fan": "vapour pressure in the fan",
    "pv_leak": "vapour pressure in the leaks",
    "rho_cal": "air density the calibration holds for",
    "rho_fan": "density of the air in the fan",
    "f_fan": "factor for the air in the fan",
    "Q_fan": "flow through the fan",
    "b": "what the factor grows by for each metre",
    "f_high": "factor for the elevation",
    "Q_high": "flow with the factor for the elevation",
    "p_s": "air pressure for both densities",
    "rho_f": "density of the air in the fan, at the pressure for both",
    "rho_l": "density of the air in the leaks, at the pressure for both",
    "f_leak": "factor from fan to leaks",
    "Q_leak": "flow through the leaks",
    "s": "sign of the fan's pressure",
    "Q": "flow of the point",
    "x": "logarithm of the pressure",
    "y": "logarithm of the flow",
    "N": "number of points",
    "a": "points weigh with the flow to this power",
    "W": "sum of the weights",
    "u": "weight of the point, 1 in the mean",
    "Sx": "sum of x",
    "Sy": "sum of y",
    "xm": "mean of x",
    "ym": "mean of y",
    "Sxx": "sum of squares of x about its mean",
    "Sxy": "sum of products of x and y about their means",
    "Syy": "sum of squares of y about its mean",
    "n": "exponent",
    "lnC": "logarithm of the coefficient",
    "C": "coefficient, flow at 1 Pa",
    "R": "sum of squares of the points' distances from the line",
    "r2": "squared correlation",
    "s2": "scatter about the line",
    "S_n": "standard error of the exponent",
    "S_lnC": "standard error of lnC",
    "q": "confidence of the limits",
    "t": "Student's t for q, both sides, N - 2 degrees of freedom",
    "n_low": "lower limit of the exponent",
    "n_high": "upper limit of the exponent",
    "p_hi": "primary pressure",
    "p_lo": "secondary pressure",
    "h": "1 where the point belongs to the primary pressure, 0 to the secondary",
    "d_hi": "mean pressure of the primary points",
    "d_lo": "mean pressure of the secondary points",
    "Q_hi": "mean flow of the primary points",
    "Q_lo": "mean flow of the secondary points",
    "T_ref": "reference temperature",
    "p_ref": "reference air pressure",
    "rho_leak": "density of the air in the leaks",
    "rho_ref": "reference density",
    "mu_leak": "viscosity of the air in the leaks",
    "mu_ref": "reference viscosity",
    "f_ref": "factor to reference conditions",
    "C_ref": "coefficient at reference conditions",
    "p_A": "pressure of the leakage area",
    "Q_A": "flow at that pressure",
    "C_d": "discharge coefficient",
    "rho_A": "air density of the leakage area",
    "A": "leakage area",
    "Q50": "flow at 50 Pa",
    "Q10": "flow at 10 Pa",
    "e": "half-width of the limits of ln Q50",
    "Q50_low": "lower limit, by the scatter of the points only",
    "Q50_high": "upper limit, by the scatter of the points only",
    "g": "half-width of the limits of the exponent",
    "w": "weight in the mean",
    "V": "volume",
    "ACH": "air changes an hour at 50 Pa",
    "ACH_rep": "air changes at 50 Pa that the source reports",
    "Q50_rep": "flow at 50 Pa that the source reports",
    "D": "recomputed against reported",
    "F_displayed": "as displayed",
    "F_baseline": "after the baseline",
    "F_calibration": "after the fan calibration",
    "F_fan_density": "after the air in the fan",
    "F_envelope_density": "after the air in the leaks",
    "F_reference": "after reference conditions",
    "S_baseline": "share of the baseline",
    "S_calibration": "share of the fan calibration",
    "S_fan_density": "share of the air in the fan",
    "S_envelope_density": "share of the air in the leaks",
    "S_reference": "share of reference conditions",
    "whole": "all shares together: the last flow over the first",
}

ORIGIN_WORDS = {
    "recorded": "recorded",
    "reported": "reported",
    "stated": "stated with the fan's calibration",
    "assumed": "assumed by the rule set",
    "rules": "set by the rule set",
    "indoors": "indoor air, recorded",
    "outdoors": "outdoor air, recorded",
    "cancels": "any will do: it cancels",
    "direction": "from the direction of the run",
    "by_pressures": "direction unknown: the sign of the sum of the pressures",
    "count": "counted",
    "student": "from a table of Student's t",
    "station": "the nearer of the two, by logarithm",
    "of_run": "from above",
    "weight": "directions count alike, runs of a direction share its weight",
    "line_then": "by the fit",
}

REMARKS = {
    "barometer_known": "The air pressure is known.",
    "baseline_partly_removed": "Only the points whose baseline the source has not subtracted are changed.",
    "no_flow_by_calibration": "No flow here comes from the fan's calibration.",
    "some_flows_not_by_calibration": "Flows that do not come from one fan's calibration stay as they are.",
    "calibration_density_partly_assumed": "Where no density is stated, that of the rule set is assumed.",
    "flow_is_of_envelope": "The source gives the flow through the envelope.",
    "some_flows_of_envelope": "Flows that the source gives as those of the envelope stay as they are.",
    "site_not_high": "The site is not so high that the factor for its elevation begins.",
    "no_points": "There is no point.",
    "no_line": "The usable points give no such line: it needs two different pressures or more.",
    "two_points_have_no_limits": "A line through two points shows no error of its own, so it has no limits.",
    "flows_all_alike": "The flows are all alike, so there is no correlation.",
    "not_one_point": "It is for a run of just one usable point.",
    "no_coefficient": "There is no fitted line.",
    "area_of_the_mean": "The area is taken of the mean of the runs: see the result.",
    "run_without_result": "This run gives no result.",
    "no_result": "There is no result.",
    "no_volume": "No volume is recorded, so there are no air changes.",
    "flows_of_shares": (
        "F is the flow at 50 Pa by the rule set's own fit to the points as they then were; S is how far a correction "
        "moved it."
    ),
    "no_correction": "No correction is made.",
    "no_shares": "Without a flow at 50 Pa there are no shares.",
    "no_steps": "A record of this kind is not recomputed: there are no steps to show.",
    "no_runs": "This record holds no points: there are no steps to show.",
    "does_nothing": "Does nothing here.",
}

EXCLUSION_WORDS = {
    "points_dropped": "dropped by the source",
    "points_without_pressure": "no pressure",
    "points_extrapolated": "flow extrapolated",
    "points_without_flow": "no flow",
    "points_of_wrong_sign": "pressure zero or of the wrong sign",
}

_OF_RUN = re.compile(r"(.+)_(\d+)")


def symbol_words(symbol: str) -> str:
    """What a symbol stands for; those of several runs end in the number of the run. KeyError for an unknown one."""
    if symbol in SYMBOL_WORDS:
        return SYMBOL_WORDS[symbol]
    of_run = _OF_RUN.fullmatch(symbol)
    if of_run is None:
        raise KeyError(symbol)
    return f"{SYMBOL_WORDS[of_run[1]]}, run {of_run[2]}"


def remark_sentence(code: str) -> str:
    """The sentence for a remark, or for a note that a remark repeats. Raises KeyError for an unknown code."""
    return REMARKS[code] if code in REMARKS else NOTE_SENTENCES[code]
