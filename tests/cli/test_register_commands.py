"""The register commands on an archive, and what a register does to results."""

from __future__ import annotations

import csv
import hashlib
import io
import json
import math
from pathlib import Path

import pytest
from click.testing import CliRunner, Result

from interchange.archive import registers
from interchange.archive.store import Store
from interchange.cli.main import cli
from interchange.errors import EXIT_DONE, ArchiveError, SourceError, UsageError
from interchange.files import Source
from interchange.model import session as form
from interchange.model.document import session_id
from interchange.model.question import Import, Mapped
from interchange.operations.recompute import recompute_archive
from interchange.operations.register import add_to_register

FANS = """\
fan_serial,fan_configuration,fan_calibrated_on,fan_calibration_due_on,fan_coefficient_m3_h,fan_exponent
F-0093,full,2025-05-12,2026-05-12,492.0,0.5
F-0093,half,2025-05-12,2026-05-12,171.0,0.505
"""


def _run(*arguments: str | Path) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], catch_exceptions=False)


@pytest.fixture
def archive(tmp_path: Path) -> Path:
    root = tmp_path / "a"
    assert _run("new", root, "--yes", "--rules", "as_displayed", "--rules", "iso9972@2015").exit_code == EXIT_DONE
    return root


def _file(tmp_path: Path, text: str) -> Path:
    path = tmp_path / "given.csv"
    path.write_text(text)
    return path


def test_rows_go_in_and_come_out_in_each_form(archive: Path, tmp_path: Path) -> None:
    done = _run("register", "add", "calibrations", _file(tmp_path, FANS), "--archive", archive)
    assert (done.exit_code, done.stdout) == (EXIT_DONE, "")
    assert done.stderr == (
        "2 new, 0 known already; the register calibrations has 2 rows. "
        "Results from before no longer hold: run the recompute command.\n"
    )
    again = _run("register", "add", "calibrations", _file(tmp_path, FANS), "--archive", archive)
    assert again.stderr == "0 new, 2 known already; the register calibrations has 2 rows.\n"
    table = _run("register", "show", "calibrations", "--archive", archive)
    assert "F-0093" in table.stdout and "492" in table.stdout and table.exit_code == EXIT_DONE
    rows = json.loads(_run("register", "show", "calibrations", "--archive", archive, "--format", "json").stdout)
    assert [(row["fan_configuration"], row["fan_calibrated_on"], row["fan_exponent"]) for row in rows] == [
        ("full", "2025-05-12", 0.5),
        ("half", "2025-05-12", 0.505),
    ]
    shown = _run("register", "show", "calibrations", "--archive", archive, "--format", "csv").stdout
    assert shown.encode() == registers.path(archive, "calibrations").read_bytes()
    assert _run("archive", "verify", "--archive", archive).exit_code == EXIT_DONE


def test_an_empty_register_shows_the_columns_of_its_file(archive: Path) -> None:
    for name in registers.NAMES:
        shown = _run("register", "show", name, "--archive", archive, "--format", "csv").stdout
        assert shown.encode() == registers.path(archive, name).read_bytes()
        assert len(shown.splitlines()) == 1


def test_a_faulty_file_changes_nothing(archive: Path, tmp_path: Path) -> None:
    before = registers.path(archive, "calibrations").read_bytes()
    file = _file(tmp_path, FANS + "F-0093,full,12.05.2025,,1,1\n")
    with pytest.raises(SourceError, match=r"given\.csv, row 4, column 'fan_calibrated_on': found '12\.05\.2025'"):
        _run("register", "add", "calibrations", file, "--archive", archive)
    assert registers.path(archive, "calibrations").read_bytes() == before


def test_wrong_names_and_places_are_told(archive: Path, tmp_path: Path) -> None:
    file = _file(tmp_path, FANS)
    for arguments in (("add", "fans", file), ("show", "fans")):
        with pytest.raises(UsageError, match="found 'fans'; expected one of jobs, crews, kit, calibrations"):
            _run("register", *arguments, "--archive", archive)
        with pytest.raises(ArchiveError, match=r"no archive\.toml"):
            _run("register", arguments[0], "kit", *arguments[2:], "--archive", tmp_path / "elsewhere")


def _by_fan_pressure(root: Path) -> form.Session:
    """A test of three points by fan pressures alone, committed: 60, 40 and 20 Pa with 41, 25 and 10 Pa at the fan."""
    store = Store.open(root)
    source = Source("one.csv", hashlib.sha256(b"one").hexdigest(), 3, b"one")
    points = tuple(
        form.Point(
            envelope_pressure_pa=-pressure,
            baseline_removed=True,
            fan_readings=(form.FanReading(fan_id="1", fan_configuration="full", fan_pressure_pa=fan),),
        )
        for pressure, fan in ((60.0, 41.0), (40.0, 25.0), (20.0, 10.0))
    )
    made = form.Session(
        session_id=session_id(source.sha256, "file"),
        kind="multi_point",
        record=form.RecordKeeping(job_id="FV-1"),
        time=form.Time(started_at_local="2026-02-03T10:42:00"),
        fans=(form.Fan(fan_id="1", fan_serial="F-0093"),),
        runs=(form.Run(run_number=1, direction="depressurisation", points=points),),
        source=form.SourceOfRecord(
            source_name=source.name,
            source_sha256=source.sha256,
            source_size_bytes=3,
            source_encoding="utf-8",
            source_place="file",
            plugin_id="p",
            plugin_version="1",
            plugin_fingerprint="f" * 8,
        ),
    )
    store.commit([Import(source, "imported", "p", "1", "f" * 8, Mapped(sessions=(made,)))])
    return made


def _recomputed(root: Path) -> dict[str, str]:
    done = _run("recompute", "--archive", root, "--rules", "iso9972@2015", "--format", "csv")
    return next(csv.DictReader(io.StringIO(done.stdout))) | {"said": done.stderr}


def test_a_fan_pressure_becomes_a_flow_by_the_register_and_the_result_says_so(archive: Path, tmp_path: Path) -> None:
    made = _by_fan_pressure(archive)
    before = _recomputed(archive)
    assert before["flow_50_m3_h"] == ""
    assert "there is neither a flow nor a fan calibration" in before["said"]
    _run("register", "add", "calibrations", _file(tmp_path, FANS), "--archive", archive)
    after = _recomputed(archive)
    # by hand: flows 492 sqrt(41, 25, 10), no temperatures and so no densities; the line through three points
    flows = [492.0 * math.sqrt(p) for p in (41.0, 25.0, 10.0)]
    x, y = [math.log(p) for p in (60.0, 40.0, 20.0)], [math.log(q) for q in flows]
    mean_x, mean_y = sum(x) / 3, sum(y) / 3
    slope = sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / sum((a - mean_x) ** 2 for a in x)
    expected = math.exp(mean_y + slope * (math.log(50.0) - mean_x))
    assert float(after["flow_50_m3_h"]) == pytest.approx(expected, rel=1e-9)
    assert after["displayed_flow_50_m3_h"] == ""
    assert "1 of 1 results: The fan calibration was taken from the register." in after["said"]
    shown = _run("show", "FV-1", "--archive", archive)
    assert f"{expected:,.0f}" in shown.stdout
    assert list(Store.open(archive).snapshot().sessions()) == [made]


def test_results_that_a_calibration_came_in_between_do_not_hold_either(archive: Path, tmp_path: Path) -> None:
    _by_fan_pressure(archive)
    file = _file(tmp_path, FANS)
    recompute_archive(archive, progress=lambda _: add_to_register(archive, "calibrations", file) and None)
    with pytest.raises(ArchiveError, match="before a change of the register of calibrations"):
        _run("query", "select * from results", "--archive", archive)


def test_results_from_before_a_calibration_are_not_shown_as_if_they_held(archive: Path, tmp_path: Path) -> None:
    _by_fan_pressure(archive)
    _run("recompute", "--archive", archive)
    _run("register", "add", "calibrations", _file(tmp_path, FANS), "--archive", archive)
    listed = _run("list", "--archive", archive, "--format", "csv")
    assert "has not been recomputed" in listed.stderr
    with pytest.raises(ArchiveError, match="before a change of the register of calibrations"):
        _run("query", "select * from results", "--archive", archive)
