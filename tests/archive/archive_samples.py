"""Small invented sessions, sources and imports for the tests of the archive."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, date, datetime

import pyarrow as pa

from interchange.files import Source
from interchange.model import session as form
from interchange.model.document import session_id
from interchange.model.question import Import, Mapped, Trace


def source(content: bytes = b"one", name: str = "one.csv") -> Source:
    return Source(name, hashlib.sha256(content).hexdigest(), len(content), content)


def of_record(of: Source, place: str) -> form.SourceOfRecord:
    return form.SourceOfRecord(
        source_name=of.name,
        source_sha256=of.sha256,
        source_size_bytes=of.size_bytes,
        source_encoding="utf-8",
        source_place=place,
        plugin_id="invented",
        plugin_version="1",
        plugin_fingerprint="f" * 8,
    )


def single_point(of: Source, row: int = 2, flow_m3_h: float = 2800.0, job_id: str = "0042") -> form.Session:
    place = f"row {row}"
    reading = form.FanReading(fan_id="1", fan_configuration="full", flow_m3_h=flow_m3_h, flow_basis="indicated")
    point = form.Point(envelope_pressure_pa=-50.2, fan_readings=(reading,))
    return form.Session(
        session_id=session_id(of.sha256, place),
        kind="single_point",
        record=form.RecordKeeping(job_id=job_id, crew="C2", stage="before"),
        time=form.Time(started_at_local=datetime(2026, 2, 3, 10, 42)),
        building=form.Building(volume_m3=412.5),
        conditions=form.Conditions(wind_as_recorded="calm", wind_beaufort_low=0, wind_beaufort_high=1),
        runs=(form.Run(run_number=1, direction="depressurisation", baseline_before_pressure_pa=-1.3, points=(point,)),),
        source=of_record(of, place),
    )


def multi_point(of: Source, points: int = 8) -> form.Session:
    held = tuple(
        form.Point(
            point_number=number + 1,
            target_pressure_pa=-60.0 + 5 * number,
            envelope_pressure_pa=-60.3 + 5 * number,
            envelope_pressure_spread_pa=0.9,
            averaging_s=30.0,
            fan_readings=(
                form.FanReading(
                    fan_id="1", fan_configuration="full", fan_pressure_pa=41.2 - number, calibration_index=0
                ),
                form.FanReading(fan_id="2", fan_configuration="half", flow_m3_h=120.5, flow_basis="at_device"),
            )[: 1 + number % 2],
        )
        for number in range(points)
    )
    return form.Session(
        session_id=session_id(of.sha256, "file"),
        kind="multi_point",
        record=form.RecordKeeping(job_id="FV-2031", contractor="Harrow Insulation", visit_number=2),
        time=form.Time(
            started_at_as_recorded="03.02.2026 10:42",
            started_at_utc=datetime(2026, 2, 3, 10, 42, 7, 125000, tzinfo=UTC),
            utc_offset_s=0,
            time_quality="exact",
        ),
        gauges=(form.Gauge(gauge_id="1", gauge_serial="G-0417", gauge_calibrated_on=date(2025, 5, 12)),),
        fans=(form.Fan(fan_id="1"), form.Fan(fan_id="2", fan_serial="F-0093")),
        fan_calibrations=(
            form.FanCalibration(fan_id="1", fan_configuration="full", fan_coefficient_m3_h=492.0, fan_exponent=0.5),
            form.FanCalibration(
                fan_id="1",
                fan_coefficient_m3_h=171.0,
                fan_exponent=0.505,
                reference_air_density_kg_m3=1.204,
                minimum_fan_pressure_pa=15.0,
            ),
        ),
        reference_lines=(
            form.ReferenceLine(line_id="A", arrangement="branched", line_length_m=8.0),
            form.ReferenceLine(line_id="B", arrangement="open_end"),
        ),
        reported=form.Reported(
            reported_flow_m3_h=2831.0, reported_flow_pressure_pa=50.0, reported_exponent_assumed=False
        ),
        runs=(
            form.Run(run_number=1, direction="depressurisation", baseline_before_count=60, points=held),
            form.Run(run_number=2, direction="pressurisation"),
        ),
        kept=(form.Kept(kept_name="Tester", kept_first_row=9, kept_last_row=9, kept_count=1, kept_first="tk"),),
        source=of_record(of, "file"),
    )


def monitoring(of: Source, channels: Sequence[Sequence[float | None]]) -> tuple[form.Session, tuple[Trace, ...]]:
    """A session of the fan-off kind with a trace a channel, 1 s apart."""
    own = session_id(of.sha256, "file")
    parts = tuple(
        form.Channel(
            channel_id=f"line {number}",
            quantity="envelope_pressure_pa",
            start_s=0.0,
            interval_s=1.0,
            sample_count=len(values),
            missing_count=sum(value is None for value in values),
        )
        for number, values in enumerate(channels)
    )
    session = form.Session(session_id=own, kind="monitoring", channels=parts, source=of_record(of, "file"))
    traces = tuple(
        Trace(own, part.channel_id, 0.0, 1.0, None, pa.array(values, pa.float64()))
        for part, values in zip(parts, channels, strict=True)
    )
    return session, traces


def imported(of: Source, *sessions: form.Session, traces: Sequence[Trace] = ()) -> Import:
    return Import(of, "imported", "invented", "1", "f" * 8, Mapped(sessions=sessions, traces=tuple(traces)))


def batch_of_imports(label: str, count: int) -> list[Import]:
    """Sources of one single-point test each, the first with a trace as well; all differ by label and number."""
    made = []
    for number in range(count):
        of = source(f"{label} {number}".encode(), f"{label}-{number}.csv")
        made.append(imported(of, single_point(of, job_id=f"{label}-{number}")))
    traced = source(f"{label} trace".encode(), f"{label}-trace.csv")
    session, traces = monitoring(traced, [[float(value % 7) / 10 for value in range(300)], [None, 1.5]])
    return [*made, imported(traced, session, traces=traces)]
