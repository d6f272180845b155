"""The archive checks itself: do results that should be the same agree within the intervals stated for them?"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime
from itertools import pairwise
from pathlib import Path

import numpy as np

from interchange.analysis import pairs as kernel
from interchange.analysis.pairs import Change
from interchange.analysis.plain import share_limits
from interchange.analysis.uncertainty import COVERAGE_FACTOR
from interchange.operations.both_directions import Directions, both_directions
from interchange.operations.changes import compare_halves
from interchange.operations.halves import Half, read_halves
from interchange.operations.mismatches import GRAVE, LIMITS, mismatches
from interchange.operations.pairing import replaced, sent_again
from interchange.quantities import CHOICES
from interchange.report.heads import Units
from interchange.report.pairs import (
    BLOCKS,
    all_repeats_words,
    not_a_repeat_words,
    not_agreeing_words,
    other_kinds_words,
    repeats_words,
)
from interchange.table import Row, Table

MOST_DAYS = 60  # between tests of one stage; later ones may have work between them; a judgement, no source
RETEST, SAME_DAY, SAME_STAGE, BOTH_DIRECTIONS = CHOICES["repeat_sort"]
_COLUMNS = (
    *("repeat_sort", "windy", "pair_count", "agreeing_count", "agreeing_percent", "agreeing_low_percent"),
    *("agreeing_high_percent", "expected_percent", "median_difference_percent", "expected_difference_percent"),
    "stated_intervals",
)
_EACH = (
    *("repeat_sort", "windy", "job_id", "stage", "first_flow_50_m3_h", "second_flow_50_m3_h"),
    *("repeat_difference_percent", "repeat_limit_percent", "agrees", "first_session_id", "second_session_id"),
)


@dataclass(frozen=True, slots=True)
class Repeats:
    """A row for each sort of repeat, a row for each pair, and the programme's units."""

    table: Table
    each: Table
    units: Units


@dataclass(frozen=True, slots=True)
class _Pair:
    """Two results of one house and stage; `same_zero` where both took off the same baseline."""

    sort: str
    first: Half
    second: Half
    same_zero: bool = False

    @property
    def windy(self) -> bool:
        return self.first.windy or self.second.windy


def repeats(root: Path, rule_sets: Sequence[str] | None = None, most_days: int = MOST_DAYS) -> Repeats:
    """Repeats of tests within a stage, and both directions of one test, against their joint 95 % intervals.

    A record sent again with the same readings is no repeat, nor one that another record replaces, nor one whose test
    is not sound for a comparison. Raises UsageError and ArchiveError as `read_halves` does.
    """
    read = read_halves(root, rule_sets)
    out = Counter[str]()
    groups = _groups(read.tests, out)
    both = [half for group in groups for half in group if half.direction_used == "both" and _is_sound(half)]
    directions = both_directions(root, read.version, both, read.rule_sets)
    out["one_run"] = len(both) - len(directions)
    pairs = [*_repeated(groups, most_days, out), *_directions(directions)]
    found = compare_halves(
        [pair.first for pair in pairs],
        [pair.second for pair in pairs],
        same_zero=[pair.same_zero for pair in pairs],
    )
    left_out = [not_a_repeat_words(why, count) for why, count in out.items() if count]
    left_out += other_kinds_words(read.others)
    rows, said = _sorts(pairs, found)
    notes = [*(said or ["no repeat pairs"]), *_not_agreeing(pairs, found), read.followed]
    each = Table(_EACH, _each(pairs, found), left_out, notes)
    return Repeats(Table(_COLUMNS, rows, left_out, notes), each, read.units)


def _is_sound(half: Half) -> bool:
    return half.parts is not None and half.verdict not in GRAVE


def _directions(found: Sequence[Directions]) -> Iterator[_Pair]:
    for one in found:
        yield _Pair(BOTH_DIRECTIONS, one.depressurised, one.pressurised, one.same_zero)


def _groups(tests: Sequence[Half], out: Counter[str]) -> list[list[Half]]:
    """Tests by house and stage, without those that were sent again, or that another one replaces."""
    groups: dict[tuple[str, str], list[Half]] = {}
    for half in tests:
        if half.house is None:
            out["no_house"] += 1
        elif half.stage is None:
            out["no_stage"] += 1
        else:
            groups.setdefault((half.house, half.stage), []).append(half)
    for why, those in (("sent_again", sent_again), ("replaced", replaced)):
        for key, group in groups.items():
            gone = {half.session_id for half in those(group)}
            out[why] += len(gone)
            groups[key] = [half for half in group if half.session_id not in gone]
    return list(groups.values())


def _repeated(groups: Sequence[list[Half]], most_days: int, out: Counter[str]) -> Iterator[_Pair]:
    """Tests of one house and stage, each with the next one."""
    for group in groups:
        usable = _usable(group, out) if len(group) > 1 else []
        for (started, first), (then, second) in pairwise(usable):
            sort = _sort(first, second)
            if any(one.consequence == BLOCKS for one in mismatches(first, second, LIMITS, {})):
                out["unlike"] += 1
            elif (then - started).days > most_days and sort != RETEST:
                out["far_apart"] += 1
            else:
                yield _Pair(sort, first, second)


def _usable(group: list[Half], out: Counter[str]) -> list[tuple[datetime, Half]]:
    """Tests of a stage that can be repeats, with their starts and in the order of these."""
    usable = []
    for half in group:
        if half.flow_50_m3_h is None:
            out["no_flow"] += 1
        elif not _is_sound(half):
            out["not_sound"] += 1
        elif half.started_at_local is None:
            out["no_start"] += 1
        else:
            usable.append((half.started_at_local, half))
    return sorted(usable, key=lambda one: (one[0], one[1].session_id))


def _sort(first: Half, second: Half) -> str:
    """What makes two tests of a stage a repeat, the later one second."""
    attempts = (first.attempt_number, second.attempt_number)
    numbered = None not in attempts and attempts[0] != attempts[1] and first.visit_number == second.visit_number
    if second.retest_of in (first.session_id, first.job_id or "") or numbered:
        return RETEST
    days = [half.started_at_local and half.started_at_local.date() for half in (first, second)]
    return SAME_DAY if days[0] == days[1] else SAME_STAGE


def _sorts(pairs: Sequence[_Pair], found: Change) -> tuple[list[Row], list[str]]:
    """A row and a sentence for each sort, still or windy, that there is, and sentences on all."""
    agree, differ = kernel.agrees(found), kernel.difference_percent(found)
    expected = kernel.expected_difference_percent(found)
    rows: list[Row] = []
    said: list[str] = []
    for windy in (False, True):
        here = np.array([pair.windy is windy for pair in pairs], dtype=np.bool_)
        for sort in CHOICES["repeat_sort"]:
            own = here & np.array([pair.sort == sort for pair in pairs], dtype=np.bool_)
            if own.any():
                count, agreeing, share, stated = _share(agree[own])
                medians = (float(np.median(differ[own])), float(np.median(expected[own])))
                rows.append((sort, windy, count, agreeing, *share, 100.0 * kernel.COVERAGE, *medians, stated))
                said.append(repeats_words(sort, windy, agreeing, count, stated))
        if here.any():
            count, agreeing, _, stated = _share(agree[here])
            said.append(all_repeats_words(agreeing, count, windy, stated))
    return rows, said


def _not_agreeing(pairs: Sequence[_Pair], found: Change) -> list[str]:
    """What the checks found in tests whose pairs do not agree: there the reason may lie."""
    apart = [pair for pair, agree in zip(pairs, kernel.agrees(found), strict=True) if not agree]
    against = Counter(name for pair in apart for name in {*pair.first.because_of, *pair.second.because_of})
    return (
        [not_agreeing_words(dict(sorted(against.items(), key=lambda one: (-one[1], one[0]))), len(apart))]
        if apart
        else []
    )


def _share(agree: kernel.Flags) -> tuple[int, int, tuple[float, float, float], str]:
    """How many, how many agree, their share with its limits [%], and what that says of the stated intervals."""
    count, agreeing = np.array([agree.size]), np.array([agree.sum()])
    low, high = share_limits(int(agreeing[0]), int(count[0]))
    share = (100.0 * float(agree.mean()), 100.0 * low, 100.0 * high)
    word = CHOICES["stated_intervals"][kernel.stated_intervals(agreeing, count)[0]]
    return int(count[0]), int(agreeing[0]), share, word


def _each(pairs: Sequence[_Pair], found: Change) -> list[Row]:
    agree, differ = kernel.agrees(found), kernel.difference_percent(found)
    limit = 100.0 * np.expm1(COVERAGE_FACTOR * found.standard_deviation)
    return [
        (
            *(pair.sort, pair.windy, pair.second.job_id, pair.second.stage),
            *(pair.first.flow_50_m3_h, pair.second.flow_50_m3_h),
            *(float(differ[i]), float(limit[i]), bool(agree[i]), pair.first.session_id, pair.second.session_id),
        )
        for i, pair in enumerate(pairs)
    ]
