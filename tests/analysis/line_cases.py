"""Tests of the judge as detectors of line faults see them: batches with fan pressures, traces cut into stretches."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from itertools import pairwise

import judged
import numpy as np
from build import batch

from interchange.analysis.batch import Batch
from interchange.analysis.line_faults import features
from interchange.analysis.line_faults.features import LineFeatures, Stretches
from tests.judge import Case, Simulated
from tests.judge.faults import Fault

FAN_EXPONENT = 0.5


def to_batch(tests: Sequence[Simulated], *, spreads: bool = True, arrangement: bool = True) -> Batch:
    """Averages as a gauge writes them, with fan pressures and the calibrations of the openings used."""
    sessions = []
    for test in tests:
        session = dict(judged._session(test, 0, spreads))
        coefficients = sorted({round(float(c), 6) for run in test.runs for c in run.opening_coefficient_m3_h})
        session["calibrations"] = [
            {"fan_coefficient_m3_h": c, "fan_exponent": FAN_EXPONENT, "reference_air_density_kg_m3": 1.2041}
            for c in coefficients
        ]
        if not arrangement:
            session.pop("arrangement")
        for run, written in zip(test.runs, session["runs"], strict=True):
            for i, point in enumerate(written["points"]):
                point["readings"][0] |= {
                    "fan_pressure_pa": run.fan_pressure_pa[i],
                    "calibration_index": coefficients.index(round(float(run.opening_coefficient_m3_h[i]), 6)),
                }
        sessions.append(session)
    return batch(*sessions)


def traced(tests: Sequence[Simulated]) -> LineFeatures:
    """Features of the traces of tests."""
    pressure, fan, lengths, what, place, coefficient, per_session = [], [], [], [], [], [], []
    runs = points = 0
    for test in tests:
        trace = test.trace
        assert trace is not None
        code = trace.run.astype(int) * 1000 + (trace.station.astype(int) + 1) * 2 + trace.averaged.astype(int)
        edges = np.concatenate([[0], np.flatnonzero(np.diff(code)) + 1, [code.size]])
        seen: set[int] = set()
        for start, stop in pairwise(edges):
            run, station, held = int(trace.run[start]), int(trace.station[start]), bool(trace.averaged[start])
            lengths.append(stop - start)
            if station < 0:
                what.append((features.AFTER if run in seen else features.BEFORE) if held else features.RESTING)
                place.append(runs + run if held else -1)
                coefficient.append(np.nan)
                if held:
                    seen.add(run)
            else:
                what.append(features.POINT if held else features.MOVING)
                earlier = sum(len(one.target_pa) for one in test.runs[:run])
                place.append(points + earlier + station if held else -1)
                coefficient.append(float(np.log(test.runs[run].opening_coefficient_m3_h[station])))
        per_session.append(len(edges) - 1)
        pressure.append(trace.pressure_pa.reshape(-1, trace.pressure_pa.shape[-1])[0])
        fan.append(trace.fan_pressure_pa)
        runs += len(test.runs)
        points += sum(len(one.target_pa) for one in test.runs)
    stretches = Stretches(
        np.concatenate(pressure).astype(np.float64),
        np.concatenate(fan).astype(np.float64),
        np.concatenate([[0], np.cumsum(lengths)]).astype(np.int64),
        np.concatenate([[0], np.cumsum(per_session)]).astype(np.int64),
        np.array(what),
        np.array(place),
        np.array(coefficient),
    )
    return features.features(stretches, runs, points)


def with_faults(case: Case, planted: tuple[Fault, ...]) -> Case:
    return replace(case, faults=planted)
