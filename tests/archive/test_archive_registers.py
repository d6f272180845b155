"""Registers in an archive: added to by all or nothing, covered by verify, asked in SQL, and known to results."""

from __future__ import annotations

import subprocess
import sys
from datetime import date
from pathlib import Path

import pytest

from interchange.archive import derived, query, registers, sums, verify
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.errors import ArchiveError, SourceError
from interchange.model import register

CREWS = "crew,valid_from,valid_to,contractor\n"
ONE = CREWS + "C1,2025-01-01,2025-06-30,Harrow\n"
TWO = ONE + "C1,2025-07-01,,Ostrel\nC0,2025-07-01,,Harrow\n"
FANS = (
    "fan_serial,fan_configuration,fan_calibrated_on,fan_calibration_due_on,fan_coefficient_m3_h,fan_exponent,"
    "reference_air_density_kg_m3,minimum_fan_pressure_pa,maximum_fan_pressure_pa\n"
    "0093,full,2025-05-12,2026-05-12,492.0,0.5,1.204,10.0,\n"
)


@pytest.fixture
def root(tmp_path: Path) -> Path:
    return Store.create(tmp_path / "archive", Settings("P")).root


def add(root: Path, text: str, name: str = "crews") -> registers.Added:
    return registers.add(root, name, register.read(name, text.encode(), "given.csv"))


def test_a_new_archive_has_empty_registers_and_is_whole(root: Path) -> None:
    assert [registers.read(root, name) for name in registers.NAMES] == [()] * 4
    assert set(registers.NAMES) == set(register.FORMS)
    assert verify.verify(root) == []


def test_the_union_is_kept_in_the_order_of_keys_and_days(root: Path) -> None:
    assert add(root, ONE) == registers.Added(new=1, known_already=0, rows=1)
    assert add(root, TWO) == registers.Added(new=2, known_already=1, rows=3)
    assert registers.path(root, "crews").read_text() == CREWS + (
        "C0,2025-07-01,,Harrow\nC1,2025-01-01,2025-06-30,Harrow\nC1,2025-07-01,,Ostrel\n"
    )
    assert verify.verify(root) == []


def test_the_same_rows_again_write_nothing(root: Path) -> None:
    add(root, TWO)
    before = registers.path(root, "crews").stat().st_mtime_ns
    assert add(root, ONE) == registers.Added(new=0, known_already=1, rows=3)
    assert registers.path(root, "crews").stat().st_mtime_ns == before


def test_a_row_that_claims_days_of_another_is_refused_with_all_of_its_file(root: Path) -> None:
    add(root, TWO)
    before = registers.path(root, "crews").read_bytes()
    with pytest.raises(SourceError) as caught:
        add(root, CREWS + "C9,2025-01-01,,Harrow\nC1,2025-06-30,2025-06-30,Ostrel\n")
    (problem,) = caught.value.problems
    assert (str(problem.place), problem.found) == ("given.csv, row 3", "crew 'C1', 2025-06-30")
    assert "the register (registers/crews.csv), row 3 says 2025-01-01 to 2025-06-30" in problem.expected
    assert registers.path(root, "crews").read_bytes() == before


@pytest.mark.parametrize("name", registers.NAMES)
def test_a_changed_or_lost_register_is_found(root: Path, name: str) -> None:
    file = registers.path(root, name)
    content = file.read_bytes()
    file.write_bytes(content.replace(b"c", b"k", 1))
    assert [(one.code, one.place.file) for one in verify.verify(root)] == [("file-changed", str(file))]
    file.unlink()
    assert [(one.code, one.place.file) for one in verify.verify(root)] == [("file-missing", str(file))]
    file.write_bytes(content)
    sums.path(root, file).unlink()
    assert [(one.code, one.blocks) for one in verify.verify(root)] == [("checksum-missing", "file")]


def test_files_that_are_no_register_are_notes(root: Path) -> None:
    for name in ("notes.csv", ".crews.csv.ab.part"):
        (root / registers.FOLDER / name).write_text("left")
    assert {(Path(one.place.file).name, one.blocks) for one in verify.verify(root)} == {
        ("notes.csv", "note"),
        (".crews.csv.ab.part", "note"),
    }


CUT_OFF = """
import sys
from pathlib import Path
from interchange.archive import registers, sums
from interchange.model import register
root, left = Path(sys.argv[1]), int(sys.argv[2])
write = sums.write_atomically
def counting(path, data):
    global left
    if not left:
        import os
        os._exit(9)
    left -= 1
    write(path, data)
sums.write_atomically = counting
registers.add(root, "crews", register.read("crews", sys.argv[3].encode(), "given.csv"))
"""


@pytest.mark.parametrize(("writes", "rows"), [(0, 1), (1, 1), (2, 3), (3, 3)])
def test_a_writer_cut_off_leaves_the_old_rows_or_the_new_and_a_whole_archive(
    root: Path, writes: int, rows: int
) -> None:
    add(root, ONE)
    done = subprocess.run([sys.executable, "-c", CUT_OFF, str(root), str(writes), TWO], check=False, timeout=60)
    assert done.returncode == (9 if writes < 3 else 0)
    assert len(registers.read(root, "crews")) == rows
    assert verify.verify(root) == []
    assert add(root, TWO).rows == 3
    assert verify.verify(root) == []
    assert len(sums.path(root, registers.path(root, "crews")).read_text().splitlines()) == 1 + (writes == 2)


def test_writers_at_the_same_time_lose_no_rows(root: Path) -> None:
    code = (
        "import sys; from pathlib import Path\n"
        "from interchange.archive import registers; from interchange.model import register\n"
        "for day in range(1, 6):\n"
        "    text = f'crew,valid_from,valid_to,contractor\\n{sys.argv[2]},2025-01-0{day},2025-01-0{day},A\\n'\n"
        "    registers.add(Path(sys.argv[1]), 'crews', register.read('crews', text.encode(), 'given.csv'))\n"
    )
    writers = [subprocess.Popen([sys.executable, "-c", code, str(root), f"C{number}"]) for number in range(4)]
    assert [writer.wait(timeout=60) for writer in writers] == [0] * 4
    assert len(registers.read(root, "crews")) == 20
    assert verify.verify(root) == []


def test_a_register_that_no_longer_reads_is_an_error_in_words(root: Path) -> None:
    registers.path(root, "crews").write_text(CREWS + "C1,soon,,Harrow\n")
    with pytest.raises(ArchiveError, match=r"crews\.csv, row 2, column 'valid_from': found 'soon'"):
        registers.read(root, "crews")
    registers.path(root, "crews").write_text("")
    with pytest.raises(ArchiveError, match="no header"):
        registers.read(root, "crews")


def test_an_archive_older_than_registers_has_none_and_takes_them(root: Path) -> None:
    for name in registers.NAMES:
        registers.path(root, name).unlink()
        sums.path(root, registers.path(root, name)).unlink()
    (root / registers.FOLDER).rmdir()
    assert verify.verify(root) == []
    assert registers.read(root, "kit") == () == registers.calibrations(root).rows
    with pytest.raises(ArchiveError, match="expected the register kit"):
        query.query(root, "SELECT * FROM register_kit")
    assert list(query.query(root, "SELECT count(*) FROM sessions").rows) == [(0,)]
    assert add(root, ONE).rows == 1
    assert verify.verify(root) == []


def ask(root: Path, sql: str) -> list[tuple[object, ...]]:
    return list(query.query(root, sql).rows)


def test_registers_are_views_with_dates_numbers_and_texts(root: Path) -> None:
    assert ask(root, "SELECT * FROM register_crews") == []
    add(root, CREWS + 'C1,2025-01-01,,"Harrow, ""Sons"""\n007,2025-01-01,2025-02-01,\'x\n')
    assert ask(root, "SELECT * FROM register_crews") == [
        ("007", date(2025, 1, 1), date(2025, 2, 1), "'x"),
        ("C1", date(2025, 1, 1), None, 'Harrow, "Sons"'),
    ]
    add(root, FANS, "calibrations")
    assert ask(root, "SELECT fan_serial, fan_coefficient_m3_h, maximum_fan_pressure_pa FROM register_calibrations") == [
        ("0093", 492.0, None)
    ]


@pytest.mark.parametrize("name", registers.NAMES)
def test_a_view_has_the_columns_of_its_register(root: Path, name: str) -> None:
    types = dict(
        ask(
            root,
            "SELECT column_name, data_type FROM duckdb_columns() "
            f"WHERE table_name = 'register_{name}' ORDER BY column_index",
        )
    )
    assert tuple(types) == register.columns(name)
    properties = register.FORMS[name].model_json_schema()["properties"]
    for column, found in types.items():
        branches = properties[column].get("anyOf", [properties[column]])
        expected = {"number": "DOUBLE", "date": "DATE"}.get(branches[0].get("format", branches[0]["type"]), "VARCHAR")
        assert found == expected, column


def test_results_computed_with_other_calibrations_are_stale(root: Path) -> None:
    known = registers.calibrations(root)
    derived.write(root, "results", "r", 0, {"session_id": ["a"]}, known.fingerprint)
    assert ask(root, "SELECT count(*) FROM results") == [(1,)]
    add(root, ONE)  # a register that results do not rest on
    assert ask(root, "SELECT count(*) FROM results") == [(1,)]
    add(root, FANS, "calibrations")
    assert registers.fingerprint(root) == registers.calibrations(root).fingerprint != known.fingerprint
    with pytest.raises(ArchiveError, match="from before a change of the register of calibrations"):
        ask(root, "SELECT count(*) FROM results")
    derived.write(root, "results", "r", 0, {"session_id": ["a", "b"]}, known.fingerprint)  # began before the change
    with pytest.raises(ArchiveError, match="recompute"):
        ask(root, "SELECT count(*) FROM results")
    derived.write(root, "results", "r", 0, {"session_id": ["c"] * 3})
    assert ask(root, "SELECT count(*) FROM results") == [(3,)]
