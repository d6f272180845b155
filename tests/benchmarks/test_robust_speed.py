"""The estimate in wind of many tests, as a ratio to one call of numpy's least squares for each."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from interchange.analysis.robust import estimate
from interchange.analysis.work import begin
from tests.benchmarks.measuring import report, seconds

sys.path.insert(0, str(Path(__file__).parents[1] / "analysis"))
from wind import simulated

TESTS = 4000
PRESSURES = (60.0, 54.0, 48.0, 42.0, 36.0, 30.0, 25.0, 20.0, 15.0, 10.0)

pytestmark = pytest.mark.benchmark


def test_estimates_against_least_squares_for_each() -> None:
    work, both = (
        begin(
            simulated(
                np.random.default_rng(9),
                TESTS,
                noise_pa=1.5,
                time_scale_s=10.0,
                pressures_pa=PRESSURES,
                directions=directions,
            )[0],
            ("multi_point",),
        )
        for directions in ((-1,), (-1, 1))
    )
    pressure = -work.batch.point["envelope_pressure_pa"].reshape(TESTS, -1) - 1.5
    log_flow = np.log(work.flow_m3_h.reshape(TESTS, -1))

    def lines() -> None:
        for p, y in zip(pressure, log_flow, strict=True):
            x = np.log(np.maximum(p, 0.1))
            np.linalg.lstsq(np.column_stack([np.ones_like(x), x]), y, rcond=None)

    sides = {"lstsq": lines, "estimate": lambda: estimate(work), "estimate, both directions": lambda: estimate(both)}
    taken = seconds(sides, 5)
    ratios = report(
        "robust",
        f"{TESTS} tests of ten points and two baselines, one thread: log-log line by numpy.linalg.lstsq, one call a "
        "test, against the estimate in wind with its intervals at 20 models of noise; both directions are twice as "
        "many readings",
        taken,
        "lstsq",
        tests_per_second={side: round(TESTS / sorted(taken[side])[2]) for side in sides},
    )
    assert ratios["estimate"] < 50
