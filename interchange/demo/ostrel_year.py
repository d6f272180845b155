"""A year of Ostrel Retrofit: sheets of one test a row by both crews, points counted across by the second."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

from interchange.demo import bundle, layouts
from interchange.demo.meant import Done, Meant, Partners, done, helped, meant, visits
from interchange.demo.programme import Delivery
from interchange.demo.shapes_rows import across_head, plan_across
from interchange.demo.sheets import STAGE_WORDS, in_unit
from interchange.demo.visit import Water
from interchange.demo.year import Job, house, jobs

O1_JOBS = jobs("O1", [(f"{301 + n:05d}", f"{11 + n:04d}") for n in range(34)], date(2025, 3, 4), date(2025, 12, 18))
O2_JOBS = jobs("O2", [(f"{341 + n:05d}", f"{51 + n:04d}") for n in range(20)], date(2025, 4, 2), date(2025, 12, 10))

_SPECIAL: Mapping[tuple[str, str], Mapping[str, Any]] = {
    ("00307", "after"): {"water": Water(-13.2), "fault": "water_in_line", "remark": "showers, tube on wet lawn"},
    ("00318", "after"): {"water": Water(9.8), "fault": "water_in_line", "remark": "sprinkler next door"},
    ("00313", "before"): {"baseline": False, "fault": "missing_baseline"},
    ("00324", "after"): {"remark": "storm, only chance this week"},
    ("00326", "after"): {"remark": "rain all day, gusts"},
    ("00331", "before"): {"remark": "rain, hard to hold"},
    ("00301", "before"): {"remark": "first of the programme", "started": datetime(2025, 3, 5, 10, 20)},
    ("00328", "before"): {"started": datetime(2025, 10, 27, 13, 40)},
    ("00316", "before"): {"remark": "hatch taped, boiler off"},
}
_RETESTS = (  # job, moment, remark, planted
    ("00324", datetime(2025, 12, 4, 9, 40), "again, last time it blew"),
    ("00326", datetime(2025, 12, 4, 13, 15), "again, dry and calm"),
)
_O1_NAMES = {
    "2025-03": "tests-march.csv",
    "2025-04": "tests-april.csv",
    "2025-05": "tests-may.csv",
    "2025-07": "tests-july.csv",
    "2025-08": "August tests.csv",
    "2025-09": "tests-sept-again.csv",
    "2025-10": "tests-october.csv",
    "2025-11": "november.csv",
    "2025-12": "december (final).csv",
    "2026-01": "tests-jan.csv",
    "2026-02": "tests-week-08.csv",
}
_O2_FILES = {
    **dict.fromkeys(("2025-04", "2025-05"), "2025-05/crew 2 spring.csv"),
    **dict.fromkeys(("2025-06", "2025-07"), "2025-07/crew 2 summer.csv"),
    **dict.fromkeys(("2025-08", "2025-09"), "2025-09/crew 2 august september.csv"),
    **dict.fromkeys(("2025-10", "2025-11"), "2025-11/crew 2 autumn.csv"),
    **dict.fromkeys(("2025-12", "2026-01"), "2026-01/crew 2 winter.csv"),
}
ZIPPED = "2025-06"
RESENT = "2025-08"


def _job(made: list[Job], job_id: str) -> Job:
    return next(job for job in made if job.job_id == job_id)


def _retests() -> list[Meant]:
    return [
        meant(_job(O1_JOBS, job_id), "after", moment, remark=remark, planted=(f"retest_of:{job_id}",))
        for job_id, moment, remark in _RETESTS
    ]


def _resent(file: str, tests: list[Done], partners: Partners) -> list[Delivery]:
    """A sheet with a slip in a volume, and the sheet sent again with the volume put right."""
    slip = tests[1].meant
    right = f"{in_unit(slip.house.volume_m3, 'cu ft'):.0f}"
    wrong = right[:-2] + right[-1] + right[-2] if right[-1] != right[-2] else f"{int(right) + 900}"

    def slipped(rows: list[dict[str, str]]) -> list[dict[str, str]]:
        return [{**row, "Volume (cu ft)": wrong} if number == 1 else row for number, row in enumerate(rows)]

    first = bundle.sheet(file, tests, partners, f"volume of {slip.job.job_id} is wrong: {wrong} cu ft", changed=slipped)
    again = [_planted(test, f"resend_of:{file}") for test in tests]
    corrected = file.replace("August tests.csv", "August tests corrected.csv")
    why = f"{file.rsplit('/', 1)[1]} sent again, volume of {slip.job.job_id} corrected to {right} cu ft"
    return [first, bundle.sheet(corrected, again, partners, why)]


def _planted(test: Done, word: str) -> Done:
    return replace(test, meant=replace(test.meant, planted=(*test.meant.planted, word)))


def _o1() -> list[Delivery]:
    tests = [*visits(O1_JOBS, _SPECIAL), *_retests()]
    partners, made = Partners(tests), []
    for month, meant_tests in bundle.by_month(tests).items():
        gone = [done(test) for test in meant_tests]
        if month == ZIPPED:
            half = len(gone) // 2
            for number, part in enumerate((gone[:half], gone[half:]), 1):
                name = f"ostrel/o1/{month}/june.zip/tests-june-{number}.csv"
                made.append(bundle.sheet(name, part, partners, f"{len(part)} tests, within a zip file"))
        elif month == RESENT:
            made += _resent(f"ostrel/o1/{month}/{_O1_NAMES[month]}", gone, partners)
        else:
            made.append(bundle.sheet(f"ostrel/o1/{month}/{_O1_NAMES[month]}", gone, partners))
    return made


_COPIED = ("Baseline (Pa)", "House pressure (Pa)", "Fan setting", "Fan flow (cfm)", "Leakage at 50 Pa (cfm)")
_COPY_FROM, _COPY_TO = "00348", "00349"  # tests before the work


def _copied(rows: list[dict[str, str]]) -> list[dict[str, str]]:
    """The rows, with one home's readings written down for the next home."""
    found = {row["Job number"]: row for row in rows if row["Stage"] == STAGE_WORDS["before"]}
    if _COPY_TO not in found:
        return rows
    taken = {name: found[_COPY_FROM][name] for name in _COPIED}
    return [{**row, **taken} if row is found[_COPY_TO] else row for row in rows]


def _o2_sheets() -> list[Delivery]:
    copy = {"fault": "copied_points", "planted": (f"copy_of:{_COPY_FROM}",)}
    tests = [helped(test) for test in visits(O2_JOBS, {(_COPY_TO, "before"): copy})]
    partners, files = Partners(tests), dict[str, list[Meant]]()
    for month, found in bundle.by_month(tests).items():
        files.setdefault(_O2_FILES[month], []).extend(found)
    names = layouts.SHEET_COLUMNS
    order = (*names[:2], *names[5:7], *names[2:5], *names[7:])
    return [
        bundle.sheet(
            f"ostrel/o2/{file}", [done(test) for test in found], partners, columns=order, mark=True, changed=_copied
        )
        for file, found in files.items()
    ]


@dataclass(frozen=True, slots=True)
class _Row:
    """A row of the sheet counted across: a test, or why there is none."""

    job_id: str
    site_id: str
    stage: str
    started: datetime
    points: int = 0
    sign: int = -1
    word: str = "envelope"
    comment: str = ""
    planted: tuple[str, ...] = ()


_ACROSS: Mapping[str, tuple[_Row, ...]] = {
    "2025-05/multi may.csv": (
        _Row("00371", "0081", "before", datetime(2025, 5, 6, 10, 30), 8),
        _Row("00372", "0082", "before", datetime(2025, 5, 7, 9, 15), 7, comment="loft hatch loose"),
        _Row("00373", "0083", "before", datetime(2025, 5, 8, 11, 0), word="no access", comment="nobody in, card left"),
        _Row("00374", "0084", "before", datetime(2025, 5, 9, 9, 20), 10, sign=1, comment="stove in use, pressurised"),
    ),
    "2025-07/multi july.csv": (
        _Row("00371", "0081", "after", datetime(2025, 7, 8, 9, 45), 8),
        _Row("00372", "0082", "after", datetime(2025, 7, 9, 13, 30), 7),
        _Row("00375", "0085", "before", datetime(2025, 7, 10, 10, 0), word="declined", comment="tenant ill"),
        _Row("00376", "0086", "before", datetime(2025, 7, 10, 14, 10), 6),
        _Row("00376", "0086", "interim", datetime(2025, 7, 24, 14, 0), word="duct", comment="loft ducts only"),
        _Row("00377", "0089", "before", datetime(2025, 7, 11, 9, 0), word="unsafe", comment="flue gas smell, left"),
    ),
    "2025-09/multi sept.csv": (
        _Row("00374", "0084", "after", datetime(2025, 9, 2, 9, 30), 10, sign=1),
        _Row("00376", "0086", "after", datetime(2025, 9, 3, 13, 5), 6),
        _Row("00373", "0083", "before", datetime(2025, 9, 4, 10, 40), 8, comment="second try"),
        _Row("00378", "0092", "before", datetime(2025, 9, 5, 9, 50), 9),
        _Row("00379", "0095", "before", datetime(2025, 9, 5, 13, 0), word="no access"),
        _Row("00383", "0121", "before", datetime(2025, 9, 11, 9, 40), 2, comment="two points, before the rain"),
    ),
    "2025-11/multi november.csv": (
        _Row("00373", "0083", "after", datetime(2025, 11, 6, 10, 10), 8),
        _Row("00378", "0092", "after", datetime(2025, 11, 18, 9, 40), 6, comment="storm, six points only"),
        _Row("00380", "0098", "before", datetime(2025, 11, 19, 10, 0), word="too windy"),
        _Row("00381", "0100", "before", datetime(2025, 11, 20, 9, 30), word="too windy", comment="slates flying"),
        _Row("00380", "0098", "before", datetime(2025, 11, 27, 10, 0), 8),
        _Row(
            "00378",
            "0092",
            "after",
            datetime(2025, 11, 28, 9, 30),
            9,
            comment="again after the storm",
            planted=("retest_of:00378",),
        ),
        _Row("00383", "0121", "after", datetime(2025, 11, 11, 13, 40), 2, comment="two points"),
    ),
    "2026-01/multi jan.csv": (
        _Row("00380", "0098", "after", datetime(2026, 1, 13, 10, 15), 8),
        _Row("00381", "0100", "before", datetime(2026, 1, 14, 9, 25), 10),
        _Row("00382", "0101", "before", datetime(2026, 1, 14, 13, 40), word="declined"),
    ),
}
_DUCT = ((25.0, 236.0), (20.0, 205.0), (15.0, 172.0))  # Pa, cfm


def _test_of(row: _Row) -> Meant:
    job = Job(row.job_id, house(row.site_id), "O2", ((row.stage, row.started.date()),))
    plans = (plan_across(row.sign, row.points),)
    return meant(job, row.stage, row.started, plans=plans, remark=row.comment, planted=row.planted)


def _no_test(row: _Row) -> tuple[dict[str, str], dict[str, object]]:
    cells = {**across_head(row.job_id, row.site_id, row.stage, row.started), "Test": row.word, "Comment": row.comment}
    duct = row.word == "duct"
    if duct:
        for number, (pressure_pa, flow_cfm) in enumerate(_DUCT, 1):
            cells |= {f"P{number} (Pa)": f"{pressure_pa:.1f}", f"F{number} (cfm)": f"{flow_cfm:.0f}"}
        cells["Opening"] = "small duct adapter"
    true = bundle.untested(
        job_id=row.job_id,
        site_id=row.site_id,
        stage=row.stage,
        kind="other_test" if duct else "not_tested",
        planted=("duct",) if duct else (f"not_tested:{row.word}",),
        reason="a test of ducts, not of the envelope" if duct else f"nothing was tested: {row.word}",
    )
    return cells, true


def _o2_across() -> list[Delivery]:
    tests = {row: _test_of(row) for rows in _ACROSS.values() for row in rows if row.points}
    partners = Partners(tests.values())
    return [
        bundle.across(
            f"ostrel/o2/{file}", [done(tests[row]) if row.points else _no_test(row) for row in rows], partners
        )
        for file, rows in _ACROSS.items()
    ]


def _across_jobs() -> list[Job]:
    """Jobs of the sheets counted across, as they were registered."""
    days: dict[tuple[str, str], dict[str, date]] = {}
    for row in (row for rows in _ACROSS.values() for row in rows if row.word != "duct"):
        days.setdefault((row.job_id, row.site_id), {}).setdefault(row.stage, row.started.date())
    return [Job(job_id, house(site_id), "O2", tuple(stages.items())) for (job_id, site_id), stages in days.items()]


def all_jobs() -> list[Job]:
    """All jobs of the year before February 2026, and two that were registered and never tested."""
    silent = jobs("O1", [("00335", "0045"), ("00336", "0046")], date(2025, 10, 6), date(2025, 11, 10))
    return [*O1_JOBS, *O2_JOBS, *_across_jobs(), *silent]


def deliveries() -> list[Delivery]:
    """All that both crews sent that can be read."""
    return [*_o1(), *_o2_sheets(), *_o2_across()]
