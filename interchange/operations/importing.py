"""Takes deliveries into an archive: read each source by the one plugin that knows it, commit, recompute, assess."""

from __future__ import annotations

import secrets
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

from interchange.archive.settings import Settings
from interchange.archive.store import Receipt, Store
from interchange.errors import Place, Problem, UsageError, grouped
from interchange.files import Source
from interchange.model.question import Delivery, Import, Question
from interchange.operations.control_totals import Totals
from interchange.operations.likeness import alike_words
from interchange.operations.plugins import plugins_of
from interchange.operations.said_of_files import Says, by_list, by_pattern, with_said, with_said_before
from interchange.reading.containers import walk
from interchange.reading.context import Context
from interchange.reading.door import read_all
from interchange.table import Row, Table, counted

# A commit is made when this much has gathered, so that a long import keeps what it has done.
_COMMIT_SOURCES = 500
_COMMIT_BYTES = 256 * 1024 * 1024


@dataclass(frozen=True, slots=True)
class Line:
    """What became of one source."""

    source_name: str
    outcome: str  # new, known already, replaced, read (dry run), read with its test, held, refused
    session_count: int
    plugin_id: str
    reason: str


@dataclass(frozen=True, slots=True)
class ImportReport:
    """What became of each source of a delivery, and what was wrong on the way."""

    lines: tuple[Line, ...]
    problems: tuple[Problem, ...]
    questions: tuple[str, ...]
    dry_run: bool
    delivery: str
    remarks: tuple[str, ...] = ()
    as_stated: bool = True

    @property
    def all_imported(self) -> bool:
        """Whether nothing was held or refused, and what the sender stated of the delivery agrees."""
        return self.as_stated and all(line.outcome not in ("held", "refused") for line in self.lines)

    def table(self) -> Table:
        """A row for each source."""
        rows: list[Row] = [
            (line.source_name, line.outcome, line.session_count, line.plugin_id, line.reason) for line in self.lines
        ]
        return Table(("source_name", "outcome", "session_count", "plugin_id", "reason"), rows)

    def by_plugin(self) -> Table:
        """A row for each layout: how many files it read, and how many tests they hold."""
        files, tests = Counter[str](), Counter[str]()
        for line in self.lines:
            if line.outcome not in ("refused", "held", "known already"):
                files[line.plugin_id] += 1
                tests[line.plugin_id] += line.session_count
        rows: list[Row] = [(name, count, tests[name]) for name, count in sorted(files.items())]
        return Table(("plugin_id", "files", "session_count"), rows)

    def not_read(self) -> Table:
        """A row for each source that was held or refused, with the reason."""
        rows: list[Row] = [
            (line.source_name, line.outcome, line.reason) for line in self.lines if line.outcome in ("refused", "held")
        ]
        return Table(("source_name", "outcome", "reason"), rows)

    def summary(self) -> str:
        """How many sources and tests met which end, in one sentence."""
        files, tests = Counter[str](), Counter[str]()
        for line in self.lines:
            files[line.outcome] += 1
            tests[line.outcome] += line.session_count
        parts = [f"{count} {outcome} ({counted(tests[outcome], 'test')})" for outcome, count in files.items()]
        dry = " Nothing was written (dry run)." if self.dry_run else ""
        return f"{counted(len(self.lines), 'file')}: {', '.join(parts) or 'nothing to read'}.{dry}"


def import_files(
    root: Path,
    paths: Sequence[Path],
    plugin_folders: Sequence[Path] = (),
    *,
    sender: str | None = None,
    job_from: str | None = None,
    jobs_list: Path | None = None,
    totals: Path | None = None,
    dry_run: bool = False,
    recompute: bool = True,
    progress: Callable[[str], None] = lambda _: None,
) -> ImportReport:
    """Import files, folders and zip files into an archive, as one delivery.

    Nothing of a source that is held or refused becomes a test; its bytes and what was wrong are kept. With
    `recompute` the whole archive is recomputed by its rule sets, assessed and searched for tests
    that are alike afterwards. `job_from` is a pattern by
    which names of files say job, house or stage, `jobs_list` a covering list that does, `totals` a file of control
    totals. Raises ArchiveError where the archive cannot be opened or written; what was committed before that stays;
    UsageError for a pattern, SourceError for a list or totals that cannot be followed.
    """
    store = Store.open(root)
    delivery = Delivery(f"{datetime.now(UTC):%Y-%m-%d-%H%M%S}-{secrets.token_hex(2)}", sender)
    registry = plugins_of(plugin_folders, root)
    context = context_of(store.settings)
    lines: list[Line] = []
    questions: list[str] = []
    brought: set[str] = set()
    problems: list[Problem] = [replace(problem, blocks="note") for problem in registry.problems]
    control = None if totals is None else Totals(totals)
    sources = _sources(paths, lines, problems)
    says, unlike = _saying(job_from, jobs_list, sources)
    read = read_all(sources, registry.plugins, context)
    for portion in portions(read if says is None else (with_said(one, says) for one in read)):
        imports = with_said_before(store.snapshot(), portion)
        receipt = None if dry_run else store.commit(imports, delivery=delivery)
        fresh = None if receipt is None else {*receipt.added, *receipt.replaced}
        brought |= fresh or set()
        for taken in imports:
            lines.append(_line(taken, receipt, fresh))
            if control is not None:
                control.take(taken.source.name, taken.mapped.sessions)
            if fresh is not None:  # the same bytes twice in one delivery: the second file is known already
                fresh -= {session.session_id for session in taken.mapped.sessions}
        problems += [problem for taken in imports for problem in taken.mapped.problems]
        questions += [_in_words(question) for taken in imports for question in taken.mapped.questions]
        progress(f"read {counted(len(lines), 'file')}")
    remarks: list[str] = []
    if recompute and not dry_run:
        from interchange.operations.assess import recompute_and_assess

        recompute_and_assess(root, progress)
        remarks += alike_words(root, brought)
    if control is not None:
        apart, compared = control.differences()
        unlike += apart
        remarks.append(f"{counted(compared, 'control total')} compared, {len(apart)} not as stated")
    return ImportReport(
        tuple(lines),
        (*grouped(problems), *unlike),
        tuple(questions),
        dry_run,
        delivery.name,
        tuple(remarks),
        not unlike,
    )


def _saying(
    job_from: str | None, jobs_list: Path | None, sources: Sequence[Source]
) -> tuple[Says | None, list[Problem]]:
    if job_from is not None and jobs_list is not None:
        cure = "Give one of the two."
        raise UsageError(Problem("said-twice", Place("--job-from"), "a pattern and a list", "one road to jobs", cure))
    if jobs_list is None:
        return None if job_from is None else by_pattern(job_from), []
    return by_list(jobs_list, [source.name for source in sources])


def context_of(agreed: Settings) -> Context:
    """What is known beside every file; tomorrow, so that no zone is ahead of the clock here."""
    return Context(agreed.time_zone, latest=datetime.now(UTC).date() + timedelta(days=1))


def _sources(paths: Sequence[Path], lines: list[Line], problems: list[Problem]) -> list[Source]:
    """The files of a delivery; what cannot even be opened becomes a line and a problem."""
    found: list[Source] = []
    for source in walk(paths):
        if isinstance(source, Source):
            found.append(source)
            continue
        problems.append(source)
        if source.blocks != "note":
            lines.append(Line(source.place.file, "refused", 0, "", f"found {source.found}"))
    return found


def portions(imports: Iterable[Import]) -> Iterator[list[Import]]:
    """Imports in the portions they are committed in."""
    gathered: list[Import] = []
    size = 0
    for one in imports:
        gathered.append(one)
        size += one.source.size_bytes
        if len(gathered) >= _COMMIT_SOURCES or size >= _COMMIT_BYTES:
            yield gathered
            gathered, size = [], 0
    if gathered:
        yield gathered


def _line(taken: Import, receipt: Receipt | None, fresh: set[str] | None) -> Line:
    sessions = [session.session_id for session in taken.mapped.sessions]
    outcome: str = taken.state
    if outcome == "imported":
        if receipt is None or fresh is None:
            outcome = "read"
        elif not sessions:
            outcome = "read with its test"
        elif not fresh.intersection(sessions):
            outcome = "known already"
        else:
            outcome = "new" if set(receipt.added).intersection(sessions) else "replaced"
    return Line(taken.source.name, outcome, len(sessions), taken.plugin_id or "", why_not_read(taken))


def why_not_read(taken: Import) -> str:
    """What is asked of a source that was held, or wrong with one that was refused, in short; else nothing."""
    if taken.state == "held":
        return "; ".join(question.subject for question in taken.mapped.questions)
    if taken.state == "imported":
        return ""
    return next((_short(p, taken.source) for p in taken.mapped.problems if p.blocks in ("session", "file")), "")


def _short(problem: Problem, source: Source) -> str:
    """Where and what, without what may have been meant instead; the file or sheet where it is not the source."""
    file, row, column = problem.place.file, problem.place.row, problem.place.column
    place = [file.removeprefix(f"{source.name}, ").rpartition("/")[2]] * (file != source.name)
    place += [f"row {row}"] * (row is not None) + [f"column '{column}'"] * (column is not None)
    found = f"found {problem.found.split(';')[0]}"
    return f"{', '.join(place)}: {found}" if place else found


def _in_words(question: Question) -> str:
    choices = "; ".join(choice.words for choice in question.choices)
    return f"{question.place}: {question.subject} {question.why}" + (f" Possible: {choices}." if choices else "")
