"""Reductions over an invented archive whose truth is known, and over the demo against its maker's truth."""

from __future__ import annotations

import json
import math
from dataclasses import replace
from datetime import datetime
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from halves_by_hand import a_test, archive_of, half

from interchange.analysis.uncertainty import PARTS, RANDOM
from interchange.archive import query
from interchange.cli.main import cli
from interchange.errors import EXIT_DONE, UsageError
from interchange.model import session as form
from interchange.operations.changes import compare_halves, in_wind
from interchange.operations.halves import Half, read_halves
from interchange.operations.mismatches import Limits, mismatches
from interchange.operations.reductions import Reductions, _compare, reductions
from interchange.operations.register import add_to_register
from interchange.resources import shipped

MARCH = datetime(2026, 3, 2, 9, 0)
GEAR = {
    "gauges": (form.Gauge(gauge_id="1", gauge_serial="G-1"),),
    "fans": (form.Fan(fan_id="1", fan_serial="F-1"),),
}


def _before(name: str, coefficient: float, **more: Any) -> Any:
    return a_test(name, coefficient, stage="before", started_at_local=MARCH, **more)


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Five jobs of houses that fell from 200 to 150 m3/h at 1 Pa, each with something else beside it."""
    tests = (
        _before("1b", 200.0, job="J-1", **GEAR),
        a_test("1a", 150.0, job="J-1", **GEAR),
        _before("2b", 200.0, job="J-2"),
        a_test("2a", 150.0, job="J-2"),
        _before("3b", 200.0, job="J-3", openings=(form.Opening(opening="fireplace", opening_state="open"),)),
        a_test("3a", 150.0, job="J-3", openings=(form.Opening(opening="fireplace", opening_state="sealed"),)),
        _before("4b", 200.0, job="J-4", volume_m3=365.0),
        a_test("4a", 151.0, job="J-4"),
        a_test("4c", 150.0, job="J-4"),
        _before("5b", 200.0, job="J-5", record={"contractor": "Works", "crew": "K"}),
        a_test("5a", 230.0, job="J-5", record={"contractor": "Works", "crew": "K"}),
        a_test("6a", 150.0, job="J-6"),
        a_test("7a", 150.0, (50.0,), job="J-7", stage="before"),
    )
    return archive_of(tmp_path_factory.mktemp("pairs") / "archive", *tests)


@cache
def rows(root: Path, *arguments: Any) -> dict[str, dict[str, Any]]:
    table = reductions(root, *arguments).table
    return {row[0]: dict(zip(table.columns, row, strict=True)) for row in table.rows}


def test_the_reduction_is_that_of_the_coefficients_and_its_interval_that_of_the_parts(root: Path) -> None:
    """Same gauge and fan: only the random parts count, which the results hold; of an offset hardly anything is left."""
    row = rows(root)["J-1"]
    assert row["reduction_50_percent"] == pytest.approx(25.0, abs=1e-9)
    assert row["reduction_50_m3_h"] == pytest.approx(row["before_flow_50_m3_h"] / 4, rel=1e-9)
    random = " + ".join(f"{name}_50_percent^2" for name in RANDOM)
    ids = f"('{row['before_session_id']}', '{row['after_session_id']}')"
    sql = f"select sum({random}) from results where rule_set = 'iso9972@2015' and session_id in {ids}"
    ((squares,),) = query.query(root, sql).rows
    half_width = 1.959964 * math.sqrt(squares) / 100
    assert row["reduction_50_low_percent"] == pytest.approx(100 * (1 - 0.75 * math.exp(half_width)), abs=1e-5)
    assert row["reduction_50_high_percent"] == pytest.approx(100 * (1 - 0.75 * math.exp(-half_width)), abs=1e-5)
    assert row["is_it_real"] == "yes"
    assert row["in_words"] == "fell by 25 % (24 to 26 %): real"


def test_gear_that_nobody_recorded_widens_the_interval(root: Path) -> None:
    found = rows(root)
    width = {
        job: found[job]["reduction_50_high_percent"] - found[job]["reduction_50_low_percent"] for job in ("J-1", "J-2")
    }
    assert width["J-2"] > 3 * width["J-1"]
    assert found["J-2"]["is_it_real"] == "yes"


def test_a_mismatch_that_blocks_is_said_beside_what_the_numbers_say(root: Path) -> None:
    row = rows(root)["J-3"]
    assert row["is_it_real"] == "cannot_tell"
    assert row["in_words"].startswith("cannot tell (fell by 25 % (")
    assert "does not match: openings fireplace open before, fireplace sealed after" in row["in_words"]
    assert row["mismatches"] == "openings:blocks"


def test_two_tests_of_one_stage_that_nothing_tells_apart_are_named_and_none_is_chosen(root: Path) -> None:
    row = rows(root)["J-4"]
    assert (row["is_it_real"], row["reduction_50_percent"], row["after_session_id"]) == ("cannot_tell", None, None)
    assert row["in_words"].startswith("cannot tell: ambiguous, 2 tests of stage after (")


def test_a_rise_is_no_reduction_and_the_crew_is_to_be_asked(root: Path) -> None:
    row = rows(root)["J-5"]
    assert row["is_it_real"] == "no"
    assert row["in_words"].startswith("rose by 15 % (")
    assert "): no reduction; leakage that rises with the work may be a wrong fan setting" in row["in_words"]


def test_what_is_left_out_and_the_totals_are_said(root: Path) -> None:
    found = reductions(root)
    assert found.table.left_out == ["2 tests: no test of the other side of the work"]
    assert found.table.notes[0] == "5 pairs: 2 with a real reduction, 1 without one, 2 cannot tell"
    assert "openings 1" in found.table.notes[1] and "volume 5" not in found.table.notes[1]
    assert found.by_contractor.columns[:5] == (
        *("contractor", "pair_count", "real_count", "not_real_count", "cannot_tell_count"),
    )
    assert [row[:5] for row in found.by_contractor.rows] == [("Works", 1, 0, 1, 0), ("unknown", 4, 2, 0, 2)]


def test_a_reduction_below_the_smallest_of_practical_size_is_none(root: Path) -> None:
    assert rows(root, None, Limits(least_percent=30.0))["J-1"]["is_it_real"] == "yes"
    assert rows(root, None, Limits(least_percent=1.0))["J-5"]["is_it_real"] == "no"


def test_a_large_reduction_is_doubted(root: Path) -> None:
    row = rows(root, None, Limits(large_percent=20.0))["J-1"]
    assert "so large a reduction is hardly ever seen: ask for the fan setting of both tests" in row["in_words"]


def test_a_rule_set_that_was_not_followed_is_named_with_what_to_do(root: Path) -> None:
    with pytest.raises(UsageError, match=r"interchange recompute --rules en13829@2000"):
        reductions(root, ["en13829@2000"])


def test_tests_that_no_rule_set_is_for_are_left_out_by_kind(root: Path) -> None:
    found = reductions(root, ["astm-e1827-one-point@2011"])
    assert found.table.rows == []
    assert found.table.left_out == [
        "1 test: no test of the other side of the work",
        "12 tests of kind multi_point: no rule set followed here is for it",
    ]


def test_gear_is_taken_from_the_register_of_kit_where_the_record_does_not_name_it(tmp_path: Path) -> None:
    crew = {"record": {"crew": "K"}}
    tests = _before("b", 200.0, **crew), a_test("a", 150.0, **crew), a_test("c", 150.0, **crew, **GEAR)
    root = archive_of(tmp_path / "archive", *tests)
    kit = tmp_path / "kit.csv"
    kit.write_text(
        "crew,valid_from,valid_to,gauge_serial,fan_serial,arrangement\n"
        "K,2026-03-01,2026-03-31,G-7,F-7,open_end\nK,2026-04-01,,G-8,F-8,open_end\n"
    )
    add_to_register(root, "kit", kit)
    found = [(h.gauge_serial, h.fan_serial, h.gear_from_register) for h in read_halves(root).tests]
    assert sorted(found) == [("G-1", "F-1", False), ("G-7", "F-7", True), ("G-8", "F-8", True)]


def test_what_is_read_of_a_test_is_what_its_record_and_result_hold(tmp_path: Path) -> None:
    gear = {
        "gauges": tuple(form.Gauge(gauge_id=str(i), gauge_serial=s) for i, s in ((1, "G-9"), (2, "G-1"))),
        "fans": (form.Fan(fan_id="1", fan_serial="F-1", fan_calibrated_on=datetime(2025, 5, 2).date()),),
        "preparation": form.Preparation(exhaust_fans="off", preparation_as_recorded="as found"),
        "openings": tuple(
            form.Opening(opening=name, opening_state=state)
            for name, state in (("flue", "sealed"), ("vent", "unknown"), ("door", "open"), ("door", "closed"))
        ),
    }
    said = form.Reported(reported_flow_m3_h=9_000.0, reported_flow_pressure_pa=50.0)
    root = archive_of(tmp_path / "archive", a_test("x", 200.0, reported=said, **gear))
    (found,) = read_halves(root).tests
    assert "reported_agrees" not in found.because_of  # what a source states has no part in a comparison
    assert (found.gauge_serial, found.fan_serial, found.fan_calibrated_on) == ("G-1, G-9", "F-1", "2025-05-02")
    assert (found.exhaust_fans, found.preparation_as_recorded) == ("off", "as found")
    assert found.openings == {"flue": "sealed"}  # two states of one opening tell nothing, nor does an unknown one
    assert (found.reading_count, found.fan_configuration, found.direction_used) == (5, "full", "depressurisation")
    assert found.parts is not None and len(found.parts) == len(PARTS) and found.verdict is not None


def test_the_order_of_points_makes_no_other_readings(tmp_path: Path) -> None:
    pressures = (60.0, 50.0, 40.0, 30.0, 20.0)
    tests = (
        a_test("down", 200.0, pressures, readings_of="x"),
        a_test("up", 200.0, pressures[::-1], readings_of="x"),
        a_test("y", 200.0, pressures),
    )
    down, up, other = (half.readings for half in read_halves(archive_of(tmp_path / "archive", *tests)).tests)
    assert len({down, up, other}) == 2


# Parts of both halves in per cent: zero noise, point noise and fitted exponent differ, gauge and fan are shared.
RANDOM_SQUARES = 2 * (0.2**2 + 0.3**2 + 0.1**2)


@pytest.mark.parametrize(
    ("more", "squares"),
    [
        ({}, RANDOM_SQUARES),
        ({"gauge_serial": "G-2"}, RANDOM_SQUARES + 2 * (0.4**2 + 0.1**2)),
        ({"fan_serial": "F-2"}, RANDOM_SQUARES + 2 * 2.3**2),
        ({"fan_configuration": "half"}, RANDOM_SQUARES + 2 * 2.3**2),
        ({"windy": True}, RANDOM_SQUARES + 15.0**2 / 3),
        ({"direction_used": "both"}, RANDOM_SQUARES + 2 * 0.1**2 + 5.0**2 / 3),
        ({"direction_used": "pressurisation", "windy": True}, RANDOM_SQUARES + 0.2**2 + (5.0**2 + 15.0**2) / 3),
    ],
)
def test_what_widens_the_interval_does_so_by_its_own_square(more: dict[str, Any], squares: float) -> None:
    """Limits of 15 % for wind and 5 % for direction have standard deviations of 15 and 5 over the root of 3."""
    after = half("a", **{"flow_50_m3_h": 1500.0, "stage": "after", "started_at_local": datetime(2026, 4, 1), **more})
    (found,) = _compare([(half("b"), after)], Limits(), {})
    half_width = 1.959964 * math.sqrt(squares) / 100
    assert found.percent[1] == pytest.approx(100 * (1 - 0.75 * math.exp(half_width)), abs=1e-9)
    assert found.percent[2] == pytest.approx(100 * (1 - 0.75 * math.exp(-half_width)), abs=1e-9)


def test_wind_before_the_work_widens_as_wind_after_it_does() -> None:
    (one,) = _compare([(half("b", windy=True), half("a"))], Limits(), {})
    (other,) = _compare([(half("b"), half("a", windy=True))], Limits(), {})
    assert one.percent == other.percent and one.percent[1] is not None and one.percent[1] < -17.0


def test_a_best_estimate_in_wind_takes_the_place_of_the_result_where_points_can_tell() -> None:
    """Interval of 1,400 to 1,600 m3/h; instruments 0.4, 0.1 and 2.3 % keep their place, the rest is noise."""
    best = {"robust_flow_50_m3_h": 1490.0, "robust_flow_50_low_m3_h": 1400.0, "robust_flow_50_high_m3_h": 1600.0}
    taken = in_wind(half("a", windy=True, **best))
    assert taken.flow_50_m3_h == 1490.0 and taken.estimated
    whole = 100 * math.log(1600 / 1400) / 2 / 1.959964
    noise = math.sqrt(whole**2 - 0.4**2 - 0.1**2 - 2.3**2)
    assert taken.parts == pytest.approx((noise, 0.0, 0.0, 0.0, 0.4, 0.1, 2.3, 0.0, 0.0, 0.0), rel=1e-9)
    (said,) = mismatches(half("b"), replace(taken, stage="after"), Limits(), {})
    assert said.words("si") == "strong wind (best estimate taken) after"
    for other in (half("a", **best), half("a", windy=True), half("a", windy=True, exponent_assumed=True, **best)):
        assert in_wind(other) is other


# The demo against its maker's truth.
TRUTH: dict[str, Any] = json.loads((shipped("demo_archive") / "truth.json").read_text())
TRUE_TESTS = {
    (f"deliveries/{delivery['file']}", test["source_place"]): test
    for delivery in TRUTH["deliveries"]
    for test in delivery["tests"]
}


@pytest.fixture(scope="module")
def of_demo(demo: Path) -> Reductions:
    return reductions(demo)


@pytest.fixture(scope="module")
def demo_pairs(demo: Path, of_demo: Reductions) -> list[tuple[dict[str, Any], dict[str, Any], dict[str, Any]]]:
    """Each pair of the demo with the truth of both halves."""
    sources = query.query(demo, "select session_id, source_name, source_place from sessions").rows
    truth = {name: TRUE_TESTS[source, place] for name, source, place in sources if (source, place) in TRUE_TESTS}
    table = of_demo.table
    found = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    return [(row, truth[row["before_session_id"]], truth[row["after_session_id"]]) for row in found]


# FV-2951 is a pair of logs whose points are not found yet. Another house shows the points of FV-1906: which of both is
# the copy, no reading tells.
UNLIKE = ("FV-2951", "FV-1906")


def _true_reduction(before: dict[str, Any], after: dict[str, Any]) -> float:
    return float(100.0 * (1.0 - after["true_flow_50_m3_h"] / before["true_flow_50_m3_h"]))


def test_the_true_reduction_lies_in_the_interval_of_pairs_without_fault(demo_pairs: Any) -> None:
    """71 pairs; at 95 % four may lie outside. The maker's gear is better than the accuracies taken, so fewer do."""
    clean = [
        (row, b, a)
        for row, b, a in demo_pairs
        if not (b["fault"] or a["fault"] or b["planted"] or a["planted"]) and row["job_id"] not in UNLIKE
    ]
    assert len(clean) > 60
    outside = [
        row["job_id"]
        for row, before, after in clean
        if not row["reduction_50_low_percent"] <= _true_reduction(before, after) <= row["reduction_50_high_percent"]
    ]
    assert len(outside) <= 4, outside
    assert {row["is_it_real"] for row, _, _ in clean} == {"yes"}


def test_estimates_of_the_archive_are_read_where_it_was_assessed(demo: Path) -> None:
    read = {half.session_id: half for half in read_halves(demo).tests}
    sql = "select session_id, rule_set, robust_flow_50_m3_h from estimates where robust_flow_50_m3_h is not null"
    found = [row for row in query.query(demo, sql).rows if read[row[0]].rule_set == row[1]]
    assert len(found) > 250
    assert all(read[name].robust_flow_50_m3_h == flow for name, _, flow in found)


def test_strong_wind_stays_within_the_wider_interval(demo_pairs: Any) -> None:
    windy = [
        (row, b, a)
        for row, b, a in demo_pairs
        if "windy:widens" in row["mismatches"] and not (b["fault"] or a["fault"])
    ]
    assert len(windy) > 10
    assert all(
        row["reduction_50_low_percent"] <= _true_reduction(b, a) <= row["reduction_50_high_percent"]
        for row, b, a in windy
    )


def test_a_pair_that_its_maker_calls_sound_has_nothing_that_blocks(demo_pairs: Any) -> None:
    sound = [
        row
        for row, b, a in demo_pairs
        if all(test["expected"]["before_after"].startswith("sound:") for test in (b, a)) and row["job_id"] not in UNLIKE
    ]
    assert len(sound) > 20
    assert {row["is_it_real"] for row in sound} == {"yes"}
    assert not any("blocks" in row["mismatches"] for row in sound)


def test_a_wrong_fan_setting_after_the_work_is_no_reduction_and_raises_a_doubt(demo_pairs: Any) -> None:
    ((row, _, _),) = [one for one in demo_pairs if one[0]["job_id"] == "FV-3010"]
    assert row["is_it_real"] == "no"
    assert row["in_words"].startswith("rose by 103 %")
    assert "wrong fan setting" in row["in_words"] and "opening of the fan half before, full after" in row["in_words"]


def test_points_copied_from_another_house_are_found(demo_pairs: Any) -> None:
    ((row, _, _),) = [one for one in demo_pairs if one[0]["job_id"] == "FV-1906"]
    assert row["is_it_real"] == "cannot_tell"
    assert "readings those of FV-1907 before" in row["in_words"]


def test_the_demo_leaves_out_what_its_maker_sent_again_or_tested_again(of_demo: Reductions) -> None:
    fitted = [test for test in TRUE_TESTS.values() if test["kind"] in ("single_point", "multi_point")]
    again = sum(any(words.startswith("resend_of") for words in test["planted"]) for test in fitted)
    retested = sum(any(words.startswith("retest_of") for words in test["planted"]) for test in fitted)
    left_out = of_demo.table.left_out
    assert f"{again} tests: sent again with the same readings; the record taken in last stands" in left_out
    assert f"{retested} tests: tested again later in the same stage" in left_out


def test_the_command_prints_pairs_and_says_totals_beside_them(demo: Path) -> None:
    done = CliRunner().invoke(cli, ["reductions", "--archive", str(demo)], catch_exceptions=False)
    assert done.exit_code == EXIT_DONE
    assert "fell by 50 % (48 to 52 %): real" in done.stdout
    assert "note: 126 pairs: " in done.stderr and "left out: 16 tests: sent again" in done.stderr
    done = CliRunner().invoke(cli, ["reductions", "--by-contractor", "--archive", str(demo)], catch_exceptions=False)
    assert done.stdout.splitlines()[-1].split()[:3] == ["Quillby", "Home", "Energy"]


def test_data_forms_hold_every_column(demo: Path, of_demo: Reductions) -> None:
    for form_name in ("csv", "json"):
        arguments = ["reductions", "--archive", str(demo), "--format", form_name]
        done = CliRunner().invoke(cli, arguments, catch_exceptions=False)
        assert done.exit_code == EXIT_DONE
        assert all(name in done.stdout for name in of_demo.table.columns)


def test_swapping_both_halves_mirrors_what_the_numbers_say() -> None:
    one: Half = half("b", flow_50_m3_h=2000.0)
    other: Half = half("a", flow_50_m3_h=1600.0, direction_used="pressurisation")
    forth, back = compare_halves([one], [other]), compare_halves([other], [one])
    assert forth.log_ratio[0] == pytest.approx(-back.log_ratio[0], rel=1e-12)
    assert forth.standard_deviation[0] == pytest.approx(back.standard_deviation[0], rel=1e-12)
