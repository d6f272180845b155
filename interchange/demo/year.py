"""A year of the programme: contractors, crews, what each crew carried when, houses, jobs.

Every name, number and house here is made up.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta

from interchange.demo.kit import Fan, Gauge, Line, Opening
from interchange.demo.programme import (
    ALL_SIDES,
    BRANCHED,
    HARROW_FAN,
    HARROW_FAN_2,
    HARROW_GAUGE,
    HARROW_GAUGE_2,
    OPEN_WEST,
    OSTREL_FAN,
    OSTREL_GAUGE,
    QUILLBY_FAN,
    QUILLBY_GAUGE,
    SHELTERED,
    House,
)
from interchange.demo.visit import generator

FIRST_DAY, LAST_DAY = date(2025, 3, 1), date(2026, 2, 28)
PASS_PER_H = 5.0  # air changes at 50 Pa that the programme asks for after the work
VALID = timedelta(days=365)  # of a fan's calibration

CREWS = {
    "O1": "Ostrel Retrofit",
    "O2": "Ostrel Retrofit",
    "Q1": "Quillby Home Energy",
    "Q2": "Quillby Home Energy",
    "C1": "Harrow Insulation",
    "C2": "Harrow Insulation",
}


@dataclass(frozen=True, slots=True)
class Kit:
    """What a crew carried from a day to a day, and how it laid its reference line."""

    crew: str
    first: date
    last: date
    gauge: Gauge
    fan: Fan
    line: Line

    @property
    def late(self) -> bool:
        """Whether the fan's calibration had run out on the first day."""
        return self.first > due_on(self.fan)


def _openings(names: tuple[str, str, str], full: float, half: float, quarter: float) -> tuple[Opening, ...]:
    return (
        Opening(names[0], full, 0.500, 10.0, 90.0),
        Opening(names[1], half, 0.505, 15.0, 220.0),
        Opening(names[2], quarter, 0.507, 15.0, 220.0),
    )


_ENGLISH, _GERMAN = ("full", "half", "quarter"), ("offen", "A", "B")

OSTREL_FAN_BEFORE = replace(
    OSTREL_FAN, calibrated_on=date(2024, 8, 22), openings=_openings(_ENGLISH, 496.2, 172.9, 58.9), gain=0.9986
)
OSTREL_GAUGE_2 = Gauge("21", date(2025, 1, 15), 1.0008)
OSTREL_FAN_2 = Fan("9", date(2025, 1, 15), _openings(_ENGLISH, 490.4, 171.1, 58.3), 1.0022)
QUILLBY_FAN_BEFORE = replace(
    QUILLBY_FAN, calibrated_on=date(2024, 11, 6), openings=_openings(_ENGLISH, 490.1, 170.6, 58.2), gain=1.0046
)
QUILLBY_GAUGE_2 = Gauge("G-2209", date(2025, 2, 4), 0.9989)
QUILLBY_FAN_2 = Fan("F-2214", date(2025, 2, 4), _openings(_ENGLISH, 494.3, 172.0, 58.6), 0.9971)
HARROW_FAN_BEFORE = replace(
    HARROW_FAN, calibrated_on=date(2024, 5, 14), openings=_openings(_ENGLISH, 493.1, 171.5, 58.5), gain=1.0012
)
HARROW_GAUGE_3 = Gauge("G-0601", date(2024, 11, 3), 1.0011)
HARROW_FAN_3 = Fan("F-0611", date(2024, 11, 3), _openings(_GERMAN, 489.6, 170.9, 58.2), 0.9978)
HARROW_FAN_LATE = Fan("F-0088", date(2022, 6, 14), _openings(_ENGLISH, 491.7, 171.2, 58.3), 1.0480)  # has drifted

KITS = (
    Kit("O1", FIRST_DAY, date(2025, 8, 19), OSTREL_GAUGE, OSTREL_FAN_BEFORE, OPEN_WEST),
    Kit("O1", date(2025, 8, 20), LAST_DAY, OSTREL_GAUGE, OSTREL_FAN, OPEN_WEST),
    Kit("O2", FIRST_DAY, date(2026, 1, 14), OSTREL_GAUGE_2, OSTREL_FAN_2, OPEN_WEST),
    Kit("O2", date(2026, 1, 15), LAST_DAY, OSTREL_GAUGE, OSTREL_FAN, OPEN_WEST),
    Kit("Q1", FIRST_DAY, date(2025, 11, 3), QUILLBY_GAUGE, QUILLBY_FAN_BEFORE, BRANCHED),
    Kit("Q1", date(2025, 11, 4), LAST_DAY, QUILLBY_GAUGE, QUILLBY_FAN, BRANCHED),
    Kit("Q2", FIRST_DAY, date(2026, 1, 31), QUILLBY_GAUGE_2, QUILLBY_FAN_2, SHELTERED),
    Kit("Q2", date(2026, 2, 1), LAST_DAY, QUILLBY_GAUGE, QUILLBY_FAN, SHELTERED),
    Kit("C1", FIRST_DAY, date(2025, 9, 2), HARROW_GAUGE_3, HARROW_FAN_3, ALL_SIDES),
    Kit("C1", date(2025, 9, 3), LAST_DAY, HARROW_GAUGE_2, HARROW_FAN_2, ALL_SIDES),
    Kit("C2", FIRST_DAY, date(2025, 5, 11), HARROW_GAUGE, HARROW_FAN_BEFORE, BRANCHED),
    Kit("C2", date(2025, 5, 12), date(2025, 8, 31), HARROW_GAUGE, HARROW_FAN, BRANCHED),
    Kit("C2", date(2025, 9, 1), date(2025, 12, 14), HARROW_GAUGE, HARROW_FAN_LATE, BRANCHED),
    Kit("C2", date(2025, 12, 15), LAST_DAY, HARROW_GAUGE, HARROW_FAN, BRANCHED),
)


def kit_of(crew: str, day: date) -> Kit:
    """What a crew carried on a day. Raises StopIteration on a day without kit."""
    return next(kit for kit in KITS if kit.crew == crew and kit.first <= day <= kit.last)


def due_on(fan: Fan) -> date:
    """When a fan's calibration had to be renewed."""
    return fan.calibrated_on + VALID


@dataclass(frozen=True, slots=True)
class Job:
    """A house to be made tighter, by whom, and when its tests were expected."""

    job_id: str
    house: House
    crew: str
    days: tuple[tuple[str, date], ...]  # stage and expected day

    @property
    def contractor(self) -> str:
        """The contractor whose crew it is."""
        return CREWS[self.crew[:2]]  # O1b is another crew of the kind of O1

    @property
    def target_m3_h(self) -> float:
        """Flow at 50 Pa [m3/h] that the programme asks for after the work."""
        return PASS_PER_H * self.house.volume_m3


def house(site_id: str, elevation_m: float = 120.0) -> House:
    """A house whose figures hang on its name alone."""
    rng = generator(f"house {site_id}")
    tall = bool(rng.random() < 0.6)
    volume_m3 = float(rng.integers(210, 420))
    before_per_h = rng.uniform(6.2, 9.6)
    return House(
        site_id,
        volume_m3,
        round(volume_m3 / 2.5, 1),
        round(float(rng.uniform(4.9, 5.6) if tall else rng.uniform(2.6, 2.9)), 1),
        round(float(before_per_h * volume_m3), 0),
        round(float(rng.uniform(0.620, 0.685)), 3),
        envelope_m2=round(6.0 * volume_m3 ** (2.0 / 3.0) * 1.12, 1),
        elevation_m=elevation_m,
        ceiling=round(float(rng.uniform(0.14, 0.26)), 2),
        floor=round(float(rng.uniform(0.08, 0.16)), 2),
        left_interim=0.8,
        left_after=round(float(rng.uniform(0.50, 0.74)), 2),
    )


def working(day: date) -> date:
    """The day itself, or the Monday after a weekend."""
    return day + timedelta(days=max(0, 7 - day.weekday()) if day.weekday() >= 5 else 0)


def at(day: date, text: str) -> datetime:
    """Time of day on the slot that a text draws: crews test between 8:50 and 15:50."""
    minutes = 8 * 60 + 50 + 5 * int(generator(f"clock {text}").integers(0, 84))
    return datetime(day.year, day.month, day.day) + timedelta(minutes=minutes)


def jobs(crew: str, ids: list[tuple[str, str]], first: date, last: date) -> list[Job]:
    """Jobs of a crew, their first visits evenly over a span of days, the last visit some weeks later.

    `ids` are job and site. A job whose last visit would fall beyond the year has none yet.
    """
    made = []
    for number, (job_id, site_id) in enumerate(ids):
        before = working(first + (last - first) * number // max(1, len(ids) - 1))
        after = working(before + timedelta(days=int(generator(f"work {job_id}").integers(24, 60))))
        days = (("before", before), ("after", after)) if after <= LAST_DAY else (("before", before),)
        made.append(Job(job_id, house(site_id), crew, days))
    return made


def slots(made: Iterable[Job]) -> dict[tuple[str, str], datetime]:
    """When each job's stages were tested: no crew is in two houses at once, a visit takes an hour and a half."""
    wished = sorted((at(day, f"{job.job_id} {stage}"), job.job_id, stage) for job in made for stage, day in job.days)
    found: dict[tuple[str, str], datetime] = {}
    free = datetime(1900, 1, 1)
    for moment, job_id, stage in wished:
        found[job_id, stage] = max(moment, free)
        free = found[job_id, stage] + timedelta(minutes=90)
    return found
