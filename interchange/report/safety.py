"""The cautions that stand beside every recommendation to repeat or change a test."""

from __future__ import annotations

SAFETY = """\
Before anyone goes back to test: this toolkit reviews records and gives no permission to test. Local codes, the
programme's procedures and licensed or certified people decide.
- Burning appliances: set so that they cannot fire, checked and restored afterwards; carbon monoxide watched
  throughout; stop and leave if an alarm sounds. Fires and embers out and cold, ashes covered.
- Asbestos, vermiculite, lead, mould: no test that may stir them up; ask about asthma, allergies and pets first.
- Fan: guards on, cords and hands clear, dry supply, another way out of the house named. No air drawn from a garage.
- Weather: wind is a reason to come back another day, not to climb or lean out to move a line.
- After air sealing: ventilation, moisture and combustion safety are checked again."""

LIMITS = """\
This is a review of recorded data. It is not a certificate, not a combustion-safety clearance, and not legal, medical
or engineering advice."""
