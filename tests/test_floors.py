"""Imports go downwards only, and heavy libraries stay on the floor that owns them."""

from __future__ import annotations

import ast
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest

import interchange

PACKAGE = Path(interchange.__file__).parent
MODULES = sorted(path for path in PACKAGE.rglob("*.py") if "_shipped" not in path.parts)

# what each floor may import of ours, beside itself
GROUND = {"errors", "quantities"}
FIRST = GROUND | {"units", "resources", "files", "table"}
SECOND = FIRST | {"model", "analysis", "demo"}
FLOORS: dict[str, set[str]] = {
    "errors": set(),
    "quantities": set(),
    "table": set(),
    "units": GROUND,
    "resources": GROUND,
    "files": GROUND,
    "model": FIRST,
    "analysis": FIRST,
    "demo": FIRST | {"model"},
    "reading": SECOND - {"demo"},
    "archive": SECOND - {"demo"},
    "exchange": SECOND - {"demo"},
    "report": FIRST,
    "operations": SECOND | {"reading", "archive", "exchange", "report"},
    "cli": {"errors", "files", "table", "operations", "report", "exchange"},
}
OUTSIDE: dict[str, set[str]] = {
    "errors": set(),
    "quantities": set(),
    "units": set(),
    "resources": set(),
    "files": set(),
    "model": {"pydantic", "pydantic_core"},
    "analysis": {"numpy", "scipy"},
    "demo": {"numpy"},
    "reading": {"pyarrow", "pydantic", "openpyxl", "odfdo", "lxml"},
    "archive": {"pyarrow", "duckdb", "deltalake", "numpy", "pydantic"},
    "exchange": {"pyarrow"},
    "report": set(),
    "operations": {"pydantic", "numpy", "pyarrow"},
    "cli": {"click"},
}


def _floor(path: Path) -> str:
    return path.relative_to(PACKAGE).parts[0].removesuffix(".py")


def _imports(path: Path) -> Iterator[tuple[int, str]]:
    """Line and dotted name of each import outside `if TYPE_CHECKING`, those inside functions too."""
    tree = ast.parse(path.read_text())
    exempt = {
        inner
        for node in ast.walk(tree)
        if isinstance(node, ast.If) and ast.unparse(node.test) == "TYPE_CHECKING"
        for inner in ast.walk(node)
    }
    for node in ast.walk(tree):
        if node in exempt:
            continue
        if isinstance(node, ast.Import):
            yield from ((node.lineno, alias.name) for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, f"{path}:{node.lineno}: relative import"
            module = node.module or ""
            yield from ((node.lineno, f"{module}.{a.name}" if module == "interchange" else module) for a in node.names)


@pytest.mark.parametrize("path", MODULES, ids=lambda path: str(path.relative_to(PACKAGE)))
def test_a_module_imports_only_what_its_floor_may(path: Path) -> None:
    floor = _floor(path)
    if floor == "__init__":
        assert not list(_imports(path))
        return
    for line, name in _imports(path):
        first, *rest = name.split(".")
        if first == "interchange":
            allowed = FLOORS[floor] | {floor, "__version__"}
            assert rest and rest[0] in allowed, f"{path.name}:{line}: {floor} may not import {name}"
        elif first != "__future__" and first not in sys.stdlib_module_names:
            assert first in OUTSIDE[floor], f"{path.name}:{line}: {floor} may not import {name}"
            assert not name.startswith("scipy.stats"), f"{path.name}:{line}: scipy.stats is slow to import"


def test_no_module_of_the_package_is_longer_than_450_lines() -> None:
    too_long = {str(p.relative_to(PACKAGE)): n for p in MODULES if (n := len(p.read_text().splitlines())) > 450}
    assert too_long == {}
