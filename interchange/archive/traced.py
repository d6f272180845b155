"""What stored traces say of the sessions of a batch, for the best estimate in wind; sessions without pay nothing.

Points and baselines are those the record declares, found again in the trace (`matched`). Where two reference lines were
logged, their steadiest mean takes the place of the first. Traces are read once, session after session.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any

import numpy as np
import pyarrow as pa

from interchange.analysis import baseline, matched, ragged
from interchange.analysis.batch import Batch, Floats
from interchange.analysis.matched import Declared, Matched
from interchange.analysis.robust import PRIOR
from interchange.analysis.trace import on_clock
from interchange.analysis.traces import BLOCK_S, Fluctuations, Traced, first_line_share, fluctuations
from interchange.analysis.work import floats
from interchange.archive import tables
from interchange.archive.batches import Loaded, from_sessions
from interchange.archive.found_points import Found
from interchange.archive.snapshot import Snapshot
from interchange.model.question import Trace
from interchange.model.session import Session
from interchange.quantities import CHOICES

_SAMPLES_AT_ONCE = 1_000_000  # readings whose fluctuations are worked out together
_QUANTITIES = ("envelope_pressure_pa", "fan_pressure_pa")
_FITTING_SHARE = 0.5  # [1] of points that must be found, or the record is of another log
_RUN_FIELDS = tuple(f"{when}_{name}" for when in ("before", "after") for name in ("start_s", "pa", "s", "step_pa"))
_POINT_FIELDS = ("point_start_s", "point_step_pa", "point_pa")
_FLUCTUATIONS = ("turbulent_pa", "time_scale_s", "white_pa")

Told = Mapping[str, Any]  # a channel or a reference line, by the names of its fields


@dataclass(frozen=True, slots=True)
class Log:
    """House pressure at one or two lines [Pa], fan pressure [Pa], at equal steps; arrangements of the lines by name."""

    pressure_pa: tuple[Floats, ...]
    fan_pa: Floats
    step_s: float
    arrangements: tuple[str | None, ...]


def of_batch(snapshot: Snapshot, loaded: Loaded) -> Traced | None:
    """What the archive's traces say of the sessions of a batch; None where it has none that can be used."""
    if not snapshot.log.files["trace"]:
        return None
    place = {name: index for index, name in enumerate(loaded.session_ids.to_pylist())}
    where = {"session_id": list(place)}
    used: dict[str, Any] = {}
    for rows in snapshot.batches("session", ("session_id", "channels", "reference_lines"), where):
        lists = rows.filter(pa.compute.greater(pa.compute.list_value_length(rows["channels"]), 0))
        used |= {row["session_id"]: row for row in lists.to_pylist()}
    logs = (
        (place[name], log)
        for name, traces in _by_session(snapshot, used)
        if (log := log_of(used[name]["channels"], used[name]["reference_lines"], traces)) is not None
    )
    return of_logs(loaded.batch, logs)


def of_session(session: Session, traces: Sequence[Trace], found: Mapping[str, Found]) -> Traced | None:
    """What the traces of one session in hand say of it; `found` is what its log holds where it holds nothing else."""
    channels, lines = ([one.model_dump() for one in part] for part in (session.channels, session.reference_lines))
    log = log_of(channels, lines, traces)
    return None if log is None else of_logs(from_sessions([session], found=found).batch, [(0, log)])


def _by_session(snapshot: Snapshot, sessions: Mapping[str, Told]) -> Iterator[tuple[str, tuple[Trace, ...]]]:
    """Traces of sessions one by one, in the order in which they lie; those of one session lie together."""
    wanted = {
        one["channel_id"] for row in sessions.values() for one in row["channels"] if one["quantity"] in _QUANTITIES
    }
    if not wanted:
        return
    waiting: list[pa.RecordBatch] = []
    for rows in snapshot.batches("trace", where={"session_id": list(sessions), "channel_id": list(wanted)}):
        names = rows["session_id"].to_numpy(zero_copy_only=False)
        edges = [0, *(np.flatnonzero(names[1:] != names[:-1]) + 1), rows.num_rows]
        for first, after in pairwise(edges):
            if waiting and waiting[0]["session_id"][0].as_py() != names[first]:
                yield _joined(waiting)
                waiting = []
            waiting.append(rows.slice(first, after - first))
    if waiting:
        yield _joined(waiting)


def _joined(rows: list[pa.RecordBatch]) -> tuple[str, tuple[Trace, ...]]:
    return rows[0]["session_id"][0].as_py(), tables.traces(pa.Table.from_batches(rows))


def log_of(channels: Sequence[Told], lines: Sequence[Told], traces: Sequence[Trace]) -> Log | None:
    """The pressures and the one fan of a session at equal steps; None where one of them was not logged so."""
    held = {trace.channel_id: trace for trace in traces if trace.interval_s is not None and len(trace.values)}

    def of(quantity: str) -> list[Told]:
        return [one for one in channels if one["quantity"] == quantity and one["channel_id"] in held]

    order = {line["line_id"]: place for place, line in enumerate(lines)}
    pressures = sorted(of("envelope_pressure_pa"), key=lambda one: order.get(one["line_id"], len(order)))
    fans = of("fan_pressure_pa")
    if not pressures or len(fans) != 1:
        return None
    second = [one for one in pressures[1:] if one["line_id"] in order and one["line_id"] != pressures[0]["line_id"]]
    taken = (pressures[0], *second[:1])
    first = held[taken[0]["channel_id"]]
    clock = _seconds(first)
    series = [_at(clock, held[one["channel_id"]]) for one in (*taken, fans[0])]
    kinds = {line["line_id"]: line["arrangement"] for line in lines}
    step_s = float(first.interval_s or 1.0)
    return Log(tuple(series[:-1]), series[-1], step_s, tuple(kinds.get(one["line_id"]) for one in taken))


def _seconds(trace: Trace) -> Floats:
    return np.asarray(trace.start_s + np.arange(len(trace.values)) * (trace.interval_s or 0.0))


def _at(clock_s: Floats, trace: Trace) -> Floats:
    values = np.asarray(trace.values.to_numpy(zero_copy_only=False), dtype=np.float64)
    own = _seconds(trace)
    return values if np.array_equal(own, clock_s) else on_clock(clock_s, own, values)


@dataclass(slots=True)
class _Waiting:
    """Stretches of sessions whose fluctuations are still to be worked out, of one step."""

    sessions: list[int] = field(default_factory=list)
    stretches: list[list[Floats]] = field(default_factory=list)
    samples: int = 0


def of_logs(batch: Batch, logs: Iterable[tuple[int, Log]]) -> Traced | None:
    """What logs say of sessions, each with its place in the batch; None where they say nothing."""
    runs, points, sessions = batch.point_offsets.size - 1, batch.reading_offsets.size - 1, batch.run_offsets.size - 1
    found = {name: np.full(runs, np.nan) for name in _RUN_FIELDS}
    found |= {name: np.full(points, np.nan) for name in _POINT_FIELDS}
    noise = {name: np.full(sessions, np.nan) for name in _FLUCTUATIONS}
    facade_pa = np.full(sessions, np.nan)
    waiting: dict[float, _Waiting] = {}
    declared, some = _declared(batch), False
    for session, log in logs:
        stretches = _of_log(batch, session, log, declared, found, facade_pa)
        if not stretches:
            continue
        some = True
        here = waiting.setdefault(round(log.step_s, 3), _Waiting())
        here.sessions.append(session)
        here.stretches.append(stretches)
        here.samples += sum(part.size for part in stretches)
        if here.samples >= _SAMPLES_AT_ONCE:
            _worked_out(waiting.pop(round(log.step_s, 3)), log.step_s, noise)
    for step_s, rest in waiting.items():
        _worked_out(rest, step_s, noise)
    return Traced(fluctuations=Fluctuations(**noise), facade_pa=facade_pa, **found) if some else None


def _worked_out(held: _Waiting, step_s: float, noise: Mapping[str, Floats]) -> None:
    told = _fluctuations(held.stretches, step_s)
    for name in _FLUCTUATIONS:
        noise[name][held.sessions] = getattr(told, name)


def _fluctuations(stretches: Sequence[Sequence[Floats]], step_s: float) -> Fluctuations:
    flat = [part for one in stretches for part in one]
    return fluctuations(np.concatenate(flat), _ends(flat), _ends(stretches), step_s=step_s)


def _ends(parts: Sequence[Any]) -> Any:
    return np.cumsum([0, *(len(part) for part in parts)]).astype(np.int64)


def _declared(batch: Batch) -> Declared:
    """Points as a trace shows them: with the baseline that the source took off."""
    ends = (floats(batch.run[f"baseline_{when}_pressure_pa"]) for when in ("before", "after"))
    own = ragged.spread_out(baseline.mean_baseline_pa(*ends), batch.point_offsets)
    point = batch.point
    shown = floats(point["envelope_pressure_pa"]) + np.where(point["baseline_removed"] == 1, own, 0.0)
    alone = ragged.counts(batch.reading_offsets) == 1
    fan = np.full(alone.size, np.nan)
    fan[alone] = floats(batch.reading["fan_pressure_pa"])[batch.reading_offsets[:-1][alone]]
    seconds = floats(point["averaging_s"])
    seconds = np.where(np.isfinite(seconds), seconds, floats(point["sample_count"]))
    return Declared(shown, floats(point["envelope_pressure_spread_pa"]), fan, seconds)


def _of_log(
    batch: Batch, session: int, log: Log, declared: Declared, found: Mapping[str, Floats], facade_pa: Floats
) -> list[Floats]:
    """Fill in what one log says, and hand back its stretches; nothing where the record does not fit the log."""
    first_run, last_run = (int(place) for place in batch.run_offsets[session : session + 2])
    offsets = batch.point_offsets[first_run : last_run + 1]
    own = slice(int(offsets[0]), int(offsets[-1]))
    points = Declared(*(getattr(declared, name)[own] for name in ("pressure_pa", "spread_pa", "fan_pa", "seconds")))
    places = matched.match(log.pressure_pa[0], log.fan_pa, log.step_s, points)
    rests = _rests(places, offsets - offsets[0])
    if rests is None or np.mean(places.start >= 0) < _FITTING_SHARE:
        return []
    held = np.flatnonzero(places.start >= 0)
    spans = [(int(places.start[i]), int(places.stop[i])) for i in held] + list(rests.values())
    series = log.pressure_pa[0]
    if len(log.pressure_pa) > 1:
        series, facade_pa[session] = _of_two(log, spans)
    parts = [series[a:b] for a, b in spans]
    rows = own.start + held
    found["point_start_s"][rows] = log.step_s * places.start[held]
    found["point_step_pa"][rows] = [_change(part) for part in parts[: held.size]]
    if len(log.pressure_pa) > 1:
        found["point_pa"][rows] = [np.nanmean(part) for part in parts[: held.size]]
    for (run, when), (a, b), part in zip(rests, rests.values(), parts[held.size :], strict=True):
        values = (a * log.step_s, float(np.nanmean(part)), (b - a) * log.step_s, _change(part))
        for name, value in zip(("start_s", "pa", "s", "step_pa"), values, strict=True):
            found[f"{when}_{name}"][first_run + run] = value
    return parts


def _rests(places: Matched, offsets: Any) -> dict[tuple[int, str], tuple[int, int]] | None:
    """By run and when, the stretch in which the fan rested before and after its points; one between two runs is shared.

    None where no point was found, or runs do not follow each other.
    """
    found: dict[tuple[int, str], tuple[int, int]] = {}
    before_of: dict[int, tuple[int, str]] = {}
    last = 0
    for run in range(offsets.size - 1):
        here = places.start[offsets[run] : offsets[run + 1]]
        ends = places.stop[offsets[run] : offsets[run + 1]]
        if not (here >= 0).any():
            continue
        first, stop = int(here[here >= 0].min()), int(ends.max())
        if first < last:
            return None
        last = stop
        earlier = np.flatnonzero(places.rest_stop <= first)
        later = np.flatnonzero(places.rest_start >= stop)
        for when, rest in (("before", earlier[-1:]), ("after", later[:1])):
            for i in rest.tolist():
                a, b = int(places.rest_start[i]), int(places.rest_stop[i])
                if i in before_of:
                    found[before_of[i]], a = (a, (a + b) // 2), (a + b) // 2
                before_of[i] = (run, when)
                found[run, when] = (a, b)
    return found if last else None


def _of_two(log: Log, spans: Sequence[tuple[int, int]]) -> tuple[Floats, float]:
    """The steadiest mean of two lines, and W [Pa] as both of them tell it."""
    lines = [[part[a:b] for a, b in spans] for part in log.pressure_pa]
    whole = [np.concatenate(parts) for parts in lines]
    offsets, one = _ends(lines[0]), np.array([0, len(spans)])
    block = max(round(BLOCK_S / log.step_s), 1)
    share = float(first_line_share(whole[0], whole[1], offsets, one, block=block)[0])
    told = []
    for parts, arrangement in zip(lines, log.arrangements, strict=True):
        own = _fluctuations([parts], log.step_s)
        code = CHOICES["arrangement"].index(arrangement) if arrangement else -1
        told.append(PRIOR.facades.of(np.array([code]))[0] * np.hypot(own.turbulent_pa, own.white_pa))
    if not np.isfinite(share):
        share = 1.0
    return share * log.pressure_pa[0] + (1.0 - share) * log.pressure_pa[1], float(np.mean(told))


def _change(part: Floats) -> float:
    """Root mean square of the changes from one reading to the next [Pa]."""
    steps = np.diff(part)
    steps = steps[np.isfinite(steps)]
    return float(np.sqrt(np.mean(steps**2))) if steps.size else np.nan
