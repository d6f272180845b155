"""A result without readings on one screen: as reported, checked, carried to other pressures, never recomputed."""

from __future__ import annotations

from pathlib import Path

import pytest

from interchange.operations import show
from interchange.operations.importing import import_files
from interchange.operations.listing import list_tests
from interchange.operations.new import new_archive
from interchange.operations.recompute import leakage_table, recompute_archive
from interchange.operations.show import WITHOUT_READINGS, show_tests
from interchange.resources import shipped

LEDGER = shipped("demo_archive") / "deliveries" / "office" / "old results 2020.csv"


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = new_archive(tmp_path_factory.mktemp("reported") / "a", "x")
    import_files(root, [LEDGER])
    return root


def lines(view: show.TestView, title: str) -> tuple[str, ...]:
    return next((section.lines for section in view.sections if section.title.startswith(title)), ())


def test_a_reported_flow_is_carried_to_other_pressures_with_what_the_exponent_leaves_open(archive: Path) -> None:
    """Job 206: 1,878 cfm = 3,190.7 m3/h at 50 Pa, no exponent: 3,190.7 x 0.2^0.65 = 1,121; 95 %: 928 and 1,354."""
    (view,) = show_tests(archive, "206")
    flows, areas, exponent = lines(view, "Reported values at other pressures")
    assert "1,121 m3/h (928 to 1,354) at 10 Pa" in flows
    assert "at 50 Pa" not in flows
    assert areas.count("discharge coefficient") == 3
    assert exponent == "In brackets what the exponent leaves open (95 %): 0.65 +- 0.06 assumed, as houses have it."


def test_a_reported_exponent_is_followed_and_named(archive: Path) -> None:
    (view,) = show_tests(archive, "205")
    assert "0.66 as reported, +- 0.02" in lines(view, "Reported values at other pressures")[-1]


def test_nothing_is_said_to_be_recomputed(archive: Path) -> None:
    (view,) = show_tests(archive, "206")
    titles = [section.title for section in view.sections]
    assert "Flow at 50 Pa" not in titles
    assert lines(view, "Verdict by as_reported") == (WITHOUT_READINGS,)
    assert not any(line.startswith("note:") for line in lines(view, "Checks by as_reported"))


def test_lists_say_what_became_of_results_without_readings(archive: Path) -> None:
    listed = list_tests(archive).table
    kind, flow, verdict = (listed.columns.index(name) for name in ("kind", "flow_50_m3_h", "flow_at_50"))
    rows = [row for row in listed.rows if row[kind] == "summary"]
    assert rows and {(row[flow], row[verdict]) for row in rows} == {(None, "cannot_tell")}
    said: list[str] = []
    done = recompute_archive(archive, progress=said.append)
    assert said == ["recomputed 0 tests"]
    table = leakage_table(archive, done)
    assert table.rows == []
    assert table.left_out[-1] == (
        f"{len(rows)} tests of kind summary: results without readings, nothing to recompute; "
        "values of 0 do not fit together (view checks)"
    )
