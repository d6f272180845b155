"""Samples of the plugin for lists of finished results with titles, pages and totals."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime

from interchange.demo.layouts_rows import LEDGER_COLUMNS, ledger
from interchange.demo.sample import Document, Sample, filled
from interchange.demo.sample_values import kept, value

PLUGIN_ID = "results-ledger"

_ABSENT = ("", "--")
_KINDS = {"tested": "summary"}
_REASONS = {"no access": "no_access", "declined": "declined", "unsafe": "hazard"}

# name in the file, name in the session
_MEASURES = (
    ("Leakage at 50 Pa", "reported_flow_m3_h"),
    ("Air changes at 50 Pa", "reported_air_change_50_per_h"),
    ("Natural air changes", "reported_natural_air_change_per_h"),
    ("Leakage area", "reported_leakage_area_m2"),
    ("Area at", "reported_leakage_area_pressure_pa"),
)

_TWO_PAGES_TITLES = ("Leakage results of the north ward", "Printed 4 March 2019", "")
_TWO_PAGES = (
    (
        "0101|N-001|3 Feb 2019|tested|1,505 cfm|8.4 /h|0.45 /h|0.65|95 in2|4 Pa|10,800 cu ft|one point, at 50 Pa|"
        "measured|dog, ring first",
        "0102|N-002|3 Feb 2019|tested|2,557 m3/h|8.36 /h|0.45 /h|0.661|613 cm2|4 Pa|306 m3|several points|measured|",
        "0103|N-004|4 Feb 2019|no access|--|--|--|--|--|--|--|--|--|nobody at home",
        "0104|N-005|11 Feb 2019|tested|710 L/s|7.9 /h|--|0.65|--|--|324 m3|one point|measured|",
    ),
    (
        "0105|N-007|12 Feb 2019|declined||||||||||",
        "0106|N-008|1 Mar 2019|tested|1,890 cfm|--|0.5 /h|--|--|--|--|from the age of the house|estimated|",
        "0107|N-009|1 Mar 2019|unsafe||||||||||boiler without flue",
        "0108|N-011|2 Mar 2019|tested|3,000 m3/h|10 /h|0.5 /h|0.65|716 cm2|10 Pa|300 m3|table of house types|"
        "default|to be tested",
    ),
)
_TWO_PAGES_FOOTERS = ("Page 1 of 2", "Total tested: 5")

_ONE_PAGE_TITLES = ("Étude pilote / pilot study",)
_ONE_PAGE = (
    (
        "1|É-12|28 Dec 2017|tested|--|6.1 /h|--|--|--|--|--|--|--|--",
        "2|É-13|9 May 2018|tested|12,040 cfm|--|--|0.58|1,012 in2|4 Pa|88,300 cu ft|several points|measured|"
        "hall and café, both fans",
        "3|É-14|31 Aug 2018|declined|--|--|--|--|--|--|--|--|--|--",
    ),
)
_ONE_PAGE_FOOTERS = ("Total 3",)


def _measure(text: str) -> float | None:
    """A cell that holds a number, perhaps with commas for thousands, and its unit."""
    if text in _ABSENT:
        return None
    figures, spelling = text.split(" ", 1)
    return value(figures.replace(",", ""), spelling)


def _session(row: int, cells: dict[str, str], above: Sequence[Document], below: Sequence[Document]) -> Document:
    def text(name: str) -> str | None:
        return None if cells[name] in _ABSENT else cells[name]

    outcome = cells["Outcome"]
    reported: Document = {field: _measure(cells[name]) for name, field in _MEASURES}
    reported["reported_flow_pressure_pa"] = None if reported["reported_flow_m3_h"] is None else 50.0
    reported["reported_exponent"] = value(cells["Exponent"], "1", _ABSENT)
    reported["reported_method"] = text("Method")
    reported["reported_basis"] = text("Basis")
    record = {
        "job_id": cells["No"],
        "site_id": cells["Property"],
        "not_tested_reason": _REASONS.get(outcome),
        "not_tested_as_recorded": outcome if outcome in _REASONS else None,
    }
    groups = {
        "record": filled(record),
        "time": {
            "started_at_as_recorded": cells["When"],
            "started_at_local": datetime.strptime(cells["When"], "%d %b %Y").isoformat(),
            "time_quality": "date_only",
        },
        "building": filled({"volume_m3": _measure(cells["Volume"])}),
        "reported": filled(reported),
        "kept": [
            pointer for pointer in (*above, kept("Note", [(row, text("Note") or "")], "tests"), *below) if pointer
        ],
    }
    kind = _KINDS.get(outcome, "not_tested")
    return {"source_place": f"row {row}", "schema_version": 1, "kind": kind, **filled(groups)}


def _sample(
    name: str, titles: Sequence[str], pages: Sequence[Sequence[str]], footers: Sequence[str], encoding: str
) -> Sample:
    rows = [[dict(zip(LEDGER_COLUMNS, line.split("|"), strict=True)) for line in lines] for lines in pages]
    tests: list[tuple[int, dict[str, str]]] = []
    footers_at: list[tuple[int, str]] = []
    row = len(titles)
    for page, footer in zip(rows, footers, strict=True):
        row += 1  # the header
        for cells in page:
            row += 1
            tests.append((row, cells))
        row += 1
        footers_at.append((row, footer))
    above, below = [kept("titles", list(enumerate(titles, 1)))], [kept("footers", footers_at)]
    sessions = tuple(
        _session(row, cells, above if number == 0 else (), below if number == 0 else ())
        for number, (row, cells) in enumerate(tests)
    )
    return Sample(PLUGIN_ID, name, ledger(titles, rows, footers, encoding), sessions)


def made() -> list[Sample]:
    """The samples."""
    return [
        _sample("two-pages", _TWO_PAGES_TITLES, _TWO_PAGES, _TWO_PAGES_FOOTERS, "utf-8"),
        _sample("one-page", _ONE_PAGE_TITLES, _ONE_PAGE, _ONE_PAGE_FOOTERS, "cp1252"),
    ]
