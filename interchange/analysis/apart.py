"""Runs of a batch as tests of their own, so that what is reckoned of tests can be reckoned of each run."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from interchange.analysis import ragged
from interchange.analysis.batch import Batch, Ints


def runs_apart(batch: Batch) -> tuple[Batch, Ints]:
    """The batch with each run as a session of one run, and for each of them the session that it belongs to.

    A run keeps what its session has once, and the session's fan calibrations.
    """
    owner = np.repeat(np.arange(batch.run_offsets.size - 1), ragged.counts(batch.run_offsets))
    calibration, calibration_offsets = _segments(batch.calibration_offsets, owner)
    table_row, calibration_point_offsets = _segments(batch.calibration_point_offsets, calibration)
    apart = replace(
        batch,
        run_offsets=np.arange(owner.size + 1),
        calibration_offsets=calibration_offsets,
        calibration_point_offsets=calibration_point_offsets,
        session={name: values[owner] for name, values in batch.session.items()},
        calibration={name: values[calibration] for name, values in batch.calibration.items()},
        calibration_point={name: values[table_row] for name, values in batch.calibration_point.items()},
    )
    return apart, owner


def _segments(offsets: Ints, wanted: Ints) -> tuple[Ints, Ints]:
    """Rows of the segments wanted, one after the other, and the offsets of those segments among them."""
    length = ragged.counts(offsets)[wanted]
    new = np.concatenate([np.zeros(1, dtype=np.int64), np.cumsum(length)])
    return np.repeat(offsets[:-1][wanted] - new[:-1], length) + np.arange(new[-1]), new
