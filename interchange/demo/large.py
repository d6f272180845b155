"""A programme of thousands of jobs in the shapes of the small one: mostly sheets of one-point tests."""

from __future__ import annotations

import zlib
from collections.abc import Sequence
from dataclasses import replace
from datetime import date, timedelta

from interchange.demo import bundle, office
from interchange.demo.harrow_year import BOTH, DOWN, SIX_BOTH, record
from interchange.demo.meant import Done, Meant, Partners, done, helped
from interchange.demo.programme import Delivery
from interchange.demo.quick import done_at_once
from interchange.demo.quillby_year import Side, tall_log, trace_log, wide_log
from interchange.demo.shapes_rows import plan_across
from interchange.demo.visit import Plan, Water, generator
from interchange.demo.year import FIRST_DAY, KITS, LAST_DAY, Job, Kit, at, jobs, slots, working

_JOBS_A_CREW = 200
_PATTERN = ("O1", "Q1", "O2", "Q2", "C1", "O1", "Q1", "C2", "O1", "Q2", "O1", "O2", "O1", "Q1", "O1", "Q2")
_SHEET_ROWS = 300
_TABLE_COLUMNS = 200
_LAST_FIRST_VISIT = LAST_DAY - timedelta(days=14)
_WET_EACH, _RETEST_DAYS = 90, 12
_LINES_S = 300
_TRACED = Plan(-1, (60.0, 50.0, 40.0, 30.0, 20.0), 60, 40)


def crews(count: int) -> list[str]:
    """Crews for a number of jobs: each of the six kinds, and further ones named O1b, O1c, and so on."""
    wanted = max(8, -(-count // _JOBS_A_CREW))
    named: dict[str, int] = {}
    found = []
    for number in range(wanted):
        kind = _PATTERN[number % len(_PATTERN)]
        named[kind] = named.get(kind, 0) + 1
        found.append(kind if named[kind] == 1 else f"{kind}.{named[kind]}")
    return found


def kits(names: Sequence[str]) -> list[Kit]:
    """What each crew carried: the kit of its kind, with serial numbers and gains of its own."""
    made = []
    for name in names:
        rng = generator(f"kit {name}")
        gains = rng.normal(0.0, 0.002, 2)
        for kit in (kit for kit in KITS if kit.crew == name[:2]):
            end = name[2:]
            gauge = replace(kit.gauge, serial=kit.gauge.serial + end, gain=kit.gauge.gain + float(gains[0]))
            fan = replace(kit.fan, serial=kit.fan.serial + end, gain=kit.fan.gain + float(gains[1]))
            made.append(replace(kit, crew=name, gauge=gauge, fan=fan) if end else kit)
    return made


def registered(count: int) -> list[Job]:
    """The jobs, dealt out to the crews."""
    names = crews(count)
    made = []
    for place, crew in enumerate(names):
        ids = [(f"FV-{10_000 + number}", f"H-{10_000 + number}") for number in range(place, count, len(names))]
        made += jobs(crew, ids, FIRST_DAY, _LAST_FIRST_VISIT)
    return made


def _tests(of_crew: Sequence[Job], kit: Sequence[Kit]) -> list[Meant]:
    by_job = {job.job_id: job for job in of_crew}
    made = []
    for (job_id, stage), started in slots(of_crew).items():
        test = Meant(by_job[job_id], stage, started, _kit(kit, started.date()))
        number = int(job_id[3:])
        if test.kit.late:
            test = replace(test, fault="late_calibration", planted=("late_calibration",))
        elif test.state == "calm" and number % _WET_EACH == 7:
            test = replace(test, water=Water(-10.0 - number % 5), fault="water_in_line")
        made.append(test)
        again = working(started.date() + timedelta(days=_RETEST_DAYS))
        if test.state == "windy" and stage == "after" and again <= LAST_DAY:
            moment = at(again, f"{job_id} again")
            planted = (f"retest_of:{job_id}", *(("late_calibration",) if _kit(kit, again).late else ()))
            fault = "late_calibration" if _kit(kit, again).late else None
            made.append(Meant(test.job, stage, moment, _kit(kit, again), planted=planted, fault=fault))
    return sorted(made, key=lambda test: test.started)


def _kit(kit: Sequence[Kit], day: date) -> Kit:
    return next(found for found in kit if found.first <= day <= found.last)


def _portions(tests: Sequence[Meant], size: int) -> list[Sequence[Meant]]:
    return [tests[begin : begin + size] for begin in range(0, len(tests), size)]


def _sheets(crew: str, tests: Sequence[Meant], partners: Partners) -> list[Delivery]:
    folder = f"ostrel/{crew.lower()}" if crew[0] == "O" else f"quillby/{crew.lower()}"
    return [
        bundle.sheet(f"{folder}/{part[0].started:%Y-%m}/tests-{number}.csv", done_at_once(part), partners)
        for number, part in enumerate(_portions(tests, _SHEET_ROWS), 1)
    ]


def _tables(crew: str, tests: Sequence[Meant], partners: Partners) -> list[Delivery]:
    return [
        bundle.transposed(
            f"quillby/{crew.lower()}/{part[0].started:%Y-%m}/essais-{number}.csv", done_at_once(part), partners
        )
        for number, part in enumerate(_portions(tests, _TABLE_COLUMNS), 1)
    ]


def _draw(test: Meant) -> int:
    """A digit that hangs on the job alone, so that both its tests are sent in one shape."""
    return zlib.crc32(test.job.job_id.encode()) % 10


def _ostrel_2(crew: str, tests: Sequence[Meant], partners: Partners) -> list[Delivery]:
    many = [replace(test, plans=(plan_across(-1, 8),)) for test in tests if _draw(test) == 3]
    one = [helped(test) for test in tests if _draw(test) != 3]
    across = [
        bundle.across(
            f"ostrel/{crew.lower()}/{part[0].started:%Y-%m}/multi-{number}.csv",
            [done(test) for test in part],
            partners,
        )
        for number, part in enumerate(_portions(many, _SHEET_ROWS), 1)
    ]
    return [*_sheets(crew, one, partners), *across]


def _quillby_2(crew: str, tests: Sequence[Meant], partners: Partners) -> list[Delivery]:
    traced = replace(tests[0], plans=(_TRACED,))
    job = tests[-1].job
    side = Side(
        job.job_id, job.house.site_id, tests[-1].kit, tests[-1].started, _LINES_S, "two lines side by side, fan off"
    )
    logs = [trace_log(traced, partners), wide_log(side), tall_log(side)]
    return [*_sheets(crew, tests[1:], partners), *logs]


def _harrow(crew: str, tests: Sequence[Meant], partners: Partners) -> list[Delivery]:
    shapes = ("sectioned", "german") if crew.startswith("C1") else ("points", "german-table", "table", "sectioned")
    made: list[Delivery] = []
    table: dict[tuple[str, str, bool], list[Done]] = {}  # a job stands once in a file
    for test in tests:
        number = int(test.job.job_id[3:])
        shape = shapes[number // 8 % len(shapes)]
        if shape == "german" and test.kit.fan.openings[0].name != "offen":
            shape = "sectioned"
        if shape == "table":
            again = any(word.startswith("retest_of") for word in test.planted)
            key = f"{test.started:%Y-%m}", test.stage, again
            table.setdefault(key, []).append(done(replace(test, plans=SIX_BOTH)))
        else:
            plans = BOTH if number % 3 == 0 and shape != "points" else DOWN
            made += record(done(replace(test, plans=plans)), shape, partners)
    for (month, stage, again), found in table.items():
        name = f"two-way-{stage}{'-again' if again else ''}.csv"
        made.append(bundle.both(f"harrow/{crew.lower()}/{month}/{name}", found, partners))
    return made


_MAKERS = {"O1": _sheets, "O2": _ostrel_2, "Q1": _tables, "Q2": _quillby_2, "C1": _harrow, "C2": _harrow}


def deliveries(made: Sequence[Job], carried: Sequence[Kit]) -> list[Delivery]:
    """All deliveries of a large programme, and what lay in the office."""
    found = []
    for crew in dict.fromkeys(kit.crew for kit in carried):
        of_crew = [job for job in made if job.crew == crew]
        if of_crew:
            tests = _tests(of_crew, [kit for kit in carried if kit.crew == crew])
            found += _MAKERS[crew[:2]](crew, tests, Partners(tests))
    return [*found, *office.deliveries()]
