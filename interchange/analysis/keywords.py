"""What a rule set may say to a step or check: names, kinds and sizes of the keywords its function takes."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from functools import cache
from inspect import Parameter, signature
from types import NoneType, UnionType
from typing import Any, Literal, get_args, get_origin, get_type_hints

from interchange.analysis.air import KELVIN
from interchange.errors import Place, Problem

# Ends that a keyword may reach [its unit]; any other number is 0 or more.
_ENDS: dict[str, tuple[float, float]] = {
    "confidence": (0.5, 0.9999),
    "exponent": (0.5, 1.0),
    "low": (0.0, 2.0),
    "high": (0.0, 2.0),
    "r2_minimum": (0.0, 1.0),
    "discharge_coefficient": (0.01, 1.0),
    "calm_beaufort": (0, 12),
    "beaufort_limit": (0, 12),
}
# Where 0 would divide or have no logarithm.
_ABOVE_NOUGHT = (
    *("pressure_pa", "reference_pressure_pa", "primary_pa", "secondary_pa"),
    *("air_density_kg_m3", "assumed_reference_air_density_kg_m3"),
)
_RISING = (
    *(("low", "high"), ("low_c", "high_c"), ("low_per_h", "high_per_h"), ("low_ratio", "high_ratio")),
    ("secondary_pa", "primary_pa"),
)
_TEMPERATURE = "_c"


def keyword_faults(function: Callable[..., Any], arguments: Mapping[str, Any], place: Place) -> list[Problem]:
    """Keywords that a step or check does not take, or lacks, and values of the wrong kind or size."""
    takes, kinds = _keywords(function)
    expected = "keywords " + (", ".join(takes) or "none")
    faults = [
        _fault(place, f"unknown keyword {name!r}", expected, "Correct the keyword.")
        for name in arguments
        if name not in takes
    ]
    faults += [
        _fault(place, f"no keyword {name!r}", expected, "Add the keyword.")
        for name, part in takes.items()
        if part.default is part.empty and name not in arguments
    ]
    for name, value in arguments.items():
        wanted = _wanted(name, value, kinds[name]) if name in takes else ""
        if wanted:
            faults.append(_fault(place, f"{name} = {value!r}", wanted, "Correct the value."))
    if faults:
        return faults
    said = {name: arguments.get(name, part.default) for name, part in takes.items()}
    return [
        _fault(place, f"{less} = {said[less]!r} and {more} = {said[more]!r}", f"{less} below {more}", "Exchange them.")
        for less, more in _RISING
        if less in said and more in said and not said[less] < said[more]
    ]


@cache
def _keywords(function: Callable[..., Any]) -> tuple[dict[str, Parameter], dict[str, Any]]:
    """Keywords of a function, and the kinds of its parameters."""
    parameters = signature(function).parameters.items()
    takes = {name: part for name, part in parameters if part.kind is Parameter.KEYWORD_ONLY}
    return takes, get_type_hints(function)


def _fault(place: Place, found: str, expected: str, cure: str) -> Problem:
    return Problem("rule-keyword", place, found, expected, cure, blocks="file")


def _wanted(name: str, value: Any, kind: Any) -> str:
    """What a value should be, in words; empty where it is that."""
    if get_origin(kind) is Literal:
        return "" if value in get_args(kind) else "one of " + ", ".join(map(str, get_args(kind)))
    if get_origin(kind) is UnionType:
        kind = next(one for one in get_args(kind) if one is not NoneType)
    if kind is bool:
        return "" if isinstance(value, bool) else "true or false"
    if isinstance(value, bool) or not isinstance(value, (int, float)) or (kind is int and isinstance(value, float)):
        return "a whole number" if kind is int else "a number"
    low, high = _ENDS.get(name, (-KELVIN if name.endswith(_TEMPERATURE) else 0.0, float("inf")))
    if name in _ABOVE_NOUGHT and value <= 0:
        return "a number above 0"
    if low <= value <= high:
        return ""
    return f"a number from {low:g} to {high:g}" if high < float("inf") else f"a number of at least {low:g}"
