"""What the registers say of a test, in SQL: the gear its crew carried that day, the contractor of its job."""

from __future__ import annotations

from pathlib import Path

from interchange.archive import registers

_KIT = """
select s.session_id, min(k.gauge_serial) as gauge_serial, min(k.fan_serial) as fan_serial,
       min(k.arrangement) as arrangement
from sessions s join register_kit k on k.crew = s.crew
    and cast(s.started_at_local as date) between k.valid_from and coalesce(k.valid_to, date '9999-12-31')
group by 1 having count(*) = 1
"""
_NO_KIT = "select null as session_id, null as gauge_serial, null as fan_serial, null as arrangement where false"
_JOBS = """
select job_id, min(contractor) as contractor from register_jobs group by 1 having count(distinct contractor) = 1
"""
_NO_JOBS = "select null as job_id, null as contractor where false"


def kit(root: Path) -> str:
    """A SELECT with a row for each test of a crew whose kit of that day the register tells without doubt."""
    return _KIT if registers.path(root, "kit").exists() else _NO_KIT


def jobs(root: Path) -> str:
    """A SELECT with a row for each job whose contractor the register tells without doubt."""
    return _JOBS if registers.path(root, "jobs").exists() else _NO_JOBS
