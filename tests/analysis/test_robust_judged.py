"""The estimate in wind and the budget of the standard result before the judge: tests simulated by another hand.

What is scored: errors of ln flow against the judge's truth at its reference conditions; ratios are those of the
estimate over those of the standard procedure of the same tests (mean baseline, unweighted log-log line for each
direction, mean of directions). Both have the error of the fan's calibration in common, 2 %, and none can go below it;
ratios "beside calibration" are those of what is left when that error, which the judge knows, is taken from both.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

import judged
import numpy as np
import pytest
from numpy.typing import NDArray

from interchange.analysis import ragged, robust, robust_noise, uncertainty
from interchange.analysis.robust import Estimate, estimate
from interchange.analysis.work import Work
from tests.judge import Fan, Simulated

Array = NDArray[np.float64]
FIGURES = Path(__file__).parents[1] / "benchmarks" / "figures" / "robust_judged.json"
LIMITS = 3.0**0.5  # limits of a rectangular distribution over its standard deviation
PRESSURES = (50, 10)
COVERED = (92.0, 98.0)  # [%] what an interval of 95 % may hold
# [%] median half-width at 50 Pa, of which calibration alone is 4.0; an open end at 7 to 11 m/s does not keep 5
HALF_WIDTH_50 = {"windy, open end, ten points": 5.5}
# [1] RMS ratio at 10 Pa beside calibration in a breeze: 0.7, but for one end behind a screen
BREEZY_RMS_10 = {"breezy, sheltered end, ten points": 0.8}
SAMPLING_PERCENT = 1.0  # [%] two standard errors, and some, of a coverage of 95 to 98 % counted in 1,080 tests


@dataclass(frozen=True)
class Scored:
    """Errors of ln flow at a pressure: estimate, standard procedure, and limits less truth; error of calibration."""

    estimate: Array
    standard: Array
    low: Array
    high: Array
    calibration: Array

    def row(self) -> dict[str, float]:
        def ratio(of: str, calibration: Array | float) -> float:
            top, below = np.abs(self.estimate - calibration), np.abs(self.standard - calibration)
            if of == "rms":
                return round(float(np.sqrt(np.mean(top**2) / np.mean(below**2))), 3)
            return round(float(np.quantile(top, float(of)) / np.quantile(below, float(of))), 3)

        found = {
            "coverage_percent": round(100 * float(np.mean((self.low <= 0) & (self.high >= 0))), 1),
            "median_half_width_percent": round(100 * float(np.median((self.high - self.low) / 2)), 2),
            "mean_error_percent": round(100 * float(np.mean(self.estimate)), 2),
            "rms_error_percent": round(100 * float(np.sqrt(np.mean(self.estimate**2))), 2),
        }
        for name, part in (("", 0.0), ("_beside_calibration", self.calibration)):
            found[f"rms_ratio{name}"] = ratio("rms", part)
            found[f"median_ratio{name}"] = ratio("0.5", part)
            found[f"p95_ratio{name}"] = ratio("0.95", part)
        return found


def gear(tests: int) -> uncertainty.Instruments:
    """The judge's instruments as a certificate would state them: limits, root 3 of their standard deviations."""
    gauge, fan = Fan().gauge, Fan()
    each = np.ones(tests) * LIMITS
    return uncertainty.instruments(each * gauge.offset_sd_pa, each * gauge.gain_sd, each * fan.flow_gain_sd)


def truths(tests: Sequence[Simulated], pressure: float) -> Array:
    return np.array([np.log(t.truth.coefficient_m3_h * pressure**t.truth.exponent) for t in tests])


def calibration_errors(tests: Sequence[Simulated]) -> Array:
    first = [test.runs[0] for test in tests]
    return np.array([np.log(r.opening_coefficient_m3_h[0] / Fan().coefficient_m3_h(int(r.opening[0]))) for r in first])


def standard(work: Work, pressure: float) -> Array:
    """ln flow of the standard procedure: mean of each direction's line."""
    at = work.log_coefficient + work.exponent * np.log(pressure)
    return np.log(ragged.means(np.exp(at), work.batch.run_offsets))


def scored(tests: Sequence[Simulated], work: Work, found: Estimate, pressure: int) -> Scored:
    truth = truths(tests, pressure)
    here, low, high = (np.log(found.session[f"robust_flow_{pressure}{end}_m3_h"]) for end in ("", "_low", "_high"))
    assert np.isfinite(here).mean() > 0.995
    kept = np.isfinite(here)
    parts = (here - truth, standard(work, pressure) - truth, low - truth, high - truth, calibration_errors(tests))
    return Scored(*(part[kept] for part in parts))


def budget_rows(tests: Sequence[Simulated], work: Work) -> dict[int, dict[str, float]]:
    """Coverage and half-width of the budget about the standard value."""
    found = uncertainty.budget(work, gear=gear(len(tests)))
    rows = {}
    for column, pressure in enumerate(PRESSURES):
        error = standard(work, pressure) - truths(tests, pressure)
        half = uncertainty.COVERAGE_FACTOR * found.total[:, column]
        rows[pressure] = {
            "coverage_percent": round(100 * float(np.mean(np.abs(error) <= half)), 1),
            "median_half_width_percent": round(100 * float(np.median(half)), 2),
        }
    return rows


def rows(tests: Sequence[Simulated], *kinds: str) -> dict[str, dict[int, dict[str, float]]]:
    """Rows of one cell by what is recorded of its tests, then by pressure."""
    batch = judged.to_batch(tests)
    work = judged.worked(batch)
    absent = np.full(len(tests), -1, dtype=np.int8)
    untold = replace(batch, session={**batch.session, "arrangement": absent})
    as_open_end = robust.Prior(facades=robust_noise.AS_OPEN_END)
    known = {"instruments": gear(len(tests)), "reference_temperature_c": 20.0}
    found = {}
    for kind in kinds:
        if kind == "standard":
            found[kind] = budget_rows(tests, work)
            continue
        if kind in ("averages", "single point"):
            result = estimate(work, **known)
        elif kind == "no spreads":
            result = estimate(judged.worked(judged.to_batch(tests, spreads=False)), **known)
        elif kind == "arrangement untold":
            result = estimate(judged.worked(untold), **known)
        elif kind == "arrangement untold, as open end":
            result = estimate(judged.worked(untold), prior=as_open_end, **known)
        elif kind == "trace":
            result = estimate(work, traced=judged.traced(tests), **known)
        else:
            both, traced = judged.second_line(tests)
            result = estimate(judged.worked(both), traced=traced, **known)
        found[kind] = {pressure: scored(tests, work, result, pressure).row() for pressure in PRESSURES}
    return found


Table = Mapping[str, Mapping[str, Mapping[int, Mapping[str, float]]]]


def beyond(table: Table, slack_percent: float = 0.0, wider: float = 1.0) -> list[str]:
    """Every promise that a table breaks: coverage by more than a slack, others by more than a factor.

    Few tests need both.
    """
    broken = []

    def hold(cell: str, kind: str, pressure: int, name: str, least: float, most: float) -> None:
        value = table[cell][kind][pressure][name]
        if name == "coverage_percent":
            least, most = least - slack_percent, most + slack_percent
        else:
            most *= wider
        if not least <= value <= most:
            broken.append(f"{cell}, {kind}, {pressure} Pa: {name} {value}, expected {least} to {most}")

    for cell, kinds in table.items():
        wind = cell.split(",")[0]
        for kind in kinds:
            for pressure in PRESSURES:
                if kind in ("averages", "trace", "single point") or (kind == "standard" and wind == "still"):
                    hold(cell, kind, pressure, "coverage_percent", *COVERED)
                if kind in ("averages", "trace") and wind == "still":
                    hold(cell, kind, pressure, "rms_ratio", 0.0, 1.03)
            if kind in ("averages", "trace") and wind != "still":
                hold(cell, kind, 50, "median_half_width_percent", 0.0, HALF_WIDTH_50.get(cell, 5.0))
                hold(cell, kind, 10, "median_half_width_percent", 0.0, 15.0)
            if kind in ("averages", "trace") and wind == "breezy":
                hold(cell, kind, 10, "rms_ratio_beside_calibration", 0.0, BREEZY_RMS_10.get(cell, 0.7))
            if kind in ("averages", "trace") and wind == "windy":
                hold(cell, kind, 10, "rms_ratio", 0.0, 0.45)
                hold(cell, kind, 10, "median_ratio", 0.0, 0.65)
                hold(cell, kind, 10, "p95_ratio", 0.0, 0.45)
                hold(cell, kind, 50, "median_ratio_beside_calibration", 0.0, 0.9)
                hold(cell, kind, 50, "p95_ratio_beside_calibration", 0.0, 0.8)
    return broken


def name(wind: str, arrangement: str, points: str) -> str:
    return f"{wind}, {arrangement}, {points}"


MULTI = (
    "averages",
    "trace",
    "two lines",
    "no spreads",
    "arrangement untold",
    "arrangement untold, as open end",
    "standard",
)
SEED, TESTS = 51, 1080


@pytest.mark.full
def test_every_cell_of_wind_and_arrangement_keeps_its_promises() -> None:
    table = {}
    for wind in judged.WINDS:
        for arrangement in judged.ARRANGEMENTS:
            many = judged.cell(wind, arrangement, TESTS, SEED, keep_trace=True)
            table[name(wind, arrangement, "ten points")] = rows(many, *MULTI)
            lone = judged.cell(wind, arrangement, TESTS, SEED + 1, single=True)
            table[name(wind, arrangement, "one point")] = rows(lone, "single point", "standard")
    FIGURES.write_text(
        json.dumps(
            {
                "what": " ".join(str(__doc__).split())
                + f" {TESTS} tests a cell, wind at 10 m above open country of "
                + "; ".join(f"{wind} {', '.join(map(str, speeds))} m/s" for wind, speeds in judged.WINDS.items())
                + ". Standard: coverage of the budget's interval.",
                "cells": table,
            },
            indent=1,
        )
        + "\n"
    )
    assert beyond(table, slack_percent=SAMPLING_PERCENT) == []


QUICK = {
    ("windy", "open end"): ("averages", "trace"),
    ("windy", "several facades"): ("averages", "trace"),
    ("breezy", "sheltered end"): ("averages",),
    ("still", "branched, damped"): ("averages", "standard"),
}


def test_some_cells_keep_their_promises_about() -> None:
    table = {}
    for cell, kinds in QUICK.items():
        tests = judged.cell(*cell, 60, 43, keep_trace=True)
        table[name(*cell, "ten points")] = rows(tests, *kinds)
    lone = judged.cell("windy", "open end", 60, 44, single=True)
    table[name("windy", "open end", "one point")] = rows(lone, "single point")
    assert beyond(table, slack_percent=7.0, wider=1.5) == []
