"""Declared points found again in their traces, against tests whose seconds the judge knows."""

from __future__ import annotations

import judged
import numpy as np
import pytest

from interchange.analysis.robust import estimate
from interchange.analysis.traces import Traced
from interchange.archive.traced import Log, of_logs
from tests.judge import Simulated


def _log(test: Simulated, *lines: int) -> Log:
    trace = test.trace
    assert trace is not None
    arrangements = ("open_end", "open_end")[: len(lines)]
    return Log(tuple(trace.pressure_pa[line] for line in lines), trace.fan_pressure_pa, 1.0, arrangements)


@pytest.fixture(scope="module")
def tests() -> list[Simulated]:
    return judged.cell("windy", "open end", 18, 5, keep_trace=True)


@pytest.fixture(scope="module")
def found(tests: list[Simulated]) -> Traced:
    batch = judged.to_batch(tests)
    # the log of the last test is missing
    told = of_logs(batch, [(place, _log(test, 0)) for place, test in enumerate(tests[:-1])])
    assert told is not None
    return told


def test_points_are_found_where_they_were_held_and_a_test_without_a_log_stays_silent(
    tests: list[Simulated], found: Traced
) -> None:
    held = np.concatenate([run.start_s for test in tests for run in test.runs])
    silent = sum(len(run.start_s) for run in tests[-1].runs)
    assert np.isnan(found.point_start_s[-silent:]).all()
    assert np.mean(np.abs(found.point_start_s[:-silent] - held[:-silent]) <= 1.0) > 0.98
    assert np.isnan(found.fluctuations.turbulent_pa).tolist() == [False] * 17 + [True]


def test_baselines_are_all_the_seconds_the_fan_rested(tests: list[Simulated], found: Traced) -> None:
    known = judged.traced(tests)
    runs = len(tests[-1].runs)
    for name in ("before_start_s", "before_pa", "before_s", "after_pa", "after_s"):
        ours, judges = getattr(found, name)[:-runs], getattr(known, name)[:-runs]
        tolerance = 5.0 if name.endswith("_s") else 0.6
        single = [len(test.runs) == 1 for test in tests[:-1] for _ in test.runs]
        assert np.nanmax(np.abs(ours - judges)[np.array(single)]) <= tolerance, name


def test_fluctuations_and_estimates_are_those_of_seconds_that_are_known(tests: list[Simulated], found: Traced) -> None:
    known = judged.traced(tests)
    assert found.fluctuations.turbulent_pa[:-1] == pytest.approx(known.fluctuations.turbulent_pa[:-1], rel=0.15)
    work = judged.worked(judged.to_batch(tests))
    ours, judges = (estimate(work, traced=told).session["robust_flow_50_m3_h"] for told in (found, known))
    assert ours[:-1] == pytest.approx(judges[:-1], rel=0.02)


def test_two_lines_are_read_as_their_steadiest_mean(tests: list[Simulated]) -> None:
    batch, known = judged.second_line(tests)
    told = of_logs(judged.to_batch(tests), [(place, _log(test, 0, 1)) for place, test in enumerate(tests)])
    assert told is not None
    there = np.isfinite(told.point_pa)
    assert there.mean() > 0.98
    combined = np.asarray(batch.point["envelope_pressure_pa"], dtype=float)
    # rests are cut a second or two otherwise, so shares differ by a little
    assert np.median(np.abs(told.point_pa - combined)[there]) < 0.02
    assert told.facade_pa == pytest.approx(known.facade_pa, rel=0.15)


def test_a_record_that_does_not_fit_its_log_says_nothing(tests: list[Simulated]) -> None:
    batch = judged.to_batch(tests[:2])
    assert of_logs(batch, [(0, _log(tests[1], 0)), (1, _log(tests[0], 0))]) is None
