"""Tests of the year gathered into deliveries."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence

from interchange.demo import layouts, layouts_rows
from interchange.demo.meant import Done, Meant, Partners
from interchange.demo.programme import Delivery
from interchange.demo.shapes_rows import (
    TOLD_ACROSS,
    TOLD_BOTH,
    TOLD_ROW,
    across_row,
    both_rows,
    french_column,
    sheet_row,
)
from interchange.demo.verdicts import Told, fan_off

FIRST_ROW = FIRST_COLUMN = 2  # of the first test, below or beside the names


def _counted(tests: Sequence[Done]) -> str:
    return f"{len(tests)} test{'s' if len(tests) > 1 else ''}"


def by_month(tests: Iterable[Meant]) -> dict[str, list[Meant]]:
    """Tests by the month they stood in, in order of time."""
    months: dict[str, list[Meant]] = {}
    for test in sorted(tests, key=lambda test: (test.started, test.job.job_id)):
        months.setdefault(f"{test.started:%Y-%m}", []).append(test)
    return months


def _gathered(
    file: str, why: str, content: bytes, tests: Sequence[Done], places: Sequence[str], told: Told, partners: Partners
) -> Delivery:
    truths = tuple(test.truth(place, told, partners.of(test.meant)) for test, place in zip(tests, places, strict=True))
    return Delivery(file, content, "imported", why, truths)


def sheet(
    file: str,
    tests: Sequence[Done],
    partners: Partners,
    why: str = "",
    *,
    columns: Sequence[str] = layouts.SHEET_COLUMNS,
    mark: bool = False,
    changed: Callable[[list[dict[str, str]]], Sequence[Mapping[str, str]]] = lambda rows: rows,
) -> Delivery:
    """A sheet of one test a row; `changed` alters what its rows say."""
    content = layouts.sheet(changed([sheet_row(test) for test in tests]), columns, mark)
    places = [f"row {number}" for number in range(FIRST_ROW, FIRST_ROW + len(tests))]
    return _gathered(file, why or f"{_counted(tests)}, one row each", content, tests, places, TOLD_ROW, partners)


def transposed(
    file: str,
    tests: Sequence[Done],
    partners: Partners,
    why: str = "",
    *,
    names: Sequence[str] = layouts_rows.TRANSPOSED_NAMES,
    encoding: str = "cp1252",
) -> Delivery:
    """A transposed table, a column a test."""
    content = layouts_rows.transposed([french_column(test) for test in tests], names, encoding)
    places = [f"column {number}" for number in range(FIRST_COLUMN, FIRST_COLUMN + len(tests))]
    return _gathered(file, why or f"{_counted(tests)}, one column each", content, tests, places, TOLD_ROW, partners)


def both(
    file: str, tests: Sequence[Done], partners: Partners, why: str = "", *, dropped: Mapping[str, int] | None = None
) -> Delivery:
    """A table of several tests in both directions; `dropped` names a spoilt step by job."""
    spoilt = dropped or {}
    rows = [row for test in tests for row in both_rows(test, spoilt.get(test.meant.job.job_id))]
    places = [f"test {test.meant.job.job_id}" for test in tests]
    content = layouts_rows.both_directions(rows)
    return _gathered(file, why or f"{_counted(tests)} in one table", content, tests, places, TOLD_BOTH, partners)


def across(
    file: str,
    rows: Sequence[Done | tuple[dict[str, str], dict[str, object]]],
    partners: Partners,
    why: str = "",
) -> Delivery:
    """A sheet whose points are counted across; a row that is no envelope test brings its cells and its truth."""
    cells, truths = [], []
    for number, row in enumerate(rows, FIRST_ROW):
        place = f"row {number}"
        if isinstance(row, Done):
            cells.append(across_row(row))
            truths.append(row.truth(place, TOLD_ACROSS, partners.of(row.meant)))
        else:
            cells.append(row[0])
            truths.append({**row[1], "source_place": place})
    return Delivery(
        file, layouts_rows.across(cells), "imported", why or f"{len(rows)} rows, points counted across", tuple(truths)
    )


def single(
    file: str,
    content: bytes,
    test: Done,
    told: Told,
    partners: Partners,
    why: str,
    companions: Sequence[tuple[str, bytes]] = (),
) -> Delivery:
    """A file that is one test."""
    true = test.truth("file", told, partners.of(test.meant))
    return Delivery(file, content, "imported", why, (true,), tuple(companions))


def untested(
    *,
    job_id: str | None,
    site_id: str | None,
    stage: str | None,
    kind: str,
    planted: Sequence[str],
    reason: str,
    flow: float | None = None,
) -> dict[str, object]:
    """Truth of a record without a fan test of the envelope: what is not there is null."""
    return {
        "job_id": job_id,
        "site_id": site_id,
        "stage": stage,
        "source_place": "file",
        "kind": kind,
        "direction": None,
        "true_flow_50_m3_h": flow,
        "true_exponent": None,
        "wind_state": None,
        "wind_10m_m_s": None,
        "wind_roof_m_s": None,
        "line": None,
        "zero_flow_pa": None,
        "stack_only_pa": None,
        "line_shift_pa": None,
        "fault": None,
        "planted": list(planted),
        "expected": fan_off(reason).document(),
    }
