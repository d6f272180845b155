"""Writes a demo archive: deliveries, registers beside them, their truth, and a README."""

from __future__ import annotations

import io
import json
import zipfile
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from interchange.demo import february, harrow_year, large, office, ostrel_year, quillby_year
from interchange.demo.programme import Delivery
from interchange.demo.readme import readme
from interchange.demo.registers import registers
from interchange.demo.spoilt import spoilt
from interchange.demo.year import KITS, Job, Kit
from interchange.files import write_atomically

PROGRAMME = "Fennick Vale Warm Homes"
REFERENCE = (
    "true_flow_50_m3_h is the flow through the envelope at 50 Pa in still air, counted at 20 °C and 101,325 Pa "
    "(1.2041 kg/m3), in m3/h; true_exponent is the exponent of the same envelope. zero_flow_pa is the pressure inside "
    "minus undisturbed air outside, 1.2 m above the ground, fan off, mean over the baselines, without line and gauge; "
    "stack_only_pa is the same in still air. line_shift_pa is what water adds to readings."
)


@dataclass(frozen=True, slots=True)
class Programme:
    """A programme: what was sent, which jobs were registered, what the crews carried."""

    deliveries: Sequence[Delivery]
    jobs: Sequence[Job]
    kits: Sequence[Kit]


def programme(jobs: int | None = None) -> Programme:
    """The programme of one year, or a larger one of so many jobs."""
    if jobs is not None:
        registered = large.registered(jobs)
        kits = large.kits(large.crews(jobs))
        return Programme(large.deliveries(registered, kits), registered, kits)
    parts = (ostrel_year, quillby_year, harrow_year, office)
    year = {delivery.file: delivery for part in parts for delivery in part.deliveries()}
    made = [*february.deliveries(), *year.values(), *spoilt(year)]
    return Programme(
        sorted(made, key=lambda delivery: delivery.file),
        [*ostrel_year.all_jobs(), *quillby_year.all_jobs(), *harrow_year.all_jobs(), *february.all_jobs()],
        KITS,
    )


def files(made: Iterable[Delivery]) -> dict[str, bytes]:
    """The files as they came, by name: companions beside their test, and what is named ZIP/NAME within its zip."""
    plain: dict[str, bytes] = {}
    zipped: dict[str, dict[str, bytes]] = {}
    for delivery in made:
        for name, content in ((delivery.file, delivery.content), *delivery.companions):
            outer, within, inner = name.partition(".zip/")
            if within:
                zipped.setdefault(f"{outer}.zip", {})[inner] = content
            else:
                plain[name] = content
    return plain | {name: _zip(members) for name, members in zipped.items()}


def _zip(members: Mapping[str, bytes]) -> bytes:
    """A zip file, stored without compression and without the hour: compressors and clocks differ."""
    into = io.BytesIO()
    with zipfile.ZipFile(into, "w", zipfile.ZIP_STORED) as archive:
        for name, content in members.items():
            archive.writestr(zipfile.ZipInfo(name), content)
    return into.getvalue()


def make(folder: Path, jobs: int | None = None) -> None:
    """Write deliveries, registers, truth.json and README.md into a folder, the same bytes each time.

    With `jobs` it is a larger programme of so many jobs in the same shapes, mostly one-point tests.
    """
    made = programme(jobs)
    truth = {
        "programme": PROGRAMME,
        "reference": REFERENCE,
        "deliveries": [delivery.document() for delivery in made.deliveries],
    }
    written = {f"deliveries/{name}": content for name, content in files(made.deliveries).items()}
    written |= {f"registers/{name}": content for name, content in registers(made.jobs, made.kits).items()}
    written["truth.json"] = (json.dumps(truth, ensure_ascii=False, indent=1) + "\n").encode()
    written["README.md"] = readme(made.deliveries, small=jobs is None).encode()
    for name, content in written.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        write_atomically(path, content)
