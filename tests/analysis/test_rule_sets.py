"""Rule sets: the shipped files against the functions they name, and files at fault against the door."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import pytest
from build import batch, line, multi_point

from interchange.analysis import chain, checks, steps
from interchange.errors import RuleSetError
from interchange.model import ruleset
from interchange.operations import rules
from interchange.operations.judging import judge
from interchange.quantities import CHOICES, FAIL, SUSPECT

GOOD = """
id = "mine"
edition = "2020"
title = "Mine"
applies_to = ["multi_point"]
status = "practice"
[[steps]]
name = "power_law"
provenance = "physics"
source = "mine"
"""


CHECK = """
[[checks]]
name = "point_count"
provenance = "physics"
source = "mine"
"""


def written(folder: Path, text: str, name: str = "mine@2020.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


@pytest.mark.parametrize("reference", ruleset.references())
def test_shipped_rule_sets_name_functions_and_keywords_that_exist(reference: str) -> None:
    rules = ruleset.named(reference)
    assert rules.reference == reference
    assert chain.step_faults(rules.steps, reference, rules.applies_to) == []
    assert checks.check_faults(rules.checks, reference) == []
    assert len({rule.name for rule in rules.checks}) == len(rules.checks)


@pytest.mark.parametrize("reference", ruleset.references())
def test_limits_without_a_source_say_so(reference: str) -> None:
    for rule in ruleset.named(reference).checks:
        assert (rule.provenance == "common practice") == ("common practice, no source" in rule.source)


def test_every_step_and_check_is_used_by_a_shipped_rule_set() -> None:
    shipped = [ruleset.named(reference) for reference in ruleset.references()]
    assert {rule.name for rules in shipped for rule in rules.steps} == set(steps.STEPS)
    assert {rule.name for rules in shipped for rule in rules.checks} == set(checks.CHECKS)


SHIPPED = {
    "as_displayed": "practice",
    "as_reported": "practice",
    "astm-e1827-one-point@2011": "superseded",
    "astm-e1827-two-point@2011": "superseded",
    "astm-e3158@2018": "preview",
    "astm-e779@2019": "current",
    "cgsb-149.10@2019": "preview",
    "en13829@2000": "preview",
    "icc-380@2016": "superseded",
    "iso9972@2015": "current",
}


def test_the_rule_sets_of_this_release_are_there() -> None:
    assert {reference: ruleset.named(reference).status for reference in ruleset.references()} == SHIPPED


def test_a_preview_computes_and_gives_no_pass_or_fail() -> None:
    rules = ruleset.named("en13829@2000")
    found = judge(batch(multi_point()), rules)
    assert found.leakage.session["flow_50_m3_h"][0] == pytest.approx(200.0 * 50.0**0.65, rel=2e-3)
    assert (found.checks, found.verdicts) == ({}, {})
    assert list(judge(batch(multi_point()), ruleset.named("astm-e779@2019")).verdicts) == list(CHOICES["use"])


def test_a_limit_quoted_from_memory_never_fails_a_test() -> None:
    few = multi_point(runs=[{"direction": "depressurisation", "points": line("depressurisation", (50.0, 40.0, 30.0))}])
    by_memory, read = (judge(batch(few), ruleset.named(name)) for name in ("astm-e779@2019", "iso9972@2015"))
    assert (by_memory.checks["point_count"].level[0], read.checks["point_count"].level[0]) == (SUSPECT, FAIL)


def test_a_good_file_is_read(tmp_path: Path) -> None:
    rules = ruleset.load(written(tmp_path, GOOD))
    assert (rules.reference, rules.applies_to, rules.checks) == ("mine@2020", ("multi_point",), ())


@pytest.mark.parametrize(
    ("text", "code", "column"),
    [
        (GOOD + "[", "rule-text", None),
        (GOOD.replace('title = "Mine"', ""), "form-missing", "title"),
        (GOOD.replace("title", "titel"), "form-extra-forbidden", "titel"),
        (GOOD.replace('"physics"', '"hearsay"'), "form-literal-error", "steps.0.provenance"),
        (GOOD.replace('"multi_point"', '"monitoring"'), "form-literal-error", "applies_to.0"),
        (GOOD + "arguments = { confidence = nan }", "form-finite-number", "steps.0.arguments.confidence.float"),
        (GOOD.replace('"2020"', '"2021"'), "rule-name", None),
        (GOOD.replace('"practice"', '"preview"') + CHECK, "form-value-error", "checks"),
    ],
    ids=["not TOML", "missing", "misspelt", "provenance", "kind", "nan", "other name", "preview that judges"],
)
def test_a_file_at_fault_is_refused_with_its_place(tmp_path: Path, text: str, code: str, column: str | None) -> None:
    with pytest.raises(RuleSetError) as caught:
        ruleset.load(written(tmp_path, text))
    found = [(problem.code, problem.place.file, problem.place.column) for problem in caught.value.problems]
    assert (code, "mine@2020.toml", column) in found
    assert caught.value.exit_code == 3


OWN = """
id = "mine"
edition = "2020"
title = "Mine"
follows = "iso9972@2015"
applies_to = ["multi_point"]
status = "practice"
"""


def limit(zones: Sequence[str] = (), kinds: Sequence[str] = (), at_most: float = 5.0) -> str:
    return (
        f'[[thresholds]]\nof = "air_changes"\nat_most = {at_most}\nunit = "1/h"\nprovenance = "read"\n'
        f'source = "mine"\nclimate_zones = {list(zones)}\nbuilding_types = {list(kinds)}\n'
    )


def own_check(text: str) -> str:
    return f'[[checks]]\nprovenance = "read"\nsource = "mine"\n{text}\n'


def own_step(text: str) -> str:
    return f'[[steps]]\nprovenance = "physics"\nsource = "mine"\n{text}\n'


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("[[steps]\n", ["mine@2020.toml: found Expected ']]' at the end of an array declaration"]),
        (own_step('name = "magic"') + own_step('name = "power_law"'), ["column 'step 1': found 'magic'; expected one"]),
        (own_step('name = "baseline"'), ["mine@2020.toml: found no fit; expected a step of power_law"]),
        (
            own_step('name = "power_law"') + own_step('name = "baseline"'),
            ["column 'step 2': found 'baseline' too late; expected steps in the order air_pressure"],
        ),
        (
            own_check('name = "point_count"\narguments = { minimum = "five", least = 3 }') + own_check('name = "luck"'),
            [
                "column 'check 1': found unknown keyword 'least'; expected keywords minimum. Correct the keyword.",
                "column 'check 1': found minimum = 'five'; expected a whole number. Correct the value.",
                "column 'check 2': found 'luck'; expected one of direction_matches_pressure",
            ],
        ),
        (
            limit(at_most=-1.0) + own_check('name = "luck"'),
            ["column 'thresholds.0.at_most': found -1.0; expected input should be greater than 0", "found 'luck'"],
        ),
        ("colour = 1\n", ["column 'colour': found an unknown field; expected a field of this form. Remove the field"]),
        (
            limit(["6", "7"]) + limit([" 7 "]),
            [
                "column 'thresholds': found",
                "expected threshold 2 before threshold 1, which is for all tests that it is for",
            ],
        ),
        (limit(["6"]) + limit(["6"], ["apartment"]), ["expected threshold 2 before threshold 1"]),
        (limit([], ["apartment"]) + limit(["6"], ["apartment"]), ["expected threshold 2 before threshold 1"]),
        (limit(["6", "6A"]) + limit(["6a", "7"]) + limit(), []),
    ],
)
def test_every_fault_of_a_programmes_own_file_is_told_with_place_and_cure(
    tmp_path: Path, text: str, said: list[str]
) -> None:
    found = "\n".join(map(str, rules.faults(written(tmp_path, OWN + text))))
    assert [words for words in said if words not in found] == []
    assert bool(found) == bool(said)


def test_a_file_that_can_be_followed_may_still_hold_what_was_not_meant(tmp_path: Path) -> None:
    text = OWN + limit(["6", "7"]) + limit(kinds=["apartment"])
    found = [str(remark) for remark in rules.remarks(written(tmp_path, text))]
    assert found == [
        "mine@2020.toml, column 'thresholds': found thresholds 1 and 2, both for some tests; expected one threshold "
        "for a test, or the stricter case first. For a test of both, threshold 1 counts. Change their order if that is "
        "not meant.",
        "mine@2020.toml, column 'thresholds': found no threshold for all other tests; expected a last threshold "
        "without climate_zones and building_types. Tests that none is for are not asked. Add one for all if that is "
        "not meant.",
    ]
    assert {remark.blocks for remark in rules.remarks(written(tmp_path, text))} == {"note"}
    for fine in (
        "",
        limit(["6"], ["apartment"]) + limit(["6"]) + limit(),
        limit(["6"]) + limit(["7"], at_most=9.0) + limit(),
    ):
        assert rules.remarks(written(tmp_path, OWN + fine)) == []


def test_the_preview_of_large_buildings_can_be_followed_by_a_file_with_thresholds_at_75_pa(tmp_path: Path) -> None:
    text = OWN.replace("iso9972@2015", "astm-e3158@2018") + limit().replace(
        "[[thresholds]]", "[[thresholds]]\nat_pa = 75.0"
    )
    path = written(tmp_path, text)
    assert rules.faults(path) == []
    assert ruleset.load(path).thresholds[0].at_pa == 75.0


def test_a_file_in_another_encoding_or_absent_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "mine@2020.toml"
    with pytest.raises(RuleSetError, match="No such file"):
        ruleset.load(path)
    path.write_bytes(GOOD.encode("utf-16"))
    with pytest.raises(RuleSetError, match="TOML in UTF-8"):
        ruleset.load(path)


def test_an_unknown_name_lists_those_there_are() -> None:
    with pytest.raises(RuleSetError, match=r"as_displayed, as_reported, astm-e1827-one-point@2011, .*iso9972@2015"):
        ruleset.named("no_such_rules")
