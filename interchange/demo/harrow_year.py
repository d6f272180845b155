"""A year of Harrow Insulation: records with fan pressures, sectioned records, tables and points in several files."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date, datetime

from interchange.demo import bundle
from interchange.demo.meant import Done, Meant, Partners, done, meant
from interchange.demo.programme import Delivery
from interchange.demo.records import NINE_POINTS, TEN_DOWN
from interchange.demo.shapes_files import (
    TOLD_GERMAN,
    TOLD_GERMAN_WITHOUT,
    TOLD_POINTS,
    TOLD_SECTIONED,
    german,
    points,
    sectioned,
)
from interchange.demo.visit import Plan, Water
from interchange.demo.year import Job, house

DOWN, BOTH = (Plan(-1, NINE_POINTS),), (Plan(-1, TEN_DOWN), Plan(1, TEN_DOWN))
SIX_BOTH = (Plan(-1, (60.0, 50.0, 40.0, 30.0, 25.0, 20.0)), Plan(1, (60.0, 50.0, 40.0, 30.0, 25.0, 20.0)))


@dataclass(frozen=True, slots=True)
class _Visit:
    """One visit as it was meant; `shape` is how it was sent."""

    job_id: str
    site_id: str
    stage: str
    crew: str
    started: datetime
    shape: str
    plans: tuple[Plan, ...] = DOWN
    fault: str | None = None
    planted: tuple[str, ...] = ()
    water: Water | None = None
    two_fans: bool = False


def _at(month: int, day: int, hour: int, minute: int) -> datetime:
    return datetime(2025 if month > 2 else 2026, month, day, hour, minute)


_VISITS = (
    # the first crew: German records whose calibration stands in the register, then sectioned records
    _Visit("FV-1901", "H-31", "before", "C1", _at(3, 11, 9, 10), "german"),
    _Visit("FV-1902", "H-32", "before", "C1", _at(4, 3, 13, 25), "german", BOTH),
    _Visit("FV-1901", "H-31", "after", "C1", _at(5, 13, 9, 40), "german"),
    _Visit("FV-1903", "H-33", "before", "C1", _at(6, 12, 10, 5), "german", (Plan(1, NINE_POINTS),)),
    _Visit("FV-1902", "H-32", "after", "C1", _at(7, 3, 9, 30), "german", BOTH),
    _Visit("FV-1904", "H-34", "before", "C1", _at(8, 14, 9, 15), "german", DOWN, "baseline_copied"),
    _Visit("FV-1905", "H-35", "before", "C1", _at(9, 25, 9, 20), "sectioned", BOTH),
    _Visit("FV-1906", "H-36", "before", "C1", _at(10, 8, 10, 40), "sectioned"),
    _Visit("FV-1907", "H-37", "before", "C1", _at(10, 9, 9, 35), "sectioned", DOWN, "copied_points"),
    _Visit("FV-1905", "H-35", "after", "C1", _at(11, 18, 10, 10), "sectioned", BOTH),
    _Visit("FV-1905", "H-35", "after", "C1", _at(12, 2, 10, 30), "sectioned", BOTH, None, ("retest_of:FV-1905",)),
    _Visit("FV-1906", "H-36", "after", "C1", _at(12, 10, 9, 25), "sectioned"),
    # the second crew: points in three files, tables of both directions, German records with their calibration
    _Visit("FV-1921", "H-51", "before", "C2", _at(3, 18, 10, 30), "points"),
    _Visit("FV-1922", "H-52", "before", "C2", _at(4, 8, 9, 25), "points"),
    _Visit("FV-1923", "H-53", "before", "C2", _at(4, 30, 13, 5), "german-table"),
    _Visit("FV-1921", "H-51", "after", "C2", _at(5, 20, 14, 5), "points"),
    _Visit("FV-1922", "H-52", "after", "C2", _at(6, 5, 9, 50), "points", DOWN, "baseline_copied"),
    _Visit("FV-1924", "H-54", "before", "C2", _at(6, 10, 9, 0), "table", SIX_BOTH),
    _Visit("FV-1925", "H-55", "before", "C2", _at(6, 11, 13, 30), "table", SIX_BOTH, two_fans=True),
    _Visit("FV-1926", "H-56", "before", "C2", _at(7, 8, 9, 15), "table", SIX_BOTH),
    _Visit("FV-1923", "H-53", "after", "C2", _at(7, 10, 10, 20), "german-table"),
    _Visit("FV-1924", "H-54", "after", "C2", _at(7, 24, 9, 10), "table", SIX_BOTH),
    _Visit("FV-1927", "H-57", "before", "C2", _at(7, 29, 14, 0), "table", (Plan(-1, NINE_POINTS),)),
    _Visit("FV-1925", "H-55", "after", "C2", _at(8, 19, 9, 30), "table", SIX_BOTH),
    _Visit("FV-1926", "H-56", "after", "C2", _at(8, 21, 13, 20), "table", SIX_BOTH),
    _Visit("FV-1928", "H-58", "before", "C2", _at(9, 10, 9, 45), "sectioned"),
    _Visit("FV-1929", "H-59", "before", "C2", _at(9, 16, 10, 0), "german-table", BOTH),
    _Visit("FV-1927", "H-57", "after", "C2", _at(9, 18, 9, 20), "table", (Plan(-1, NINE_POINTS),)),
    _Visit("FV-1930", "H-60", "before", "C2", _at(10, 14, 9, 5), "points"),
    _Visit("FV-1928", "H-58", "after", "C2", _at(10, 22, 9, 30), "sectioned"),
    _Visit("FV-1931", "H-61", "before", "C2", _at(11, 18, 10, 0), "sectioned"),
    _Visit("FV-1929", "H-59", "after", "C2", _at(12, 9, 10, 15), "german-table", BOTH),
    _Visit("FV-1930", "H-60", "after", "C2", _at(12, 17, 9, 40), "points"),
    _Visit(
        "FV-1932", "H-62", "before", "C2", _at(1, 8, 10, 0), "german-table", DOWN, "water_midway", (), Water(-7.2, 5)
    ),
    _Visit("FV-1931", "H-61", "after", "C2", _at(1, 14, 13, 15), "sectioned"),
    _Visit("FV-1933", "H-63", "before", "C2", _at(1, 20, 10, 0), "points"),
)
_TABLES = {  # month: name of the table that holds that month's tests
    6: "two-way-june.csv",
    7: "two-way-july.csv",
    8: "two-way-august.csv",
    9: "two-way-september.csv",
}
_DROPPED = {"FV-1926": 3}
COPY_OF = "FV-1906"  # whose points stand in FV-1907
RESENT_POINTS = ("FV-1933", "before")
_PLANTED = {"copied_points": (f"copy_of:{COPY_OF}",), "baseline_copied": ("baseline_copied",)}


def all_jobs() -> list[Job]:
    """All jobs of the year before February 2026."""
    days: dict[tuple[str, str, str], dict[str, date]] = {}
    for visit in _VISITS:
        days.setdefault((visit.job_id, visit.site_id, visit.crew), {}).setdefault(visit.stage, visit.started.date())
    return [Job(job, house(site), crew, tuple(stages.items())) for (job, site, crew), stages in days.items()]


def _meant(visit: _Visit, known: dict[str, Job]) -> Meant:
    fault = visit.fault
    test = meant(
        known[visit.job_id],
        visit.stage,
        visit.started,
        plans=visit.plans,
        fault=fault,
        planted=(*visit.planted, *_PLANTED.get(fault or "", ())),
        water=visit.water,
        two_fans=visit.two_fans,
    )
    if not test.kit.late:
        return test
    return replace(test, fault=fault or "late_calibration", planted=(*test.planted, "late_calibration"))


def _copy_points(own: bytes, other: bytes) -> bytes:
    """A sectioned record with another record's run and result in place of its own."""
    head, cut = own.split(b"[Depressurisation]")[0], other.index(b"[Depressurisation]")
    return head + other[cut:]


def record(test: Done, shape: str, partners: Partners, copied_from: Done | None = None) -> list[Delivery]:
    """A test as a file of one test, or of its companions, and as it was sent again."""
    one = test.meant
    folder = f"harrow/{one.job.crew.lower()}/{one.started:%Y-%m}"
    again = "-retest" if any(word.startswith("retest_of") for word in one.planted) else ""
    name = f"{folder}/{one.job.job_id}-{one.stage}{again}"
    why = _why(one)
    if shape == "sectioned":
        content = sectioned(test, "md" if one.job.crew.startswith("C1") else "tk")
        if copied_from is not None:
            content = _copy_points(content, sectioned(copied_from, "md"))
        return [bundle.single(f"{name}.csv", content, test, TOLD_SECTIONED, partners, why)]
    if shape.startswith("german"):
        table = shape == "german-table"
        told = TOLD_GERMAN if table else TOLD_GERMAN_WITHOUT
        content = german(test, calibration=table, encoding="cp1252" if one.started.month % 2 else "utf-8")
        return [bundle.single(f"{name}.csv", content, test, told, partners, why)]
    return _points(test, name, partners, why)


def _points(test: Done, name: str, partners: Partners, why: str) -> list[Delivery]:
    table, baselines, weather = points(test)
    beside = [(f"{name}-baseline.csv", baselines), (f"{name}-weather.csv", weather)]
    told, kept = TOLD_POINTS, beside
    if test.meant.job.job_id == "FV-1922":  # this house came without its weather
        told, kept = replace(told, wind=False), beside[:1]
    first = bundle.single(f"{name}.csv", table, test, told, partners, why, kept)
    if (test.meant.job.job_id, test.meant.stage) != RESENT_POINTS:
        return [first]
    once_more = replace(test, meant=replace(test.meant, planted=(*test.meant.planted, f"resend_of:{first.file}")))
    volume = f"{test.meant.house.volume_m3:.0f}"
    wrong = replace(
        first,
        content=table.replace(f"Volume,{volume},".encode(), f"Volume,{int(volume) + 90},".encode()),
        why=f"{first.why}; its volume is 90 m3 too large",
    )
    folder = name.replace("/FV-", "/resent/FV-")
    named = [(f"{folder}-{path.rsplit('-', 1)[1]}", content) for path, content in kept]
    why = f"{first.file} sent again with the volume corrected to {volume} m3: other bytes, the same test"
    return [wrong, bundle.single(f"{folder}.csv", table, once_more, told, partners, why, named)]


def _why(test: Meant) -> str:
    ways = {"depressurisation": "one direction", "pressurisation": "pressurised", "both": "both directions"}
    words = [f"{ways[test.direction]}, {test.state}"]
    reasons = {
        "late_calibration": "the fan's calibration ran out long ago",
        "copied_points": f"its points are those of {COPY_OF}",
        "baseline_copied": "the baseline after is a copy of the one before",
        "water_in_line": "water in the line",
        "water_midway": "water enters the line at the fifth point",
    }
    words += [reasons[test.fault]] if test.fault else []
    return "; ".join(words)


def _tables(found: Iterable[tuple[_Visit, Done]], partners: Partners) -> list[Delivery]:
    files: dict[str, list[Done]] = {}
    for visit, test in found:
        file = f"harrow/c2/{visit.started:%Y-%m}/{_TABLES[visit.started.month]}"
        files.setdefault(file, []).append(test)
    made = []
    for file, tests in files.items():
        once = [test for test in tests if test.meant.stage == "before"]
        dropped = {test.meant.job.job_id: _DROPPED.get(test.meant.job.job_id, 0) for test in once}
        made.append(bundle.both(file, tests, partners, dropped=dropped))
    return made


def deliveries() -> list[Delivery]:
    """All that both crews sent that can be read."""
    known = {job.job_id: job for job in all_jobs()}
    tests = [(visit, _meant(visit, known)) for visit in _VISITS]
    partners = Partners(test for _, test in tests)
    went = [(visit, done(test)) for visit, test in tests]
    copied = next(test for visit, test in went if visit.job_id == COPY_OF and visit.stage == "before")
    made = [
        delivery
        for visit, test in went
        if visit.shape != "table"
        for delivery in record(test, visit.shape, partners, copied if test.meant.fault == "copied_points" else None)
    ]
    return [*made, *_tables(((visit, test) for visit, test in went if visit.shape == "table"), partners)]
