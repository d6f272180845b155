"""A million multi-point sessions recomputed by three rule sets in a process of their own: its peak memory.

The peak is that of Linux' own count (VmHWM), which starts anew with the program.
"""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path

import pyarrow.parquet as pq
import pytest

from tests.benchmarks.measuring import FIGURES
from tests.benchmarks.test_recompute_speed import POINTS, many_sessions

PIECE, PIECES, LIMIT_MIB = 50_000, 20, 1024

pytestmark = pytest.mark.benchmark

_CHILD = r"""
import json, pathlib, re, sys, time
import pyarrow.parquet as pq
from interchange.analysis import chain, uncertainty
from interchange.archive import batches
from interchange.model import ruleset

chosen = [ruleset.named(name) for name in ("iso9972@2015", "as_displayed", "astm-e779@2019")]
start, sessions, with_limits = time.process_time(), 0, 0
for rows in pq.ParquetFile(sys.argv[1]).iter_batches(batches.BATCH_ROWS, columns=list(batches.LEAVES)):
    batch, shared = batches.from_rows(rows).batch, chain.Shared()
    sessions += len(rows)
    for rules in chosen:
        work = chain.follow(batch, rules.steps, rules.applies_to, shared=shared)
        columns = uncertainty.result_columns(uncertainty.budget(work), chain.leakage(work).session)
        with_limits += int((columns["flow_50_full_high_m3_h"] > columns["flow_50_full_low_m3_h"]).sum())
peak = int(re.search("VmHWM:\s+(\d+)", pathlib.Path("/proc/self/status").read_text())[1]) / 1024
seconds = time.process_time() - start
found = {"sessions": sessions, "with_limits": with_limits, "peak_mib": round(peak), "cpu_s": round(seconds, 1)}
print(json.dumps(found))
"""


def test_a_million_sessions_fit_into_a_gibibyte(tmp_path: Path) -> None:
    path = tmp_path / "sessions.parquet"
    piece = many_sessions(PIECE)
    with pq.ParquetWriter(path, piece.schema, compression="zstd") as writer:
        for _ in range(PIECES):
            writer.write_table(piece, row_group_size=16_384)
    done = subprocess.run([sys.executable, "-c", _CHILD, str(path)], capture_output=True, text=True, check=True)
    found = json.loads(done.stdout)
    assert found["sessions"] == PIECE * PIECES
    assert found["with_limits"] == 3 * found["sessions"]
    what = f"{PIECE * PIECES} sessions of {POINTS} points, three rule sets with limits and uncertainty, batch by batch"
    FIGURES.mkdir(exist_ok=True)
    facts = {"what": what, "limit_mib": LIMIT_MIB, **found}
    (FIGURES / "recompute_memory.json").write_text(json.dumps(facts, indent=1) + "\n")
    assert found["peak_mib"] < LIMIT_MIB
