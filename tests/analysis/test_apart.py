"""Runs as tests of their own give what they give within their test."""

from __future__ import annotations

import numpy as np
import pytest
from build import batch, multi_point, one_point

from interchange.analysis import chain
from interchange.analysis.apart import runs_apart
from interchange.model import ruleset


def _test(coefficients: tuple[float, ...], calibrations: list[dict[str, object]]) -> dict[str, object]:
    """A test in one or both directions with fan pressures only, whose fan has the calibrations given."""
    runs = []
    for direction, coefficient in zip(("depressurisation", "pressurisation"), coefficients, strict=False):
        (run,) = multi_point(direction)["runs"]
        points = [
            point
            | {"readings": [{"fan_pressure_pa": (reading["flow_m3_h"] / coefficient) ** 2, "calibration_index": 1.0}]}
            for point in run["points"]
            for reading in point["readings"]
        ]
        runs.append(run | {"points": points})
    return multi_point(runs=runs, calibrations=calibrations)


def _calibration(coefficient: float, rows: int = 0) -> dict[str, object]:
    table = [{"calibration_pressure_pa": 10.0 + i, "calibration_flow_m3_h": 90.0 + i} for i in range(rows)]
    law = {} if rows else {"fan_coefficient_m3_h": coefficient, "fan_exponent": 0.5}
    return {"reference_air_density_kg_m3": 1.2041, **law, "table": table}


def test_a_run_apart_has_the_calibrations_of_its_session_and_the_flow_it_has_within_it() -> None:
    readings = batch(
        one_point(),
        _test((400.0, 420.0), [_calibration(1.0, rows=3), _calibration(400.0)]),
        {"kind": "not_tested"},
        _test((300.0,), [_calibration(2.0), _calibration(500.0), _calibration(3.0, rows=2)]),
    )
    apart, owner = runs_apart(readings)
    assert owner.tolist() == [0, 1, 1, 3]
    assert apart.calibration_offsets.tolist() == [0, 0, 2, 4, 7]
    assert apart.calibration_point_offsets.tolist() == [0, 3, 3, 6, 6, 6, 6, 8]
    rules = ruleset.named("iso9972@2015")
    within = chain.run(readings, rules.steps, rules.applies_to).run["flow_50_m3_h"]
    alone = chain.run(apart, rules.steps, rules.applies_to).session["flow_50_m3_h"]
    np.testing.assert_array_equal(alone, within)
    assert np.isfinite(within).tolist() == [False, True, True, True]
    assert within[1] / within[2] == pytest.approx(420.0 / 400.0, rel=1e-9)  # the same air on both sides
