"""Registers against tests: gaps, what a register does not know, values that differ, fans past their calibration."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner

from interchange.cli.main import cli
from interchange.errors import UsageError
from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
from interchange.operations.register import add_to_register
from interchange.operations.register_check import check_register
from interchange.resources import shipped

SHEET = shipped("demo_archive") / "deliveries" / "ostrel" / "tests-week-06.csv"  # crews O1 and O2, February 2026


@pytest.fixture
def root(tmp_path: Path) -> Path:
    root = new_archive(tmp_path / "a", "Fennick Vale")
    import_files(root, [SHEET], recompute=False)
    return root


def add(root: Path, name: str, text: str) -> None:
    file = root.parent / f"{name}.csv"
    file.write_text(text)
    add_to_register(root, name, file)


def found(root: Path, name: str) -> list[dict[str, Any]]:
    table = check_register(root, name)
    return [dict(zip(table.columns, row, strict=True)) for row in table.rows]


def test_a_day_without_a_row_and_a_crew_without_any_are_findings(root: Path) -> None:
    assert {(row["finding"], row["register_value"]) for row in found(root, "crews")} == {
        ("not in the register", "O1"),
        ("not in the register", "O2"),
    }
    add(root, "crews", "crew,valid_from,valid_to,contractor\nO1,2026-02-01,,Other Ltd\nO2,2026-01-01,2026-01-31,X\n")
    rows = {(row["finding"], row["field"], row["register_value"]): row for row in found(root, "crews")}
    assert set(rows) == {("no row on that day", "crew", "O2"), ("differs", "contractor", "Other Ltd")}
    assert rows["differs", "contractor", "Other Ltd"]["recorded_value"] == "Ostrel Retrofit"
    assert str(rows["no row on that day", "crew", "O2"]["first_day"]) >= "2026-02-01"


def test_jobs_that_are_not_in_the_register_or_were_never_tested_are_findings(root: Path) -> None:
    jobs = {row["recorded_value"] for row in found(root, "jobs")}
    assert len(jobs) == len({row["job_id"] for row in found(root, "jobs")}) > 1
    known = sorted(jobs)
    text = "".join(f"{job},\n" for job in known[1:])
    add(root, "jobs", f"job_id,before_expected_on\nNEVER,2025-01-02\n{text}")
    rows = [(row["finding"], row["job_id"], row["register_value"]) for row in found(root, "jobs")]
    assert rows == [("not in the register", known[0], None), ("expected and not there", "NEVER", "before")]


def test_the_demo_knows_the_fan_that_was_carried_past_its_calibration(demo: Path) -> None:
    (row,) = found(demo, "calibrations")
    assert (row["finding"], row["register_value"], row["job_id"]) == ("no row on that day", "F-0088", "FV-1928")
    assert found(demo, "crews") == []
    assert {(row["register_value"], row["recorded_value"]) for row in found(demo, "kit")} == {
        ("branched", "open_end"),
        ("several_facades", "branched"),
    }


def test_a_register_goes_out_as_the_csv_that_comes_in(demo: Path, tmp_path: Path) -> None:
    for name in ("jobs", "crews", "kit", "calibrations"):
        out = tmp_path / f"{name}.csv"
        arguments = ["register", "show", name, "--archive", demo, "--format", "csv", "--output", out]
        assert CliRunner().invoke(cli, [str(one) for one in arguments]).exit_code == 0
        again = add_to_register(demo, name, out)
        assert (again.new, again.rows) == (0, again.known_already)


def test_findings_end_with_exit_code_1_and_an_unknown_register_is_named(root: Path) -> None:
    assert CliRunner().invoke(cli, ["register", "check", "crews", "--archive", str(root)]).exit_code == 1
    with pytest.raises(UsageError, match="one of jobs, crews, kit, calibrations"):
        check_register(root, "fans")
