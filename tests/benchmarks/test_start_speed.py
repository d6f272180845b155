"""Whole processes: help against a bare click program, one query against bare DuckDB on the same files."""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from deltalake import DeltaTable

from interchange.operations.demo import run_demo
from tests.benchmarks.measuring import report, seconds

pytestmark = pytest.mark.benchmark

MAIN = "from interchange.cli.main import main; main()"
BARE_CLICK = """
import click
@click.group()
def cli(): "A bare program."
@cli.command()
def one(): "One."
cli()
"""


def _process(*arguments: str) -> Callable[[], None]:
    return lambda: subprocess.run([sys.executable, "-c", *arguments], check=True, capture_output=True) and None


def test_help_against_a_bare_click_program() -> None:
    taken = seconds({"bare click": _process(BARE_CLICK, "--help"), "interchange --help": _process(MAIN, "--help")}, 15)
    report("help", "whole processes", taken, "bare click")


def test_a_query_against_bare_duckdb(tmp_path: Path) -> None:
    root = tmp_path / "demo"
    run_demo(root)
    files = [str(uri) for uri in DeltaTable(str(root / "table")).file_uris() if "part=session" in uri]
    bare = (
        "import duckdb\n"
        f'print(duckdb.sql("select contractor, count(*) from read_parquet({files!r}) group by 1").fetchall())'
    )
    sql = "select contractor, count(*) from sessions group by 1"
    taken = seconds(
        {
            "bare DuckDB": _process(bare),
            "interchange query": _process(MAIN, "query", sql, "--archive", str(root)),
        },
        15,
    )
    report("query", "whole processes on the demo archive, the same Parquet files", taken, "bare DuckDB")
