"""Jobs from names of files and covering lists, and control totals: said is on record, a doubt is never a guess."""

from __future__ import annotations

from pathlib import Path

import pytest
from click.testing import CliRunner

from interchange.archive.store import Store
from interchange.cli.main import cli
from interchange.errors import UsageError
from interchange.model.session import Session
from interchange.operations.importing import ImportReport, import_files
from interchange.operations.new import new_archive
from interchange.operations.rebuilding import rebuild_archive
from interchange.operations.said_of_files import by_pattern
from interchange.resources import shipped

SENT = shipped("demo_archive") / "deliveries"
LOG = SENT / "quillby" / "q2" / "2025-06" / "FV-2951 before 1s.txt"
SHEET = SENT / "ostrel" / "tests-week-06.csv"


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return new_archive(tmp_path / "a", "Fennick Vale")


def bare(path: Path, *lines: bytes) -> Path:
    """The log without the rows that say its job, house and stage."""
    path.parent.mkdir(parents=True, exist_ok=True)
    own = [row for row in LOG.read_bytes().splitlines(True) if not row.startswith((b"% job", b"% house", b"% stage"))]
    path.write_bytes(b"".join([own[0], *lines, *own[1:]]))
    return path


def standing(root: Path) -> list[Session]:
    return list(Store.open(root).snapshot().sessions())


def reasons(report: ImportReport) -> list[tuple[str, str]]:
    return [(line.outcome, line.reason) for line in report.lines]


PATTERNS = [
    ("{job}-{stage}.txt", "d/FV-9-Before.txt", {"job_id": "FV-9", "stage": "before"}),
    ("{job}/{stage} {any}.txt", "d/00319/after 1s.txt", {"job_id": "00319", "stage": "after"}),
    ("{site}_{job}.csv", "H-1_22.csv", {"job_id": "22", "site_id": "H-1"}),
    ("{site}_{job}.csv", "H_1_22.csv", None),  # two readings
    ("{job}-{stage}.txt", "FV-9-final.txt", None),
    ("{job}-{stage}.txt", "FV-9-before.csv", None),
    ("{job}.(txt)", "d/7.(txt)", {"job_id": "7"}),  # no regular expressions
]


@pytest.mark.parametrize(("pattern", "file", "expected"), PATTERNS)
def test_a_name_says_a_job_only_where_it_can_be_read_in_one_way(
    pattern: str, file: str, expected: dict[str, str] | None
) -> None:
    told = by_pattern(pattern)(file)
    assert (dict(told.values), told.problem is None) == (expected or {}, expected is not None)


@pytest.mark.parametrize("pattern", ["{stage}.csv", "{job}{job}.csv", "{crew}-{job}.csv", "{}{job}", "x.csv"])
def test_a_pattern_that_says_no_job_or_house_is_refused(pattern: str) -> None:
    with pytest.raises(UsageError, match="job or house among them"):
        by_pattern(pattern)


def test_a_job_from_the_name_is_on_record_and_holds_when_the_file_is_read_again(root: Path, tmp_path: Path) -> None:
    file = bare(tmp_path / "d" / "FV-9-before.txt")
    import_files(root, [file], job_from="{job}-{stage}.txt", recompute=False)
    (session,) = standing(root)
    assert (session.record.job_id, session.record.stage) == ("FV-9", "before")
    said = [(one.question_id, one.answer_value) for one in session.source.answers_used]
    assert said == [("job_id by the name of the file", "FV-9"), ("stage by the name of the file", "before")]
    assert rebuild_archive(root).summary == "1 original: 1 same."
    again = import_files(root, [file], recompute=False)
    assert [line.outcome for line in again.lines] == ["known already"]
    assert standing(root) == [session]


def test_a_file_whose_name_fits_no_pattern_is_refused_and_one_with_its_own_job_is_not(
    root: Path, tmp_path: Path
) -> None:
    bare(tmp_path / "d" / "log (1).txt")
    bare(tmp_path / "d" / "log (2).txt", b"% job = FV-7\n")
    bare(tmp_path / "d" / "FV-9-before.txt", b"% job = FV-8\n")
    report = import_files(root, [tmp_path / "d"], job_from="{job}-{stage}.txt", recompute=False)
    assert reasons(report) == [("new", ""), ("refused", "found the name 'log (1).txt'"), ("new", "")]
    assert sorted(str(one.record.job_id) for one in standing(root)) == ["FV-7", "FV-8"]
    (problem,) = [one for one in report.problems if one.code == "said-otherwise"]
    assert (problem.found, problem.expected) == ("'FV-8'", "'FV-9', job_id by the name of the file")


def test_a_covering_list_says_jobs_and_names_lines_without_a_file(root: Path, tmp_path: Path) -> None:
    bare(tmp_path / "d" / "a" / "log.txt")
    bare(tmp_path / "d" / "b" / "log.txt", b"% remark = 1\n")
    bare(tmp_path / "d" / "other.txt", b"% remark = 2\n")
    covering = tmp_path / "list.csv"
    covering.write_text("file,job_id,stage\na/log.txt,FV-1,after\nlog.txt,FV-2,\nnone.txt,FV-3,\n")
    report = import_files(root, [tmp_path / "d"], jobs_list=covering, recompute=False)
    by_name = {line.source_name: (line.outcome, line.reason) for line in report.lines}
    assert by_name["d/a/log.txt"] == ("new", "")
    assert by_name["d/other.txt"] == ("refused", "found no line of the covering list")
    assert [(one.record.job_id, one.record.stage) for one in standing(root)] == [("FV-1", "after")]
    lines = [(one.place.row, one.found) for one in report.problems if one.code == "list-file"]
    assert lines == [
        (3, "'log.txt', the name of 2 files"),
        (4, "'none.txt', the name of no file"),
    ]


def test_control_totals_are_compared_by_file_and_year_and_hold_nothing_back(root: Path, tmp_path: Path) -> None:
    sum_cfm = sum(_cells("Leakage at 50 Pa (cfm)"))
    right = sum_cfm * 1.69901082  # 1 cfm in m3/h (0.3048 m cubed, 60 minutes)
    totals = tmp_path / "totals.csv"
    totals.write_text(
        f"file,year,session_count,reported_flow_m3_h\ntests-week-06.csv,,8,{right:.0f}\n,2026,9,\n,2025,0,\n"
        f"tests-week-06.csv,2026,,{right - 1000:.0f}\nlost.csv,,3,\n"
    )
    arguments = ["import", SHEET, "--archive", root, "--totals", totals, "--no-recompute", "--dry-run"]
    done = CliRunner().invoke(cli, [str(one) for one in arguments])
    assert done.exit_code == 1
    assert standing(root) == []
    report = import_files(root, [SHEET], totals=totals, recompute=False)
    assert (report.all_imported, len(standing(root))) == (False, 8)
    apart = [(one.place.row, one.place.column) for one in report.problems if one.code.startswith("total-")]
    assert apart == [(3, "session_count"), (5, "reported_flow_m3_h"), (6, None)]
    assert report.remarks == ("5 control totals compared, 3 not as stated",)


def _cells(column: str) -> list[float]:
    import csv

    with SHEET.open(encoding="utf-8-sig", newline="") as stream:
        return [float(row[column].replace(",", "")) for row in csv.DictReader(stream) if row.get(column)]
