"""Faults that only show among several tests: copies, and a fan opening that was not the one claimed."""

from __future__ import annotations

import copy
from typing import Any

import numpy as np
import pytest
from build import batch, multi_point, one_point

from interchange.analysis.line_faults.kin import copies, wrong_configuration

FLOWS = (2913.37, 2741.12, 2573.98, 2402.44, 2211.03, 2020.91, 1830.25, 1611.47, 1391.86, 1152.29)


def a_test(flows: tuple[float, ...] = FLOWS, shift: float = 0.0) -> dict[str, Any]:
    session = copy.deepcopy(multi_point())
    for i, (one, flow) in enumerate(zip(session["runs"][0]["points"], flows, strict=True)):
        one["envelope_pressure_pa"] += 0.137 * i + shift
        one["readings"][0]["flow_m3_h"] = flow
    session["runs"][0]["baseline_before_pressure_pa"] = -1.237 + shift
    return session


def pairs(*sessions: dict[str, Any]) -> list[tuple[int, int]]:
    found = copies(batch(*sessions))
    return list(zip(found.first.tolist(), found.second.tolist(), strict=True))


def rounded(session: dict[str, Any], pressure_pa: float, flow_m3_h: float = 0.0) -> dict[str, Any]:
    made = copy.deepcopy(session)
    for one in made["runs"][0]["points"]:
        one["envelope_pressure_pa"] = pressure_pa * round(one["envelope_pressure_pa"] / pressure_pa)
        if flow_m3_h:
            one["readings"][0]["flow_m3_h"] = flow_m3_h * round(one["readings"][0]["flow_m3_h"] / flow_m3_h)
    return made


def cut(session: dict[str, Any], first: int, last: int) -> dict[str, Any]:
    made = copy.deepcopy(session)
    made["runs"][0]["points"] = made["runs"][0]["points"][first:last]
    made["runs"][0]["baseline_after_pressure_pa"] = None
    return made


@pytest.mark.parametrize(
    "second",
    [a_test(), rounded(a_test(), 0.5), rounded(a_test(), 1.0, 1.0), cut(a_test(), 0, 4), cut(a_test(), 3, 9)],
    ids=["the same", "rounded to half a pascal", "rounded to whole numbers", "cut short", "begun late"],
)
def test_a_copy_is_found_whole_rounded_or_in_part(second: dict[str, Any]) -> None:
    other = a_test(tuple(1.031 * flow for flow in FLOWS))
    assert pairs(other, a_test(), second) == [(1, 2)]


def test_a_house_tested_twice_is_no_copy() -> None:
    rng = np.random.default_rng(6)
    again = [a_test(tuple(f * float(np.exp(rng.normal(0.0, 0.003))) for f in FLOWS)) for _ in range(30)]
    assert pairs(*again) == []


def test_single_points_are_copies_where_their_digits_say_so() -> None:
    first = one_point(-50.137, 2517.43, -1.237)
    assert pairs(first, one_point(-50.0, 2517.43, -1.0)) == [(0, 1)]
    assert pairs(first, one_point(-50.9, 2531.11, -1.237)) == []
    assert pairs(one_point(-50.0, 2500.0, -1.0), one_point(-50.3, 2500.0, -2.0)) == []


def test_no_sessions_have_no_copies() -> None:
    assert pairs() == []
    assert pairs({"kind": "summary"}, {"kind": "summary"}) == []


RATIOS = np.array([[2.3, 1 / 2.3]])


def test_the_odd_one_of_three_tests_of_a_house_had_another_opening() -> None:
    # openings 2.3 apart: 1000 is 2300 read with the opening below
    found = wrong_configuration(np.zeros(3, np.int64), np.array([2310.0, 1000.0, 2250.0]), np.repeat(RATIOS, 3, axis=0))
    assert found.probability[1] > 0.99
    assert (found.probability[[0, 2]] < 0.05).all()
    assert found.ratio[1] == 2.3
    assert found.siblings.tolist() == [2, 2, 2]


def test_of_two_tests_nobody_knows_which_is_wrong() -> None:
    found = wrong_configuration(np.zeros(2, np.int64), np.array([2300.0, 1000.0]), np.repeat(RATIOS, 2, axis=0))
    assert found.probability == pytest.approx([0.5, 0.5], abs=0.01)


def test_a_house_that_was_worked_on_may_have_changed_by_itself() -> None:
    flows = np.array([2300.0, 1450.0])
    work = wrong_configuration(
        np.zeros(2, np.int64), flows, np.repeat(RATIOS, 2, axis=0), same_stage=np.zeros(2, dtype=np.bool_)
    )
    assert (work.probability < 0.05).all()


def test_a_test_alone_or_of_an_unknown_house_cannot_tell() -> None:
    found = wrong_configuration(np.array([-1, -1, 4]), np.array([2300.0, 1000.0, 900.0]), np.repeat(RATIOS, 3, axis=0))
    assert np.isnan(found.probability).all()
    assert found.siblings.tolist() == [0, 0, 0]
