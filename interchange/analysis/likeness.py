"""Which tests are probably one and the same: fingerprints joined, then readings compared one by one.

A test sent again in other bytes may have been cut, written with other decimals, or corrected in a cell. So a test has
many fingerprints, one for each three neighbouring readings, on grids coarser than rounding; one that survives is enough
to find the pair. Tests are compared only where a fingerprint, or a key such as the job, is shared: a sort, no n^2.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from interchange.analysis.batch import Codes, Floats, Ints
from interchange.quantities import CHOICES

Flags = NDArray[np.bool_]
Keys = NDArray[np.uint64]
CERTAIN, PROBABLE, POSSIBLE = range(3)
SAME_TEST, COPIED_READINGS = range(2)
_NOT_ALIKE = -1
assert CHOICES["likeness"] == ("certain", "probable", "possible")
assert CHOICES["alike_as"] == ("same_test", "copied_readings")

_NEIGHBOURS = 3  # readings a fingerprint: one house's lie on a line, so that fewer would tell few houses apart
_SHIFTS = (0.0, 1.0 / 3.0, 2.0 / 3.0)  # of the grid, in cells: what an edge of one grid parts, another holds together
_PRESSURE_CELL_PA = 0.2  # four times the most that rounding to 0.1 Pa moves a pressure by
_AMOUNT_CELL_LOG = 0.005  # of flow or fan pressure, in the natural logarithm; 1 cfm is 0.001 of 1000 cfm
_COMPARED_AT_ONCE = 1 << 22  # pairs of readings, so that memory stays small
_MIX = (np.uint64(0x9E3779B97F4A7C15), np.uint64(0xBF58476D1CE4E5B9))  # odd numbers that spread bits (SplitMix64)


@dataclass(frozen=True, slots=True)
class Readings:
    """Readings of tests, flat: the size of the pressure across the envelope [Pa], and an amount of one unit, NaN-free.

    Segment i of `offsets` are those of test i. Sizes, because a layout may turn signs about.
    """

    offsets: Ints
    pressure_pa: Floats
    amount: Floats


@dataclass(frozen=True, slots=True)
class Agreement:
    """For each pair: how many readings of the one with fewer stand in the other too, and how many it has."""

    agreeing: Ints
    fewer: Ints


def keys(codes: NDArray[np.generic], *others: NDArray[np.generic]) -> Keys:
    """One key of several columns, row by row: rows with the same numbers have the same key. NaN is a number here."""
    key = np.zeros(codes.size, dtype=np.uint64)
    for column in (codes, *others):
        bits = np.ascontiguousarray(column, dtype=np.float64).view(np.uint64)
        with np.errstate(over="ignore"):
            key = (key ^ bits) * _MIX[0]
            key = (key ^ (key >> np.uint64(29))) * _MIX[1]
    return key


def paired(key: Keys, owner: Ints, most: int = 20) -> NDArray[np.int64]:
    """Pairs of owners that share a key, the lower first, each once; of a key held by many, each with the next `most`.

    Shape (pairs, 2), sorted.
    """
    order = np.lexsort((owner, key))
    key, owner = key[order], owner[order]
    found = [np.zeros((0, 2), dtype=np.int64)]
    for lag in range(1, most + 1):
        same = np.flatnonzero(key[lag:] == key[:-lag])
        if not same.size:
            break
        found.append(np.stack([owner[same], owner[same + lag]], axis=1))
    return distinct(np.concatenate(found))


def distinct(pairs: NDArray[np.int64]) -> NDArray[np.int64]:
    """Pairs of two different owners, each once and sorted."""
    both = np.unique((pairs[:, 0] << 32) | pairs[:, 1])
    pairs = np.stack([both >> 32, both & 0xFFFFFFFF], axis=1)
    return np.asarray(pairs[pairs[:, 0] != pairs[:, 1]])


def fingerprinted(readings: Readings, most: int = 20) -> NDArray[np.int64]:
    """Pairs of tests with three neighbouring readings alike, by the size of the pressure. Shape (pairs, 2)."""
    owner = np.repeat(np.arange(readings.offsets.size - 1), np.diff(readings.offsets))
    order = np.lexsort((readings.amount, readings.pressure_pa, owner))
    columns = (readings.pressure_pa[order] / _PRESSURE_CELL_PA, np.log(readings.amount[order]) / _AMOUNT_CELL_LOG)
    count = max(owner.size - _NEIGHBOURS + 1, 0)
    whole = owner[:count] == owner[owner.size - count :]
    each: list[Keys] = []
    for shift in _SHIFTS:
        cells = [np.floor(values + shift) for values in columns]
        parts = [cell[place : place + count][whole] for cell in cells for place in range(_NEIGHBOURS)]
        each.append(keys(np.full(int(whole.sum()), shift), *parts))
    return paired(np.concatenate(each), np.tile(owner[:count][whole], len(_SHIFTS)), most)


def agreement(
    readings: Readings,
    pairs: NDArray[np.int64],
    pressure_pa: float = 0.11,
    amount_ratio: float = 0.002,
    amount: float = 1.4,
) -> Agreement:
    """Count the readings that pairs of tests share, within what rounding in another unit may do to them.

    Pressures within `pressure_pa` [Pa] (both rounded to 0.1 Pa); amounts within `amount` in their own unit (flow:
    rounded to 1 cfm = 1.7 m3/h and to 1 m3/h) or `amount_ratio` of them, whichever is more.
    """
    counts = np.diff(readings.offsets)
    size = counts[pairs]
    agreeing = np.zeros(len(pairs), dtype=np.int64)
    cross = np.concatenate([[0], np.cumsum(size.prod(axis=1))])
    first = 0
    while first < len(pairs):
        after = max(int(np.searchsorted(cross, cross[first] + _COMPARED_AT_ONCE, side="right")) - 1, first + 1)
        agreeing[first:after] = _agreeing(readings, pairs[first:after], (pressure_pa, amount_ratio, amount))
        first = after
    return Agreement(agreeing, size.min(axis=1) if len(pairs) else np.zeros(0, dtype=np.int64))


def _agreeing(readings: Readings, pairs: NDArray[np.int64], within: tuple[float, float, float]) -> Ints:
    size = np.diff(readings.offsets)[pairs]
    total = size.prod(axis=1)
    pair = np.repeat(np.arange(len(pairs)), total)
    step = np.arange(pair.size) - np.repeat(np.cumsum(total) - total, total)
    width = size[pair, 1]
    one, other = step // np.maximum(width, 1), step % np.maximum(width, 1)
    left, right = (readings.offsets[pairs[pair, side]] + place for side, place in ((0, one), (1, other)))
    amounts = (readings.amount[left], readings.amount[right])
    same = np.abs(readings.pressure_pa[left] - readings.pressure_pa[right]) <= within[0]
    same &= np.abs(amounts[0] - amounts[1]) <= np.maximum(within[1] * np.maximum(*amounts), within[2])
    found = []
    for place in (left, right):  # how many readings of each side have one like them on the other
        held = np.unique(np.stack([pair[same], place[same]], axis=1), axis=0)
        found.append(np.bincount(held[:, 0], minlength=len(pairs)))
    return np.minimum(*found)


@dataclass(frozen=True, slots=True)
class Circumstances:
    """What is known of pairs beside their readings. Codes: 1 the same, 0 another, -1 not known of both.

    `place` is the job, else the house; `stage`, `minute` and `day` of the start; `rest` is what else was measured
    (baselines), or, of tests without readings, all they report.
    """

    place: Codes
    stage: Codes
    minute: Codes
    day: Codes
    rest: Codes


def judge(found: Agreement, of: Circumstances, enough: int = 3, least_share: float = 0.6) -> tuple[Codes, Codes]:
    """How sure it is that pairs are alike, and as what: codes of `likeness` (-1 for not alike) and `alike_as`.

    `enough` equal readings are no chance; fewer need job and day as well. `least_share` of the readings of the test
    with fewer must agree where some were corrected. Judgements, no source.
    """
    sure = np.full(found.agreeing.size, _NOT_ALIKE, dtype=np.int8)
    alike_as = np.full(found.agreeing.size, SAME_TEST, dtype=np.int8)
    many = found.agreeing >= enough
    whole = (found.agreeing == found.fewer) & ((found.fewer > 0) | (of.rest == 1))
    equal = whole & (many | (of.rest != 0))
    most = many & (found.agreeing >= least_share * found.fewer)
    here = (of.place == 1) & (of.stage != 0)
    copied = (most & (of.minute != 1)) | (equal & ~many & (of.place != 1) & (of.rest == 1) & (found.fewer > 0))
    rules: tuple[tuple[Flags, int, int], ...] = (
        (here & (of.minute == 1) & equal, CERTAIN, SAME_TEST),
        (here & (of.day == 1) & whole & many, CERTAIN, SAME_TEST),
        (here & (of.day == 1) & equal, PROBABLE, SAME_TEST),
        (here & (of.day == -1) & whole & many, PROBABLE, SAME_TEST),
        ((of.minute == 1) & equal & (many | (of.place == 1)), PROBABLE, SAME_TEST),
        ((of.minute == 1) & equal & (found.fewer == 0) & (of.place == -1), PROBABLE, SAME_TEST),
        ((of.minute == 1) & most, PROBABLE, SAME_TEST),
        (copied, POSSIBLE, COPIED_READINGS),
    )
    for holds, how_sure, what in rules:
        new = holds & (sure == _NOT_ALIKE)
        sure[new], alike_as[new] = how_sure, what
    return sure, alike_as
