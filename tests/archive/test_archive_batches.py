"""Stored rows as a Batch, and reading only what is asked for."""

from __future__ import annotations

import dataclasses
import json
from pathlib import Path

import numpy as np
import pyarrow as pa
import pyarrow.parquet as pq
import pytest
from archive_samples import imported, monitoring, multi_point, single_point, source
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from session_strategies import SESSIONS

from interchange.analysis.batch import Batch
from interchange.archive import batches, tables
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.errors import ArchiveError
from interchange.model.session import Session

NAN = float("nan")


def arrays(batch: Batch) -> dict[str, np.ndarray]:
    found: dict[str, np.ndarray] = {}
    for field in dataclasses.fields(batch):
        value = getattr(batch, field.name)
        found.update(
            {f"{field.name}.{k}": v for k, v in value.items()} if isinstance(value, dict) else {field.name: value}
        )
    return found


def assert_same(one: Batch, other: Batch) -> None:
    for name, array in arrays(one).items():
        np.testing.assert_array_equal(array, arrays(other)[name], err_msg=name, strict=True)


def alone(sessions: list[Session]) -> Batch:
    return batches.from_sessions(sessions).batch


@pytest.fixture
def store(tmp_path: Path) -> Store:
    return Store.create(tmp_path / "archive", Settings("P"))


def test_a_batch_holds_what_the_sessions_say() -> None:
    of = source()
    batch = alone([single_point(of), monitoring(of, [[1.0]])[0], multi_point(of, points=2)])
    expected = {
        "run_offsets": [0, 1, 1, 3],
        "point_offsets": [0, 1, 3, 3],
        "reading_offsets": [0, 1, 2, 4],
        "calibration_offsets": [0, 0, 0, 2],
        "session.kind": [0, 3, 2],
        "session.volume_m3": [412.5, NAN, NAN],
        "session.wind_beaufort_high": [1, NAN, NAN],
        "session.wind_source": [-1, -1, -1],
        "session.arrangement": [-1, -1, 1],
        "run.direction": [0, 0, 1],
        "run.baseline_before_pressure_pa": [-1.3, NAN, NAN],
        "run.baseline_before_count": [NAN, 60, NAN],
        "point.envelope_pressure_pa": [-50.2, -60.3, -55.3],
        "point.dropped": [-1, -1, -1],
        "reading.fan_pressure_pa": [NAN, 41.2, 40.2, NAN],
        "reading.flow_m3_h": [2800, NAN, NAN, 120.5],
        "reading.flow_basis": [0, -1, -1, 1],
        "reading.calibration_index": [NAN, 0, 0, NAN],
        "calibration.fan_exponent": [0.5, 0.505],
        "calibration.minimum_fan_pressure_pa": [NAN, 15],
    }
    found = arrays(batch)
    for name, values in expected.items():
        np.testing.assert_array_equal(found[name], np.asarray(values), err_msg=name)
    assert {found[name].dtype for name in found if name.endswith("offsets")} == {np.dtype(np.int64)}
    assert {found[f"session.{name}"].dtype for name in ("kind", "wind_source", "arrangement")} == {np.dtype(np.int8)}
    assert found["reading.calibration_index"].dtype == np.float64


def test_accuracies_are_those_of_the_least_accurate_gauge_and_fan() -> None:
    def with_gear(gauges: list[dict[str, object]], fans: list[dict[str, object]]) -> Session:
        document = single_point(source()).model_dump(mode="json")
        return Session.model_validate_json(json.dumps(document | {"gauges": gauges, "fans": fans}))

    two = [{"gauge_id": "a", "gauge_accuracy_pa": 0.1}, {"gauge_id": "b", "gauge_accuracy_pa": 0.3}, {"gauge_id": "c"}]
    batch = alone([with_gear([], []), with_gear(two, [{"fan_id": "f", "fan_accuracy_ratio": 0.04}])])
    np.testing.assert_array_equal(batch.session["gauge_accuracy_pa"], [NAN, 0.3])
    np.testing.assert_array_equal(batch.session["gauge_accuracy_ratio"], [NAN, NAN])
    np.testing.assert_array_equal(batch.session["fan_accuracy_ratio"], [NAN, 0.04])


def test_truth_values_are_codes() -> None:
    session = single_point(source())
    (run,) = session.runs
    points = tuple(run.points[0].model_copy(update={"dropped": value}) for value in (True, None, False))
    batch = alone([session.model_copy(update={"runs": (run.model_copy(update={"points": points}),)})])
    np.testing.assert_array_equal(batch.point["dropped"], np.array([1, -1, 0], np.int8), strict=True)


def test_no_sessions_are_an_empty_batch() -> None:
    batch = alone([])
    assert batch.run_offsets.tolist() == [0]
    assert batch.session["kind"].shape == (0,)


def _cut(batch: Batch, index: int) -> Batch:
    """One session out of a batch, by plain slicing: another road than the one under test."""
    runs = slice(batch.run_offsets[index], batch.run_offsets[index + 1])
    points = slice(batch.point_offsets[runs.start], batch.point_offsets[runs.stop])
    readings = slice(batch.reading_offsets[points.start], batch.reading_offsets[points.stop])
    calibrations = slice(batch.calibration_offsets[index], batch.calibration_offsets[index + 1])
    of_tables = batch.calibration_point_offsets
    table_rows = slice(of_tables[calibrations.start], of_tables[calibrations.stop])

    def offsets(values: np.ndarray, of: slice) -> np.ndarray:
        return values[of.start : of.stop + 1] - values[of.start]

    return Batch(
        offsets(batch.run_offsets, slice(index, index + 1)),
        offsets(batch.point_offsets, runs),
        offsets(batch.reading_offsets, points),
        offsets(batch.calibration_offsets, slice(index, index + 1)),
        offsets(batch.calibration_point_offsets, calibrations),
        {name: values[index : index + 1] for name, values in batch.session.items()},
        {name: values[runs] for name, values in batch.run.items()},
        {name: values[points] for name, values in batch.point.items()},
        {name: values[readings] for name, values in batch.reading.items()},
        {name: values[calibrations] for name, values in batch.calibration.items()},
        {name: values[table_rows] for name, values in batch.calibration_point.items()},
    )


@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.lists(SESSIONS, min_size=1, max_size=4))
def test_a_session_alone_is_the_same_as_among_many(sessions: list[Session]) -> None:
    together = alone(sessions)
    for index, session in enumerate(sessions):
        assert_same(alone([session]), _cut(together, index))


def test_stored_and_unsaved_sessions_are_the_same_batch(store: Store) -> None:
    ours: dict[str, Session] = {}
    for number in range(3):  # three files, so that batches are put together across files
        of = source(f"{number}".encode())
        made = [multi_point(of), *(single_point(of, row) for row in range(2, 9))]
        ours.update({session.session_id: session for session in made})
        store.commit([imported(of, *made)])
    (loaded,) = batches.load(store.snapshot())
    assert_same(loaded.batch, alone([ours[name] for name in loaded.session_ids.to_pylist()]))
    assert len(loaded.revisions) == 24
    (one,) = batches.load(store.snapshot(), {"session_id": [next(iter(ours))]})
    assert_same(one.batch, alone([next(iter(ours.values()))]))


def test_hidden_revisions_do_not_reach_a_batch(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of, flow_m3_h=1.0), single_point(of, row=3))])
    store.commit([imported(of, single_point(of, flow_m3_h=2.0), single_point(of, row=3))])
    (loaded,) = batches.load(store.snapshot())
    assert sorted(loaded.batch.reading["flow_m3_h"]) == [2.0, 2800.0]


def test_rows_that_were_sliced_give_the_same_batch() -> None:
    of = source()
    sessions = [multi_point(of), single_point(of), multi_point(of, points=3)]
    rows = tables.session_rows((session, "r") for session in sessions).combine_chunks().to_batches()[0]
    assert_same(batches.from_rows(rows.slice(1, 2)).batch, alone(sessions[1:]))


def test_only_the_columns_asked_for_are_read(store: Store) -> None:
    of = source()
    store.commit([imported(of, multi_point(of))])
    path = f"runs.list.element.points.list.element.{'envelope_pressure_pa'}"
    (rows,) = store.snapshot().batches("session", ["job_id", path], {"kind": ["multi_point"]})
    assert rows.schema.names == ["job_id", "runs"]
    run = rows.schema.field("runs").type.value_type
    assert [field.name for field in run] == ["points"]
    assert [field.name for field in run.field("points").type.value_type] == ["envelope_pressure_pa"]
    whole = {pq.read_schema(file).names.index("kind") for file in store.snapshot().log.files["session"]}
    assert whole and set(batches.LEAVES) <= {
        pq.ParquetFile(file).schema.column(index).path
        for file in store.snapshot().log.files["session"]
        for index in range(len(pq.ParquetFile(file).schema))
    }


def test_row_groups_without_a_wanted_row_are_left_out_and_others_filtered(store: Store) -> None:
    of = source()
    session, traces = monitoring(of, [[float(number)] for number in range(130)])
    store.commit([imported(of, session, traces=traces)])
    rows = list(store.snapshot().batches("trace", ["values"], {"channel_id": ["line 7", "line 129"]}))
    assert [value for batch in rows for value in batch["values"].to_pylist()] == [[7.0], [129.0]]
    assert list(store.snapshot().batches("trace", where={"channel_id": ["none"]})) == []


def test_a_float_column_without_gaps_is_not_copied() -> None:
    values = pa.array([1.0, 2.0])
    plain = batches._numbers("volume_m3", values)
    assert plain.__array_interface__["data"][0] == values.buffers()[1].address


def test_a_damaged_file_is_an_error_in_words(store: Store) -> None:
    of = source()
    store.commit([imported(of, single_point(of))])
    path = max(store.snapshot().log.files["session"], key=lambda path: path.stat().st_size)
    path.write_bytes(path.read_bytes()[:-1000])
    with pytest.raises(ArchiveError, match="verify"):
        list(store.snapshot().sessions())


def test_an_unknown_version_is_an_error_in_words(store: Store) -> None:
    with pytest.raises(ArchiveError, match="version 7"):
        store.snapshot(7)


def test_counts_beyond_the_whole_numbers_of_a_double_become_the_nearest() -> None:
    session = single_point(source())
    (run,) = session.runs
    large = session.model_copy(update={"runs": (run.model_copy(update={"baseline_before_count": 2**53 + 1}),)})
    assert alone([large]).run["baseline_before_count"].tolist() == [float(2**53)]
