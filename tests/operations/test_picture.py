"""A test as a picture: the points that were corrected, the line through them, the log; and the order of the page."""

from __future__ import annotations

import math
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest
from click.testing import CliRunner, Result

from interchange.cli.main import cli
from interchange.errors import EXIT_DONE, EXIT_USAGE, UsageError
from interchange.operations.account import account_tests
from interchange.operations.show import show_tests
from interchange.report.picture_of_test import Picture, RunPoints, Stretch, TracePlot, _drawn, svg
from interchange.report.svg import Axis, log_axis

SVG = "{http://www.w3.org/2000/svg}"


def run(demo: Path, *arguments: object) -> Result:
    words = [*map(str, arguments), "--archive", str(demo)]
    return CliRunner().invoke(cli, words, catch_exceptions=False)


def drawn(demo: Path, job: str, file: Path) -> ElementTree.Element:
    done = run(demo, "show", job, "--picture", file)
    assert (done.exit_code, f"wrote {file}" in done.stderr) == (EXIT_DONE, True)
    return ElementTree.parse(file).getroot()


def texts(root: ElementTree.Element) -> list[str]:
    return [str(text.text) for text in root.iter(f"{SVG}text")]


def test_a_test_is_drawn_with_its_points_twice_and_the_line_through_them(demo: Path, tmp_path: Path) -> None:
    """FV-2037 holds 9 points; once on the line, once beside it, once in the legend. Its line is that of the steps."""
    root = drawn(demo, "FV-2037", tmp_path / "test.svg")
    assert len(list(root.iter(f"{SVG}circle"))) == 2 * 9 + 1
    (document,) = account_tests(demo, "FV-2037")
    fit = next(step for step in document["rule_sets"][1]["steps"] if step["step"] == "power_law")
    numbers = {number["symbol"]: number["value"] for number in fit["parts"][0]["numbers"]}
    (law,) = (re.fullmatch(r"([\d.]+) · dp\^([\d.]+)", text) for text in texts(root) if "dp^" in text)
    assert law is not None
    assert float(law[1]) == pytest.approx(numbers["C"], abs=0.05)
    assert float(law[2]) == pytest.approx(numbers["n"], abs=5e-4)


def test_points_that_the_line_does_not_go_by_are_crossed_and_said(demo: Path, tmp_path: Path) -> None:
    root = drawn(demo, "FV-1926", tmp_path / "test.svg")
    hollow = [circle for circle in root.iter(f"{SVG}circle") if circle.get("fill") == "none"]
    assert len(hollow) == 2  # on the line's plot and on that of what is left
    assert any("crossed: 1 left out" in text for text in texts(root))


def test_a_log_is_drawn_with_the_points_found_in_it(demo: Path, tmp_path: Path) -> None:
    """Both logs of FV-2951 hold five points between two baselines."""
    root = drawn(demo, "FV-2951", tmp_path / "test.svg")
    said = "bars: means of what was found in the log; shaded: points (5); others: baselines"
    assert texts(root).count(said) == 2
    shaded = [rect for rect in root.iter(f"{SVG}rect") if rect.get("fill") == "#f3ead2"]
    assert len(shaded) == 10


def test_what_holds_no_readings_cannot_be_drawn(demo: Path, tmp_path: Path) -> None:
    with pytest.raises(UsageError, match="no point with a flow, and no log of pressures"):
        show_tests(demo, "206", picture=tmp_path / "test.svg")
    assert not (tmp_path / "test.svg").exists()
    both = run(demo, "show", "FV-2037", "--steps", "--picture", tmp_path / "test.svg")
    assert (both.exit_code, "leave out --steps" in both.stderr) == (EXIT_USAGE, True)


def picture(**more: object) -> Picture:
    points = RunPoints("run <1>", [20.0, 50.0, 60.0], [100.0, 180.0, 200.0], [False, False, False], (15.0, 0.64), False)
    parts = {"title": "A & B", "lines": [], "flow_unit": "m3/h", "runs": [points], "traces": [], "stretches": []}
    return Picture(**{**parts, **more})  # type: ignore[arg-type]


def test_words_from_records_are_escaped(demo: Path) -> None:
    root = ElementTree.fromstring(svg([picture()]))
    assert {"A & B", "run <1>"} <= set(texts(root))


def test_one_point_has_its_line_dashed_and_no_plot_of_what_is_left() -> None:
    alone = RunPoints("run 1", [48.0], [180.0], [False], (15.0, 0.65), True)
    text = svg([picture(runs=[alone])])
    assert "flow beside the line" not in text and "stroke-dasharray='6 4'" in text
    assert "flow beside the line" in svg([picture()])


def test_a_trace_breaks_where_values_are_missing_and_keeps_its_extremes() -> None:
    across = Axis(0.0, 1000.0, 0.0, 10.0, [])  # twenty columns of half a pixel, fifty samples each
    values = [math.sin(t / 3.0) for t in range(1000)]
    values[77], values[500] = 9.0, math.nan
    pieces = list(_drawn(TracePlot("x", range(1000), values), across))
    assert len(pieces) == 2
    assert (77, 9.0) in pieces[0]
    assert sum(map(len, pieces)) <= 2 * 21
    stretch = Stretch(0.0, 10.0, -50.0, True)
    text = svg([picture(runs=[], traces=[TracePlot("x", range(1000), values)], stretches=[stretch])])
    assert "nan" not in text


def test_axes_name_four_values_at_least() -> None:
    for values in ([50.0], [18.0, 62.0], [700.0, 2300.0], [1.0, 1000.0]):
        assert len(log_axis(values, 0.0, 400.0).ticks) >= 4


def test_a_page_begins_with_the_result_and_what_speaks_against_it(demo: Path) -> None:
    (view,) = show_tests(demo, "FV-2036")
    titles = [section.title.split(";")[0] for section in view.sections]
    assert titles == [
        "Result",
        "Verdict by iso9972@2015",
        "Checks by iso9972@2015",
        "Wind and reference line, by iso9972@2015",
        "Safety",
        "How sure the result by iso9972@2015 is (95 %)",
        "Flow at 50 Pa",
        "What each correction did to the displayed flow at 50 Pa",
        "Run 1, depressurisation",
        "What the source reports",
        "Recorded",
        "Limits",
    ]
    assert view.sections[0].lines[0] == (
        "By iso9972@2015: 2,509 m3/h at 50 Pa (95 %: 2,257 to 2,790), 6.47 air changes an hour, exponent 0.491."
    )
    levels = [line.split(":")[0] for line in view.sections[2].lines]
    order = ["fail", "suspect", "missing", "not evaluated", "pass", "note"]
    assert levels == sorted(levels, key=order.index) and levels[0] == "fail"


def test_a_result_without_readings_begins_with_what_the_source_reports(demo: Path) -> None:
    (view,) = show_tests(demo, "206")
    assert view.sections[0].title == "What the source reports"
    assert view.sections[-2].title == "Recorded"


def test_what_is_not_judged_begins_with_what_was_recorded(demo: Path) -> None:
    (view,) = show_tests(demo, "FV-2044")
    assert [section.title for section in view.sections][:2] == ["Recorded", "Channels"]
