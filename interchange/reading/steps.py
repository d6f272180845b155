"""How the times of a log step: proven over the whole column, or a problem where they do not."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any, TypeAlias

import pyarrow as pa
import pyarrow.compute as pc

from interchange.errors import Place, Problem
from interchange.reading.collect import Collector
from interchange.reading.series import Series, pieces

STEP_TOLERANCE_S = 1e-6
_GAP = 1.5  # so many usual steps between two records are a gap in a log whose steps may differ
_WHOLE = "Export the log again, whole."
_FINEST_DIGITS = 6  # those of the tolerance

Times: TypeAlias = pa.Array | Series


@dataclass(frozen=True, slots=True)
class Steps:
    """Time of the first value, and the even step between values [s]; where there is none, every value's own time."""

    start_s: float
    interval_s: float | None
    time_s: Times | None = None


def proven(time_s: Times, rows: Times, place: Place, found: Collector, *, uneven: bool) -> Steps:
    """The steps of a log. A missing time, a gap, a step back and a log of one row are problems at their row.

    Where steps may differ (`uneven`), a gap is a note and every value keeps its own time.
    """
    count = len(time_s)
    if count == 0:
        return Steps(0.0, None)
    if time_s.null_count:
        index = next(
            first + pc.index(pc.is_null(part), True).as_py() for first, part in pieces(time_s) if part.null_count
        )
        expected, cure = "a time in every row of a log", "Restore the row from the original."
        at = _at(place, rows, index)
        found.add(Problem("time-missing", at, "no time", expected, cure, time_s.null_count, "session"))
        return Steps(0.0, None)
    start = _value(time_s, 0)
    if count == 1:
        if uneven:
            return Steps(start, None, time_s)
        expected = "at least two rows, which prove the step of the log"
        at = _at(place, rows, 0)
        found.add(Problem("log-of-one-row", at, "a log of one row", expected, _WHOLE, blocks="session"))
        return Steps(start, None)
    step = round((_value(time_s, count - 1) - start) / (count - 1), 9)
    least, greatest = _extremes(time_s)
    if least > 0 and greatest - least <= STEP_TOLERANCE_S:
        return Steps(start, step)
    _report(time_s, rows, place, found, uneven=uneven)
    return Steps(start, None, time_s if uneven else None)


def _value(values: Times, index: int) -> float:
    value: float = values.slice(index, 1)[0].as_py()
    return value


def _at(place: Place, rows: Times, index: int) -> Place:
    return Place(place.file, int(_value(rows, index)), place.column)


def _differences(time_s: Times) -> Any:
    """Steps of each stretch with the position of the first; stretches overlap by one value."""
    for first, stretch in pieces(time_s):
        part = time_s.slice(first, len(stretch) + 1)
        if len(part) > 1:
            yield first, part, pc.pairwise_diff(part, 1).slice(1)


def _extremes(time_s: Times) -> tuple[float, float]:
    ends = [pc.min_max(taken).as_py() for _, _, taken in _differences(time_s)]
    return min(end["min"] for end in ends), max(end["max"] for end in ends)


def _usual(time_s: pa.Array, taken: pa.Array) -> float:
    """The commonest step above zero [s], in as many decimals as most times have."""
    forward = taken.filter(pc.greater(taken, 0.0))
    if len(forward) == 0:
        return 0.0
    for digits in (_digits(time_s), _FINEST_DIGITS):
        step: float = pc.mode(pc.round(forward, digits))[0].as_py()["mode"]
        if step > 0.0:
            break
    return step


def _digits(time_s: pa.Array) -> int:
    """Decimals that are enough for more than half of the times."""
    for digits in range(_FINEST_DIGITS):
        if 2 * pc.sum(pc.equal(pc.round(time_s, digits), time_s)).as_py() > len(time_s):
            return digits
    return _FINEST_DIGITS


def _report(time_s: Times, rows: Times, place: Place, found: Collector, *, uneven: bool) -> None:
    usual: float | None = None
    for first, part, taken in _differences(time_s):
        usual = _usual(part, taken) if usual is None else usual
        off = pc.greater(pc.abs(pc.subtract(taken, usual)), STEP_TOLERANCE_S)
        if uneven:
            off = pc.greater(taken, _GAP * usual)
        for code, mask, expected in (
            ("time-step-back", pc.less_equal(taken, 0.0), "a time later than that of the row before"),
            (
                "time-gap",
                pc.and_(pc.greater(taken, 0.0), off),
                f"steps of {usual:g} s throughout, as between most rows",
            ),
        ):
            wrong = pc.indices_nonzero(mask)
            if len(wrong) == 0:
                continue
            index = wrong[0].as_py()
            before, after = part[index].as_py(), part[index + 1].as_py()
            note = uneven and code == "time-gap"
            found.add(
                Problem(
                    code,
                    _at(place, rows, first + index + 1),
                    f"{after:.9g} s after {before:.9g} s",
                    expected,
                    "Nothing need be done: each record keeps its own time."
                    if note
                    else f"{_WHOLE[:-1]}; or give each stretch without a gap a file of its own.",
                    len(wrong),
                    "note" if note else "session",
                )
            )
