"""Families hold what they are asked for, each member depends on its seed alone, and every fault can be drawn."""

from __future__ import annotations

from collections import Counter

import numpy as np
import pytest

from . import many_cases
from .families import ARRANGEMENTS, CREWS, EXPONENTS, WINDS, family, grid, member
from .faults import KINDS


def test_members_are_spread_over_the_cells_and_lie_within_them():
    members = family(900, 3)
    cells = Counter((each.wind, each.arrangement, each.crew) for each in members)
    assert len(cells) == 45
    assert max(cells.values()) < 40
    for each in members:
        low, high = WINDS[each.wind]
        assert low <= each.case.wind.speed_10m_m_s <= high
        assert len(each.case.procedure.directions) == (2 if each.crew == "both directions" else 1)
        assert (len(each.case.procedure.targets_pa) == 1) == (each.crew == "single point")
        assert abs(each.case.house.exponent - each.exponent) < 0.08
        assert each.case.faults == ()
        assert 700 <= each.case.house.coefficient_m3_h * 50**each.case.house.exponent <= 4500
    assert set(Counter(each.exponent for each in members)) == set(EXPONENTS)
    assert len({(each.case.lines[0].name.split(",")[0], each.case.lines[0].ends == ("yard",)) for each in members}) == 5


def test_a_member_depends_on_its_seed_and_not_on_the_count():
    few, more = family(3, 5, fault_share=0.5), family(8, 5, fault_share=0.5)
    assert few == more[:3]
    assert family(3, 6)[0] != few[0]


def test_a_family_holds_what_it_is_asked_for():
    members = family(
        200, 2, ("windy",), ("yard end",), ("multi-point",), 0.5, ("gauge gain",), True, True, ("open end",)
    )
    assert {(each.wind, each.arrangement, each.crew) for each in members} == {("windy", "yard end", "multi-point")}
    assert 70 < sum(each.fault == "gauge gain" for each in members) < 130
    for each in members:
        assert [fault.kind for fault in each.case.faults] == ([each.fault] if each.fault else [])
        assert each.case.keep_trace
        assert each.case.mast is not None
        assert len(each.case.lines) == 2


def test_the_grid_has_as_many_of_each_cell():
    members = grid(2, 1)
    assert set(Counter((each.wind, each.arrangement, each.crew) for each in members).values()) == {2}
    assert len(members) == 2 * len(WINDS) * len(ARRANGEMENTS) * len(CREWS)
    assert grid(1, 1)[1] == members[2]


@pytest.mark.parametrize(
    ("crews", "each"),
    [(("single point",), 1), pytest.param(("multi-point", "both directions"), 8, marks=pytest.mark.full)],
)
def test_every_fault_can_be_drawn_and_takes_place(crews, each):
    rng = np.random.default_rng(9)
    kinds = [kind for kind in KINDS for _ in range(each)]
    cases = [member(rng, "breezy", "open end", crews[i % len(crews)], kind, True).case for i, kind in enumerate(kinds)]
    for kind, test in zip(kinds, many_cases(cases, 1), strict=True):
        (planted,) = test.planted
        assert planted.kind == kind or (planted.kind, kind) == ("baseline zero", "baseline copied")
        lasts = len(test.trace.time_s)
        assert all(0 <= start < stop <= lasts for start, stop in planted.spans_s)
        assert test.residual < 1e-9
