"""The book in which an account is kept: symbols, their numbers, how each follows from those before it.

A number that follows from others is that of the kernel, and is checked against the equation beside it. It is printed
with as many digits as those before it carry: recalculated from the printed digits, the equation gives the printed
number to within one unit of its last digit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from interchange.analysis import ragged
from interchange.analysis.account import formula as formulas
from interchange.analysis.batch import Floats, Ints

Level = Literal["run", "point", "reading"]

GIVEN_DIGITS = 10  # [1] significant digits of what was recorded, at most
MOST_DECIMALS = 14  # [1] float64 carries 15 to 16 digits
SAME = 1e-8  # [1] an equation gives the number of the kernel if they differ by no more, relatively
TINY = 1e-9  # [1] or absolutely: the residuals of a perfect line are rounding errors


@dataclass(frozen=True, slots=True)
class Term:
    """One symbol: a number, or a column with one for each point or reading; NaN where there is none.

    `holds` says in which rows the equation was applied; the others carry on the number from before.
    """

    symbol: str
    unit: str
    values: Floats
    decimals: int
    level: Level
    formula: str = ""
    origin: str = ""
    holds: NDArray[np.bool_] | None = None

    def texts(self) -> list[str]:
        """Its numbers as printed, empty where there is none."""
        return [number_text(value, self.decimals) for value in self.values.tolist()]

    def printed(self) -> Floats:
        """Its numbers as the printed digits say them."""
        return np.array([float(text or "nan") for text in self.texts()])


@dataclass(slots=True)
class Part:
    """What one step has to say of one run, or of the session: terms in order, columns as well, and remarks."""

    run: int | None
    terms: list[Term] = field(default_factory=list)
    remarks: list[str] = field(default_factory=list)  # codes of sentences
    reasons: list[str] = field(default_factory=list)  # why points are left out, a code for each or empty


@dataclass(slots=True)
class Book:
    """Symbols of one run, or of the session where `run` is None; the part that is being written comes last."""

    run: int | None
    reading_offsets: Ints  # readings of each point, counted within the run
    terms: dict[str, Term] = field(default_factory=dict)
    parts: list[Part] = field(default_factory=list)
    pressure: str = ""  # symbol of the points' pressure as corrected so far
    flow: str = ""  # symbol of the readings' flow as corrected so far
    coefficient: str = ""

    def open(self) -> Part:
        """Begin the part of the next step."""
        self.parts.append(Part(self.run))
        return self.parts[-1]

    def remark(self, code: str) -> None:
        """Say something for which there is a sentence."""
        self.parts[-1].remarks.append(code)

    def give(
        self,
        symbol: str,
        unit: str,
        values: float | Floats,
        origin: str,
        level: Level = "run",
        digits: int = GIVEN_DIGITS,
    ) -> None:
        """A number or column from outside the calculation: recorded, assumed, from the rule set. A known one stays."""
        if symbol not in self.terms:
            column = np.atleast_1d(np.asarray(values, dtype=np.float64))
            there = column[np.isfinite(column)]
            decimals = _least(there, _decimals(there, digits))
            self._write(Term(symbol, unit, column, decimals, level, origin=origin))

    def give_folded(self, symbol: str, unit: str, values: Floats, origin: str) -> None:
        """A column of the fan readings; one number where all that there are agree."""
        there = np.unique(values[np.isfinite(values)])
        if there.size == 1:
            self.give(symbol, unit, there, origin)
        else:
            self.give(symbol, unit, values, origin, "reading")

    def reckon(
        self,
        symbol: str,
        unit: str,
        equation: str,
        values: float | Floats | NDArray[np.generic],
        digits: int,
        *,
        level: Level = "run",
        holds: NDArray[np.bool_] | None = None,
    ) -> None:
        """A number of the kernel with the equation that leads to it, shown with so many digits [1] at most.

        Raises ValueError where the equation gives another number than the kernel.
        """
        column = np.atleast_1d(np.asarray(values, dtype=np.float64))
        rows = np.isfinite(column) if holds is None else np.isfinite(column) & holds
        exact = self._evaluate(equation, {name: self.terms[name].values for name in formulas.names(equation)}, column)
        away = np.abs(exact - column)[rows]
        if not (away <= np.maximum(SAME * np.abs(column[rows]), TINY)).all():
            raise ValueError(f"{symbol} = {equation} is {exact[rows]}, and {column[rows]} by the kernel")
        shown = self._evaluate(
            equation, {name: self.terms[name].printed() for name in formulas.names(equation)}, column
        )[rows]
        decimals = _decimals(column[np.isfinite(column)], digits)
        while decimals > -MOST_DECIMALS and not _within_one_unit(column[rows], shown, decimals):
            decimals -= 1
        term = Term(symbol, unit, column, _least(column[np.isfinite(column)], decimals), level, equation, holds=holds)
        self._write(term)

    def carry(self, term: Term, symbol: str) -> None:
        """Bring a number of another book into this one, under a symbol of this one."""
        self._write(Term(symbol, term.unit, term.values, term.decimals, term.level, origin="of_run"))

    def _evaluate(self, equation: str, values: dict[str, Floats], like: Floats) -> Floats:
        found = formulas.evaluate(equation, values, lambda x: ragged.sums(x, self.reading_offsets))
        return np.broadcast_to(found, like.shape)

    def _write(self, term: Term) -> None:
        self.terms[term.symbol] = term
        self.parts[-1].terms.append(term)


def number_text(value: float, decimals: int) -> str:
    """A number with its decimals; in powers of ten where it begins with many zeros or ends before its decimal point.

    Empty for NaN.
    """
    if not np.isfinite(value):
        return ""
    text = f"{value:.{max(decimals, 0)}f}"
    if decimals < 0 or (decimals > 7 and 0 < abs(float(text)) < 1e-4):
        exponent = int(f"{float(text):e}".partition("e")[2])
        return f"{float(text):.{max(decimals + exponent, 0)}e}"
    return text if float(text) else text.lstrip("-")


def _decimals(values: Floats, digits: int) -> int:
    """Decimals that show the largest of some numbers with so many digits."""
    largest = float(np.max(np.abs(values), initial=0.0))
    if largest == 0.0:
        return MOST_DECIMALS if digits == GIVEN_DIGITS else digits
    return min(max(digits - 1 - int(np.floor(np.log10(largest))), 0), MOST_DECIMALS)


def _least(values: Floats, decimals: int) -> int:
    """The fewest decimals that say the same."""
    texts: Sequence[str] = [f"{value:.{max(decimals, 0)}f}" for value in values.tolist()]
    while decimals > 0 and all(text.endswith("0") for text in texts):
        texts = [text[:-1] for text in texts]
        decimals -= 1
    return decimals


def _within_one_unit(values: Floats, shown: Floats, decimals: int) -> bool:
    printed = np.array([float(number_text(value, decimals)) for value in values.tolist()])
    return bool((np.abs(printed - shown) < 0.999 * 10.0**-decimals).all())
