"""The views for people, over the files of one version, on a connection that can reach nothing else.

Imports duckdb only. Each view is one file in `sql/`; a name after `$` stands for rows of a part.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from functools import cache
from pathlib import Path
from string import Template

import duckdb

from interchange.archive import derived, registers
from interchange.archive.faults import cannot_read, fault
from interchange.archive.log import PARTS, TABLE, Part, Version
from interchange.resources import shipped

MEMORY_LIMIT = "2GB"
_SQL = Path(__file__).parent / "sql"

# How registers are written; their columns stand in the views.
_CSV = """, auto_detect = false, header = true, delim = ',', quote = '"', escape = '"', nullstr = ''"""

# Set before anything is read; `temp_directory` empty means that nothing ever spills to disk.
_CONFIG: dict[str, str | bool | int | float | list[str]] = {
    "autoinstall_known_extensions": False,
    "autoload_known_extensions": False,
    "allow_community_extensions": False,
    "python_enable_replacements": False,
    "temp_directory": "",
    "memory_limit": MEMORY_LIMIT,
}


@cache
def names() -> frozenset[str]:
    """The names of all views."""
    return frozenset(path.stem for path in _SQL.glob("[a-z]*.sql"))


def template(view: str) -> Template:
    """The SQL of a view; a name after `$` stands for rows of a part."""
    return Template((_SQL / f"{view}.sql").read_text())


def connect() -> duckdb.DuckDBPyConnection:
    """A connection in memory that holds nothing yet."""
    connection = duckdb.connect(":memory:", config=_CONFIG)
    connection.execute("SET enable_progress_bar = false")  # it would be drawn on standard output, among the data
    return connection


def fill(
    connection: duckdb.DuckDBPyConnection, root: Path, version: Version, wanted: Collection[str] | None = None
) -> None:
    """Make the views wanted, by default all that this version has rows for, and lock the connection.

    It then reads exactly the files that those views stand on, and writes none; registers are read as they are now,
    whatever the version. Raises ArchiveError where a view wanted by name stands on results that were not computed from
    this version, or on a register that is not there.
    """
    files = {part: version.files[part] for part in PARTS} | _derived(root, version)
    absent: set[str] = {kind for kind in derived.KINDS if kind not in files}
    rows = {name: _read_parquet(paths) for name, paths in files.items() if name not in PARTS}
    rows |= {part: _rows(part, version.files[part]) for part in PARTS}
    for name in registers.NAMES:
        file = registers.path(root, name)
        if file.exists():
            files[name], rows[name] = (file,), _list([file]) + _CSV
        else:  # the archive is older than registers
            absent.add(f"register_{name}")
    for view in sorted(absent & set(wanted or ())):
        raise _not_computed(root, view, version.tests_number) if view in derived.KINDS else _no_register(root, view)
    current = Template((_SQL / ("_current.sql" if version.hides else "_all.sql")).read_text())
    for part, name in (("session", "sessions"), ("trace", "traces")):
        rows[name] = current.substitute(part=rows[part], source=rows["source"])
    used: set[str] = set()
    for view in sorted((names() if wanted is None else names() & set(wanted)) - absent):
        text = template(view)
        used.update(text.get_identifiers())
        try:
            connection.execute(f"CREATE VIEW {view} AS {text.substitute(rows)}")
        except duckdb.Error as error:
            raise cannot_read(root / TABLE, error) from None
    _lock(connection, (path for name in _behind(used) for path in files[name]))


def _lock(connection: duckdb.DuckDBPyConnection, readable: Iterable[Path]) -> None:
    connection.execute("SET TimeZone = 'UTC'")
    connection.execute(f"SET allowed_paths = {_list(readable)}")
    connection.execute("SET enable_external_access = false")
    connection.execute("SET lock_configuration = true")


def _behind(used: Collection[str]) -> set[str]:
    """The groups of files that names in a view's SQL stand for."""
    parts = {"sessions": ("session", "source"), "traces": ("trace", "source")}
    return {part for name in used for part in parts.get(name, (name,))}


def _derived(root: Path, version: Version) -> dict[str, tuple[Path, ...]]:
    found: dict[str, tuple[Path, ...]] = {}
    for one in derived.current(root, version.tests_number):
        found[one.kind] = (*found.get(one.kind, ()), one.path)
    return found


def _not_computed(root: Path, kind: str, version: int) -> Exception:
    stale = sorted({one.archive_version for one in derived.listing(root) if one.kind == kind})
    found = f"{kind} of version {', '.join(map(str, stale))} only" if stale else f"no {kind}"
    if version in stale:
        found = f"{kind} by another release, or from before a change of the register of calibrations"
    expected = f"{kind} computed from version {version}"
    command = "assess" if kind in ("estimates", "faults") else "recompute"
    return fault("results-stale", root, found, expected, f"Run the {command} command, then ask again.")


def _no_register(root: Path, view: str) -> Exception:
    name = view.removeprefix("register_")
    cure = "Put rows into it with the register command."
    return fault("register-missing", registers.path(root, name), "no file", f"the register {name}", cure)


def _rows(part: Part, paths: Collection[Path]) -> str:
    """Rows of a part in the columns of this release, whichever release wrote its files, in whatever order."""
    columns = _columns(part)
    if not paths:
        return f"({columns})"
    stored = f"SELECT * FROM read_parquet({_list(paths)}, union_by_name = true, hive_partitioning = false)"
    return f"({columns} UNION ALL BY NAME {stored})"


@cache
def _columns(part: Part) -> str:
    lines = (shipped("schema") / "tables" / "1" / f"{part}.sql").read_text().splitlines()
    return f"({' '.join(line.strip() for line in lines if not line.startswith('--'))})"


def _read_parquet(paths: Iterable[Path]) -> str:
    return f"read_parquet({_list(paths)}, hive_partitioning = false)"


def _list(paths: Iterable[Path]) -> str:
    quoted = (str(path).replace("'", "''") for path in paths)
    return "[" + ", ".join(f"'{path}'" for path in quoted) + "]"
