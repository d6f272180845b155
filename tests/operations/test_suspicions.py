"""Wind and faults of the line in the demo, whose maker wrote down what was planted."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

from click.testing import CliRunner

from interchange.archive.query import query
from interchange.cli.main import cli
from interchange.operations.show import show_tests
from interchange.quantities import CHOICES
from interchange.resources import shipped

TRUTH: dict[str, Any] = json.loads((shipped("demo_archive") / "truth.json").read_text())


def _shown(demo: Path, job: str) -> str:
    done = CliRunner().invoke(cli, ["show", job, "--archive", str(demo)], catch_exceptions=False)
    return " ".join(done.stdout.split())


def _of_job(demo: Path, columns: str, job: str) -> dict[str, Any]:
    sql = f"select {columns} from estimates join sessions using (session_id) where job_id = '{job}'"
    answer = query(demo, sql)
    (row,) = answer.rows
    return dict(zip(answer.columns, row, strict=True))


def test_water_that_came_before_the_last_baseline_asks_for_a_retest_and_says_what_to_do(demo: Path) -> None:
    sql = """select line_fault_state from faults join sessions using (session_id)
             where job_id = 'FV-2037' and line_fault = 'water_in_line'"""
    assert list(query(demo, sql).rows) == [("retest",)]
    shown = _shown(demo, "FV-2037")
    assert "With the fan off the reference line read -9.7 Pa; stack explains -1.2 Pa" in shown
    assert "Drain the line, keep its end off the ground, repeat." in shown
    assert "Burning appliances" in shown  # what to do stands beside the cautions


def test_cautions_stand_beside_whatever_asks_somebody_to_do_something(demo: Path) -> None:
    sql = """select distinct job_id from faults join sessions using (session_id)
             where line_fault_state in ('note', 'retest') and job_id is not null"""
    jobs = [job for (job,) in query(demo, sql).rows]
    assert len(jobs) > 5
    for job in jobs:
        views = show_tests(demo, job)
        asking = [view for view in views if any(section.asks for section in view.sections)]
        assert asking, job
        for view in asking:
            assert "Safety" in [section.title for section in view.sections], job


def test_a_windy_test_is_told_from_calm_ones(demo: Path) -> None:
    windy = _of_job(demo, "wind_low_probability, wind_error_10_percent, wind_evidence", "FV-2036")
    assert windy["wind_low_probability"] > 0.7 and windy["wind_error_10_percent"] > 10
    assert windy["wind_evidence"] == "averages"
    assert "moved the flow at 10 Pa or the low points by more than 10 %" in _shown(demo, "FV-2036")
    calm = [
        (f"deliveries/{delivery['file']}", test["source_place"])
        for delivery in TRUTH["deliveries"]
        for test in delivery["tests"]
        if test["kind"] == "multi_point" and test["wind_state"] == "calm" and test["fault"] is None
    ]
    sql = """select s.source_name, s.source_place, wind_flow_50_probability, wind_low_probability
             from estimates join sessions s using (session_id)"""
    found = {(name, place): (at_50, low) for name, place, at_50, low in query(demo, sql).rows}
    told = [found[case] for case in calm if case in found and found[case][0] is not None]
    assert len(told) > 20
    assert sum(at_50 > 0.5 or low > 0.5 for at_50, low in told) == 0


def test_each_judged_test_has_a_row_for_each_fault(demo: Path) -> None:
    sql = "select count(*), count(distinct session_id || rule_set), count(distinct line_fault) from faults"
    ((rows, tests, faults),) = query(demo, sql).rows
    assert faults == len(CHOICES["line_fault"])
    assert rows == tests * faults


def test_sound_calm_tests_of_the_demo_are_not_asked_to_be_repeated_for_a_fault(demo: Path) -> None:
    sound = {
        (f"deliveries/{delivery['file']}", test["source_place"])
        for delivery in TRUTH["deliveries"]
        for test in delivery["tests"]
        if test.get("wind_state") == "calm" and test.get("fault") is None
    }
    sql = """select distinct s.source_name, s.source_place, line_fault from faults join sessions s using (session_id)
             where line_fault_state = 'retest'"""
    asked = [(name, place, fault) for name, place, fault in query(demo, sql).rows if (name, place) in sound]
    assert [row for row in asked if row[2] != "baseline_missing"] == []
