"""Equations as text, put to the test: what stands in an account is evaluated as it is written.

An equation is written as on a pocket calculator: + - * / ^, brackets, and the functions ln, exp, sqrt, abs, sum.
Names stand for numbers, or for columns of numbers.
"""

from __future__ import annotations

import ast
import re
from collections.abc import Callable, Mapping

import numpy as np

from interchange.analysis.batch import Floats

NAME = re.compile(r"(?<![\w.])[A-Za-z_]\w*")  # not the e of 1e-6
FUNCTIONS: dict[str, Callable[[Floats], Floats]] = {
    "ln": lambda x: np.log(np.where(x > 0, x, np.nan)),
    "exp": np.exp,
    "sqrt": np.sqrt,
    "abs": np.abs,
    "sum": lambda x: np.asarray(np.nansum(x)),
}
_OPERATORS: dict[type[ast.operator], Callable[[Floats, Floats], Floats]] = {
    ast.Add: np.add,
    ast.Sub: np.subtract,
    ast.Mult: np.multiply,
    ast.Div: np.divide,
    ast.Pow: np.power,
}


def names(formula: str) -> list[str]:
    """Symbols of an equation, each once, in the order in which they stand."""
    return list(dict.fromkeys(name for name in NAME.findall(formula) if name not in FUNCTIONS and name != TOTAL))


TOTAL = "total"  # over the fan readings of a point; who evaluates says which readings are whose


def evaluate(formula: str, values: Mapping[str, Floats], total: Callable[[Floats], Floats]) -> Floats:
    """Value of an equation; KeyError for a symbol without one, ValueError for what is no equation."""
    functions = {**FUNCTIONS, TOTAL: total}

    def value(node: ast.expr) -> Floats:
        match node:
            case ast.Constant(value=int() | float() as number):
                return np.asarray(float(number))
            case ast.Name(id=name):
                return values[name]
            case ast.UnaryOp(op=ast.USub(), operand=operand):
                return -value(operand)
            case ast.BinOp(left=left, op=operator, right=right):
                return _OPERATORS[type(operator)](value(left), value(right))
            case ast.Call(func=ast.Name(id=name), args=[argument]):
                return functions[name](value(argument))
        raise ValueError(f"no equation: {formula!r}")

    with np.errstate(all="ignore"):
        return np.asarray(value(ast.parse(formula.replace("^", "**"), mode="eval").body), dtype=np.float64)


def with_values(formula: str, texts: Mapping[str, str]) -> str:
    """The equation with numbers in place of its symbols, negative ones in brackets."""

    def number(found: re.Match[str]) -> str:
        text = texts.get(found.group(), found.group())
        return f"({text})" if text.startswith("-") else text

    return NAME.sub(number, formula)
