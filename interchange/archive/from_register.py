"""Fan calibrations from the register, for readings whose source gives a fan pressure and nothing to make a flow of it.

The stored session is not touched: a calibration is put behind the session's own ones in its Batch, and marked there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc
from numpy.typing import NDArray

from interchange.analysis import ragged
from interchange.analysis.batch import CALIBRATION_COLUMNS, Batch, Ints
from interchange.model.register import CalibrationRow

# Fields of a fan, and of a reading, that the join needs beside the columns of a Batch.
FAN_FIELDS = ("fan_id", "fan_serial")
READING_FIELDS = ("fan_id", "fan_configuration")
_BETWEEN = "\x1f"  # a cell of a register holds no control characters
_DAY_0 = 719_163  # proleptic ordinal of 1970-01-01, from which Arrow counts
_DAYS = 2**23  # more than the days of the calendar


def with_register(batch: Batch, rows: pa.RecordBatch, readings: pa.Array, register: Sequence[CalibrationRow]) -> Batch:
    """The batch made of stored rows and the readings in them, with what its readings lack out of the register.

    A reading lacks one that has a fan pressure, but neither a flow nor a calibration. It gets that of its fan's serial
    number and its opening which is valid on the day the test began, by the clock of the place: the newest by then, as
    long as it is not past its due date. Where serial number, opening or day are not known it gets none.
    """
    pressure, flow, index = (batch.reading[name] for name in ("fan_pressure_pa", "flow_m3_h", "calibration_index"))
    lacking = np.flatnonzero(np.isfinite(pressure) & np.isnan(flow) & np.isnan(index))
    if not lacking.size:
        return batch
    offsets = batch.reading_offsets[batch.point_offsets[batch.run_offsets]]
    session = np.searchsorted(offsets, lacking, side="right") - 1
    row = _row(register, _keys(rows["fans"], readings.take(pa.array(lacking)), session), _days(rows, session))
    found = row >= 0
    return _appended(batch, register, lacking[found], session[found], row[found])


def _keys(fans_of_session: pa.Array, readings: pa.Array, session: Ints) -> pa.Array:
    """Serial number and opening of each reading as one text; null where one of them is not known."""
    fans = fans_of_session.flatten()
    names = pa.concat_arrays([fans.field("fan_id"), readings.field("fan_id")]).dictionary_encode()
    code = names.indices.to_numpy().astype(np.int64)
    owner = np.repeat(np.arange(len(fans_of_session)), pc.list_value_length(fans_of_session).to_numpy())
    of_fan = owner * len(names.dictionary) + code[: len(fans)]
    of_reading = session * len(names.dictionary) + code[len(fans) :]
    order = np.argsort(of_fan, kind="stable")
    place = np.searchsorted(of_fan[order], of_reading)
    there = np.append(of_fan[order], -1)[place] == of_reading
    serial = fans.field("fan_serial").take(pa.array(np.append(order, 0)[place], mask=~there))
    return pc.binary_join_element_wise(serial, readings.field("fan_configuration"), _BETWEEN)


def _days(rows: pa.RecordBatch, session: Ints) -> Ints:
    """Day on which each test began, counted as Python does; 0 where it is not known."""
    days = pc.add(rows["started_at_local"].cast(pa.date32()).cast(pa.int32()), _DAY_0)
    return np.asarray(pc.fill_null(days, 0).to_numpy().astype(np.int64)[session])


def _row(register: Sequence[CalibrationRow], keys: pa.Array, days: Ints) -> Ints:
    """Row of the register that holds for each key on each day, -1 for none."""
    own = [_BETWEEN.join((one.fan_serial, one.fan_configuration)) for one in register]
    names = list(dict.fromkeys(own))
    code = np.array([names.index(name) for name in own]) * _DAYS
    since = code + [one.fan_calibrated_on.toordinal() for one in register]
    due = code + [
        one.fan_calibration_due_on.toordinal() if one.fan_calibration_due_on else _DAYS - 1 for one in register
    ]
    wanted = pc.fill_null(pc.index_in(keys, pa.array(names)), -1).to_numpy().astype(np.int64) * _DAYS + days
    order = np.argsort(since)
    place = np.searchsorted(since[order], wanted, side="right") - 1
    row = order[place]
    return np.where((place >= 0) & (wanted <= due[row]), row, -1)  # a row of another key was due below all days of this


def _appended(batch: Batch, register: Sequence[CalibrationRow], reading: Ints, session: Ints, row: Ints) -> Batch:
    """The batch with rows of the register behind the calibrations of their sessions, and readings that point there."""
    pairs, pair = np.unique(session * len(register) + row, return_inverse=True)
    owner, taken = np.divmod(pairs, len(register))
    own = ragged.counts(batch.calibration_offsets)
    shift = np.concatenate([[0], np.cumsum(np.bincount(owner, minlength=own.size))])
    index = own[owner] + np.arange(pairs.size) - shift[owner]
    offsets = batch.calibration_offsets + shift
    source = np.empty(offsets[-1], dtype=np.int64)  # of each calibration: its place before, or behind all a register's
    source[np.arange(own.sum()) + np.repeat(shift[:-1], own)] = np.arange(own.sum())
    source[offsets[owner] + index] = own.sum() + taken
    columns = {
        name: np.concatenate([batch.calibration[name], _column(name, register)])[source] for name in CALIBRATION_COLUMNS
    }
    table_rows = np.append(ragged.counts(batch.calibration_point_offsets), np.zeros(len(register), dtype=np.int64))
    pointing = batch.reading["calibration_index"].copy()
    pointing[reading] = index[pair]
    return replace(
        batch,
        calibration_offsets=offsets,
        calibration_point_offsets=np.concatenate([[0], np.cumsum(table_rows[source])]),
        reading={**batch.reading, "calibration_index": pointing},
        calibration=columns,
    )


def _column(name: str, register: Sequence[CalibrationRow]) -> NDArray[np.generic]:
    if name == "calibration_from_register":
        return np.ones(len(register), dtype=np.int8)
    values = [getattr(one, name) for one in register]
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)
