"""What two reference lines side by side tell, in words for a crew and for somebody who doubts it."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

Limits = tuple[float, float, float]
HONEST = (
    "Spread is not accuracy: a line can be calm and wrong. Two lines alone do not tell which of them reads the true "
    "pressure; what both have in common, the wind moving the pressure inside too, is in neither comparison."
)
_LEFT_OUT = {
    "not_monitoring": "a test with the fan; lines are compared in records with the fan off",
    "one_line": "only one reference line was recorded",
    "no_overlap": "the lines were not read at the same time",
}


@dataclass(frozen=True, slots=True)
class Said:
    """What is known of one comparison; limits are value, lower and upper 95 % limit, NaN where not told."""

    names: tuple[str, str]
    ends: tuple[str, str]
    minutes: float
    wind_m_s: float
    wind_is: str | None
    spreads_pa: tuple[float, float]
    ratio: Limits
    difference_pa: Limits
    slow: Limits
    offset: Limits | None
    offset_told: bool
    notes: tuple[str, ...]
    plan: tuple[float, float] | None


def left_out_words(name: str, why: str) -> str:
    """Why a record was not compared."""
    return f"{name}: {_LEFT_OUT[why]}"


def sentences(said: Said) -> Iterator[str]:
    """The comparison in plain sentences, the honest one last."""
    first, second = said.names
    yield f"Outdoor ends: {first}, {said.ends[0]}. {second}, {said.ends[1]}."
    wind = "wind unknown" if math.isnan(said.wind_m_s) else f"mean wind {said.wind_m_s:.1f} m/s{_WIND[said.wind_is]}"
    yield f"{said.minutes:.0f} min of both lines, {wind}."
    yield from said.notes
    yield _spread(said)
    yield _difference(said)
    yield _follows(said)
    if said.offset is not None:
        yield _clock(said.offset, said.offset_told)
    if said.plan is not None:
        yield _plan(*said.plan, said)
    yield HONEST


_WIND = {"own": " by this record", "station": " at a weather station", None: ""}


def _spread(said: Said) -> str:
    value, low, high = said.ratio
    first, second = said.names
    if math.isnan(said.spreads_pa[0]):
        return "Too few readings of both lines at the same moment to compare their spread."
    readings = (
        f"Readings of {first} spread by {said.spreads_pa[0]:.2f} Pa, those of {second} by {said.spreads_pa[1]:.2f} Pa"
    )
    if math.isnan(low):
        return f"{readings}: one of them hardly moves, so no ratio is given. Look whether that line is blocked."
    limits = f"{value:.2f} times as much, 95 % limits {low:.2f} to {high:.2f}"
    if high < 1.0:
        return f"{readings} ({limits}): {second} is the calmer line."
    if low > 1.0:
        return f"{readings} ({limits}): {first} is the calmer line."
    return f"{readings} ({limits}): which line is calmer cannot be told from this record."


def _difference(said: Said) -> str:
    value, low, high = said.difference_pa
    if math.isnan(value):
        return "The mean difference of the lines cannot be told."
    limits = f"95 % limits {low:+.2f} to {high:+.2f} Pa"
    words = f"On average {said.names[1]} reads {value:+.2f} Pa against {said.names[0]} ({limits})"
    if low <= 0.0 <= high:
        return f"{words}: no lasting difference is shown."
    return f"{words}: the lines differ lastingly, by their ends or by the zero of the gauge."


def _follows(said: Said) -> str:
    value, low, high = said.slow
    if math.isnan(value):
        return (
            "Whether the lines follow the same slow changes cannot be told: too few minutes, or one line stands still."
        )
    limits = f"correlation of minutes {value:.2f}, 95 % limits {low:.2f} to {high:.2f}"
    if low > 0.5:
        return f"Both lines follow the same slow changes ({limits})."
    if high < 0.5:
        return (
            f"The lines hardly follow the same slow changes ({limits}): the calmer one may be blocked, or the ends "
            "feel different winds."
        )
    return f"Whether both lines follow the same slow changes is open ({limits})."


def _clock(offset: Limits, told: bool) -> str:
    value, low, high = offset
    if not told:
        return "How far the clock of the weather record is off cannot be told from the wind that both have seen."
    way = "ahead of" if value > 0 else "behind"
    return (
        f"The clock of the weather record is {abs(value):.0f} s {way} that of the gauge (95 % limits {low:+.0f} to "
        f"{high:+.0f} s)."
    )


def _plan(ratio: float, minutes: float, said: Said) -> str:
    if math.isnan(minutes):
        return f"How long to measure to see a ratio of {ratio:g} cannot be told from this record."
    wind = "wind like this" if math.isnan(said.wind_m_s) else f"wind like this ({said.wind_m_s:.1f} m/s)"
    return (
        f"To see a ratio of {ratio:g} in {wind}, with four chances in five: about {max(1.0, minutes):,.0f} min of both "
        "lines."
    )
