"""Accounts of steps: each step has one, its numbers are the kernels', its equations give them; one case by hand."""

from __future__ import annotations

import math
from functools import cache
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from build import batch, line, multi_point, one_point, point

from interchange.analysis import chain
from interchange.analysis.account import formula
from interchange.analysis.account.book import Book, Term, number_text
from interchange.analysis.account.trail import ACCOUNTS, Account, account
from interchange.analysis.leakage import EXCLUSIONS, SHARES
from interchange.analysis.steps import STEPS
from interchange.model import ruleset
from interchange.quantities import CHOICES
from interchange.report import account_words
from interchange.report.account_words import EXCLUSION_WORDS, ORIGIN_WORDS, STEP_WORDS, remark_sentence, symbol_words
from tests.operations.pocket import Page, Read, check_column, settle

CALIBRATION = {"fan_coefficient_m3_h": 171.0, "fan_exponent": 0.505, "reference_air_density_kg_m3": 1.204}
TABLE = {"table": [{"calibration_pressure_pa": p, "calibration_flow_m3_h": 171.0 * p**0.5} for p in (20, 50, 120, 300)]}
PRESSURES = (-60.3, -51.2, -40.7, -30.1, -20.6)
SIGNALS = (210.0, 171.5, 128.0, 87.3, 54.1)


def _signals(calibration: int | None = 0, **more: Any) -> list[Any]:
    return [
        point(p, None, fan_pressure_pa=signal, calibration_index=calibration, **more)
        for p, signal in zip(PRESSURES, SIGNALS, strict=True)
    ]


def _run(direction: str = "depressurisation", **more: Any) -> dict[str, Any]:
    return {
        "direction": direction,
        "baseline_before_pressure_pa": -1.1,
        "baseline_after_pressure_pa": -1.9,
        "points": _signals(),
        **more,
    }


INVENTED = {
    "kind": "multi_point",
    "indoor_temperature_c": 21.5,
    "outdoor_temperature_c": 3.0,
    "barometric_pressure_pa": 99_800.0,
    "volume_m3": 412.0,
    "runs": [_run()],
    "calibrations": [CALIBRATION],
}
BOTH = (*line("depressurisation", (60, 45, 30, 20), offset=-1.0),), (*line("pressurisation", (60, 45, 30, 20)),)
# Invented tests that between them take every turn a step can take.
CASES: dict[str, Any] = {
    "fan pressures by a law": INVENTED,
    "fan pressures by a table": {**INVENTED, "calibrations": [TABLE]},
    "a law for one opening, a table for the other": {
        **INVENTED,
        "calibrations": [CALIBRATION, TABLE],
        "runs": [_run(points=[*_signals()[:3], *_signals(1)[3:]])],
    },
    "two laws": {
        **INVENTED,
        "calibrations": [
            CALIBRATION,
            {**CALIBRATION, "fan_coefficient_m3_h": 168.0, "reference_air_density_kg_m3": 1.2},
        ],
        "runs": [_run(points=[*_signals()[:3], *_signals(1)[3:]])],
    },
    "a density stated for one of two laws": {
        **INVENTED,
        "calibrations": [CALIBRATION, {**CALIBRATION, "reference_air_density_kg_m3": None}],
        "runs": [_run(points=[*_signals()[:3], *_signals(1)[3:]])],
    },
    "no calibration for some": {
        **INVENTED,
        "runs": [_run(points=[*_signals()[:3], *line("depressurisation", (30, 20, 12))])],
    },
    "signals beyond the table": {**INVENTED, "calibrations": [{"table": TABLE["table"][1:3]}]},
    "both directions": multi_point(
        runs=[
            {"direction": "depressurisation", "baseline_before_pressure_pa": -1.0, "points": list(BOTH[0])},
            {"direction": "pressurisation", "points": list(BOTH[1])},
            {"direction": "pressurisation", "baseline_after_pressure_pa": 0.4, "points": list(BOTH[1])},
        ]
    ),
    "a run that gives no result": multi_point(
        runs=[_run(points=list(BOTH[0])), _run("pressurisation", points=[]), _run("pressurisation", points=_signals())]
    ),
    "a run of two points": multi_point(runs=[_run(points=line("depressurisation", (50, 25)))]),
    "humidity on both sides": {**INVENTED, "indoor_relative_humidity": 0.45, "outdoor_relative_humidity": 0.9},
    "humidity outdoors, no barometer": {**INVENTED, "barometric_pressure_pa": None, "outdoor_relative_humidity": 0.8},
    "a high site": {**INVENTED, "barometric_pressure_pa": None, "elevation_m": 1950.0},
    "elevation alone": {**INVENTED, "barometric_pressure_pa": None, "elevation_m": 640.0},
    "neither barometer nor elevation": {**INVENTED, "barometric_pressure_pa": None},
    "no temperatures": {**INVENTED, "indoor_temperature_c": None, "outdoor_temperature_c": None},
    "direction unknown": {**INVENTED, "runs": [_run(None)]},
    "no baseline": {**INVENTED, "runs": [_run(baseline_before_pressure_pa=None, baseline_after_pressure_pa=None)]},
    "baseline removed": {**INVENTED, "runs": [_run(points=_signals(baseline_removed=True))]},
    "baseline removed from some": {
        **INVENTED,
        "runs": [_run(points=[*_signals(baseline_removed=True)[:2], *_signals()[2:]])],
    },
    "points left out for every reason": multi_point(
        runs=[
            _run(
                points=[
                    *line("depressurisation", (60, 45, 30, 20)),
                    point(-50.0, 2500.0, dropped=True),
                    point(None, 2500.0),
                    point(-50.0, 2500.0, flow_basis="extrapolated"),
                    point(-50.0, None),
                    point(4.0, 2500.0),
                    {"envelope_pressure_pa": -41.0, "readings": []},
                ]
            )
        ]
    ),
    "several fans a point": multi_point(
        runs=[
            _run(
                points=[
                    {"envelope_pressure_pa": p, "readings": [{"flow_m3_h": 20 * q}, {"flow_m3_h": 21 * q}]}
                    for p, q in zip(PRESSURES, (60.0, 55.0, 47.0, 39.0, 30.0), strict=True)
                ]
            )
        ]
    ),
    "flows of every sort": multi_point(
        runs=[
            _run(
                points=[
                    point(p, 500.0 + 30 * abs(p), flow_basis=basis)
                    for p, basis in zip(PRESSURES, ("indicated", "at_device", "envelope", "summed", None), strict=True)
                ]
            )
        ]
    ),
    "flows of the envelope": multi_point(
        runs=[_run(points=[point(p, 500.0 + 30 * abs(p), flow_basis="envelope") for p in PRESSURES])]
    ),
    "one point": one_point(indoor_temperature_c=20.0, outdoor_temperature_c=1.0),
    "one point at 1 Pa": one_point(-2.0, 200.0),
    "two points": {**multi_point(runs=[_run(points=line("depressurisation", (52, 49, 13, 12)))]), "kind": "two_point"},
    "no points": multi_point(runs=[_run(points=[])]),
    "no runs": multi_point(runs=[]),
    "not one point that can be used": multi_point(runs=[_run(points=[point(-50.0, None)])]),
    "points that lie on a line to the last digit": multi_point(),
    "points of one pressure": multi_point(runs=[_run(points=line("depressurisation", (50, 50, 50)))]),
    "flows all alike": multi_point(runs=[_run(points=line("depressurisation", (60, 45, 30), exponent=0.0))]),
    "flows of a barn": multi_point(runs=[_run(points=line("depressurisation", (60, 45, 30), coefficient=9e5))]),
    "a small flow": multi_point(runs=[_run(points=line("depressurisation", (60, 45, 30), coefficient=0.07))]),
}

RULES: dict[str, Any] = {
    reference: steps for reference in ruleset.references() if (steps := ruleset.named(reference).steps)
}


@cache
def _accounts(case: str, rule_set: str) -> list[Account]:
    return account(batch(CASES[case]), RULES[rule_set])


RULES["forms that no shipped rule set asks for"] = tuple(
    SimpleNamespace(name=name, arguments=arguments)
    for name, arguments in {
        "baseline": {"form": "interpolated"},
        "fan_density": {"humidity": True},
        "elevation_factor": {"per_m": 2e-5, "from_m": 100.0},
        "envelope_density": {"humidity": True},
        "power_law": {},
        "reference_conditions": {"humidity": True, "viscosity": True},
    }.items()
)


def _terms(told: list[Account], run: int | None = 0) -> dict[str, Term]:
    return {term.symbol: term for one in told for part in one.parts if part.run == run for term in part.terms}


def test_every_step_has_its_account_and_its_words() -> None:
    assert set(STEPS) - set(ACCOUNTS) == set()
    assert set(ACCOUNTS) - set(STEPS) == {"begin", "points"}
    assert set(STEP_WORDS) == {*ACCOUNTS, "result", "shares"}


def test_every_share_and_every_reason_has_its_words() -> None:
    for share in SHARES:
        stage = share.removeprefix("share_").removesuffix("_percent")
        assert symbol_words(f"F_{stage}")
        assert symbol_words(f"S_{stage}")
    assert set(EXCLUSION_WORDS) == set(EXCLUSIONS)


@pytest.mark.parametrize("rule_set", RULES)
@pytest.mark.parametrize("case", CASES)
def test_every_turn_has_equations_that_give_the_kernels_numbers_and_words_for_all(case: str, rule_set: str) -> None:
    steps = RULES[rule_set]
    told = _accounts(case, rule_set)  # it raises where an equation gives another number
    assert [one.name for one in told if one.name in STEPS] == [step.name for step in steps]
    found = chain.run(batch(CASES[case]), steps)
    result = _terms(told, None)
    expected = float(found.session["flow_50_m3_h"][0])
    if math.isnan(expected):
        assert "Q50" not in result
    else:
        assert result["Q50"].values[0] == expected
    said = set()
    for one in told:
        said |= set(one.notes)
        for part in one.parts:
            for term in part.terms:
                assert symbol_words(term.symbol)
                assert term.formula or ORIGIN_WORDS[term.origin]
            for remark in part.remarks:
                assert remark_sentence(remark)
            does_nothing = one.name in STEPS and not any(t.formula or t.origin == "assumed" for t in part.terms)
            assert not does_nothing or part.remarks or one.notes, f"{one.name} does nothing and does not say why"
    assert said == set(filter(None, str(found.notes()[0]).split(";")))


@pytest.mark.parametrize("rule_set", RULES)
@pytest.mark.parametrize("case", CASES)
def test_every_number_is_found_again_from_the_digits_printed_before_it(case: str, rule_set: str) -> None:
    pages: dict[int | None, Page] = {}
    read = Read()
    for one in _accounts(case, rule_set):
        for part in one.parts:
            page = pages.setdefault(part.run, Page())
            readings = [] if part.run is None else CASES[case]["runs"][part.run]["points"]
            for term in part.terms:
                if term.level == "run":
                    page.numbers[term.symbol] = term.texts()[0]
                    page.waiting += [(term.symbol, term.formula, term.texts()[0])] * bool(term.formula)
                    settle(page, read)
                else:
                    _read_column(term, readings, page, read)
    assert read.faults == []
    assert [page.waiting for page in pages.values() if page.waiting] == []


def _read_column(term: Term, points: list[Any], page: Page, read: Read) -> None:
    keys = [str(place) for place in range(len(points))]
    if term.level == "reading" and any(len(one["readings"]) != 1 for one in points):
        keys = [f"{place}/{i}" for place, one in enumerate(points) for i in range(len(one["readings"]))]
    cells = dict(zip(keys, term.texts(), strict=True))
    page.columns[term.symbol] = {key: text for key, text in cells.items() if text}
    if term.formula:
        holds = [True] * len(keys) if term.holds is None else term.holds.tolist()
        page.equations[term.symbol] = term.formula
        numbers = {name: float(text) for name, text in page.numbers.items()}
        check_column(term.symbol, page, read, numbers, {key for key, good in zip(keys, holds, strict=True) if not good})


def test_the_cases_use_every_symbol_and_every_remark() -> None:
    symbols, remarks, origins = set(), {"no_steps", "no_runs", "does_nothing"}, set()
    for case in CASES:
        for rule_set in RULES:
            for one in _accounts(case, rule_set):
                for part in one.parts:
                    symbols |= {term.symbol for term in part.terms}
                    origins |= {term.origin for term in part.terms if term.origin}
                    remarks |= set(part.remarks)
    reported = {"Q50_rep", "ACH_rep", "D"}
    of_runs = {symbol.rpartition("_")[0] for symbol in symbols if symbol[-1].isdigit()}
    assert set(account_words.SYMBOL_WORDS) - symbols - of_runs == reported
    assert set(account_words.REMARKS) - remarks == set()
    assert set(account_words.ORIGIN_WORDS) - origins == {"reported"}


def test_an_invented_test_comes_out_as_worked_by_hand() -> None:
    """Formulas as in the docstrings of the kernels, worked here with `math` alone; t from a printed table."""
    told = _terms(_accounts("fan pressures by a law", "iso9972@2015"))
    rho_in, rho_out = (99_800.0 / (287.055 * (t + 273.15)) for t in (21.5, 3.0))
    factor = math.sqrt(1.204 / rho_in) * rho_in / rho_out
    dp = [-(p - (-1.1 - 1.9) / 2) for p in PRESSURES]
    flow = [171.0 * signal**0.505 * factor for signal in SIGNALS]
    x, y = [math.log(p) for p in dp], [math.log(q) for q in flow]
    xm, ym = sum(x) / 5, sum(y) / 5
    sxx = sum((a - xm) ** 2 for a in x)
    sxy = sum((a - xm) * (b - ym) for a, b in zip(x, y, strict=True))
    n = sxy / sxx
    rest = sum((b - ym - n * (a - xm)) ** 2 for a, b in zip(x, y, strict=True))
    error = math.sqrt(rest / 3 / sxx)
    coefficient = math.exp(ym - n * xm) * (rho_out / (101_325.0 / (287.055 * 293.15))) ** (1 - n)
    flow_50 = coefficient * 50**n
    half = 3.182446 * error * math.sqrt(sxx / 5 + (math.log(50) - xm) ** 2)  # 3.182 in tables, 3 degrees of freedom
    area = coefficient * 10**n / 3600 * math.sqrt(1.2041 / 20)
    expected = {
        "p0": -1.5,
        "rho_fan": rho_in,
        "rho_leak": rho_out,
        "Sxx": sxx,
        "Sxy": sxy,
        "n": n,
        "R": rest,
        "S_n": error,
        "n_low": n - 3.182446 * error,
        "C_ref": coefficient,
        "Q50": flow_50,
        "Q50_low": flow_50 * math.exp(-half),
        "Q50_high": flow_50 * math.exp(half),
        "A": area,
    }
    for symbol, value in expected.items():
        assert told[symbol].printed()[0] == pytest.approx(value, abs=1.01 * 10.0 ** -told[symbol].decimals), symbol
    assert told["dp"].printed().tolist() == pytest.approx([-p for p in dp], abs=1e-9)
    assert told["Q_leak"].printed().tolist() == pytest.approx(flow, abs=1e-3)
    of_test = _terms(_accounts("fan pressures by a law", "iso9972@2015"), None)
    assert of_test["ACH"].printed()[0] == pytest.approx(flow_50 / 412.0, abs=2e-5)


def test_digits_are_enough_to_be_worth_printing() -> None:
    """Five digits of the flow and four of the exponent at least, for a test of common size."""
    for rule_set in RULES:
        for case in ("fan pressures by a law", "fan pressures by a table", "two laws"):
            told = _terms(_accounts(case, rule_set))
            if "Q50" in told:
                assert told["Q50"].decimals >= 1
                assert "n_low" not in told or told["n"].decimals >= 4


def test_an_equation_that_gives_another_number_than_the_kernel_is_refused() -> None:
    book = Book(0, np.array([0], dtype=np.int64))
    book.open()
    book.give("a", "1", 2.0, "rules")
    with pytest.raises(ValueError, match="b = 3 \\* a is"):
        book.reckon("b", "1", "3 * a", 6.001, 5)


def test_equations_are_evaluated_as_they_are_written() -> None:
    values = {"a": np.array(2.0), "x": np.array([1.0, np.nan, 3.0])}
    for text, expected in (
        ("-a^2 + 1e-1", -3.9),
        ("sum(a * x)", 8.0),
        ("sqrt(a / 8) * ln(exp(3))", 1.5),
        ("abs(-a) - (1 - a)", 3.0),
    ):
        assert formula.evaluate(text, values, lambda x: x) == pytest.approx(expected)
    assert formula.names("a * exp(x) + 1e-06 * total(a)") == ["a", "x"]
    assert formula.with_values("a - x", {"a": "1.5", "x": "-2"}) == "1.5 - (-2)"
    with pytest.raises(ValueError, match="no equation"):
        formula.evaluate("a if x else a", values, lambda x: x)


def test_numbers_are_printed_with_their_decimals() -> None:
    assert number_text(-0.0, 1) == "0.0"
    assert number_text(-50.05, 2) == "-50.05"
    assert number_text(0.0000181340588, 13) == "1.81340588e-05"
    assert number_text(25_969_631.0, -2) == "2.59696e+07"
    assert number_text(math.nan, 3) == ""


def test_the_kinds_of_test_are_all_among_the_cases() -> None:
    assert {case["kind"] for case in CASES.values()} == set(chain.FITTED_KINDS) <= set(CHOICES["kind"])
