"""Simulated tests with simple noise: white or AR(1) readings at 1 s, averaged as a crew's gauge would."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from build import batch as built
from numpy.typing import NDArray
from scipy.signal import lfilter

from interchange.analysis.batch import Batch

Array = NDArray[np.float64]
GAP_S, BASELINE_S, POINT_S = 20, 60, 30


@dataclass(frozen=True)
class Truth:
    level_50: Array
    exponent: Array
    zero_pa: Array

    def flow(self, pressure_pa: float) -> Array:
        return self.level_50 * (pressure_pa / 50.0) ** self.exponent


def simulated(
    rng: np.random.Generator,
    tests: int,
    *,
    noise_pa: float,
    time_scale_s: float | None,
    pressures_pa: tuple[float, ...],
    directions: tuple[int, ...] = (-1,),
    spreads: bool = True,
    flow_noise: float = 0.005,
    kind: str = "multi_point",
) -> tuple[Batch, Truth]:
    """Tests of runs with baselines before and after; exponents from a normal (0.65, 0.06), levels of noise differ.

    time_scale_s None is white noise. Noise of a test is `noise_pa` times a factor from a log-normal of 0.3.
    """
    lengths = ([BASELINE_S] + [POINT_S] * len(pressures_pa) + [BASELINE_S]) * len(directions)
    starts = np.cumsum([0, *(length + GAP_S for length in lengths)])[:-1]
    total = int(starts[-1] + lengths[-1])
    white = rng.normal(size=(tests, total))
    if time_scale_s is None:
        series = white
    else:
        keep = np.exp(-1.0 / time_scale_s)
        drive = white * np.sqrt(1.0 - keep**2)
        drive[:, 0] = white[:, 0]
        series = lfilter([1.0], [1.0, -keep], drive, axis=1)
    series = series * (noise_pa * np.exp(rng.normal(0, 0.3, tests)))[:, None]
    truth = Truth(np.exp(rng.normal(7.8, 0.4, tests)), rng.normal(0.65, 0.06, tests), rng.normal(-1.5, 1.0, tests))
    means = np.stack([series[:, a : a + n].mean(axis=1) for a, n in zip(starts, lengths, strict=True)], axis=1)
    sds = np.stack([series[:, a : a + n].std(axis=1, ddof=1) for a, n in zip(starts, lengths, strict=True)], axis=1)
    means += truth.zero_pa[:, None]

    per_run = len(pressures_pa) + 2
    runs = len(directions)
    means, sds = means.reshape(tests, runs, per_run), sds.reshape(tests, runs, per_run)
    induced = np.asarray(pressures_pa) * np.exp(rng.normal(0, 0.03, (tests, runs, len(pressures_pa))))
    flow = truth.level_50[:, None, None] * (induced / 50.0) ** truth.exponent[:, None, None]
    flow *= np.exp(rng.normal(0, flow_noise, flow.shape))
    sign = np.asarray(directions, dtype=np.float64)[None, :, None]
    shown = sign * induced + means[:, :, 1:-1]
    return _batch(tests, kind, sign, shown, flow, means, sds if spreads else np.full_like(sds, np.nan)), truth


def _batch(tests: int, kind: str, sign: Array, shown: Array, flow: Array, means: Array, sds: Array) -> Batch:
    runs, points = shown.shape[1:]
    model = built({"kind": kind, "runs": [{"points": [{"readings": [{}]}]}]})

    def level(columns: Any, count: int, **given: Any) -> dict[str, NDArray[Any]]:
        found = {name: np.repeat(column[:1], count) for name, column in columns.items()}
        return found | {name: np.asarray(v).reshape(-1).astype(found[name].dtype) for name, v in given.items()}

    count = tests * runs
    empty = np.full(count, float(BASELINE_S))
    return Batch(
        run_offsets=np.arange(tests + 1) * runs,
        point_offsets=np.arange(count + 1) * points,
        reading_offsets=np.arange(count * points + 1),
        calibration_offsets=np.zeros(tests + 1, dtype=np.int64),
        calibration_point_offsets=np.zeros(1, dtype=np.int64),
        session=level(model.session, tests),
        run=level(
            model.run,
            count,
            direction=np.broadcast_to(sign > 0, (tests, runs, 1)),
            baseline_before_pressure_pa=means[:, :, 0],
            baseline_after_pressure_pa=means[:, :, -1],
            baseline_before_spread_pa=sds[:, :, 0],
            baseline_after_spread_pa=sds[:, :, -1],
            baseline_before_duration_s=empty,
            baseline_after_duration_s=empty,
        ),
        point=level(
            model.point,
            count * points,
            envelope_pressure_pa=shown,
            envelope_pressure_spread_pa=sds[:, :, 1:-1],
            averaging_s=np.full(shown.size, float(POINT_S)),
            baseline_removed=np.zeros(shown.size),
        ),
        reading=level(model.reading, count * points, flow_m3_h=flow),
        calibration=model.calibration,
        calibration_point=model.calibration_point,
    )
