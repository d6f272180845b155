"""Before and after: by how much the flow at 50 Pa fell, within which interval, and whether that is real."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from statistics import median

import numpy as np

from interchange.operations.changes import compare_halves, flags, in_wind
from interchange.operations.halves import Half, read_halves
from interchange.operations.mismatches import COMPARED, LIMITS, Copies, Limits, mismatches
from interchange.operations.pairing import Pair, pair_up
from interchange.quantities import CHOICES
from interchange.report.heads import Units
from interchange.report.pairs import (
    ASK_AFTER_LARGE,
    ASK_AFTER_RISE,
    BLOCKS,
    Mismatch,
    ambiguous_words,
    change_words,
    gear_words,
    left_out_words,
    other_kinds_words,
    pair_words,
    recorded_words,
)
from interchange.table import Row, Table, counted

_COLUMNS = (
    *("job_id", "site_id", "contractor", "stage", "before_flow_50_m3_h", "after_flow_50_m3_h", "reduction_50_m3_h"),
    *("reduction_50_percent", "reduction_50_low_percent", "reduction_50_high_percent", "is_it_real", "in_words"),
    *("mismatches", "before_started_at_local", "after_started_at_local", "before_session_id", "after_session_id"),
)
# Those for a page: the words say the rest.
_SHOWN = ("job_id", "stage", "before_flow_50_m3_h", "after_flow_50_m3_h", "reduction_50_m3_h", "is_it_real", "in_words")
_TOTALS = ("contractor", "pair_count", "real_count", "not_real_count", "cannot_tell_count", "median_reduction_percent")
_ANSWERS = CHOICES["is_it_real"]


@dataclass(frozen=True, slots=True)
class Reductions:
    """A row for each pair, the same with fewer columns for a page, totals by contractor, and the programme's units."""

    table: Table
    page: Table
    by_contractor: Table
    units: Units


@dataclass(frozen=True, slots=True)
class _Compared:
    """A pair whose halves are clear, what does not match in it, and the answer."""

    before: Half
    after: Half
    mismatches: list[Mismatch]
    reduction_m3_h: float | None
    percent: tuple[float | None, float | None, float | None]
    answer: str


def reductions(root: Path, rule_sets: Sequence[str] | None = None, limits: Limits = LIMITS) -> Reductions:
    """Pair the test before the work with the one of each later stage, and say of each pair whether leakage fell.

    Raises UsageError and ArchiveError as `read_halves` does.
    """
    read = read_halves(root, rule_sets)
    paired = pair_up(read.tests)
    clear = [(in_wind(pair.before[0]), in_wind(pair.after[0])) for pair in paired.pairs if not pair.ambiguous]
    compared = iter(_compare(clear, limits, _copies(read.tests)))
    rows: list[Row] = []
    answers: list[tuple[str, str, float | None]] = []  # contractor, answer, reduction
    for pair in paired.pairs:
        if pair.ambiguous:
            rows.append(_ambiguous_row(pair))
            answers.append((pair.after[0].contractor or "unknown", "cannot_tell", None))
        else:
            one = next(compared)
            rows.append(_row(one, limits, read.units))
            answers.append((one.after.contractor or "unknown", one.answer, one.percent[0]))
    left_out = [left_out_words(why, len(tests)) for why, tests in paired.left_out.items() if tests]
    left_out += other_kinds_words(read.others)
    notes = [*_totals_words(answers), *_recorded_words(clear), read.followed]
    table = Table(_COLUMNS, rows, left_out, notes)
    places = [_COLUMNS.index(name) for name in _SHOWN]
    page = Table(_SHOWN, [tuple(row[i] for i in places) for row in rows], left_out, notes)
    return Reductions(table, page, Table(_TOTALS, _totals(answers), left_out, notes[:1]), read.units)


def _copies(tests: Sequence[Half]) -> Copies:
    found: dict[tuple[int, int], set[str]] = {}
    for half in tests:
        if half.readings is not None and half.house is not None:
            found.setdefault((half.readings, half.reading_count), set()).add(half.house)
    return {readings: houses for readings, houses in found.items() if len(houses) > 1}


def _compare(pairs: Sequence[tuple[Half, Half]], limits: Limits, copies: Copies) -> list[_Compared]:
    before, after = [one for one, _ in pairs], [other for _, other in pairs]
    unlike = [mismatches(one, other, limits, copies) for one, other in pairs]
    found = compare_halves(before, after, _wider(pairs, unlike, limits))
    matched = flags(all(one.consequence != BLOCKS for one in those) for those in unlike)
    answers = found.is_it_real(matched, limits.least_percent)
    percents = np.stack([found.reduction_percent, found.low_percent, found.high_percent], axis=1)
    return [
        _Compared(*pairs[i], unlike[i], _number(found.reduction_m3_h[i]), _three(percents[i]), _ANSWERS[answers[i]])
        for i in range(len(pairs))
    ]


def _wider(
    pairs: Sequence[tuple[Half, Half]], unlike: Sequence[Sequence[Mismatch]], limits: Limits
) -> tuple[list[float], list[float]]:
    """Limits [%] that widen each half: what strong wind may have done to it, and the one direction to the other.

    A best estimate in wind holds the wind already.
    """
    before, after = (
        [limits.wind_limit_percent if pair[side].windy and not pair[side].estimated else 0.0 for pair in pairs]
        for side in (0, 1)
    )
    for place, those in enumerate(unlike):
        if any(one.field == "direction_used" for one in those):
            after[place] = float(np.hypot(after[place], limits.direction_limit_percent))
    return before, after


def _three(values: np.ndarray[tuple[int], np.dtype[np.float64]]) -> tuple[float | None, float | None, float | None]:
    reduction, low, high = (_number(value) for value in values)
    return reduction, low, high


def _number(value: float) -> float | None:
    return None if np.isnan(value) else float(value)


def _row(one: _Compared, limits: Limits, units: Units) -> Row:
    before, after = one.before, one.after
    reduction = one.percent[0]
    asks = []
    if one.answer == "no" and reduction is not None and reduction < 0:
        asks.append(ASK_AFTER_RISE)
    if reduction is not None and reduction > limits.large_percent:
        asks.append(ASK_AFTER_LARGE)
    return (
        *(after.job_id, after.site_id or before.site_id, after.contractor, after.stage),
        *(before.flow_50_m3_h, after.flow_50_m3_h, one.reduction_m3_h, *one.percent, one.answer),
        pair_words(change_words(*one.percent), one.answer, one.mismatches, units, asks),
        ";".join(f"{mismatch.field}:{mismatch.consequence}" for mismatch in one.mismatches),
        *(before.started_at_local, after.started_at_local, before.session_id, after.session_id),
    )


def _ambiguous_row(pair: Pair) -> Row:
    claims = [
        (str(side[0].stage), [half.session_id for half in side]) for side in (pair.before, pair.after) if len(side) > 1
    ]
    after = pair.after[0]
    ids = [side[0].session_id if len(side) == 1 else None for side in (pair.before, pair.after)]
    nothing = (None,) * 6
    said = (*nothing, "cannot_tell", ambiguous_words(claims), "ambiguous:blocks", None, None)
    return (after.job_id, after.site_id, after.contractor, after.stage, *said, *ids)


def _totals(answers: Sequence[tuple[str, str, float | None]]) -> list[Row]:
    rows: list[Row] = []
    for contractor in sorted({name for name, _, _ in answers}):
        own = [(answer, reduction) for name, answer, reduction in answers if name == contractor]
        counts = Counter(answer for answer, _ in own)
        real = [reduction for answer, reduction in own if answer == "yes" and reduction is not None]
        rows.append((contractor, len(own), *(counts[word] for word in _ANSWERS), median(real) if real else None))
    return rows


def _totals_words(answers: Sequence[tuple[str, str, float | None]]) -> list[str]:
    counts = Counter(answer for _, answer, _ in answers)
    return [
        f"{counted(len(answers), 'pair')}: {counts['yes']} with a real reduction, {counts['no']} without one, "
        f"{counts['cannot_tell']} cannot tell"
    ]


def _recorded_words(pairs: Sequence[tuple[Half, Half]]) -> list[str]:
    counts = {name: sum(_known(one, name) and _known(other, name) for one, other in pairs) for name in COMPARED}
    from_register = sum(one.gear_from_register or other.gear_from_register for one, other in pairs)
    gear = [(one.gauge_serial, one.fan_serial, other.gauge_serial, other.fan_serial) for one, other in pairs]
    unknown = sum(None in serials for serials in gear)
    return [recorded_words(counts, len(pairs)), gear_words(from_register, unknown, len(pairs))] if pairs else []


def _known(half: Half, name: str) -> bool:
    return getattr(half, name) not in (None, "unknown", {})
