"""Points of sessions that hold only a log: found in the traces each time they are needed, never stored.

A session is looked into where it is a fan test with traces of house pressure and of one fan, and no run of its own. One
that says anything of its runs itself is left as it is. What was recorded stays as recorded: the found runs stand in the
Batch and on the screen, and are marked there.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
import pyarrow as pa
import pyarrow.compute as pc

from interchange.analysis import declared, plateaus
from interchange.analysis.batch import Floats, Ints
from interchange.analysis.plateaus import Plateaus
from interchange.analysis.runs_of_trace import AFTER, BEFORE
from interchange.analysis.trace import LIMITS, PlateauLimits, on_clock
from interchange.archive import tables
from interchange.archive.snapshot import Snapshot
from interchange.model.question import Trace
from interchange.model.session import Channel, FanReading, Point, Run, Session

KINDS = ("single_point", "two_point", "multi_point")
SAMPLES_AT_ONCE = 2_000_000  # values of traces in memory together; one session may hold more
USUAL_FAN_EXPONENT = 0.5  # of flow with fan pressure where no calibration says: an orifice
CHANNELS = "channels.list.element.quantity"  # what `lacking` needs beside kind and runs
# Conditions that a log may tell where the session does not state them.
AIR = (
    *("indoor_temperature_c", "outdoor_temperature_c", "indoor_relative_humidity", "outdoor_relative_humidity"),
    "barometric_pressure_pa",
)
_PRESSURE, _FAN, _FLOW = "envelope_pressure_pa", "fan_pressure_pa", "flow_m3_h"


@dataclass(frozen=True, slots=True)
class Found:
    """Runs found in a log: those of all its tests, or of the first one where the others cannot be its repeats."""

    runs: tuple[Run, ...]
    baseline_count: int
    tests_in_log: int
    tests_left_out: int
    air: Mapping[str, float]

    @property
    def point_count(self) -> int:
        """Points of all runs."""
        return sum(len(run.points) for run in self.runs)


@dataclass(frozen=True, slots=True)
class Piece:
    """A stretch of a log, in seconds from the start of the session, that is a point or else a baseline; its mean."""

    start_s: float
    stop_s: float
    pressure_pa: float
    is_point: bool


@dataclass(frozen=True, slots=True)
class Logged:
    """Sessions with the runs found in their logs, as rows of the session part, and what was found."""

    rows: pa.RecordBatch
    found: Mapping[str, Found]


def lacking(rows: pa.RecordBatch) -> pa.Array:
    """Which rows of the session part are fan tests with a log and nothing else. Reads no trace."""
    quantities = rows["channels"].flatten()
    if not len(quantities):
        return pa.repeat(False, rows.num_rows)
    quantity = quantities.field("quantity")
    of_row = pc.list_parent_indices(rows["channels"])
    alone = pc.and_(pc.is_in(rows["kind"], pa.array(KINDS)), pc.equal(pc.list_value_length(rows["runs"]), 0))
    places = pa.array(np.arange(rows.num_rows))
    for names in ((_PRESSURE,), (_FAN, _FLOW)):
        with_it = of_row.filter(pc.is_in(quantity, pa.array(names)))
        alone = pc.and_(alone, pc.is_in(places, with_it.cast(places.type)))
    return alone


def logged(snapshot: Snapshot, rows: pa.RecordBatch) -> Iterator[Logged]:
    """The sessions of some rows with what their logs hold, a few at a time. Of the rows id and revision are read."""
    revisions = dict(zip(rows["session_id"].to_pylist(), rows["revision"].to_pylist(), strict=True))
    for sessions in _portions(snapshot.sessions(session_ids=list(revisions))):
        found = of_sessions(snapshot, sessions)
        filled = [(with_found(session, found.get(session.session_id)), session.session_id) for session in sessions]
        table = tables.session_rows((session, revisions[own]) for session, own in filled)
        yield Logged(table.combine_chunks().to_batches()[0], found)


def of_sessions(snapshot: Snapshot, sessions: Sequence[Session]) -> dict[str, Found]:
    """What is found in the logs of those sessions that hold nothing else, by id."""
    wanted = {session.session_id: session for session in sessions if is_lacking(session)}
    if not wanted:
        return {}
    traces: dict[str, list[Trace]] = {}
    names = {
        channel.channel_id
        for session in wanted.values()
        for channel in (*_used(session), *_telling(session))
        if channel
    }
    where = {"session_id": list(wanted), "channel_id": list(names)}
    table = pa.Table.from_batches(snapshot.batches("trace", where=where), tables.SCHEMAS["trace"])
    for session_id in wanted:
        traces[session_id] = list(tables.traces(table.filter(pc.equal(table["session_id"], session_id))))
    read = {name: in_log(session, traces[name]) for name, session in wanted.items()}
    return {name: found for name, found in read.items() if found.runs}


def is_lacking(session: Session) -> bool:
    """Whether a session is a fan test with a log and nothing else."""
    pressure, fan, flow = _used(session)
    return session.kind in KINDS and not session.runs and pressure is not None and (fan or flow) is not None


def with_found(session: Session, found: Found | None) -> Session:
    """The session with the runs that were found in its log, and the conditions that only its log tells."""
    if found is None:
        return session
    conditions = session.conditions.model_copy(update=dict(found.air))
    return session.model_copy(update={"runs": found.runs, "conditions": conditions})


def in_log(session: Session, traces: Sequence[Trace], *, limits: PlateauLimits = LIMITS) -> Found:
    """What the traces of a session show, whatever runs it holds of its own.

    Flows are means of the flows of each reading. The fan pressure of a point, its zero taken off, is the one that
    yields the mean flow by the calibration, (mean of p^m)^(1/m) with its exponent m (0.5 for a table): so a point
    calibrated afterwards has the flow that its seconds have in the mean. It belongs to a calibration only if all of
    the session's are for one opening of one fan. Baselines between the points of a run are not used, nor are more than
    the longest before and after it. Temperatures, humidities and air pressure that the session does not state are the
    means of their channels from the first to the last piece that is used.
    """
    log = _Log.of(session, traces)
    if log is None:
        return Found((), 0, 0, 0, {})
    pieces = plateaus.find(log.time_s, log.pressure_pa, log.fan_pa, log.flow_m3_h, limits=limits)
    points = log.readings(pieces)
    signal = np.array([reading.flow_m3_h or np.sqrt(max(reading.fan_pressure_pa or 0.0, 0.0)) for reading in points])
    repeats = plateaus.are_repeats(pieces, signal)
    kept = pieces.run[pieces.points] if repeats else pieces.run[pieces.points & (pieces.test == 1)]
    runs = tuple(_run(pieces, int(number), points) for number in np.unique(kept))
    tests = int(pieces.test.max(initial=0))
    within = np.isin(pieces.run, kept)
    used = [run.baseline_before_pressure_pa is not None for run in runs]
    used += [run.baseline_after_pressure_pa is not None for run in runs]
    air = _air(session, traces, log.time_s[pieces.start[within]], log.time_s[pieces.stop[within] - 1])
    return Found(runs, sum(used), tests, 0 if repeats else tests - 1, air)


def pieces_in_log(session: Session, traces: Sequence[Trace], *, limits: PlateauLimits = LIMITS) -> list[Piece]:
    """Every baseline and point that the traces of a fan test show, in order of time; empty where they tell none."""
    log = _Log.of(session, traces)
    if log is None:
        return []
    found = plateaus.find(log.time_s, log.pressure_pa, log.fan_pa, log.flow_m3_h, limits=limits)
    ends = log.time_s[found.start].tolist(), log.time_s[found.stop - 1].tolist()
    return [Piece(*one) for one in zip(*ends, found.pressure_pa.tolist(), found.points.tolist(), strict=True)]


def samples(trace: Trace) -> tuple[Floats, Floats]:
    """Seconds from the start of the session, and values, of a trace; NaN where missing."""
    return _seconds(trace), _values(trace)


def against_declared(
    session: Session, traces: Sequence[Trace], *, limits: PlateauLimits = LIMITS
) -> declared.Agreement:
    """Points that the session declares, held against those found in its log; see `declared.agreement`."""

    def of(points: Sequence[Point], name: str) -> Floats:
        return np.array([getattr(point, name) for point in points], dtype=np.float64)

    own = [point for run in session.runs for point in run.points if point.envelope_pressure_pa is not None]
    found = [point for run in in_log(session, traces, limits=limits).runs for point in run.points]
    names = ("envelope_pressure_pa", "envelope_pressure_spread_pa", "averaging_s")
    pressure, spread, seconds = (of(own, name) for name in names)
    return declared.agreement(pressure, spread, seconds, of(found, names[0]))


@dataclass(frozen=True, slots=True)
class _Log:
    """House pressure [Pa] and fan of one session at the seconds of the house pressure."""

    session: Session
    time_s: Floats
    pressure_pa: Floats
    fan_pa: Floats | None
    flow_m3_h: Floats | None

    @classmethod
    def of(cls, session: Session, traces: Sequence[Trace]) -> _Log | None:
        by_name = {trace.channel_id: trace for trace in traces}
        pressure, fan, flow = (by_name.get(one.channel_id) if one else None for one in _used(session))
        if pressure is None or (fan or flow) is None:
            return None
        clock = _seconds(pressure)
        fan_pa, flow_m3_h = (
            None if one is None else on_clock(clock, _seconds(one), _values(one)) for one in (fan, flow)
        )
        return cls(session, clock, _values(pressure), fan_pa, flow_m3_h)

    def readings(self, pieces: Plateaus) -> list[FanReading]:
        """The fan at each plateau."""
        fans, calibrations = self.session.fans, self.session.fan_calibrations
        one_opening = len({(one.fan_id, one.fan_configuration) for one in calibrations}) == 1
        law = calibrations[0].fan_exponent if one_opening else None
        absent = np.full(pieces.start.size, np.nan)
        zero = pieces.fan_zero if np.isfinite(pieces.fan_zero) else 0.0
        exponent = law or USUAL_FAN_EXPONENT
        fan = absent if self.fan_pa is None else plateaus.means(pieces, self.fan_pa, exponent, zero)
        flow = absent if self.flow_m3_h is None else plateaus.means(pieces, self.flow_m3_h)
        readings = []
        for pressure, stream in zip(fan.tolist(), flow.tolist(), strict=True):
            index = self._calibration(pressure) if one_opening else None
            readings.append(
                FanReading(
                    fan_id=calibrations[0].fan_id if one_opening else fans[0].fan_id if len(fans) == 1 else "1",
                    fan_configuration=calibrations[0].fan_configuration if one_opening else None,
                    fan_pressure_pa=_there(pressure),
                    flow_m3_h=_there(stream),
                    calibration_index=index,
                )
            )
        return readings

    def _calibration(self, fan_pa: float) -> int | None:
        """The range of the calibration that a fan pressure lies in; the only one holds for every pressure."""
        ranges = self.session.fan_calibrations
        if len(ranges) == 1:
            return 0
        for index, one in enumerate(ranges):
            least, greatest = one.minimum_fan_pressure_pa or 0.0, one.maximum_fan_pressure_pa or np.inf
            if least <= fan_pa <= greatest:
                return index
        return None


def _portions(sessions: Iterator[Session]) -> Iterator[list[Session]]:
    portion: list[Session] = []
    samples = 0
    for session in sessions:
        more = sum(channel.sample_count for channel in _used(session) if channel)
        if portion and samples + more > SAMPLES_AT_ONCE:
            yield portion
            portion, samples = [], 0
        portion.append(session)
        samples += more
    if portion:
        yield portion


def _used(session: Session) -> tuple[Channel | None, Channel | None, Channel | None]:
    """House pressure at the first reference line, and pressure and flow of the fan; not of several fans."""

    def of(quantity: str) -> list[Channel]:
        return [channel for channel in session.channels if channel.quantity == quantity]

    first = session.reference_lines[0].line_id if session.reference_lines else None
    pressures, fans, flows = of(_PRESSURE), of(_FAN), of(_FLOW)
    at_first = [channel for channel in pressures if channel.line_id == first]
    if len(fans) > 1 or len(flows) > 1:
        return None, None, None
    return next(iter([*at_first, *pressures]), None), next(iter(fans), None), next(iter(flows), None)


def _telling(session: Session) -> list[Channel]:
    """Channels of the air that the session says nothing of itself; not one of several for one quantity."""
    counts = Counter[str](channel.quantity for channel in session.channels)
    lacking = [name for name in AIR if getattr(session.conditions, name) is None and counts[name] == 1]
    return [channel for channel in session.channels if channel.quantity in lacking]


def _air(session: Session, traces: Sequence[Trace], starts_s: Floats, stops_s: Floats) -> dict[str, float]:
    by_name = {trace.channel_id: trace for trace in traces}
    found: dict[str, float] = {}
    for channel in _telling(session):
        trace = by_name.get(channel.channel_id)
        if trace is None or not starts_s.size:
            continue
        seconds, values = _seconds(trace), _values(trace)
        here = values[(seconds >= starts_s.min()) & (seconds <= stops_s.max()) & np.isfinite(values)]
        if here.size:
            found[channel.quantity] = float(here.mean())
    return found


def _seconds(trace: Trace) -> Floats:
    if trace.time_s is not None:
        return np.asarray(trace.time_s.to_numpy(zero_copy_only=False), dtype=np.float64)
    return np.asarray(trace.start_s + np.arange(len(trace.values)) * (trace.interval_s or 0.0))


def _values(trace: Trace) -> Floats:
    return np.asarray(trace.values.to_numpy(zero_copy_only=False), dtype=np.float64)


def _there(value: float) -> float | None:
    return float(value) if np.isfinite(value) else None


def _run(pieces: Plateaus, number: int, readings: Sequence[FanReading]) -> Run:
    here = pieces.run == number
    baselines = {
        f"baseline_{word}_{name}": value
        for word, when in (("before", BEFORE), ("after", AFTER))
        for name, value in _baseline(pieces, np.flatnonzero(here & (pieces.when == when) & ~pieces.points)).items()
    }
    sign = pieces.direction[here][0]
    points = tuple(
        Point(
            point_number=place,
            envelope_pressure_pa=float(pieces.pressure_pa[piece]),
            envelope_pressure_spread_pa=_there(pieces.pressure_spread_pa[piece]),
            sample_count=int(pieces.count[piece]),
            averaging_s=float(pieces.seconds[piece]),
            baseline_removed=False if baselines else None,
            fan_readings=(readings[piece],),
        )
        for place, piece in enumerate(np.flatnonzero(here & pieces.points).tolist(), 1)
    )
    direction = "depressurisation" if sign < 0 else "pressurisation"
    return Run.model_validate({"run_number": number, "direction": direction, **baselines, "points": points})


def _baseline(pieces: Plateaus, candidates: Ints) -> dict[str, object]:
    if not candidates.size:
        return {}
    longest = candidates[pieces.seconds[candidates].argmax()]
    return {
        "pressure_pa": float(pieces.pressure_pa[longest]),
        "spread_pa": _there(pieces.pressure_spread_pa[longest]),
        "count": int(pieces.count[longest]),
        "duration_s": float(pieces.seconds[longest]),
    }
