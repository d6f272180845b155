"""Signs that a baseline was not read: absent, the same as the other one to the last digit, or nought to the last."""

from __future__ import annotations

import numpy as np

from interchange.analysis.batch import Floats
from interchange.analysis.line_faults.features import LineFeatures
from interchange.analysis.line_faults.seen import Flags, Level
from interchange.analysis.work import Work, floats
from interchange.quantities import CHOICES

SURELY = 5.0  # [1] -ln of chance, from which a baseline counts as not read
FINEST_PA = 1e-4  # [Pa] digits that are looked at
RESOLUTION_PA = 0.1  # [Pa] of single readings
SILENT_TIMES = 10.0  # [1] independent readings in a baseline
CERTAIN = 20.0  # [1] -ln of chance where the trace holds another baseline
LEAST_NOISE_PA = 0.02  # [Pa] by which two baselines of a gauge differ in still air
SEVERAL = CHOICES["kind"].index("multi_point")


def record_signs(work: Work, level: Level, features: LineFeatures | None) -> dict[str, Floats]:
    """By name and session: missing, copied, habit; each the greatest of its runs.

    missing: 2 where a run with points has no baseline, 1 where one of two usual ones is absent. copied, habit: how many
    times less likely chance is than one, as -ln of the chance that a mean falls on that digit; 0 where it has not.
    """
    batch = work.batch
    before, after = (floats(batch.run[f"baseline_{when}_pressure_pa"]) for when in ("before", "after"))
    spread_before, spread_after = (floats(batch.run[f"baseline_{when}_spread_pa"]) for when in ("before", "after"))
    session = np.repeat(np.arange(batch.run_offsets.size - 1), np.diff(batch.run_offsets))
    points = np.diff(batch.point_offsets) > 0
    removed = np.zeros(points.size, np.bool_)
    runs = np.repeat(np.arange(points.size), np.diff(batch.point_offsets))
    removed[runs[np.asarray(batch.point["baseline_removed"]) == 1]] = True
    absent = np.isnan(before).astype(np.float64) + np.isnan(after)
    several = np.asarray(batch.session["kind"])[session] == SEVERAL
    missing = np.where(np.isnan(before), 2.0, np.where(np.isnan(after) & several, 1.0, 0.0))
    missing = np.where(points & ~removed, missing, 0.0)
    moves = np.hypot(0.5 * level.deviation_pa, LEAST_NOISE_PA)[session]
    digit = _digit(before, after)
    chance = np.log(1.0 + moves / digit)
    same = (before == after) & ~((before == 0.0) & (spread_before == 0.0))
    by_spread = np.where(
        np.isfinite(spread_before), np.where(spread_before == spread_after, np.log(1.0 + moves / digit), -20.0), 0.0
    )
    copied = np.where(same, np.maximum(chance + by_spread, 0.0), 0.0)
    habit = np.zeros(points.size)
    for value, spread in ((before, spread_before), (after, spread_after)):
        nought = value == 0.0
        one_digit = np.log(1.0 + moves / RESOLUTION_PA)  # more than the digit of the gauge, that all readings show it
        silent = np.where(np.isnan(spread), chance, np.where(spread == 0.0, SILENT_TIMES * one_digit, -20.0))
        habit = np.maximum(habit, np.where(nought, np.maximum(silent, 0.1), 0.0))
    if features is not None:
        for value, real in ((before, features.before_pa), (after, features.after_pa)):
            apart = np.abs(value - real) / np.maximum(0.1 + 0.2 * moves, 1e-9)
            known = np.isfinite(apart)
            copied = np.where(same & known & (apart > 1.0), np.maximum(copied, CERTAIN), copied)
            habit = np.where((value == 0.0) & known & (apart > 1.0), np.maximum(habit, CERTAIN), habit)
    found = {name: np.full(level.deviation_pa.size, np.nan) for name in ("missing", "copied", "habit")}
    for name, values in (("missing", missing), ("copied", copied), ("habit", habit)):
        np.fmax.at(found[name], session, values)
    both = np.zeros(level.deviation_pa.size)
    np.maximum.at(both, session, (absent == 0).astype(np.float64))
    found["copied"] = np.where(both > 0, found["copied"], np.nan)
    return found


def bogus(work: Work, level: Level, features: LineFeatures | None) -> Flags:
    """Baselines that surely were not read: nought by habit or copied, shape (3, runs), before, points (none), after."""
    before, after = (floats(work.batch.run[f"baseline_{when}_pressure_pa"]) for when in ("before", "after"))
    session = np.repeat(np.arange(level.told.size), np.diff(work.batch.run_offsets))
    signs = record_signs(work, level, features)
    habit, copied = ((np.nan_to_num(signs[name]) >= SURELY)[session] for name in ("habit", "copied"))
    return np.stack(
        [habit & (before == 0.0), np.zeros(before.size, np.bool_), habit & (after == 0.0) | copied & (after == before)]
    )


def _digit(*values: Floats) -> Floats:
    """Finest digit in which any of the values is given [Pa], FINEST_PA at the least, 0.1 at the most."""
    digit = np.full(values[0].size, 0.1)
    for value in values:
        held = np.nan_to_num(value)
        for step in (0.1, 0.01, 0.001):
            finer = np.abs(held / step - np.round(held / step)) > 1e-6
            digit = np.where(finer, np.minimum(digit, step / 10.0), digit)
    return np.asarray(np.maximum(digit, FINEST_PA))
