"""What the programme's office has: an old ledger of results, and weather of two stations."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import date, datetime, timedelta

import numpy as np

from interchange.demo import bundle, layouts_rows
from interchange.demo.programme import Delivery
from interchange.demo.season import WINDY_WEEK
from interchange.demo.shapes_files import ARCHIVE_STATION, STATION, weather_archive, weather_log
from interchange.demo.sheets import in_unit
from interchange.demo.visit import generator
from interchange.demo.year import house

PAGE_ROWS = 24
_NATURAL_DIVISOR = 18.5  # from air changes at 50 Pa to natural ones: a rule of thumb, common practice, no source
_SINCE = date(2015, 10, 5)
_AREA_PRESSURE_PA = 4.0
_AREA_DENSITY_KG_M3 = 1.2041
_CM2_PER_M2 = 1e4
_OUTCOMES = {"no access": "no_access", "declined": "declined", "unsafe": "hazard"}
_METHODS = ("blower, one point", "blower, many points", "one point", "")


def _grouped(value: float, unit: str, digits: int = 0) -> str:
    return f"{value:,.{digits}f} {unit}"


def _area_cm2(flow_50_m3_h: float, exponent: float) -> float:
    """Effective leakage area at 4 Pa [cm2] = Q sqrt(rho / (2 dp)), discharge coefficient 1."""
    flow_m3_s = flow_50_m3_h * (_AREA_PRESSURE_PA / 50.0) ** exponent / 3600.0
    return float(flow_m3_s * np.sqrt(_AREA_DENSITY_KG_M3 / (2.0 * _AREA_PRESSURE_PA)) * _CM2_PER_M2)


def _when(day: date) -> str:
    return f"{day.day} {day:%b} {day.year}"


def _row(number: int, day: date, rng: np.random.Generator) -> tuple[dict[str, str], dict[str, object]]:
    """A row and its truth; one in forty holds the natural rate where the rate at 50 Pa belongs, or a wrong unit."""
    site_id = f"OLD-{number:04d}"
    cells = {"No": f"{number}", "Property": site_id, "When": _when(day)}
    draw = float(rng.random())
    if draw < 0.07:
        word = list(_OUTCOMES)[int(rng.integers(0, len(_OUTCOMES)))]
        true = bundle.untested(
            job_id=None,
            site_id=site_id,
            stage=None,
            kind="not_tested",
            planted=(f"not_tested:{word}",),
            reason=f"nothing was tested: {word}",
        )
        return {**cells, "Outcome": word}, true
    home = house(site_id)
    flow_m3_h = float(rng.normal(1.0, 0.02)) * home.flow_50_m3_h * float(rng.uniform(0.55, 1.1))
    per_h = flow_m3_h / home.volume_m3
    unit = ("cfm", "m3/h", "L/s")[int(rng.choice(3, p=(0.55, 0.35, 0.10)))]
    planted, natural = [], draw < 0.35
    shown_per_h, shown_unit = per_h, unit
    if number % 41 == 17:
        shown_per_h = per_h / _NATURAL_DIVISOR
        planted.append("natural_rate_as_50")
    elif number % 53 == 29:
        shown_unit = "m3/h" if unit == "cfm" else "cfm"
        planted.append("wrong_unit")
    area = _area_cm2(flow_m3_h, home.exponent)
    metric = unit != "cfm"
    cells |= {
        "Outcome": "tested",
        "Leakage at 50 Pa": _grouped(in_unit(flow_m3_h, unit), shown_unit),
        "Air changes at 50 Pa": f"{shown_per_h:.2f} /h" if planted else f"{shown_per_h:.1f} /h",
        "Natural air changes": f"{per_h / _NATURAL_DIVISOR:.2f} /h" if natural else "--",
        "Exponent": f"{home.exponent:.2f}" if draw > 0.6 else "",
        "Volume": _grouped(home.volume_m3, "m3") if metric else _grouped(in_unit(home.volume_m3, "cu ft"), "cu ft"),
        "Method": _METHODS[number % len(_METHODS)],
        "Basis": "measured" if draw < 0.93 else "estimated",
        "Note": "attic open" if number % 37 == 5 else "",
    }
    if draw > 0.6:
        cells["Leakage area"] = f"{area:.0f} cm2" if metric else f"{in_unit(area / _CM2_PER_M2, 'in2'):.0f} in2"
        cells["Area at"] = "4 Pa"
    if number % 29 == 11:  # only the natural rate is known
        cells |= {"Leakage at 50 Pa": "--", "Air changes at 50 Pa": "--"}
        cells["Natural air changes"] = f"{per_h / _NATURAL_DIVISOR:.2f} /h"
        planted = ["natural_rate_only"]
    true = bundle.untested(
        job_id=None,
        site_id=site_id,
        stage=None,
        kind="summary",
        planted=planted,
        reason="a result without its readings",
        flow=round(flow_m3_h, 1),
    )
    return cells, true


def ledger(file: str, numbers: range, encoding: str, since: date = _SINCE) -> Delivery:
    """A part of the old ledger, in pages."""
    rng = generator(f"ledger {numbers.start}")
    rows, day = [], since
    for number in numbers:
        day += timedelta(days=int(rng.integers(1, 13)))
        rows.append(_row(number, day, rng))
    pages = [rows[begin : begin + PAGE_ROWS] for begin in range(0, len(rows), PAGE_ROWS)]
    titles = ["Fennick Vale Warm Homes", f"Results before the programme, No {numbers.start} to {numbers.stop - 1}", ""]
    footers = [f"Page {page} of {len(pages)}" for page in range(1, len(pages))]
    tested = sum(cells["Outcome"] == "tested" for cells, _ in rows)
    content = layouts_rows.ledger(
        titles, [[cells for cells, _ in page] for page in pages], [*footers, f"Total tested {tested}"], encoding
    )
    # titles with a blank row, then for each page its header, its rows and its footer
    first = len(titles) + 2
    truths = tuple(
        {**true, "source_place": f"row {first + index + 2 * (index // PAGE_ROWS)}"}
        for index, (_, true) in enumerate(rows)
    )
    why = f"{len(rows)} results of years before, units in the cells, {len(pages)} pages"
    return Delivery(file, content, "imported", why, truths)


def _weather(file: str, content: bytes, station: str, why: str) -> Delivery:
    true = bundle.untested(
        job_id=None, site_id=None, stage=None, kind="weather", planted=(), reason="weather, not a test"
    )
    return Delivery(file, content, "imported", why, ({**true, "station": station},))


def _ridge(first: datetime, last: datetime, step: timedelta, why: str) -> Delivery:
    file = f"office/weather/ridge {first:%Y-%m-%d}.txt"
    return _weather(file, weather_log(first, last, step), STATION["station id"], why)


def _vale(first: datetime, last: datetime, why: str) -> Delivery:
    file = f"office/weather/vale-{first:%Y-%m-%d}.csv"
    return _weather(file, weather_archive(first, last), ARCHIVE_STATION["STATION"], why)


def weather() -> Sequence[Delivery]:
    """Station records: the windy week in both, the days of the lines side by side, two weeks of winter."""
    hour, ten = timedelta(hours=1), timedelta(minutes=10)
    day = timedelta(days=1)
    return [
        _ridge(*WINDY_WEEK, ten, "the ridge station, windy week, ten-minute means"),
        _ridge(datetime(2025, 7, 17), datetime(2025, 7, 18), ten, "the ridge station, a quiet day"),
        _ridge(datetime(2026, 1, 21), datetime(2026, 1, 22), ten, "the ridge station, a cold day"),
        _ridge(datetime(2025, 10, 1), datetime(2025, 11, 1), hour, "the ridge station, October by the hour"),
        _vale(WINDY_WEEK[0] - 7 * day, WINDY_WEEK[1] + 7 * day, "hourly archive of the vale, around the windy week"),
        _vale(datetime(2026, 1, 5), datetime(2026, 1, 19), "hourly archive of the vale, two weeks of winter"),
    ]


def deliveries() -> list[Delivery]:
    """All that lay in the office."""
    return [
        ledger("office/old results 2015-2019.csv", range(1, 205), "utf-8"),
        ledger("office/old results 2020.csv", range(205, 241), "cp1252", date(2020, 1, 6)),
        *weather(),
    ]
