"""Bad input: one delivery of good and bad files, the whole text for each bad one, and nothing good lost.

Each text is compared whole. A text judged unclear is not frozen: its test states a better one and is expected to fail.
"""

from __future__ import annotations

import hashlib
import io
import zipfile

import pytest
from from_outside import (
    ANSWER_IS_NO,
    COLUMNS,
    DONE,
    HEADER,
    Ended,
    Programme,
    a_row,
    linux_only,
    log,
    outcomes,
    run_with_peak,
    sectioned,
    sheet,
)

NUMBER = (
    "expected a number with a decimal point. "
    "Correct the cell. If it stands for a missing value, leave the cell empty, or add it to `missing` in the "
    "plugin's layout."
)
CORRECT = "Correct the cell in the source, or the unit or the field that the plugin states for it."
RESTORE = "Restore the row from the original: it may be cut, or a cell may hold the mark that separates cells."
EXPORT_LOG = "Export the log again, whole; or give each stretch without a gap a file of its own."
PACK = "Pack the files again, or give them unpacked."
OTHER_COLUMNS = ", ".join(repr(name) for name in COLUMNS if name != "House pressure (Pa)")


def packed(*members: tuple[str, bytes]) -> bytes:
    buffer = io.BytesIO()
    with zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as file:
        for name, content in members:
            file.writestr(name, content)
    return buffer.getvalue()


def packed_size(archive: bytes, member: str) -> int:
    return zipfile.ZipFile(io.BytesIO(archive)).getinfo(member).compress_size


def without(column: str, job: str) -> bytes:
    place = COLUMNS.index(column)
    lines = [HEADER, a_row(job)]
    return "".join(",".join(c for i, c in enumerate(x.split(",")) if i != place) + "\r\n" for x in lines).encode()


GOOD = {"sheet.csv": sheet(a_row("G-1"), a_row("G-2")), "test.csv": sectioned("G-3"), "log.csv": log("G-4")}

BOMB = packed(("blown.csv", b"a" * 30_000_000))
FLIPPED = bytearray(packed(("torn.csv", sheet(a_row("B-90"))), ("beside-torn.csv", sheet(a_row("G-7")))))
FLIPPED[30 + len("torn.csv") + 4] ^= 0xFF

REFUSED: dict[str, tuple[bytes, str]] = {
    "empty.csv": (b"", "found no bytes; expected a test. Export the test again and send the new file."),
    "binary.bin": (
        bytes(range(256)) * 40,
        ", row 1: found a NUL byte, which no text holds but UTF-16 with its mark at the start; expected text in UTF-8, "
        "or in an encoding that a plugin names. Export the test as text (CSV); a binary memory file cannot be read.",
    ),
    "utf16-unmarked.csv": (
        sheet(a_row("B-2")).decode().encode("utf-16-le"),
        ", row 1: found a NUL byte, which no text holds but UTF-16 with its mark at the start; expected text in UTF-8, "
        "or in an encoding that a plugin names. Export the test as text (CSV); a binary memory file cannot be read.",
    ),
    "utf16-cut.csv": (
        sheet(a_row("B-2")).decode().encode("utf-16")[:-7],
        ", row 2: found a character that is not UTF-16; expected text in UTF-16. Save it anew as CSV in UTF-8.",
    ),
    "header-only.csv": (
        sheet(),
        ", row 1: found a header without rows below it; expected at least one row. Export the test again.",
    ),
    "column-gone.csv": (
        without("House pressure (Pa)", "B-3"),
        f", row 1, column 'House pressure (Pa)': found a header that holds {OTHER_COLUMNS}; "
        "expected the column 'House pressure (Pa)'. Export with this column, or correct its name in the header.",
    ),
    "column-twice.csv": (
        sheet(a_row("B-31") + ",99", header=HEADER + ",Fan flow (cfm)"),
        ", row 1, column 'Fan flow (cfm)': found the name 'Fan flow (cfm)' 2 times in the header; "
        "expected each name once. Rename or remove one of the columns.",
    ),
    "text-in-number.csv": (
        sheet(a_row("B-4"), a_row("B-5", flow="about 1500")),
        f", row 3, column 'Fan flow (cfm)': found 'about 1500'; {NUMBER}",
    ),
    "not-a-number.csv": (sheet(a_row("B-6", flow="NaN")), f", row 2, column 'Fan flow (cfm)': found 'NaN'; {NUMBER}"),
    "no-such-day.csv": (
        sheet(a_row("B-7", date="02/31/2026")),
        ", row 2, column 'Test date': found '02/31/2026'; "
        "expected a time that exists, written MM/DD/YYYY. Correct the cell in the source.",
    ),
    "no-such-hour.csv": (
        sheet(a_row("B-8", clock="25:00")),
        ", row 2, column 'Test time': found '25:00'; "
        "expected a time written hh:mm AM/PM. Correct the cell in the source.",
    ),
    "no-such-day-sectioned.csv": (
        sectioned("B-9", ("03.02.2026 10:42", "31.02.2026 10:42")),
        ", row 6, column 'Started': found '31.02.2026 10:42'; "
        "expected a time that exists, written DD.MM.YYYY hh:mm. Correct the cell in the source.",
    ),
    "no-such-hour-sectioned.csv": (
        sectioned("B-91", ("03.02.2026 10:42", "03.02.2026 25:00")),
        ", row 6, column 'Started': found '03.02.2026 25:00'; "
        "expected a time that exists, written DD.MM.YYYY hh:mm. Correct the cell in the source.",
    ),
    # Clocks in Ireland went from 1:00 to 2:00 on 29 March 2026 (IANA time zone database, Europe/Dublin).
    "skipped-hour.csv": (
        sheet(a_row("B-10", date="03/29/2026", clock="1:30 AM")),
        ", row 2, column 'Test time': found '03/29/2026 1:30 AM', an hour that clocks in Europe/Dublin skip on that "
        "day; expected a time that exists. Correct the time in the source, or the time zone of the archive.",
    ),
    "negative-volume.csv": (
        sheet(a_row("B-11", volume="-12430")),
        ", row 2, column 'Volume (cu ft)': found '-12430'; expected inside volume of the tested space: "
        f"a number greater than 0 cu ft. {CORRECT}",
    ),
    "cut-row.csv": (
        sheet(a_row("B-12"), "B-13,0007,test-in,02/03"),
        f", row 3: found 4 cells; expected 18 cells, one for each name of the header in row 1. {RESTORE}",
    ),
    "shifted.csv": (
        sheet(a_row("B-14"), "," + a_row("B-15", remarks="ok")),
        f", row 3: found 19 cells; expected 18 cells, one for each name of the header in row 1. {RESTORE}",
    ),
    "open-quotation.csv": (
        sheet(a_row("B-16") + '"open', a_row("B-17")),
        ", row 2: found a quotation mark that does not pair within the row; "
        "expected quoted cells that end in the row they begin in. "
        "Remove the quotation mark, or the line break within the cell.",
    ),
    "total.csv": (
        sheet(a_row("B-18"), "Total,,,,,,,,,,3040,,,,,,3032,"),
        ", row 3, column 'House': found ''; expected a value in every row. "
        "Fill in the cell; if the row is a mean, a total or a footer, remove it.",
    ),
    "thousands.csv": (
        sheet(a_row("B-19", flow="1,505")),
        ", row 2, column 'Fan flow (cfm)': found '1,505'; expected a number with a decimal point and no thousands "
        "mark, as the plugin states. Correct the cell, or state in the plugin's layout what its marks mean.",
    ),
    "decimal-comma.csv": (
        sheet(a_row("B-20", pressure="-50,2")),
        ", row 2, column 'House pressure (Pa)': found '-50,2'; expected a number with a decimal point and no "
        "thousands "
        "mark, as the plugin states. Correct the cell, or state in the plugin's layout what its marks mean.",
    ),
    "decimal-point-sectioned.csv": (
        sectioned("B-21", ("-60,3", "-60.3")),
        ", row 26, column 'Envelope': found '-60.3'; expected a number with a decimal comma and no thousands "
        "mark, as the plugin states. Correct the cell, or state in the plugin's layout what its marks mean.",
    ),
    "thousands-sectioned.csv": (
        sectioned("B-22", (";3159", ";3.159")),
        ", row 26, column 'Flow': found '3.159'; expected a number with a decimal comma and no thousands "
        "mark, as the plugin states. Correct the cell, or state in the plugin's layout what its marks mean.",
    ),
    "letter-in-number.csv": (
        sheet(a_row("B-23", flow="15O5")),
        f", row 2, column 'Fan flow (cfm)': found '15O5'; {NUMBER}",
    ),
    "two-sections.csv": (
        sectioned("B-24", ("[Result]", "[Air]\n[Result]")),
        ", row 31: found section 'Air' for a second time; expected each section once. "
        "Give each test a file of its own.",
    ),
    "key-twice.csv": (
        sectioned("B-25", ("Crew;C2", "Crew;C2\nCrew;C3")),
        ", row 10, column 'Crew': found the key a second time, after row 9; expected each key once. "
        "Remove the one that does not hold; give each test a file of its own.",
    ),
    "other-unit.csv": (
        sectioned("B-26", ("412,5;m³", "412,5;Pa")),
        ", row 13, column 'Volume': found the unit 'Pa', which measures something else; expected a unit for the "
        "inside "
        "volume of the tested space. Correct the unit in the file, or the field that the plugin maps this to.",
    ),
    "gap.csv": (
        log("B-27", changed={20: ""}),
        ", row 30, column 'elapsed s': found 21 s after 19 s; expected steps of 1 s throughout, as between most "
        "rows. "
        f"{EXPORT_LOG}",
    ),
    "step-back.csv": (
        log("B-28", count=20, changed={19: "17,-1.84,-1.12,20.3,3.9"}),
        ", row 29, column 'elapsed s': found 17 s after 18 s; expected a time later than that of the row before. "
        f"{EXPORT_LOG}",
    ),
    "long-row.csv": (
        sheet(a_row("B-29"), "B-30," + "x" * 1_100_000),
        ", row 3: found a row of more than 1,000,000 bytes; expected text in rows, as a gauge or a spreadsheet "
        "exports "
        "it. Check that this is a test file and that it is whole.",
    ),
    "bomb.zip": (
        BOMB,
        f"/blown.csv: found {packed_size(BOMB, 'blown.csv'):,} bytes that unpack to 30,000,000; "
        "expected a member at most 200 times its packed size. Give this file unpacked.",
    ),
    "out.zip": (
        packed(("../evil.csv", sheet(a_row("EVIL-1"))), ("beside-evil.csv", sheet(a_row("G-6")))),
        f"/../evil.csv: found a member whose name leads out of the archive; expected a name below the archive. {PACK}",
    ),
    "nested.zip": (
        packed(("inner.zip", packed(("n.csv", sheet(a_row("EVIL-2")))))),
        "/inner.zip: found a zip archive within a zip archive; expected test files. Unpack the inner archive first.",
    ),
    "unknown.csv": (
        b"a,b,c\n1,2,3\n",
        "found a layout that no plugin recognises; expected a layout that one plugin recognises. "
        "Check that this is a test file; if it is, a plugin for its layout is needed.",
    ),
    "western.csv": (
        sheet(a_row("B-50", remarks="café")).decode().encode("cp1252"),
        ", row 2: found a character that is not UTF-8; expected text in UTF-8. Save it anew as CSV in UTF-8.",
    ),
    "fahrenheit.csv": (
        sheet(a_row("B-51", indoor="-999")),
        ", row 2, column 'Indoor (F)': found '-999'; expected air temperature indoors: a number greater than "
        "-130 °F. "
        f"{CORRECT} If it stands for a missing value, leave the cell empty, or add it to `missing` in the "
        "plugin's layout.",
    ),
    "header-again.csv": (
        sheet(a_row("B-52"), HEADER, a_row("B-53")),
        ", row 3: found the header a second time; expected rows of values below one header. Remove the row; "
        "give each test a file of its own if these are two.",
    ),
    "units-gone.csv": (
        sectioned("B-54", (";Pa;Pa;Pa;s;;Pa;m³/h\n", "")),
        ", row 25: found numbers where the row of units should stand; expected the unit of each column below "
        "its name. Put the row of units back.",
    ),
    "torn.zip": (
        bytes(FLIPPED),
        f"/torn.csv: found a member that does not unpack; expected a whole member. {PACK}",
    ),
    "no-zip.zip": (
        b"PK\x03\x04 and no more",
        f": found a zip archive that does not open; expected a whole zip archive. {PACK}",
    ),
    "long-name.csv": (
        sectioned("B-55", ("Gauge;G-0417", "Gauge;" + "G" * 5000)),
        f", row 19, column 'Gauge': found '{'G' * 60}…'; "
        "expected serial number of the gauge: text of at most 4000 characters. Correct the cell in the source, "
        "or the unit or "
        "the field that the plugin states for it.",
    ),
}

HELD: dict[str, tuple[bytes, str]] = {
    "stage.csv": (
        sheet(a_row("H-1", stage="testin")),
        ", row 2, column 'Stage': What does 'testin' mean in 'Stage'? The plugin knows 'test-in', 'test-out', "
        "'interim', 'inspection'. Correct the source, or add the code to the plugin, and import again. "
        "Possible: before; interim; after; inspection; none of these.",
    ),
    "unit.csv": (
        sectioned("H-2", ("412,5;m³", "412,5")),
        ", row 13, column 'Volume': Which unit has 'Volume' in section [House]? The file writes none. "
        "Write it in the source, or state it in the plugin, and import again. Possible: m3; ft3.",
    ),
    # Clocks in Ireland went from 2:00 back to 1:00 on 25 October 2026 (IANA time zone database, Europe/Dublin).
    "hour-twice.csv": (
        sheet(a_row("H-3", date="10/25/2026", clock="1:30 AM")),
        ", row 2, column 'Test time': Which of the two times 10/25/2026 1:30 AM in row 2 is meant? "
        "Clocks in Europe/Dublin were set back on that day and showed this time twice. "
        "Correct the time in the source, or leave it empty, and import again. Possible: the first pass; the "
        "second pass.",
    ),
    "signs.csv": (
        sectioned("H-4", *((f"{old};", f"{old[1:]};") for old in ("-60,3", "-50,1", "-40,2", "-30,1", "-20,2"))),
        ", row 24: Section [Depressurisation] holds only envelope pressures above zero. Which is right, the "
        "heading or "
        "the signs? Inside minus outside, depressurisation gives pressures on the other side of zero. "
        "Correct the heading or the signs in the source, and import again. Possible: the heading; the signs.",
    ),
}


def named(name: str) -> str:
    return f"delivery/{name}"


def full_text(name: str, text: str) -> str:
    return f"problem: {named(name)}{text if text.startswith((',', '/', ':')) else ': ' + text}"


@pytest.fixture(scope="module")
def delivered(empty: Programme, tmp_path_factory: pytest.TempPathFactory) -> tuple[Programme, Ended]:
    programme = empty.copied_to(tmp_path_factory.mktemp("delivered") / "desk")
    delivery = programme.folder / "delivery"
    delivery.mkdir()
    bad = REFUSED | HELD
    for name, content in GOOD.items():
        (delivery / name).write_bytes(content)
    for name, (content, *_) in bad.items():
        (delivery / name).write_bytes(content)
    return programme, programme.take("delivery")


def about(ended: Ended, name: str) -> list[str]:
    """The lines of standard error on a file or on what is packed in it."""
    return [line for line in ended.lines if named(name) in line]


@pytest.mark.parametrize("name", REFUSED)
def test_a_bad_file_ends_with_one_clear_text(delivered: tuple[Programme, Ended], name: str) -> None:
    assert about(delivered[1], name) == [full_text(name, REFUSED[name][1])]


@pytest.mark.parametrize("name", HELD)
def test_a_question_says_where_why_and_what_to_do(delivered: tuple[Programme, Ended], name: str) -> None:
    assert about(delivered[1], name) == [f"question: {named(name)}{HELD[name][1]}"]


def test_what_is_bad_is_refused_or_held_and_all_that_is_good_is_there(delivered: tuple[Programme, Ended]) -> None:
    programme, ended = delivered
    assert ended.code == ANSWER_IS_NO
    assert "Traceback" not in ended.err
    came_of = outcomes(ended)
    in_zips = {"bomb.zip": "/blown.csv", "out.zip": "/../evil.csv", "nested.zip": "/inner.zip", "torn.zip": "/torn.csv"}
    for name in REFUSED:
        assert came_of.pop(named(name) + in_zips.get(name, "")) == ("refused", 0), name
    for name in HELD:
        assert came_of.pop(named(name)) == ("held", 0), name
    assert came_of == {
        named("sheet.csv"): ("new", 2),
        named("test.csv"): ("new", 1),
        named("log.csv"): ("new", 1),
        named("out.zip/beside-evil.csv"): ("new", 1),
        named("torn.zip/beside-torn.csv"): ("new", 1),
    }
    jobs = [row["job_id"] for row in programme.ask("select job_id from sessions order by job_id")]
    assert jobs == ["G-1", "G-2", "G-3", "G-4", "G-6", "G-7"]
    programme.assert_whole()


def test_what_was_refused_or_held_is_kept_as_it_came(delivered: tuple[Programme, Ended]) -> None:
    """README: "The original is kept either way." """
    programme, _ = delivered
    journal = programme.ask("select source_name, source_sha256, import_state from journal")
    states = {row["source_name"]: (row["source_sha256"], row["import_state"]) for row in journal}
    stored = {path.name.split(".")[0] for path in (programme.root / "originals").rglob("*") if path.is_file()}
    for name, (content, *_) in (REFUSED | HELD).items():
        if not name.endswith(".zip"):
            digest = hashlib.sha256(content).hexdigest()
            assert states.get(named(name)) == (digest, "held" if name in HELD else "refused"), name
            assert digest in stored, name


def test_nothing_of_a_zip_is_written_outside_the_archive(delivered: tuple[Programme, Ended]) -> None:
    programme, _ = delivered
    assert not list(programme.folder.rglob("evil*"))
    assert not list(programme.folder.parent.glob("evil*"))


def test_a_good_file_beside_a_bomb_comes_in(programme: Programme) -> None:
    members = ("good.csv", sheet(a_row("G-8"))), ("blown.csv", b"a" * 30_000_000), ("z.csv", sheet(a_row("G-9")))
    (programme.folder / "bomb.zip").write_bytes(packed(*members))
    came_of = outcomes(programme.take("bomb.zip"))
    assert came_of == {
        "bomb.zip/good.csv": ("new", 1),
        "bomb.zip/blown.csv": ("refused", 0),
        "bomb.zip/z.csv": ("new", 1),
    }


def refuse_huge(programme: Programme, size: int, text: str) -> None:
    delivery = programme.folder / "delivery"
    delivery.mkdir()
    (delivery / "good.csv").write_bytes(GOOD["sheet.csv"])
    with (delivery / "huge.csv").open("wb") as file:
        file.write(f"{HEADER}\r\n".encode())
        file.truncate(size)
    words = ("import", "delivery", "--archive", "archive", "--no-recompute", "--format", "json")
    ended, peak = run_with_peak(*words, cwd=programme.folder, seconds=60)
    assert ended.code == ANSWER_IS_NO, ended.err
    assert outcomes(ended) == {named("good.csv"): ("new", 2), named("huge.csv"): ("refused", 0)}
    assert about(ended, "huge.csv") == [full_text("huge.csv", text)]
    assert ended.seconds < 30
    assert peak < 400e6, f"{peak / 1e6:.0f} MB"
    programme.assert_whole()


@linux_only
def test_a_row_of_300_megabytes_is_refused_with_little_memory(programme: Programme) -> None:
    nul = REFUSED["binary.bin"][1].replace("row 1", "row 2")
    refuse_huge(programme, 300_000_000, nul)


@linux_only
@pytest.mark.full
@pytest.mark.parametrize("size", [2**30 + 1, 2**31])
def test_a_row_of_gigabytes_is_refused_with_little_memory(programme: Programme, size: int) -> None:
    text = (
        f"found {size:,} bytes; expected at most 1,073,741,824 bytes. "
        "Check that this is a test file; export a shorter stretch if it is one."
    )
    refuse_huge(programme, size, text)


def test_a_dry_run_says_the_same_and_writes_nothing(delivered: tuple[Programme, Ended]) -> None:
    programme, before = delivered
    files = sorted(programme.root.rglob("*"))
    ended = programme.on("import", "delivery", "--dry-run", "--format", "json")
    assert ended.code == ANSWER_IS_NO
    assert [line for line in ended.lines if line.startswith("problem: ")] == [
        line for line in before.lines if line.startswith("problem: ")
    ]
    assert ended.lines[-1].endswith(" Nothing was written (dry run).")
    assert sorted(programme.root.rglob("*")) == files


def test_a_delivery_of_good_files_only_is_done(programme: Programme) -> None:
    (programme.folder / "good.csv").write_bytes(GOOD["sheet.csv"])
    ended = programme.take("good.csv")
    assert (ended.code, ended.lines) == (DONE, ["read 1 file", "1 file: 1 new (2 tests)."])
