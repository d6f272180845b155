"""What traces of an archive tell its estimates, as a ratio to reading those traces."""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
import pytest

from interchange.archive import batches, traced
from interchange.model import session as form
from tests.benchmarks.measuring import report, seconds

sys.path.insert(0, str(Path(__file__).parents[1] / "archive"))
from test_archive_found_points import logged, readings, stored

TESTS = 200
STAIRS = (
    (300, 0.0),
    *((270, pascals) for pascals in (60.0, 55.0, 50.0, 45.0, 40.0, 35.0, 30.0, 25.0, 20.0, 15.0)),
    (600, 0.0),
)

pytestmark = pytest.mark.benchmark


def _run(values: dict[str, np.ndarray]) -> form.Run:
    """Ten points of a minute each, within the levels of the invented house."""
    points = []
    for number in range(10):
        first = 400 + 270 * number
        house, fan, flow = (values[name][first : first + 60] for name in ("house", "fan", "flow"))
        reading = form.FanReading(fan_id="1", fan_pressure_pa=float(fan.mean()), flow_m3_h=float(flow.mean()))
        points.append(
            form.Point(
                point_number=number + 1,
                envelope_pressure_pa=round(float(house.mean()), 1),
                envelope_pressure_spread_pa=round(float(house.std(ddof=1)), 2),
                averaging_s=60.0,
                baseline_removed=False,
                fan_readings=(reading,),
            )
        )
    return form.Run(
        run_number=1,
        direction="depressurisation",
        baseline_before_pressure_pa=-1.0,
        baseline_after_pressure_pa=-1.0,
        points=tuple(points),
    )


def test_traces_are_told_in_a_few_times_their_reading(tmp_path: Path) -> None:
    values = readings(STAIRS)
    run, three = _run(values), {name: values[name] for name in ("house", "fan", "flow")}
    store = stored(tmp_path / "a", *(logged(three, f"log {number}", runs=(run,)) for number in range(TESTS)))
    snapshot = store.snapshot()
    (loaded,) = batches.load(snapshot)
    told = traced.of_batch(snapshot, loaded)
    assert told is not None
    assert np.isfinite(told.point_start_s).all()
    sides = {
        "reading": lambda: [
            rows["values"].flatten().to_numpy(zero_copy_only=False) for rows in snapshot.batches("trace")
        ],
        "told": lambda: traced.of_batch(snapshot, loaded),
    }
    samples = sum(one.size for one in three.values())
    ratios = report(
        "traced",
        f"{TESTS} tests with three traces of {samples // 3} values each, one thread: reading the traces, "
        "against reading them, finding ten declared points and the fan's rests in each, and their fluctuations",
        seconds(sides, 3),
        "reading",
        tests=TESTS,
    )
    assert ratios["told"] < 8.0
