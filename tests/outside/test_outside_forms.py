"""Further forms of a delivery: workbooks, zip archives, files that belong together; and registers beside them."""

from __future__ import annotations

import csv
import io
import json
import zipfile
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any

import odfdo
import openpyxl
import pytest
from from_outside import (
    ANSWER_IS_NO,
    COLUMNS,
    DONE,
    REPOSITORY,
    SOURCE,
    START,
    Ended,
    Programme,
    a_row,
    listing,
    log,
    outcomes,
    run,
    sectioned,
    sheet,
)
from openpyxl.worksheet.worksheet import Worksheet

ROWS = [a_row("W-1"), a_row("W-2", baseline="", wind="", stage="test-out", house="00118"), a_row("W-3", flow="OL")]
NUMBERS = {name for name in COLUMNS if "(" in name}
FLOW = openpyxl.utils.get_column_letter(1 + COLUMNS.index("Fan flow (cfm)"))


def messages(ended: Ended) -> list[str]:
    return [line for line in ended.lines if line.startswith(("note: ", "problem: ", "question: ", "error: "))]


def typed(column: str, text: str) -> Any:
    """A cell as a spreadsheet holds it: numbers, days and times of day by their type, codes as text."""
    if not text:
        return None
    if column in NUMBERS and text[-1].isdigit():
        return float(text)
    if column == "Test date":
        return datetime.strptime(text, "%m/%d/%Y").date()
    if column == "Test time":
        return datetime.strptime(text, "%I:%M %p").time()
    return text


def typed_rows() -> list[list[Any]]:
    return [[typed(*cell) for cell in zip(COLUMNS, row, strict=True)] for row in csv.reader(ROWS)]


def xlsx(change: Callable[[Worksheet], None] = lambda _: None) -> bytes:
    book = openpyxl.Workbook()
    tests = book.active
    assert isinstance(tests, Worksheet)
    tests.title = "Tests"
    for row in (COLUMNS, *typed_rows()):
        tests.append(row)
    change(tests)
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def ods() -> bytes:
    """The same; times of day as text, for a day's time is a duration there."""
    document = odfdo.Document("spreadsheet")
    document.body.clear()
    table = odfdo.Table("Tests")
    document.body.append(table)
    clock = COLUMNS.index("Test time")
    texts = [row.split(",")[clock] for row in ROWS]
    rows = [[*row[:clock], text, *row[clock + 1 :]] for row, text in zip(typed_rows(), texts, strict=True)]
    for number, row in enumerate((COLUMNS, *rows)):
        table.set_row_values(number, row)
    out = io.BytesIO()
    document.save(out)
    return out.getvalue()


def documents(programme: Programme) -> dict[str, list[dict[str, Any]]]:
    """The tests of each source as documents, without what must differ between two forms of one delivery."""
    assert programme.on("export", "--as", "session", "--into", "documents").code == DONE
    found: dict[str, list[dict[str, Any]]] = {}
    for path in (programme.folder / "documents").glob("*.session.json"):
        document = json.loads(path.read_text())
        source = document.pop("source")
        del document["session_id"], document["time"]["started_at_as_recorded"]
        document["place"] = source["source_place"].removeprefix("sheet Tests, ")
        found.setdefault(source["source_name"], []).append(document)
    return {name: sorted(tests, key=lambda test: test["place"]) for name, tests in found.items()}


def test_a_workbook_gives_the_tests_of_the_same_sheet_as_text(programme: Programme) -> None:
    for name, content in {"a.csv": sheet(*ROWS), "b.xlsx": xlsx(), "c.ods": ods()}.items():
        (programme.folder / name).write_bytes(content)
    ended = programme.take("a.csv", "b.xlsx", "c.ods")
    assert ended.code == DONE, ended.err
    assert outcomes(ended) == {name: ("new", 3) for name in ("a.csv", "b.xlsx", "c.ods")}
    found = documents(programme)
    assert [test["place"] for test in found["a.csv"]] == ["row 2", "row 3", "row 4"]
    assert [test["record"]["site_id"] for test in found["a.csv"]] == ["0007", "00118", "0007"]
    assert found["b.xlsx"] == found["a.csv"]
    assert found["c.ods"] == found["a.csv"]
    over_range = "column 'Fan flow (cfm)': found 'OL', the mark for over range"
    assert [line.partition(over_range)[0] for line in messages(ended)] == [
        "problem: a.csv, row 4, ",
        "problem: b.xlsx, sheet 'Tests', row 4, ",
        "problem: c.ods, sheet 'Tests', row 4, ",
    ]


def test_rows_that_a_workbook_hides_are_read_and_noted(programme: Programme) -> None:
    def hide(tests: Worksheet) -> None:
        tests.row_dimensions[3].hidden = True

    (programme.folder / "hidden.xlsx").write_bytes(xlsx(hide))
    ended = programme.take("hidden.xlsx")
    assert outcomes(ended) == {"hidden.xlsx": ("new", 3)}
    assert [line for line in messages(ended) if line.startswith("note: ")] == [
        "note: hidden.xlsx, sheet 'Tests', row 3: found a hidden row; expected all rows shown. "
        "It was read like the others; remove it if it does not belong to the test."
    ]


def test_a_formula_that_was_never_calculated_refuses_the_workbook_at_its_cell(programme: Programme) -> None:
    def reckon(tests: Worksheet) -> None:
        tests[f"{FLOW}3"] = "=1500+20"

    (programme.folder / "formula.xlsx").write_bytes(xlsx(reckon))
    ended = programme.take("formula.xlsx")
    assert (ended.code, outcomes(ended)) == (ANSWER_IS_NO, {"formula.xlsx": ("refused", 0)})
    assert messages(ended)[0] == (
        f"problem: formula.xlsx, sheet 'Tests', row 3, column '{FLOW}': found a formula without its result; "
        "expected a value, or a formula with its result. "
        "Open the workbook in a spreadsheet program, save it there and send it again."
    )
    assert (
        json.loads(ended.out)[0]["reason"]
        == f"sheet 'Tests', row 3, column '{FLOW}': found a formula without its result"
    )
    assert programme.ask("select * from sessions") == []
    programme.assert_whole()


def test_a_workbook_cut_short_or_of_an_old_form_is_refused_in_words(programme: Programme) -> None:
    (programme.folder / "cut.xlsx").write_bytes(xlsx()[:-300])
    (programme.folder / "old.xls").write_bytes(bytes.fromhex("d0cf11e0a1b11ae1") + bytes(600))
    ended = programme.take("cut.xlsx", "old.xls")
    assert outcomes(ended) == {"cut.xlsx": ("refused", 0), "old.xls": ("refused", 0)}
    assert messages(ended) == [
        "problem: cut.xlsx: found a workbook that does not unpack; expected a whole workbook. "
        "Open it in a spreadsheet program, save it anew and send it again.",
        "problem: old.xls: found an old binary file, perhaps a workbook (.xls); expected a workbook in the form .xlsx "
        "or .ods. Open it in a spreadsheet program and save it as .xlsx.",
    ]
    programme.assert_whole()


def test_without_the_extra_workbooks_are_refused_with_that_advice_and_all_else_works(programme: Programme) -> None:
    files = {"a.csv": sheet(*ROWS), "b.xlsx": xlsx(), "c.ods": ods(), "d.csv": sectioned("Z-1")}
    for name, content in files.items():
        (programme.folder / name).write_bytes(content)
    hidden = "import sys; sys.modules |= dict.fromkeys(('openpyxl', 'odfdo', 'lxml')); "
    words = ("import", *files, "--no-recompute", "--format", "json", "--archive", "archive")
    ended = run(*words, cwd=programme.folder, start=hidden + START)
    assert ended.code == ANSWER_IS_NO, ended.err
    assert outcomes(ended) == {
        "a.csv": ("new", 3), "b.xlsx": ("refused", 0), "c.ods": ("refused", 0), "d.csv": ("new", 1)
    }  # fmt: skip
    assert [line for line in messages(ended) if "a.csv" not in line] == [
        f"problem: {name}: found a workbook, but no {library} to read it; expected the extra 'spreadsheets'. "
        "Run pip install 'airtightness-interchange[spreadsheets]', or save each sheet as CSV."
        for name, library in (("b.xlsx", "openpyxl"), ("c.ods", "lxml"))
    ]
    programme.assert_whole()


def test_the_members_of_a_zip_archive_come_in_as_they_would_by_themselves(programme: Programme) -> None:
    members = {"week/sheet.csv": sheet(*ROWS), "week/points.csv": sectioned("Z-1"), "log.csv": log("Z-2")}
    members |= {"week/book.xlsx": xlsx()}
    with zipfile.ZipFile(programme.folder / "delivery.zip", "w", zipfile.ZIP_DEFLATED) as packed:
        for name, content in members.items():
            packed.writestr(name, content)
            (programme.folder / name).parent.mkdir(exist_ok=True)
            (programme.folder / name).write_bytes(content)
    ended = programme.take("delivery.zip")
    assert outcomes(ended) == {
        "delivery.zip/log.csv": ("new", 1),
        "delivery.zip/week/book.xlsx": ("new", 3),
        "delivery.zip/week/points.csv": ("new", 1),
        "delivery.zip/week/sheet.csv": ("new", 3),
    }
    again = programme.take("log.csv", "week")
    assert {name: outcome for name, (outcome, _) in outcomes(again).items()} == {
        name: "known already" for name in members
    }
    programme.assert_whole()


# Layout M: a test in up to three files.

MAIN = """\
Points record,3
Job,{job}
House,H-171
Stage,after
Started,2026-02-10 14:05
Volume,377,m3
Indoor,20.4,C
Outdoor,5.0,C
Step,Pressure Pa,Spread Pa,Seconds,Plate,Fan Pa,Flow m3/h
1,-59.8,0.7,30,open,40.1,3085
2,-50.1,0.7,30,open,32.1,2750
3,-40.2,0.7,30,open,25.1,2400
"""
BASELINE = "Baseline record,3\nPhase,Mean Pa,Spread Pa,Seconds\nbefore,-1.1,0.3,60\nafter,-1.3,0.4,61\n"
WEATHER = "Weather record,3\nTime,Wind m/s,Gust m/s,From deg\n00:00:10,2.1,3.4,240\n00:00:20,2.3,3.9,250\n"


def put(folder: Path, job: str, **files: str) -> None:
    folder.mkdir(exist_ok=True)
    for role, content in files.items():
        (folder / f"{job}{'' if role == 'main' else f'-{role}'}.csv").write_text(content.format(job=job))


def test_files_that_belong_together_give_one_test(programme: Programme) -> None:
    put(programme.folder / "in", "M-1", main=MAIN, baseline=BASELINE, weather=WEATHER)
    ended = programme.take("in")
    assert (ended.code, messages(ended)) == (DONE, [])
    assert outcomes(ended) == {
        "in/M-1.csv": ("new", 1),
        "in/M-1-baseline.csv": ("read with its test", 0),
        "in/M-1-weather.csv": ("read with its test", 0),
    }
    (run,) = programme.ask(
        "select job_id, source_place, envelope_pressure_pa as pressure, baseline_before_pressure_pa, "
        "baseline_before_duration_s, baseline_after_pressure_pa, baseline_after_duration_s "
        "from fan_readings join runs using (session_id) join sessions using (session_id) where point_number = 2"
    )
    assert list(run.values()) == ["M-1", "file", -50.1, -1.1, 60.0, -1.3, 61.0]
    traces = programme.ask("select channel_id, start_s, values from traces order by channel_id")
    assert [tuple(row.values()) for row in traces] == [
        ("from", 10.0, [240.0, 250.0]),
        ("gust", 10.0, [3.4, 3.9]),
        ("wind", 10.0, [2.1, 2.3]),
    ]
    again = programme.take("in")
    assert outcomes(again)["in/M-1.csv"] == ("known already", 1)
    assert programme.ask("select count(*) as tests from sessions") == [{"tests": 1}]
    programme.assert_whole()


COULD_NOT = "found a file of the test in 'in/{job}.csv', which was refused; expected a test that can be taken in. "
MEND = "Mend what is wrong with its files, and import them all again."
BOTH = "in the same folder or zip archive, and import both again."
INCOMPLETE: dict[str, tuple[dict[str, str], list[str]]] = {
    "weather alone": (
        {"weather": WEATHER},
        [
            "in/{job}-weather.csv: found a weather file of the layout points-with-companions without the file of its "
            "test; expected '{job}.csv' beside it. Put that file beside this one, " + BOTH
        ],
    ),
    "baseline missing": (
        {"main": MAIN, "weather": WEATHER},
        [
            "in/{job}.csv: found no such file beside it; expected '{job}-baseline.csv'. "
            "Put the file beside this one, " + BOTH,
            "in/{job}-weather.csv: " + COULD_NOT + MEND,
        ],
    ),
    "fault in the weather": (
        {"main": MAIN, "baseline": BASELINE, "weather": WEATHER.replace("2.3", "2.x")},
        [
            "in/{job}-weather.csv, row 4, column 'Wind m/s': found '2.x'; expected a number with a decimal point. "
            "Correct the cell. If it stands for a missing value, leave the cell empty, or add it to `missing` in the "
            "plugin's layout.",
            "in/{job}-baseline.csv: " + COULD_NOT + MEND,
            "in/{job}-weather.csv: " + COULD_NOT + MEND,
        ],
    ),
}


@pytest.mark.parametrize("name", INCOMPLETE)
def test_of_a_test_in_several_files_all_come_in_or_none(programme: Programme, name: str) -> None:
    files, said = INCOMPLETE[name]
    put(programme.folder / "in", "M-2", **files)
    ended = programme.take("in")
    assert ended.code == ANSWER_IS_NO
    assert set(outcomes(ended).values()) == {("refused", 0)}
    assert messages(ended) == [f"problem: {text.format(job='M-2')}" for text in said]
    assert programme.ask("select * from sessions") == []
    programme.assert_whole()


def test_the_reason_names_the_file_that_is_at_fault(programme: Programme) -> None:
    put(programme.folder / "in", "M-2", **INCOMPLETE["fault in the weather"][0])
    reasons = {row["source_name"]: row["reason"] for row in json.loads(programme.take("in").out)}
    assert reasons["in/M-2.csv"] == "M-2-weather.csv, row 4, column 'Wind m/s': found '2.x'"


def test_what_was_missing_may_be_sent_afterwards(programme: Programme) -> None:
    put(programme.folder / "in", "M-3", main=MAIN, weather=WEATHER)
    assert programme.take("in").code == ANSWER_IS_NO
    put(programme.folder / "in", "M-3", baseline=BASELINE)
    ended = programme.take("in")
    assert (ended.code, outcomes(ended)["in/M-3.csv"]) == (DONE, ("new", 1))


# Registers, as the programme of the demo keeps them.

DEMO = REPOSITORY / "demo_archive"
TRUTH = json.loads((DEMO / "truth.json").read_text(encoding="utf-8"))
CALM = {
    delivery["file"]: test["true_flow_50_m3_h"]
    for delivery in TRUTH["deliveries"]
    if delivery["file"].startswith("harrow/c1/2025-0")
    for test in delivery["tests"]
    if test["wind_state"] == "calm" and test["fault"] is None
}


def results(programme: Programme) -> tuple[dict[str, float | None], Ended]:
    ended = programme.on("recompute", "--rules", "iso9972@2015", "--format", "json")
    assert ended.code == DONE, ended.err
    sql = (
        "select source_name, flow_50_m3_h from results join sessions using (session_id) where rule_set = 'iso9972@2015'"
    )
    return {row["source_name"]: row["flow_50_m3_h"] for row in programme.ask(sql)}, ended


def test_the_register_of_calibrations_gives_fan_pressures_their_flow(programme: Programme) -> None:
    assert len(CALM) >= 3
    taken = programme.take(*(str(DEMO / "deliveries" / file) for file in CALM))
    assert taken.code == DONE, taken.err
    before, said = results(programme)
    assert before == dict.fromkeys((Path(file).name for file in CALM), None)
    assert "there is neither a flow nor a fan calibration" in said.err
    added = programme.on("register", "add", "calibrations", str(DEMO / "registers" / "calibrations.csv"))
    rows = len((DEMO / "registers" / "calibrations.csv").read_text().splitlines()) - 1
    assert (added.code, added.out, added.lines) == (
        DONE,
        b"",
        [
            f"{rows} new, 0 known already; the register calibrations has {rows} rows. "
            "Results from before no longer hold: run the recompute command."
        ],
    )
    after, said = results(programme)
    assert after == {Path(file).name: pytest.approx(true, rel=0.016) for file, true in CALM.items()}
    assert f"note: {len(CALM)} of {len(CALM)} results: The fan calibration was taken from the register." in said.lines
    programme.assert_whole()


@pytest.mark.parametrize("name", ["jobs", "crews", "kit", "calibrations"])
def test_every_register_of_the_demo_goes_in_and_is_there_for_sql(programme: Programme, name: str) -> None:
    path = DEMO / "registers" / f"{name}.csv"
    assert programme.on("register", "add", name, str(path)).code == DONE
    with path.open(newline="", encoding="utf-8") as file:
        given = list(csv.DictReader(file))
    (asked,) = programme.ask(f"select count(*) as rows from register_{name}")
    shown = list(csv.DictReader(io.StringIO(programme.on("register", "show", name, "--format", "csv").text)))
    assert asked["rows"] == len(given) == len(shown)
    assert {row[next(iter(given[0]))] for row in shown} == {row[next(iter(given[0]))] for row in given}
    again = programme.on("register", "add", name, str(path))
    assert again.lines == [f"0 new, {len(given)} known already; the register {name} has {len(given)} rows."]


def test_a_register_with_one_faulty_row_adds_none(programme: Programme) -> None:
    text = (DEMO / "registers" / "calibrations.csv").read_text()
    (programme.folder / "given.csv").write_text(text.replace("0.500", "half", 1))
    before = listing(programme.root)
    ended = programme.on("register", "add", "calibrations", "given.csv")
    assert (ended.code, ended.out) == (SOURCE, b"")
    assert ended.lines[0].startswith("error: given.csv, row 2, column 'fan_exponent': found 'half'; expected ")
    assert "Traceback" not in ended.err
    assert listing(programme.root) == before
