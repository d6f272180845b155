"""The demo's deliveries: the same bytes each time, true to their truth, and recoverable by hand."""

from __future__ import annotations

import re
from pathlib import Path

import pytest
from plain_recomputing import CFM_M3_H, Fit, amount, by_direction, many_points, one_point, sections, sheet_rows
from plain_shapes import ROOT, content_of, deliveries, shape_of, text_of, told_in

from interchange.demo import make

DELIVERIES = {delivery["file"]: delivery for delivery in deliveries()}
TESTS = [
    pytest.param(file, test, id=f"{file}, {test['source_place']}")
    for file, delivery in DELIVERIES.items()
    for test in delivery["tests"]
]
FITTED = [parameter for parameter in TESTS if parameter.values[1]["kind"] in ("single_point", "multi_point")]
VERDICTS = r"(sound|note|retest_advised|cannot_tell)"
CALM = 0.015  # of the flow at 50 Pa
WIND = 0.12


def shape(file: str) -> str:
    return shape_of(content_of(file))


def plain(file: str, test: dict):
    return told_in(DELIVERIES[file])[test["source_place"]]


def files_in(folder: Path) -> dict[str, bytes]:
    return {str(path.relative_to(folder)): path.read_bytes() for path in folder.rglob("*") if path.is_file()}


def row_of(file: str, test: dict) -> dict[str, str]:
    return sheet_rows(content_of(file))[int(test["source_place"].removeprefix("row ")) - 2]


def recomputed(file: str, test: dict) -> Fit:
    return one_point(row_of(file, test)) if test["kind"] == "single_point" else many_points(text(file))


def text(file: str) -> str:
    return text_of(content_of(file))


def test_making_the_demo_again_gives_the_checked_in_bytes(tmp_path):
    # remake with: python -m interchange.demo demo_archive plugins
    make(tmp_path)
    assert files_in(tmp_path) == files_in(ROOT)


def test_truth_names_every_delivery_and_no_other():
    named = [name for delivery in DELIVERIES.values() for name in (delivery["file"], *delivery["companions"])]
    on_disk = {f"{name.partition('.zip/')[0]}.zip" if ".zip/" in name else name for name in named}
    assert on_disk == set(files_in(ROOT / "deliveries"))
    assert {delivery["outcome"] for delivery in DELIVERIES.values()} == {"imported", "refused"}


def test_the_demo_stays_small():
    assert sum(len(data) for data in files_in(ROOT).values()) < 3_000_000


@pytest.mark.parametrize(("file", "test"), TESTS)
def test_expectations_begin_with_verdicts_and_give_a_reason(file, test):
    uses = ["flow_at_50", "low_pressure_and_exponent", "before_after", "publishable"]
    assert list(test["expected"]) == uses
    for expectation in test["expected"].values():
        assert re.fullmatch(rf"{VERDICTS}( or {VERDICTS})*: .+", expectation)


@pytest.mark.parametrize(("file", "test"), FITTED)
def test_the_file_says_which_test_it_is(file, test):
    told = plain(file, test)
    assert (told.job_id, told.site_id, told.stage) == (test["job_id"], test["site_id"], test["stage"])
    signs = {"depressurisation": [-1.0], "pressurisation": [1.0], "both": [-1.0, 1.0]}[test["direction"]]
    assert [run.sign / abs(run.sign) for run in told.runs] == (signs if told.runs else [])


def test_logs_and_rows_without_a_test_name_their_house():
    for file, delivery in DELIVERIES.items():
        for test in delivery["tests"]:
            if test["kind"] == "monitoring":
                assert re.search(rf"{test['job_id']}\n.*{test['site_id']}\n", text(file))
            elif test["kind"] in ("not_tested", "other_test", "summary"):
                row = text(file).splitlines()[int(test["source_place"].removeprefix("row ")) - 1]
                assert (test["job_id"] or test["site_id"]) in row


STILL = [
    parameter
    for parameter in FITTED
    if parameter.values[1]["wind_state"] == "calm"
    and parameter.values[1]["fault"] is None
    and parameter.values[1]["job_id"] != "FV-3012"
]


@pytest.mark.parametrize(("file", "test"), STILL)
def test_in_still_air_the_usual_corrections_recover_the_truth(file, test):
    found = plain(file, test).fit()
    assert found.flow_50_m3_h == pytest.approx(test["true_flow_50_m3_h"], rel=CALM)
    if test["kind"] == "multi_point":
        assert found.exponent == pytest.approx(test["true_exponent"], abs=0.02)


def of_job(job_id: str, stage: str) -> tuple[str, dict]:
    return next(
        (parameter.values[0], parameter.values[1])
        for parameter in TESTS
        if (parameter.values[1]["job_id"], parameter.values[1].get("stage")) == (job_id, stage)
    )


@pytest.mark.parametrize("job", [("00414", "before"), ("00413", "after"), ("00419", "before"), ("FV-3011", "before")])
def test_wind_moves_one_point_by_less_than_a_tenth_or_so(job):
    file, test = of_job(*job)
    assert recomputed(file, test).flow_50_m3_h == pytest.approx(test["true_flow_50_m3_h"], rel=WIND)


def test_water_that_stays_cancels_in_the_recomputed_flow_only():
    file, test = of_job("00415", "before")
    found, true = recomputed(file, test), test["true_flow_50_m3_h"]
    assert found.flow_50_m3_h == pytest.approx(true, rel=CALM)
    assert found.displayed_50_m3_h / true == pytest.approx(0.81, abs=0.02)
    assert float(row_of(file, test)["Baseline (Pa)"]) == pytest.approx(-15.9, abs=0.7)
    assert test["stack_only_pa"] > -2.0


def test_water_that_comes_between_the_baselines_bends_the_line():
    file, test = of_job("FV-2037", "before")
    entries = {cells[0]: cells[1] for cells in sections(text(file))["Depressurisation"]}
    step = amount(entries["Baseline after"]) - amount(entries["Baseline before"])
    assert step == pytest.approx(test["line_shift_pa"], abs=0.2)
    assert recomputed(file, test).exponent > test["true_exponent"] + 0.15


def test_without_its_baseline_a_point_is_off_by_the_stack():
    file, test = of_job("00416", "before")
    assert row_of(file, test)["Baseline (Pa)"] == ""
    off = recomputed(file, test).flow_50_m3_h / test["true_flow_50_m3_h"] - 1.0
    assert off == pytest.approx(0.65 * test["stack_only_pa"] / 50.0, abs=0.006)


def test_a_wrong_fan_setting_shows_only_beside_the_other_test():
    flows = [recomputed(*of_job("FV-3010", stage)).flow_50_m3_h for stage in ("before", "after")]
    _, test = of_job("FV-3010", "after")
    assert flows[1] > 1.9 * flows[0]
    assert flows[1] / test["true_flow_50_m3_h"] == pytest.approx(489.0 / 170.2, rel=0.03)


def test_thin_cold_air_moves_the_two_directions_apart():
    file, test = of_job("FV-2039", "before")
    flows = [flow for flow, _ in by_direction(text(file))]
    assert flows == pytest.approx([test["true_flow_50_m3_h"]] * 2, rel=CALM)
    parts = sections(text(file))
    shown = [
        next(amount(cells[7]) for cells in parts[name] if cells[1] == target)
        for name, target in (("Depressurisation", "-50"), ("Pressurisation", "50"))
    ]
    assert shown[0] > 1.08 * shown[1]


@pytest.mark.parametrize("file", [file for file in DELIVERIES if DELIVERIES[file]["tests"] and shape(file) == "A"])
def test_displayed_leakage_is_one_point_without_baseline(file):
    for row in sheet_rows(content_of(file)):
        if row["Fan flow (cfm)"] != "OL":
            scale = (50.0 / abs(float(row["House pressure (Pa)"]))) ** 0.65
            assert float(row["Leakage at 50 Pa (cfm)"]) == pytest.approx(float(row["Fan flow (cfm)"]) * scale, abs=0.51)


@pytest.mark.parametrize("file", [file for file in DELIVERIES if DELIVERIES[file]["tests"] and shape(file) == "B"])
def test_flow_in_a_record_is_that_of_its_fan_pressure(file):
    parts = sections(text(file))
    laws = {cells[0]: (amount(cells[1]), amount(cells[2])) for cells in parts["Fan calibration"][2:]}
    points = [
        cells for name in ("Depressurisation", "Pressurisation") for cells in parts.get(name, []) if cells[0].isdigit()
    ]
    assert len(points) >= 6
    for cells in points:
        coefficient, exponent = laws[cells[5]]
        assert amount(cells[7]) == pytest.approx(coefficient * amount(cells[6]) ** exponent, rel=3e-3)


def test_the_odd_files_are_odd_as_told():
    assert content_of("ostrel/tests-week-06.csv") == content_of("ostrel/weekly-resend/tests-week-06.csv")
    assert content_of("quillby/february.csv").startswith(b"\xef\xbb\xbfHouse,Job number,")
    assert b"\x00" in content_of("ostrel/tests-week-07.csv")[:4]
    spoilt = text("harrow/FV-2038-before.csv").split("\n")
    row = next(number for number, line in enumerate(spoilt, 1) if "58,x" in line)
    assert f"row {row}, column Envelope" in DELIVERIES["harrow/FV-2038-before.csv"]["why"]
    first, corrected = (text(f"harrow/{folder}FV-2034-before.csv") for folder in ("", "resent/"))
    changed = [a for a, b in zip(first.split("\n"), corrected.split("\n"), strict=True) if a != b]
    assert [line.split(";")[0] for line in changed] == ["Volume", "Air changes at 50 Pa"]


def test_logs_step_by_a_second_and_swing_as_told():
    for file, seconds in (("harrow/FV-2044-log.csv", 900), ("quillby/FV-3015-log.csv", 600)):
        rows = [line.split(",") for line in text(file).splitlines() if line[0].isdigit()]
        assert [int(row[0]) for row in rows] == list(range(seconds))
    spread = {
        test["job_id"]: (test["line_a_spread_pa"], test["line_b_spread_pa"])
        for delivery in DELIVERIES.values()
        for test in delivery["tests"]
        if test["kind"] == "monitoring"
    }
    assert spread["FV-2962"][0] > 1.5 * spread["FV-2962"][1]
    assert spread["FV-2961"] == pytest.approx((0.12, 0.12), abs=0.06)
    assert spread["FV-2044"][0] > 2.0 * spread["FV-2044"][1]
    assert spread["FV-3015"] == pytest.approx((0.12, 0.12), abs=0.03)


def test_conversion_of_the_sheets_is_the_exact_foot():
    assert pytest.approx(1.699010796, rel=1e-9) == CFM_M3_H  # m3/h in a cubic foot a minute, NIST SP 811
