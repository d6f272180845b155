"""What a check yields, and the few ways in which readings of runs become the value of a session."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import ragged
from interchange.analysis.batch import Batch, Codes, Floats, Ints
from interchange.analysis.leakage import FLOW_PRESSURE_PA, Leakage
from interchange.analysis.work import floats
from interchange.quantities import FAIL, MISSING, NOT_EVALUATED, PASS

Flags = NDArray[np.bool_]

# Why a check could not be made; the order is that of the codes in `Check.cause`.
CAUSES = (
    "",
    "kind_not_fitted",
    "no_result",
    "no_points",
    "too_few_points",
    "exponent_assumed",
    "direction_unknown",
    "baseline_unknown",
    "baseline_removed_by_source",
    "baseline_not_repeated",
    "spread_not_recorded",
    "no_low_points",
    "nothing_reported",
    "wind_not_recorded",
    "wind_perhaps_strong",
    "wind_place_unknown",
    "volume_unknown",
    "temperature_not_recorded",
    "windy",
    "wind_unknown",
    "wind_unknown_large_offset",
    "stack_unknown",
    "not_reported",
    "not_recorded",
    "scatter_not_reported",
    "not_a_house",
    "height_unknown",
    "calibration_range_unknown",
)


@dataclass(frozen=True, slots=True)
class Check:
    """One check of many sessions: level, what was found, what it was held against, effect on the flow at 50 Pa [%].

    `cause` tells why a check was not evaluated, as a code of CAUSES; `details` holds further numbers for people.
    """

    level: Codes
    value: Floats
    limit: Floats
    effect_percent: Floats
    cause: Codes
    details: Mapping[str, Floats] = field(default_factory=dict)

    def unless(self, sessions: Flags, cause: str) -> Check:
        """The same, but not evaluated for some sessions."""
        if not sessions.any():
            return self
        return replace(
            self,
            level=np.where(sessions, NOT_EVALUATED, self.level).astype(np.int8),
            cause=np.where(sessions, CAUSES.index(cause), self.cause).astype(np.int8),
        )


def judged(
    value: Floats,
    bad: Flags,
    *,
    when_bad: int = FAIL,
    when_unknown: int = NOT_EVALUATED,
    limit: float | Floats = np.nan,
    effect_percent: float | Floats = np.nan,
    unknown: Flags | None = None,
    cause: str | NDArray[np.str_] = "",
) -> Check:
    """A check whose value is known (not NaN) unless said otherwise; `cause` is given where it is not."""
    absent = np.isnan(value) if unknown is None else unknown
    if when_bad == MISSING:
        absent = np.zeros(value.size, dtype=np.bool_)
    level = np.where(absent, when_unknown, np.where(bad, when_bad, PASS)).astype(np.int8)
    return Check(
        level=level,
        value=value,
        limit=np.broadcast_to(np.asarray(limit, dtype=np.float64), value.shape),
        effect_percent=np.broadcast_to(np.asarray(effect_percent, dtype=np.float64), value.shape),
        cause=np.where(absent, cause_codes(cause), 0).astype(np.int8),
    )


def cause_codes(cause: str | NDArray[np.str_]) -> NDArray[np.int64]:
    """Codes of causes given as words."""
    words, inverse = np.unique(np.asarray(cause), return_inverse=True)
    return np.asarray(np.array([CAUSES.index(str(word)) for word in words])[inverse])


def known_least(values: Floats, offsets: Ints) -> Floats:
    """Least known value of each segment; NaN where none is known."""
    least = ragged.minima(np.where(np.isnan(values), np.inf, values), offsets)
    return np.where(np.isinf(least), np.nan, least)


def known_greatest(values: Floats, offsets: Ints) -> Floats:
    """Greatest known value of each segment; NaN where none is known."""
    return -known_least(-values, offsets)


def worst_run(leakage: Leakage, score: Floats, values: NDArray[np.generic]) -> Floats:
    """Of each session, the value of the run with the highest score; NaN where no score is known."""
    offsets = leakage.run_offsets
    highest = known_greatest(score, offsets)
    it = score == ragged.spread_out(highest, offsets)
    position = ragged.minima(np.where(it, np.arange(score.size), np.inf), offsets)
    found = np.isfinite(position)
    result = np.full(highest.size, np.nan)
    result[found] = floats(values)[position[found].astype(np.int64)]
    return result


def runs_with_points(batch: Batch) -> Flags:
    """Runs that hold any point at all."""
    return np.asarray(ragged.counts(batch.point_offsets) > 0)


def flow_effect_percent(leakage: Leakage, pressure_error_pa: Floats) -> Floats:
    """What a pressure error [Pa] at 50 Pa does to the flow [%]: n |x| / 50, to first order."""
    exponent = floats(leakage.session["exponent"])
    return np.asarray(100.0 * exponent * np.abs(pressure_error_pa) / FLOW_PRESSURE_PA)
