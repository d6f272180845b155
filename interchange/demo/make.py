"""Writes the demo archive: deliveries, their truth, and a README."""

from __future__ import annotations

import json
from pathlib import Path

from interchange.demo import others, records, sheets
from interchange.demo.programme import Delivery
from interchange.demo.readme import readme
from interchange.files import write_atomically

PROGRAMME = "Fennick Vale Warm Homes"
REFERENCE = (
    "true_flow_50_m3_h is the flow through the envelope at 50 Pa in still air, counted at 20 °C and 101,325 Pa "
    "(1.2041 kg/m3), in m3/h; true_exponent is the exponent of the same envelope. zero_flow_pa is the pressure inside "
    "minus undisturbed air outside, 1.2 m above the ground, fan off, mean over the baselines, without line and gauge; "
    "stack_only_pa is the same in still air. line_shift_pa is what water adds to readings."
)


def deliveries() -> list[Delivery]:
    """All deliveries of the programme, by file name."""
    made = [*sheets.deliveries(), *records.deliveries(), *others.deliveries()]
    return sorted(made, key=lambda delivery: delivery.file)


def make(folder: Path) -> None:
    """Write deliveries, truth.json and README.md into a folder, the same bytes each time."""
    made = deliveries()
    for delivery in made:
        path = folder / "deliveries" / delivery.file
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(path, delivery.content)
    truth = {
        "programme": PROGRAMME,
        "reference": REFERENCE,
        "deliveries": [delivery.document() for delivery in made],
    }
    write_atomically(folder / "truth.json", (json.dumps(truth, ensure_ascii=False, indent=1) + "\n").encode())
    write_atomically(folder / "README.md", readme(made).encode())
