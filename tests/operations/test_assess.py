"""The best estimate in wind beside the result, for the tests of the demo, whose flows in still air the maker knows."""

from __future__ import annotations

import json
import shutil
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from click.testing import CliRunner

from interchange.analysis.beside import differences
from interchange.analysis.uncertainty import PARTS, Budget, default_instruments
from interchange.archive.query import query
from interchange.cli.main import cli
from interchange.errors import ArchiveError
from interchange.operations.demo import run_demo
from interchange.resources import shipped

TRUTH: dict[str, Any] = json.loads((shipped("demo_archive") / "truth.json").read_text())


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("assessing") / "demo"
    run_demo(root)
    return root


def _shown(archive: Path, name: str) -> str:
    return CliRunner().invoke(cli, ["show", name, "--archive", str(archive)], catch_exceptions=False).stdout


def test_every_result_that_gives_a_verdict_stands_beside_an_estimate(archive: Path) -> None:
    sql = """select count(*), count(e.robust_flow_50_m3_h) from results r left join estimates e
             using (session_id, rule_set) where r.rule_set <> 'as_displayed' and r.flow_50_m3_h is not null"""
    ((results, estimates),) = query(archive, sql).rows
    assert results == estimates > 200


def test_a_windy_test_is_estimated_nearer_to_its_truth_than_its_result(archive: Path) -> None:
    (test,) = (test for one in TRUTH["deliveries"] for test in one["tests"] if test["job_id"] == "FV-2036")
    sql = """select r.flow_10_m3_h, e.robust_flow_10_m3_h, e.robust_flow_10_low_m3_h, e.robust_flow_10_high_m3_h
             from results r join estimates e using (session_id, rule_set) join sessions s using (session_id)
             where s.job_id = 'FV-2036'"""
    ((result, best, low, high),) = query(archive, sql).rows
    truth = test["true_flow_50_m3_h"] * 0.2 ** test["true_exponent"]
    assert abs(best - truth) < 0.6 * abs(result - truth)
    assert low < truth < high


def test_show_says_what_the_uncertainty_comes_from_and_how_the_estimate_stands(archive: Path) -> None:
    shown = " ".join(_shown(archive, "FV-2036").split())
    assert "How sure the result by iso9972@2015 is (95 %)" in shown
    assert "Not recorded, taken for granted: " in shown
    assert "best estimate in wind, from the same readings" in shown


def test_estimates_that_were_not_made_are_an_error_that_names_the_command(archive: Path, tmp_path: Path) -> None:
    copy = tmp_path / "copy"
    shutil.copytree(archive, copy)
    shutil.rmtree(copy / "derived" / "estimates")
    with pytest.raises(ArchiveError, match="Run the assess command"):
        query(copy, "from estimates")
    done = CliRunner().invoke(cli, ["assess", "--archive", str(copy), "--format", "json"], catch_exceptions=False)
    assert done.exit_code == 0
    json.loads(done.stdout)
    count = "select count(*) from estimates"
    assert list(query(copy, count).rows) == list(query(archive, count).rows)


def test_two_results_differ_when_their_ratio_is_beyond_the_noise_of_either() -> None:
    def differs(best: float, factor: float, noise: float, instruments: float) -> bool:
        """One session; the estimate's limits are `factor` from it either way, instruments included."""
        empty = np.zeros((1, 3))
        parts = {name: empty for name in PARTS} | {"point_noise": empty + noise, "fan_flow": empty + instruments}
        budget = Budget(parts, empty + np.hypot(noise, instruments), np.array([True]), default_instruments(1))
        result = {f"flow_{pressure}_m3_h": np.array([100.0]) for pressure in (50, 10, 4)}
        estimate = {}
        for pressure in (50, 10, 4):
            for end, value in (("", best), ("_low", best / factor), ("_high", best * factor)):
                estimate[f"robust_flow_{pressure}{end}_m3_h"] = np.array([value])
        found = differences(result, budget, estimate)
        assert found["robust_difference_50_percent"][0] == pytest.approx(best - 100.0, nan_ok=True)
        return bool(found["robust_differs_10"][0])

    two_percent = np.exp(1.959964 * 0.02)
    assert differs(110.0, two_percent, noise=0.02, instruments=0.0)
    assert not differs(110.0, two_percent, noise=0.06, instruments=0.0)  # the result's own noise explains it
    assert not differs(110.0, two_percent**3, noise=0.02, instruments=0.0)  # the estimate's does
    assert differs(110.0, two_percent**3, noise=0.02, instruments=0.06)  # both share their instruments
    assert not differs(np.nan, two_percent, noise=0.02, instruments=0.0)
