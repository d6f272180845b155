"""From tests to the kernel: the change of each pair, with the errors that its instruments make in both alike."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from interchange.analysis.batch import Codes, Floats
from interchange.analysis.pairs import Change, Flags, Halves, change, shared_errors
from interchange.analysis.uncertainty import COVERAGE_FACTOR, LIMITS_TO_SD, PARTS
from interchange.operations.halves import Half
from interchange.operations.mismatches import same_instrument
from interchange.quantities import CHOICES

OF_INSTRUMENTS = ("gauge_gain", "gauge_offset", "fan_flow")
_DIRECTIONS = CHOICES["direction_used"]


def compare_halves(
    before: Sequence[Half],
    after: Sequence[Half],
    wider: tuple[Sequence[float], Sequence[float]] | None = None,
    same_zero: Sequence[bool] | None = None,
) -> Change:
    """The change of each pair; errors cancel where the same instrument did both.

    `wider`: limits [%] of each half, by default none. `same_zero`: whether both halves took off the same baseline.
    """
    limits = wider or ([0.0] * len(before), [0.0] * len(before))
    pairs = list(zip(before, after, strict=True))
    shared = shared_errors(
        flags(same_instrument(one, other, "gauge") for one, other in pairs),
        flags(same_instrument(one, other, "fan") for one, other in pairs),
        (_directions(before), _directions(after)),
        (_assumed(before), _assumed(after)),
        (_pressures(before), _pressures(after)),
        flags(same_zero or [False] * len(before)),
    )
    return change(_arrays(before, limits[0]), _arrays(after, limits[1]), shared)


def _arrays(side: Sequence[Half], limit_percent: Sequence[float]) -> Halves:
    unknown = (None,) * len(PARTS)
    parts = np.array([half.parts or unknown for half in side], dtype=np.float64).reshape(len(side), len(PARTS)) / 100.0
    flow = np.array([half.flow_50_m3_h for half in side], dtype=np.float64)
    wider = LIMITS_TO_SD * np.array(limit_percent, dtype=np.float64) / 100.0
    return Halves(flow, dict(zip(PARTS, parts.T, strict=True)), wider)


def in_wind(half: Half) -> Half:
    """A test in strong wind as the best estimate in wind has it, where its points can tell that; else as it is.

    The errors of instruments stay those of the budget, so that they cancel where they are shared; the rest of the
    estimate's interval stands as the noise of the test. A single point tells nothing of the wind it stood in.
    """
    flow, low, high = half.robust_flow_50_m3_h, half.robust_flow_50_low_m3_h, half.robust_flow_50_high_m3_h
    if not half.windy or half.exponent_assumed or half.parts is None or flow is None or low is None or high is None:
        return half
    kept = [part if name in OF_INSTRUMENTS else 0.0 for name, part in zip(PARTS, half.parts, strict=True)]
    whole = 100.0 * math.log(high / low) / (2.0 * COVERAGE_FACTOR)
    kept[PARTS.index("zero_noise")] = math.sqrt(max(whole**2 - sum(part**2 for part in kept), 0.0))
    return replace(half, flow_50_m3_h=flow, parts=tuple(kept), estimated=True)


def flags(values: Iterable[bool]) -> Flags:
    """Truth values as an array."""
    return np.array(list(values), dtype=np.bool_)


def _directions(side: Sequence[Half]) -> Codes:
    codes = [_DIRECTIONS.index(half.direction_used) if half.direction_used else -1 for half in side]
    return np.array(codes, dtype=np.int8)


def _assumed(side: Sequence[Half]) -> Flags:
    return flags(bool(half.exponent_assumed) and half.kind == "single_point" for half in side)


def _pressures(side: Sequence[Half]) -> Floats:
    return np.array([half.highest_pressure_pa for half in side], dtype=np.float64)
