"""The whole job on the demo deliveries against the truth that their maker wrote down beside them."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import pytest

from interchange.archive.query import query
from interchange.operations.demo import run_demo
from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
from interchange.resources import shipped

TRUTH: dict[str, Any] = json.loads((shipped("demo_archive") / "truth.json").read_text())
TESTS = [(delivery["file"], test) for delivery in TRUTH["deliveries"] for test in delivery["tests"]]
STANDARD = {
    "single_point": "astm-e1827-one-point@2011",
    "two_point": "astm-e1827-two-point@2011",
    "multi_point": "iso9972@2015",
}
LOGS = [(file, test) for file, test in TESTS if file.endswith("1s.txt")]  # of whole tests, without points of their own
FITTED = [case for case in TESTS if case[1]["kind"] in STANDARD]
STILL = [(file, test) for file, test in FITTED if test["wind_state"] == "calm" and test["fault"] is None]


def _name(case: tuple[str, dict[str, Any]]) -> str:
    return f"{case[0]}-{case[1]['source_place']}"


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("truth") / "demo"
    run_demo(root)
    return root


def _one(root: Path, sql: str, file: str, test: dict[str, Any]) -> tuple[Any, ...]:
    where = (
        f"s.source_name = 'deliveries/{file}' and s.source_place = '{test['source_place']}' "
        f"and x.rule_set = '{STANDARD[test['kind']]}'"
    )
    rows = list(query(root, f"{sql} join sessions s using (session_id) where {where}").rows)
    assert len(rows) == 1
    return rows[0]


def test_every_delivery_meets_the_end_its_maker_expects(tmp_path: Path) -> None:
    root = new_archive(tmp_path / "a", "x")
    report = import_files(root, [shipped("demo_archive") / "deliveries"], recompute=False)
    ended = {line.source_name.removeprefix("deliveries/"): line.outcome for line in report.lines}
    imported = ("new", "known already", "read with its test")
    expected = {delivery["file"]: delivery["outcome"] for delivery in TRUTH["deliveries"]}
    expected |= {name: expected[one["file"]] for one in TRUTH["deliveries"] for name in one["companions"]}
    assert {file: "imported" if outcome in imported else outcome for file, outcome in ended.items()} == expected


def test_logs_of_whole_tests_are_kept_whole_and_get_a_result_from_points_found_in_them(archive: Path) -> None:
    for file, test in LOGS:
        where = f"source_name = 'deliveries/{file}' and source_place = '{test['source_place']}'"
        rows = query(
            archive,
            "select (select count(*) from channels c where c.session_id = s.session_id), "
            "(select count(*) from runs c where c.session_id = s.session_id), x.points_found_in_trace, x.point_count, "
            "x.direction_used, x.note like '%points_found_in_trace%' "
            f"from sessions s join results x using (session_id) where {where} and x.rule_set = 'iso9972@2015'",
        ).rows
        assert list(rows) == [(5, 0, True, 5, test["direction"], True)]
    marked = query(archive, "select count(distinct session_id) from results where points_found_in_trace").rows
    assert list(marked) == [(len(LOGS),)]


def test_in_wind_the_flow_of_a_log_is_true_within_what_wind_does(archive: Path) -> None:
    windy = [case for case in LOGS if case not in STILL]
    assert windy
    for file, test in windy:
        flow, exponent = _one(archive, "select x.flow_50_m3_h, x.exponent from results x", file, test)
        assert flow == pytest.approx(test["true_flow_50_m3_h"], rel=0.03)
        assert exponent == pytest.approx(test["true_exponent"], abs=0.05)


@pytest.mark.parametrize("kind", ["summary", "not_tested", "other_test", "weather", "monitoring"])
def test_what_is_no_test_of_an_envelope_is_kept_as_what_it_is_and_never_fitted(archive: Path, kind: str) -> None:
    cases = {(f"deliveries/{file}", test["source_place"]) for file, test in TESTS if test["kind"] == kind}
    found = query(archive, f"select source_name, source_place from sessions where kind = '{kind}'").rows
    assert cases and {tuple(row) for row in found} == cases
    fitted = f"select count(*) from results join sessions using (session_id) where kind = '{kind}'"
    assert list(query(archive, fitted).rows) == [(0,)]


SLIPPED = {"natural_rate_as_50", "wrong_unit"}  # what the maker of the old ledger planted among its values


def test_contradictions_in_the_ledger_are_those_that_its_maker_planted_and_no_others(archive: Path) -> None:
    planted = {
        (f"deliveries/{file}", test["source_place"]): SLIPPED & set(test["planted"])
        for file, test in TESTS
        if SLIPPED & set(test["planted"])
    }
    doubted = query(
        archive,
        "select s.source_name, s.source_place, string_agg(c.reason, ' ') "
        "from checks c join sessions s using (session_id) where c.level in (3, 4) "
        "and (c.check_name like 'reported_%' and c.check_name <> 'reported_agrees' "
        "or c.check_name in ('volume_fits_floor', 'plausible_sizes', 'plausible_reported')) group by all",
    ).rows
    found = {(name, place): reason for name, place, reason in doubted}
    assert found.keys() == planted.keys()
    assert len(planted) == 9
    for place, slips in planted.items():
        said = "look like natural ones" if "natural_rate_as_50" in slips else "were in ft3/min ("
        assert said in found[place]


@pytest.mark.parametrize("case", STILL, ids=_name)
def test_in_still_air_the_recomputed_flow_is_the_true_one(archive: Path, case: tuple[str, dict[str, Any]]) -> None:
    file, test = case
    if test["true_flow_50_m3_h"] is None:
        pytest.skip("nothing to compute")
    flow, exponent = _one(archive, "select x.flow_50_m3_h, x.exponent from results x", file, test)
    assert flow == pytest.approx(test["true_flow_50_m3_h"], rel=0.02)
    if test["kind"] == "multi_point":
        assert exponent == pytest.approx(test["true_exponent"], abs=0.02)


@pytest.mark.parametrize("use", ["flow_at_50", "low_pressure_and_exponent", "publishable"])
@pytest.mark.parametrize("case", FITTED, ids=_name)
def test_the_verdict_is_one_that_the_maker_would_accept(
    archive: Path, case: tuple[str, dict[str, Any]], use: str
) -> None:
    file, test = case
    accepted = test["expected"][use].split(":")[0].split(" or ")
    verdict, reasons = _one(
        archive, f"select x.verdict, x.because_of from (from verdicts where use = '{use}') x", file, test
    )
    assert verdict in accepted, (reasons, test["expected"][use])
