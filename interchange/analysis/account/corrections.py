"""Accounts of the corrections: how each pressure and each flow was changed, point by point.

A remark is made of what no note of the step itself says.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import air, baseline, fan, points, ragged
from interchange.analysis.account.taken import Taken
from interchange.analysis.batch import Floats
from interchange.analysis.leakage import EXCLUSIONS
from interchange.analysis.work import BY_CALIBRATION, DEPRESSURISATION, ENVELOPE_BASIS, SUMMED_BASIS

# [1] significant digits at most; a pocket calculator has 8 to 10
PRESSURE_DIGITS, DENSITY_DIGITS, FACTOR_DIGITS, FLOW_DIGITS, LOG_DIGITS = 9, 9, 9, 8, 8


def begin(taken: Taken) -> None:
    """What was recorded: pressures and flows."""
    book = taken.book
    book.give("p", "Pa", taken.of_points("envelope_pressure_pa"), "recorded", "point")
    book.give("Q_shown", "m3/h", taken.of_readings("flow_m3_h"), "recorded", "reading")
    book.pressure, book.flow = "p", "Q_shown"


def assume_air_pressure(taken: Taken) -> None:
    """Air pressure taken for granted where none is known."""
    if np.isfinite(taken.before.barometer_pa[taken.run]):
        taken.book.remark("barometer_known")
    barometer(taken)


def barometer(taken: Taken) -> None:
    """Write where the air pressure comes from, where there is one."""
    book, work = taken.book, taken.after
    pressure = float(work.barometer_pa[taken.run])
    if "p_b" in book.terms or np.isnan(pressure):
        return
    if np.isfinite(taken.of_session("barometric_pressure_pa")):
        book.give("p_b", "Pa", pressure, "recorded")
    elif work.from_elevation[taken.run]:
        book.give("z", "m", taken.of_session("elevation_m"), "recorded")
        equation = f"{air.STANDARD_PRESSURE_PA:g} * (1 - {air.LAPSE_PER_M:g} * z)^{air.LAPSE_EXPONENT:g}"
        book.reckon("p_b", "Pa", equation, pressure, PRESSURE_DIGITS)
    else:
        book.give("p_b", "Pa", pressure, "assumed")


def vapour(taken: Taken, where: str) -> str:
    """Write the vapour pressure of the air in the "fan" or in the "leak" of a rule set that reckons with humidity.

    Its symbol; empty where the air counts as dry.
    """
    book, work, run = taken.book, taken.after, taken.run
    recorded, air_c = (work.fan_humidity, work.fan_air_c) if where == "fan" else (work.leak_humidity, work.leak_air_c)
    if not taken.arguments["humidity"] or np.isnan(recorded[run]):
        return ""
    indoors = (int(work.direction[run]) == DEPRESSURISATION) == (where == "fan")
    book.give(f"phi_{where}", "1", float(recorded[run]), "indoors" if indoors else "outdoors")
    if f"pv_{where}" not in book.terms:
        kelvin, constant = f"(T_{where} + {air.KELVIN:g})", f"{air.VAPOUR_CONSTANT!r}"
        saturated = f"exp({constant} - {air.VAPOUR_INVERSE_K!r} / {kelvin} - {air.VAPOUR_LOGARITHM!r} * ln{kelvin})"
        pressure = recorded[run] * air.saturation_vapour_pressure_pa(air_c[run])
        book.reckon(f"pv_{where}", "Pa", f"phi_{where} * {saturated}", pressure, PRESSURE_DIGITS)
    return f"pv_{where}"


def density(
    taken: Taken,
    symbol: str,
    temperature_symbol: str,
    pressure_symbol: str,
    density_kg_m3: Floats,
    vapour_symbol: str = "",
) -> None:
    """Write a density of air out of the symbols of its temperature, its pressure, and its vapour unless it is dry."""
    dry = (
        f"({pressure_symbol} - {air.VAPOUR_DENSITY_DEFICIT!r} * {vapour_symbol})" if vapour_symbol else pressure_symbol
    )
    equation = f"{dry} / ({air.GAS_CONSTANT_DRY_AIR:g} * ({temperature_symbol} + {air.KELVIN:g}))"
    taken.book.reckon(symbol, "kg/m3", equation, density_kg_m3, DENSITY_DIGITS)


def temperature(taken: Taken, symbol: str, air_c: Floats) -> bool:
    """Write the temperature of the air in the fan ("T_fan") or in the leaks, and whether it is known."""
    value, direction = float(air_c[taken.run]), int(taken.after.direction[taken.run])
    if np.isfinite(value):
        indoors = (direction == DEPRESSURISATION) == (symbol == "T_fan")
        taken.book.give(symbol, "Cel", value, "indoors" if indoors else "outdoors")
    elif direction < 0:
        taken.book.remark("direction_unknown")
    return symbol in taken.book.terms


def subtract_baseline(taken: Taken) -> None:
    """The baseline, and the pressures without it."""
    book = taken.book
    removed = taken.of_points("baseline_removed") == 1
    recorded = {
        "p_before": taken.of_run("baseline_before_pressure_pa"),
        "p_after": taken.of_run("baseline_after_pressure_pa"),
    }
    known = [symbol for symbol, value in recorded.items() if np.isfinite(value)]
    if not known or removed.all():
        return
    if removed.any():
        book.remark("baseline_partly_removed")
    for symbol in known:
        book.give(symbol, "Pa", recorded[symbol], "recorded")
    _baseline(taken, known, *(np.array([value]) for value in recorded.values()))
    induced = taken.after.induced_pa[taken.points]
    book.reckon("dp", "Pa", f"{book.pressure} - p0", induced, PRESSURE_DIGITS, level="point", holds=~removed)
    book.pressure = "dp"


def _baseline(taken: Taken, known: list[str], before_pa: Floats, after_pa: Floats) -> None:
    """The baseline that is subtracted, by the form that the rule set asks for."""
    book, form = taken.book, taken.arguments["form"]
    if len(known) == 1 or form == "before":
        value = baseline.first_baseline_pa(before_pa, after_pa)
        book.reckon("p0", "Pa", known[0], value, PRESSURE_DIGITS)
    elif form == "mean":
        value = baseline.mean_baseline_pa(before_pa, after_pa)
        book.reckon("p0", "Pa", "(p_before + p_after) / 2", value, PRESSURE_DIGITS)
    else:
        count = taken.points.stop - taken.points.start
        book.give("k", "1", np.arange(1.0, count + 1.0), "count", "point")
        book.give("k_end", "1", count + 1.0, "count")
        value = baseline.interpolated_baseline_pa(before_pa, after_pa, np.array([0, count]))
        equation = "p_before + (p_after - p_before) * k / k_end"
        book.reckon("p0", "Pa", equation, value, PRESSURE_DIGITS, level="point")


def apply_fan_calibration(taken: Taken) -> None:
    """The flow out of the fan pressure, by a power law or between two rows of a table."""
    book, batch = taken.book, taken.after.batch
    pressure = np.abs(taken.of_readings("fan_pressure_pa"))
    row = taken.after.calibration_row[taken.readings]
    concerned = taken.has_basis(*BY_CALIBRATION) & ~taken.has_basis(SUMMED_BASIS)
    if not concerned.all():
        book.remark("some_flows_not_by_calibration" if concerned.any() else "no_flow_by_calibration")
    offsets = batch.calibration_point_offsets
    first, last = np.append(offsets[:-1], 0)[row], np.append(offsets[1:], 0)[row] - 1
    table_pa, table_m3_h = (
        np.append(batch.calibration_point[name], np.nan)
        for name in ("calibration_pressure_pa", "calibration_flow_m3_h")
    )
    tabled = last >= first
    coefficient, exponent = (
        taken.after.of_calibration(name)[taken.readings] for name in ("fan_coefficient_m3_h", "fan_exponent")
    )
    by_law = concerned & ~tabled & np.isfinite(coefficient * exponent * pressure)
    by_table = concerned & tabled & (pressure >= table_pa[first]) & (pressure <= table_pa[last])
    if (by_law | by_table).any():
        book.give("P", "Pa", pressure, "recorded", "reading")
    if by_law.any():
        book.give_folded("c", "m3/h", np.where(by_law, coefficient, np.nan), "stated")
        book.give_folded("m", "1", np.where(by_law, exponent, np.nan), "stated")
        _next_flow(taken, "Q_cal", "c * P^m", by_law)
    if by_table.any():
        low, high = np.zeros((2, row.size), dtype=np.int64)
        low[by_table], high[by_table] = fan.rows_around(pressure[by_table], first[by_table], last[by_table], table_pa)
        for symbol, unit, column, at in (
            ("P_1", "Pa", table_pa, low),
            ("P_2", "Pa", table_pa, high),
            ("Q_1", "m3/h", table_m3_h, low),
            ("Q_2", "m3/h", table_m3_h, high),
        ):
            book.give(symbol, unit, np.where(by_table, column[at], np.nan), "stated", "reading")
        _next_flow(taken, "Q_tab", "Q_1 * (P / P_1)^(ln(Q_2 / Q_1) / ln(P_2 / P_1))", by_table)


def correct_fan_density(taken: Taken) -> None:
    """From the air of the calibration to the air in the fan."""
    book, work = taken.book, taken.after
    concerned = taken.has_basis(*BY_CALIBRATION)
    if not concerned.all():
        book.remark("some_flows_not_by_calibration" if concerned.any() else "no_flow_by_calibration")
    stated = work.of_calibration("reference_air_density_kg_m3")[taken.readings]
    assumed = taken.arguments.get("assumed_reference_air_density_kg_m3")
    reference = np.where(concerned, np.where(np.isnan(stated), assumed or np.nan, stated), np.nan)
    rho = work.fan_air_kg_m3(work.barometer_pa, taken.arguments["humidity"])[taken.run]
    if not concerned.any() or not temperature(taken, "T_fan", work.fan_air_c) or np.isnan(reference).all():
        return
    barometer(taken)
    if np.isnan(rho):
        return
    density(taken, "rho_fan", "T_fan", "p_b", rho, vapour(taken, "fan"))
    from_rules = np.isnan(stated[concerned])
    book.give_folded("rho_cal", "kg/m3", reference, "assumed" if from_rules.all() else "stated")
    if from_rules.any() and not from_rules.all():
        book.remark("calibration_density_partly_assumed")
    level, values = book.terms["rho_cal"].level, book.terms["rho_cal"].values
    factor = fan.fan_density_factor(values, rho)
    book.reckon("f_fan", "1", "sqrt(rho_cal / rho_fan)", factor, FACTOR_DIGITS, level=level)
    _next_flow(taken, "Q_fan", f"{book.flow} * f_fan", np.isfinite(reference))


def apply_elevation_factor(taken: Taken) -> None:
    """The factor of the rule set for the elevation of the site."""
    book, elevation = taken.book, taken.of_session("elevation_m")
    concerned = taken.has_basis(*BY_CALIBRATION)
    if not concerned.all():
        book.remark("some_flows_not_by_calibration" if concerned.any() else "no_flow_by_calibration")
    if not concerned.any() or np.isnan(elevation):
        return
    book.give("z", "m", elevation, "recorded")
    if not elevation > taken.arguments["from_m"]:
        book.remark("site_not_high")
        return
    book.give("b", "/m", float(taken.arguments["per_m"]), "rules")
    book.reckon("f_high", "1", "1 + b * z", 1.0 + taken.arguments["per_m"] * elevation, FACTOR_DIGITS)
    _next_flow(taken, "Q_high", f"{book.flow} * f_high", concerned)


def correct_envelope_density(taken: Taken) -> None:
    """From the air in the fan to the air in the leaks."""
    book, work = taken.book, taken.after
    concerned = ~taken.has_basis(ENVELOPE_BASIS)
    if not concerned.all():
        book.remark("some_flows_of_envelope" if concerned.any() else "flow_is_of_envelope")
    if not concerned.any() or not temperature(taken, "T_fan", work.fan_air_c):
        return
    if not temperature(taken, "T_leak", work.leak_air_c):
        return
    of_fan, of_leak = vapour(taken, "fan"), vapour(taken, "leak")
    at, humid = (air.STANDARD_PRESSURE_PA, "p_s"), bool(of_fan or of_leak)
    if humid and np.isfinite(work.barometer_pa[taken.run]):
        barometer(taken)
        at = float(work.barometer_pa[taken.run]), "p_b"
    else:
        book.give("p_s", "Pa", air.STANDARD_PRESSURE_PA, "assumed" if humid else "cancels")
    in_fan, in_leaks = (of(at[0], humid)[taken.run] for of in (work.fan_air_kg_m3, work.leak_air_kg_m3))
    density(taken, "rho_f", "T_fan", at[1], in_fan, of_fan)
    density(taken, "rho_l", "T_leak", at[1], in_leaks, of_leak)
    book.reckon("f_leak", "1", "rho_f / rho_l", fan.envelope_density_factor(in_fan, in_leaks), FACTOR_DIGITS)
    _next_flow(taken, "Q_leak", f"{book.flow} * f_leak", concerned)


def _next_flow(taken: Taken, symbol: str, equation: str, holds: NDArray[np.bool_]) -> None:
    """Write the flows after the step; rows in which it does not hold carry on what they had."""
    book = taken.book
    flow = np.where(holds, taken.after.flow_m3_h[taken.readings], book.terms[book.flow].values)
    book.reckon(symbol, "m3/h", equation, flow, FLOW_DIGITS, level="reading", holds=holds)
    book.flow = symbol


def gather(taken: Taken) -> None:
    """Which points the fit may use, and their logarithms."""
    book, work = taken.book, taken.after
    left_out = points.reasons(work)[taken.points]
    used = left_out < 0
    book.parts[-1].reasons = ["" if code < 0 else EXCLUSIONS[code] for code in left_out.tolist()]
    if not used.any():
        book.remark("no_usable_point")
        return
    known = work.direction[taken.run] >= 0
    sign = points.signs(work.batch, work.direction, work.induced_pa)[taken.run]
    book.give("s", "1", sign, "direction" if known else "by_pressures")
    flow = ragged.sums(work.flow_m3_h[taken.readings], book.reading_offsets)
    several = (ragged.counts(book.reading_offsets) != 1).any()
    equation = f"total({book.flow})" if several else book.flow
    line = slice(*work.line.offsets[taken.run : taken.run + 2].tolist())
    for symbol, unit, equation_, values, digits in (
        ("Q", "m3/h", equation, flow[used], FLOW_DIGITS),
        ("x", "1", f"ln(s * {book.pressure})", work.line.log_pressure[line], LOG_DIGITS),
        ("y", "1", "ln(Q)", work.line.log_flow[line], LOG_DIGITS),
    ):
        column = np.full(used.size, np.nan)
        column[used] = values
        book.reckon(symbol, unit, equation_, column, digits, level="point")
