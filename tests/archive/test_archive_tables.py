"""Sessions, traces and journal rows as tables, and back."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import UTC, datetime

import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from archive_samples import monitoring, multi_point, single_point, source
from hypothesis import HealthCheck, given, settings
from session_strategies import SESSIONS

from interchange.archive import tables
from interchange.errors import Place, Problem
from interchange.model.document import document_text, revision
from interchange.model.question import Choice, Import, Mapped, Question, Trace
from interchange.model.session import Session
from interchange.quantities import QUANTITIES

STRUCTURE = {
    "openings",
    "amendments",
    "gauges",
    "fans",
    "fan_calibrations",
    "calibration_points",
    "reference_lines",
    "channels",
    "runs",
    "points",
    "fan_readings",
    "other_readings",
    "kept",
    "companions",
    "answers_used",
}


def through_parquet(table: pa.Table) -> pa.Table:
    file = io.BytesIO()
    pq.write_table(table, file)
    return pq.read_table(file)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(SESSIONS)
def test_any_session_comes_back_exactly_as_it_went_in(session: Session) -> None:
    rows = through_parquet(tables.session_rows([(session, "r")]))
    (back,) = tables.sessions(rows.to_batches()[0])
    assert back == session
    assert document_text(back) == document_text(session)


def test_both_samples_come_back_in_one_table() -> None:
    of = source()
    sessions = [single_point(of), multi_point(of), monitoring(of, [[1.0, None]])[0]]
    rows = through_parquet(tables.session_rows([(session, "r") for session in sessions]))
    assert list(tables.sessions(rows.to_batches()[0])) == sessions


def _names(kind: pa.DataType) -> Iterator[str]:
    if pa.types.is_list(kind):
        yield from _names(kind.value_type)
    elif pa.types.is_struct(kind):
        for field in kind:
            yield field.name
            yield from _names(field.type)


def test_every_column_stands_in_the_table_of_names() -> None:
    schemas = tables.SCHEMAS.values()
    names = {name for schema in schemas for field in schema for name in (field.name, *_names(field.type))}
    assert names - STRUCTURE - set(QUANTITIES) == set()


@pytest.mark.parametrize(
    ("name", "kind"),
    [
        ("job_id", pa.string()),
        ("schema_version", pa.int64()),
        ("visit_number", pa.int64()),
        ("volume_m3", pa.float64()),
        ("reported_exponent_assumed", pa.bool_()),
        ("started_at_local", pa.timestamp("us")),
        ("started_at_utc", pa.timestamp("us", "UTC")),
        ("kind", pa.string()),
        ("source_sha256", pa.string()),
    ],
)
def test_types_follow_the_model(name: str, kind: pa.DataType) -> None:
    assert tables.SCHEMAS["session"].field(name).type == kind


def test_groups_are_spread_and_lists_are_nested() -> None:
    schema = tables.SCHEMAS["session"]
    groups = {"record", "time", "building", "preparation", "conditions", "weather_station", "reported", "source"}
    assert set(schema.names) & groups == set()
    runs = schema.field("runs").type.value_type
    reading = runs.field("points").type.value_type.field("fan_readings").type.value_type
    assert reading.field("flow_m3_h").type == pa.float64()
    assert schema.field("companions").type.value_type.field("companion_sha256").type == pa.string()
    assert schema.field("from_register").type.value_type == pa.string()
    assert schema.field("gauges").type.value_type.field("gauge_calibrated_on").type == pa.date32()


def test_the_one_table_declares_the_columns_of_all_parts_once() -> None:
    union = tables.union_schema()
    assert union.names[0] == "part"
    assert set(union.names) == {"part"} | {name for schema in tables.SCHEMAS.values() for name in schema.names}
    assert len(set(union.names)) == len(union.names)


def test_long_traces_are_cut_into_chunks_and_joined_again() -> None:
    size = tables.CHUNK_SAMPLES
    values = pa.array([float(number) if number % 1000 else None for number in range(2 * size + 3)])
    times = pa.array([number * 1.5 + 7 for number in range(size + 1)])
    even = Trace("s", "even", 5.0, 0.5, None, values)
    uneven = Trace("s", "uneven", 7.0, None, times, pa.array(range(size + 1), pa.float64()))
    table = through_parquet(tables.trace_table(list(tables.trace_rows([(even, "r"), (uneven, "r")]))))
    assert table.num_rows == 5
    assert max(len(cell) for cell in table["values"]) == size
    assert table["start_s"].to_pylist() == [5.0, 5.0 + size / 2, 5.0 + size, 7.0, size * 1.5 + 7]
    shuffled = table.take([4, 2, 0, 3, 1])
    assert tables.traces(shuffled) == (even, uneven)


def test_a_trace_without_values_keeps_its_row() -> None:
    empty = Trace("s", "c", 0.0, 1.0, None, pa.array([], pa.float64()))
    assert tables.traces(tables.trace_table(list(tables.trace_rows([(empty, "r")])))) == (empty,)


def test_the_stored_revision_is_the_documents_unless_there_are_traces() -> None:
    session, traces = monitoring(source(), [[1.0, None], [2.0, 3.0]])
    assert tables.stored_revision(session, ()) == revision(session)
    stored = tables.stored_revision(session, traces)
    assert stored == tables.stored_revision(session, traces[::-1])
    _, other_value = monitoring(source(), [[1.0, None], [2.0, 3.5]])
    _, other_gap = monitoring(source(), [[1.0, 0.0], [2.0, 3.0]])
    assert len({stored, *(tables.stored_revision(session, one) for one in (other_value, other_gap))}) == 3


def test_problems_and_questions_come_back_out_of_the_journal() -> None:
    problem = Problem("c", Place("f.csv", 3, "Wind"), "'OL'", "a number", "Nothing.", 4, "cell")
    choice = Choice("inside", "inside minus outside", "-50.2 in row 2", "depressurisation")
    question = Question("q1", "sign", "not stated", Place("f.csv"), (choice,), ("file", "layout"))
    held = Import(source(), "held", "p", "1", "f", Mapped(questions=(question,), problems=(problem,)))
    row = tables.journal_row(held, {}, number=1, when=datetime(2026, 1, 1, tzinfo=UTC), original_sha256="h")
    (back,) = through_parquet(pa.Table.from_pylist([row], schema=tables.SCHEMAS["source"])).to_pylist()
    assert tables.problem(back["problems"][0]) == problem
    assert tables.question(back["questions"][0]) == question
