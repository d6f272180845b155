"""What rule sets share over one batch changes no bit of what each of them makes of it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import numpy as np
import pytest
from build import batch, multi_point, one_point

from interchange.analysis import chain, uncertainty
from interchange.analysis.batch import Batch
from interchange.analysis.once import Once
from interchange.model import ruleset

NAMES = ("iso9972@2015", "as_displayed", "astm-e779@2019", "cgsb-149.10@2019", "astm-e1827-one-point@2011")
DAMP = {"indoor_temperature_c": 21.0, "indoor_relative_humidity": 0.5, "outdoor_temperature_c": -5.0}


def both_ways() -> dict[str, Any]:
    (run,) = multi_point()["runs"]
    into = {**run, "direction": "pressurisation", "points": [dict(one) for one in run["points"][:4]]}
    for one in into["points"]:
        one["envelope_pressure_pa"] = -one["envelope_pressure_pa"]
    into["points"][0]["dropped"] = True
    return {**multi_point(), "runs": [run, into]}


def readings() -> Batch:
    return batch(both_ways(), multi_point(), one_point(), multi_point(runs=[]), {**multi_point(), **DAMP})


def bits(given: Batch, rules: ruleset.RuleSet, shared: chain.Shared | None) -> list[bytes]:
    work = chain.follow(given, rules.steps, rules.applies_to, shared=shared)
    leakage, budget = chain.leakage(work), uncertainty.budget(work)
    columns = (*leakage.session.values(), *leakage.run.values(), leakage.note_mask, *budget.parts.values())
    return [np.ascontiguousarray(column).tobytes() for column in columns]


@pytest.mark.parametrize("names", [NAMES, NAMES[::-1], NAMES + NAMES], ids=["in order", "in turn", "twice"])
def test_rule_sets_that_share_a_batch_find_what_each_finds_alone(names: Sequence[str]) -> None:
    given, shared = readings(), chain.Shared()
    for rules in map(ruleset.named, names):
        assert bits(given, rules, shared) == bits(readings(), rules, None), rules.reference


def test_batches_that_share_by_mistake_are_not_mixed_up() -> None:
    shared, iso = chain.Shared(), ruleset.named(NAMES[0])
    first, second = readings(), batch(multi_point(), one_point())
    assert bits(first, iso, shared) == bits(first, iso, None)
    assert bits(second, iso, shared) == bits(second, iso, None)


def test_an_answer_is_worked_out_once_for_each_argument() -> None:
    asked: list[float] = []

    def twice(values: list[float], factor: float) -> list[float]:
        asked.append(factor)
        return [factor * value for value in values]

    once, one, other = Once(), [1.0, 2.0], [1.0, 2.0]
    assert once(twice, one, 2.0) is once(twice, one, 2.0)
    assert once(twice, one, 3.0) == [3.0, 6.0]
    assert once(twice, other, 2.0) == [2.0, 4.0]
    assert asked == [2.0, 3.0, 2.0]
