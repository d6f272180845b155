"""A year of Quillby Home Energy: transposed tables by the first crew; sheets and logs at 1 s by the second."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime
from typing import Any

import numpy as np

from interchange.demo import bundle, layouts, layouts_rows
from interchange.demo.meant import Meant, Partners, done, meant, place_of, visits
from interchange.demo.others import Watch, fan_off_truth, watched
from interchange.demo.programme import BRANCHED, OPEN_NORTH, Delivery
from interchange.demo.season import sky
from interchange.demo.shapes_files import TOLD_TRACE, tall, trace
from interchange.demo.sheets import in_unit
from interchange.demo.visit import SETTLE_S, Plan, Seen, Water, log
from interchange.demo.wind import Array
from interchange.demo.year import Job, Kit, house, jobs, kit_of

Q1_JOBS = jobs("Q1", [(f"FV-{2901 + n}", f"Q-{101 + n}") for n in range(26)], date(2025, 3, 10), date(2025, 12, 15))
Q2_JOBS = jobs("Q2", [(f"FV-{2931 + n}", f"Q-{131 + n}") for n in range(12)], date(2025, 4, 14), date(2025, 11, 18))
UP = (Plan(1, (50.0,), point_s=20),)

_Q1_SPECIAL: Mapping[tuple[str, str], Mapping[str, Any]] = {
    ("FV-2905", "before"): {"plans": UP, "remark": "surpression, poêle allumé"},
    ("FV-2905", "after"): {"plans": UP, "remark": "surpression"},
    ("FV-2911", "before"): {"water": Water(-11.6), "fault": "water_in_line", "remark": "eau dans le tuyau ?"},
    ("FV-2914", "before"): {"baseline": False, "fault": "missing_baseline"},
    ("FV-2919", "after"): {"remark": "tempête, pluie"},
    ("FV-2922", "before"): {"remark": "trappe du grenier à refaire"},
}
_FILES = {  # by month; each holds what stood since the one before
    **dict.fromkeys(("2025-03", "2025-04"), "2025-04/printemps.csv"),
    **dict.fromkeys(("2025-05",), "2025-05/mai.csv"),
    **dict.fromkeys(("2025-06",), "2025-06/juin.csv"),
    **dict.fromkeys(("2025-07", "2025-08"), "2025-08/ete.csv"),
    **dict.fromkeys(("2025-09",), "2025-09/septembre.csv"),
    **dict.fromkeys(("2025-10",), "2025-10/octobre.csv"),
    **dict.fromkeys(("2025-11",), "2025-11/novembre.csv"),
    **dict.fromkeys(("2025-12",), "2025-12/decembre.csv"),
    **dict.fromkeys(("2026-01", "2026-02"), "2026-01/janvier.csv"),
}
_SENT_TWICE = "2025-09/septembre.csv"
_UTF_8 = ("2025-06/juin.csv", "2025-10/octobre.csv")
_OTHER_ORDER = (*layouts_rows.TRANSPOSED_NAMES[:6], *reversed(layouts_rows.TRANSPOSED_NAMES[6:]))

_Q2_SPECIAL: Mapping[tuple[str, str], Mapping[str, Any]] = {
    ("FV-2933", "after"): {"water": Water(-9.4), "fault": "water_in_line", "remark": "drizzle"},
    ("FV-2942", "before"): {"remark": "gusty and wet, came back"},
}
_Q2_FILES = {
    **dict.fromkeys(("2025-04", "2025-05", "2025-06"), "2025-06/tests april to june.csv"),
    **dict.fromkeys(("2025-07", "2025-08"), "2025-08/tests july august.csv"),
    **dict.fromkeys(("2025-09", "2025-10"), "2025-10/tests sep oct.csv"),
    **dict.fromkeys(("2025-11", "2025-12", "2026-01"), "2025-12/tests nov dec.csv"),
}


def _q1() -> list[Delivery]:
    again = meant(
        next(job for job in Q1_JOBS if job.job_id == "FV-2919"),
        "after",
        datetime(2025, 12, 11, 10, 5),
        remark="refait par temps calme",
        planted=("retest_of:FV-2919",),
    )
    tests = [*visits(Q1_JOBS, _Q1_SPECIAL), again]
    partners = Partners(tests)
    made = []
    for file, found in _by_file(tests, _FILES).items():
        encoding = "utf-8" if file in _UTF_8 else "cp1252"
        names = _OTHER_ORDER if file in _UTF_8 else layouts_rows.TRANSPOSED_NAMES
        gone = [done(test) for test in found]
        made.append(bundle.transposed(f"quillby/q1/{file}", gone, partners, names=names, encoding=encoding))
    first = next(delivery for delivery in made if delivery.file.endswith(_SENT_TWICE))
    again_file = "quillby/q1/2025-10/septembre (copie).csv"
    why = f"the same bytes as {first.file}: known already, nothing is added"
    return [*made, Delivery(again_file, first.content, "imported", why, known=len(first.tests))]


def _by_file(tests: Sequence[Meant], files: Mapping[str, str]) -> dict[str, list[Meant]]:
    found: dict[str, list[Meant]] = {}
    for month, of_month in bundle.by_month(tests).items():
        found.setdefault(files[month], []).extend(of_month)
    return found


def _q2_sheets() -> list[Delivery]:
    again = meant(
        next(job for job in Q2_JOBS if job.job_id == "FV-2942"),
        "before",
        datetime(2025, 11, 26, 13, 30),
        remark="second visit, calm",
        planted=("retest_of:FV-2942",),
    )
    tests = [*visits(Q2_JOBS, _Q2_SPECIAL), again]
    partners = Partners(tests)
    names = layouts.SHEET_COLUMNS
    return [
        bundle.sheet(f"quillby/q2/{file}", [done(test) for test in found], partners, columns=(*names[1:], names[0]))
        for file, found in _by_file(tests, _Q2_FILES).items()
    ]


_LOGGED = (  # job, site, stage, started, sign
    ("FV-2951", "Q-151", "before", datetime(2025, 6, 4, 10, 20), -1),
    ("FV-2951", "Q-151", "after", datetime(2025, 8, 6, 9, 40), -1),
    ("FV-2952", "Q-152", "before", datetime(2025, 10, 9, 13, 10), 1),
    ("FV-2953", "Q-153", "before", datetime(2025, 11, 20, 11, 15), -1),
)
_LOGGED_PLAN = ((60.0, 50.0, 40.0, 30.0, 20.0), 60, 40)  # targets, seconds of each baseline, of each point


def _log_jobs() -> list[Job]:
    """Jobs of the tests logged second by second."""
    days: dict[tuple[str, str], list[tuple[str, date]]] = {}
    for job_id, site_id, stage, started, _ in _LOGGED:
        days.setdefault((job_id, site_id), []).append((stage, started.date()))
    return [Job(job_id, house(site_id), "Q2", tuple(stages)) for (job_id, site_id), stages in days.items()]


def _traces() -> list[Delivery]:
    known = {job.job_id: job for job in _log_jobs()}
    targets, baseline_s, point_s = _LOGGED_PLAN
    tests = [
        meant(known[job_id], stage, started, plans=(Plan(sign, targets, baseline_s, point_s),))
        for job_id, _, stage, started, sign in _LOGGED
    ]
    partners = Partners(tests)
    return [trace_log(test, partners) for test in tests]


def trace_log(test: Meant, partners: Partners) -> Delivery:
    """A fan test logged second by second."""
    gone, content = trace(test)
    seconds = sum(2 * plan.baseline_s + len(plan.targets_pa) * (SETTLE_S + plan.point_s) for plan in test.plans)
    file = f"quillby/{test.job.crew.lower()}/{test.started:%Y-%m}/{test.job.job_id} {test.stage} 1s.txt"
    return bundle.single(file, content, gone, TOLD_TRACE, partners, f"a fan test logged for {seconds} s, {test.state}")


@dataclass(frozen=True, slots=True)
class Side:
    """A house with the fan off, watched through two lines."""

    job_id: str
    site_id: str
    kit: Kit
    started: datetime
    seconds: int
    why: str


def _side(job_id: str, site_id: str, started: datetime, seconds: int, why: str) -> Side:
    return Side(job_id, site_id, kit_of("Q2", started.date()), started, seconds, why)


SIDE_BY_SIDE = datetime(2025, 11, 21, 11, 0)  # in the windy week, ten-minute station weather beside it
_TALL = (
    _side("FV-2961", "Q-161", datetime(2025, 7, 17, 9, 30), 420, "two lines side by side on a quiet summer morning"),
    _side(
        "FV-2962",
        "Q-162",
        SIDE_BY_SIDE,
        900,
        "two lines side by side in the windy week, station weather beside it",
    ),
    _side("FV-2963", "Q-163", datetime(2026, 1, 21, 14, 0), 420, "two lines side by side in the cold"),
)
_WIDE = (
    _side("FV-2964", "Q-164", datetime(2025, 9, 24, 13, 20), 300, "two lines side by side, fan off"),
    _side("FV-2965", "Q-165", datetime(2025, 11, 19, 10, 0), 600, "two lines side by side in the windy week"),
)
_PRESSURE = "pressure inside minus outside"
_LEGEND = (
    (_PRESSURE, "Pa", "north"),
    (_PRESSURE, "Pa", "manifold"),
    ("wind speed", "m/s", ""),
    ("wind gust", "km/h", ""),
    ("indoor temperature", "°F", ""),
)
_MINUTE = 60
_GUST_S = 3


def _watch_jobs() -> list[Job]:
    """Jobs of the houses that were watched with the fan off."""
    return [
        Job(side.job_id, house(side.site_id), side.kit.crew, (("before", side.started.date()),))
        for side in (*_TALL, *_WIDE)
    ]


def _means(values: Array) -> Array:
    return np.asarray(values.reshape(-1, _MINUTE).mean(axis=1), dtype=np.float64)


def tall_log(side: Side) -> Delivery:
    """A log of one value a row."""
    job = Job(side.job_id, house(side.site_id), side.kit.crew, ())
    test = Meant(job, "before", side.started, side.kit)
    place = replace(place_of(test), line=OPEN_NORTH)
    seen = log(place, BRANCHED, side.seconds)
    gust = np.convolve(seen.wind_m_s, np.full(_GUST_S, 1.0 / _GUST_S), mode="same").reshape(-1, _MINUTE).max(axis=1)
    texts = [
        [f"{value:.1f}" for value in seen.first_pa],
        [f"{value:.1f}" for value in seen.second_pa],
        [f"{value:.1f}" for value in _means(seen.wind_m_s)],
        [f"{in_unit(float(value), 'km/h'):.1f}" for value in gust],
        [f"{in_unit(float(value), '°F'):.1f}" for value in _means(seen.indoor_c)],
    ]
    if side.started == SIDE_BY_SIDE:
        texts[0][311], texts[0][312], texts[1][640] = "OL", "OL", ""
    record = {"Job": side.job_id, "House": side.site_id, "Gauge": test.kit.gauge.serial}
    steps = (1, 1, _MINUTE, _MINUTE, _MINUTE)
    content = tall(record, _LEGEND, list(zip(steps, texts, strict=True)), side.started)
    summary = Seen((), 0.0, 0.0, float(seen.wind_m_s.mean()), seen.zero_flow_pa, seen.stack_only_pa)
    lines = "1 open end (north), 2 branched (manifold)"
    true = fan_off_truth(place, summary, side.job_id, side.site_id, lines, (seen.first_pa, seen.second_pa))
    return Delivery(
        f"quillby/{side.kit.crew.lower()}/{side.started:%Y-%m}/{side.job_id} lines.txt",
        content,
        "imported",
        side.why,
        (true,),
    )


def wide_log(side: Side) -> Delivery:
    """A log of two lines in columns."""
    weather = sky(side.started)
    return watched(
        Watch(
            f"quillby/{side.kit.crew.lower()}/{side.started:%Y-%m}/{side.job_id}-log.csv",
            side.why,
            side.job_id,
            house(side.site_id),
            side.started,
            (19.6, round(weather.outdoor_c, 1), round(weather.station_m_s, 1), round(weather.from_deg)),
            (side.kit.gauge, side.kit.fan, OPEN_NORTH),
            side.seconds,
        )
    )


def all_jobs() -> list[Job]:
    """All jobs of the year before February 2026."""
    return [*Q1_JOBS, *Q2_JOBS, *_log_jobs(), *_watch_jobs()]


def deliveries() -> list[Delivery]:
    """All that both crews sent that can be read."""
    watching = [*(tall_log(side) for side in _TALL), *(wide_log(side) for side in _WIDE)]
    return [*_q1(), *_q2_sheets(), *_traces(), *watching]
