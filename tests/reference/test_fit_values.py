"""The fit: certified regression, a synthetic multi-point set, one-point and two-point techniques, Student's t."""

from __future__ import annotations

from math import exp, log

import numpy as np
from check_values import VALUES, Value, holds_for

from interchange.analysis import areas, powerlaw

S_PER_H = 3600.0
CM2_PER_M2 = 1e4
RHO_0 = 1.2041  # kg/m3, reference density of the synthetic set's areas

NORRIS = VALUES["nist-norris-slope"].inputs
SYNTHETIC = VALUES["synthetic-mp-C"].inputs


def fit_of(x: list[float], y: list[float]) -> powerlaw.PowerLaw:
    return powerlaw.fit(np.array(x, dtype=np.float64), np.array(y, dtype=np.float64), np.array([0, len(x)]))


@holds_for("nist-norris-*")
def test_certified_regression_of_the_nist_set_norris(value: Value):
    """The fit is a straight line through whatever it is handed; here the certified set stands in for logarithms."""
    law = fit_of(NORRIS["x"], NORRIS["y"])
    value.holds(
        {
            "slope": law.exponent,
            "intercept": law.log_coefficient,
            "r2": law.correlation_r2,
            "se_slope": law.exponent_standard_error,
            "se_intercept": law.log_coefficient_standard_error,
        }[value.id.removeprefix("nist-norris-")]
    )


def synthetic_results() -> dict[str, float]:
    """Results of the synthetic set under the file's names, flows in m3/s and areas in cm2."""
    flows_m3_h = S_PER_H * np.array(SYNTHETIC["Q_m3_s"])
    law = fit_of(np.log(SYNTHETIC["dP_Pa"]).tolist(), np.log(flows_m3_h).tolist())
    ln_c, n = float(law.log_coefficient[0]), float(law.exponent[0])
    se_ln_c = float(law.log_coefficient_standard_error[0])
    t = float(powerlaw.student_t(law.point_count, 0.95)[0])
    n_low, n_high = powerlaw.exponent_limits(law)
    results = {
        "C": exp(ln_c) / S_PER_H,
        "n": n,
        "r": float(law.correlation_r2[0]) ** 0.5,
        "r2": float(law.correlation_r2[0]),
        "se_n": float(law.exponent_standard_error[0]),
        "se_lnC": se_ln_c,
        "n_lo95": float(n_low[0]),
        "n_hi95": float(n_high[0]),
        "C_lo95": exp(ln_c - t * se_ln_c) / S_PER_H,
        "C_hi95": exp(ln_c + t * se_ln_c) / S_PER_H,
    }
    for pressure_pa in (4, 10, 50):
        flow = float(powerlaw.flow_m3_h(law.log_coefficient, law.exponent, pressure_pa)[0]) / S_PER_H
        half_width = float(powerlaw.log_flow_half_width(law, pressure_pa)[0])
        results[f"Q{pressure_pa}"] = flow
        results[f"Q{pressure_pa}_lo95"] = flow * exp(-half_width)
        results[f"Q{pressure_pa}_hi95"] = flow * exp(half_width)
    for name, pressure_pa, discharge in (
        ("ELA4_cm2", 4, 1.0),
        ("EqLA10_cm2_Cd0.611", 10, 0.611),
        ("ISO_ELA10_cm2_Cd1", 10, 1.0),
    ):
        flow_m3_h = S_PER_H * results[f"Q{pressure_pa}"]
        results[name] = CM2_PER_M2 * float(areas.leakage_area_m2(flow_m3_h, pressure_pa, discharge, RHO_0))
    return results


@holds_for("synthetic-mp-*")
def test_synthetic_multi_point_set(value: Value):
    """Invented readings, worked out by statsmodels: they hold the algebra, not any standard's text."""
    value.holds(synthetic_results()[value.id.removeprefix("synthetic-mp-")])


@holds_for("synthetic-wls-*")
def test_synthetic_set_with_weights_of_the_square_of_the_pressure(value: Value):
    pressure, flow = np.array(SYNTHETIC["dP_Pa"]), np.array(SYNTHETIC["Q_m3_s"])
    law = powerlaw.fit(np.log(pressure), np.log(flow), np.array([0, pressure.size]), pressure**2)
    value.holds({"n": law.exponent, "C": np.exp(law.log_coefficient)}[value.id.removeprefix("synthetic-wls-")])


@holds_for("e1827-1pt")
def test_one_point_carried_to_50_pa(value: Value):
    """Any unit of flow will do: the power law only scales it."""
    i = value.inputs
    ln_c = powerlaw.one_point(log(i["dP"]), log(i["Q"]), i["n"])
    value.holds(powerlaw.flow_m3_h(ln_c, i["n"], 50.0))


@holds_for("e1827-2pt")
def test_exponent_from_two_points(value: Value):
    i = value.inputs
    x, y = np.log([i["P1"], i["P2"]]), np.log([i["Q1"], i["Q2"]])
    value.holds(powerlaw.fit(*powerlaw.drawn_together(x, y, np.array([0, 2]), 50.0, 12.5)).exponent)


@holds_for("e1827-4Pa-n-bias")
def test_error_at_4_pa_of_an_exponent_that_is_assumed_wrongly(value: Value):
    """True exponent 0.60 and 0.65 assumed, one point at 50 Pa, any flow: here 1800."""
    at_4 = [powerlaw.flow_m3_h(powerlaw.one_point(log(50), log(1800), n), n, 4.0) for n in (0.65, 0.60)]
    value.holds(at_4[0] / at_4[1] - 1)


@holds_for("t975-*")
def test_students_t(value: Value):
    """A line through N points leaves N - 2 degrees of freedom."""
    value.holds(powerlaw.student_t(np.array([value.inputs["dof"] + 2]), 0.95))
