"""Tests of the year as cells of the layouts that are one table."""

from __future__ import annotations

from datetime import datetime, timedelta

import numpy as np

from interchange.demo import sheets
from interchange.demo.meant import Done
from interchange.demo.season import Sky
from interchange.demo.sheets import GAUGE_EXPONENT, in_unit
from interchange.demo.verdicts import Told
from interchange.demo.visit import SETTLE_S, Plan

TWO_POINTS_PA = (50.0, 12.5)  # ASTM E1827, two-point technique (from memory)
SPREADSHEET_ZERO = datetime(1899, 12, 30)
_DAY = timedelta(days=1)

TOLD_ROW = Told()
TOLD_ACROSS = Told(by_hand=True, spread=False)
TOLD_BOTH = Told(wind=False, spread=False, temperatures=False)

FRENCH_STAGES = {"before": "avant", "after": "après", "interim": "intermédiaire", "inspection": "contrôle"}
FRENCH_OPENINGS = {"full": "ouvert", "half": "moyen", "quarter": "petit"}
VISITS = {"before": "first", "after": "last", "interim": "mid", "inspection": "check"}
_BEAUFORT_BELOW_M_S = (1.6, 5.5, 10.8)  # upper ends of Beaufort 1, 3 and 5, common practice, no source


def beaufort_word(weather: Sky, words: tuple[str, str, str, str]) -> str:
    """One of four words, for Beaufort 0-1, 2-3, 4-5 and 6 or more."""
    return words[sum(weather.station_m_s >= limit for limit in _BEAUFORT_BELOW_M_S)]


def _english_word(test: Done) -> str:
    if test.meant.state == "calm":
        return "calm" if test.meant.sky.station_m_s < 1.6 else "light"
    return test.meant.state


def _displayed(flow: float, pressure: float) -> float:
    return float(flow * (50.0 / abs(pressure)) ** GAUGE_EXPONENT)


def spreadsheet_day(moment: datetime) -> str:
    """Days since 1899-12-30 with their fraction, to a tenth of a second."""
    return f"{(moment - SPREADSHEET_ZERO) / _DAY:.6f}"


def sheet_row(test: Done) -> dict[str, str]:
    """Row of a sheet of one test a row."""
    meant, run = test.meant, test.seen.runs[0]
    flow_m3_h = run.points[0].flow_m3_h
    if meant.shown_share is not None:
        flow_m3_h = (
            meant.shown_share * meant.job.target_m3_h / _displayed(1.0, round(run.points[0].pressure.mean_pa, 1))
        )
    air = test.place.weather.air
    return sheets.cells(
        job_id=meant.job.job_id,
        house=meant.house,
        stage=meant.stage,
        started=meant.started,
        crew=meant.job.crew,
        contractor=meant.job.contractor,
        run=run,
        setting_word=run.points[0].opening,
        flow_m3_h=flow_m3_h,
        indoor_f=in_unit(air.indoor_c, "F"),
        outdoor_f=in_unit(air.outdoor_c, "F"),
        word=_english_word(test),
        remark=meant.remark,
        baseline=meant.baseline,
    )


def french(value: float, digits: int) -> str:
    """A number with a decimal comma and a blank for thousands."""
    return f"{value:,.{digits}f}".replace(",", " ").replace(".", ",")


def french_column(test: Done) -> dict[str, str]:
    """Column of a transposed table."""
    meant, run, air = test.meant, test.seen.runs[0], test.place.weather.air
    point = run.points[0]
    pressure_pa, flow_m3_h = round(point.pressure.mean_pa, 1), round(point.flow_m3_h)
    return {
        "Dossier": meant.job.job_id,
        "Maison": meant.house.site_id,
        "Étape": FRENCH_STAGES[meant.stage],
        "Date": f"{meant.started:%d/%m/%Y}",
        "Heure": f"{meant.started:%H:%M}",
        "Équipe": meant.job.crew,
        "Pression au repos (Pa)": french(run.before.mean_pa, 1) if meant.baseline else "n.d.",
        "Pression (Pa)": french(pressure_pa, 1),
        "Diaphragme": FRENCH_OPENINGS[point.opening],
        "Débit (m³/h)": french(flow_m3_h, 0),
        "Volume (m³)": french(meant.house.volume_m3, 1),
        "Surface (m²)": french(meant.house.floor_m2, 1),
        "Température intérieure (°C)": french(air.indoor_c, 1),
        "Température extérieure (°C)": french(air.outdoor_c, 1),
        "Vent": beaufort_word(meant.sky, ("calme", "faible", "modéré", "fort")),
        "Débit à 50 Pa (m³/h)": french(_displayed(flow_m3_h, pressure_pa), 0),
        "Remarques": meant.remark,
    }


def across_row(test: Done) -> dict[str, str]:
    """Row of a sheet whose points are counted across; magnitudes, the direction in words."""
    meant, run, air = test.meant, test.seen.runs[0], test.place.weather.air
    counted = dict(enumerate(run.points, 1))
    return {
        **across_head(meant.job.job_id, meant.house.site_id, meant.stage, meant.started),
        "Test": "envelope",
        "Direction": "out" if run.sign < 0 else "in",
        "Zero before (Pa)": f"{run.before.mean_pa:.1f}" if meant.baseline else "-",
        "Zero after (Pa)": f"{run.after.mean_pa:.1f}" if meant.baseline else "-",
        **{f"P{number} (Pa)": f"{abs(point.pressure.mean_pa):.1f}" for number, point in counted.items()},
        **{f"F{number} (cfm)": f"{in_unit(point.flow_m3_h, 'cfm'):.0f}" for number, point in counted.items()},
        "Opening": run.points[0].opening,
        "Volume (ft3)": f"{in_unit(meant.house.volume_m3, 'ft3'):.0f}",
        "Inside (°F)": f"{in_unit(air.indoor_c, 'F'):.0f}",
        "Outside (°F)": f"{in_unit(air.outdoor_c, 'F'):.0f}",
        "Altitude (ft)": f"{in_unit(meant.house.elevation_m, 'ft'):.0f}",
        "Wind (mph)": f"{in_unit(test.seen.near_ground_m_s, 'mph'):.1f}",
        "Gust (mph)": f"{in_unit(test.seen.gust_m_s, 'mph'):.1f}",
        "Comment": meant.remark,
    }


def across_head(job_id: str, site_id: str, stage: str, started: datetime) -> dict[str, str]:
    """What every row of such a sheet has, tested or not."""
    return {"Ref": job_id, "Property": site_id, "Visit": VISITS[stage], "Started": spreadsheet_day(started)}


def clock(moment: datetime) -> str:
    """Time of day on a 12-hour clock."""
    return f"{moment:%I:%M %p}".lstrip("0")


def both_rows(test: Done, dropped: int | None = None) -> list[dict[str, str]]:
    """Rows of one test in a table of both directions; the point `dropped` of the first run was spoilt by a door."""
    meant, rows = test.meant, []
    seconds = sum(2 * plan.baseline_s + len(plan.targets_pa) * (SETTLE_S + plan.point_s) for plan in meant.plans)
    head = {
        "Test": meant.job.job_id,
        "House": meant.house.site_id,
        "Stage": meant.stage,
        "Date": f"{meant.started:%Y-%m-%d}",
        "Start": clock(meant.started),
        "End": clock(meant.started + timedelta(seconds=seconds)),
    }
    for run in test.seen.runs:
        before, after = round(run.before.mean_pa, 1), round(run.after.mean_pa, 1)
        for step, point in enumerate(run.points, 1):
            spoilt = dropped == step and run is test.seen.runs[0]
            induced = abs(point.pressure.mean_pa - 0.5 * (run.before.mean_pa + run.after.mean_pa))
            rows.append(
                {
                    **head,
                    "Direction": "depressurise" if run.sign < 0 else "pressurise",
                    "Step": f"{step}",
                    "Pressure (Pa)": f"{induced * (0.7 if spoilt else 1.0):.1f}",
                    **_plates(test, point.flow_m3_h),
                    "Baseline start (Pa)": f"{before:.1f}",
                    "Baseline end (Pa)": f"{after:.1f}",
                    "Used": "no" if spoilt else "yes",
                    "Why not": "back door blew open" if spoilt else "",
                }
            )
    return rows


def _plates(test: Done, flow_m3_h: float) -> dict[str, str]:
    """Flow of one fan, or of two fans that share it."""
    fan, fans = test.place.fan, 2 if test.meant.two_fans else 1
    plate, shown = fan.opening_for(flow_m3_h / fans).name, in_unit(flow_m3_h / fans, "L/s")
    return {
        name: text
        for number in range(1, fans + 1)
        for name, text in ((f"Plate {number}", plate), (f"Flow {number} (L/s)", f"{shown:.1f}"))
    }


def plan_across(sign: int, points: int) -> Plan:
    """A run of at most ten points from 60 Pa down, as the sheet counted across has room for, or of two points."""
    if points == len(TWO_POINTS_PA):
        return Plan(sign, TWO_POINTS_PA, baseline_s=30, point_s=30)
    targets = tuple(float(value) for value in np.linspace(60.0, 20.0, points).round())
    return Plan(sign, targets, baseline_s=30, point_s=20)
