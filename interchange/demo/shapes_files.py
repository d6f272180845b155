"""Tests of the year as the layouts that are a file to each test or log."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from datetime import UTC, datetime, timedelta

import numpy as np

from interchange.demo import layouts, layouts_files
from interchange.demo.kit import Fan
from interchange.demo.meant import Done, Meant, place_of
from interchange.demo.programme import Expected
from interchange.demo.records import Record, comma, sections
from interchange.demo.season import Sky, sky
from interchange.demo.shapes_rows import beaufort_word, spreadsheet_day
from interchange.demo.sheets import in_unit
from interchange.demo.verdicts import Told
from interchange.demo.visit import (
    SETTLE_S,
    FanLog,
    Plan,
    RunShown,
    generator,
    log_run,
)

TOLD_SECTIONED = Told(by_hand=True)
TOLD_TRACE = Told(wind=False, points=False)
TOLD_GERMAN = Told()
TOLD_GERMAN_WITHOUT = Told(flow=False)
TOLD_POINTS = Told(by_hand=True)

GERMAN_STAGES = {"before": "vorher", "after": "nachher", "interim": "Zwischenstand", "inspection": "Kontrolle"}
GERMAN_OPENINGS = {"full": "offen", "half": "A", "quarter": "B"}
_FAN_PRESSURES_PA = (10, 15, 20, 30, 40, 55, 70, 90, 120, 160, 220)  # rows of a calibration table

STATION = {
    "station": "FENNICK RIDGE",
    "station id": "FR-02",
    "latitude": "52.4121 deg",
    "longitude": "-1.8834 deg",
    "elevation": "148 m",
    "wind height": "10 m",
    "wind averaging": "600 s",
    "gust window": "3 s",
    "UTC offset": "+00:00",
}
RIDGE_M = 148.0
ARCHIVE_STATION = {
    "STATION": "99900199999",
    "SOURCE": "4",
    "LATITUDE": "52.39",
    "LONGITUDE": "-1.91",
    "ELEVATION": "96.0",
    "NAME": "FENNICK VALE, XX",
    "REPORT_TYPE": "FM-12",
    "CALL_SIGN": "99999",
    "QUALITY_CONTROL": "V020",
}


def sectioned(test: Done, tester: str = "tk", encoding: str = "utf-8") -> bytes:
    """A sectioned record."""
    meant, air = test.meant, test.place.weather.air
    unjudged = Expected("", "", "", "")
    record = Record(
        meant.job.job_id,
        meant.house,
        meant.stage,
        meant.started,
        (air.indoor_c, air.outdoor_c, 0.0, test.place.weather.from_deg or 360.0),
        air.pressure_pa / 100.0,
        (meant.kit.gauge, meant.kit.fan, meant.kit.line),
        meant.plans,
        unjudged,
        "",
        encoding,
        meant.job.crew,
        tester,
    )
    return layouts.sectioned(sections(record, test.seen), encoding)


def _german_table(fan: Fan) -> list[list[str]]:
    return [
        [
            GERMAN_OPENINGS.get(opening.name, opening.name),
            f"{pressure_pa}",
            f"{float(opening.flow_m3_h(pressure_pa)):.0f}",
            "1,204",
        ]
        for opening in fan.openings
        for pressure_pa in _FAN_PRESSURES_PA
        if opening.least_pa <= pressure_pa <= opening.most_pa
    ]


def _german_run(run: RunShown, plan: Plan, copied: bool) -> list[list[str]]:
    rows = [
        [
            "",
            "Nullmessung vorher",
            comma(run.before.mean_pa, 1),
            comma(run.before.spread_pa, 1),
            f"{plan.baseline_s}",
            "",
            "",
        ]
    ]
    for point in run.points:
        opening = GERMAN_OPENINGS.get(point.opening, point.opening)
        pressure, spread = comma(point.pressure.mean_pa, 1), comma(point.pressure.spread_pa, 1)
        rows.append(["", "Messpunkt", pressure, spread, f"{plan.point_s}", opening, comma(point.fan_pa, 1)])
    after = run.before if copied else run.after
    rows.append(
        ["", "Nullmessung nachher", comma(after.mean_pa, 1), comma(after.spread_pa, 1), f"{plan.baseline_s}", "", ""]
    )
    return [[f"{number}", *row[1:]] for number, row in enumerate(rows, 1)]


def german(test: Done, *, calibration: bool, encoding: str = "utf-8") -> bytes:
    """A record of points with the fan's pressure only."""
    meant, air, fan = test.meant, test.place.weather.air, test.place.fan
    minutes = sum(2 * plan.baseline_s + len(plan.targets_pa) * (SETTLE_S + plan.point_s) for plan in meant.plans) / 60
    head = {
        "Auftrag": meant.job.job_id,
        "Haus": meant.house.site_id,
        "Zeitpunkt": GERMAN_STAGES[meant.stage],
        "Beginn": f"{meant.started:%d.%m.%Y %H:%M}",
        "Ende": f"{meant.started + timedelta(minutes=round(minutes) + 9):%d.%m.%Y %H:%M}",
        "Volumen": comma(meant.house.volume_m3, 1),
        "Grundfläche": comma(meant.house.floor_m2, 1),
        "Hüllfläche": comma(meant.house.envelope_m2, 1),
        "Innentemperatur": comma(air.indoor_c, 1),
        "Außentemperatur": comma(air.outdoor_c, 1),
        "Luftdruck": comma(air.pressure_pa / 100.0, 1),
        "Wind": beaufort_word(meant.sky, ("windstill", "leichter Wind", "mäßiger Wind", "starker Wind")),
        "Messgerät": meant.kit.gauge.serial,
        "Gebläse": fan.serial,
        "Gebläse geprüft": f"{fan.calibrated_on:%d.%m.%Y}",
    }
    named = {-1: "Unterdruck", 1: "Überdruck"}
    copied = "baseline_copied" in meant.planted
    runs = [
        (named[run.sign], _german_run(run, plan, copied)) for run, plan in zip(test.seen.runs, meant.plans, strict=True)
    ]
    return layouts_files.fan_pressure(head, _german_table(fan) if calibration else (), runs, encoding)


def points(test: Done) -> tuple[bytes, bytes, bytes]:
    """Points, baselines and weather of a test in three files."""
    meant, air, run, plan = test.meant, test.place.weather.air, test.seen.runs[0], test.meant.plans[0]
    head = {
        "Job": meant.job.job_id,
        "House": meant.house.site_id,
        "Stage": meant.stage,
        "Started": f"{meant.started:%Y-%m-%d %H:%M}",
        "Volume": f"{meant.house.volume_m3:.0f}",
        "Indoor": f"{air.indoor_c:.1f}",
        "Outdoor": f"{air.outdoor_c:.1f}",
    }
    rows = [
        [
            f"{number}",
            f"{point.pressure.mean_pa:.1f}",
            f"{point.pressure.spread_pa:.1f}",
            f"{plan.point_s}",
            point.opening,
            f"{point.fan_pa:.1f}",
            f"{point.flow_m3_h:.0f}",
        ]
        for number, point in enumerate(run.points, 1)
    ]
    after = run.before if "baseline_copied" in meant.planted else run.after
    baselines = [
        [phase, f"{shown.mean_pa:.2f}", f"{shown.spread_pa:.2f}", f"{plan.baseline_s}"]
        for phase, shown in (("before", run.before), ("after", after))
    ]
    rng = generator(f"hand-held {meant.job.job_id} {meant.stage}")
    step_s, count = 30, 20
    near, gust = test.seen.near_ground_m_s, test.seen.gust_m_s
    weather = []
    for number in range(1, count + 1):
        mean = max(0.0, near * float(rng.normal(1.0, 0.18)))
        peak = max(1.15 * mean, gust * float(rng.uniform(0.75, 1.0)))
        bearing = round(test.place.weather.from_deg + float(rng.normal(0.0, 12.0))) % 360 or 360
        elapsed = f"{timedelta(seconds=step_s * number)}".zfill(8)
        weather.append([elapsed, f"{mean:.1f}", f"{peak:.1f}", f"{bearing}"])
    return (
        layouts_files.points(head, rows),
        layouts_files.baseline(baselines),
        layouts_files.companion_weather(weather),
    )


def trace(test: Meant) -> tuple[Done, bytes]:
    """A fan test logged at 1 s, and the test as it went."""
    place = place_of(test)
    went: FanLog = log_run(place, test.plans[0])
    keys = {
        "job": test.job.job_id,
        "house": test.house.site_id,
        "stage": test.stage,
        "volume": f"{test.house.volume_m3:.0f} m3",
        "gauge": test.kit.gauge.serial,
        "averaging": "1 s",
    }
    air = place.weather.air
    rows = [
        [
            f"{test.started + timedelta(seconds=second):%Y-%m-%d %H:%M:%S}",
            f"{-read + 0.0:.1f}",
            f"{fan + 0.0:.1f}",
            "" if np.isnan(flow) else f"{in_unit(float(flow), 'L/s'):.1f}",
            f"{air.indoor_c:.1f}",
            f"{air.outdoor_c:.1f}",
        ]
        for second, (read, fan, flow) in enumerate(zip(went.read_pa, went.fan_pa, went.flow_m3_h, strict=True))
    ]
    return Done(test, place, went.seen), layouts_files.test_log(keys, rows)


def moments(first: datetime, last: datetime, step: timedelta) -> list[datetime]:
    """Moments from the first up to, but without, the last."""
    return [first + number * step for number in range((last - first) // step)]


def _gust_m_s(rng: np.random.Generator, weather: Sky) -> float:
    return weather.station_m_s * float(rng.uniform(1.35, 1.75))


def weather_log(first: datetime, last: datetime, step: timedelta) -> bytes:
    """The station on the ridge: one row a record, light gusts not reported, calm from nowhere."""
    rng, rows = generator(f"ridge {first}"), []
    for moment in moments(first, last, step):
        weather = sky(moment)
        gust = _gust_m_s(rng, weather)
        calm = weather.station_m_s < 0.5
        rows.append(
            [
                spreadsheet_day(moment),
                f"{in_unit(weather.station_m_s, 'km/h'):.1f}",
                "none" if gust < 4.5 else f"{in_unit(gust, 'km/h'):.1f}",
                "0" if calm else f"{round(weather.from_deg) % 360 or 360}",
                f"{weather.outdoor_c:.1f}",
                "---" if rng.random() < 0.003 else f"{weather.barometer_pa(RIDGE_M) / 100.0:.1f}",
            ]
        )
    return layouts_files.weather_log(STATION, rows)


def weather_archive(first: datetime, last: datetime) -> bytes:
    """The hourly archive of the national station down the valley."""
    rng, rows = generator(f"archive {first}"), []
    for moment in moments(first, last, timedelta(hours=1)):
        weather = sky(moment)
        missing = rng.random() < 0.004
        bearing = round(weather.from_deg / 10.0) * 10 % 360 or 360
        gust = _gust_m_s(rng, weather)
        rows.append(
            {
                "DATE": f"{moment:%Y-%m-%dT%H:%M:%S}",
                "WND": "999,9,9,9999,9" if missing else f"{bearing:03d},1,N,{10.0 * weather.station_m_s:04.0f},1",
                "CIG": "99999,9,9,N",
                "VIS": "999999,9,9,9",
                "TMP": f"{10.0 * weather.outdoor_c:+05.0f},1",
                "DEW": "+9999,9",
                "SLP": f"{weather.sea_level_pa / 10.0:05.0f},1",
                "OC1": f"{10.0 * gust:04.0f},1" if gust > 9.0 else "",
            }
        )
    return layouts_files.weather_archive(ARCHIVE_STATION, rows)


def unix(moment: datetime) -> int:
    """Seconds since 1970 of a moment in UTC."""
    return int(moment.replace(tzinfo=UTC).timestamp())


def tall(
    record: dict[str, str],
    channels: Sequence[tuple[str, str, str]],
    series: Iterable[tuple[int, Sequence[str]]],
    started: datetime,
) -> bytes:
    """A log of one value a row; `series` has the step [s] and the texts of each channel, in the legend's order.

    Rows stand by time, and at one time by channel. `channels` are what is recorded, its unit, its line.
    """
    legend = [[f"{number}", *channel] for number, channel in enumerate(channels, 1)]
    begin = unix(started)
    stamped = sorted(
        (begin + step * index, number, text)
        for number, (step, texts) in enumerate(series, 1)
        for index, text in enumerate(texts)
    )
    samples = [[f"{stamp}", f"{number}", text] for stamp, number, text in stamped]
    return layouts_files.tall(record, legend, samples)
