"""The program as a stranger runs it: a child process, its exit code, its two streams; and files to feed it.

Nothing here imports the package: what the tests of this folder know, they know from the command line.
"""

from __future__ import annotations

import ctypes
import hashlib
import importlib.util
import json
import os
import resource
import shutil
import subprocess
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

REPOSITORY = Path(__file__).resolve().parents[2]
START = "from interchange.cli.main import main; main()"
DONE, ANSWER_IS_NO, USAGE, SOURCE, ARCHIVE, OUR_BUG = 0, 1, 2, 3, 4, 70

CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH, PR_CAPBSET_DROP = 1, 2, 24
SUPERUSER = os.geteuid() == 0

linux_only = pytest.mark.skipif(not sys.platform.startswith("linux"), reason="uses what only Linux has")


def environment(**more: str) -> dict[str, str]:
    """The caller's environment; the repository leads the path unless an installed package is to be tested."""
    installed = importlib.util.find_spec("interchange")
    here = installed is None or installed.origin is None or Path(installed.origin).is_relative_to(REPOSITORY)
    path = {"PYTHONPATH": str(REPOSITORY)} if here else {}
    kept = {name: value for name, value in os.environ.items() if name not in {"PYTHONPATH", "INTERCHANGE_ARCHIVE"}}
    return kept | path | {"PYTHONDONTWRITEBYTECODE": "1", "PYTHONUTF8": "1"} | more


@dataclass(frozen=True, slots=True)
class Ended:
    """A command that has ended."""

    code: int
    out: bytes
    err: str
    seconds: float

    @property
    def text(self) -> str:
        return self.out.decode()

    @property
    def lines(self) -> list[str]:
        """Progress and problems, without what each import says of its delivery and of tests that are alike."""
        told = ("`interchange undo", "`interchange duplicates`")
        return [line for line in self.err.splitlines() if not any(words in line for words in told)]


def give_up_rights() -> None:
    """Run in the child before the program: a superuser loses what lets him read and write everything."""
    if not SUPERUSER:
        return
    libc = ctypes.CDLL(None, use_errno=True)
    for capability in (CAP_DAC_OVERRIDE, CAP_DAC_READ_SEARCH):
        if libc.prctl(PR_CAPBSET_DROP, capability, 0, 0, 0):
            raise OSError(ctypes.get_errno(), "the right to read everything cannot be given up")


def smallest_file(limit: int) -> Callable[[], None]:
    """Run in the child before the program: no file may grow beyond so many bytes, as on a full disk."""
    return lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))


def run(
    *words: str,
    cwd: Path,
    before: Callable[[], None] | None = None,
    seconds: float = 120,
    start: str = START,
    **more: str,
) -> Ended:
    """Run the program to its end, in a folder. [seconds] is when a hanging child is killed and the test fails."""
    begun = time.monotonic()
    child = subprocess.run(
        [sys.executable, "-c", start, *words],
        cwd=cwd,
        env=environment(**more),
        preexec_fn=before,
        capture_output=True,
        timeout=seconds,
        check=False,
    )
    return Ended(child.returncode, child.stdout, child.stderr.decode(), time.monotonic() - begun)


def run_with_peak(*words: str, cwd: Path, seconds: float = 120) -> tuple[Ended, int]:
    """The same, and the most memory [bytes] that the process has held; what its parent held does not count."""
    keep = "import atexit; atexit.register(lambda: open('peak.txt', 'w').write(open('/proc/self/status').read())); "
    ended = run(*words, cwd=cwd, seconds=seconds, start=keep + START)
    status = dict(line.split(":", 1) for line in (cwd / "peak.txt").read_text().splitlines())
    return ended, int(status["VmHWM"].split()[0]) * 1024


def at_once(words_of: dict[str, tuple[str, ...]], one: Callable[..., Ended]) -> dict[str, Ended]:
    """Run `one` with each of the words, as many at once as there are cores; only for what disturbs nobody."""
    with ThreadPoolExecutor(max_workers=os.cpu_count()) as pool:
        return dict(zip(words_of, pool.map(lambda words: one(*words), words_of.values()), strict=True))


class Programme:
    """An archive in a folder of its own, and the commands on it."""

    def __init__(self, folder: Path) -> None:
        self.folder = folder
        self.root = folder / "archive"

    @classmethod
    def new(cls, folder: Path, zone: str = "Europe/Dublin") -> Programme:
        programme = cls(folder)
        words = ("new", "archive", "--programme", "Outside", "--time-zone", zone, "--units", "si", "--yes")
        made = programme.run(*words)
        assert made.code == DONE, made.err
        return programme

    def copied_to(self, folder: Path) -> Programme:
        """The same in another folder: an archive may be moved."""
        shutil.copytree(self.folder, folder)
        return Programme(folder)

    def run(self, *words: str, before: Callable[[], None] | None = None, seconds: float = 120, **more: str) -> Ended:
        return run(*words, cwd=self.folder, before=before, seconds=seconds, **more)

    def on(self, *words: str, before: Callable[[], None] | None = None, seconds: float = 120) -> Ended:
        return self.run(*words, "--archive", self.root.name, before=before, seconds=seconds)

    def take(self, *paths: str, before: Callable[[], None] | None = None) -> Ended:
        """Import without recomputing; outcomes as JSON on stdout."""
        return self.on("import", *paths, "--no-recompute", "--format", "json", before=before)

    def ask(self, sql: str) -> list[dict[str, Any]]:
        ended = self.on("query", sql, "--format", "json")
        assert ended.code == DONE, ended.err
        return rows_of(ended)

    def assert_whole(self) -> None:
        ended = self.on("archive", "verify")
        assert (ended.code, ended.out) == (DONE, b""), ended.err
        notes, last = ended.lines[:-1], ended.lines[-1]
        assert [line for line in notes if not line.startswith("note: ")] == []
        assert last == "The archive is whole: everything is as it was committed."


def rows_of(ended: Ended) -> list[dict[str, Any]]:
    rows = json.loads(ended.out)
    assert isinstance(rows, list)
    return rows


def outcomes(ended: Ended) -> dict[str, tuple[str, int]]:
    """What became of each source: its name, then outcome and number of tests."""
    return {row["source_name"]: (row["outcome"], row["session_count"]) for row in rows_of(ended)}


def listing(*folders: Path) -> dict[str, str]:
    """Every file below the folders, with the hash of its bytes."""
    return {
        str(path): hashlib.sha256(path.read_bytes()).hexdigest()
        for folder in folders
        for path in sorted(folder.rglob("*"))
        if path.is_file()
    }


# Layout A: a sheet, a row a test.

COLUMNS = [
    *("Job number", "House", "Stage", "Test date", "Test time", "Crew", "Contractor", "Baseline (Pa)"),
    *("House pressure (Pa)", "Fan setting", "Fan flow (cfm)", "Volume (cu ft)", "Floor area (sq ft)", "Indoor (F)"),
    *("Outdoor (F)", "Wind", "Leakage at 50 Pa (cfm)", "Remarks"),
]
HEADER = ",".join(COLUMNS)
SHORT = {
    "job": "Job number",
    "house": "House",
    "stage": "Stage",
    "date": "Test date",
    "clock": "Test time",
    "crew": "Crew",
    "contractor": "Contractor",
    "baseline": "Baseline (Pa)",
    "pressure": "House pressure (Pa)",
    "setting": "Fan setting",
    "flow": "Fan flow (cfm)",
    "volume": "Volume (cu ft)",
    "area": "Floor area (sq ft)",
    "indoor": "Indoor (F)",
    "outdoor": "Outdoor (F)",
    "wind": "Wind",
    "leakage": "Leakage at 50 Pa (cfm)",
    "remarks": "Remarks",
}


USUAL_ROW = "X,0007,test-in,02/03/2026,9:15 AM,A1,Ostrel Retrofit,-1.3,-50.2,full,1520,12430,1485,68,39,calm,1516,"


def cell(text: str) -> str:
    return '"' + text.replace('"', '""') + '"' if any(mark in text for mark in ',"\n') else text


def a_row(job: str, **cells: str) -> str:
    """A good row, but for the cells given by their short names."""
    usual = dict(zip(COLUMNS, USUAL_ROW.split(","), strict=True))
    row = usual | {"Job number": job} | {SHORT[name]: text for name, text in cells.items()}
    return ",".join(cell(row[column]) for column in COLUMNS)


def sheet(*rows: str, header: str = HEADER, end: str = "\r\n") -> bytes:
    return "".join(line + end for line in (header, *rows)).encode()


# Layout B: one test a file, in sections.

SECTIONED = """\
Airtightness record;version 2
[Test]
Job;{job}
House;H-118
Stage;before
Started;03.02.2026 10:42
UTC offset;+00:00
Contractor;Harrow Insulation
Crew;C2
Tester;tk
Procedure;multi-point
[House]
Volume;412,5;m³
[Air]
Indoor;20,5;°C
Outdoor;4,0;°C
Barometer;1009,5;hPa
[Kit]
Gauge;G-0417
Line end;branched
[Depressurisation]
Baseline before;-1,35;Pa
Baseline after;-1,20;Pa
Point;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow
;Pa;Pa;Pa;s;;Pa;m³/h
1;-60;-60,3;0,9;30;full;41,2;3159
2;-50;-50,1;0,8;30;full;33,2;2820
3;-40;-40,2;0,8;30;full;25,2;2450
4;-30;-30,1;0,8;30;full;17,9;2034
5;-20;-20,2;0,7;30;full;11,0;1575
[Result]
Flow at 50 Pa;2831;m³/h
"""


def sectioned(job: str, *changes: tuple[str, str], encoding: str = "utf-8", end: str = "\n") -> bytes:
    """A good file, but for the changes of one text to another; each must find its text."""
    text = SECTIONED.format(job=job)
    for old, new in changes:
        assert old in text, old
        text = text.replace(old, new)
    return text.replace("\n", end).encode(encoding)


# Layout C: a log, a row a second.

LOG_HEAD = """\
# log: zero flow, two reference lines
# job: {job}
# house: H-131
# started: 2026-02-11T13:05:00+00:00
# gauge: G-0420
# line A: open end; north facade
# line B: branched; north and east facade
# averaging: 1 s
elapsed s,line A Pa,line B Pa,indoor C,wind m/s
"""


def log(job: str, count: int = 40, changed: dict[int, str] | None = None) -> bytes:
    """A good log of `count` rows, but for the rows given by their number from 0; an empty text leaves a row out."""
    changed = changed or {}
    rows = [changed.get(step, f"{step},-1.{step % 90:02d},-1.12,20.3,3.9") for step in range(count)]
    return (LOG_HEAD.format(job=job) + "".join(row + "\n" for row in rows if row)).encode()
