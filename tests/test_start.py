"""What a command may import before it has anything to do with it."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = ("numpy", "pyarrow", "duckdb", "pydantic", "deltalake", "scipy", "openpyxl", "odfdo", "lxml")


def _imported_by(*arguments: str) -> set[str]:
    code = (
        "import sys\n"
        f"sys.argv = ['interchange', *{arguments!r}]\n"
        "from interchange.cli.main import main\n"
        "try:\n    main()\n"
        "finally:\n    print('\\n' + ' '.join(m for m in sys.modules if '.' not in m), file=sys.stderr)\n"
    )
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=False)
    assert run.returncode == 0, run.stderr
    return set(run.stderr.split())


@pytest.mark.parametrize("arguments", [("--help",), ("import", "--help"), ("recompute", "--help"), ("--version",)])
def test_help_imports_no_heavy_library(arguments: tuple[str, ...]) -> None:
    assert _imported_by(*arguments) & set(HEAVY) == set()


def test_reading_imports_the_libraries_of_workbooks_only_for_a_workbook() -> None:
    code = "import sys, interchange.reading.door; print(*{'openpyxl', 'odfdo', 'lxml'} & set(sys.modules))"
    run = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert run.stdout.split() == []
