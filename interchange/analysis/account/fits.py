"""Accounts of the fits and of what is made of the fitted line."""

from __future__ import annotations

import numpy as np

from interchange.analysis import air, areas, powerlaw
from interchange.analysis.account.corrections import (
    DENSITY_DIGITS,
    FACTOR_DIGITS,
    FLOW_DIGITS,
    PRESSURE_DIGITS,
    barometer,
    density,
    temperature,
    vapour,
)
from interchange.analysis.account.taken import Taken
from interchange.analysis.batch import Floats

SUM_DIGITS, EXPONENT_DIGITS, COEFFICIENT_DIGITS, ERROR_DIGITS = 9, 7, 7, 5  # [1] significant digits at most


def fit_power_law(taken: Taken) -> None:
    """The straight line through the logarithms: its sums, slope and intercept, and how sure they are."""
    book, work, run = taken.book, taken.after, taken.run
    if work.law is None or np.isnan(work.law.exponent[run]):
        book.remark("no_line")
        return
    law, weight = work.law, ""
    _, log_flow, offsets, weights = work.drawn(work.line)
    along, sums = work.sums(work.line)
    s_yy, rest = powerlaw.scatter(along, log_flow, sums)
    book.give("N", "1", float(law.point_count[run]), "count")
    if weights is not None:
        weight = "u * "
        book.give("a", "1", work.flow_power, "rules")
        book.reckon("W", "(m3/h)^a", "sum(Q^a)", weights[offsets[run] : offsets[run + 1]].sum(), SUM_DIGITS)
        share = powerlaw.of_mean_one(weights, offsets)[offsets[run] : offsets[run + 1]]
        book.reckon("u", "1", "N * Q^a / W", _like(book.terms["x"].values, share), SUM_DIGITS, level="point")
    for symbol, equation, value in (
        ("Sx", f"sum({weight}x)", along.mean_x[run] * law.point_count[run]),
        ("Sy", f"sum({weight}y)", sums.mean_y[run] * law.point_count[run]),
        ("xm", "Sx / N", along.mean_x[run]),
        ("ym", "Sy / N", sums.mean_y[run]),
        ("Sxx", f"sum({weight}(x - xm)^2)", along.xx[run]),
        ("Sxy", f"sum({weight}(x - xm) * (y - ym))", sums.xy[run]),
    ):
        book.reckon(symbol, "1", equation, value, SUM_DIGITS)
    book.reckon("n", "1", "Sxy / Sxx", law.exponent[run], EXPONENT_DIGITS)
    _coefficient(taken, "ym - n * xm", law.log_coefficient[run])
    if law.point_count[run] > 2:
        _errors(taken, weight, float(s_yy[run]), float(rest[run]))
    else:
        book.remark("two_points_have_no_limits")


def _errors(taken: Taken, weight: str, s_yy: float, rest: float) -> None:
    book, work, run = taken.book, taken.after, taken.run
    law = work.law
    assert law is not None
    book.reckon("Syy", "1", f"sum({weight}(y - ym)^2)", s_yy, SUM_DIGITS)
    book.reckon("R", "1", f"sum({weight}(y - ym - n * (x - xm))^2)", rest, ERROR_DIGITS)
    if book.terms["Syy"].printed()[0] > 0:
        book.reckon("r2", "1", "1 - R / Syy", law.correlation_r2[run], ERROR_DIGITS)
    else:
        book.remark("flows_all_alike")
    variance = rest / (float(law.point_count[run]) - 2.0)
    book.reckon("s2", "1", "R / (N - 2)", variance, ERROR_DIGITS)
    book.reckon("S_n", "1", "sqrt(s2 / Sxx)", law.exponent_standard_error[run], ERROR_DIGITS)
    error = law.log_coefficient_standard_error[run]
    book.reckon("S_lnC", "1", "S_n * sqrt(Sxx / N + xm^2)", error, ERROR_DIGITS)
    book.give("q", "1", work.confidence, "rules")
    book.give("t", "1", powerlaw.student_t(law.point_count, work.confidence)[run], "student", digits=EXPONENT_DIGITS)
    low, high = powerlaw.exponent_limits(law, work.confidence)
    book.reckon("n_low", "1", "n - t * S_n", low[run], EXPONENT_DIGITS)
    book.reckon("n_high", "1", "n + t * S_n", high[run], EXPONENT_DIGITS)


def _coefficient(taken: Taken, equation: str, log_coefficient: float) -> None:
    taken.book.reckon("lnC", "1", equation, log_coefficient, COEFFICIENT_DIGITS + 1)
    taken.book.reckon("C", "m3/h", "exp(lnC)", powerlaw.from_log(log_coefficient), COEFFICIENT_DIGITS)
    taken.book.coefficient = "C"


def _like(column: Floats, values: Floats) -> Floats:
    """Values of the rows in which a column has numbers; NaN in the others."""
    placed = np.full(column.size, np.nan)
    placed[np.isfinite(column)] = values
    return placed


def fit_two_point(taken: Taken) -> None:
    """The line through the mean readings at two pressures."""
    book, work, run = taken.book, taken.after, taken.run
    if work.law is None or work.drawn_to_pa is None or np.isnan(work.law.exponent[run]):
        book.remark("no_line")
        return
    log_pressure, log_flow, offsets, _ = work.drawn(work.line)
    high = powerlaw.at_primary(work.line.log_pressure, *work.drawn_to_pa)
    line = slice(*work.line.offsets[run : run + 2].tolist())
    for symbol, pressure in zip(("p_hi", "p_lo"), work.drawn_to_pa, strict=True):
        book.give(symbol, "Pa", pressure, "rules")
    book.give("h", "1", _like(book.terms["x"].values, high[line].astype(np.float64)), "station", "point")
    low_row, high_row = int(offsets[run]), int(offsets[run]) + 1
    for name, share, row in (("hi", "h", high_row), ("lo", "(1 - h)", low_row)):
        count = f"sum({share})"
        pressure, flow = np.exp(log_pressure[row]), np.exp(log_flow[row])
        book.reckon(f"d_{name}", "Pa", f"sum({share} * s * {book.pressure}) / {count}", pressure, PRESSURE_DIGITS)
        book.reckon(f"Q_{name}", "m3/h", f"sum({share} * Q) / {count}", flow, FLOW_DIGITS)
    book.reckon("n", "1", "ln(Q_hi / Q_lo) / ln(d_hi / d_lo)", work.law.exponent[run], EXPONENT_DIGITS)
    _coefficient(taken, "ln(Q_hi) - n * ln(d_hi)", work.law.log_coefficient[run])
    book.remark("two_points_have_no_limits")


def fit_one_point(taken: Taken) -> None:
    """The line through one point, with an exponent that is assumed."""
    book, work, run = taken.book, taken.after, taken.run
    if not work.exponent_assumed[run]:
        book.remark("not_one_point")
        return
    book.give("n", "1", work.exponent[run], "assumed")
    _coefficient(taken, "sum(y - n * x)", work.log_coefficient[run])


def to_reference_conditions(taken: Taken) -> None:
    """From the air in the leaks to air of the reference temperature and pressure."""
    book, work, run = taken.book, taken.after, taken.run
    rho = work.leak_air_kg_m3(work.barometer_pa, taken.arguments["humidity"])[run]
    if not book.coefficient:
        book.remark("no_coefficient")
        return
    if not temperature(taken, "T_leak", work.leak_air_c):
        return
    barometer(taken)
    if np.isnan(rho) or work.log_reference_factor is None:
        return
    at_c, at_pa = (float(taken.arguments[name]) for name in ("reference_temperature_c", "reference_pressure_pa"))
    book.give("T_ref", "Cel", at_c, "rules")
    book.give("p_ref", "Pa", at_pa, "rules")
    density(taken, "rho_leak", "T_leak", "p_b", rho, vapour(taken, "leak"))
    density(taken, "rho_ref", "T_ref", "p_ref", air.air_density_kg_m3(at_c, at_pa))
    equation = "(rho_leak / rho_ref)^(1 - n)"
    if taken.arguments["viscosity"]:
        equation += " * (mu_leak / mu_ref)^(2 * n - 1)"
        for symbol, of, air_c in (("mu_leak", "T_leak", work.leak_air_c[run]), ("mu_ref", "T_ref", at_c)):
            _viscosity(taken, symbol, of, air.dynamic_viscosity_pa_s(air_c))
    book.reckon("f_ref", "1", equation, np.exp(work.log_reference_factor[run]), FACTOR_DIGITS)
    coefficient = powerlaw.from_log(work.log_coefficient[run])
    book.reckon("C_ref", "m3/h", f"{book.coefficient} * f_ref", coefficient, COEFFICIENT_DIGITS)
    book.coefficient = "C_ref"


def _viscosity(taken: Taken, symbol: str, temperature_symbol: str, viscosity_pa_s: Floats) -> None:
    kelvin = f"({temperature_symbol} + {air.KELVIN:g})"
    equation = f"{air.SUTHERLAND_COEFFICIENT:g} * sqrt{kelvin} / (1 + {air.SUTHERLAND_TEMPERATURE_K:g} / {kelvin})"
    taken.book.reckon(symbol, "Pa s", equation, viscosity_pa_s, DENSITY_DIGITS)


def state_leakage_area(taken: Taken) -> None:
    """The flow of the line at the pressure of the leakage area; of several runs the mean is taken before the area."""
    book, work, run = taken.book, taken.after, taken.run
    if not book.coefficient:
        book.remark("no_coefficient")
        return
    assert work.leakage_area is not None
    pressure, discharge, rho = work.leakage_area
    flow = powerlaw.flow_m3_h(work.log_coefficient[run], work.exponent[run], pressure)
    book.give("p_A", "Pa", pressure, "rules")
    book.reckon("Q_A", "m3/h", f"{book.coefficient} * p_A^n", flow, COEFFICIENT_DIGITS)
    if work.direction.size > 1:
        book.remark("area_of_the_mean")
        return
    book.give("C_d", "1", discharge, "rules")
    book.give("rho_A", "kg/m3", rho, "rules")
    area = areas.leakage_area_m2(flow, pressure, discharge, rho)
    book.reckon("A", "m2", AREA, area, COEFFICIENT_DIGITS)


AREA = f"Q_A / {areas.S_PER_H:g} * sqrt(rho_A / (2 * p_A)) / C_d"
