"""Fan calibrations from the register in a Batch: which reading gets which, held against a plain loop over the forms."""

from __future__ import annotations

import dataclasses
from datetime import date, datetime
from pathlib import Path

import numpy as np
import pytest
from archive_samples import imported, multi_point, of_record, single_point, source

from interchange.analysis.batch import Batch
from interchange.archive import batches, registers
from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.model import register
from interchange.model import session as form
from interchange.model.document import session_id
from interchange.model.register import CalibrationRow


def calibration(
    serial: str, opening: str, day: date, coefficient: float, due: date | None = None, **more: float
) -> CalibrationRow:
    return CalibrationRow(
        fan_serial=serial,
        fan_configuration=opening,
        fan_calibrated_on=day,
        fan_calibration_due_on=due,
        fan_coefficient_m3_h=coefficient,
        fan_exponent=0.5,
        **more,
    )


REGISTER = (
    calibration("F-1", "full", date(2025, 5, 12), 492.0, date(2026, 5, 12), reference_air_density_kg_m3=1.204),
    calibration("F-1", "half", date(2025, 5, 12), 171.0, minimum_fan_pressure_pa=15.0),
    calibration("F-1", "full", date(2024, 5, 14), 480.0, date(2025, 5, 14)),  # due after the next one was made
    calibration("F-2", "full", date(2025, 5, 12), 500.0, date(2026, 5, 12)),
)


def session(
    *readings: form.FanReading,
    day: datetime | None = datetime(2026, 2, 3, 10, 42),
    serials: tuple[str | None, ...] = ("F-1", "F-2"),
    calibrations: tuple[form.FanCalibration, ...] = (),
    place: str = "file",
) -> form.Session:
    of = source()
    point = form.Point(envelope_pressure_pa=-50.0, fan_readings=readings)
    return form.Session(
        session_id=session_id(of.sha256, place),
        kind="single_point",
        time=form.Time(started_at_local=day),
        fans=tuple(form.Fan(fan_id=str(number), fan_serial=serial) for number, serial in enumerate(serials, 1)),
        fan_calibrations=calibrations,
        runs=(form.Run(run_number=1, points=(point,)),),
        source=of_record(of, place),
    )


def reading(
    fan: str = "1", opening: str | None = "full", pressure: float | None = 40.0, **more: float
) -> form.FanReading:
    return form.FanReading(fan_id=fan, fan_configuration=opening, fan_pressure_pa=pressure, **more)


def coefficients(batch: Batch) -> list[float | None]:
    """Coefficient of the calibration that each reading of a batch of one session points at."""
    of_calibration = batch.calibration["fan_coefficient_m3_h"].tolist()
    return [None if np.isnan(index) else of_calibration[int(index)] for index in batch.reading["calibration_index"]]


def taken(*sessions: form.Session) -> Batch:
    return batches.from_sessions(sessions, REGISTER).batch


def test_a_reading_with_a_fan_pressure_alone_gets_the_calibration_of_its_fan_opening_and_day() -> None:
    batch = taken(session(reading(), reading(opening="half"), reading(fan="2")))
    assert batch.reading["calibration_index"].tolist() == [0.0, 1.0, 2.0]
    assert coefficients(batch) == [492.0, 171.0, 500.0]
    assert batch.calibration_offsets.tolist() == [0, 3]
    assert batch.calibration["calibration_from_register"].tolist() == [1, 1, 1]
    assert batch.calibration["calibration_from_register"].dtype == np.int8
    np.testing.assert_array_equal(batch.calibration["reference_air_density_kg_m3"], [1.204, np.nan, np.nan])
    np.testing.assert_array_equal(batch.calibration["minimum_fan_pressure_pa"], [np.nan, 15.0, np.nan])
    assert batch.calibration_point_offsets.tolist() == [0, 0, 0, 0]


@pytest.mark.parametrize(
    ("day", "expected"),
    [
        (datetime(2024, 5, 13, 23, 59), None),
        (datetime(2024, 5, 14, 0, 0), 480.0),
        (datetime(2025, 5, 11, 23, 59), 480.0),
        (datetime(2025, 5, 12, 0, 0), 492.0),
        (datetime(2026, 5, 12, 23, 59), 492.0),
        (datetime(2026, 5, 13, 0, 0), None),
        (None, None),
    ],
)
def test_the_newest_calibration_by_the_local_day_holds_until_it_is_due(
    day: datetime | None, expected: float | None
) -> None:
    assert coefficients(taken(session(reading(), day=day))) == [expected]


def test_a_calibration_without_a_due_date_holds_on() -> None:
    assert coefficients(taken(session(reading(opening="half"), day=datetime(2099, 1, 1)))) == [171.0]


def test_what_the_source_gives_is_never_replaced() -> None:
    own = form.FanCalibration(fan_id="1", fan_coefficient_m3_h=7.0, fan_exponent=0.5)
    given = session(
        reading(calibration_index=0),
        reading(flow_m3_h=2800.0),
        reading(),
        reading(pressure=None),
        calibrations=(own, own),
    )
    batch = taken(given)
    np.testing.assert_array_equal(batch.reading["calibration_index"], [0, np.nan, 2, np.nan])
    assert batch.calibration["fan_coefficient_m3_h"].tolist() == [7.0, 7.0, 492.0]
    assert batch.calibration["calibration_from_register"].tolist() == [0, 0, 1]


@pytest.mark.parametrize(
    "one",
    [
        session(reading(opening=None)),
        session(reading(opening="quarter")),
        session(reading(opening="FULL")),
        session(reading(), serials=(None, "F-1")),
        session(reading(), serials=("f-1",)),
        session(reading(), serials=()),
        session(reading(fan="3")),
    ],
    ids=["no opening", "unknown opening", "another spelling", "no serial", "unknown serial", "no fans", "unknown fan"],
)
def test_a_reading_whose_fan_or_opening_is_not_known_gets_none(one: form.Session) -> None:
    batch = taken(one)
    assert np.isnan(batch.reading["calibration_index"]).all()
    assert batch.calibration_offsets.tolist() == [0, 0]


def test_an_absent_opening_or_serial_is_not_joined_with_a_neighbour_to_one_that_exists() -> None:
    register_ = (calibration("F", "1full", date(2025, 1, 1), 1.0),)
    batch = batches.from_sessions([session(reading(opening="full"), serials=("F1",))], register_).batch
    assert np.isnan(batch.reading["calibration_index"]).all()


def test_the_tables_of_neighbours_stay_where_they_were() -> None:
    rows = tuple(
        form.CalibrationPoint(calibration_pressure_pa=p, calibration_flow_m3_h=q) for p, q in ((9, 90), (80, 300))
    )
    table = form.FanCalibration(fan_id="1", calibration_points=rows)
    first = session(reading(calibration_index=0), reading(), calibrations=(table,), place="row 1")
    last = session(reading(), reading(calibration_index=0), calibrations=(table,), place="row 2")
    batch = taken(first, session(place="row 3"), last)
    assert batch.calibration_offsets.tolist() == [0, 2, 2, 4]
    assert batch.calibration_point_offsets.tolist() == [0, 2, 2, 4, 4]
    assert batch.calibration_point["calibration_flow_m3_h"].tolist() == [90, 300, 90, 300]
    assert batch.reading["calibration_index"].tolist() == [0, 1, 1, 0]


def expected_row(one: form.Session, of: form.FanReading) -> CalibrationRow | None:
    if of.fan_pressure_pa is None or of.flow_m3_h is not None or of.calibration_index is not None:
        return None
    serial = next((fan.fan_serial for fan in one.fans if fan.fan_id == of.fan_id), None)
    day = one.time.started_at_local.date() if one.time.started_at_local else None
    if serial is None or of.fan_configuration is None or day is None:
        return None
    found = [
        row
        for row in REGISTER
        if (row.fan_serial, row.fan_configuration) == (serial, of.fan_configuration) and row.fan_calibrated_on <= day
    ]
    newest = max(found, key=lambda row: row.fan_calibrated_on, default=None)
    overdue = newest and newest.fan_calibration_due_on and newest.fan_calibration_due_on < day
    return None if overdue else newest


def some_session(rng: np.random.Generator, number: int) -> form.Session:
    def one() -> form.FanReading:
        more = [{}, {}, {}, {"flow_m3_h": 9.0}, {"calibration_index": 0}][rng.integers(5)]
        pressure = 40.0 if rng.random() < 0.8 else None
        opening = ["full", "full", "half", "half", "x", None][rng.integers(6)]
        return reading(str(rng.integers(1, 4)), opening, pressure, **more)

    if rng.random() < 0.2:
        of = source(str(number).encode())
        return single_point(of) if rng.random() < 0.5 else multi_point(of, points=1)
    own = form.FanCalibration(fan_id="1", fan_coefficient_m3_h=7.0, fan_exponent=0.5)
    days = [None, *(datetime(year, month, 12) for year in (2024, 2025, 2026) for month in (4, 5, 6))]
    return session(
        *(one() for _ in range(rng.integers(0, 5))),
        day=days[rng.integers(len(days))],
        serials=tuple(["F-1", "F-1", "F-2", None][rng.integers(4)] for _ in range(rng.integers(0, 4))),
        calibrations=(own,) * int(rng.integers(0, 3)),
        place=f"row {number}",
    )


def test_many_sessions_get_what_a_plain_loop_finds_and_each_alone_the_same_bits() -> None:
    rng = np.random.default_rng(7)
    sessions = [some_session(rng, number) for number in range(800)]
    batch = taken(*sessions)
    readings = [(s, r) for s in sessions for run in s.runs for point in run.points for r in point.fan_readings]
    offsets = batch.reading_offsets[batch.point_offsets[batch.run_offsets]]
    owner = np.repeat(np.arange(len(sessions)), np.diff(offsets))
    found = 0
    for position, (one, of) in enumerate(readings):
        index, row = batch.reading["calibration_index"][position], expected_row(one, of)
        if row is None:
            assert of.calibration_index == (None if np.isnan(index) else index)
            continue
        found += 1
        place = batch.calibration_offsets[owner[position]] + int(index)
        assert len(one.fan_calibrations) <= index and place < batch.calibration_offsets[owner[position] + 1]
        assert batch.calibration["fan_coefficient_m3_h"][place] == row.fan_coefficient_m3_h
    assert 60 < found < len(readings) - 60
    for number in range(0, 800, 9):
        alone = taken(sessions[number])
        of_session = slice(*offsets[number : number + 2])
        own = slice(*batch.calibration_offsets[number : number + 2])
        for name, values in alone.reading.items():
            assert values.tobytes() == batch.reading[name][of_session].tobytes(), name
        for name, values in alone.calibration.items():
            assert values.tobytes() == batch.calibration[name][own].tobytes(), name


def test_stored_sessions_meet_the_register_of_their_archive_and_stay_as_they_are(tmp_path: Path) -> None:
    store = Store.create(tmp_path / "archive", Settings("P"))
    of = source()
    made = session(reading(), reading(opening="half"))
    store.commit([imported(of, made)])
    (before,) = batches.load(store.snapshot())
    assert np.isnan(before.batch.reading["calibration_index"]).all()
    placed = register.read("calibrations", register.csv_bytes("calibrations", REGISTER), "given.csv")
    registers.add(store.root, "calibrations", placed)
    (loaded,) = batches.load(store.snapshot())
    assert coefficients(loaded.batch) == [492.0, 171.0]
    for field in dataclasses.fields(Batch):  # by the road of stored rows and by that of sessions in hand
        ours, theirs = (getattr(b, field.name) for b in (loaded.batch, taken(made)))
        np.testing.assert_equal(ours, theirs, err_msg=field.name)
    assert list(store.snapshot().sessions()) == [made]
    assert loaded.revisions.equals(before.revisions)
