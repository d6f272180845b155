"""Deliveries of two contractors who send sheets of one test a row."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime

from interchange.demo import layouts
from interchange.demo.kit import Fan, Gauge
from interchange.demo.programme import (
    BRANCHED,
    OPEN_WEST,
    OSTREL_FAN,
    OSTREL_GAUGE,
    QUILLBY_FAN,
    QUILLBY_GAUGE,
    SHELTERED,
    Delivery,
    Expected,
    House,
    setting,
    truth,
)
from interchange.demo.visit import Plan, RunShown, Water, conduct
from interchange.units import unit

STAGE_WORDS = {"before": "test-in", "interim": "interim", "after": "test-out", "inspection": "inspection"}
GAUGE_EXPONENT = 0.65  # what the gauges take for granted
POINT_S = 20
LINES = {"O1": OPEN_WEST, "O2": OPEN_WEST, "Q1": BRANCHED, "Q2": SHELTERED}  # by crew; no sheet says so

O87 = House("0087", 352.0, 141.0, 5.2, 2650.0, 0.655, left_after=0.62)
O88 = House("0088", 298.0, 118.0, 5.1, 2240.0, 0.641, left_after=0.66)
O91 = House("0091", 246.0, 98.0, 2.7, 1880.0, 0.668, left_after=0.71)
O93 = House("0093", 331.0, 132.0, 5.3, 2910.0, 0.637, left_after=0.58)
O94 = House("0094", 284.0, 112.0, 5.0, 2075.0, 0.652, left_after=0.64)
O96 = House("0096", 267.0, 107.0, 2.8, 2320.0, 0.649, left_interim=0.79)
O97 = House("0097", 315.0, 126.0, 5.2, 1540.0, 0.672)
O99 = House("0099", 229.0, 92.0, 2.6, 1790.0, 0.660, left_after=0.69)
O102 = House("0102", 341.0, 136.0, 5.4, 2530.0, 0.645)
O103 = House("0103", 308.0, 123.0, 5.1, 2180.0, 0.658)
Q21 = House("Q-21", 276.0, 110.0, 5.0, 2390.0, 0.647, left_after=0.61)
Q24 = House("Q-24", 362.0, 145.0, 5.5, 2720.0, 0.651, left_after=0.67)
Q26 = House("Q-26", 233.0, 93.0, 2.7, 1650.0, 0.663, left_after=0.72)
Q27 = House("Q-27", 324.0, 130.0, 5.3, 2460.0, 0.639)
Q33 = House("Q-33", 418.0, 167.0, 5.8, 5650.0, 0.612)

SOUND = "sound: nothing speaks against the point and its baseline"
ONE_POINT = "cannot_tell: one point shows no exponent"
ONE_WAY = "note or cannot_tell: one point, one direction"
NO_PARTNER = "cannot_tell: no other test of this house was delivered"
PAIR = "sound: both tests of the pair are sound"
BREEZE = "sound or note: some wind; a few per cent of the flow at 50 Pa"
GALE = "note or retest_advised: strong wind on one point; up to a tenth of the flow at 50 Pa"
GALE_PAIR = "note or retest_advised: one test of the pair stood in strong wind"

CALM_ALONE = Expected(SOUND, ONE_POINT, NO_PARTNER, ONE_WAY)
CALM_PAIR = Expected(SOUND, ONE_POINT, PAIR, ONE_WAY)
BREEZY_ALONE = Expected(BREEZE, ONE_POINT, NO_PARTNER, ONE_WAY)
BREEZY_PAIR = Expected(BREEZE, ONE_POINT, "sound or note: a breeze at both tests", ONE_WAY)
WINDY_ALONE = Expected(GALE, ONE_POINT, NO_PARTNER, "retest_advised or cannot_tell: strong wind on one point")
WINDY_PAIR = Expected(GALE, ONE_POINT, GALE_PAIR, "retest_advised or cannot_tell: strong wind on one point")
GALE_LATER = Expected(SOUND, ONE_POINT, GALE_PAIR, ONE_WAY)  # calm itself, its partner windy
WET_LINE = Expected(
    "note or retest_advised: calm, yet the baseline is far from the stack pressure, as with water in the line",
    ONE_POINT,
    "note or retest_advised: a wet line before the work; it cancels in the recomputed flow, not in the displayed",
    "retest_advised or cannot_tell: one point, and a line that was not dry",
)
DRIED = Expected(SOUND, ONE_POINT, WET_LINE.before_after, ONE_WAY)
NO_BASELINE = Expected(
    "note or cannot_tell: no baseline, so the stack pressure stays in the point",
    ONE_POINT,
    "note or cannot_tell: the test before the work has no baseline",
    "cannot_tell or retest_advised: no baseline",
)
AFTER_NO_BASELINE = Expected(SOUND, ONE_POINT, NO_BASELINE.before_after, ONE_WAY)
NO_FLOW = Expected(
    "cannot_tell: the flow was over range",
    ONE_POINT,
    "cannot_tell: the flow was over range",
    "cannot_tell: the flow was over range",
)
WRONG_SETTING = Expected(
    "sound or note: the row alone cannot show it, the flow is nearly three times too high",
    ONE_POINT,
    "retest_advised: leakage after the work is twice that before; fan setting to be asked for",
    ONE_WAY,
)
WRONG_SETTING_PARTNER = Expected(SOUND, ONE_POINT, "retest_advised: the other test of the pair is at fault", ONE_WAY)
NOT_REACHED = Expected(
    "note: 50 Pa was not reached; the exponent is assumed over a wider step",
    ONE_POINT,
    NO_PARTNER,
    ONE_WAY,
)


@dataclass(frozen=True, slots=True)
class Row:
    """One row as it was meant. Weather is indoor [F], outdoor [F], wind at 10 m [m/s], from [deg]."""

    job_id: str
    house: House
    stage: str
    started: datetime
    crew: str
    word: str
    weather: tuple[float, float, float, float]
    expected: Expected
    remark: str = ""
    sign: int = -1
    target_pa: float = 50.0
    fault: str | None = None
    water: Water | None = None
    baseline: bool = True
    over_range: bool = False
    told_setting: str | None = None  # what the row says where the physics takes another opening


def _at(day: int, hour: int, minute: int) -> datetime:
    return datetime(2026, 2, day, hour, minute)


WEEK_6 = (
    Row("00412", O87, "before", _at(2, 9, 10), "O1", "calm", (69, 38, 0.8, 210), CALM_PAIR, "attic hatch taped"),
    Row("00413", O88, "before", _at(2, 13, 30), "O1", "light", (68, 41, 2.3, 225), GALE_LATER),
    Row("00414", O91, "before", _at(3, 9, 5), "O1", "breezy", (67, 40, 4.8, 265), BREEZY_PAIR, "flue closed, fire out"),
    Row(
        "00415",
        O93,
        "before",
        _at(3, 13, 45),
        "O2",
        "calm",
        (70, 37, 1.2, 240),
        WET_LINE,
        "rain earlier, tube lay in the grass",
        fault="water_in_line",
        water=Water(-14.7),
    ),
    Row(
        "00416",
        O94,
        "before",
        _at(4, 10, 20),
        "O2",
        "calm",
        (69, 34, 0.9, 180),
        NO_BASELINE,
        fault="missing_baseline",
        baseline=False,
    ),
    Row("00417", O96, "interim", _at(5, 9, 15), "O1", "calm", (66, 33, 1.0, 90), CALM_ALONE, "loft half done"),
    Row("00418", O97, "inspection", _at(5, 14, 20), "O1", "light", (70, 39, 2.6, 200), CALM_ALONE),
    Row("00419", O99, "before", _at(6, 11, 0), "O2", "windy", (68, 43, 9.5, 280), WINDY_PAIR, "hard to hold"),
)
WEEK_9 = (
    Row("00412", O87, "after", _at(23, 9, 20), "O2", "calm", (68, 40, 1.1, 190), CALM_PAIR),
    Row("00413", O88, "after", _at(23, 14, 5), "O1", "windy", (69, 44, 10.5, 255), WINDY_PAIR, "gusts, needle swings"),
    Row("00414", O91, "after", _at(24, 9, 0), "O1", "breezy", (68, 42, 5.2, 300), BREEZY_PAIR),
    Row("00415", O93, "after", _at(24, 13, 40), "O2", "calm", (69, 39, 0.7, 120), DRIED, "tube dried first"),
    Row(
        "00416",
        O94,
        "after",
        _at(25, 10, 15),
        "O2",
        "calm",
        (68, 36, 1.3, 170),
        AFTER_NO_BASELINE,
    ),
    Row(
        "00420",
        O102,
        "before",
        _at(25, 14, 30),
        "O1",
        "windy",
        (70, 45, 11.0, 270),
        NO_FLOW,
        "fan signal off the scale, opening too small",
        fault="over_range",
        over_range=True,
        told_setting="quarter",
    ),
    Row("00421", O103, "before", _at(26, 9, 30), "O1", "breezy", (69, 41, 5.6, 235), BREEZY_ALONE),
    Row("00419", O99, "after", _at(27, 11, 10), "O2", "light", (67, 40, 2.0, 150), GALE_LATER),
)
QUILLBY_FEBRUARY = (
    Row("FV-3007", Q21, "before", _at(9, 9, 0), "Q1", "calm", (68, 35, 0.9, 60), CALM_PAIR),
    Row("FV-3007", Q21, "after", _at(26, 10, 0), "Q1", "calm", (67, 39, 1.4, 80), CALM_PAIR, "two sockets still open"),
    Row(
        "FV-3008",
        Q24,
        "before",
        _at(9, 13, 15),
        "Q1",
        "light",
        (69, 37, 2.4, 70),
        CALM_PAIR,
        "pressurised, ash in the grate",
        sign=1,
    ),
    Row("FV-3008", Q24, "after", _at(26, 14, 0), "Q1", "calm", (69, 40, 1.0, 100), CALM_PAIR, "pressurised", sign=1),
    Row("FV-3010", Q26, "before", _at(10, 9, 25), "Q2", "light", (66, 34, 2.1, 45), WRONG_SETTING_PARTNER),
    Row(
        "FV-3010",
        Q26,
        "after",
        _at(27, 9, 40),
        "Q2",
        "calm",
        (67, 38, 1.2, 110),
        WRONG_SETTING,
        fault="wrong_fan_setting",
        told_setting="full",
    ),
    Row("FV-3011", Q27, "before", _at(11, 13, 50), "Q2", "windy", (68, 42, 10.0, 30), WINDY_ALONE, "gusty"),
    Row(
        "FV-3012",
        Q33,
        "before",
        _at(12, 10, 5),
        "Q2",
        "calm",
        (65, 36, 1.1, 20),
        NOT_REACHED,
        "fan at its end, 50 not reached",
        target_pa=34.0,
    ),
)


def in_unit(value: float, spelling: str) -> float:
    """A value of the archive's unit in the unit a file uses."""
    stated = unit(spelling)
    return (value - float(stated.offset)) / float(stated.factor)


def cells(
    *,
    job_id: str,
    house: House,
    stage: str,
    started: datetime,
    crew: str,
    contractor: str,
    run: RunShown,
    setting_word: str,
    flow_m3_h: float,
    indoor_f: float,
    outdoor_f: float,
    word: str,
    remark: str,
    baseline: bool = True,
    over_range: bool = False,
) -> dict[str, str]:
    """One row: what the gauge showed, and the leakage it derives without having been told a baseline."""
    flow_text, pressure_text = f"{in_unit(flow_m3_h, 'cfm'):.0f}", f"{run.points[0].pressure.mean_pa:.1f}"
    displayed = float(flow_text) * (50.0 / abs(float(pressure_text))) ** GAUGE_EXPONENT
    return {
        "Job number": job_id,
        "House": house.site_id,
        "Stage": STAGE_WORDS[stage],
        "Test date": f"{started:%m/%d/%Y}",
        "Test time": f"{started:%I:%M %p}".lstrip("0"),
        "Crew": crew,
        "Contractor": contractor,
        "Baseline (Pa)": f"{run.before.mean_pa:.1f}" if baseline else "",
        "House pressure (Pa)": pressure_text,
        "Fan setting": setting_word,
        "Fan flow (cfm)": "OL" if over_range else flow_text,
        "Volume (cu ft)": f"{in_unit(house.volume_m3, 'cu ft'):.0f}",
        "Floor area (sq ft)": f"{in_unit(house.floor_m2, 'sq ft'):.0f}",
        "Indoor (F)": f"{indoor_f:.0f}",
        "Outdoor (F)": f"{outdoor_f:.0f}",
        "Wind": word,
        "Leakage at 50 Pa (cfm)": "n/a" if over_range else f"{displayed:.0f}",
        "Remarks": remark,
    }


def _cells(row: Row, run: RunShown, contractor: str, fan: Fan) -> dict[str, str]:
    point = run.points[0]
    setting_word, flow_m3_h = point.opening, point.flow_m3_h
    if row.told_setting is not None:
        told = next(opening for opening in fan.openings if opening.name == row.told_setting)
        setting_word, flow_m3_h = told.name, float(told.flow_m3_h(point.fan_pa))
    return cells(
        job_id=row.job_id,
        house=row.house,
        stage=row.stage,
        started=row.started,
        crew=row.crew,
        contractor=contractor,
        run=run,
        setting_word=setting_word,
        flow_m3_h=flow_m3_h,
        indoor_f=row.weather[0],
        outdoor_f=row.weather[1],
        word=row.word,
        remark=row.remark,
        baseline=row.baseline,
        over_range=row.over_range,
    )


def _sheet(
    file: str,
    rows: Sequence[Row],
    *,
    why: str,
    contractor: str,
    kit: tuple[Gauge, Fan],
    columns: Sequence[str] = layouts.SHEET_COLUMNS,
    mark: bool = False,
) -> Delivery:
    rows_shown, tests = [], []
    fahrenheit = unit("F")
    for number, row in enumerate(rows, layouts.FIRST_SHEET_ROW):
        indoor_c, outdoor_c = (
            float(fahrenheit.factor) * degrees + float(fahrenheit.offset) for degrees in row.weather[:2]
        )
        place = setting(
            row.house,
            job_id=row.job_id,
            stage=row.stage,
            weather=(indoor_c, outdoor_c, *row.weather[2:]),
            kit=(*kit, LINES[row.crew]),
            water=row.water,
        )
        seen = conduct(place, (Plan(row.sign, (row.target_pa,), point_s=POINT_S),))
        rows_shown.append(_cells(row, seen.runs[0], contractor, kit[1]))
        tests.append(
            truth(
                place,
                seen,
                place=f"row {number}",
                job_id=row.job_id,
                site_id=row.house.site_id,
                stage=row.stage,
                kind="single_point",
                direction="depressurisation" if row.sign < 0 else "pressurisation",
                fault=row.fault,
                expected=row.expected,
            )
        )
    return Delivery(file, layouts.sheet(rows_shown, columns, mark), "imported", why, tuple(tests))


def deliveries() -> list[Delivery]:
    """The sheets, and an exact copy of one of them."""
    week_6, week_9 = (
        _sheet(
            f"ostrel/tests-week-{week}.csv",
            rows,
            why="eight tests, one a row",
            contractor="Ostrel Retrofit",
            kit=(OSTREL_GAUGE, OSTREL_FAN),
        )
        for week, rows in (("06", WEEK_6), ("09", WEEK_9))
    )
    names = layouts.SHEET_COLUMNS
    february = _sheet(
        "quillby/february.csv",
        QUILLBY_FEBRUARY,
        why="eight tests, one a row; columns in another order, byte order mark first",
        contractor="Quillby Home Energy",
        kit=(QUILLBY_GAUGE, QUILLBY_FAN),
        columns=(names[1], names[0], *names[2:7], *names[16:], *names[7:16]),
        mark=True,
    )
    again = Delivery(
        "ostrel/weekly-resend/tests-week-06.csv",
        week_6.content,
        "imported",
        f"the same bytes as {week_6.file}: known already, nothing is added",
        known=len(week_6.tests),
    )
    return [week_6, week_9, again, february]
