"""Account of the result: flows at 50 and 10 Pa, means of runs, areas, and what each correction did to the flow."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from interchange.analysis import areas, powerlaw
from interchange.analysis.account.book import Book
from interchange.analysis.account.corrections import FLOW_DIGITS
from interchange.analysis.account.fits import AREA, COEFFICIENT_DIGITS, ERROR_DIGITS, EXPONENT_DIGITS
from interchange.analysis.combine import SAME_PRESSURE_PA, Means, flows_50_m3_h
from interchange.analysis.leakage import FLOW_PRESSURE_PA, LOW_FLOW_PRESSURE_PA, SHARES, Leakage
from interchange.analysis.work import Work

HIGH, LOW = f"{FLOW_PRESSURE_PA:g}", f"{LOW_FLOW_PRESSURE_PA:g}"


def of_run(run: int, work: Work, leakage: Leakage, book: Book) -> None:
    """Flows of one run's line at 50 and 10 Pa, with the limits that the scatter of its points sets."""
    values = {name: float(column[run]) for name, column in leakage.run.items()}
    if np.isnan(values["flow_50_m3_h"]):
        book.remark("run_without_result")
        return
    for symbol, pressure, name in (("Q50", HIGH, "flow_50_m3_h"), ("Q10", LOW, "flow_10_m3_h")):
        book.reckon(symbol, "m3/h", f"{book.coefficient} * {pressure}^n", values[name], COEFFICIENT_DIGITS)
    if np.isfinite(values["flow_50_low_m3_h"]) and work.law is not None:
        half = powerlaw.log_flow_half_width(work.law, FLOW_PRESSURE_PA, work.confidence)[run]
        book.reckon("e", "1", f"t * S_n * sqrt(Sxx / N + (ln({HIGH}) - xm)^2)", half, ERROR_DIGITS)
        book.reckon("Q50_low", "m3/h", "Q50 * exp(-e)", values["flow_50_low_m3_h"], COEFFICIENT_DIGITS)
        book.reckon("Q50_high", "m3/h", "Q50 * exp(e)", values["flow_50_high_m3_h"], COEFFICIENT_DIGITS)


def of_session(work: Work, leakage: Leakage, books: Sequence[Book], book: Book) -> None:
    """The result of the test out of those of its runs."""
    values = {name: float(column[0]) for name, column in leakage.session.items()}
    if np.isnan(values["flow_50_m3_h"]):
        book.remark("no_result")
        return
    runs = [(number, of) for number, of in enumerate(books, 1) if "Q50" in of.terms]
    if len(runs) == 1:
        for symbol in ("Q50", "Q10", "n", "A"):
            if symbol in runs[0][1].terms:
                book.carry(runs[0][1].terms[symbol], symbol)
    else:
        _means(work, leakage, runs, book, values)
    volume = float(work.batch.session["volume_m3"][0])
    if np.isfinite(values["air_change_50_per_h"]):
        book.give("V", "m3", volume, "recorded")
        book.reckon("ACH", "1/h", "Q50 / V", areas.air_changes_per_h(values["flow_50_m3_h"], volume), 6)
    else:
        book.remark("no_volume")
    if np.isfinite(values["difference_percent"]):
        _reported(work, book, values["difference_percent"])


def _means(
    work: Work, leakage: Leakage, runs: Sequence[tuple[int, Book]], book: Book, values: dict[str, float]
) -> None:
    means = _means_of(work, leakage)
    limits = all("n_high" in of.terms for _, of in runs)
    for number, of in runs:
        book.give(f"w_{number}", "1", means.weight[number - 1], "weight")
        for symbol in ("Q50", "Q10", "Q_A", *(("n", "n_high", "e") if limits else ())):
            if symbol in of.terms:
                book.carry(of.terms[symbol], f"{symbol}_{number}")

    def mean(symbol: str) -> str:
        return " + ".join(f"w_{number} * {symbol}_{number}" for number, _ in runs)

    book.reckon("Q50", "m3/h", mean("Q50"), values["flow_50_m3_h"], COEFFICIENT_DIGITS)
    book.reckon("Q10", "m3/h", mean("Q10"), values["flow_10_m3_h"], COEFFICIENT_DIGITS)
    book.reckon("n", "1", f"ln(Q50 / Q10) / ln({HIGH} / {LOW})", values["exponent"], EXPONENT_DIGITS)
    book.reckon("C", "m3/h", f"Q50 / {HIGH}^n", values["flow_coefficient_m3_h"], COEFFICIENT_DIGITS)
    if limits:
        spread = " + ".join(f"(w_{k} * Q50_{k} * e_{k})^2" for k, _ in runs)
        half = np.log(values["flow_50_high_m3_h"] / values["flow_50_m3_h"])
        book.reckon("e", "1", f"sqrt({spread}) / Q50", half, ERROR_DIGITS)
        book.reckon("Q50_low", "m3/h", "Q50 * exp(-e)", values["flow_50_low_m3_h"], COEFFICIENT_DIGITS)
        book.reckon("Q50_high", "m3/h", "Q50 * exp(e)", values["flow_50_high_m3_h"], COEFFICIENT_DIGITS)
        spread = " + ".join(f"(w_{k} * Q50_{k} * (n_high_{k} - n_{k}))^2" for k, _ in runs)
        half = values["exponent_high"] - values["exponent"]
        book.reckon("g", "1", f"sqrt({spread}) / Q50", half, ERROR_DIGITS)
        book.reckon("n_low", "1", "n - g", values["exponent_low"], EXPONENT_DIGITS)
        book.reckon("n_high", "1", "n + g", values["exponent_high"], EXPONENT_DIGITS)
    if work.leakage_area is not None:
        pressure, discharge, rho = work.leakage_area
        flow = means.of(powerlaw.flow_m3_h(work.log_coefficient, work.exponent, pressure))[0]
        book.reckon("Q_A", "m3/h", mean("Q_A"), flow, COEFFICIENT_DIGITS)
        for symbol, unit, value in (("p_A", "Pa", pressure), ("C_d", "1", discharge), ("rho_A", "kg/m3", rho)):
            book.give(symbol, unit, value, "rules")
        book.reckon("A", "m2", AREA, values["leakage_area_m2"], COEFFICIENT_DIGITS)


def _reported(work: Work, book: Book, difference_percent: float) -> None:
    session = {name: float(column[0]) for name, column in work.batch.session.items()}
    if abs(session["reported_flow_pressure_pa"] - FLOW_PRESSURE_PA) < SAME_PRESSURE_PA and np.isfinite(
        session["reported_flow_m3_h"]
    ):
        book.give("Q50_rep", "m3/h", session["reported_flow_m3_h"], "reported")
    else:
        book.give("ACH_rep", "1/h", session["reported_air_change_50_per_h"], "reported")
        flow = session["reported_air_change_50_per_h"] * session["volume_m3"]
        book.reckon("Q50_rep", "m3/h", "ACH_rep * V", flow, COEFFICIENT_DIGITS)
    book.reckon("D", "%", "100 * (Q50 / Q50_rep - 1)", difference_percent, ERROR_DIGITS)


def shares(work: Work, leakage: Leakage, stages: Sequence[str], book: Book) -> None:
    """Flow at 50 Pa after each of the corrections that were made, and by how many per cent each moved it.

    The factors 1 + share / 100 multiply to the whole way from the flow as displayed to the flow of the rule set.
    """
    flows = [float(flow[0]) for flow in flows_50_m3_h(work, _means_of(work, leakage))]
    first, last, before = np.nan, np.nan, ""
    product: list[str] = []
    for name, flow in zip(("displayed", *SHARES), flows, strict=True):
        stage = name.removeprefix("share_").removesuffix("_percent")
        if stage not in ("displayed", *stages):
            continue
        if np.isnan(flow):  # some points have no flow yet: shares begin behind
            before, product = "", []
            continue
        book.give(f"F_{stage}", "m3/h", flow, "line_then", digits=FLOW_DIGITS)
        if before:
            book.reckon(f"S_{stage}", "%", f"100 * (F_{stage} / {before} - 1)", leakage.session[name][0], 6)
            product.append(f"(1 + S_{stage} / 100)")
        else:
            first = flow
        before, last = f"F_{stage}", flow
    if product:
        book.reckon("whole", "1", " * ".join(product), last / first, 7)
    book.remark("flows_of_shares" if product else "no_correction" if before else "no_shares")


def _means_of(work: Work, leakage: Leakage) -> Means:
    return Means(work, np.isfinite(np.asarray(leakage.run["flow_50_m3_h"], dtype=np.float64)))
