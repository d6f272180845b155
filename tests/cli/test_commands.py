"""Commands through click's runner on the demo archive: exit code and both streams."""

from __future__ import annotations

import csv
import io
import json
import re
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner, Result

from interchange.cli.main import COMMANDS, cli, main
from interchange.errors import EXIT_ANSWER_IS_NO, EXIT_DONE, EXIT_USAGE, UsageError
from interchange.operations.demo import run_demo
from interchange.resources import shipped

DELIVERIES = shipped("demo_archive") / "deliveries"
TRUTH: list[dict[str, Any]] = json.loads((shipped("demo_archive") / "truth.json").read_text())["deliveries"]
TESTS = [(delivery["file"], test) for delivery in TRUTH for test in delivery["tests"]]
NO_TEST = "weather"
OVER_RANGE = "00420"
NOT_READ = "WHAT WAS NOT READ"


def _of_kind(*kinds: str) -> int:
    return sum(test["kind"] in kinds for _, test in TESTS)


@pytest.fixture(scope="module")
def archive(tmp_path_factory: pytest.TempPathFactory) -> Path:
    root = tmp_path_factory.mktemp("commands") / "demo"
    run_demo(root)
    return root


def _run(*arguments: str | Path, **more: str) -> Result:
    return CliRunner().invoke(cli, [str(argument) for argument in arguments], catch_exceptions=False, **more)


def test_new_asks_once_for_what_is_not_given(tmp_path: Path) -> None:
    answers = "Fennick Vale\nEurope/Dublin\nimperial\n\n"
    done = _run("new", tmp_path / "a", input=answers)
    assert done.exit_code == EXIT_DONE
    assert done.stdout == ""
    settings = (tmp_path / "a" / "archive.toml").read_text()
    assert 'programme = "Fennick Vale"' in settings
    assert 'time_zone = "Europe/Dublin"' in settings
    assert 'units = "imperial"' in settings
    agreed = '"as_displayed", "iso9972@2015", "astm-e1827-one-point@2011", "astm-e1827-two-point@2011"'
    assert f'rule_sets = [{agreed}, "as_reported"]' in settings


def test_import_says_what_became_of_each_file_and_that_not_all_came_in(tmp_path: Path) -> None:
    _run("new", tmp_path / "a", "--yes")
    done = _run("import", DELIVERIES / "harrow", "--archive", tmp_path / "a", "--format", "csv", "--no-recompute")
    assert done.exit_code == EXIT_ANSWER_IS_NO
    rows = list(csv.DictReader(io.StringIO(done.stdout)))
    assert {row["source_name"]: row["outcome"] for row in rows}["harrow/FV-2038-before.csv"] == "refused"
    sent = [delivery for delivery in TRUTH if delivery["file"].startswith("harrow/")]
    new = [delivery for delivery in sent if delivery["outcome"] == "imported"]
    beside = sum(len(delivery["companions"]) for delivery in new)
    assert sorted(rows[0]) == ["outcome", "plugin_id", "reason", "session_count", "source_name"]
    assert len(rows) == len(sent) + beside
    assert done.stderr.splitlines()[-1] == (
        f"{len(rows)} files: {len(new)} new ({sum(len(delivery['tests']) for delivery in new)} tests), "
        f"{len(sent) - len(new)} refused (0 tests), {beside} read with its test (0 tests)."
    )
    assert "harrow/FV-2038-before.csv, row 48, column 'Envelope': found '58,x'" in done.stderr


def test_a_dry_run_writes_nothing(tmp_path: Path) -> None:
    _run("new", tmp_path / "a", "--yes")
    before = sorted(path for path in (tmp_path / "a").rglob("*"))
    done = _run("import", DELIVERIES / "ostrel", "--archive", tmp_path / "a", "--dry-run")
    tests = sum(delivery["test_count"] for delivery in TRUTH if delivery["file"].startswith("ostrel/"))
    assert f"read ({tests} tests)" in done.stderr and "Nothing was written (dry run)." in done.stderr
    assert sorted(path for path in (tmp_path / "a").rglob("*")) == before


def test_list_and_query_give_the_same_tests(archive: Path) -> None:
    done = _run("list", "--archive", archive, "--format", "json")
    listed = json.loads(done.stdout)
    sql = f"select session_id from sessions where kind <> '{NO_TEST}'"
    asked = json.loads(_run("query", sql, "--archive", archive, "--format", "json").stdout)
    assert {row["session_id"] for row in listed} == {row["session_id"] for row in asked}
    assert len(listed) == len(asked) == len(TESTS) - _of_kind(NO_TEST)
    assert f"left out: {_of_kind(NO_TEST)} weather records: no test;" in done.stderr
    computed = [row["job_id"] for row in listed if row["flow_50_m3_h"] is not None]
    assert sorted(computed) == sorted(
        test["job_id"]
        for _, test in TESTS
        if test["kind"] in ("single_point", "two_point", "multi_point") and test["job_id"] != OVER_RANGE
    )


def test_an_older_state_is_listed_without_results(archive: Path) -> None:
    done = _run("list", "--archive", archive, "--as-of", "0", "--format", "csv")
    assert done.stdout.splitlines()[1:] == []
    assert "has not been recomputed" in done.stderr


def test_show_names_the_test_by_job_or_by_id(archive: Path) -> None:
    by_job = _run("show", "FV-2037", "--archive", archive)
    session_id = by_job.stdout.split("test    ")[1][:24]
    assert _run("show", session_id[:8], "--archive", archive).stdout == by_job.stdout
    assert "From before to after the points the baseline moved by -8.4 Pa" in " ".join(by_job.stdout.split())
    assert "Safety" in by_job.stdout


def test_show_steps_prints_the_whole_calculation_as_a_page_or_as_data(archive: Path) -> None:
    page = _run("show", "FV-2037", "--archive", archive, "--steps")
    assert (page.exit_code, page.stderr) == (EXIT_DONE, "1 test\n")
    assert page.stdout.index("(as_displayed)") < page.stdout.index("(iso9972@2015)")
    assert "p0 = (p_before + p_after) / 2 = ((-1.26) + (-9.65)) / 2 = -5.455 Pa" in page.stdout
    assert "point 1: dp = (-59.6) - (-5.455) = -54.145 Pa" in page.stdout
    data = _run("show", "FV-2037", "--archive", archive, "--steps", "--format", "json")
    (document,) = json.loads(data.stdout)
    assert [rules["rule_set"] for rules in document["rule_sets"]] == ["as_displayed", "iso9972@2015"]
    (step,) = [step for step in document["rule_sets"][1]["steps"] if step["step"] == "baseline"]
    assert step["parts"][0]["numbers"][-1] == {
        "symbol": "p0",
        "words": "baseline",
        "value": -5.455,
        "decimals": 3,
        "printed": "-5.455",
        "unit": "Pa",
        "equation": "(p_before + p_after) / 2",
        "with_values": "((-1.26) + (-9.65)) / 2",
        "from": None,
    }


@pytest.mark.parametrize(
    ("job", "code", "said"),
    [
        ("2", EXIT_ANSWER_IS_NO, "A record of this kind is not recomputed: there are no steps to show."),
        ("FV-2951", EXIT_ANSWER_IS_NO, "This record holds no points: there are no steps to show."),
        ("00376", EXIT_DONE, "A record of this kind is not recomputed: there are no steps to show."),
    ],
    ids=["summary", "without points", "two tests and one of something else"],
)
def test_show_steps_says_where_there_are_none(archive: Path, job: str, code: int, said: str) -> None:
    done = _run("show", job, "--archive", archive, "--steps")
    assert done.exit_code == code
    assert said in done.stdout
    assert ("(as_displayed)" in done.stdout) == (code == EXIT_DONE)
    data = json.loads(_run("show", job, "--archive", archive, "--steps", "--format", "json").stdout)
    assert any(document["remarks"] == [said] and document["rule_sets"] == [] for document in data)


def test_show_steps_wants_a_test_there_is_and_a_form_wants_steps(archive: Path) -> None:
    with pytest.raises(UsageError, match="a job number or the id of a test in the archive") as unknown:
        _run("show", "FV-0000", "--archive", archive, "--steps")
    assert unknown.value.exit_code == EXIT_USAGE
    without = _run("show", "FV-2037", "--archive", archive, "--format", "json")
    assert without.exit_code == EXIT_USAGE
    assert "--format is for --steps" in without.stderr


def test_imperial_archives_show_imperial_tables_and_si_data(tmp_path: Path) -> None:
    _run("new", tmp_path / "a", "--yes", "--units", "imperial")
    _run("import", DELIVERIES / "ostrel" / "tests-week-06.csv", "--archive", tmp_path / "a")
    table = _run("recompute", "--archive", tmp_path / "a").stdout
    data = _run("recompute", "--archive", tmp_path / "a", "--format", "csv").stdout
    first = next(csv.DictReader(io.StringIO(data)))
    assert "cfm" in table and "m3/h" not in table
    assert f"{float(first['reported_flow_m3_h']) / 1.69901079552:,.0f}" == "1,589"
    assert "1,589" in table


def _validate_a_rule_set(path: Path) -> None:
    guide = (shipped("schema") / "rules" / "README.md").read_text()
    blocks = [block.split("```")[0] for block in guide.split("```toml\n")[1:]]
    path.write_text(blocks[0])
    fine = _run("schema", "validate", path)
    assert fine.exit_code == EXIT_DONE
    assert fine.stderr.splitlines()[0] == f"{path}: valid"
    path.write_text(blocks[0] + blocks[1])
    faulty = _run("schema", "validate", path)
    assert faulty.exit_code == EXIT_ANSWER_IS_NO
    shown = guide.split("```text\n")[1].split("```")[0]
    assert faulty.stderr.splitlines()[0] == f"{path}: 3 faults"
    assert " ".join(shown.split()) == " ".join(" ".join(faulty.stderr.splitlines()[1:]).split())


def test_export_hands_on_what_schema_validate_accepts(archive: Path, tmp_path: Path) -> None:
    done = _run("export", "--as", "session", "--into", tmp_path / "out", "--archive", archive)
    documents = sorted((tmp_path / "out").glob("*.session.json"))
    assert done.exit_code == EXIT_DONE and len(documents) == len(TESTS)
    sql = "select distinct session_id from channels where sample_count > 0"
    traced = json.loads(_run("query", sql, "--archive", archive, "--format", "json").stdout)
    assert sorted(path.name for path in (tmp_path / "out").glob("*.traces.csv")) == sorted(
        f"{row['session_id']}.traces.csv" for row in traced
    )
    assert len(traced) >= _of_kind("monitoring", "weather")
    assert _run("schema", "validate", *documents).exit_code == EXIT_DONE
    broken = json.loads(documents[0].read_text()) | {"colour": "red"}
    (tmp_path / "broken.json").write_text(json.dumps(broken))
    _validate_a_rule_set(tmp_path / "vale@2026.toml")
    refused = _run("schema", "validate", tmp_path / "broken.json")
    assert refused.exit_code == EXIT_ANSWER_IS_NO
    assert "column 'colour': found an unknown field" in refused.stderr


def test_tidy_export_holds_every_reading(archive: Path, tmp_path: Path) -> None:
    _run("export", "--as", "tidy", "--into", tmp_path, "--archive", archive)
    points = list(csv.DictReader((tmp_path / "points.csv").open()))
    traces = list(csv.DictReader((tmp_path / "traces.csv").open()))
    asked = _run("query", "select count(*) from fan_readings", "--archive", archive, "--format", "csv").stdout
    values = _run("query", "select sum(len(values)) from traces", "--archive", archive, "--format", "csv").stdout
    assert len(points) == int(asked.splitlines()[1]) > 50
    assert len(traces) == int(values.splitlines()[1]) > 5_000


def test_a_rule_set_of_ones_own_is_followed_and_a_broken_one_named(archive: Path, tmp_path: Path) -> None:
    text = (shipped("schema") / "rules" / "iso9972@2015.toml").read_text()
    own = tmp_path / "ours@2026.toml"
    own.write_text(
        text.replace('"iso9972"', '"ours"').replace('"2015"', '"2026"').replace("minimum = 5", "minimum = 99")
    )
    done = _run("recompute", "--archive", archive, "--rules", own, "--format", "json")
    assert {row["rule_set"] for row in json.loads(done.stdout)} == {"ours@2026"}
    sql = (
        "select level, count(*) from checks where rule_set = 'ours@2026' and check_name = 'point_count' "
        "group by level order by level"
    )
    asked = _run("query", sql, "--archive", archive, "--format", "csv")
    assert asked.stdout.splitlines()[1:] == [f"4,{_of_kind('multi_point')}"]
    own.write_text(own.read_text().replace('name = "power_law"', 'name = "magic"'))
    with pytest.raises(Exception, match="magic"):
        _run("recompute", "--archive", archive, "--rules", own)
    _run("recompute", "--archive", archive)


def test_thresholds_of_a_programme_are_answered_in_the_table_the_views_and_on_the_screen(
    archive: Path, tmp_path: Path
) -> None:
    own = tmp_path / "ours@2026.toml"
    own.write_text(
        'id = "ours"\nedition = "2026"\ntitle = "Ours"\nfollows = "iso9972@2015"\napplies_to = ["multi_point"]\n'
        'status = "practice"\n[[thresholds]]\nof = "air_changes"\nat_most = 6.5\nunit = "1/h"\nprovenance = "read"\n'
        'source = "contract"\n'
    )
    done = _run("recompute", "--archive", archive, "--rules", own, "--format", "json")
    rows = json.loads(done.stdout)
    assert {row["conforms"] for row in rows} >= {"yes", "no"}
    for row in rows:
        if row["conforms"] in ("yes", "no"):
            assert (row["air_change_50_per_h"] <= 6.5) == (row["conforms"] == "yes")
    sql = "select threshold_value, threshold_limit from results where rule_set = 'ours@2026' and conforms = 'no'"
    asked = json.loads(_run("query", sql, "--archive", archive, "--format", "json").stdout)
    assert len(asked) == sum(row["conforms"] == "no" for row in rows)
    assert all(row["threshold_limit"] == 6.5 < row["threshold_value"] for row in asked)
    assert "climate zone" not in done.stderr
    by_zone = tmp_path / "ours@2027.toml"
    by_zone.write_text(own.read_text().replace("2026", "2027") + 'climate_zones = ["6Z"]\n')
    done = _run("recompute", "--archive", archive, "--rules", by_zone, "--format", "json")
    assert "climate zone '6Z' of ours@2027: no test is recorded in it (recorded: none)" in done.stderr
    _run("new", tmp_path / "a", "--yes", "--rules", own)
    _run("import", DELIVERIES / "harrow" / "FV-2039-before.csv", "--archive", tmp_path / "a")
    met = next(row["conforms"] for row in rows if row["job_id"] == "FV-2039")
    words = {"yes": "met", "no": "not met"}[met]
    shown = _run("show", "FV-2039", "--archive", tmp_path / "a").stdout
    assert f"Thresholds of the programme: {words} (threshold 1, air changes at 50 Pa)." in shown
    own.write_text(own.read_text().replace('"1/h"', '"m3/h/m2"'))
    with pytest.raises(Exception, match=r"ours@2026.toml, column 'thresholds.0'.*unit 1/h for air_changes"):
        _run("recompute", "--archive", archive, "--rules", own)
    _run("recompute", "--archive", archive)


def test_plugin_commands_end_well_on_what_is_shipped() -> None:
    for arguments in (["list"], ["check"], ["explain", str(DELIVERIES / "quillby" / "february.csv")]):
        assert _run("plugin", *arguments).exit_code == EXIT_DONE
    unknown = _run("plugin", "explain", DELIVERIES / "quillby" / "branch-office-tests.csv")
    assert unknown.exit_code == EXIT_ANSWER_IS_NO
    assert "No one plugin reads branch-office-tests.csv." in unknown.stderr


def test_parquet_goes_to_a_file(archive: Path, tmp_path: Path) -> None:
    import pyarrow.parquet as pq

    _run("list", "--archive", archive, "--format", "parquet", "--output", tmp_path / "tests.parquet")
    assert pq.read_table(tmp_path / "tests.parquet").num_rows == len(TESTS) - _of_kind(NO_TEST)


def test_an_output_that_cannot_be_written_ends_in_one_text(archive: Path, tmp_path: Path) -> None:
    with pytest.raises(Exception, match=r"found No such file or directory; expected a place that can be written to"):
        _run("list", "--archive", archive, "--output", tmp_path / "nowhere" / "x.csv")


def test_tests_that_no_rule_set_followed_is_for_are_counted(archive: Path) -> None:
    done = _run("recompute", "--archive", archive, "--rules", "iso9972@2015", "--format", "csv")
    left_out = [line for line in done.stderr.splitlines() if line.startswith("left out: ")]
    assert left_out == [
        f"left out: {_of_kind(kind)} test{'s' * (_of_kind(kind) != 1)} of kind {kind}: "
        "no rule set followed here is for it"
        for kind in ("monitoring", "not_tested", "other_test", "single_point", "summary", "two_point")
    ]
    _run("recompute", "--archive", archive)


def test_a_sheet_without_signs_is_noted(tmp_path: Path) -> None:
    sheet = (DELIVERIES / "ostrel" / "tests-week-06.csv").read_text()
    head, *rows = sheet.splitlines()
    column = head.split(",").index("House pressure (Pa)")
    unsigned = [",".join(c.lstrip("-") if i == column else c for i, c in enumerate(row.split(","))) for row in rows]
    (tmp_path / "unsigned.csv").write_text("\n".join([head, *unsigned]) + "\n")
    _run("new", tmp_path / "a", "--yes")
    done = _run("import", tmp_path / "unsigned.csv", "--archive", tmp_path / "a", "--no-recompute")
    assert "note: unsigned.csv: found house pressures that are all above zero" in done.stderr
    signed = _run("import", DELIVERIES / "ostrel" / "tests-week-06.csv", "--archive", tmp_path / "a", "--no-recompute")
    assert "all above zero" not in signed.stderr


def test_a_larger_programme_is_made_and_all_of_it_comes_in(tmp_path: Path) -> None:
    jobs, into = 5, tmp_path / "larger"
    done = _run("demo", "--jobs", str(jobs), "--into", into)
    assert done.exit_code == EXIT_DONE
    assert done.stderr.splitlines()[0] == "writing the deliveries of 5 jobs"
    assert NOT_READ not in done.stdout
    sql = "select import_state, count(*) as sources from journal group by all"
    states = json.loads(_run("query", sql, "--archive", into, "--format", "json").stdout)
    assert [state["import_state"] for state in states] == ["imported"]
    assert f"  {states[0]['sources']} files: " in done.stdout
    register = json.loads(_run("register", "show", "jobs", "--archive", into, "--format", "json").stdout)
    assert len({row["job_id"] for row in register}) == jobs
    sql = "select distinct job_id from results join sessions using (session_id) where flow_50_m3_h is not null"
    tested = json.loads(_run("query", sql, "--archive", into, "--format", "json").stdout)
    assert {row["job_id"] for row in tested} == {row["job_id"] for row in register}
    assert _run("archive", "verify", "--archive", into).exit_code == EXIT_DONE


@pytest.mark.parametrize("jobs", [0, -3])
def test_a_programme_of_no_jobs_is_a_wrong_call(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str], jobs: int
) -> None:
    monkeypatch.setattr("sys.argv", ["interchange", "demo", "--jobs", str(jobs), "--into", str(tmp_path / "none")])
    with pytest.raises(SystemExit) as ended:
        main()
    assert ended.value.code == EXIT_USAGE
    said = capsys.readouterr()
    assert (said.out, said.err) == (
        "",
        f"error: --jobs: found {jobs}; expected one job or more. Give a larger number.\n",
    )
    assert not (tmp_path / "none").exists()


def test_the_page_of_the_demo_says_what_was_not_read_and_names_commands_that_there_are() -> None:
    page = _run("demo").stdout
    assert NOT_READ in page
    named = set(re.findall(r"`interchange (\w+)", page))
    assert named and named <= set(COMMANDS)
