"""Every number of check_values.json has exactly one test, or one reason why it has none yet."""

from __future__ import annotations

import importlib
from collections.abc import Iterable
from pathlib import Path

import check_values
import pytest

STANDING = ("read", "from memory", "computed with library ")

# Nothing in the toolkit works these out: reason -> ids.
NOT_BUILT: dict[str, tuple[str, ...]] = {
    "two-leak model of the error of a test in steady wind: not built; the best estimate in wind works from spreads": (
        "steadywind-*",
    ),
    "samples of a first-order series: not used; noise of means is that of a continuous signal (`noise.mean_share`)": (
        "ar1-*",
    ),
    "fits with errors in both variables: no rule set asks for one; the published weights were not read": (
        "synthetic-loc-n",
        "synthetic-wloc-n",
        "synthetic-tls-n",
    ),
    "density of water at a temperature: not built; the unit table holds the conventional column only": (
        "water-mm-20C",
    ),
}


def shortcomings(held: Iterable[str], not_built: Iterable[str], known: Iterable[str]) -> list[str]:
    """What is wrong with a division of the known ids among tests and reasons."""
    held, not_built, known = list(held), list(not_built), list(known)
    placed = held + not_built
    return (
        [f"{name}: has neither test nor reason" for name in known if name not in placed]
        + [f"{name}: stands {placed.count(name)} times" for name in sorted(set(placed)) if placed.count(name) > 1]
        + [f"{name}: no such value" for name in sorted(set(placed) - set(known))]
    )


def held_by_tests() -> list[str]:
    names: list[str] = []
    for path in sorted(Path(__file__).parent.glob("test_*.py")):
        module = importlib.import_module(path.stem)
        for name, thing in vars(module).items():
            if name.startswith("test_") and getattr(thing, "__module__", None) == path.stem:
                names += getattr(thing, "values_held", [])
    return names


def test_every_value_is_held_by_one_test_or_has_one_reason():
    without_test = [
        name for patterns in NOT_BUILT.values() for pattern in patterns for name in check_values.ids(pattern)
    ]
    assert shortcomings(held_by_tests(), without_test, [entry["id"] for entry in check_values.ENTRIES]) == []


@pytest.mark.parametrize(
    ("held", "not_built", "said"),
    [
        (["a"], [], ["b: has neither test nor reason"]),
        (["a", "b", "a"], [], ["a: stands 2 times"]),
        (["a", "b"], ["b"], ["b: stands 2 times"]),
        (["a", "b", "c"], [], ["c: no such value"]),
        (["a"], ["b"], []),
    ],
    ids=["forgotten", "tested twice", "tested and excused", "invented", "complete"],
)
def test_the_census_sees(held: list[str], not_built: list[str], said: list[str]):
    assert shortcomings(held, not_built, ["a", "b"]) == said


def test_every_value_names_source_provenance_and_tolerance_and_no_id_stands_twice():
    faults = [
        entry["id"]
        for entry in check_values.ENTRIES
        if not entry["source"].strip()
        or not entry["provenance"].startswith(STANDING)
        or not set(entry["tolerance"]) & {"abs", "rel"}
        or set(entry) - {"id", "quantity", "inputs", "expected", "tolerance", "source", "provenance", "note"}
    ]
    assert faults == []
    assert len(check_values.VALUES) == len(check_values.ENTRIES) == 164
