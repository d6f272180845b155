"""Two rule sets side by side, and thresholds by climate zone, over an archive of four invented tests."""

from __future__ import annotations

import hashlib
import json
from pathlib import Path

import pytest
from click.testing import CliRunner

from interchange.archive import query
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.cli.main import cli
from interchange.files import Source
from interchange.model import session as form
from interchange.model.document import session_id
from interchange.model.question import Import, Mapped
from interchange.operations.compare import _changes, compare_rule_sets
from interchange.operations.recompute import leakage_table, recompute_archive

PRESSURES_PA = (60.0, 50.0, 40.0, 30.0, 20.0)


def a_test(of: Source, job: str, kind: str, outdoor_c: float, pressures_pa: tuple[float, ...]) -> form.Session:
    points = tuple(
        form.Point(
            envelope_pressure_pa=-pressure - 1.0,
            baseline_removed=False,
            fan_readings=(form.FanReading(fan_id="1", flow_m3_h=200.0 * pressure**0.65, flow_basis="indicated"),),
        )
        for pressure in pressures_pa
    )
    run = form.Run(
        run_number=1,
        direction="depressurisation",
        baseline_before_pressure_pa=-1.0,
        baseline_after_pressure_pa=-1.0,
        points=points,
    )
    return form.Session(
        session_id=session_id(of.sha256, "file"),
        kind=kind,
        record=form.RecordKeeping(job_id=job),
        time=form.Time(),
        building=form.Building(volume_m3=400.0, climate_zone="6 A"),
        conditions=form.Conditions(indoor_temperature_c=21.0, outdoor_temperature_c=outdoor_c),
        runs=(run,),
        source=form.SourceOfRecord(
            source_name=of.name,
            source_sha256=of.sha256,
            source_size_bytes=of.size_bytes,
            source_encoding="utf-8",
            source_place="file",
            plugin_id="invented",
            plugin_version="1",
            plugin_fingerprint="f" * 8,
        ),
    )


@pytest.fixture(scope="module")
def root(tmp_path_factory: pytest.TempPathFactory) -> Path:
    store = Store.create(tmp_path_factory.mktemp("two") / "archive", Settings("P"))
    imports = []
    for job, kind, outdoor_c, pressures_pa in (
        ("J-20", "multi_point", 20.0, PRESSURES_PA),
        ("J-0", "multi_point", 0.0, PRESSURES_PA),
        ("J-3", "multi_point", 20.0, PRESSURES_PA[:3]),
        ("J-1", "single_point", 0.0, (50.0,)),
    ):
        content = job.encode()
        of = Source(f"{job}.csv", hashlib.sha256(content).hexdigest(), len(content), content)
        imports.append(Import(of, "imported", mapped=Mapped((a_test(of, job, kind, outdoor_c, pressures_pa),))))
    store.commit(imports)
    return store.root


def test_the_difference_is_laid_at_the_correction_that_makes_it(root: Path) -> None:
    """ISO 9972 leaves viscosity alone, ASTM E779 does not: at 0 degrees Celsius and 0.65, 1.025041 against 1.008216.

    Both factors are entries of check_values.json. At 20 degrees nothing differs, so that test is not in the table.
    """
    table = compare_rule_sets(root, "iso9972@2015", "astm-e779@2019").table
    rows = {row["job_id"]: row for row in (dict(zip(table.columns, row, strict=True)) for row in table.rows)}
    cold = rows["J-0"]
    expected = 100.0 * (1.008216 / 1.025041 - 1.0)
    assert cold["change_percent"] == pytest.approx(expected, abs=1e-3)
    assert cold["share_reference_percent"] == pytest.approx(expected, abs=1e-3)
    others = [name for name in table.columns if name.startswith("share_") and name != "share_reference_percent"]
    assert len(others) == 5 and all(cold[name] == pytest.approx(0.0, abs=1e-9) for name in others)
    assert cold["flow_50_m3_h"] * (1 + expected / 100) == pytest.approx(cold["other_flow_50_m3_h"], rel=1e-5)
    assert "J-20" not in rows
    assert any("1 test" in words and "same value" in words for words in table.left_out)
    assert any("1 test of kind single_point" in words for words in table.left_out)


def test_a_verdict_that_changes_is_said_with_what_leads_to_it(root: Path) -> None:
    """Three points: ISO 9972's five were read and fail a test, ASTM E779's five are from memory and make it suspect."""
    table = compare_rule_sets(root, "iso9972@2015", "astm-e779@2019").table
    (row,) = [dict(zip(table.columns, row, strict=True)) for row in table.rows if row[0] == "J-3"]
    assert abs(row["change_percent"]) < 0.05
    assert "low_pressure_and_exponent: retest_advised to note (" in row["verdict_changes"]
    assert "publishable: retest_advised to note (" in row["verdict_changes"]


def test_the_reasons_of_a_verdict_are_told_by_what_goes_and_what_comes() -> None:
    uses = {
        "flow_at_50": {
            "a": ("retest_advised", "correlation;baseline_spread"),
            "b": ("note", "baseline_spread;wind_strength"),
        },
        "before_after": {"a": ("note", "wind_strength"), "b": ("note", "baseline_spread")},
        "publishable": {"a": ("retest_advised", "point_count"), "b": ("note", "point_count")},
    }
    assert _changes(uses, "a", "b") == (
        "flow_at_50: retest_advised to note (no longer correlation; now wind_strength); "
        "publishable: retest_advised to note (otherwise point_count)"
    )


def test_another_fit_has_a_share_of_its_own_and_all_shares_make_the_change(root: Path) -> None:
    table = compare_rule_sets(root, "en13829@2000", "cgsb-149.10@2019").table
    for row in (dict(zip(table.columns, row, strict=True)) for row in table.rows):
        together = 1.0
        for name in (name for name in table.columns if name.startswith("share_")):
            together *= 1.0 + row[name] / 100.0
        assert 100.0 * (together - 1.0) == pytest.approx(row["change_percent"], abs=1e-9)
        assert row["verdict_changes"] == ""
    assert len(table.rows) == 1  # all points lie on one line, so weights move none; viscosity moves the cold one
    assert [words for words in table.notes if "preview" in words] == [
        f"verdicts are not compared: {name} is a preview and gives none"
        for name in ("en13829@2000", "cgsb-149.10@2019")
    ]


@pytest.mark.parametrize("form_", ["table", "csv", "json"])
def test_the_command_compares_in_every_form(root: Path, form_: str) -> None:
    arguments = ["recompute", "--archive", str(root), "--compare", "iso9972@2015", "astm-e779@2019", "--format", form_]
    done = CliRunner().invoke(cli, arguments, catch_exceptions=False)
    assert done.exit_code == 0 and "J-0" in done.stdout and "J-20" not in done.stdout
    if form_ == "json":
        assert json.loads(done.stdout)[0]["rule_set"] == "iso9972@2015"


def test_comparing_does_not_go_with_rules_nor_a_rule_set_with_itself(root: Path) -> None:
    arguments = ["recompute", "--archive", str(root), "--compare", "iso9972@2015"]
    done = CliRunner().invoke(cli, [*arguments, "astm-e779@2019", "--rules", "iso9972@2015"])
    assert done.exit_code == 2 and "--rules" in done.output
    with pytest.raises(Exception, match="two different rule sets"):
        CliRunner().invoke(cli, [*arguments, "iso9972@2015"], catch_exceptions=False)


def test_thresholds_know_the_climate_zone_of_a_stored_test(root: Path, tmp_path: Path) -> None:
    own = tmp_path / "ours@2026.toml"
    own.write_text(
        'id = "ours"\nedition = "2026"\ntitle = "Ours"\nfollows = "iso9972@2015"\napplies_to = ["multi_point"]\n'
        'status = "practice"\n[[thresholds]]\nof = "air_changes"\nat_most = 1.0\nunit = "1/h"\nprovenance = "read"\n'
        'source = "contract"\nclimate_zones = ["6 a"]\n'
    )
    done = recompute_archive(root, [str(own)])
    table = leakage_table(root, done)
    assert {row[table.columns.index("conforms")] for row in table.rows} == {"no"}
    sql = "select distinct conforms_because from results where rule_set = 'ours@2026'"
    assert list(query.query(root, sql).rows) == [("threshold 1, air changes at 50 Pa",)]
