"""What is counted over many tests, and by what tests are grouped: conditions and columns in SQL, nothing else.

In a condition `c.NAME` is the level of a check (null unless it was evaluated), `v.USE` the verdict for a use, `e.NAME`
a column of the best estimates, all by the rule set that judges the test, and `s.NAME` a column of the test itself. A
condition that is null was not asked of the test, and the test does not count for it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from interchange.analysis.plain import WORTH_SAYING_PERCENT
from interchange.quantities import SUSPECT


@dataclass(frozen=True, slots=True)
class Measure:
    """One thing that is found of a test or not: its name, when it is found, and which tests are asked."""

    name: str
    words: str
    found: str
    asked: str


def _suspect(*checks: str) -> str:
    """One of some checks at least is suspect; null where none was evaluated (`greatest` passes over nulls)."""
    return f"greatest({', '.join(f'c.{name}' for name in checks)}) >= {SUSPECT}"


_APART = " or ".join(
    f"abs(e.robust_difference_{pressure:.0f}_percent) > {percent:g}"
    for pressure, percent in WORTH_SAYING_PERCENT.items()
)
_APART_WORDS = " or ".join(f"{percent:g} % at {pressure:g} Pa" for pressure, percent in WORTH_SAYING_PERCENT.items())
_SEVERAL = "tests of several points"

MEASURES: Final[dict[str, Measure]] = {
    one.name: one
    for one in (
        # a test of one point cannot tell wind from leakage, so its estimate never lies apart
        Measure(
            "differs_in_wind",
            f"Wind: the best estimate lies more than {_APART_WORDS} from the result",
            f"case when s.kind = 'multi_point' then {_APART} end",
            f"{_SEVERAL} with an estimate",
        ),
        Measure(
            "low_points_lost",
            "Lost low-pressure points: too near to baseline and wind, or too restless",
            _suspect("lowest_pressure", "low_pressure_spread"),
            f"{_SEVERAL} that could be judged so",
        ),
        Measure(
            "water_in_line",
            "Line faults: readings speak for water in the outdoor line",
            _suspect("water_in_line"),
            "tests with a baseline that could be judged, on a day known to be calm",
        ),
        Measure("strong_wind", "Strong wind at the test", _suspect("wind_strength"), "tests whose wind is told"),
        Measure(
            "baseline_moved",
            "Baseline restless, or moved from before to after",
            _suspect("baseline_shift", "baseline_spread"),
            "tests with two baselines or the spread of one",
        ),
        Measure("baseline_high", "Baseline large", _suspect("baseline_level"), "tests with a baseline"),
        Measure(
            "retest_advised",
            "A retest is advised for the flow at 50 Pa",
            "nullif(v.flow_at_50, 'cannot_tell') = 'retest_advised'",
            "tests that can be told good from bad",
        ),
    )
}
# The three questions of a programme; the others are there on request.
FIRST_ASKED: Final = ("differs_in_wind", "low_points_lost", "water_in_line")


@dataclass(frozen=True, slots=True)
class Group:
    """What tests are grouped by: the column or expression, and what has to be joined for it.

    `{kit}` and `{jobs}` in a join stand for what the registers say; the record goes first.
    """

    name: str
    column: str
    join: str = ""


def _of_list(view: str, column: str) -> str:
    """All values that a list of the test holds of a column, as one text by test."""
    text = f"string_agg(distinct {column}, ' + ' order by {column})"
    rows = f"select session_id, {text} as {column} from {view} group by 1"
    return f"left join ({rows}) {view} on {view}.session_id = s.session_id"


# The sender of a source is told by the delivery that brought it, in the newest row of the journal that names one.
_SENDER = """left join (
    select source_sha256, arg_max(sender, import_number) as sender from journal where sender is not null group by 1
) j on j.source_sha256 = s.source_sha256"""

_KIT = "\nleft join ({kit}) {alias} on {alias}.session_id = s.session_id"
_JOBS = "left join ({jobs}) jobs on jobs.job_id = s.job_id"

# Speeds at which Beaufort forces 2 and 4 begin, in m/s at 10 m (WMO No. 8, from memory). A reading near the ground, or
# of unknown place, is no force: its band is a group of its own. A word falls in a band with all forces it allows.
_WIND_BAND = """case
    when s.wind_speed_m_s is not null then
        case when s.wind_speed_m_s < 1.6 then 'calm' when s.wind_speed_m_s < 5.5 then 'light' else 'strong' end
        || case when s.wind_source = 'on_site_hand' then ', measured near the ground'
                when s.wind_source is null then ', measured at an unknown place' else '' end
    when s.wind_beaufort_high <= 1 then 'calm'
    when s.wind_beaufort_low >= 2 and s.wind_beaufort_high <= 3 then 'light'
    when s.wind_beaufort_high <= 3 then 'calm or light'
    when s.wind_beaufort_low > 3 then 'strong'
    when coalesce(s.wind_beaufort_low, s.wind_beaufort_high) is not null then 'light or strong' end"""

GROUPS: Final[dict[str, Group]] = {
    one.name: one
    for one in (
        Group("crew", "s.crew"),
        Group("sender", "j.sender", _SENDER),
        Group("contractor", "coalesce(s.contractor, jobs.contractor)", _JOBS),
        Group(
            "arrangement",
            "coalesce(nullif(reference_lines.arrangement, 'unknown'), arranged.arrangement)",
            _of_list("reference_lines", "arrangement") + _KIT.format(kit="{kit}", alias="arranged"),
        ),
        Group(
            "gauge",
            "coalesce(gauges.gauge_serial, carried.gauge_serial)",
            _of_list("gauges", "gauge_serial") + _KIT.format(kit="{kit}", alias="carried"),
        ),
        Group("building_type", "s.building_type"),
        Group("month", "strftime(s.started_at_local, '%Y-%m')"),
        Group("wind_band", _WIND_BAND),
    )
}
