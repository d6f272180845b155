"""Text of the demo archive's README."""

from __future__ import annotations

from collections.abc import Sequence

from interchange.demo.programme import Delivery

_ABOVE = """\
# Fennick Vale Warm Homes: deliveries of an invented programme

Everything here is made up: programme, contractors, crews, houses, gauges, numbers. The files are written by
`interchange/demo` from a simulation of houses in wind; what is true of each test stands in `truth.json`. This README
is written by the same command:

    python -m interchange.demo demo_archive plugins

The programme insulates and seals houses in a cold valley. In February 2026 three contractors sent their airtightness
tests: **Ostrel Retrofit** and **Quillby Home Energy** a sheet with one test a row, **Harrow Insulation** a record for
each test with sections and points. Two visits left the fan off and logged two reference lines side by side.

## What was sent, and what should become of it

"""

_BELOW = """
## What a reader should find

- **Still air.** Subtract the baseline, bring the flow to the density of the air in the fan, to that of the air in the
  leaks, and to reference conditions: the true flow at 50 Pa comes out within 1.5 %. What is left is the gain of gauge
  and fan (up to half a per cent each), rounding, and for one point the assumed exponent.
- **Displayed leakage in the sheets** is what a gauge shows that was never told a baseline: fan flow x (50 / house
  pressure as read)^0.65, no densities. Calm and depressurised it lies one to four per cent high.
- **The result in a record** is one straight line through all its points of both directions, mean of the baselines
  before and after subtracted, flows as indicated, no densities.
- **FV-2039**, 1480 m up at -12 °C: densities move the two directions by about -5 and +9 %; the record's own result
  is their mean and hides most of it.
- **00415 (before)**: the baseline is near -16 Pa on a calm day; stack explains little more than 1 Pa. Water lies in the
  line. It shifts baseline and point alike, so the recomputed flow is right and the displayed one 19 % low. After the
  work the tube was dry.
- **FV-2037**: water came into the line at the fourth point. The baseline before is dry, the one after is not; no single
  baseline puts this test right. The flow at 50 Pa comes out about right by luck, the exponent does not.
- **00416 (before)**: no baseline. **00420**: flow over range, nothing to compute. **FV-3012**: 50 Pa was not reached.
- **FV-3010 (after)**: the gauge was told the fan was full open, but a narrower opening was fitted. The row looks sound;
  only the test before the work shows that it cannot be.
- **00419 (before), 00413 (after), 00420, FV-3011, FV-2036**: strong wind. The error of a test in wind is a matter of
  luck; these should be marked even where luck was kind.
- **FV-2044 and FV-3015**: the open end follows every gust on its facade, the damped branches do not; on the calm day
  they agree. What the wind does to the house itself is in both lines.
- **FV-2034** came twice: the second file corrects the volume. **tests-week-06** came twice with the same bytes.

## How the truth is made

- A leak passes C s (rho0/rho)^(1-n) |dp|^n; rho is that of the air that enters it, s its share of the envelope. Leaks
  lie on four facades at three heights, in the ceiling and in the floor. Viscosity is left out; a rule that corrects
  for it differs from the truth by up to two per cent in the cold.
- Depressurising, the fan moves indoor air; pressurising, outdoor air. Its display takes 1.204 kg/m3 for granted. The
  air is dry. At the sheets' houses the barometer is that of the standard atmosphere at 120 m; no sheet says so.
- Wind: von Karman gusts at roof height in the shelter of neighbours, wall coefficients by angle, small eddies on each
  face. `wind_state` goes by the mean at 10 m in open country: calm below 3 m/s, breezy below 6, windy from there.
  Sheets give the crew's word, records a hand-held reading 2 m above the ground, logs a mast at roof height.
- A crew sets the fan by the reading, waits 20 s, and averages: 30 s a point in records, 20 s in sheets, 60 s for
  a baseline.
- `true_flow_50_m3_h` is the flow at 50 Pa in still air at 20 °C and 101,325 Pa. It is the same in both directions.
- `expected` gives for each use a verdict that would do (or several, joined by "or"), a colon, and the reason.
- `line` is how the reference line's end was arranged, also where the file does not say.
"""


def readme(deliveries: Sequence[Delivery]) -> str:
    """README.md of the demo archive."""
    head = "| file | outcome | tests | what it is |\n|---|---|---|---|\n"
    rows = "".join(
        f"| `{delivery.file}` | {delivery.outcome} | {len(delivery.tests) or '-'} | {delivery.why} |\n"
        for delivery in deliveries
    )
    return _ABOVE + head + rows + _BELOW
