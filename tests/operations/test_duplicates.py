"""The same test sent again, and readings of another house, found on the demo deliveries as their maker planted them."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

from interchange.operations.changing import amend_test
from interchange.operations.importing import import_files
from interchange.operations.likeness import duplicates
from interchange.operations.new import new_archive
from interchange.resources import shipped

SHIPPED = shipped("demo_archive")
TRUTH = json.loads((SHIPPED / "truth.json").read_text())["deliveries"]
KEYS = ("alike_as", "job_id", "stage")


def test_every_planted_copy_and_resend_is_found_and_nothing_else(demo: Path) -> None:
    words = {"resend_of": "same_test", "copy_of": "copied_readings"}
    planted = {
        (words[said.partition(":")[0]], test["job_id"], test["stage"])
        for delivery in TRUTH
        if delivery["outcome"] == "imported"
        for test in delivery["tests"]
        for said in test["planted"]
        if said.partition(":")[0] in words
    }
    table = duplicates(demo).table
    places = [table.columns.index(name) for name in KEYS]
    found = [tuple(row[place] for place in places) for row in table.rows]
    assert set(found) == planted
    assert len(found) == len(set(found)) == 18
    sure = {row[table.columns.index("alike_as")]: row[table.columns.index("likeness")] for row in table.rows}
    assert sure == {"same_test": "certain", "copied_readings": "possible"}


def test_a_resend_says_what_differs_and_import_tells_of_it(tmp_path: Path) -> None:
    root = new_archive(tmp_path / "a", "Fennick Vale")
    sent = SHIPPED / "deliveries" / "harrow"
    first = import_files(root, [sent / "FV-2034-before.csv"], recompute=False, sender="Harrow")
    assert first.remarks == ()
    again = import_files(root, [sent / "resent" / "FV-2034-before.csv"], sender="office")
    (remark,) = again.remarks
    assert remark.startswith("1 test probably the same as other tests in the archive; `interchange duplicates`")
    table = duplicates(root).table
    (row,) = [dict(zip(table.columns, row, strict=True)) for row in table.rows]
    assert row["what_differs"].startswith("volume_m3: 356.0 → 365.0; reported_air_change_50_per_h: 6.03 → 5.88")
    assert (row["first_sender"], row["second_sender"]) == ("Harrow", "office")
    assert (row["agreeing_reading_count"], row["reading_count"]) == (14, 14)
    assert row["second_delivery"] == again.delivery
    amend_test(root, row["second_session_id"], "supersedes", row["first_session_id"], "R.", "volume put right")
    assert duplicates(root).table.rows == []
    assert len(duplicates(root, whole=True).table.rows) == 1


def test_a_file_with_other_line_ends_and_one_more_blank_is_the_same_tests_again(tmp_path: Path) -> None:
    root = new_archive(tmp_path / "a", "Fennick Vale")
    sent = shutil.copy(SHIPPED / "deliveries" / "ostrel" / "tests-week-06.csv", tmp_path / "week.csv")
    import_files(root, [Path(sent)], recompute=False)
    other = tmp_path / "once more.csv"
    other.write_bytes(Path(sent).read_bytes().replace(b"\r\n", b"\n") + b"\n")
    report = import_files(root, [other], recompute=False)
    assert [line.session_count for line in report.lines] == [8]
    with_flow = [row for row in duplicates(root).table.rows if row[0] == "certain"]
    assert len(with_flow) == len(duplicates(root).table.rows) == 8
