"""2,000 known files of 166 kB taken in whole, as a ratio to pyarrow reading typed columns into Parquet."""

from __future__ import annotations

import shutil
import subprocess
import sys
import time
from datetime import datetime, timedelta
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.csv
import pyarrow.parquet as pq
import pytest

from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
from tests.benchmarks.measuring import report

FILES, ROWS, PORTION = 2_000, 3_600, 100
NAMES = ("stamp", "outside minus inside", "fan", "flow", "indoor", "outdoor")
HEAD_ROWS = 9


def _head(number: int) -> str:
    keys = f"% log of a fan test\n% job = FV-{number}\n% house = H-{number}\n% stage = before\n% volume = 362 m3\n"
    units = "\tPa\tPa\tL/s\tC\tC\n"
    return keys + "% gauge = G-0533\n% averaging = 1 s\n" + "\t".join(NAMES) + "\n" + units


def _bodies() -> list[str]:
    rng = np.random.default_rng(2)
    found = []
    for body in range(PORTION):  # no two alike in one Parquet file
        columns = [rng.normal(mean, spread, ROWS).round(1) for mean, spread in _LIKE]
        begun = datetime(2026, 1, 5, 8) + timedelta(days=body)
        stamps = [f"{begun + timedelta(seconds=second):%Y-%m-%d %H:%M:%S}" for second in range(ROWS)]
        found.append("".join("\t".join(map(str, row)) + "\n" for row in zip(stamps, *columns, strict=True)))
    return found


_LIKE = ((40, 12), (60, 9), (1200, 80), (20, 0.3), (6, 0.3))


def _by_pyarrow(files: list[Path], into: Path) -> None:
    shutil.rmtree(into, ignore_errors=True)
    into.mkdir()
    types = dict(zip(NAMES, [pa.timestamp("s"), *[pa.float64()] * 5], strict=True))
    for first in range(0, len(files), PORTION):
        tables = [
            pyarrow.csv.read_csv(
                file,
                read_options=pyarrow.csv.ReadOptions(skip_rows=HEAD_ROWS, column_names=NAMES, use_threads=False),
                parse_options=pyarrow.csv.ParseOptions(delimiter="\t"),
                convert_options=pyarrow.csv.ConvertOptions(column_types=types),
            )
            for file in files[first : first + PORTION]
        ]
        pq.write_table(pa.concat_tables(tables), into / f"{first}.parquet", compression="zstd")


@pytest.mark.benchmark
def test_taking_in_known_files_whole(tmp_path: Path) -> None:
    """CPU seconds on whatever core the process has: pin it (`taskset -c 0`) for figures that compare."""
    logs = tmp_path / "logs"
    logs.mkdir()
    bodies = _bodies()
    files = [logs / f"{number:04}.txt" for number in range(FILES)]
    for number, file in enumerate(files):
        file.write_text(_head(number) + bodies[number % PORTION])
    taken: dict[str, list[float]] = {"pyarrow": [], "import": []}
    for count in range(3):
        start = time.process_time()
        _by_pyarrow(files, tmp_path / "rival")
        middle = time.process_time()
        shutil.rmtree(tmp_path / "archive", ignore_errors=True)
        root = new_archive(tmp_path / "archive", "x")
        assert import_files(root, [logs], recompute=False).all_imported
        if count:
            taken["pyarrow"].append(middle - start)
            taken["import"].append(time.process_time() - middle)
    report(
        "import",
        f"CPU time to take in {FILES} known files of {files[0].stat().st_size:,} bytes: original kept and hashed, "
        "every cell proven; against pyarrow reading typed columns and writing one Parquet file per 100",
        taken,
        "pyarrow",
    )


LARGE_LOG = """\
# log: zero flow, two reference lines
# job: FV-1
# started: 2026-02-11T13:05:00+00:00
# gauge: G-1
# line A: open end; north facade
# line B: branched; north and east facade
# averaging: 1 s
elapsed s,line A Pa,line B Pa,indoor C,wind m/s
"""


@pytest.mark.skipif(not sys.platform.startswith("linux"), reason="uses what only Linux has")
@pytest.mark.parametrize(
    ("megabytes", "most_mb"), [(80, 400), pytest.param(500, 600, marks=pytest.mark.full)], ids=["quick", "full"]
)
def test_a_large_log_does_not_lie_in_memory(tmp_path: Path, megabytes: int, most_mb: int) -> None:
    log = tmp_path / "large.csv"
    rows = 0
    with log.open("w") as file:
        file.write(LARGE_LOG)
        while file.tell() < megabytes << 20:
            file.write(
                "".join(
                    f"{rows + i},{-(i % 700) / 100:.2f},-1.{i % 90:02},20.3,{i % 60 / 10}\n" for i in range(100_000)
                )
            )
            rows += 100_000
    child = f"""
from pathlib import Path
from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
report = import_files(new_archive(Path({str(tmp_path / "a")!r}), "x"), [Path({str(log)!r})], recompute=False)
assert report.all_imported, report.problems
status = dict(line.split(":", 1) for line in Path("/proc/self/status").read_text().splitlines())
print(status["VmHWM"].split()[0])  # the peak that the system reports when it ends counts that of its parent too
"""
    done = subprocess.run([sys.executable, "-c", child], capture_output=True, text=True, check=True)
    assert int(done.stdout) / 1024 < most_mb
    values = pq.ParquetDataset(tmp_path / "a" / "table" / "part=trace").read(columns=["channel_id", "values"])
    counts = {name: 0 for name in ("line A", "line B", "indoor", "wind")}
    for channel, part in zip(values["channel_id"].to_pylist(), values["values"], strict=True):
        counts[channel] += len(part)
    assert set(counts.values()) == {rows}
