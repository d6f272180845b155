"""Text of the demo archive's README."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from interchange.demo.programme import Delivery

_ABOVE = """\
# Fennick Vale Warm Homes: a year of an invented programme

Everything here is made up: programme, contractors, crews, houses, gauges, numbers. The files are written by
`interchange/demo` from a simulation of houses in wind; what is true of each test stands in `truth.json`. This README
is written by the same command:

    python -m interchange.demo demo_archive plugins

The programme insulates and seals houses in a cool upland valley and asks for 5 air changes an hour at 50 Pa afterwards.
From March 2025 to February 2026 three contractors with two crews each tested houses before and after the work.
"""

_LARGE = """\
This is the larger programme: the same shapes, more crews (`O1.2` is another crew of the kind of `O1`), mostly sheets
of one-point tests. Its one-point tests stand in a steady mean wind, with what gusts leave in a mean drawn at random.
"""

_FOLDERS = {
    "ostrel/o1": "Ostrel Retrofit, crew O1: sheets of one test a row, imperial; June came as a zip file",
    "ostrel/o2": "Ostrel Retrofit, crew O2: the same sheets, and sheets with points counted across",
    "quillby/q1": "Quillby Home Energy, crew Q1: French tables, one test a column",
    "quillby/q2": "Quillby Home Energy, crew Q2: sheets of one test a row, logs at 1 s, lines side by side",
    "harrow/c1": "Harrow Insulation, crew C1: German records with fan pressures only, then sectioned records",
    "harrow/c2": "Harrow Insulation, crew C2: points with companion files, tables of both directions, records",
    "office": "the programme's office: the ledger of 2015 to 2020, weather of two stations",
}
_FEBRUARY = "February 2026, all crews, before the folders by crew and month were kept up"

_PLANTED = {
    "water": "water in the reference line",
    "windy": "strong wind, 6 m/s or more at 10 m; 17 to 23 November was wet and windy throughout",
    "retest_of": "tested again after a test in strong wind",
    "resend_of": "the same test sent again with other bytes",
    "copy_of": "another house's readings",
    "baseline_copied": "the baseline after is a copy of the one before",
    "bunched": "a result that just failed, written down as just passed",
    "late_calibration": "the fan's calibration ran out in June 2023; its display reads about 5 % high",
    "not_tested": "nothing was tested, with the reason",
    "duct": "a test of ducts among tests of the envelope",
    "natural_rate_only": "the ledger knows the natural rate only",
    "natural_rate_as_50": "a natural rate in the ledger's column for 50 Pa",
    "wrong_unit": "a unit in the ledger that does not belong to its number",
}

_REGISTERS = """
## Registers

Beside `deliveries/`, as the programme keeps them, in `registers/`:

- `jobs.csv`: job, site, contractor, the day each stage was expected, the flow at 50 Pa asked for after the work
  (m3/h). Some tests expected were never sent; 00335 and 00336 have none at all.
- `crews.csv`: crew, contractor, from when to when.
- `kit.csv`: which gauge and fan a crew carried from when to when, and how it usually laid its reference line. Where a
  file says otherwise, the file was there.
- `calibrations.csv`: flow = fan_coefficient_m3_h x (fan pressure / 1 Pa)^fan_exponent for each fan, configuration and
  calibration. Crew C1's German records hold fan pressures only: without this register they give no flow. Fan F-0088
  was carried from September to December 2025 on a calibration of June 2022.
"""

_BELOW = """
## What a reader should find

- **Still air.** Subtract the baseline, bring the flow to the density of the air in the fan, to that of the air in the
  leaks, and to reference conditions: the true flow at 50 Pa comes out within 1.6 %. What is left is the gain of gauge
  and fan (up to half a per cent each), rounding, and for one point the assumed exponent. The tables of both directions
  give no temperatures; they stand in summer.
- **Displayed leakage in sheets and columns** is what a gauge shows that was never told a baseline: fan flow x
  (50 / house pressure as read)^0.65, no densities. Calm and depressurised it lies one to four per cent high.
- **The result in a sectioned record** is one straight line through all its points of both directions, mean of the
  baselines before and after subtracted, flows as indicated, no densities.
- **Crew O2 after the work**: displayed results crowd between 95 and 100 % of the target; what should have failed was
  written down as passed. **00349** (before) shows the readings of 00348, **FV-1907** the points of FV-1906.
- **Water that stays** (00307, 00318, FV-2911, FV-2933, 00415) shifts baseline and point alike: the recomputed flow is
  right, the displayed one up to 19 % wrong. **Water that comes midway** (FV-1932, FV-2037) no baseline puts right.
- **FV-2962** stands in the windy week, two lines side by side, with the ridge station's ten-minute means beside it. The
  open end follows every gust on its facade, the damped branches do not; on the quiet day (FV-2961) they agree.
- **FV-2039**, 1480 m up at -12 °C: densities move the two directions by about -5 and +9 %.
- **FV-3010 (after)**: the gauge was told the fan was full open, but a narrower opening was fitted. The row looks sound;
  only the test before the work shows that it cannot be.
- **00416 (before), 00313 (before), FV-2914 (before)**: no baseline. **00420**: flow over range, nothing to compute.
  **FV-3012**: 50 Pa was not reached.
- **Strong wind**: the error of a test in wind is a matter of luck; these should be marked even where luck was kind.

## How the truth is made

- A leak passes C s (rho0/rho)^(1-n) |dp|^n; rho is that of the air that enters it, s its share of the envelope. Leaks
  lie on four facades at three heights, in the ceiling and in the floor. Viscosity is left out; a rule that corrects
  for it differs from the truth by up to two per cent in the cold.
- Depressurising, the fan moves indoor air; pressurising, outdoor air. Its display takes 1.204 kg/m3 for granted. The
  air is dry. Houses lie at 120 m where no file says otherwise; the barometer follows the year's weather, in February's
  sheets the standard atmosphere.
- Wind: von Karman gusts at roof height in the shelter of neighbours, wall coefficients by angle, small eddies on each
  face. `wind_state` goes by the mean at 10 m in open country: calm below 3 m/s, breezy below 6, windy from there.
  Sheets give the crew's word, records a hand-held reading 2 m above the ground, logs a mast at roof height. Both
  stations see the same hourly weather, March 2025 to February 2026.
- A crew sets the fan by the reading, waits 20 s, and averages: 30 s a point in records, 20 s in sheets, 60 s for
  a baseline (30 s in the sheets counted across).
- `true_flow_50_m3_h` is the flow at 50 Pa in still air at 20 °C and 101,325 Pa. It is the same in both directions. In
  the ledger it is the flow that was meant.
- `expected` gives for each use a verdict that would do (or several, joined by "or"), a colon, and the reason.
- `line` is how the reference line's end was arranged, also where the file does not say.
- `planted` says what was put in on purpose; `fault` names the one that speaks against the readings. `test_count` is the
  number of tests a delivery holds, also where its bytes are known already; `companions` are the files read with it.
"""


def _table(head: Sequence[str], rows: Iterable[Sequence[str]]) -> str:
    lines = [head, ["---"] * len(head), *rows]
    return "".join(f"| {' | '.join(line)} |\n" for line in lines)


def _folder(file: str) -> str:
    return next((folder for folder in _FOLDERS if file.startswith(f"{folder}/")), "")


def _by_folder(made: Sequence[Delivery]) -> str:
    rows = []
    for folder in (*_FOLDERS, ""):
        here = [delivery for delivery in made if _folder(delivery.file) == folder]
        if here:
            tests = sum(len(delivery.tests) for delivery in here)
            rows.append(
                [f"`{folder}`" if folder else "elsewhere", f"{len(here)}", f"{tests}", _FOLDERS.get(folder, _FEBRUARY)]
            )
    return _table(("folder", "deliveries", "tests", "what it holds"), rows)


def _counts(made: Sequence[Delivery]) -> str:
    counted: dict[str, int] = {}
    for test in (test for delivery in made for test in delivery.tests):
        kind = str(test["kind"]).replace("_", " ")
        counted[kind] = counted.get(kind, 0) + 1
    kinds = ", ".join(f"{count} {kind}" for kind, count in sorted(counted.items(), key=lambda item: -item[1]))
    refused = sum(delivery.outcome == "refused" for delivery in made)
    return f"{len(made)} deliveries, {refused} of them to be refused; {sum(counted.values())} tests: {kinds}.\n"


def _not_read(made: Sequence[Delivery]) -> str:
    rows = [[f"`{delivery.file}`", delivery.why] for delivery in made if delivery.outcome != "imported"]
    return _table(("refused", "why"), rows)


def _again(made: Sequence[Delivery]) -> str:
    again = [
        delivery
        for delivery in made
        if delivery.known or any(str(word).startswith("resend_of") for test in delivery.tests for word in _words(test))
    ]
    return _table(("sent again", "what it is"), [[f"`{delivery.file}`", delivery.why] for delivery in again])


def _words(test: dict[str, object]) -> list[str]:
    planted = test["planted"]
    return [str(word) for word in planted] if isinstance(planted, list) else []


def _planted(made: Sequence[Delivery]) -> str:
    found: dict[str, list[str]] = {}
    for test in (test for delivery in made for test in delivery.tests):
        name = str(test["job_id"] or test["site_id"])
        stage = test.get("stage")
        for word in _words(test):
            found.setdefault(word.split(":")[0], []).append(f"{name} {stage}" if stage else name)
    rows = []
    for word, meaning in _PLANTED.items():
        tests = list(dict.fromkeys(found.get(word, [])))
        if tests:
            rows.append([f"`{word}`", f"{len(tests)}", meaning, ", ".join(tests[:8]) + (", ..." if tests[8:] else "")])
    return _table(("planted", "tests", "what it is", "where"), rows)


def readme(deliveries: Sequence[Delivery], small: bool) -> str:
    """README.md of the demo archive, of the year's programme (`small`) or of a larger one."""
    head = [_ABOVE, "\n", *([] if small else [_LARGE, "\n"]), _counts(deliveries)]
    if not small:
        return "".join(head)
    return "".join(
        [
            *head,
            "\n## Who sent what\n\n",
            _by_folder(deliveries),
            "\n## What cannot be read as it stands\n\n",
            _not_read(deliveries),
            "\n## What came twice\n\n",
            _again(deliveries),
            "\n## What is wrong or out of the ordinary, on purpose\n\n",
            _planted(deliveries),
            _REGISTERS,
            _BELOW,
        ]
    )
