"""The whole job on the deliveries of the invented programme."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from interchange.operations.doubts import doubtful_tests, verdict_counts
from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
from interchange.operations.recompute import leakage_table, recompute_archive
from interchange.report.heads import Units
from interchange.report.safety import LIMITS, SAFETY
from interchange.report.section import Section
from interchange.resources import shipped

PROGRAMME = "Fennick Vale Warm Homes"


@dataclass(frozen=True, slots=True)
class Page:
    """A heading and its parts."""

    heading: str
    sections: tuple[Section, ...]
    units: Units


def run_demo(folder: Path | None = None, progress: Callable[[str], None] = lambda _: None) -> Page:
    """Build the demo archive, in a new folder or in one that is thrown away, and say what it holds.

    Raises ArchiveError where the folder is not new or empty.
    """
    if folder is not None:
        return _run(folder, progress)
    with tempfile.TemporaryDirectory(prefix="interchange-demo-") as temporary:
        return _run(Path(temporary) / "demo", progress)


def _run(folder: Path, progress: Callable[[str], None]) -> Page:
    root = new_archive(folder, PROGRAMME, "Etc/UTC", "si")
    report = import_files(root, [shipped("demo_archive") / "deliveries"], recompute=False, progress=progress)
    done = recompute_archive(root, progress=progress)
    doubtful = doubtful_tests(root)
    return Page(
        f"{PROGRAMME}: an invented programme; every number is simulated",
        (
            Section("WHAT WAS READ", (report.summary(),), report.table()),
            Section(
                "WHAT THE READINGS GIVE, beside what the gauge displayed and what the source reported",
                (),
                leakage_table(root, done),
            ),
            Section("WHAT THE TESTS ARE GOOD FOR (number of tests by use)", (), verdict_counts(root)),
            Section(
                "TESTS NOT TO BE RELIED ON",
                (f"{len(doubtful)} tests, each with the uses it does not serve and the reasons that weigh most:",),
            ),
            *doubtful,
            Section("SAFETY", tuple(SAFETY.splitlines())),
            Section("LIMITS", tuple(LIMITS.splitlines())),
        ),
        done.units,
    )
