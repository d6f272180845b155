"""Deliveries of the contractor who sends a sectioned record for each test."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np

from interchange.demo import layouts
from interchange.demo.kit import Fan, Gauge, Line
from interchange.demo.programme import (
    ALL_SIDES,
    BRANCHED,
    HARROW_FAN,
    HARROW_FAN_2,
    HARROW_GAUGE,
    HARROW_GAUGE_2,
    OPEN_NORTH,
    OPEN_WEST,
    Delivery,
    Expected,
    House,
    setting,
    truth,
)
from interchange.demo.visit import Plan, RunShown, Seen, Setting, Water, conduct

NINE_POINTS = (60.0, 55.0, 50.0, 45.0, 40.0, 35.0, 30.0, 25.0, 20.0)
TEN_DOWN = (70.0, 60.0, 50.0, 40.0, 30.0, 20.0, 10.0)
WINDY_POINTS = (65.0, 60.0, 55.0, 50.0, 45.0, 40.0)  # the lower ones could not be held

H118 = House("H-118", 412.5, 165.0, 5.4, 2790.0, 0.642, 398.0, left_after=0.57)
H121 = House("H-121", 356.0, 142.5, 5.2, 2145.0, 0.661, 352.0, 95.0)
H124 = House("H-124", 388.0, 155.0, 5.3, 2480.0, 0.648, 376.0, 140.0)
H125 = House("H-125", 301.5, 120.5, 5.0, 1985.0, 0.653, 318.0, 110.0)
H128 = House("H-128", 274.0, 109.5, 2.8, 2260.0, 0.645, 301.0, 130.0)
H130 = House("H-130", 337.0, 134.5, 5.1, 2370.0, 0.657, 341.0, 1480.0)

SOUND_PAIR = "sound: both tests of the pair are sound"
NO_PARTNER = "cannot_tell: no other test of this house was delivered"
ONE_WAY_CALM = Expected(
    "sound: calm, straight line, baselines agree",
    "sound or note: calm; one direction only",
    SOUND_PAIR,
    "note: one direction only",
)
BOTH_WAYS = Expected(
    "sound: calm, both directions agree",
    "sound or note: calm, both directions",
    NO_PARTNER,
    "sound or note: calm, both directions",
)
STORM = Expected(
    "note or retest_advised: strong wind, points scatter, a few per cent to a tenth",
    "retest_advised or cannot_tell: strong wind, points below 40 Pa are lost",
    NO_PARTNER,
    "retest_advised: strong wind",
)
WET_MIDWAY = Expected(
    "retest_advised: the baselines before and after differ by about 8 Pa on a calm day, the points jump at the fourth",
    "retest_advised: the jump bends the line",
    NO_PARTNER,
    "retest_advised: the baselines do not agree",
)
THIN_AIR = Expected(
    "sound or note: recomputed with air densities, which move the two directions by about -5 and +9 per cent",
    "sound or note: large stack pressure, both directions",
    NO_PARTNER,
    "sound or note: cold; temperature difference times height is about 160 m K",
)


@dataclass(frozen=True, slots=True)
class Record:
    """One sectioned record as it was meant. Weather is indoor [°C], outdoor [°C], wind at 10 m [m/s], from [deg]."""

    job_id: str
    house: House
    stage: str
    started: datetime
    weather: tuple[float, float, float, float]
    barometer_hpa: float
    kit: tuple[Gauge, Fan, Line]
    plans: tuple[Plan, ...]
    expected: Expected
    why: str
    encoding: str = "utf-8"
    crew: str = "C2"
    tester: str = "tk"
    fault: str | None = None
    water: Water | None = None


_KIT = (HARROW_GAUGE, HARROW_FAN)
_KIT_2 = (HARROW_GAUGE_2, HARROW_FAN_2)

RECORDS = (
    Record(
        "FV-2031",
        H118,
        "before",
        datetime(2026, 2, 3, 10, 42),
        (20.5, 4.0, 1.6, 240.0),
        1009.5,
        (*_KIT, BRANCHED),
        (Plan(-1, NINE_POINTS),),
        ONE_WAY_CALM,
        "a calm test before the work, cp1252",
        "cp1252",
    ),
    Record(
        "FV-2034",
        H121,
        "before",
        datetime(2026, 2, 5, 9, 20),
        (19.5, 3.0, 2.1, 200.0),
        1016.0,
        (*_KIT_2, ALL_SIDES),
        (Plan(-1, TEN_DOWN), Plan(1, TEN_DOWN)),
        BOTH_WAYS,
        "calm, both directions",
        crew="C1",
        tester="md",
    ),
    Record(
        "FV-2036",
        H124,
        "before",
        datetime(2026, 2, 10, 11, 5),
        (20.0, 7.5, 10.5, 255.0),
        987.0,
        (*_KIT, OPEN_WEST),
        (Plan(-1, WINDY_POINTS),),
        STORM,
        "very windy; the low points could not be held",
    ),
    Record(
        "FV-2037",
        H125,
        "before",
        datetime(2026, 2, 11, 9, 35),
        (21.0, 2.5, 1.2, 300.0),
        1003.0,
        (*_KIT, OPEN_NORTH),
        (Plan(-1, NINE_POINTS),),
        WET_MIDWAY,
        "water enters the line at the fourth point",
        "cp1252",
        fault="water_in_line",
        water=Water(-8.4, from_point=4),
    ),
    Record(
        "FV-2039",
        H130,
        "before",
        datetime(2026, 2, 12, 13, 15),
        (20.0, -12.0, 1.5, 20.0),
        845.6,
        (*_KIT_2, BRANCHED),
        (Plan(-1, TEN_DOWN), Plan(1, TEN_DOWN)),
        THIN_AIR,
        "a house at 1480 m on a cold day: air densities matter",
        crew="C1",
        tester="md",
    ),
    Record(
        "FV-2031",
        H118,
        "after",
        datetime(2026, 2, 24, 10, 10),
        (20.0, 5.5, 1.9, 180.0),
        1012.0,
        (*_KIT, BRANCHED),
        (Plan(-1, NINE_POINTS),),
        ONE_WAY_CALM,
        "the test after the work on the house of FV-2031",
    ),
)
_CUT_SHORT = Record(
    "FV-2038",
    H128,
    "before",
    datetime(2026, 2, 11, 14, 0),
    (20.0, 4.5, 2.4, 270.0),
    1002.0,
    (*_KIT_2, BRANCHED),
    (Plan(-1, NINE_POINTS),),
    ONE_WAY_CALM,
    "",
    crew="C1",
    tester="md",
)


def comma(value: float, digits: int) -> str:
    """A number with a decimal comma."""
    return f"{value:.{digits}f}".replace(".", ",")


def _run_lines(run: RunShown, plan: Plan) -> list[list[str]]:
    pairs = {}
    for name, baseline in (("before", run.before), ("after", run.after)):
        pairs[f"Baseline {name}"] = comma(baseline.mean_pa, 2)
        pairs[f"Baseline {name} spread"] = comma(baseline.spread_pa, 2)
        pairs[f"Baseline {name} seconds"] = f"{plan.baseline_s}"
    rows = [
        [
            f"{number}",
            f"{point.target_pa:.0f}",
            comma(point.pressure.mean_pa, 1),
            comma(point.pressure.spread_pa, 1),
            f"{plan.point_s}",
            point.opening,
            comma(point.fan_pa, 1),
            f"{point.flow_m3_h:.0f}",
        ]
        for number, point in enumerate(run.points, 1)
    ]
    return [*layouts.entries(pairs), *(list(line) for line in layouts.POINT_HEAD), *rows]


def _result(seen: Seen, volume_m3: float) -> dict[str, str]:
    """The record's own result: one straight line through all points, baselines subtracted, air densities left out."""
    pressure, flow = [], []
    for run in seen.runs:
        zero_pa = 0.5 * (run.before.mean_pa + run.after.mean_pa)
        pressure += [abs(point.pressure.mean_pa - zero_pa) for point in run.points]
        flow += [point.flow_m3_h for point in run.points]
    x, y = np.log(pressure), np.log(flow)
    exponent = float(np.sum((x - x.mean()) * (y - y.mean())) / np.sum((x - x.mean()) ** 2))
    coefficient = float(np.exp(y.mean() - exponent * x.mean()))
    flow_50 = coefficient * 50.0**exponent
    return {
        "Flow at 50 Pa": f"{flow_50:.0f}",
        "Air changes at 50 Pa": comma(flow_50 / volume_m3, 2),
        "Coefficient": comma(coefficient, 1),
        "Exponent": comma(exponent, 3),
        "Correlation r2": comma(float(np.corrcoef(x, y)[0, 1]) ** 2, 4),
    }


def sections(record: Record, seen: Seen) -> list[tuple[str, Sequence[Sequence[str]]]]:
    """The sections of a record and their lines of cells."""
    house, (gauge, fan, line), weather = record.house, record.kit, record.weather
    test = {
        "Job": record.job_id,
        "House": house.site_id,
        "Stage": record.stage,
        "Started": f"{record.started:%d.%m.%Y %H:%M}",
        "UTC offset": "+00:00",
        "Contractor": "Harrow Insulation",
        "Crew": record.crew,
        "Tester": record.tester,
        "Procedure": "multi-point",
    }
    building = {
        "Volume": comma(house.volume_m3, 1),
        "Floor area": comma(house.floor_m2, 1),
        "Envelope area": comma(house.envelope_m2, 1),
        "Height": comma(house.roof_m, 1),
        "Elevation": f"{house.elevation_m:.0f}",
    }
    air = {
        "Indoor": comma(weather[0], 1),
        "Outdoor": comma(weather[1], 1),
        "Barometer": comma(record.barometer_hpa, 1),
        "Wind": comma(seen.near_ground_m_s, 1),
        "Gust": comma(seen.gust_m_s, 1),
        "Wind from": f"{weather[3]:.0f}",
    }
    kit = {
        "Gauge": gauge.serial,
        "Gauge calibrated": f"{gauge.calibrated_on:%d.%m.%Y}",
        "Fan": fan.serial,
        "Fan calibrated": f"{fan.calibrated_on:%d.%m.%Y}",
        "Line end": line.arrangement,
        "Line length": f"{line.length_m:.0f}",
    }
    openings = [
        [
            opening.name,
            comma(opening.coefficient_m3_h, 1),
            comma(opening.exponent, 3),
            f"{opening.least_pa:.0f}",
            "1,204",
        ]
        for opening in fan.openings
    ]
    named = {-1: "Depressurisation", 1: "Pressurisation"}
    return [
        ("Test", layouts.entries(test)),
        ("House", layouts.entries(building)),
        ("Air", layouts.entries(air)),
        ("Kit", layouts.entries(kit)),
        ("Fan calibration", [*layouts.CALIBRATION_HEAD, *openings]),
        *((named[run.sign], _run_lines(run, plan)) for run, plan in zip(seen.runs, record.plans, strict=True)),
        ("Result", layouts.entries(_result(seen, house.volume_m3))),
    ]


def _conducted(record: Record) -> tuple[Setting, Seen]:
    place = setting(
        record.house,
        job_id=record.job_id,
        stage=record.stage,
        weather=record.weather,
        kit=record.kit,
        water=record.water,
        barometer_pa=100.0 * record.barometer_hpa,
    )
    return place, conduct(place, record.plans)


def _delivery(record: Record, file: str, planted: tuple[str, ...] = ()) -> Delivery:
    place, seen = _conducted(record)
    direction = "both" if len(record.plans) > 1 else "depressurisation"
    true = truth(
        place,
        seen,
        place="file",
        job_id=record.job_id,
        site_id=record.house.site_id,
        stage=record.stage,
        kind="multi_point",
        direction=direction,
        fault=record.fault,
        expected=record.expected,
        planted=planted,
    )
    content = layouts.sectioned(sections(record, seen), record.encoding)
    return Delivery(file, content, "imported", record.why, (true,))


def deliveries() -> list[Delivery]:
    """The sectioned records, a corrected one sent later, and one that was spoilt."""
    made = [_delivery(record, f"harrow/{record.job_id}-{record.stage}.csv") for record in RECORDS]
    first = RECORDS[1]
    right = replace(
        first,
        house=replace(first.house, volume_m3=365.0),
        why="FV-2034 sent again with the volume corrected from 356 to 365 m3: other bytes, the same test",
    )
    corrected = _delivery(right, "harrow/resent/FV-2034-before.csv", ("resend_of:harrow/FV-2034-before.csv",))
    whole = layouts.sectioned(sections(_CUT_SHORT, _conducted(_CUT_SHORT)[1]), "utf-8").decode().split("\n")
    number = next(index for index, line in enumerate(whole) if line.startswith("2;-55;"))
    cells = whole[number].split(";")
    cells[2] = "58,x"
    whole[number] = ";".join(cells)
    spoilt = Delivery(
        "harrow/FV-2038-before.csv",
        "\n".join(whole).encode(),
        "refused",
        f"row {number + 1}, column Envelope holds 58,x, which is no number",
    )
    return [*made, corrected, spoilt]
