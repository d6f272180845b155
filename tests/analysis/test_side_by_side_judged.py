"""Intervals of two lines side by side before the judge: simulated hours whose true ratio, bias and clock are known.

The true ratio of a wind, a house and two lines is that of the spreads (root of the mean variance) of many other hours
of them; what gauges add to it is the same in both. The true bias is the judge's, over the same hours.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from interchange.analysis import clocks
from interchange.analysis import side_by_side as kernel
from tests.judge import (
    Case,
    Line,
    Mast,
    Monitoring,
    Wind,
    branched_damped,
    open_end,
    several_facades,
    sheltered_end,
    simulate_monitoring,
)

FIGURES = Path(__file__).parents[1] / "benchmarks" / "figures" / "side_by_side.json"
PAIRS: dict[str, tuple[Line, Line]] = {
    "open end, branched": (open_end(), branched_damped()),
    "open end, several facades": (open_end(), several_facades()),
    "open end, sheltered end": (open_end(), sheltered_end()),
    "several facades, branched": (several_facades(), branched_damped()),
    "open ends, north and east": (open_end(), open_end("east")),
}
WINDS = ((3.0, 20.0), (5.0, 150.0), (7.0, 20.0), (9.0, 280.0))
MASTS = {
    "mast at the house, means of a minute": Mast(5.0, 20.0, averaging_s=60),
    "mast 100 m off, means of a minute": Mast(10.0, 100.0, averaging_s=60),
    "mast 500 m off, means of five minutes": Mast(10.0, 500.0, averaging_s=300),
    "station 2 km off, means of ten minutes": Mast(),
}


def hours(case: Case, count: int, seed: int, seconds: int = 3600) -> list[Monitoring]:
    return [simulate_monitoring(case, seconds, rng) for rng in np.random.default_rng(seed).spawn(count)]


def held(case: Case, count: int, others: int, seed: int) -> tuple[list[bool], list[bool], list[float]]:
    """Whether the limits of ratio and bias hold the truth in each hour, and upper over lower limit of the ratio."""
    known = hours(case, others, seed + 1)
    variance = np.mean([hour.pressure_pa.var(axis=1) for hour in known], axis=0)
    ratio = float(np.sqrt(variance[1] / variance[0]))
    bias = float(np.mean([hour.truth.line_error_pa[0] - hour.truth.line_error_pa[1] for hour in known]))
    ratios, biases, wide = [], [], []
    for hour in hours(case, count, seed):
        found = kernel.compare(hour.pressure_pa[0], hour.pressure_pa[1], 1.0)
        errors = hour.truth.line_error_pa
        # zeros of the two gauges are no difference of the lines
        zero = found.difference_pa.value - (errors[0] - errors[1])
        ratios.append(found.ratio.low <= ratio <= found.ratio.high)
        biases.append(found.difference_pa.low <= bias + zero <= found.difference_pa.high)
        wide.append(found.ratio.high / found.ratio.low)
    return ratios, biases, wide


def clock(mast: Mast, count: int, seed: int) -> tuple[list[bool], list[bool], list[float]]:
    """Whether the limits hold the true offset, whether it was told, and how far off it then was [s]."""
    inside, told, off = [], [], []
    for number, speed in enumerate((4.0, 8.0)):
        for hour in hours(Case(lines=PAIRS["open end, branched"], wind=Wind(speed), mast=mast), count, seed + number):
            w = hour.weather
            found = clocks.clock_offset(hour.time_s, tuple(hour.pressure_pa), w.time_s, w.speed_m_s, w.averaging_s)
            true = hour.truth.clock_offset_s
            inside.append(found.low_s <= true <= found.high_s)
            told.append(found.told)
            off += [abs(found.offset_s - true)] if found.told else []
    return inside, told, off


def test_a_few_hours_hold_the_true_ratio_and_bias() -> None:
    ratios, biases = [], []
    for number, name in enumerate(("open end, branched", "several facades, branched")):
        found = held(Case(lines=PAIRS[name], wind=Wind(6.0, 20.0)), 10, 20, 40 + number)
        ratios += found[0]
        biases += found[1]
    # 95 of 100 are to hold; 16 or fewer of 20 would do so by chance in 2 of 100 such tests
    assert sum(ratios) >= 17
    assert sum(biases) >= 17


def test_a_few_clocks_are_within_their_limits() -> None:
    inside, told, off = clock(MASTS["mast at the house, means of a minute"], 6, 60)
    assert sum(inside) >= 10
    assert sum(told) >= 9
    assert np.median(off) < 15.0
    far, told, _ = clock(MASTS["station 2 km off, means of ten minutes"], 3, 61)
    assert all(far) and not any(told)


def _percent(flags: list[bool]) -> float:
    return round(100.0 * float(np.mean(flags)), 1)


@pytest.mark.full
def test_500_hours_hold_the_true_ratio_in_93_to_97_of_100() -> None:
    figures: dict[str, Any] = {
        "what": "simulated hours, 25 of each of five pairs of lines and four winds: how often 95 % limits hold the "
        "truth [%], median upper over lower limit of the ratio; clocks: 50 hours of each mast"
    }
    every: tuple[list[bool], list[bool]] = ([], [])
    for number, (name, lines) in enumerate(PAIRS.items()):
        rows = [
            held(Case(lines=lines, wind=Wind(*wind)), 25, 30, 1000 * number + 10 * place)
            for place, wind in enumerate(WINDS)
        ]
        ratios, biases, wide = ([one for row in rows for one in row[k]] for k in range(3))
        every[0].extend(ratios)
        every[1].extend(biases)
        figures[name] = {
            "ratio_covered_percent": _percent(ratios),
            "bias_covered_percent": _percent(biases),
            "median_high_over_low": round(float(np.median(wide)), 2),
        }
    figures["all"] = {"ratio_covered_percent": _percent(every[0]), "bias_covered_percent": _percent(every[1])}
    clocks_held: list[bool] = []
    for number, (name, mast) in enumerate(MASTS.items()):
        inside, told, off = clock(mast, 25, 7000 + 10 * number)
        clocks_held += inside
        figures[name] = {
            "clock_covered_percent": _percent(inside),
            "clock_told_percent": _percent(told),
            "median_error_where_told_s": round(float(np.median(off)), 1) if off else None,
        }
    figures["all"]["clock_covered_percent"] = _percent(clocks_held)
    FIGURES.write_text(json.dumps(figures, indent=1) + "\n")
    assert len(every[0]) == 500
    assert 93.0 <= figures["all"]["ratio_covered_percent"] <= 97.0
    assert figures["all"]["bias_covered_percent"] >= 92.0
    assert figures["all"]["clock_covered_percent"] >= 94.0
