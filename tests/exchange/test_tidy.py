"""Tidy tables of the example documents: every field that a session has once is a column, lists never are."""

from __future__ import annotations

import json
from pathlib import Path

from interchange.exchange import tidy
from interchange.model import document

EXAMPLES = Path(__file__).parent.parent.parent / "schema" / "session" / "1" / "examples"
DOCUMENTS = {
    path.name.removesuffix(".session.json"): json.loads(path.read_text()) for path in sorted(EXAMPLES.iterdir())
}
SESSIONS = [document.load(one, kind) for kind, one in DOCUMENTS.items()]
TESTS = tidy.tests_table(SESSIONS)


def test_a_row_of_tests_holds_what_its_document_has_once() -> None:
    for row, stands in zip(TESTS.rows, DOCUMENTS.values(), strict=True):
        once = {name: value for name, value in stands.items() if isinstance(value, str)}
        for group in (part for part in stands.values() if isinstance(part, dict)):
            once |= {name: value for name, value in group.items() if not isinstance(value, list)}
        told = {name: value for name, value in zip(TESTS.columns, row, strict=True) if value is not None}
        told = {name: value for name, value in told.items() if not name.endswith(("_local", "_utc"))}
        once = {name: value for name, value in once.items() if not name.endswith(("_local", "_utc"))}
        assert told.pop("from_register", None) == (" ".join(stands.get("from_register", ())) or None)
        assert told == once


def test_lists_are_no_columns_of_tests() -> None:
    assert not any(isinstance(value, list | tuple) for row in TESTS.rows for value in row)
    assert {"companions", "answers_used"} & set(TESTS.columns) == set()


def test_points_and_runs_have_the_rows_of_their_documents() -> None:
    runs = [run for one in DOCUMENTS.values() for run in one.get("runs", ())]
    points = [point for run in runs for point in run["points"]]
    assert len(tidy.runs_table(SESSIONS).rows) == len(runs) == 4
    assert len(tidy.points_table(SESSIONS).rows) == sum(max(len(point.get("fan_readings", ())), 1) for point in points)
