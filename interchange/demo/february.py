"""The programme's last month, February 2026, as it was delivered and registered."""

from __future__ import annotations

from datetime import date

from interchange.demo import others, records, sheets
from interchange.demo.programme import Delivery, House
from interchange.demo.year import Job

_WATCHED_BY = {"FV-2044": "C1", "FV-3015": "Q2"}


def deliveries() -> list[Delivery]:
    """All that was sent in February."""
    return [*sheets.deliveries(), *records.deliveries(), *others.deliveries()]


def all_jobs() -> list[Job]:
    """The jobs tested in February; where the crew changed between visits it is the first one's."""
    visits: list[tuple[str, House, str, str, date]] = [
        (row.job_id, row.house, row.crew, row.stage, row.started.date())
        for row in (*sheets.WEEK_6, *sheets.WEEK_9, *sheets.QUILLBY_FEBRUARY)
    ]
    visits += [(it.job_id, it.house, it.crew, it.stage, it.started.date()) for it in records.RECORDS]
    visits += [(it.job_id, it.house, _WATCHED_BY[it.job_id], "before", it.started.date()) for it in others.WATCHES]
    crews: dict[str, tuple[House, str]] = {}
    days: dict[str, list[tuple[str, date]]] = {}
    for job_id, house, crew, stage, day in visits:
        crews.setdefault(job_id, (house, crew))
        days.setdefault(job_id, []).append((stage, day))
    return [Job(job_id, house, crew, tuple(days[job_id])) for job_id, (house, crew) in crews.items()]
