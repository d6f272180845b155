"""Names of what is computed: results, best estimate, uncertainty, checks, verdicts."""

from __future__ import annotations

from interchange.quantities.quantity import Quantity
from interchange.quantities.quantity import quantity as _q

_AT = (50, 10, 4)  # [Pa]
_PARTS = (
    ("zero_noise", "what baselines do not average out"),
    ("zero_shift", "what the zero moved between the baselines beyond their noise"),
    ("point_noise", "noise of the points, where the line is known best"),
    ("fitted_exponent", "what that noise adds away from there"),
    ("gauge_gain", "the pressure gauge's error that grows with the reading"),
    ("gauge_offset", "the pressure gauge's error that does not grow with it"),
    ("fan_flow", "the accuracy of the fan's flow"),
    ("assumed_exponent", "an exponent that was assumed"),
    ("outdoor_temperature", "an outdoor temperature that is not recorded"),
    ("indoor_temperature", "an indoor temperature that is not recorded"),
)

TABLE: tuple[Quantity, ...] = (
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
    _q("flow_4_m3_h", "m3/h", "flow through the envelope at 4 Pa"),
    *(_q(f"flow_{p}_full_low_m3_h", "m3/h", f"lower 95 % limit of that flow at {p} Pa, by the budget") for p in _AT),
    *(_q(f"flow_{p}_full_high_m3_h", "m3/h", f"upper 95 % limit of that flow at {p} Pa, by the budget") for p in _AT),
    _q("air_change_50_per_h", "/h", "air changes an hour at 50 Pa"),
    _q("air_permeability_50_m3_h_m2", "m3/h/m2", "flow at 50 Pa for each square metre of envelope"),
    _q("specific_leakage_rate_50_m3_h_m2", "m3/h/m2", "flow at 50 Pa for each square metre of floor"),
    _q("specific_leakage_area", "1", "effective leakage area at 4 Pa over floor area, discharge coefficient 1"),
    _q("normalised_leakage", "1", "specific leakage area times 1000, brought to a height of one storey, 2.5 m"),
    _q("leakage_area_m2", "m2", "effective leakage area"),
    _q("leakage_area_pressure_pa", "Pa", "pressure the leakage area is stated for"),
    _q("leakage_area_discharge_coefficient", "1", "discharge coefficient the leakage area is stated with"),
    _q("displayed_flow_50_m3_h", "m3/h", "flow at 50 Pa as the gauge displayed it, without any correction"),
    _q("difference_percent", "%", "recomputed flow at 50 Pa against the reported one"),
    _q("readings_below_calibration", "1", "fan readings below the range of the fan's calibration"),
    _q("readings_above_calibration", "1", "fan readings above the range of the fan's calibration"),
    _q("share_baseline_percent", "%", "part of the change from the displayed flow that comes from the baseline"),
    _q("share_calibration_percent", "%", "part of the change that comes from the fan calibration"),
    _q("share_fan_density_percent", "%", "part of the change that comes from the air density in the fan"),
    _q("share_envelope_density_percent", "%", "part of the change that comes from the air density in the leaks"),
    _q("share_reference_percent", "%", "part of the change that comes from reference conditions"),
    _q("points_found_in_trace", "", "whether points and baselines were found in the log of a test that names none"),
    _q("tests_in_log", "1", "tests that such a log holds one after the other"),
    _q("tests_left_out", "1", "tests of such a log that are not used, as they cannot be repeats of the first"),
    _q("note", "", "what is assumed or absent in the calculation"),
    _q("conforms", "", "whether the test leaks no more than the thresholds of the rule set allow"),
    _q("threshold_value", "", "what is held against the threshold, in 1/h or m3/(h m2)"),
    _q("threshold_limit", "", "the threshold that is for the test, in 1/h or m3/(h m2)"),
    _q("conforms_because", "", "which threshold of the rule set is for the test, and why nobody can tell"),
    _q("share_fit_percent", "%", "part of the change between two rule sets that comes from the fit"),
    _q("other_rule_set", "", "rule set and edition that another one is compared with"),
    _q("other_flow_50_m3_h", "m3/h", "flow through the envelope at 50 Pa by the other rule set"),
    _q("change_percent", "%", "flow at 50 Pa by the other rule set against that by the one"),
    _q(
        "verdict_changes", "", "uses whose verdict changes from the one rule set to the other, and the checks behind it"
    ),
    # best estimate in wind and budget of uncertainty
    *(_q(f"robust_flow_{p}_m3_h", "m3/h", f"best estimate in wind of the flow at {p} Pa") for p in _AT),
    *(_q(f"robust_flow_{p}_low_m3_h", "m3/h", f"lower 95 % limit of that flow at {p} Pa") for p in _AT),
    *(_q(f"robust_flow_{p}_high_m3_h", "m3/h", f"upper 95 % limit of that flow at {p} Pa") for p in _AT),
    *(_q(f"robust_prior_moved_flow_{p}_percent", "%", f"how far its prior moved that at {p} Pa") for p in _AT),
    _q("robust_flow_coefficient_m3_h", "m3/h", "best estimate in wind of the flow through the envelope at 1 Pa"),
    _q("robust_exponent", "1", "best estimate in wind of the flow exponent"),
    _q("robust_exponent_low", "1", "lower end of the 95 % interval of that exponent"),
    _q("robust_exponent_high", "1", "upper end of the 95 % interval of that exponent"),
    _q("robust_exponent_prior_share", "1", "share of its prior, what is usual for houses, in that exponent, 0 to 1"),
    _q("robust_prior_exponent", "1", "exponent that was taken for usual before the readings"),
    _q("robust_prior_exponent_sd", "1", "standard deviation of exponents among such houses"),
    _q("robust_prior_moved_exponent", "1", "how far its prior moved that exponent"),
    _q("robust_zero_pressure_pa", "Pa", "best estimate in wind of the pressure with the fan off"),
    _q("robust_turbulence_pa", "Pa", "standard deviation of single pressure readings that the estimate found likely"),
    *(
        _q(f"robust_difference_{p}_percent", "%", f"that estimate at {p} Pa against the result of the rule set")
        for p in _AT
    ),
    *(_q(f"robust_differs_{p}", "", f"whether the two differ at {p} Pa beyond the noise of either") for p in _AT),
    *(
        _q(f"{name}_{p}_percent", "%", f"standard uncertainty of the flow at {p} Pa from {words}")
        for name, words in _PARTS
        for p in (50, 10)
    ),
    # what wind has made of the result
    _q("line_fault", "", "fault of reference line or handling"),
    _q("line_fault_state", "", "what is to be done about it, if the record can tell"),
    _q("probability", "1", "how likely the fault is"),
    _q("effect_50_percent", "%", "what the fault can do to the flow at 50 Pa"),
    _q("effect_10_percent", "%", "what the fault can do to the flow at 10 Pa"),
    _q("onset_s", "s", "when the fault set in, from the beginning of the test"),
    _q("wind_flow_50_probability", "1", "probability that wind has moved the flow at 50 Pa too far"),
    _q("wind_low_probability", "1", "probability that wind has moved the flow at 10 Pa, or a low point, too far"),
    _q("wind_flow_50_by_noise_probability", "1", "the same of the flow at 50 Pa by the size of the noise alone"),
    _q("wind_low_by_noise_probability", "1", "the same of low pressures by the size of the noise alone"),
    *(
        _q(f"wind_error_{p}{end}_percent", "%", f"{words} wind has made of the flow at {p} Pa")
        for p in (50, 10)
        for end, words in (
            ("", "by the readings, what"),
            ("_low", "lower end of the 90 % interval of what"),
            ("_high", "upper end of the 90 % interval of what"),
        )
    ),
    _q("wind_evidence", "", "what that is judged by: traces, averages with spreads, points alone, one point"),
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
    _q("decision", "", "what a reviewer decided of the test"),
    _q("suggested_decision", "", "what the checks suggest to decide"),
    _q("decision_number", "1", "number of the decision, in the order of commits"),
    _q("decided_at_utc", "", "when it was decided"),
    _q("decided_by", "", "pseudonym of the person who decided", personal=True),
    _q("decided_why", "", "why it was decided so", personal=True),
    _q("decided_on_current", "", "whether the test still is as it was when it was decided on"),
    _q("flow_at_50", "", "verdict for the flow at 50 Pa"),
    _q("low_pressure_and_exponent", "", "verdict for the flow at low pressure and the exponent"),
    _q("before_after", "", "verdict for comparing before and after"),
    _q("publishable", "", "verdict for publication"),
)
