"""Two lines side by side in the demo, held against its truth; what cannot be compared; the weather beside tests."""

from __future__ import annotations

import json
import math
from pathlib import Path
from typing import Any
from xml.etree import ElementTree

import numpy as np
import pytest
from click.testing import CliRunner

from interchange.cli.main import cli
from interchange.errors import EXIT_DONE, EXIT_USAGE
from interchange.operations.side_by_side import compare_lines
from interchange.operations.weather import wind_of_tests
from interchange.report.lines import HONEST, Said, sentences
from interchange.report.picture_of_lines import Panels, svg
from interchange.resources import shipped

TRUTH = json.loads((shipped("demo_archive") / "truth.json").read_text())["deliveries"]
LINES = {
    test["job_id"]: test for delivery in TRUTH for test in delivery["tests"] if test.get("line_a_spread_pa") is not None
}


def rows(root: Path, *names: str, **more: Any) -> list[dict[str, Any]]:
    table = compare_lines(root, names, **more).table
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def test_spreads_of_the_demo_are_those_of_its_truth(demo: Path) -> None:
    found = {row["job_id"]: row for row in rows(demo) if row["compared_part"] == "all"}
    assert set(LINES) <= set(found)
    for job, true in LINES.items():
        row = found[job]
        # the truth is of the readings as shown, and rounded to 0.01 Pa
        assert row["first_spread_pa"] == pytest.approx(true["line_a_spread_pa"], abs=0.02)
        assert row["second_spread_pa"] == pytest.approx(true["line_b_spread_pa"], abs=0.02)
        assert row["spread_ratio_low"] < row["spread_ratio"] < row["spread_ratio_high"]


def test_on_the_windy_day_the_branched_line_is_calmer_and_follows_slow_changes(demo: Path) -> None:
    (row,) = (row for row in rows(demo, "FV-2962", plan_ratio=0.8) if row["compared_part"] == "all")
    assert (row["first_line"], row["second_line"]) == ("north", "manifold")
    assert row["spread_ratio_high"] < 0.8
    assert row["slow_correlation_low"] > 0.5
    assert 10 < row["minutes_to_see"] < 60
    assert row["clock_offset_s"] is None  # a mean of ten minutes and a quarter of an hour do not tell a clock
    (again,) = (row for row in rows(demo, "FV-2962", plan_ratio=0.9) if row["compared_part"] == "all")
    assert again["minutes_to_see"] / row["minutes_to_see"] == pytest.approx((math.log(0.8) / math.log(0.9)) ** 2)


def test_a_test_with_the_fan_is_left_out_and_says_why(demo: Path) -> None:
    found = compare_lines(demo, ["FV-2037"])
    assert found.table.rows == []
    assert found.table.left_out == [
        "FV-2037: a test with the fan; lines are compared in records with the fan off",
    ]


def test_the_command_ends_each_record_with_what_spread_is_not(demo: Path, tmp_path: Path) -> None:
    picture = tmp_path / "lines.svg"
    arguments = ["compare-lines", "FV-2962", "--plan", "0.8", "--picture", str(picture), "--archive", str(demo)]
    result = CliRunner().invoke(cli, arguments)
    assert result.exit_code == EXIT_DONE
    plain = " ".join(result.stdout.split())
    assert "manifold is the calmer line." in plain
    assert plain.endswith(HONEST)
    root = ElementTree.fromstring(picture.read_text())
    assert root.tag.endswith("svg")
    as_data = CliRunner().invoke(cli, ["compare-lines", "FV-2962", "--format", "json", "--archive", str(demo)])
    assert json.loads(as_data.stdout)[0]["job_id"] == "FV-2962"
    wrong = CliRunner().invoke(cli, ["compare-lines", "--plan", "1", "--archive", str(demo)])
    assert wrong.exit_code == EXIT_USAGE


def test_sentences_say_cannot_tell_where_nothing_is_told() -> None:
    nothing = (math.nan, math.nan, math.nan)
    said = Said(
        names=("A", "B"),
        ends=("open end", "not recorded"),
        minutes=1.0,
        wind_m_s=math.nan,
        wind_is=None,
        spreads_pa=(math.nan, math.nan),
        ratio=nothing,
        difference_pa=nothing,
        slow=nothing,
        offset=nothing,
        offset_told=False,
        notes=(),
        plan=(0.8, math.nan),
    )
    assert list(sentences(said)) == [
        "Outdoor ends: A, open end. B, not recorded.",
        "1 min of both lines, wind unknown.",
        "Too few readings of both lines at the same moment to compare their spread.",
        "The mean difference of the lines cannot be told.",
        "Whether the lines follow the same slow changes cannot be told: too few minutes, or one line stands still.",
        "How far the clock of the weather record is off cannot be told from the wind that both have seen.",
        "How long to measure to see a ratio of 0.8 cannot be told from this record.",
        HONEST,
    ]


def test_a_picture_breaks_its_lines_where_readings_are_missing_and_holds_no_stray_markup() -> None:
    nan = math.nan
    one = Panels("a < b", ("<A>", "B"), [nan], ([nan], [nan]), [0, 1, 2], ([1, nan, 2], [1, 1, 1]), [0.5], [nan])
    text = svg([one])
    ElementTree.fromstring(text)
    assert "nan" not in text
    assert "&lt;A&gt;" in text


def test_the_winds_of_a_test_are_its_own_first_and_then_that_of_a_station(demo: Path) -> None:
    table = wind_of_tests(demo)
    found = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    of_one = [row for row in found if row["job_id"] == "FV-2962"]
    # a row of the ridge station at 11:00 UTC on 21 November 2025 (it records every ten minutes)
    (row,) = of_one
    lines = (shipped("demo_archive") / "deliveries/office/weather/ridge 2025-11-17.txt").read_text().splitlines()
    (entry,) = (line.split("\t") for line in lines if line.startswith("45982.458333"))
    assert row["wind_station"] == "FENNICK RIDGE"
    assert row["wind_speed_m_s"] == pytest.approx(float(entry[1]) / 3.6)
    assert row["wind_gust_m_s"] == pytest.approx(float(entry[2]) / 3.6)
    assert (row["wind_apart_s"], row["wind_averaging_s"], row["wind_height_m"]) == (0.0, 600.0, 10.0)
    assert row["house_wind_low_m_s"] < row["house_wind_m_s"] < row["house_wind_high_m_s"]
    both = [row for row in found if row["wind_source"] != "station"]
    assert both
    for first in both:
        same = [row for row in found if row["session_id"] == first["session_id"]]
        assert same[0] == first  # what the crew recorded stands first
    words = [row for row in found if row["wind_beaufort_low"] is not None]
    assert words and all(row["house_wind_m_s"] is None for row in words)


def test_a_gust_that_was_not_reported_is_no_gust_of_nought(demo: Path) -> None:
    table = wind_of_tests(demo)
    found = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    none = [row for row in found if row["wind_source"] == "station" and row["wind_gust_none_reported"]]
    assert none
    assert {row["wind_gust_m_s"] for row in none} == {None}
    assert not np.isnan([row["wind_speed_m_s"] for row in none]).any()
