"""Shares of tests by group: what is counted, what is asked, what is small, and what was left out."""

from __future__ import annotations

import csv
import io
import subprocess
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

import duckdb
import pytest
from click.testing import CliRunner
from halves_by_hand import a_test

from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.cli.main import cli
from interchange.errors import EXIT_DONE, EXIT_USAGE
from interchange.model.question import Delivery, Import, Mapped
from interchange.operations.assess import assess_archive
from interchange.operations.measures import FIRST_ASKED, GROUPS, MEASURES
from interchange.operations.recompute import recompute_archive
from interchange.operations.trends import trends
from interchange.report.trends import flow_line

HIGH = (60.0, 50.0, 40.0, 30.0, 20.0)
LOW = (60.0, 50.0, 40.0, 30.0, 5.0)  # the last lies below 10 Pa, the least that stands clear of a baseline of -1 Pa
# crew, pressures: crew A loses its low points at 2 of 4 tests, B at 0 of 3, AA at its only one, and one test names none
TESTED = (
    *(("A", LOW), ("A", LOW), ("A", HIGH), ("A", HIGH)),
    *(("B", HIGH), ("B", HIGH), ("B", HIGH)),
    *(("AA", LOW), (None, HIGH), ("B", (50.0,))),
)


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    rules = ("as_displayed", "iso9972@2015", "astm-e1827-one-point@2011")
    store = Store.create(tmp_path_factory.mktemp("trends") / "a", Settings("Invented", rule_sets=rules))
    imports: dict[str, list[Import]] = {"north": [], "south": []}
    for number, (crew, pressures) in enumerate(TESTED):
        started = datetime(2026, 1 + number // 5, 10, 9, 0)
        of, session = a_test(f"t{number}", 200.0, pressures, started_at_local=started, record={"crew": crew})
        imports["north" if number < 6 else "south"].append(Import(of, "imported", mapped=Mapped((session,))))
    for sender, ones in imports.items():
        store.commit(ones, delivery=Delivery(sender, sender))
    recompute_archive(store.root)
    return store.root


def rows(root: Path, *names: str, **asked: Any) -> list[tuple[Any, ...]]:
    table = trends(root, **asked).table
    places = [table.columns.index(name) for name in names]
    return [tuple(row[place] for place in places) for row in table.rows]


def test_a_share_is_of_the_tests_that_were_asked_and_small_groups_stand_below_unranked(archive: Path) -> None:
    names = ("trend_by", "trend_group", "test_count", "asked_count", "found_count", "share_percent", "small_group")
    assert rows(archive, *names, measures=["low_points_lost"], fewest=3) == [
        ("all", "all", 10, 9, 3, pytest.approx(100 / 3), False),
        ("crew", "A", 4, 4, 2, 50.0, False),
        ("crew", "B", 4, 3, 0, 0.0, False),  # its test of one point has no low points to lose
        ("crew", "AA", 1, 1, 1, 100.0, True),
        ("crew", "unknown", 1, 1, 0, 0.0, True),
    ]
    small = rows(archive, "trend_group", "small_group", measures=["low_points_lost"], fewest=4)
    assert small == [("all", False), ("A", False), ("AA", True), ("B", True), ("unknown", True)]


def test_an_interval_stands_with_each_share_and_what_is_not_computed_yet_is_null(archive: Path) -> None:
    """2 of 4 by Wilson: (2 + 1.92073 -+ 1.96 sqrt(1 + 0.96036)) / 7.84146 = 15.00 and 85.00 %."""
    names = ("share_low_percent", "share_high_percent", "adjusted_share_percent", "limit_low_percent")
    found = rows(archive, "trend_group", *names, "limit_high_percent", measures=["low_points_lost"])
    assert [row for row in found if row[0] == "A"] == [
        ("A", pytest.approx(15.00, abs=0.01), pytest.approx(85.00, abs=0.01), None, None, None)
    ]


def test_tests_are_grouped_by_who_sent_them_and_by_month(archive: Path) -> None:
    names = ("trend_by", "trend_group", "asked_count", "found_count")
    found = rows(archive, *names, by=["sender", "month"], measures=["low_points_lost"], fewest=1)
    assert found[1:] == [
        ("sender", "north", 6, 2),
        ("sender", "south", 3, 1),
        ("month", "2026-01", 5, 2),
        ("month", "2026-02", 4, 1),
    ]


def test_every_measure_and_every_group_can_be_asked_and_needs_estimates_only_where_it_names_them(archive: Path) -> None:
    without = trends(archive, by=list(GROUPS), measures=list(MEASURES)).table
    measure, by = (without.columns.index(name) for name in ("measure", "trend_by"))
    assert {row[measure] for row in without.rows} == {*MEASURES} - {"differs_in_wind"}
    assert {row[by] for row in without.rows} == {"all", *GROUPS}
    assert without.left_out == [
        "Wind: the best estimate lies more than 5 % at 50 Pa or 10 % at 10 Pa from the result: no best estimates of "
        "this state of the archive; the assess command makes them"
    ]


def test_a_test_of_one_point_is_not_asked_whether_wind_moved_it(archive: Path, tmp_path: Path) -> None:
    import shutil

    root = shutil.copytree(archive, tmp_path / "a")
    assess_archive(root)
    (whole,) = rows(root, "test_count", "asked_count", by=[], measures=["differs_in_wind"])
    assert whole == (10, 9)


def test_the_flow_line_says_what_was_counted_and_what_was_left_out(archive: Path) -> None:
    found = trends(archive)
    assert found.flow == ("10 records: 10 tests; 9 judged by iso9972@2015, 1 by astm-e1827-one-point@2011.")
    assert found.page[0].lines[0] == found.flow
    others = {"summary": 221, "not_tested": 40, "other_test": 1, "weather": 0}
    assert flow_line(9_551, others, {"a@1": 2_141, "b@2": 7_400}) == (
        "9,813 records: 9,551 tests; 221 results without readings, 40 not tested, 1 other test left out; "
        "7,400 judged by b@2, 2,141 by a@1, 10 judged by no rule set."
    )


@pytest.mark.parametrize(
    ("speed", "source", "low", "high", "band"),
    [
        (1.5, "station", None, None, "calm"),
        (1.6, "station", None, None, "light"),  # force 2 begins
        (5.4, "model", None, None, "light"),
        (5.5, "on_site_mast", None, None, "strong"),  # force 4 begins
        (0.5, "on_site_hand", None, None, "calm, measured near the ground"),
        (0.5, None, None, None, "calm, measured at an unknown place"),
        (None, "observer_word", 0, 1, "calm"),
        (None, "observer_word", 2, 2, "light"),
        (None, "observer_word", 1, 3, "calm or light"),
        (None, "observer_word", 3, 4, "light or strong"),
        (None, "observer_word", 4, 5, "strong"),
        (None, None, None, None, None),
    ],
)
def test_the_band_of_the_wind(
    speed: float | None, source: str | None, low: int | None, high: int | None, band: str | None
) -> None:
    columns = "wind_speed_m_s, wind_source, wind_beaufort_low, wind_beaufort_high"
    sql = f"select {GROUPS['wind_band'].column} from (values (?::double, ?::text, ?::int, ?::int)) s({columns})"
    assert duckdb.execute(sql, [speed, source, low, high]).fetchall() == [(band,)]


def test_the_command_prints_a_page_or_data(archive: Path) -> None:
    run = CliRunner().invoke
    page = run(cli, ["trends", "--archive", str(archive), "--fewest", "3"], catch_exceptions=False)
    assert (page.exit_code, page.stderr) == (EXIT_DONE, "")
    lines = page.stdout.splitlines()
    assert lines[1] == "Counted"
    assert "A                  4      2      50.0    15.0     85.0" in lines
    assert "AA                 1      1     100.0    20.7    100.0  small" in lines
    data = run(cli, ["trends", "--archive", str(archive), "--format", "csv"], catch_exceptions=False)
    assert next(csv.DictReader(io.StringIO(data.stdout)))["trend_by"] == "all"
    assert "note: 10 records: 10 tests; " in data.stderr
    assert run(cli, ["trends", "--archive", str(archive), "--by", "fan"]).exit_code == EXIT_USAGE


def test_counting_loads_no_arrays(archive: Path) -> None:
    code = (
        "import sys\nfrom pathlib import Path\nfrom interchange.operations.trends import trends\n"
        f"trends(Path({str(archive)!r}), measures={FIRST_ASKED!r})\n"
        "print(*{'numpy', 'pyarrow', 'pydantic', 'scipy'} & set(sys.modules))"
    )
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "\n"
