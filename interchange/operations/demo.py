"""The whole job on the deliveries of the invented programme."""

from __future__ import annotations

import tempfile
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

from interchange.demo import make
from interchange.errors import Place, Problem, UsageError
from interchange.model import register
from interchange.operations.assess import recompute_and_assess
from interchange.operations.by_crew import by_crew
from interchange.operations.doubts import doubtful_tests, verdict_counts
from interchange.operations.importing import import_files
from interchange.operations.new import new_archive
from interchange.operations.register import add_to_register
from interchange.report.heads import Units
from interchange.report.safety import LIMITS, SAFETY
from interchange.report.section import Section
from interchange.resources import shipped
from interchange.table import counted

PROGRAMME = "Fennick Vale Warm Homes"
MOST_DOUBTFUL = 12


@dataclass(frozen=True, slots=True)
class Page:
    """A heading and its parts."""

    heading: str
    sections: tuple[Section, ...]
    units: Units


def run_demo(
    folder: Path | None = None, jobs: int | None = None, progress: Callable[[str], None] = lambda _: None
) -> Page:
    """Build the demo archive, in a new folder or in one that is thrown away, and say what it holds.

    With `jobs` it is that of a larger programme in the same shapes. Raises ArchiveError where the folder is not new
    or empty, UsageError for less than one job.
    """
    if jobs is not None and jobs < 1:
        raise UsageError(
            Problem("jobs-too-few", Place("--jobs"), str(jobs), "one job or more", "Give a larger number.")
        )
    with tempfile.TemporaryDirectory(prefix="interchange-demo-") as temporary:
        source = shipped("demo_archive")
        if jobs is not None:
            source = Path(temporary) / "programme"
            progress(f"writing the deliveries of {jobs:,} jobs")
            make(source, jobs)
        return _run(folder or Path(temporary) / "demo", source, progress)


def _run(folder: Path, source: Path, progress: Callable[[str], None]) -> Page:
    root = new_archive(folder, PROGRAMME, "Etc/UTC", "si")
    for name in register.FORMS:
        add_to_register(root, name, source / "registers" / f"{name}.csv")
    report = import_files(root, [source / "deliveries"], recompute=False, progress=progress)
    done = recompute_and_assess(root, progress)
    doubtful = doubtful_tests(root)
    shown = doubtful[:MOST_DOUBTFUL]
    left = report.not_read()
    said = f"{counted(len(doubtful), 'test')}, each with the uses it does not serve and the gravest reasons."
    if len(shown) < len(doubtful):
        said += f' The first {len(shown)}; all of them: `interchange query "from verdicts"`.'
    return Page(
        f"{PROGRAMME}: an invented programme; every number is simulated",
        (
            Section("WHAT WAS READ", (report.summary(),), report.by_plugin()),
            *([Section("WHAT WAS NOT READ, and why", (), left)] if left.rows else []),
            Section("WHAT THE READINGS GIVE, crew by crew, beside what the gauge displayed", (), by_crew(root)),
            Section("WHAT THE TESTS ARE GOOD FOR (number of tests by use)", (), verdict_counts(root)),
            Section("TESTS NOT TO BE RELIED ON", (said,)),
            *shown,
            Section("SAFETY", tuple(SAFETY.splitlines())),
            Section("LIMITS", tuple(LIMITS.splitlines())),
        ),
        done.units,
    )
