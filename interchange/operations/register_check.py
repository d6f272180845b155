"""Holds the tests of an archive against a register: days without a row, tests it does not know, values that differ."""

from __future__ import annotations

from pathlib import Path

from interchange.archive import query, registers
from interchange.errors import Place, Problem, UsageError
from interchange.table import Table, counted

_COLUMNS = ("finding", "field", "register_value", "recorded_value", "session_count", "first_day", "last_day", "job_id")

# Each SELECT gives rows of _COLUMNS but for the finding; the day of a test is that of the clock of its place.
_TESTS = """
tests as (
    select *, cast(started_at_local as date) as day from sessions where kind not in ('weather', 'summary', 'not_tested')
)
"""
_NO_ROW = """
with {tests}
select 'crew' as field, crew as register_value, null as recorded_value, count(*) as session_count,
       min(day) as first_day, max(day) as last_day, min(job_id) as job_id
from tests t
where crew is not null and day is not null and {known} exists (select 1 from {register} r where r.crew = t.crew)
      and not exists (
          select 1 from {register} r where r.crew = t.crew and t.day >= r.valid_from
          and t.day <= coalesce(r.valid_to, date '9999-12-31')
      )
group by crew order by crew
"""
_DIFFERS = """
with {tests}, told as ({told})
select '{field}' as field, r.{field} as register_value, t.value as recorded_value, count(*) as session_count,
       min(t.day) as first_day, max(t.day) as last_day, min(t.job_id) as job_id
from told t join {register} r on {joined}
where t.value is not null and r.{field} is not null and t.value <> r.{field}
group by all order by 2, 3
"""
_OWN = "select session_id, job_id, crew, day, {field} as value from tests"
_IN_LIST = """
select t.session_id, t.job_id, t.crew, t.day, min(i.{field}) as value
from tests t join {view} i using (session_id) group by all having count(distinct i.{field}) = 1
"""
_OF_CREW = "r.crew = t.crew and t.day >= r.valid_from and t.day <= coalesce(r.valid_to, date '9999-12-31')"
_OF_JOB = "r.job_id = t.job_id"
_UNKNOWN_JOBS = """
with {tests}
select 'job_id' as field, null as register_value, t.job_id as recorded_value, count(*) as session_count,
       min(day) as first_day, max(day) as last_day, t.job_id
from tests t where t.job_id is not null and not exists (select 1 from register_jobs r where r.job_id = t.job_id)
group by t.job_id order by t.job_id
"""
_NEVER_TESTED = """
with {tests}, expected as (
    unpivot (select job_id, before_expected_on as before, interim_expected_on as interim, after_expected_on as after,
             inspection_expected_on as inspection from register_jobs)
    on before, interim, after, inspection into name stage value day
)
select 'stage' as field, e.stage as register_value, null as recorded_value, 0 as session_count,
       e.day as first_day, e.day as last_day, e.job_id
from expected e
where e.day < current_date
      and not exists (select 1 from sessions t where t.job_id = e.job_id and t.stage = e.stage)
order by e.job_id, e.day
"""
_FANS = """
with {tests}, carried as (
    select t.session_id, t.job_id, t.day, f.fan_serial from tests t join fans f using (session_id)
    where f.fan_serial is not null and t.day is not null
)
select 'fan_serial' as field, c.fan_serial as register_value, null as recorded_value, count(*) as session_count,
       min(c.day) as first_day, max(c.day) as last_day, min(c.job_id) as job_id
from carried c
where {known} exists (select 1 from register_calibrations r where r.fan_serial = c.fan_serial)
      and not exists (
          select 1 from register_calibrations r where r.fan_serial = c.fan_serial
          and c.day >= r.fan_calibrated_on and c.day <= coalesce(r.fan_calibration_due_on, date '9999-12-31')
      )
group by c.fan_serial order by c.fan_serial
"""


def check_register(root: Path, name: str, version: int | None = None) -> Table:
    """A row for each gap of a register and each value of it that tests contradict, with the days and a job.

    Overlaps cannot be in a register: `register add` refuses them. Nothing is changed. Raises UsageError for an unknown
    register, ArchiveError where the archive or the register cannot be read.
    """
    if name not in registers.NAMES:
        expected = "one of " + ", ".join(registers.NAMES)
        raise UsageError(Problem("register-unknown", Place("command line"), f"'{name}'", expected, "Correct the name."))
    count = len(registers.read(root, name))  # proves it: a damaged or overlapping file is an error here
    rows = [
        (finding, *row)
        for finding, sql in _questions(name)
        for row in query.query(root, sql.replace("{tests}", _TESTS.strip()), version).rows
    ]
    notes = [
        f"{counted(count, 'row')} in the register {name}, none of them overlapping; {counted(len(rows), 'finding')}"
    ]
    return Table(_COLUMNS, rows, [], notes)


def _questions(name: str) -> list[tuple[str, str]]:
    if name == "jobs":
        differing = [("site_id", _OWN), ("contractor", _OWN)]
        found = [("not in the register", _UNKNOWN_JOBS), ("expected and not there", _NEVER_TESTED)]
        return found + [("differs", _differs(field, told, name, _OF_JOB)) for field, told in differing]
    if name == "calibrations":
        return [("not in the register", _fill(_FANS, known="not")), ("no row on that day", _fill(_FANS, known=""))]
    found = [
        ("not in the register", _fill(_NO_ROW, known="not", register=f"register_{name}")),
        ("no row on that day", _fill(_NO_ROW, known="", register=f"register_{name}")),
    ]
    own = {"crews": [("contractor", _OWN)]}
    lists = {"kit": [("gauge_serial", "gauges"), ("fan_serial", "fans"), ("arrangement", "reference_lines")]}
    differing = own.get(name, []) + [(field, _fill(_IN_LIST, view=view)) for field, view in lists.get(name, [])]
    return found + [("differs", _differs(field, told, name, _OF_CREW)) for field, told in differing]


def _differs(field: str, told: str, name: str, joined: str) -> str:
    return _fill(_DIFFERS, told=_fill(told, field=field), field=field, register=f"register_{name}", joined=joined)


def _fill(sql: str, **parts: str) -> str:
    for part, text in parts.items():
        sql = sql.replace(f"{{{part}}}", text)
    return sql
