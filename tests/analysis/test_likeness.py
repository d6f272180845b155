"""Fingerprints find the same readings again, cut, written with other decimals or mirrored; other tests they leave."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from interchange.analysis.likeness import (
    CERTAIN,
    COPIED_READINGS,
    POSSIBLE,
    PROBABLE,
    SAME_TEST,
    Agreement,
    Circumstances,
    Readings,
    agreement,
    fingerprinted,
    judge,
    keys,
    paired,
)
from interchange.units import conversion

Floats = NDArray[np.float64]


def readings(*tests: list[tuple[float, float]]) -> Readings:
    flat = [one for test in tests for one in test]
    offsets = np.cumsum([0, *map(len, tests)])
    pressure, amount = np.array(flat, dtype=np.float64).reshape(-1, 2).T
    return Readings(offsets, np.abs(pressure), amount)


def leak(seed: int, points: int = 8) -> list[tuple[float, float]]:
    """An invented house: points held by hand about 60, 55, ... Pa, a flow to each."""
    random = np.random.default_rng(seed)
    pressure = -60.0 + 5.0 * np.arange(points) + random.normal(0.0, 0.4, points)
    flow = random.uniform(60.0, 260.0) * np.abs(pressure) ** 0.65 * np.exp(random.normal(0.0, 0.01, points))
    return [(round(float(p), 1), round(float(q))) for p, q in zip(pressure, flow, strict=True)]


def cfm(test: list[tuple[float, float]]) -> list[tuple[float, float]]:
    """The same readings as a gauge writes them in whole cfm and pascals to 0.1, back in our units."""
    scale, _ = conversion("cfm", "flow_m3_h")
    return [(p, round(q / scale) * scale) for p, q in test]


ORIGINAL = leak(1)
AGAIN = {
    "as it was": ORIGINAL,
    "cut to its last four points": ORIGINAL[4:],
    "without one point": [*ORIGINAL[:3], *ORIGINAL[4:]],
    "in whole cfm": cfm(ORIGINAL),
    "in another order": ORIGINAL[::-1],
    "with the sign turned about": [(-p, q) for p, q in ORIGINAL],
    "with one flow corrected": [(ORIGINAL[0][0], ORIGINAL[0][1] * 1.1), *ORIGINAL[1:]],
}


@pytest.mark.parametrize("what", AGAIN)
def test_readings_sent_again_are_found_among_other_tests(what: str) -> None:
    others = [leak(seed) for seed in range(2, 60)]
    found = readings(ORIGINAL, *others, AGAIN[what])
    pairs = fingerprinted(found)
    agreed = agreement(found, pairs)
    whole = pairs[agreed.agreeing >= 3]
    assert whole.tolist() == [[0, 59]]
    agreeing = int(agreed.agreeing[(pairs == [0, 59]).all(axis=1)][0])
    assert agreeing == len(AGAIN[what]) - (what == "with one flow corrected")


def test_a_repeat_of_the_same_house_is_not_the_same_test() -> None:
    scatter = np.random.default_rng(9)
    again = [(p + float(scatter.normal(0, 0.5)), q * float(np.exp(scatter.normal(0, 0.01)))) for p, q in ORIGINAL]
    found = readings(ORIGINAL, again)
    assert agreement(found, np.array([[0, 1]])).agreeing.tolist() == [0]


def test_pairs_do_not_depend_on_the_portions_they_are_compared_in(monkeypatch: pytest.MonkeyPatch) -> None:
    found = readings(*(leak(seed) for seed in (1, 2, 1, 3, 1)), [])
    pairs = np.array([[0, 1], [0, 2], [0, 5], [2, 4], [3, 4]])
    whole = agreement(found, pairs)
    monkeypatch.setattr("interchange.analysis.likeness._COMPARED_AT_ONCE", 70)
    parts = agreement(found, pairs)
    assert whole.agreeing.tolist() == parts.agreeing.tolist() == [0, 8, 0, 8, 0]
    assert whole.fewer.tolist() == [8, 8, 0, 8, 8]


def test_every_two_that_share_a_key_are_a_pair_once() -> None:
    key = keys(np.array([5.0, 7.0, 5.0, 5.0, 7.0, 5.0]))
    owner = np.array([0, 1, 2, 0, 3, 4])
    assert paired(key, owner).tolist() == [[0, 2], [0, 4], [1, 3], [2, 4]]
    assert paired(key[:0], owner[:0]).tolist() == []


def test_keys_are_the_same_only_where_every_column_is() -> None:
    a, b = np.array([1.0, 1.0, 2.0, 0.0]), np.array([2.0, 3.0, 1.0, 0.0])
    both = keys(a, b)
    assert len(set(both.tolist())) == 4
    assert both.tolist() == keys(a.copy(), b.copy()).tolist()


# agreeing of fewer readings; place, stage, minute, day, rest → likeness and as what; None for not alike
JUDGED = [
    ((8, 8), (1, 1, 1, 1, 1), (CERTAIN, SAME_TEST)),
    ((1, 1), (1, 1, 1, 1, 1), (CERTAIN, SAME_TEST)),
    ((1, 1), (1, 1, 0, 1, 1), (PROBABLE, SAME_TEST)),  # a point, by job and day
    ((1, 1), (1, 1, 0, 1, 0), None),  # another baseline: two attempts
    ((1, 1), (0, -1, 0, 1, 1), (POSSIBLE, COPIED_READINGS)),
    ((1, 1), (0, -1, 0, 1, 0), None),
    ((8, 8), (1, 1, 0, 1, 0), (CERTAIN, SAME_TEST)),
    ((4, 8), (1, 1, 1, 1, 1), None),
    ((6, 8), (1, 1, 1, 1, 1), (PROBABLE, SAME_TEST)),
    ((8, 8), (0, 1, 1, 1, 1), (PROBABLE, SAME_TEST)),  # another job number over it
    ((8, 8), (0, 1, 0, 0, 1), (POSSIBLE, COPIED_READINGS)),
    ((8, 8), (1, 0, 0, 0, 1), (POSSIBLE, COPIED_READINGS)),  # before the work and after it
    ((8, 8), (-1, -1, -1, -1, -1), (POSSIBLE, COPIED_READINGS)),
    ((0, 0), (1, 1, 1, 1, 1), (CERTAIN, SAME_TEST)),  # a list of results, or a log
    ((0, 0), (1, 1, 0, 1, 1), (PROBABLE, SAME_TEST)),
    ((0, 0), (1, 1, 0, 0, 1), None),
    ((0, 0), (1, 1, 1, 1, -1), None),
    ((0, 0), (0, 1, 1, 1, 1), None),  # logs of two crews, as long as each other
    ((0, 0), (-1, -1, 1, 1, 1), (PROBABLE, SAME_TEST)),
    ((2, 8), (1, 1, 1, 1, 1), None),
]


@pytest.mark.parametrize(("counts", "codes", "expected"), JUDGED)
def test_pairs_are_judged_by_readings_place_and_time(
    counts: tuple[int, int], codes: tuple[int, ...], expected: tuple[int, int] | None
) -> None:
    agreeing, fewer = (np.array([count]) for count in counts)
    of = Circumstances(*(np.array([code], dtype=np.int8) for code in codes))
    sure, alike_as = judge(Agreement(agreeing, fewer), of)
    assert (int(sure[0]), int(alike_as[0])) == (expected or (-1, SAME_TEST))
