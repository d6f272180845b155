"""An account as a page: every number with the equation that leads to it, tables of the points, words for symbols."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator, Mapping, Sequence
from itertools import groupby
from typing import Any

from interchange.errors import printable
from interchange.report.account_words import ORIGIN_WORDS
from interchange.report.safety import LIMITS

PAGE_WIDTH = 100  # [1] letters in a line

_HOW_TO_READ = (
    "Recalculated from the numbers printed before it, every number comes out to within one unit of its last digit. "
    "Units are Pa, m3/h, Cel (degrees Celsius), kg/m3; 1 is no unit. ^ is a power, ln the natural logarithm, exp its "
    "inverse, sum goes over all points used, total over the fans of a point. A flow or pressure in brackets is carried "
    "on unchanged."
)
_LEFT = ("", "left out")  # columns of words, by their heads
_INDENT, _HANG = "   ", "      "


def account_lines(document: Mapping[str, Any], width: int = PAGE_WIDTH) -> Iterator[str]:
    """Lines of one test's account."""
    yield from ("", printable(document["heading"]), "=" * len(document["heading"]))
    for remark in document["remarks"]:
        yield from _wrapped(remark, "", width)
    if document["rule_sets"]:
        yield from _wrapped(_HOW_TO_READ, "", width)
    for rules in document["rule_sets"]:
        preview = ", a preview that judges nothing" if rules["status"] == "preview" else ""
        head = f"{rules['title']} ({rules['rule_set']}{preview})"
        yield from ("", head, "-" * len(head))
        yield from _steps(rules["steps"], width)
    yield ""
    yield from _wrapped(" ".join(LIMITS.splitlines()), "", width)


def _steps(steps: Sequence[Mapping[str, Any]], width: int) -> Iterator[str]:
    columns: dict[int | None, list[Mapping[str, Any]]] = {}  # of each run, until its tables are printed
    gathered = False
    for number, step in enumerate(steps, 1):
        yield from ("", f"{number}. {step['words']}")
        if step["source"]:
            known = ", ".join(filter(None, (step["provenance"], step["clause"])))
            yield from _wrapped(f"Source ({known}): {step['source']}", _INDENT, width)
        several = sum(part["run"] is not None for part in step["parts"]) > 1
        for place, part in enumerate(step["parts"]):
            if several:
                yield from [""] * (place > 0)
                yield from _part_head(part)
            yield from _wrapped(" ".join(part["remarks"]), _INDENT, width)
            if step["step"] == "shares":
                yield from _shares(part, width)
                continue
            if not gathered:
                columns.setdefault(part["run"], []).extend(part["columns"])
            yield from _terms(part, several, gathered, width)
            if step["step"] == "points":
                yield from _tables(part, columns.pop(part["run"]), width)
        gathered |= step["step"] == "points"
        for note in step["notes"]:
            yield from _wrapped(f"Note: {note}", _INDENT, width)
        share = step["share_percent"]
        if share is not None:
            yield f"{_INDENT}Share: {share['value']:+.{min(share['decimals'], 3)}f} % of the flow at 50 Pa."


def _part_head(part: Mapping[str, Any]) -> Iterator[str]:
    if part["run"] is None:
        yield f"{_INDENT}The test"
    else:
        yield f"{_INDENT}Run {part['run']}, {part['direction'] or 'direction unknown'}"


def _terms(part: Mapping[str, Any], several: bool, tables: bool, width: int) -> Iterator[str]:
    """Numbers and columns in the order in which they follow from one another; columns with their tables if asked."""
    above = [one for one in part["numbers"] if one["from"] == ORIGIN_WORDS["of_run"]]
    if above and several:
        yield from _wrapped(f"From above: {', '.join(map(_value, above))}.", _INDENT, width)
    by_symbol = {one["symbol"]: one for one in (*part["numbers"], *part["columns"]) if one not in above}
    in_order = [by_symbol[symbol] for symbol in part["symbols"] if symbol in by_symbol]
    for is_column, group in groupby(in_order, lambda one: "of_each" in one):
        together = list(group)
        if is_column:
            yield from _columns(part, together, width)
            if tables:
                yield from _tables(part, together, width)
                yield ""
        else:
            for one in together:
                sides = [one["symbol"], *filter(None, (one["equation"], one["with_values"])), _with_unit(one)]
                yield from _equation(sides, ", ".join(filter(None, (one["words"], one["from"]))), width)


def _columns(part: Mapping[str, Any], columns: Sequence[Mapping[str, Any]], width: int) -> Iterator[str]:
    given: dict[str, list[str]] = {}
    for one in columns:
        if one["equation"] is None:
            given.setdefault(one["from"], []).append(f"{one['symbol']} ({one['words']})")
    for origin, symbols in given.items():
        yield from _wrapped(f"In the tables, {origin}: {', '.join(symbols)}.", _INDENT, width)
    for one in columns:
        if one["equation"] is not None:
            yield from _column(part, one, width)


def _value(one: Mapping[str, Any]) -> str:
    return f"{one['symbol']} = {_with_unit(one)}"


def _with_unit(one: Mapping[str, Any]) -> str:
    return f"{one['printed']}{_unit(one)}"


def _unit(one: Mapping[str, Any]) -> str:
    return "" if one["unit"] == "1" else f" {one['unit']}"


def _column(part: Mapping[str, Any], one: Mapping[str, Any], width: int) -> Iterator[str]:
    yield from _equation([one["symbol"], one["equation"]], f"{one['words']}, each {one['of_each']}", width)
    if one["first_row_with_values"] is not None:
        row = one["first_row"]
        point = part["points"][row] if one["of_each"] == "point" else part["readings"][row]["point"]
        sides = [f"point {point}: {one['symbol']}", one["first_row_with_values"], f"{one['printed'][row]}{_unit(one)}"]
        yield from _equation(sides, "", width, _HANG)


def _shares(part: Mapping[str, Any], width: int) -> Iterator[str]:
    """Flows after each correction, one below the other, with the shares beside them."""
    numbers = {one["symbol"]: one for one in part["numbers"]}
    rows = [
        (one["words"], one["printed"], numbers[share]["printed"] if (share := f"S{symbol[1:]}") in numbers else "")
        for symbol, one in numbers.items()
        if symbol.startswith("F_")
    ]
    if rows:
        words, flows, shares = (list(column) for column in zip(*rows, strict=True))
        yield from _laid_out([("", "", words), ("F", "m3/h", flows), ("S", "%", shares)])
    if "whole" in numbers:
        yield f"{_INDENT}S = 100 * (F / F of the row above - 1)"
        whole = numbers["whole"]
        product = " * ".join(f"(1 + {share} / 100)".replace("+ -", "- ") for share in shares if share)
        yield from _equation(["whole", product, whole["printed"]], whole["words"], width)


def _equation(sides: Sequence[str], words: str, width: int, indent: str = _INDENT) -> Iterator[str]:
    """Symbol = equation = equation with values = number, broken before an equals sign where the line is full."""
    line = indent + sides[0]
    for side in sides[1:]:
        if len(line) + len(side) + 3 > width and line.strip() != sides[0]:
            yield from _wrapped(line.strip(), _indent_of(line), width)
            line = f"{indent}{_HANG}= {side}"
        else:
            line += f" = {side}"
    if words and len(line) + len(words) + 4 > width:
        yield from _wrapped(line.strip(), _indent_of(line), width)
        line = f"{indent}{_HANG}({words})"
    elif words:
        line += f"  ({words})"
    yield from _wrapped(line.strip(), _indent_of(line), width)


def _indent_of(line: str) -> str:
    return line[: len(line) - len(line.lstrip())]


def _tables(part: Mapping[str, Any], columns: Sequence[Mapping[str, Any]], width: int) -> Iterator[str]:
    of_readings = [column for column in columns if column["of_each"] == "reading"]
    if of_readings:
        keys = [("point", [str(reading["point"]) for reading in part["readings"]])]
        openings = [reading["fan_configuration"] or "" for reading in part["readings"]]
        if any(openings):
            keys.append(("opening", [printable(opening) for opening in openings]))
        yield from _table("Flows of the fan readings", keys, of_readings, [], width)
    of_points = [column for column in columns if column["of_each"] == "point"]
    if of_points:
        left_out = [("left out", part["left_out"])] if any(part["left_out"]) else []
        keys = [("point", [str(point) for point in part["points"]])]
        yield from _table("Points", keys, of_points, left_out, width)


Texts = tuple[str, Sequence[str]]


def _table(
    title: str, keys: Sequence[Texts], columns: Sequence[Mapping[str, Any]], words: Sequence[Texts], width: int
) -> Iterator[str]:
    """A table with symbols and units as heads, in as many pieces as the page asks for, each beginning with the keys."""
    heads = [(name, "", list(texts)) for name, texts in keys]
    body = [(column["symbol"], column["unit"], _cells(column)) for column in columns]
    body += [(name, "", list(texts)) for name, texts in words]
    pieces: list[list[tuple[str, str, list[str]]]] = [[]]
    for one in body:
        if pieces[-1] and _width_of([*heads, *pieces[-1], one]) > width - len(_INDENT):
            pieces.append([])
        pieces[-1].append(one)
    for place, piece in enumerate(pieces):
        yield ""
        yield f"{_INDENT}{title}{', continued' if place else ''}"
        yield from _laid_out([*heads, *piece])


def _cells(column: Mapping[str, Any]) -> list[str]:
    holds = column["equation_holds"] or [True] * len(column["printed"])
    return [text if good or not text else f"({text})" for text, good in zip(column["printed"], holds, strict=True)]


def _column_width(column: tuple[str, str, Sequence[str]]) -> int:
    return max(len(column[0]), len(column[1]), *map(len, column[2]), 0)


def _width_of(columns: Sequence[tuple[str, str, Sequence[str]]]) -> int:
    return sum(_column_width(column) + 2 for column in columns) - 2


def _laid_out(columns: Sequence[tuple[str, str, Sequence[str]]]) -> Iterator[str]:
    widths = [_column_width(column) for column in columns]
    rows = [[column[0] for column in columns], [column[1] for column in columns], ["-" * width for width in widths]]
    rows += [list(row) for row in zip(*(column[2] for column in columns), strict=True)]
    for row in rows:
        cells = [
            cell.ljust(width) if column[0] in _LEFT else cell.rjust(width)
            for cell, width, column in zip(row, widths, columns, strict=True)
        ]
        yield f"{_INDENT}{'  '.join(cells)}".rstrip()


def _wrapped(text: str, indent: str, width: int) -> list[str]:
    return textwrap.wrap(
        printable(text),
        width,
        initial_indent=indent,
        subsequent_indent=indent + "   ",
        break_long_words=False,
        break_on_hyphens=False,
    )
