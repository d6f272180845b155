"""Faults of the record: what is written differs from what took place, seconds first, then the averaged record."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from .case import Case
from .faults import Fault, Planted
from .gauges import rounded
from .results import Run, Simulated, Trace


def faulty_seconds(
    faults: tuple[Planted, ...], pressure_pa: np.ndarray, fan_pa: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """Readings of each second (lines, seconds) and (seconds,) after channels were exchanged or signs turned."""
    if not any(each.kind in ("swapped channels", "wrong sign") for each in faults):
        return pressure_pa, fan_pa
    pressure_pa, fan_pa = pressure_pa.copy(), fan_pa.copy()
    for each in faults:
        for start, stop in each.spans_s:
            span = slice(int(start), int(stop))
            if each.kind == "wrong sign":
                pressure_pa[each.line, span] *= -1
            elif each.kind == "swapped channels":
                house = pressure_pa[each.line, span].copy()
                pressure_pa[each.line, span], fan_pa[span] = fan_pa[span], house
    return pressure_pa, fan_pa


def faulty_record(case: Case, faults: tuple[Planted, ...], record: Simulated) -> Simulated:
    """The record of a test after the faults of writing."""
    for each in faults:
        fault = each.fault
        touched = _runs(fault, len(record.runs))
        if fault.kind.startswith("baseline "):
            change = _baseline
        elif fault.kind == "wrong opening":
            change = _wrong_opening
        elif fault.kind == "clock shift":
            change, touched = _shifted, range(len(record.runs))
            trace = record.trace and replace(record.trace, time_s=record.trace.time_s + fault.size)
            record = replace(record, trace=trace)
        elif fault.kind == "duplicate":
            record = replace(record, repeated=_repeated(fault, record))
            continue
        else:
            continue
        runs = (change(run, fault, case) if i in touched else run for i, run in enumerate(record.runs))
        record = replace(record, runs=tuple(runs))
    return record


def _runs(fault: Fault, runs: int) -> range:
    return range(runs) if fault.run is None else range(fault.run, fault.run + 1)


def _baseline(run: Run, fault: Fault, case: Case) -> Run:
    line = fault.line
    if fault.kind == "baseline copied":
        changes = {}
        for name in ("pa", "spread_pa"):
            after = getattr(run, f"baseline_after_{name}").copy()
            after[line] = getattr(run, f"baseline_before_{name}")[line]
            changes[f"baseline_after_{name}"] = after
        return replace(run, **changes)
    both = ("before", "after") if run.baseline_after_seconds else ("before",)
    ends = {"whole": both, "baseline before": ("before",), "baseline after": ("after",)}[fault.during]
    changes = {}
    for end in ends:
        value, spread = (np.nan, np.nan) if fault.kind == "baseline missing" else (0.0, 0.0)
        for name, written in (("pa", value), ("spread_pa", spread)):
            array = getattr(run, f"baseline_{end}_{name}").copy()
            array[line] = written
            changes[f"baseline_{end}_{name}"] = array
    return replace(run, **changes)


def _wrong_opening(run: Run, fault: Fault, case: Case) -> Run:
    concerned = (fault.extra < 0) | (run.opening == int(fault.extra))
    claimed = run.opening + np.where(concerned, int(fault.size), 0)
    if claimed.min() < 0 or claimed.max() >= len(case.fan.openings_m3_h):
        raise ValueError(f"wrong opening: {claimed.tolist()}, the fan has {len(case.fan.openings_m3_h)} openings")
    openings = np.array(case.fan.openings_m3_h)
    ratio = openings[claimed] / openings[run.opening]
    return replace(
        run,
        opening=claimed,
        opening_coefficient_m3_h=run.opening_coefficient_m3_h * ratio,
        flow_m3_h=run.flow_m3_h * ratio,
    )


def _shifted(run: Run, fault: Fault, case: Case) -> Run:
    return replace(
        run,
        start_s=run.start_s + fault.size,
        baseline_before_start_s=run.baseline_before_start_s + fault.size,
        baseline_after_start_s=run.baseline_after_start_s + fault.size,
    )


def _repeated(fault: Fault, record: Simulated) -> Simulated:
    """A second record of the same readings; cut short, it has the first stations of each run and no baseline after."""
    runs = tuple(_copied(run, fault) for run in record.runs)
    trace = record.trace
    if trace is not None:
        kept = np.ones(len(trace.run), bool)
        if fault.size < 1:
            kept = np.any([_first(trace, i, len(run.target_pa)) for i, run in enumerate(runs)], axis=0)
        seconds = {name: getattr(trace, name)[..., kept] for name in Trace.__slots__ if name != "true_outside_pa"}
        seconds["true_outside_pa"] = trace.true_outside_pa[kept]
        for name in ("pressure_pa", "fan_pressure_pa"):
            seconds[name] = rounded(seconds[name], fault.extra)
        trace = Trace(**seconds)
    return replace(record, runs=runs, trace=trace, repeated=None)


def _first(trace: Trace, run: int, stations: int) -> np.ndarray:
    """Seconds of a run up to the end of so many stations."""
    last = np.flatnonzero((trace.run == run) & (trace.station == stations - 1))[-1]
    return (trace.run == run) & (np.arange(len(trace.run)) <= last)


def _copied(run: Run, fault: Fault) -> Run:
    stations = max(1, round(fault.size * len(run.target_pa)))
    changes = {}
    for name in Run.__slots__:
        value = getattr(run, name)
        if isinstance(value, np.ndarray) and not name.startswith("baseline"):
            value = value[..., :stations]
        if name in ("pressure_pa", "fan_pressure_pa", "baseline_before_pa", "baseline_after_pa"):
            value = rounded(value, fault.extra)
        changes[name] = value
    if fault.size < 1:
        nothing = np.full_like(run.baseline_after_pa, np.nan)
        changes |= {"baseline_after_pa": nothing, "baseline_after_spread_pa": nothing}
        changes |= {"baseline_after_seconds": 0.0, "baseline_after_start_s": float("nan")}
    return Run(**changes)
