"""Which test stands for a stage of the work, and what becomes of the others."""

from __future__ import annotations

from datetime import datetime
from typing import Any

import pytest
from halves_by_hand import half
from hypothesis import given
from hypothesis import strategies as st

from interchange.operations.pairing import Pairing, pair_up

DAY_1, DAY_2 = datetime(2026, 4, 1, 9, 0), datetime(2026, 4, 2, 9, 0)
BEFORE = half("b")


def paired(*tests: Any) -> Pairing:
    return pair_up([BEFORE, *tests])


def names(found: Pairing) -> list[tuple[list[str], list[str]]]:
    return [([h.session_id for h in one.before], [h.session_id for h in one.after]) for one in found.pairs]


def out(found: Pairing) -> dict[str, list[str]]:
    return {why: [h.session_id for h in tests] for why, tests in found.left_out.items() if tests}


def after(name: str, **more: Any) -> Any:
    return half(name, **{"stage": "after", "started_at_local": DAY_1, "flow_50_m3_h": 1500.0, **more})


def test_each_later_stage_is_paired_with_before() -> None:
    found = paired(after("i", stage="interim"), after("a"), after("x", stage="inspection"))
    assert names(found) == [(["b"], ["i"]), (["b"], ["a"]), (["b"], ["x"])]
    assert out(found) == {}


@pytest.mark.parametrize(
    ("one", "other", "why"),
    [
        ({"readings": 7, "import_number": 2}, {"readings": 7, "import_number": 3}, "sent_again"),
        ({}, {"supersedes": "one"}, "replaced"),
        ({}, {"supersedes": "J-1"}, "replaced"),
        ({}, {"result_of_record": True}, "not_of_record"),
        ({"result_of_record": False}, {}, "not_of_record"),
        ({"flow_50_m3_h": None, "started_at_local": DAY_2}, {}, "no_flow"),
        ({"started_at_local": None}, {"retest_of": "one"}, "repeated"),
        ({}, {"retest_of": "J-1"}, "repeated"),
        ({"attempt_number": 1}, {"attempt_number": 2}, "repeated"),
        ({"visit_number": 1, "attempt_number": 2}, {"visit_number": 2, "attempt_number": 1}, "repeated"),
        ({}, {"started_at_local": DAY_2}, "repeated"),
        ({}, {"started_at_local": DAY_1.replace(hour=11)}, "repeated"),
    ],
)
@pytest.mark.parametrize("turned", [False, True])
def test_one_of_two_tests_of_a_stage_stands_for_it(one: Any, other: Any, why: str, turned: bool) -> None:
    tests = [after("one", **one), after("other", **other)]
    found = paired(*(tests[::-1] if turned else tests))
    assert names(found) == [(["b"], ["other"])]
    assert out(found) == {why: ["one"]}


@pytest.mark.parametrize(
    ("one", "other"),
    [
        ({}, {}),
        ({"started_at_local": None}, {"started_at_local": DAY_2}),
        ({"time_quality": "date_only"}, {"started_at_local": DAY_1.replace(hour=11)}),
        ({"result_of_record": True}, {"result_of_record": True}),
        ({"readings": 7, "reading_count": 1}, {"readings": 7, "reading_count": 1, "started_at_local": None}),
        ({"attempt_number": 1, "started_at_local": None}, {"started_at_local": None}),
    ],
)
def test_two_tests_that_nothing_tells_apart_are_both_named_and_none_is_chosen(one: Any, other: Any) -> None:
    found = paired(after("one", **one), after("other", **other))
    assert names(found) == [(["b"], ["one", "other"])]
    assert [h.session_id for h in found.pairs[0].ambiguous] == ["one", "other"]
    assert out(found) == {}


def test_the_mark_of_the_source_goes_before_the_date_and_a_replaced_record_never_stands() -> None:
    marked = after("marked", result_of_record=True, supersedes="old")
    found = paired(after("old", result_of_record=True), marked, after("late", started_at_local=DAY_2))
    assert names(found) == [(["b"], ["marked"])]
    assert out(found) == {"replaced": ["old"], "not_of_record": ["late"]}


def test_three_records_of_one_test_leave_the_one_taken_in_last() -> None:
    found = paired(*(after(f"n{i}", readings=7, import_number=i) for i in (2, 4, 3)))
    assert names(found) == [(["b"], ["n4"])]
    assert sorted(out(found)["sent_again"]) == ["n2", "n3"]


def test_a_reading_that_is_the_same_by_chance_on_another_day_is_another_test() -> None:
    found = paired(*(after(f"n{d.day}", readings=7, reading_count=1, started_at_local=d) for d in (DAY_1, DAY_2)))
    assert out(found) == {"repeated": ["n1"]}


def test_a_house_is_paired_over_its_jobs_where_a_job_has_no_pair_by_itself() -> None:
    found = paired(
        after("a", job_id="J-2"), half("c", job_id="J-3", site_id="H-3"), half("d", job_id="J-4", site_id=None)
    )
    assert names(found) == [(["b"], ["a"])]
    assert out(found) == {"no_partner": ["d", "c"]}


def test_without_stage_or_house_a_test_is_left_out_and_named() -> None:
    found = paired(after("a", stage=None), after("c", job_id=None, site_id=None))
    assert names(found) == []
    assert out(found) == {"no_house": ["c"], "no_stage": ["a"], "no_partner": ["b"]}


ANY_TEST = st.fixed_dictionaries(
    {
        "stage": st.sampled_from(["before", "interim", "after", None]),
        "job_id": st.sampled_from(["J-1", "J-2", None]),
        "site_id": st.sampled_from(["H-1", "H-2", None]),
        "readings": st.sampled_from([None, 7, 8]),
        "import_number": st.integers(1, 5),
        "result_of_record": st.sampled_from([None, True, False]),
        "started_at_local": st.sampled_from([None, DAY_1, DAY_2]),
    }
)


@given(st.lists(ANY_TEST, max_size=8))
def test_every_test_is_in_a_pair_or_left_out_with_a_reason_and_never_both(rows: list[dict[str, Any]]) -> None:
    tests = [half(f"t{i}", **row) for i, row in enumerate(rows)]
    found = pair_up(tests)
    used = {h.session_id for one in found.pairs for h in (*one.before, *one.after)}
    left = [h.session_id for those in found.left_out.values() for h in those]
    assert sorted([*used, *left]) == sorted(h.session_id for h in tests)
