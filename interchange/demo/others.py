"""Logs of two lines side by side, a sheet nobody has described yet, and bytes that are no text."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np

from interchange.demo import layouts
from interchange.demo.kit import Fan, Gauge, Line
from interchange.demo.programme import (
    BRANCHED,
    HARROW_FAN_2,
    HARROW_GAUGE_2,
    OPEN_NORTH,
    QUILLBY_FAN,
    QUILLBY_GAUGE,
    Delivery,
    Expected,
    House,
    setting,
    truth,
)
from interchange.demo.visit import Seen, Setting, generator, log
from interchange.demo.wind import Array

H131 = House("H-131", 344.0, 137.5, 5.2, 2310.0, 0.650, 347.0, 115.0)
Q29 = House("Q-29", 289.0, 115.5, 5.0, 2040.0, 0.656, 305.0, 90.0)

FAN_OFF = Expected(
    "cannot_tell: the fan was off",
    "cannot_tell: the fan was off",
    "cannot_tell: the fan was off",
    "cannot_tell: the fan was off",
)


@dataclass(frozen=True, slots=True)
class Watch:
    """One log as it was meant. Weather is indoor [°C], outdoor [°C], wind at 10 m [m/s], from [deg]."""

    file: str
    why: str
    job_id: str
    house: House
    started: datetime
    weather: tuple[float, float, float, float]
    kit: tuple[Gauge, Fan, Line]
    seconds: int


WATCHES = (
    Watch(
        "harrow/FV-2044-log.csv",
        "two lines side by side on a gusty day: line A swings more than line B",
        "FV-2044",
        H131,
        datetime(2026, 2, 11, 13, 5),
        (20.3, 6.5, 8.5, 25.0),
        (HARROW_GAUGE_2, HARROW_FAN_2, OPEN_NORTH),
        900,
    ),
    Watch(
        "quillby/FV-3015-log.csv",
        "two lines side by side on a calm day: both show the stack pressure",
        "FV-3015",
        Q29,
        datetime(2026, 2, 17, 10, 30),
        (19.8, 2.0, 0.9, 60.0),
        (QUILLBY_GAUGE, QUILLBY_FAN, OPEN_NORTH),
        600,
    ),
)


def fan_off_truth(
    place: Setting, seen: Seen, job_id: str, site_id: str, lines: str, read_pa: tuple[Array, Array]
) -> dict[str, object]:
    """What is true of a house watched with the fan off through two lines, and how much each line swings."""
    true = truth(
        place,
        seen,
        place="file",
        job_id=job_id,
        site_id=site_id,
        stage="before",
        kind="monitoring",
        direction=None,
        fault=None,
        expected=FAN_OFF,
    )
    del true["stage"]  # the log does not say
    true["line"] = lines
    for name, values in zip(("line_a_spread_pa", "line_b_spread_pa"), read_pa, strict=True):
        true[name] = round(float(values.std(ddof=1)), 2)
    return true


def watched(watch: Watch) -> Delivery:
    """The delivery of one log."""
    place = setting(
        watch.house,
        job_id=watch.job_id,
        stage="log",
        weather=watch.weather,
        kit=watch.kit,
    )
    seen = log(place, BRANCHED, watch.seconds)
    keys = {
        "log": "zero flow, two reference lines",
        "job": watch.job_id,
        "house": watch.house.site_id,
        "started": f"{watch.started.isoformat()}+00:00",
        "gauge": place.gauge.serial,
        "line A": "open end; north facade",
        "line B": "branched; north and east facade",
        "averaging": "1 s",
    }
    columns = (seen.first_pa, seen.second_pa, seen.indoor_c, seen.wind_m_s)
    rows = [
        [f"{second}", f"{a:.2f}", f"{b:.2f}", f"{indoor:.1f}", f"{speed:.1f}"]
        for second, (a, b, indoor, speed) in enumerate(zip(*columns, strict=True))
    ]
    summary = Seen((), 0.0, 0.0, float(seen.wind_m_s.mean()), seen.zero_flow_pa, seen.stack_only_pa)
    true = fan_off_truth(
        place, summary, watch.job_id, watch.house.site_id, "A open end, B branched", (seen.first_pa, seen.second_pa)
    )
    return Delivery(watch.file, layouts.log(keys, rows), "imported", watch.why, (true,))


def _unknown() -> Delivery:
    """A layout without units, signs or date order: only somebody who knows can say."""
    rng = generator("unknown layout")
    lines = ["when|ref|what|in-out|air|doors"]
    for number in range(1, 13):
        flow = rng.normal(410.0, 60.0)
        day, hour, minute = rng.integers(2, 12), rng.integers(9, 16), rng.integers(0, 60)
        pressure = 50.0 + rng.normal(0.0, 0.4)
        lines.append(f"{day:02d}-02-26 {hour:02d}h{minute:02d}|B{number:03d}|W1|{pressure:.1f}|{flow:.0f}|open")
    return Delivery(
        "quillby/branch-office-tests.csv",
        ("\n".join(lines) + "\n").encode(),
        "refused",
        "no plugin knows this layout; sign, unit of the air flow and date order are not in the file "
        "and must be said by somebody who knows",
    )


def _no_text() -> Delivery:
    rng = generator("no text")
    content = b"\x00\x01\xff\xfe" + np.asarray(rng.integers(0, 256, 2048), dtype=np.uint8).tobytes()
    return Delivery("ostrel/tests-week-07.csv", content, "refused", "the bytes are no text in any encoding we read")


def deliveries() -> list[Delivery]:
    """Logs and what cannot be read as it stands."""
    return [*(watched(watch) for watch in WATCHES), _unknown(), _no_text()]
