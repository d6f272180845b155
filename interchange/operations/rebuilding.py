"""Reads every original of an archive again with the plugins of now; what reads otherwise becomes a new reading."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from interchange.archive import planning
from interchange.archive.originals import source_of
from interchange.archive.planning import Plan
from interchange.archive.snapshot import STANDING, JournalEntry, Snapshot
from interchange.archive.store import Store
from interchange.errors import Problem
from interchange.files import Source
from interchange.model.compared import differences
from interchange.model.question import Delivery, Import
from interchange.operations.importing import context_of, portions, why_not_read
from interchange.operations.plugins import plugins_of
from interchange.operations.said_of_files import with_said_before
from interchange.reading.door import read_all
from interchange.table import Row, Table, counted

_MOST_DIFFERENCES = 6
SAME, BETTER, OTHER_NUMBER, NOW_READ, KEPT, NOT_READ = (
    *("same", "read otherwise", "other number of tests", "now read", "kept as it stands", "still not read"),
)


@dataclass(frozen=True, slots=True)
class Rebuilt:
    """A row for each source that reads otherwise or cannot be read any more, what all became, and what was wrong."""

    table: Table
    problems: tuple[Problem, ...]
    questions: tuple[str, ...]
    summary: str
    all_read: bool
    changed: bool


@dataclass(slots=True)
class _Found:
    rows: list[Row]
    outcomes: Counter[str]
    problems: list[Problem]
    questions: list[str]


def rebuild_archive(
    root: Path,
    plugin_folders: Sequence[Path] = (),
    *,
    dry_run: bool = False,
    progress: Callable[[str], None] = lambda _: None,
) -> Rebuilt:
    """Read every original again by the door that import uses; commit what reads otherwise, under its own delivery.

    Amendments are made again where the field still holds what it held, else they become questions. A source that is
    not read any more keeps the tests that stand; one that was undone stays undone. Raises ArchiveError where the
    archive or an original cannot be read; what was committed before that stays.
    """
    store = Store.open(root)
    registry = plugins_of(plugin_folders, root)
    context = context_of(store.settings)
    found = _Found([], Counter(), list(registry.problems), [])
    changed = False
    for delivery, sources, governing in _deliveries(store):
        names = {row.source_name for row in governing.values()}
        wanted = (one for one in read_all(sources, registry.plugins, context) if one.source.name in names)
        for portion in portions(wanted):
            before = store.snapshot()
            imports = with_said_before(before, portion)
            plan = planning.of_imports(before, imports, [None] * len(imports), delivery)
            differing = _told(before, imports, plan, governing, found)
            if differing and not dry_run:
                store.commit(differing, delivery=delivery)
            changed |= bool(differing)
            progress(f"read {counted(found.outcomes.total(), 'original')} again")
    said = ", ".join(f"{count} {outcome}" for outcome, count in found.outcomes.items()) or "none"
    dry = " Nothing was written (dry run)." if dry_run else ""
    columns = ("source_name", "outcome", "session_count", "plugin_id", "what_differs")
    return Rebuilt(
        Table(columns, found.rows, [f"{counted(found.outcomes[SAME], 'file')} that read the same"]),
        tuple(found.problems),
        tuple(found.questions),
        f"{counted(found.outcomes.total(), 'original')}: {said}.{dry}",
        not found.outcomes[KEPT],
        changed and not dry_run,
    )


def _deliveries(store: Store) -> Iterator[tuple[Delivery | None, list[Source], dict[str, JournalEntry]]]:
    """Each delivery with all its sources, for companions, and the rows by which sources stand that are its own."""
    rows = [row for row in store.snapshot().journal() if row.source_sha256]
    newest: dict[str, JournalEntry] = {}
    for row in rows:
        there = newest.get(str(row.source_sha256))
        if there is None or row.import_state in STANDING or there.import_state not in STANDING:
            newest[str(row.source_sha256)] = row
    by_delivery: dict[str | None, dict[str, JournalEntry]] = {}
    for row in rows:
        if row.import_state not in ("amended", "undone"):
            by_delivery.setdefault(row.delivery, {})[row.source_name] = row
    for name, files in by_delivery.items():
        governing = {
            sha256: row
            for sha256, row in newest.items()
            if row.delivery == name and (row.import_state != "undone" or row.session_ids)
        }
        if governing:
            sender = next(iter(governing.values())).sender
            sources = [
                source_of(store.root, row.source_name, str(row.source_sha256), row.source_size_bytes or 0)
                for row in files.values()
            ]
            yield (None if name is None else Delivery(name, sender)), sources, governing


def _told(
    before: Snapshot, imports: Sequence[Import], plan: Plan, governing: dict[str, JournalEntry], found: _Found
) -> list[Import]:
    """Put on the list what became of each source; those to be committed."""
    differing = []
    stood = {session.session_id: session for session in before.sessions(session_ids=plan.replaced)}
    now = {session.session_id: session for one in imports for session in one.mapped.sessions}
    now |= {session.session_id: session for session, _ in plan.sessions}  # with what was amended
    for one, row in zip(imports, plan.journal, strict=True):
        was = governing[one.source.sha256]
        then = dict(zip(was.session_ids, was.revisions, strict=True))
        new = dict(zip(row["session_ids"], row["revisions"], strict=True))
        unlike: list[str] = []
        if one.state != "imported":
            outcome = KEPT if was.import_state in STANDING else NOT_READ
            unlike = [why_not_read(one)]
            if outcome == KEPT:
                found.problems += one.mapped.problems
        elif was.import_state not in STANDING:
            outcome = NOW_READ
        elif set(new) != set(then):
            outcome = OTHER_NUMBER
            unlike = [f"{counted(len(then), 'test')} became {len(new) or 'none'}"]
        else:
            outcome = SAME if new == then else BETTER
        for name, revision in new.items():
            if then.get(name, revision) != revision:
                unlike += [str(each) for each in differences(stood[name], now[name])] or ["how it was read, no value"]
        if outcome in (NOW_READ, OTHER_NUMBER, BETTER):
            differing.append(one)
            found.questions += [f"{one.source.name}: {each['subject']} {each['why']}" for each in row["questions"]]
        found.outcomes[outcome] += 1
        if outcome != SAME:
            more = [f"and {len(unlike) - _MOST_DIFFERENCES} more"] if len(unlike) > _MOST_DIFFERENCES else []
            words = "; ".join([*unlike[:_MOST_DIFFERENCES], *more])
            count = len(then) if outcome == KEPT else len(new)
            found.rows.append((one.source.name, outcome, count, one.plugin_id or "", words))
    return differing
