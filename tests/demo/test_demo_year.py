"""The year of the demo: enough of each shape, what was planted is there, registers fit, larger programmes likewise."""

from __future__ import annotations

import json
import re
from collections import Counter
from datetime import date, datetime
from itertools import pairwise

import pytest
from plain_recomputing import CFM_M3_H, sections, sheet_rows
from plain_shapes import ROOT, content_of, deliveries, german_parts, register, shape_of, table, text_of, told_in

from interchange.demo import make

DELIVERIES = {delivery["file"]: delivery for delivery in deliveries()}
TESTS = [(delivery, test) for delivery in DELIVERIES.values() for test in delivery["tests"]]
SHAPES = "ABCDEFGHIJKLM"


def planted(word: str) -> list[tuple[dict, dict]]:
    return [(delivery, test) for delivery, test in TESTS if any(w.split(":")[0] == word for w in test["planted"])]


def text(file: str) -> str:
    return text_of(content_of(file))


def of(job_id: str, stage: str) -> tuple[dict, dict]:
    return next((delivery, test) for delivery, test in TESTS if (test["job_id"], test.get("stage")) == (job_id, stage))


def readings(job_id: str, stage: str):
    delivery, test = of(job_id, stage)
    return told_in(delivery)[test["source_place"]].runs


def test_there_is_a_year_of_every_shape():
    imported = [file for file, delivery in DELIVERIES.items() if delivery["outcome"] == "imported"]
    shapes = Counter(shape_of(content_of(file)) for file in imported)
    assert "".join(sorted(shapes)) == SHAPES
    assert len(DELIVERIES) >= 60
    kinds = Counter(test["kind"] for _, test in TESTS)
    beside_the_ledger = {
        kind: sum(test["kind"] == kind for delivery, test in TESTS if "old results" not in delivery["file"])
        for kind in kinds
    }
    tests = sum(count for kind, count in beside_the_ledger.items() if kind != "weather")
    assert 200 <= tests <= 320
    assert beside_the_ledger["single_point"] / tests == pytest.approx(0.72, abs=0.03)
    assert kinds["summary"] >= 200
    assert kinds["other_test"] == 1


def test_every_delivery_says_how_many_tests_it_holds():
    for delivery in DELIVERIES.values():
        if delivery["outcome"] == "refused":
            assert (delivery["test_count"], delivery["tests"]) == (0, [])
        elif not delivery["tests"]:
            same = [other for file, other in DELIVERIES.items() if content_of(file) == content_of(delivery["file"])]
            assert delivery["test_count"] == max(len(other["tests"]) for other in same)
        else:
            places = {test["source_place"] for test in delivery["tests"]}
            assert delivery["test_count"] == len(delivery["tests"]) == len(places)


def test_all_tests_in_a_file_are_in_its_truth():
    for delivery in DELIVERIES.values():
        if delivery["tests"]:
            assert set(told_in(delivery)) <= {test["source_place"] for test in delivery["tests"]}


def test_every_planted_word_is_explained():
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    words = {word.split(":")[0] for _, test in TESTS for word in test["planted"]}
    assert set(re.findall(r"^\| `(\w+)` \| \d+ \| \D", readme, re.MULTILINE)) == words


@pytest.mark.parametrize(("job", "source"), [("FV-1907", "FV-1906"), ("00349", "00348")])
def test_copied_readings_are_the_same_in_two_houses(job, source):
    assert readings(job, "before") == readings(source, "before")
    assert of(job, "before")[1]["planted"] == [f"copy_of:{source}"]
    assert of(job, "before")[1]["site_id"] != of(source, "before")[1]["site_id"]


def test_a_copied_baseline_is_the_same_to_the_last_digit():
    pairs = {}
    for delivery, test in planted("baseline_copied"):
        if shape_of(content_of(delivery["file"])) == "G":
            rows = german_parts(text(delivery["file"]))["Unterdruck"]
            pairs[test["job_id"]] = [cells[2:4] for cells in rows if cells[1].startswith("Nullmessung")]
        else:
            rows = text(delivery["companions"][0]).splitlines()[2:]
            pairs[test["job_id"]] = [row.split(",")[1:] for row in rows]
    assert set(pairs) == {"FV-1904", "FV-1922"}
    assert all(before == after for before, after in pairs.values())


def test_one_crew_bunches_just_under_the_target():
    target = {row["job_id"]: float(row["target_flow_50_m3_h"]) for row in register("jobs")}
    shares: dict[str, list[float]] = {"bunched": [], "others": []}
    for delivery, test in TESTS:
        if test["kind"] == "single_point" and test["stage"] == "after" and "planted" in test:
            shown = told_in(delivery)[test["source_place"]].displayed_m3_h
            if shown is not None and test["job_id"] in target:
                name = "bunched" if "bunched" in test["planted"] else "others"
                shares[name].append(shown / target[test["job_id"]])
    assert len(shares["bunched"]) >= 12
    assert all(0.95 < share < 1.0 for share in shares["bunched"])
    near = sum(0.95 < share < 1.0 for share in shares["others"]) / len(shares["others"])
    assert near < 0.25
    for _, test in planted("bunched"):
        assert test["true_flow_50_m3_h"] > 0.965 * target[test["job_id"]]


def test_a_late_calibration_shows_in_the_registers():
    due = {
        (row["fan_serial"], row["fan_calibrated_on"]): row["fan_calibration_due_on"] for row in register("calibrations")
    }
    late = planted("late_calibration")
    assert len(late) >= 5
    for delivery, _ in late:
        shape, said = shape_of(content_of(delivery["file"])), text(delivery["file"])
        if shape in "BG":
            found = re.search(r"Fan calibrated;(\S+)|Gebläse geprüft;(\S+)", said)
            assert datetime.strptime(found[1] or found[2], "%d.%m.%Y").date() == date(2022, 6, 14)
    carried = [row for row in register("kit") if row["fan_serial"] == "F-0088"]
    assert [(row["crew"], row["valid_from"]) for row in carried] == [("C2", "2025-09-01")]
    assert due["F-0088", "2022-06-14"] < carried[0]["valid_from"]
    others = [row for row in register("kit") if row["fan_serial"] != "F-0088"]
    for row in others:
        held = [day for (fan, begun), day in due.items() if fan == row["fan_serial"] and begun <= row["valid_from"]]
        assert max(held) >= row["valid_from"]


def test_records_without_a_calibration_are_one_crews():
    without = [
        delivery["file"]
        for delivery, _ in TESTS
        if shape_of(content_of(delivery["file"])) == "G" and "<Kalibrierung>" not in text(delivery["file"])
    ]
    assert len(without) >= 4
    assert all(file.startswith("harrow/c1/") for file in without)


def test_water_shifts_the_baseline_of_a_calm_day():
    for delivery, test in planted("water"):
        assert test["wind_state"] == "calm"
        run = told_in(delivery)[test["source_place"]].runs[0]
        zeros = [zero - test["stack_only_pa"] for zero in run.zero_pa if zero is not None]
        assert max(abs(zero) for zero in zeros) == pytest.approx(abs(test["line_shift_pa"]), abs=1.3)


def test_the_windy_week_is_windy():
    week = [
        (delivery, test)
        for delivery, test in TESTS
        if "windy" in test["planted"] and "/2025-11/" in delivery["file"] and test["wind_10m_m_s"] > 6.5
    ]
    assert len(week) >= 8
    assert {shape_of(content_of(delivery["file"])) for delivery, _ in week} >= {"A", "B", "C", "E", "F", "I"}
    rows = text("office/weather/ridge 2025-11-17.txt").splitlines()[10:]
    winds = [float(row.split("\t")[1]) / 3.6 for row in rows]
    assert len(winds) == 7 * 144
    assert min(winds[:-6]) > 6.0  # the last hour leads over to the next week


def test_station_weather_stands_beside_the_lines():
    side = text("quillby/q2/2025-11/FV-2962 lines.txt")
    stamps = [int(row.split("|")[0]) for row in side.splitlines() if re.match(r"\d+\|1\|", row) and row.count("|") == 2]
    assert stamps == list(range(stamps[0], stamps[0] + 900))
    begin = 25569 + stamps[0] / 86400  # 1970-01-01 in days since 1899-12-30
    days = [float(row.split("\t")[0]) for row in text("office/weather/ridge 2025-11-17.txt").splitlines()[10:]]
    assert days[0] < begin < days[-1]


def test_retests_follow_strong_wind_and_resends_repeat_their_test():
    for _, test in planted("retest_of"):
        assert test["planted"] == [f"retest_of:{test['job_id']}"]
        same = [other for _, other in TESTS if (other["job_id"], other.get("stage")) == (test["job_id"], test["stage"])]
        assert [other["planted"] for other in same if other is not test] == [["windy"]]
    for delivery, test in planted("resend_of"):
        word = next(word for word in test["planted"] if word.startswith("resend_of:"))
        before = DELIVERIES[word.removeprefix("resend_of:")]
        assert content_of(before["file"]) != content_of(delivery["file"])
        keys = ("job_id", "stage", "true_flow_50_m3_h", "true_exponent")
        assert [test[key] for key in keys] in [[other[key] for key in keys] for other in before["tests"]]


def ledger_rows() -> dict[tuple[str, str], dict[str, str]]:
    found = {}
    for file in (file for file in DELIVERIES if "old results" in file):
        for number, line in enumerate(text(file).splitlines(), 1):
            header = "No,Property,When,Outcome,Leakage,Changes,Natural,Exponent,Area,At,Volume,Method,Basis,Note"
            if line[0:1].isdigit():
                found[file, f"row {number}"] = table(f"{header}\n{line}")[0]
    return found


def in_m3_h(cell: str) -> float:
    value, spelling = cell.split()
    return float(value.replace(",", "")) * {"cfm": CFM_M3_H, "m3/h": 1.0, "L/s": 3.6}[spelling]


def test_the_ledger_has_its_rows_where_the_truth_says():
    rows = ledger_rows()
    ledgers = [(delivery, test) for delivery, test in TESTS if "old results" in delivery["file"]]
    assert set(rows) == {(delivery["file"], test["source_place"]) for delivery, test in ledgers}
    units = Counter()
    for delivery, test in ledgers:
        row = rows[delivery["file"], test["source_place"]]
        assert row["Property"] == test["site_id"]
        assert (row["Outcome"] == "tested") == (test["kind"] == "summary")
        if test["kind"] != "summary":
            continue
        words, true = test["planted"], test["true_flow_50_m3_h"]
        if "natural_rate_only" in words:
            assert (row["Leakage"], row["Changes"]) == ("--", "--")
            continue
        units[row["Leakage"].split()[1]] += 1
        assert (in_m3_h(row["Leakage"]) == pytest.approx(true, rel=0.01)) == ("wrong_unit" not in words)
        volume = float(row["Volume"].split()[0].replace(",", "")) * (0.3048**3 if "cu ft" in row["Volume"] else 1.0)
        per_h = float(row["Changes"].split()[0])
        assert (per_h == pytest.approx(true / volume, rel=0.02)) == ("natural_rate_as_50" not in words)
    assert min(units["cfm"], units["m3/h"], units["L/s"]) >= 10


def test_registers_know_every_job_that_was_delivered():
    known = {row["job_id"]: row for row in register("jobs")}
    contractors = {row["crew"]: row["contractor"] for row in register("crews")}
    for delivery, test in TESTS:
        if test["job_id"] is None:
            continue
        row = known[test["job_id"]]
        assert row["site_id"] == test["site_id"]
        folder = delivery["file"].split("/")[0]
        assert row["contractor"].lower().startswith(folder)
        if test.get("stage") in ("before", "after"):
            assert row[f"{test['stage']}_expected_on"]
    assert {row["contractor"] for row in known.values()} == set(contractors.values())
    silent = set(known) - {test["job_id"] for _, test in TESTS}
    assert silent == {"00335", "00336"}
    fans = {row["fan_serial"] for row in register("calibrations")}
    assert {row["fan_serial"] for row in register("kit")} == fans


def test_kit_leaves_no_day_without_a_fan():
    spans: dict[str, list[tuple[date, date]]] = {}
    for row in register("kit"):
        spans.setdefault(row["crew"], []).append(
            (date.fromisoformat(row["valid_from"]), date.fromisoformat(row["valid_to"]))
        )
    for rows in spans.values():
        assert (rows[0][0], rows[-1][1]) == (date(2025, 3, 1), date(2026, 2, 28))
        assert all((late[0] - early[1]).days == 1 for early, late in pairwise(rows))


def test_serial_numbers_in_files_are_those_of_the_register():
    for delivery, test in TESTS:
        shape = shape_of(content_of(delivery["file"]))
        if shape == "B" and delivery["file"].startswith("harrow/c"):
            told = {cells[0]: cells[1] for cells in sections(text(delivery["file"]))["Kit"]}
            day = sections(text(delivery["file"]))["Test"][3][1].split()[0]
        elif shape == "G":
            head = {cells[0]: cells[1] for cells in german_parts(text(delivery["file"]))["Messung"]}
            told, day = {"Gauge": head["Messgerät"], "Fan": head["Gebläse"]}, head["Beginn"].split()[0]
        else:
            continue
        when = f"{datetime.strptime(day, '%d.%m.%Y').date()}"
        crew = delivery["file"].split("/")[1].upper()
        kit = next(r for r in register("kit") if r["crew"] == crew and r["valid_from"] <= when <= r["valid_to"])
        assert (told["Gauge"], told["Fan"]) == (kit["gauge_serial"], kit["fan_serial"]), test["job_id"]


def test_spoilt_files_are_spoilt_as_told():
    cut = content_of("ostrel/o1/2025-09/tests-sept.csv")
    assert not cut.endswith(b"\n")
    assert content_of("ostrel/o1/2025-09/tests-sept-again.csv").startswith(cut)
    shifted = text("ostrel/o2/2025-06/crew 2 june.csv").splitlines()
    assert [line.count(",") for line in shifted[:5]] == [17, 17, 17, 18, 17]
    assert content_of("ostrel/o1/2026-01/tests-sept-new-laptop.csv").startswith(b"\xff\xfeJ\x00o\x00")
    assert len(text("quillby/q2/2025-09/tests.csv").splitlines()) == 1
    assert content_of("quillby/q2/2025-10/FV-2954 before 1s.txt") == b""
    slip = next(row for row in text("quillby/q1/2025-11/novembre (1).csv").splitlines() if "Débit (m³/h)" in row)
    assert re.search(r";l \d{3};", slip)
    logged = [line for line in text("quillby/q2/2025-09/FV-2966-log.csv").splitlines() if line[0].isdigit()]
    steps = [int(line.split(",")[0]) for line in logged]
    assert Counter(b - a for a, b in pairwise(steps)) == {1: len(steps) - 2, 41: 1}
    assert "-4O,2" in text("harrow/c2/2025-07/FV-1934-before.csv")
    rows = sheet_rows(content_of("ostrel/o1/2025-10/tests-october-a.csv"))
    assert rows[1]["House pressure (Pa)"] == "-5O.1"


def test_a_larger_programme_is_as_true_as_the_small_one(tmp_path):
    make(tmp_path, jobs=90)
    found = deliveries(tmp_path)
    assert {shape_of(content_of(delivery["file"], tmp_path)) for delivery in found} == set(SHAPES)
    assert all(delivery["outcome"] == "imported" for delivery in found)
    kinds = Counter(test["kind"] for delivery in found for test in delivery["tests"])
    assert kinds["single_point"] > 90
    checked = 0
    for delivery in found:
        told = told_in(delivery, tmp_path)
        for test in delivery["tests"]:
            if test["source_place"] not in told or not told[test["source_place"]].runs:
                continue
            if test["wind_state"] == "calm" and test["fault"] is None:
                fit = told[test["source_place"]].fit()
                assert fit.flow_50_m3_h == pytest.approx(test["true_flow_50_m3_h"], rel=0.02), delivery["file"]
                checked += 1
    assert checked > 60
    once = {str(path.relative_to(tmp_path)): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    make(tmp_path, jobs=90)
    assert once == {
        str(path.relative_to(tmp_path)): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()
    }
    assert len(json.loads(once["truth.json"])["deliveries"]) == len(found)
    assert len({row["job_id"] for row in register("jobs", tmp_path)}) == 90
