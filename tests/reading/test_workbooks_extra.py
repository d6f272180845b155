"""Workbooks are read by libraries that need not be there; and what these libraries cost."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from workbook_inputs import ods, raw, refused, table, xlsx

CELLS_A_ROW = 10


@pytest.mark.parametrize("library", ["openpyxl", "odfdo", "lxml"])
def test_without_its_library_a_workbook_is_refused_with_what_to_install(
    library: str, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = xlsx(lambda sheet: sheet.append([1])) if library == "openpyxl" else ods(table(""))
    for name in [name for name in sys.modules if name.partition(".")[0] == library]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.setitem(sys.modules, library, None)
    problem = refused(data)
    assert (problem.code, str(problem)) == (
        "workbook-extra",
        f"tests.xlsx: found a workbook, but no {library} to read it; expected the extra 'spreadsheets'. "
        "Run pip install 'airtightness-interchange[spreadsheets]', or save each sheet as CSV.",
    )


def _large(form: str, rows: int) -> bytes:
    if form == "xlsx":
        return raw("".join(f"<row>{f'<c><v>{row}.25</v></c>' * CELLS_A_ROW}</row>" for row in range(rows)))
    cell = (
        '<table:table-cell office:value-type="float" office:value="{0}.25"><text:p>{0}.25</text:p></table:table-cell>'
    )
    row = f"<table:table-row>{cell * CELLS_A_ROW}</table:table-row>"
    return ods(table("".join(row.format(number) for number in range(rows))))


_READ = """
import sys, pathlib
from interchange.reading import workbooks
book = workbooks.open_workbook(pathlib.Path(sys.argv[1]).read_bytes(), "large")
status = dict(line.split(":", 1) for line in open("/proc/self/status"))
print(sum(map(len, book.sheets[0].rows)), int(status["VmHWM"].split()[0]) // 1024)
"""


def _peak_mb(form: str, rows: int, folder: Path) -> int:
    """The most memory of a process that reads a workbook of so many rows [MB]."""
    path = folder / f"large.{form}"
    path.write_bytes(_large(form, rows))
    command = [sys.executable, "-c", _READ, str(path)]
    ended = subprocess.run(command, capture_output=True, text=True, check=True, cwd=Path(__file__).parents[2])
    cells, peak_mb = map(int, ended.stdout.split())
    assert cells == rows * CELLS_A_ROW
    return peak_mb


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is measured as Linux tells it")
@pytest.mark.parametrize("form", ["xlsx", "ods"])
def test_a_workbook_is_never_held_whole(form: str, tmp_path: Path) -> None:
    # a cell that is read is a float and its place in a row, of 32 bytes; held whole a library needs 300 and more
    assert _peak_mb(form, 6000, tmp_path) - _peak_mb(form, 1000, tmp_path) < 10


@pytest.mark.full
@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="memory is measured as Linux tells it")
@pytest.mark.parametrize("form", ["xlsx", "ods"])
def test_a_workbook_of_450_000_cells_is_read_in_150_megabytes(form: str, tmp_path: Path) -> None:
    assert _peak_mb(form, 45_000, tmp_path) < 150
