"""Invented tests as halves of pairs, and an invented archive of such tests."""

from __future__ import annotations

import hashlib
from datetime import datetime
from pathlib import Path
from typing import Any

from interchange.archive.settings import Settings
from interchange.archive.store import Store
from interchange.files import Source
from interchange.model import session as form
from interchange.model.document import session_id
from interchange.model.question import Import, Mapped
from interchange.operations.halves import Half
from interchange.operations.recompute import recompute_archive

SOUND: dict[str, Any] = {
    "kind": "multi_point",
    "job_id": "J-1",
    "site_id": "H-1",
    "contractor": "Invented Works",
    "stage": "before",
    "visit_number": None,
    "attempt_number": None,
    "retest_of": None,
    "supersedes": None,
    "result_of_record": None,
    "started_at_local": datetime(2026, 3, 2, 9, 0),
    "time_quality": "exact",
    "volume_m3": 400.0,
    "boundary": "whole_building",
    "basement_included": True,
    "garage_included": False,
    "preparation_as_recorded": "closed, not sealed",
    "exhaust_fans": "off",
    "combustion_appliances": "off",
    "openings": {"fireplace": "closed"},
    "gauge_serial": "G-1",
    "gauge_calibrated_on": "2025-11-01",
    "fan_serial": "F-1",
    "fan_calibrated_on": "2025-11-01",
    "gear_from_register": False,
    "fan_configuration": "full",
    "readings": None,
    "reading_count": 10,
    "import_number": 1,
    "rule_set": "iso9972@2015",
    "flow_50_m3_h": 2000.0,
    "exponent_assumed": False,
    "direction_used": "depressurisation",
    "highest_pressure_pa": 70.0,
    "verdict": "sound",
    "because_of": (),
    "windy": False,
    "parts": (0.2, 0.0, 0.3, 0.1, 0.4, 0.1, 2.3, 0.0, 0.0, 0.0),
}


def half(name: str, **more: Any) -> Half:
    """A sound multi-point test of one house before the work, but for what is given."""
    return Half(session_id=name, **{**SOUND, **more})


def a_test(
    name: str,
    coefficient_m3_h: float,
    pressures_pa: tuple[float, ...] = (60.0, 50.0, 40.0, 30.0, 20.0),
    both: bool = False,
    job: str = "J-1",
    stage: str = "after",
    **parts: Any,
) -> tuple[Source, form.Session]:
    """A test whose points lie on Q = C dp^0.65, with a baseline of -1 Pa; `parts` are further parts of a session.

    Its pressures lie a little beside those given: they are as no test of another name has them.
    """
    content = name.encode()
    beside = int(hashlib.sha256(parts.pop("readings_of", name).encode()).hexdigest()[:4], 16) / 2**16
    pressures_pa = tuple(pressure + beside for pressure in pressures_pa)
    of = Source(f"{name}.csv", hashlib.sha256(content).hexdigest(), len(content), content)
    directions = ("depressurisation", "pressurisation") if both else ("depressurisation",)
    record = {"job_id": job, "stage": stage, "site_id": f"H-{job}", **parts.pop("record", {})}
    start = parts.pop("started_at_local", datetime(2026, 4, 1, 9, 0))
    return of, form.Session(
        session_id=session_id(of.sha256, "file"),
        kind="multi_point" if len(pressures_pa) > 1 else "single_point",
        record=form.RecordKeeping(**record),
        time=form.Time(started_at_local=start, time_quality="exact"),
        building=form.Building(volume_m3=parts.pop("volume_m3", 400.0)),
        conditions=form.Conditions(indoor_temperature_c=20.0, outdoor_temperature_c=20.0),
        runs=tuple(
            form.Run(
                run_number=number,
                direction=direction,
                baseline_before_pressure_pa=-1.0,
                baseline_after_pressure_pa=-1.0,
                points=_points(coefficient_m3_h, pressures_pa, -1.0 if direction == "depressurisation" else 1.0),
            )
            for number, direction in enumerate(directions, 1)
        ),
        source=form.SourceOfRecord(
            source_name=of.name,
            source_sha256=of.sha256,
            source_size_bytes=of.size_bytes,
            source_encoding="utf-8",
            source_place="file",
            plugin_id="invented",
            plugin_version="1",
            plugin_fingerprint="f" * 8,
        ),
        **parts,
    )


def _points(coefficient_m3_h: float, pressures_pa: tuple[float, ...], sign: float) -> tuple[form.Point, ...]:
    return tuple(
        form.Point(
            envelope_pressure_pa=sign * pressure - 1.0,
            baseline_removed=False,
            fan_readings=(
                form.FanReading(
                    fan_id="1",
                    fan_configuration="full",
                    flow_m3_h=coefficient_m3_h * pressure**0.65,
                    flow_basis="indicated",
                ),
            ),
        )
        for pressure in pressures_pa
    )


def archive_of(root: Path, *tests: tuple[Source, form.Session]) -> Path:
    """An archive of such tests, taken in one after the other and recomputed."""
    rules = ("as_displayed", "iso9972@2015", "astm-e1827-one-point@2011")
    store = Store.create(root, Settings("Invented", rule_sets=rules))
    for of, session in tests:
        store.commit([Import(of, "imported", mapped=Mapped((session,)))])
    recompute_archive(store.root)
    return store.root
