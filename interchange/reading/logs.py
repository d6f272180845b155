"""The table of a log to channels and traces: steps proven over the whole column, values whole columns at a time."""

from __future__ import annotations

from collections import Counter
from typing import Any

import pyarrow as pa
import pyarrow.compute as pc

from interchange.errors import Place, Problem
from interchange.model.manifest import Mapping
from interchange.model.question import Trace
from interchange.reading.collect import Collector
from interchange.reading.values import Texts

STEP_TOLERANCE_S = 1e-6
_FINEST_DIGITS = 6  # those of the tolerance
_WHOLE = "Export the log again, whole."


def steps(time_s: pa.Array, clock: Texts, file: str, found: Collector) -> tuple[float, float | None]:
    """Time of the first value and the even step between values [s]; the step is None where it is not proven.

    A missing time, a gap, a step back and a log of one row are problems at their row.
    """
    rows, column = clock.rows, clock.field.name
    if time_s.null_count:
        index = pc.index(pc.is_null(time_s), True).as_py()
        expected = "a time in every row of a log"
        found.add(
            Problem(
                "time-missing",
                Place(file, rows[index].as_py(), column),
                "no time",
                expected,
                "Restore the row from the original.",
                time_s.null_count,
                "session",
            )
        )
        return 0.0, None
    start: float = time_s[0].as_py()
    count = len(time_s)
    if count == 1:
        place, expected = Place(file, rows[0].as_py(), column), "at least two rows, which prove the step of the log"
        found.add(Problem("log-of-one-row", place, "a log of one row", expected, _WHOLE, blocks="session"))
        return start, None
    step = round((time_s[count - 1].as_py() - start) / (count - 1), 9)
    taken = pc.pairwise_diff(time_s, 1).slice(1)
    extremes = pc.min_max(taken).as_py()
    if extremes["min"] > 0 and extremes["max"] - extremes["min"] <= STEP_TOLERANCE_S:
        return start, step
    usual = _usual(taken, clock.cells)
    _uneven(taken, usual, time_s=time_s, rows=rows, place=Place(file, None, column), found=found)
    return start, None


def _usual(taken: pa.Array, texts: pa.Array) -> float:
    """The commonest step [s], rounded to as many decimals as most times of the file are written with."""
    decimals = Counter(len(text.strip().replace(",", ".").partition(".")[2]) for text in texts.to_pylist())
    most = max(decimals.values())
    for digits in (min(digits for digits, count in decimals.items() if count == most), _FINEST_DIGITS):
        step: float = pc.mode(pc.round(taken, digits))[0].as_py()["mode"]
        if step > 0:
            break
    return step


def _uneven(taken: pa.Array, usual: float, *, time_s: pa.Array, rows: pa.Array, place: Place, found: Collector) -> None:
    kinds: tuple[tuple[str, Any, str], ...] = (
        ("time-step-back", pc.less_equal(taken, 0.0), "a time later than that of the row before"),
        (
            "time-gap",
            pc.and_(pc.greater(taken, 0.0), pc.greater(pc.abs(pc.subtract(taken, usual)), STEP_TOLERANCE_S)),
            f"steps of {usual:g} s throughout, as between most rows",
        ),
    )
    for code, mask, expected in kinds:
        wrong = pc.indices_nonzero(mask)
        if len(wrong) == 0:
            continue
        index = wrong[0].as_py()
        before, after = time_s[index].as_py(), time_s[index + 1].as_py()
        found.add(
            Problem(
                code,
                Place(place.file, rows[index + 1].as_py(), place.column),
                f"{after:g} s after {before:g} s",
                expected,
                f"{_WHOLE[:-1]}; or give each stretch without a gap a file of its own.",
                len(wrong),
                "session",
            )
        )


def channel(
    session_id: str, field: Mapping, start_s: float, interval_s: float | None, values: pa.Array
) -> tuple[dict[str, Any], Trace]:
    """A channel as part of a session document, and its values."""
    channel_id = field.channel or field.name
    document: dict[str, Any] = {"channel_id": channel_id, "quantity": field.to, "start_s": start_s}
    document.update(sample_count=len(values), missing_count=values.null_count)
    joined = {"line_id": field.line, "gauge_id": field.gauge, "interval_s": interval_s}
    document.update({name: value for name, value in joined.items() if value is not None})
    return document, Trace(session_id, channel_id, start_s, interval_s, None, values)
