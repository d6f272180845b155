"""From a batch and a rule set's steps to leakage: readings corrected, points gathered, lines fitted, runs combined."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from functools import partial
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import powerlaw, ragged
from interchange.analysis.batch import Batch
from interchange.analysis.combine import of_sessions
from interchange.analysis.keywords import keyword_faults
from interchange.analysis.leakage import (
    FLOW_PRESSURE_PA,
    LEAKAGE_PRESSURE_PA,
    LOW_FLOW_PRESSURE_PA,
    OUTSIDE_CALIBRATION,
    Leakage,
)
from interchange.analysis.once import Once
from interchange.analysis.points import gather
from interchange.analysis.steps import AFTER, CORRECTIONS, FITS, STEPS
from interchange.analysis.work import Work, begin
from interchange.errors import Place, Problem, RuleSetError

FITTED_KINDS = ("single_point", "two_point", "multi_point")


class Step(Protocol):
    """What a rule set says of one step."""

    @property
    def name(self) -> str:
        """Name in `steps.STEPS`."""

    @property
    def arguments(self) -> Mapping[str, Any]:
        """Keywords of the step's function."""


class Shared:
    """What rule sets have in common over one batch: corrections that they begin with alike are made once.

    It holds every array that any of them made, so it should not outlive its batch.
    """

    def __init__(self) -> None:
        self.once = Once()
        self._kept: dict[tuple[Any, ...], Work] = {}

    def after(self, way: tuple[Any, ...], make: Callable[[], Work]) -> Work:
        """The work at the end of a way of steps, in a copy of one's own; made if nobody has been there."""
        if way not in self._kept:
            self._kept[way] = make()
        return self._kept[way].as_it_is()


def follow(
    batch: Batch,
    steps: Sequence[Step],
    kinds: Sequence[str] = FITTED_KINDS,
    watch: Callable[[str, Work], None] = lambda name, work: None,
    shared: Shared | None = None,
) -> Work:
    """Take a batch through the steps of a rule set, as far as its sessions are of the kinds.

    `watch` sees the work under "begin", after each step under its name, and under "points" when they are gathered.
    `shared` is what other rule sets have left behind of this batch.
    Raises RuleSetError where a step is unknown, out of order, or given wrong keywords.
    """
    faults = step_faults(steps, "rule set", kinds)
    if faults:
        raise RuleSetError(*faults)
    shared = shared or Shared()
    fitted = tuple(kind for kind in kinds if kind in FITTED_KINDS)
    way: tuple[Any, ...] = (id(batch), fitted)
    work = shared.after(way, partial(begin, batch, fitted, shared.once))
    watch("begin", work)
    for step in steps:
        if step.name in CORRECTIONS:
            way = (*way, step.name, *sorted(step.arguments.items()))
            work = shared.after(way, partial(_after_step, step, work))
            watch(step.name, work)
    work = shared.after((*way, "points"), partial(_with_points, work))
    watch("points", work)
    for step in steps:
        if step.name in FITS or step.name in AFTER:
            _after_step(step, work)
            watch(step.name, work)
    return work


def _after_step(step: Step, work: Work) -> Work:
    STEPS[step.name](work, **step.arguments)
    return work


def _with_points(work: Work) -> Work:
    gather(work)
    absent = np.full(work.direction.size, np.nan)
    work.log_coefficient, work.exponent = absent, absent
    work.exponent_assumed = np.zeros(absent.size, dtype=np.bool_)
    return work


def run(batch: Batch, steps: Sequence[Step], kinds: Sequence[str] = FITTED_KINDS) -> Leakage:
    """Recompute every session of the kinds by the steps of a rule set; errors as in `follow`."""
    return leakage(follow(batch, steps, kinds))


def leakage(work: Work) -> Leakage:
    """What has been worked out of every session.

    Sessions of other kinds, and those without a usable point, come out as NaN with a note.
    """
    runs = _of_runs(work)
    sessions = of_sessions(work, runs)
    return Leakage(work.batch.run_offsets, _one_nan(sessions), _one_nan(runs), work.note_mask)


def _one_nan(columns: Mapping[str, NDArray[np.generic]]) -> dict[str, NDArray[np.generic]]:
    """The same columns with NaN in one bit pattern: its sign is a matter of chance."""
    return {name: _alike(column) if column.dtype.kind == "f" else column for name, column in columns.items()}


def _alike(column: NDArray[np.generic]) -> NDArray[np.generic]:
    absent = np.isnan(column)
    return np.where(absent, np.nan, column) if absent.any() else column


def step_faults(steps: Sequence[Step], file: str, kinds: Sequence[str] = FITTED_KINDS) -> list[Problem]:
    """What is wrong with a list of steps: names, order, keywords. Empty where all is well.

    A rule set that is only for kinds without readings has no steps, and must have none.
    """
    faults: list[Problem] = []
    order = list(STEPS)
    last = -1
    for number, step in enumerate(steps, 1):
        place = Place(file, column=f"step {number}")
        if step.name not in STEPS:
            cure = "Correct the name of the step."
            faults.append(
                Problem("rule-step", place, repr(step.name), "one of " + ", ".join(order), cure, blocks="file")
            )
            continue
        if order.index(step.name) <= last:
            expected = "steps in the order " + ", ".join(order)
            cure = "Move the step, or remove the second of its name."
            faults.append(Problem("rule-order", place, f"{step.name!r} too late", expected, cure, blocks="file"))
        last = max(last, order.index(step.name))
        faults += keyword_faults(STEPS[step.name], step.arguments, place)
    if not any(kind in FITTED_KINDS for kind in kinds):
        if steps:
            found, expected = f"{len(steps)} steps", "no steps, as " + ", ".join(kinds) + " holds no readings"
            cure = "Remove the steps."
            faults.append(Problem("rule-fit", Place(file), found, expected, cure, blocks="file"))
    elif not any(step.name in FITS for step in steps):
        cure = "Add the step that fits the readings."
        faults.append(Problem("rule-fit", Place(file), "no fit", "a step of " + ", ".join(FITS), cure, blocks="file"))
    return faults


def _of_runs(work: Work) -> dict[str, NDArray[np.generic]]:
    log_c, n = work.log_coefficient, work.exponent
    flow_50 = powerlaw.flow_m3_h(log_c, n, FLOW_PRESSURE_PA)
    flow_10 = powerlaw.flow_m3_h(log_c, n, LOW_FLOW_PRESSURE_PA)
    coefficient = powerlaw.from_log(log_c)
    determined = np.isfinite(coefficient) & np.isfinite(flow_10) & np.isfinite(flow_50)
    nothing = np.full(n.size, np.nan)
    half_n, half_50, slope_error, log_c_error, r2 = nothing, nothing, nothing, nothing, nothing
    if work.law is not None:
        law = work.law
        low, high = powerlaw.exponent_limits(law, work.confidence)
        half_n = (high - low) / 2.0
        half_50 = powerlaw.log_flow_half_width(law, FLOW_PRESSURE_PA, work.confidence)
        slope_error, log_c_error = law.exponent_standard_error, law.log_coefficient_standard_error
        r2 = law.correlation_r2
    fitted: dict[str, NDArray[np.generic]] = {
        "flow_coefficient_m3_h": coefficient,
        "coefficient_log_standard_error": log_c_error,
        "exponent": n,
        "exponent_standard_error": slope_error,
        "exponent_low": n - half_n,
        "exponent_high": n + half_n,
        "correlation_r2": r2,
        "flow_50_m3_h": flow_50,
        "flow_50_low_m3_h": flow_50 * powerlaw.from_log(-half_50),
        "flow_50_high_m3_h": flow_50 * powerlaw.from_log(half_50),
        "flow_10_m3_h": flow_10,
        "flow_4_m3_h": powerlaw.flow_m3_h(log_c, n, LEAKAGE_PRESSURE_PA),
    }
    columns: dict[str, NDArray[np.generic]] = {
        "direction": work.direction,
        "point_count": ragged.counts(work.line.offsets),
        "lowest_pressure_pa": work.once(ragged.minima, work.line.pressure_pa, work.line.offsets),
        "highest_pressure_pa": work.once(ragged.maxima, work.line.pressure_pa, work.line.offsets),
        "baseline_pressure_pa": work.baseline_pa,
        "exponent_assumed": work.exponent_assumed.astype(np.int8),
    }
    outside = {name: work.outside_calibration.get(name, nothing) for name in OUTSIDE_CALIBRATION}
    determined_only = {name: np.where(determined, column, np.nan) for name, column in fitted.items()}
    return columns | determined_only | work.excluded | outside
