"""Faults of a line that is read without a fan, as when zero pressures are studied: by its trace alone.

Signs are those of a baseline that lasts: an offset that neither stack nor wind explains, a step, a creep, a noise that
goes away, a reading that stands at zero.
"""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Floats, Ints

BLOCK_S = 60.0  # [s] means between which steps are looked for
SILENT_WINDOW_S = 15.0  # [s] over which a gauge that feels nothing shows its own noise alone
SILENT_PA, ZERO_PA = 0.1, 0.4  # [Pa] deviation and mean of such a window
SLOW_TIMES = 1.0  # [1] deviation of block means that wind makes, in parts of that of readings
FLOOR_PA = 0.15  # [Pa] by which means of a gauge in still air differ
OFFSET_TIMES, GAUGE_ZERO_PA = 4.0, 0.3  # as in `scores`
LEAST_WINDOWS = 3  # [1] windows without noise at the end of a trace that are no lull
# What one sound trace in twenty shows of each sign. From simulated traces of 15 to 60 min in all winds, no source.
USUAL = {"offset": 1.15, "step": 0.9, "drift": 0.8, "dead": 0.8, "silent": 0.8}
END_SHARE = 0.1  # [1] of the blocks, that must lie on either side of a step


def resting_signs(
    pressure_pa: Floats, offsets: Ints, stack_pa: Floats, stack_tolerance_pa: Floats, *, step_s: float = 1.0
) -> dict[str, Floats]:
    """By name and trace (`offsets`): offset_pa, offset, step, step_pa, step_from_s, drift, dead, silent.

    offset: over what stack [Pa] and wind explain. step, drift: over what blocks of a minute scatter about it. dead,
    silent: whether the noise of wind goes away for good, at zero or anywhere, by ln of what there was before.
    """
    count = offsets.size - 1
    names = ("offset_pa", "offset", "step", "step_pa", "step_from_s", "drift", "dead", "silent", "noise_pa")
    found = {name: np.full(count, np.nan) for name in names}
    size, window = max(round(BLOCK_S / step_s), 1), max(round(SILENT_WINDOW_S / step_s), 2)
    for i in range(count):
        series = pressure_pa[offsets[i] : offsets[i + 1]]
        series = series[np.isfinite(series)]
        number = series.size // size
        if number < 4:
            continue
        blocks = series[: number * size].reshape(number, size)
        means, deviations = blocks.mean(axis=1), blocks.std(axis=1)
        noise = float(np.median(deviations))
        windows = series[: series.size // window * window].reshape(-1, window)
        quiet = windows.std(axis=1) < SILENT_PA
        loudest = float(np.quantile(windows.std(axis=1), 0.9))
        dead = quiet & (np.abs(windows.mean(axis=1)) < ZERO_PA)
        for name, flags in (("dead", dead), ("silent", quiet)):
            found[name][i] = _to_the_end(flags) * np.log(max(loudest / SILENT_PA, 1.0))
        found["noise_pa"][i] = noise
        found["offset_pa"][i] = means.mean() - stack_pa[i]
        explained = np.sqrt(stack_tolerance_pa[i] ** 2 + (OFFSET_TIMES * noise) ** 2 + GAUGE_ZERO_PA**2)
        found["offset"][i] = abs(found["offset_pa"][i]) / explained
        step, at, size_pa = _step(means)
        scatter = np.hypot(SLOW_TIMES * max(noise, 0.3 * loudest), FLOOR_PA)
        found["step"][i] = step / scatter
        found["step_from_s"][i], found["step_pa"][i] = at * BLOCK_S, size_pa
        time = np.linspace(-0.5, 0.5, number)
        slope = float((time * means).sum() / (time * time).sum())
        left = float(np.std(means - means.mean() - slope * time))
        found["drift"][i] = abs(slope) / np.hypot(np.hypot(scatter, 3.0 * left), FLOOR_PA)
    return found


def _step(means: Floats) -> tuple[float, int, float]:
    """Greatest step of the mean less what scatters about it, where it is, its size [Pa]."""
    number = means.size
    edge = max(int(END_SHARE * number), 1)
    places = np.arange(edge, number - edge + 1)
    total = np.concatenate([[0.0], np.cumsum(means)])
    before = total[places] / places
    after = (total[-1] - total[places]) / (number - places)
    best = int(np.argmax(np.abs(after - before) * np.sqrt(places * (number - places))))
    at = int(places[best])
    size = float(after[best] - before[best])
    left = np.concatenate([means[:at] - before[best], means[at:] - after[best]])
    return max(abs(size) - 2.0 * float(left.std()), 0.0), at, size


def _to_the_end(flags: NDArray[np.bool_]) -> float:
    """1 where the last windows, at least `LEAST_WINDOWS`, are marked and hardly any before; less where more are."""
    last = int(np.argmin(np.append(flags[::-1], False)))
    before = flags[: flags.size - last]
    return float(1.0 - before.mean()) if last >= LEAST_WINDOWS and before.size else 0.0


def resting_scores(found: Mapping[str, Floats]) -> dict[str, Floats]:
    """Scores of faults by name and trace, in the measure of `scores.scores`."""
    over = {name: found[name] / usual for name, usual in USUAL.items()}
    never_moved = found["noise_pa"] < SILENT_PA  # by nobody knows what: still air and a line that is off look alike
    return {
        "water_in_line": np.fmax(over["offset"], over["step"]),
        "line_blocked": np.fmax(over["drift"], over["silent"]),
        "line_disconnected": np.where(never_moved & (over["dead"] < 1.0), np.nan, over["dead"]),
        "gauge_drift": over["drift"],
    }
