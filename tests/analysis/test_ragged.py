"""Segment reductions against plain Python, empty segments anywhere, and independence of place."""

from __future__ import annotations

import itertools
import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from interchange.analysis import ragged

SEGMENTS = st.lists(st.lists(st.floats(-1e6, 1e6), max_size=12), max_size=12)


def flat(segments: list[list[float]]) -> tuple[np.ndarray, np.ndarray]:
    return np.array([v for s in segments for v in s]), np.cumsum([0, *map(len, segments)]).astype(np.int64)


@pytest.mark.parametrize(
    ("segments", "expected"),
    [
        ([[], [1.0, 2.0], [4.0]], [0.0, 3.0, 4.0]),
        ([[1.0, 2.0], [], [4.0]], [3.0, 0.0, 4.0]),
        ([[1.0, 2.0], [4.0], []], [3.0, 4.0, 0.0]),
        ([[5.0], [], [], [7.0]], [5.0, 0.0, 0.0, 7.0]),
        ([[], []], [0.0, 0.0]),
        ([], []),
        ([[5.0], [7.0]], [5.0, 7.0]),
    ],
    ids=["empty first", "empty in the middle", "empty last", "two empty", "all empty", "none", "one each"],
)
def test_an_empty_segment_sums_to_zero_and_takes_nothing_from_its_neighbour(
    segments: list[list[float]], expected: list[float]
) -> None:
    assert ragged.sums(*flat(segments)).tolist() == expected


@settings(max_examples=60, deadline=None)
@given(SEGMENTS)
def test_reductions_are_those_of_plain_python(segments: list[list[float]]) -> None:
    values, offsets = flat(segments)
    assert ragged.counts(offsets).tolist() == [len(s) for s in segments]
    assert ragged.sums(values, offsets) == pytest.approx([math.fsum(s) for s in segments], rel=1e-12, abs=1e-6)
    for found, function in ((ragged.minima, min), (ragged.maxima, max)):
        plain = [function(s) if s else math.nan for s in segments]
        assert found(values, offsets).tolist() == pytest.approx(plain, nan_ok=True, abs=0)
    means = [math.fsum(s) / len(s) if s else math.nan for s in segments]
    assert ragged.means(values, offsets).tolist() == pytest.approx(means, rel=1e-9, abs=1e-6, nan_ok=True)


@settings(max_examples=60, deadline=None)
@given(SEGMENTS)
def test_a_segment_alone_is_the_segment_among_others_bit_for_bit(segments: list[list[float]]) -> None:
    values, offsets = flat(segments)
    among = ragged.sums(values, offsets)
    alone = [ragged.sums(*flat([s]))[0] for s in segments]
    assert among.tobytes() == np.array(alone, dtype=np.float64).tobytes()


def test_the_order_of_a_sum_does_not_depend_on_a_buffer() -> None:
    rng = np.random.default_rng(1)
    long = rng.normal(size=20_000)
    offsets = np.array([0, 5, 19_000, 20_000])
    strided = np.stack([long, long], axis=1)[:, 0]
    single = [ragged.sums(long[a:b], np.array([0, b - a]))[0] for a, b in itertools.pairwise(offsets)]
    assert ragged.sums(strided, offsets).tolist() == single


def test_offsets_that_do_not_begin_at_zero_count_only_their_own() -> None:
    values, offsets = np.array([100.0, 1.0, 2.0, 3.0, 100.0]), np.array([1, 3, 4])
    assert ragged.sums(values, offsets).tolist() == [3.0, 3.0]
    assert ragged.sums(values, np.array([1, 2, 3])).tolist() == [1.0, 2.0]


def test_a_nan_is_not_hidden_by_a_minimum() -> None:
    assert math.isnan(ragged.minima(np.array([1.0, math.nan]), np.array([0, 2]))[0])


def test_offsets_after_taking_elements_out_keep_segments_that_became_empty() -> None:
    keep = np.array([True, False, False, True, True])
    assert ragged.kept(np.array([0, 2, 3, 3, 5]), keep).tolist() == [0, 1, 1, 1, 3]
