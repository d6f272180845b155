"""Which results are repeats of each other, and what their agreement says of the stated intervals."""

from __future__ import annotations

import math
from collections import Counter
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from halves_by_hand import a_test, archive_of, half

from interchange.analysis.uncertainty import PARTS
from interchange.archive import query
from interchange.cli.main import cli
from interchange.errors import EXIT_DONE
from interchange.model import session as form
from interchange.operations.both_directions import both_directions
from interchange.operations.halves import read_halves
from interchange.operations.repeats import Repeats, _groups, _repeated, repeats

APRIL = datetime(2026, 4, 1, 9, 0)


def found(*tests: Any, most_days: int = 60) -> tuple[list[tuple[str, str, str]], dict[str, int]]:
    out = Counter[str]()
    pairs = [
        (pair.sort, pair.first.session_id, pair.second.session_id)
        for pair in _repeated(_groups(tests, out), most_days, out)
    ]
    return pairs, {why: count for why, count in out.items() if count}


def at(days: int, hours: int = 0) -> datetime:
    return APRIL + timedelta(days=days, hours=hours)


def test_tests_of_a_stage_are_repeats_each_of_the_one_before_it() -> None:
    tests = [half(f"t{i}", started_at_local=at(i // 2, i)) for i in (2, 0, 1)]
    assert found(*tests, half("x", job_id="J-2"), half("y", stage="after")) == (
        [("same_day", "t0", "t1"), ("same_stage", "t1", "t2")],
        {},
    )


@pytest.mark.parametrize(
    "more",
    [{"retest_of": "one"}, {"retest_of": "J-1"}, {"attempt_number": 2}],
)
def test_what_the_record_calls_a_retest_is_one_however_late(more: dict[str, Any]) -> None:
    one = half("one", started_at_local=at(0), attempt_number=1)
    assert found(one, half("two", started_at_local=at(90), **more)) == ([("retest", "one", "two")], {})


@pytest.mark.parametrize(
    ("more", "why"),
    [
        ({"started_at_local": at(61)}, "far_apart"),
        ({"readings": 7}, "sent_again"),
        ({"supersedes": "one"}, "replaced"),
        ({"flow_50_m3_h": None, "parts": None}, "no_flow"),
        ({"verdict": "retest_advised"}, "not_sound"),
        ({"verdict": "cannot_tell"}, "not_sound"),
        ({"started_at_local": None}, "no_start"),
        ({"boundary": "unit_total"}, "unlike"),
        ({"exhaust_fans": "on"}, "unlike"),
        ({"stage": None}, "no_stage"),
        ({"job_id": None, "site_id": None}, "no_house"),
    ],
)
def test_what_is_no_repeat_is_counted_by_its_reason(more: dict[str, Any], why: str) -> None:
    one = half("one", started_at_local=at(0), readings=7)
    assert found(one, half("two", **{"started_at_local": at(1), **more})) == ([], {why: 1})


def test_work_between_two_tests_of_a_stage_is_supposed_after_the_days_that_are_given() -> None:
    tests = half("one", started_at_local=at(0)), half("two", started_at_local=at(3))
    assert found(*tests, most_days=3)[0] == [("same_stage", "one", "two")]
    assert found(*tests, most_days=2) == ([], {"far_apart": 1})


GEAR = {"gauges": (form.Gauge(gauge_id="1", gauge_serial="G-1"),), "fans": (form.Fan(fan_id="1", fan_serial="F-1"),)}


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A house tested twice alike, one tested twice with 10 % between, one sent twice, one run both ways."""
    later = {"started_at_local": at(0, 2)}
    tests = (
        a_test("1a", 150.0, job="J-1", **GEAR),
        a_test("1c", 150.0, job="J-1", **GEAR, **later),
        a_test("2a", 150.0, job="J-2", **GEAR),
        a_test("2c", 165.0, job="J-2", **GEAR, **later),
        a_test("3a", 150.0, job="J-3"),
        a_test("3c", 150.0, job="J-3", readings_of="3a", volume_m3=410.0),
        a_test("4a", 150.0, job="J-4", both=True),
        a_test("5a", 150.0, job="J-5", readings_of="4a"),
    )
    return archive_of(tmp_path_factory.mktemp("repeats") / "archive", *tests)


def test_repeats_that_agree_and_that_do_not_are_counted_by_their_sort(root: Path) -> None:
    done = repeats(root)
    rows = [dict(zip(done.table.columns, row, strict=True)) for row in done.table.rows]
    assert [(row["repeat_sort"], row["windy"], row["pair_count"], row["agreeing_count"]) for row in rows] == [
        ("same_day", False, 2, 1),
        ("both_directions", False, 1, 1),
    ]
    assert rows[0]["agreeing_percent"] == 50.0 and rows[0]["expected_percent"] == 95.0
    # Wilson for one of two, by hand: (1 + 1.9207 -+ 1.96 sqrt(0.5 + 0.9604)) / 5.8415
    assert rows[0]["agreeing_low_percent"] == pytest.approx(9.453, abs=1e-3)
    assert rows[0]["agreeing_high_percent"] == pytest.approx(90.547, abs=1e-3)
    assert rows[0]["stated_intervals"] == "cannot_tell"
    assert done.table.left_out == ["1 test: sent again with the same readings, which is no repeat"]
    assert done.table.notes[2] == (
        "of 3 repeat pairs without strong wind 2 agree: too few to tell whether the stated intervals are right"
    )


def test_each_pair_is_shown_with_its_difference_and_what_would_pass(root: Path) -> None:
    done = repeats(root)
    rows = [dict(zip(done.each.columns, row, strict=True)) for row in done.each.rows]
    apart = next(row for row in rows if row["job_id"] == "J-2")
    assert apart["repeat_difference_percent"] == pytest.approx(10.0, abs=1e-9)
    assert apart["agrees"] is False and 0 < apart["repeat_limit_percent"] < 10.0
    assert [row["agrees"] for row in rows] == [
        row["repeat_difference_percent"] <= row["repeat_limit_percent"] for row in rows
    ]


def test_both_directions_of_a_test_share_gear_and_a_baseline_that_acts_the_other_way_round(root: Path) -> None:
    """The limit by hand from the parts of each direction, as a test of that direction alone has them."""
    read = read_halves(root)
    (both,) = [one for one in read.tests if one.direction_used == "both"]
    (one,) = both_directions(root, read.version, [both], read.rule_sets)
    (alone,) = [half_ for half_ in read.tests if half_.job_id == "J-5"]
    assert one.depressurised.parts == pytest.approx(alone.parts, rel=1e-12)
    assert one.depressurised.flow_50_m3_h == pytest.approx(alone.flow_50_m3_h, rel=1e-12)
    assert one.same_zero
    assert one.depressurised.direction_used == "depressurisation" and one.pressurised.direction_used == "pressurisation"
    assert one.depressurised.flow_50_m3_h == pytest.approx(one.pressurised.flow_50_m3_h, rel=1e-12)
    down, up = (dict(zip(PARTS, half_.parts or (), strict=True)) for half_ in (one.depressurised, one.pressurised))
    squares = sum((down[name] + up[name]) ** 2 for name in ("zero_noise", "zero_shift", "gauge_offset"))
    squares += sum(down[name] ** 2 + up[name] ** 2 for name in ("point_noise", "fitted_exponent"))
    squares += sum((down[name] - up[name]) ** 2 for name in ("gauge_gain", "fan_flow"))
    (row,) = [row for row in repeats(root).each.rows if row[0] == "both_directions"]
    limit = dict(zip(repeats(root).each.columns, row, strict=True))["repeat_limit_percent"]
    assert limit == pytest.approx(100 * math.expm1(1.959964 * math.sqrt(squares) / 100), rel=1e-9)


@pytest.fixture(scope="module")
def of_demo(demo: Path) -> Repeats:
    return repeats(demo)


def test_in_the_demo_both_directions_agree_with_and_without_temperatures(demo: Path, of_demo: Repeats) -> None:
    """The maker's tables of both directions give no temperatures: densities stay uncorrected, and intervals say so."""
    done = of_demo
    agree = {row[2]: row[8] for row in done.each.rows if row[0] == "both_directions"}
    sql = """
        select distinct s.job_id from results r join sessions s using (session_id)
        where r.direction_used = 'both' and s.indoor_temperature_c is null
    """
    without = {job for (job,) in query.query(demo, sql).rows}
    assert without and without < agree.keys() and all(agree.values())
    assert any(words.startswith("checks that speak against a test of the") for words in done.table.notes)


def test_in_still_air_tests_repeated_in_the_demo_agree(of_demo: Repeats) -> None:
    rows = [dict(zip(of_demo.each.columns, row, strict=True)) for row in of_demo.each.rows]
    still = [row for row in rows if row["repeat_sort"] != "both_directions" and not row["windy"]]
    assert still and all(row["agrees"] for row in still)
    assert sum(row["windy"] for row in rows) >= 4


def test_the_command_says_how_many_agree(demo: Path) -> None:
    done = CliRunner().invoke(cli, ["repeats", "--archive", str(demo)], catch_exceptions=False)
    assert done.exit_code == EXIT_DONE
    assert "both directions" in done.stdout
    assert "note: of 16 repeat pairs without strong wind 16 agree: too few to tell whether the stated" in done.stderr
    each = CliRunner().invoke(cli, ["repeats", "--each", "--archive", str(demo)], catch_exceptions=False)
    assert "FV-2034" in each.stdout


def test_an_archive_without_repeats_says_so(tmp_path: Path) -> None:
    done = repeats(archive_of(tmp_path / "archive", a_test("1", 150.0)))
    assert (done.table.rows, done.each.rows) == ([], [])
    assert done.table.notes == [
        "no repeat pairs",
        "rule sets followed: iso9972@2015, astm-e1827-one-point@2011",
    ]
