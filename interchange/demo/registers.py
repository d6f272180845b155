"""Registers beside the deliveries: jobs, crews, kit, calibrations, as CSV."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable, Sequence
from datetime import date, timedelta

from interchange.demo.air import FAN_DENSITY_KG_M3
from interchange.demo.year import CREWS, FIRST_DAY, LAST_DAY, Job, Kit, due_on, working

STAGES = ("before", "interim", "after", "inspection")
ARRANGEMENTS = {
    "open end": "open_end",
    "branched": "branched",
    "several facades": "several_facades",
    "sheltered": "sheltered_end",
}
_WORK = timedelta(days=42)  # from the first visit to the last where no day was agreed


def _table(header: Sequence[str], rows: Iterable[Sequence[str]]) -> bytes:
    text = io.StringIO(newline="")
    csv.writer(text, lineterminator="\n").writerows([header, *rows])
    return text.getvalue().encode()


def _expected(job: Job) -> dict[str, date]:
    """Days by stage; work begun has an end to be expected even where no test came."""
    days = dict(job.days)
    if "before" in days and "after" not in days and working(days["before"] + _WORK) <= LAST_DAY:
        days["after"] = working(days["before"] + _WORK)
    return days


def jobs_register(jobs: Iterable[Job]) -> bytes:
    """Jobs with the days their tests were expected, and the flow at 50 Pa [m3/h] asked for after the work."""
    rows = []
    for job in sorted(jobs, key=lambda job: job.job_id):
        days = _expected(job)
        expected = [f"{days[stage]}" if stage in days else "" for stage in STAGES]
        rows.append([job.job_id, job.house.site_id, job.contractor, *expected, f"{job.target_m3_h:.0f}"])
    head = ("job_id", "site_id", "contractor", *(f"{stage}_expected_on" for stage in STAGES), "target_flow_50_m3_h")
    return _table(head, rows)


def crews_register(kits: Iterable[Kit]) -> bytes:
    """Crews and whose they are."""
    crews = dict.fromkeys(kit.crew for kit in kits)
    return _table(
        ("crew", "contractor", "valid_from", "valid_to"),
        [[crew, CREWS[crew[:2]], f"{FIRST_DAY}", f"{LAST_DAY}"] for crew in crews],
    )


def kit_register(kits: Iterable[Kit]) -> bytes:
    """What each crew carried when, and how it laid its reference line."""
    head = ("crew", "valid_from", "valid_to", "gauge_serial", "fan_serial", "arrangement")
    rows = [
        [
            kit.crew,
            f"{kit.first}",
            f"{kit.last}",
            kit.gauge.serial,
            kit.fan.serial,
            ARRANGEMENTS[kit.line.arrangement],
        ]
        for kit in kits
    ]
    return _table(head, rows)


def calibrations_register(kits: Iterable[Kit]) -> bytes:
    """Each calibration of each fan, a row a configuration: flow = coefficient * (fan pressure / 1 Pa) ** exponent."""
    fans = sorted(dict.fromkeys(kit.fan for kit in kits), key=lambda fan: (fan.serial, fan.calibrated_on))
    head = (
        *("fan_serial", "fan_configuration", "fan_calibrated_on", "fan_calibration_due_on"),
        *("fan_coefficient_m3_h", "fan_exponent", "reference_air_density_kg_m3", "minimum_fan_pressure_pa"),
    )
    rows = [
        (
            fan.serial,
            opening.name,
            f"{fan.calibrated_on}",
            f"{due_on(fan)}",
            f"{opening.coefficient_m3_h:.1f}",
            f"{opening.exponent:.3f}",
            f"{FAN_DENSITY_KG_M3}",
            f"{opening.least_pa:.0f}",
        )
        for fan in fans
        for opening in fan.openings
    ]
    # fans differ in what the register does not know: how far their flow is off
    return _table(head, dict.fromkeys(rows))


def registers(jobs: Iterable[Job], kits: Sequence[Kit]) -> dict[str, bytes]:
    """The registers by file name."""
    return {
        "jobs.csv": jobs_register(jobs),
        "crews.csv": crews_register(kits),
        "kit.csv": kit_register(kits),
        "calibrations.csv": calibrations_register(kits),
    }
