"""Which test stands for a stage of the work on a house, which pairs follow, and what was left aside and why."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field

from interchange.operations.halves import Half

BEFORE, LATER = "before", ("interim", "after", "inspection")
DAYS_ONLY = ("date_only", "upload_time")  # qualities of a start whose clock says nothing
ENOUGH_READINGS = 3  # so many equal readings are no chance, whatever date stands over them

# Why a test does not stand for its stage; the order is that in which they are looked for.
SENT_AGAIN, REPLACED, NOT_OF_RECORD, NO_FLOW, REPEATED = (
    "sent_again",
    "replaced",
    "not_of_record",
    "no_flow",
    "repeated",
)
NO_STAGE, NO_HOUSE, NO_PARTNER = "no_stage", "no_house", "no_partner"


@dataclass(frozen=True, slots=True)
class Pair:
    """The tests that stand for two stages of a house: one each, or several where nothing tells which one counts."""

    before: tuple[Half, ...]
    after: tuple[Half, ...]

    @property
    def ambiguous(self) -> tuple[Half, ...]:
        """The tests of the stage, or stages, that several tests claim; empty where both are clear."""
        return tuple(half for side in (self.before, self.after) if len(side) > 1 for half in side)


@dataclass(slots=True)
class Pairing:
    """Pairs by house and stage, and the tests that belong to none, by the reason."""

    pairs: list[Pair] = field(default_factory=list)
    left_out: dict[str, list[Half]] = field(default_factory=dict)

    def leave_out(self, why: str, tests: Iterable[Half]) -> None:
        """Note tests that stand for nothing."""
        self.left_out.setdefault(why, []).extend(tests)


def pair_up(tests: Sequence[Half]) -> Pairing:
    """Pair the test before the work with that of each later stage: within a job, else within a house over its jobs.

    For a stage stands, of the tests that were not sent again, replaced or marked as not counting, the newest attempt:
    by visit and attempt where both are numbered, else by when it started. Where that does not tell, all of them stand
    for it, and the pair is ambiguous.
    """
    found = Pairing()
    found.leave_out(NO_HOUSE, (half for half in tests if half.house is None))
    placed = [half for half in tests if half.house is not None]
    found.leave_out(NO_STAGE, (half for half in placed if half.stage is None))
    staged = [half for half in placed if half.stage is not None]
    alone = _pair_groups(_grouped(staged, lambda half: half.house), found)
    # a house whose stages were given to different jobs
    found.leave_out(NO_PARTNER, (half for half in alone if half.site_id is None))
    over_jobs = [half for half in alone if half.site_id is not None]
    found.leave_out(NO_PARTNER, _pair_groups(_grouped(over_jobs, lambda half: half.site_id), found))
    return found


def _grouped(tests: Iterable[Half], key: Callable[[Half], str | None]) -> list[list[Half]]:
    groups: dict[str | None, list[Half]] = {}
    for half in tests:
        groups.setdefault(key(half), []).append(half)
    return list(groups.values())


def _pair_groups(groups: Iterable[list[Half]], found: Pairing) -> list[Half]:
    """Pair the stages of each group; the tests that stand for a stage and have no partner."""
    alone = []
    for tests in groups:
        chosen = {stage: _standing(of_stage, found) for stage, of_stage in _stages(tests).items()}
        before = chosen.pop(BEFORE, ())
        if before and chosen:
            found.pairs += [Pair(before, chosen[stage]) for stage in LATER if stage in chosen]
        else:
            alone += [half for halves in (before, *chosen.values()) for half in halves]
    return alone


def _stages(tests: Iterable[Half]) -> dict[str, list[Half]]:
    stages: dict[str, list[Half]] = {}
    for half in tests:
        stages.setdefault(str(half.stage), []).append(half)
    return stages


def _standing(tests: list[Half], found: Pairing) -> tuple[Half, ...]:
    """The tests that may stand for a stage: one, or several that nothing tells apart."""
    if len(tests) == 1:
        return tuple(tests)
    for why, those in (
        (SENT_AGAIN, sent_again),
        (REPLACED, replaced),
        (NOT_OF_RECORD, _not_of_record),
        (NO_FLOW, _without_flow),
        (REPEATED, _retested),
        (REPEATED, _earlier_attempts),
        (REPEATED, _earlier_starts),
    ):
        out = {half.session_id for half in those(tests)}
        if out and len(out) < len(tests):
            found.leave_out(why, (half for half in tests if half.session_id in out))
            tests = [half for half in tests if half.session_id not in out]
    return tuple(tests)


def sent_again(tests: Sequence[Half]) -> list[Half]:
    """Of records of one stage with the same readings all but the one taken in last.

    A reading or two may be the same by chance: then the start must be the same as well.
    """
    newest: dict[tuple[object, ...], Half] = {}
    out = []
    for half in sorted(tests, key=lambda half: (half.import_number, half.session_id)):
        if half.readings is not None:
            start = None if half.reading_count >= ENOUGH_READINGS else half.started_at_local
            same = (half.readings, half.reading_count, start)
            if same in newest:
                out.append(newest[same])
            newest[same] = half
    return out


def replaced(tests: Sequence[Half]) -> list[Half]:
    """Tests that another one of the stage says it replaces."""
    return _referred_to(tests, lambda half: half.supersedes)


def _retested(tests: Sequence[Half]) -> list[Half]:
    """Tests that another one of the stage says it repeats."""
    return _referred_to(tests, lambda half: half.retest_of)


def _referred_to(tests: Sequence[Half], reference: Callable[[Half], str | None]) -> list[Half]:
    """Tests named by another one: by their id, or by their job and then those that did not start later than it."""
    out = []
    for half in tests:
        for other in tests:
            name = reference(other)
            if name is None or other is half:
                continue
            earlier = reference(half) is None and not _later(half, other)
            if name == half.session_id or (name == half.job_id and earlier):
                out.append(half)
                break
    return out


def _later(half: Half, other: Half) -> bool:
    if half.started_at_local is None or other.started_at_local is None:
        return False
    return half.started_at_local > other.started_at_local


def _not_of_record(tests: Sequence[Half]) -> list[Half]:
    """Where the source marks tests as those that count, all others; else those that it marks as not counting."""
    marked = any(half.result_of_record for half in tests)
    return [half for half in tests if (not half.result_of_record if marked else half.result_of_record is False)]


def _without_flow(tests: Sequence[Half]) -> list[Half]:
    return [half for half in tests if half.flow_50_m3_h is None]


def _earlier_attempts(tests: Sequence[Half]) -> list[Half]:
    """All but the last attempts; nothing where only some of the tests are numbered."""
    columns = list(zip(*((half.visit_number, half.attempt_number) for half in tests), strict=True))
    if any(None in column and set(column) != {None} for column in columns):
        return []
    numbers = [(half.visit_number or 0, half.attempt_number or 0) for half in tests]
    return [half for half, number in zip(tests, numbers, strict=True) if number != max(numbers)]


def _earlier_starts(tests: Sequence[Half]) -> list[Half]:
    """All but the last that started; by days alone where a clock is not known, nothing where a day is not."""
    starts = [half.started_at_local for half in tests if half.started_at_local is not None]
    if len(starts) < len(tests):
        return []
    by_day = any(half.time_quality in DAYS_ONLY for half in tests)
    compared = [start.date() if by_day else start for start in starts]
    return [half for half, start in zip(tests, compared, strict=True) if start != max(compared)]
