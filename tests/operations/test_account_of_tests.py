"""The account of a test on the demo deliveries: a pocket calculator finds every printed number again."""

from __future__ import annotations

import json
import math
import re
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import pytest
from pocket import Page, Read, recalculated

from interchange.archive.store import Store
from interchange.model import ruleset
from interchange.operations.account import account_tests
from interchange.operations.demo import run_demo
from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
from interchange.operations.register import add_to_register
from interchange.operations.show import show_tests
from interchange.report.account import PAGE_WIDTH, account_lines
from interchange.resources import shipped

DEMO = shipped("demo_archive")
FILES = (
    "harrow/FV-2031-before.csv",  # several points, baselines, fan calibration as a law, barometer
    "harrow/FV-2034-before.csv",  # both directions
    "harrow/c1/2025-03/FV-1901-before.csv",  # fan pressures only, calibration from the register
    "harrow/c2/2025-06/two-way-june.csv",  # two fans a point, baseline removed, no weather
    "harrow/c2/2026-01/FV-1932-before.csv",  # calibration as a table
    "ostrel/o1/2025-03/tests-march.csv",  # one point
    "ostrel/o2/2025-07/multi july.csv",  # elevation known; a test of something else
    "office/old results 2020.csv",  # results only
    "quillby/q2/2025-06/FV-2951 before 1s.txt",  # no points
)
Told = dict[str, list[Any]]
JOBS = ("FV-2031", "FV-2034", "FV-1901", "FV-1925", "FV-1932", "00303", "00376")


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Some deliveries under every shipped rule set."""
    root = new_archive(
        tmp_path_factory.mktemp("account") / "tests", "Fennick Vale", "Etc/UTC", rule_sets=ruleset.references()
    )
    add_to_register(root, "calibrations", DEMO / "registers" / "calibrations.csv")
    import_files(root, [DEMO / "deliveries" / file for file in FILES], recompute=False)
    return root


@pytest.fixture(scope="module")
def told(archive: Path) -> Told:
    """Accounts of the jobs."""
    return {job: account_tests(archive, job) for job in JOBS}


def page_of(document: Mapping[str, Any]) -> str:
    return "\n".join(account_lines(document))


def read_well(document: Mapping[str, Any]) -> Read:
    read = recalculated(page_of(document))
    assert read.faults == []
    return read


def numbers_of(document: Mapping[str, Any], rule_set: str, run: int | None = 1) -> dict[str, Any]:
    """The numbers of one run, or of the test, by symbol."""
    (rules,) = [rules for rules in document["rule_sets"] if rules["rule_set"] == rule_set]
    return {
        one["symbol"]: one
        for step in rules["steps"]
        for part in step["parts"]
        if part["run"] == run
        for one in part["numbers"]
    }


@pytest.mark.parametrize("job", JOBS)
def test_a_pocket_calculator_finds_every_printed_number_again(told: Told, job: str) -> None:
    documents = [one for one in told[job] if one["rule_sets"]]
    assert documents
    for document in documents:
        read = read_well(document)
        equations = sum(
            (one["equation"] is not None) + (one["with_values"] is not None)
            for rules in document["rule_sets"]
            for step in rules["steps"]
            if step["step"] != "shares"
            for part in step["parts"]
            for one in part["numbers"]
        )
        assert read.checked > equations  # and the rows of the tables


def test_what_the_gauge_showed_comes_first_and_then_every_other_rule_set_for_the_kind(told: Told) -> None:
    (document,) = told["FV-2031"]
    references = [rules["rule_set"] for rules in document["rule_sets"]]
    for_kind = [one for one in ruleset.references() if "multi_point" in ruleset.named(one).applies_to]
    assert references[0] == "as_displayed"
    assert sorted(references) == sorted(for_kind)
    page = page_of(document)
    for reference in for_kind:
        assert f"{ruleset.named(reference).title} ({reference}" in page


def test_the_gauge_comes_first_even_where_the_archive_does_not_ask_for_it(tmp_path: Path) -> None:
    root = new_archive(tmp_path / "tests", "Fennick Vale", "Etc/UTC", rule_sets=["iso9972@2015"])
    import_files(root, [DEMO / "deliveries" / FILES[0]], recompute=False)
    (document,) = account_tests(root, "FV-2031")
    assert [rules["rule_set"] for rules in document["rule_sets"]] == ["as_displayed", "iso9972@2015"]


def test_each_step_says_its_name_clause_source_and_how_it_is_known(told: Told) -> None:
    (document,) = told["FV-2031"]
    page = " ".join(page_of(document).split())
    for rules in document["rule_sets"]:
        for rule in ruleset.named(rules["rule_set"]).steps:
            (step,) = [step for step in rules["steps"] if step["step"] == rule.name]
            assert (step["clause"], step["provenance"], step["source"]) == (rule.clause, rule.provenance, rule.source)
            known = f"{rule.provenance}, {rule.clause}" if rule.clause else rule.provenance
            assert f"{step['words']} Source ({known}): {rule.source}" in page


@pytest.mark.parametrize("job", JOBS)
def test_results_of_the_account_are_those_of_show(archive: Path, told: Told, job: str) -> None:
    for document, view in zip(told[job], show_tests(archive, job), strict=True):
        tables = [section.table for section in view.sections if section.title == "Flow at 50 Pa"]
        for table in tables:
            assert table is not None
            for row in table.rows:
                shown = dict(zip(table.columns, row, strict=True))
                if shown["flow_50_m3_h"] is None:
                    continue
                numbers = numbers_of(document, shown["rule_set"], None)
                assert numbers["Q50"]["value"] == pytest.approx(shown["flow_50_m3_h"], rel=1e-4)
                assert numbers["n"]["value"] == pytest.approx(shown["exponent"], abs=1e-4)


def _fitted_50(page: Page, pressure: str, flow: str) -> float:
    points = [
        (math.log(abs(float(page.columns[pressure][row]))), math.log(float(text)))
        for row, text in page.columns[flow].items()
    ]
    xm, ym = (math.fsum(axis) / len(points) for axis in zip(*points, strict=True))
    slope = math.fsum((x - xm) * (y - ym) for x, y in points) / math.fsum((x - xm) ** 2 for x, _ in points)
    return math.exp(ym + slope * (math.log(50.0) - xm))


def test_flows_behind_the_shares_follow_from_the_tables_and_shares_multiply_to_the_whole(told: Told) -> None:
    (document,) = told["FV-2031"]
    read = read_well(document)
    (page,) = [page for (rules, run), page in read.pages.items() if "iso9972" in rules and run == ""]
    numbers = numbers_of(document, "iso9972@2015", None)
    columns = {
        "F_displayed": ("p", "Q_shown"),
        "F_baseline": ("dp", "Q_shown"),
        "F_calibration": ("dp", "Q_cal"),
        "F_fan_density": ("dp", "Q_fan"),
        "F_envelope_density": ("dp", "Q_leak"),
    }
    for symbol, (pressure, flow) in columns.items():
        assert numbers[symbol]["value"] == pytest.approx(_fitted_50(page, pressure, flow), rel=2e-7)
    shares = [one["value"] for symbol, one in numbers.items() if symbol.startswith("S_")]
    assert len(shares) == 5
    product = math.prod(1 + share / 100 for share in shares)
    assert product == pytest.approx(numbers["F_reference"]["value"] / numbers["F_displayed"]["value"], rel=3e-7)
    assert numbers["F_reference"]["value"] == pytest.approx(numbers["Q50"]["value"], rel=1e-6)
    of_steps = [
        step["share_percent"]["value"]
        for step in document["rule_sets"][[r["rule_set"] for r in document["rule_sets"]].index("iso9972@2015")]["steps"]
        if step["share_percent"]
    ]
    assert of_steps == shares


def test_one_wrong_digit_anywhere_in_a_page_is_found_out(told: Told) -> None:
    document = told["FV-2034"][0]
    document = {**document, "rule_sets": [one for one in document["rule_sets"] if one["rule_set"] == "astm-e779@2019"]}
    text = page_of(document)
    assert recalculated(text).faults == []
    printed = [found for found in re.finditer(r"(?<![\w.])\d+\.\d{4,}(?![\w.])", text)][::5]
    missed = []
    for found in printed:
        digits = found.group()
        changed = digits[:-1] + str((int(digits[-1]) + 5) % 10)
        if not recalculated(text[: found.start()] + changed + text[found.end() :]).faults:
            missed.append(text[text.rindex("\n", 0, found.start()) : text.index("\n", found.end())])
    # one that stands in a worked example only, and counts for less than the last digit of what follows, may pass
    assert len(printed) > 40
    assert [line for line in missed if not line.strip().startswith("point ")] == []


def test_a_page_is_no_wider_than_it_should_be(told: Told) -> None:
    for job in JOBS:
        for document in told[job]:
            assert max(map(len, account_lines(document))) <= PAGE_WIDTH


def test_steps_that_do_nothing_say_so_and_why(told: Told) -> None:
    (document,) = told["FV-1925"]
    steps = {step["step"]: step for rules in document["rule_sets"][1:2] for step in rules["steps"]}
    for name in ("baseline", "fan_calibration", "fan_density", "envelope_density", "reference_conditions"):
        for part in steps[name]["parts"]:
            assert part["remarks"][0] == "Does nothing here."
        assert steps[name]["notes"]
    assert steps["baseline"]["notes"] == ["The source has already subtracted the baseline."]
    (document,) = told["FV-2031"]
    steps = {step["step"]: step for step in document["rule_sets"][1]["steps"]}
    assert steps["air_pressure"]["parts"][0]["remarks"] == ["Does nothing here.", "The air pressure is known."]


def test_the_data_hold_what_the_page_prints(told: Told) -> None:
    for job in JOBS:
        for document in json.loads(json.dumps(told[job])):
            page = " ".join(page_of(document).split())
            for rules in document["rule_sets"]:
                for step in rules["steps"]:
                    for part in step["parts"]:
                        for one in part["numbers"]:
                            assert one["value"] == float(one["printed"])
                            if one["with_values"] and step["step"] != "shares":
                                assert f"{one['with_values']} = {one['printed']}" in page


@pytest.mark.full
def test_every_test_of_the_demo_has_an_account_by_every_rule_set(tmp_path: Path) -> None:
    run_demo(tmp_path / "demo")
    settings = tmp_path / "demo" / "archive.toml"
    references = ", ".join(f'"{reference}"' for reference in ruleset.references())
    settings.write_text(re.sub(r"rule_sets = \[.*?\]", f"rule_sets = [{references}]", settings.read_text(), flags=re.S))
    jobs = {session.record.job_id for session in Store.open(tmp_path / "demo").snapshot().sessions()} - {None}
    checked = 0
    for job in sorted(jobs):
        for document in account_tests(tmp_path / "demo", job):
            checked += read_well(document).checked
            silent = [
                (job, rules["rule_set"], step["step"])
                for rules in document["rule_sets"]
                for step in rules["steps"]
                for part in step["parts"]
                if part["remarks"] == ["Does nothing here."] and not step["notes"]
            ]
            assert silent == []
    assert checked > 50_000
