"""A pocket calculator: reads an account as printed, recalculates every line from the printed digits before it.

It knows nothing of the package: text in, lines that do not come out right out.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from dataclasses import dataclass, field

NUMBER = r"-?\d+(?:\.\d+)?(?:e[+-]?\d+)?"
UNIT = r"(?: (?:Pa s|Pa|m3/h|Cel|kg/m3|m2|m3|m|1/h|%|\(m3/h\)\^a))?"
LAST = re.compile(rf"({NUMBER}){UNIT}(?:\s+\(.*\))?")
CELL = re.compile(rf"\(?({NUMBER})\)?")
SYMBOL = re.compile(r"(?:point (\d+): )?([A-Za-z_]\w*)")
FUNCTIONS = {"ln": math.log, "exp": math.exp, "sqrt": math.sqrt, "abs": abs}


@dataclass
class Page:
    """What is known so far of one rule set and run (or the test), and what did not come out."""

    numbers: dict[str, str] = field(default_factory=dict)
    columns: dict[str, dict[str, str]] = field(default_factory=dict)  # symbol: row: text
    equations: dict[str, str] = field(default_factory=dict)  # of columns, until their table is read
    waiting: list[tuple[str, str, str]] = field(default_factory=list)  # numbers whose columns have not been read


@dataclass
class Read:
    """A page read: how many numbers were recalculated, what did not come out, the numbers by rule set and run."""

    checked: int = 0
    faults: list[str] = field(default_factory=list)
    pages: dict[tuple[str, str], Page] = field(default_factory=dict)
    shares: list[str] = field(default_factory=list)  # of the rule set at hand


def unit_of_last_digit(text: str) -> float:
    mantissa, _, power = text.partition("e")
    decimals = len(mantissa.partition(".")[2])
    return 10.0 ** (int(power or 0) - decimals)


def value(expression: str, numbers: Mapping[str, float]) -> float:
    code = expression.replace("^", "**")
    return float(eval(code, {"__builtins__": {}}, {**FUNCTIONS, **numbers}))


def with_sums(expression: str, columns: Mapping[str, Mapping[str, str]], numbers: Mapping[str, float]) -> str:
    """The expression with each sum over the rows of a table in place of `sum(...)`."""
    while (start := expression.find("sum(")) >= 0:
        depth, end = 1, start + 4
        while depth:
            depth += {"(": 1, ")": -1}.get(expression[end], 0)
            end += 1
        inner = expression[start + 4 : end - 1]
        names = [name for name in re.findall(r"[A-Za-z_]\w*", inner) if name in columns]
        if names:
            rows = [row for row in columns[names[0]] if all(row in columns[name] for name in names)]
            one_by_one = [value(inner, {**numbers, **{n: float(columns[n][row]) for n in names}}) for row in rows]
            total = math.fsum(one_by_one)
        else:
            total = value(inner, numbers)
        expression = f"{expression[:start]}({total!r}){expression[end:]}"
    return expression


def agrees(found: float, printed: str) -> bool:
    return abs(found - float(printed)) <= unit_of_last_digit(printed) * (1 + 1e-9)


def recalculated(text: str) -> Read:
    """Read the account of a test from beginning to end."""
    read = Read()
    rules, run, page = "", "", Page()
    lines = text.splitlines()
    place = 0
    while place < len(lines):
        line = lines[place]
        place += 1
        if place < len(lines) and lines[place] and set(lines[place]) == {"-"} and not line.startswith(" "):
            rules, run = line, ""
            page = read.pages.setdefault((rules, run), Page())
            continue
        if re.match(r"   (Run \d+,|The test$)", line):
            run = "" if line.strip() == "The test" else line.split(",")[0].strip()
            page = read.pages.setdefault((rules, run), Page())
            continue
        if re.match(r"   (Flows of the fan readings|Points)(, continued)?$", line):
            place = _table(lines, place, page, read)
            settle(page, read)
            continue
        if re.fullmatch(r"\s+F\s+S", line):
            place = _shares(lines, place + 2, read)
            continue
        if line.startswith("   From above: "):
            while place < len(lines) and lines[place].startswith("      "):
                line += " " + lines[place].strip()
                place += 1
            for symbol, number in re.findall(rf"(\w+) = ({NUMBER})", line):
                page.numbers[symbol] = number
            continue
        if re.match(r"\s+(point \d+: )?[A-Za-z_]\w* = ", line) and "row above" not in line:
            indent = len(line) - len(line.lstrip())
            whole = line.strip()
            while place < len(lines) and len(lines[place]) - len(lines[place].lstrip()) > indent + 2:
                if lines[place].lstrip().startswith("point "):
                    break
                whole += " " + lines[place].strip()
                place += 1
            _line(whole, page, read)
    for one in read.pages.values():
        read.faults += [f"never recalculated: {left}" for left in (*one.waiting, *one.equations.items())]
    return read


def _line(whole: str, page: Page, read: Read) -> None:
    first, *sides = whole.split(" = ")
    named = SYMBOL.fullmatch(first)
    assert named, whole
    point, symbol = named.groups()
    last = LAST.fullmatch(sides[-1])
    if last is None:  # the equation of a column; its words stand behind two blanks
        page.equations[symbol] = re.split(r"\s+\((?=[a-z][^)]*, each )", sides[0])[0]
        return
    printed = last[1]
    if point is not None:  # the first row of a table that follows
        page.waiting.append((f"{symbol} of point {point}", sides[0], printed))
        return
    if len(sides) == 3:
        copied = re.sub(r"(?<![\w.])[A-Za-z_]\w*", lambda name: _copied(name[0], page), sides[0])
        if copied != sides[1] and not any(name in page.columns for name in re.findall(r"[A-Za-z_]\w*", sides[0])):
            read.faults.append(f"{symbol}: {sides[1]} is not what {sides[0]} stands for: {copied}")
    if symbol == "whole":
        product = " * ".join(f"(1 + {share} / 100)".replace("+ -", "- ") for share in read.shares)
        if sides[0] != product:
            read.faults.append(f"whole: {sides[0]} is not the product of the shares: {product}")
    for side in sides[:-1]:
        page.waiting.append((symbol, side, printed))
    page.numbers[symbol] = printed
    settle(page, read)


def _copied(name: str, page: Page) -> str:
    text = page.numbers.get(name, name)
    return f"({text})" if text.startswith("-") else text


def settle(page: Page, read: Read) -> None:
    """Recalculate what can be by now; the rest waits for its table."""
    waiting, page.waiting = page.waiting, []
    numbers = {name: float(text) for name, text in page.numbers.items()}
    for name, side, printed in waiting:
        try:
            found = value(with_sums(side, page.columns, numbers), numbers)
        except NameError:
            page.waiting.append((name, side, printed))
            continue
        read.checked += 1
        if not agrees(found, printed):
            read.faults.append(f"{name} = {side} = {printed}, but {found!r}")


def _table(lines: list[str], place: int, page: Page, read: Read) -> int:
    spans = [found.span() for found in re.finditer(r"-+", lines[place + 2])]
    heads = [lines[place][start:end].strip() for start, end in spans]
    rows = []
    place += 3
    while place < len(lines) and lines[place].strip() and lines[place][: spans[0][1]].strip().isdigit():
        rows.append([lines[place][max(start - 1, 0) : end + 1].strip() for start, end in spans])
        place += 1
    points = [row[0] for row in rows]
    keys = points if len(set(points)) == len(points) else [f"{point}/{i}" for i, point in enumerate(points)]
    bracketed: dict[str, set[str]] = {}
    for column, head in enumerate(heads):
        if head in ("point", "opening", "left out"):
            continue
        cells = {key: row[column] for key, row in zip(keys, rows, strict=True) if row[column]}
        page.columns[head] = {key: CELL.fullmatch(cell)[1] for key, cell in cells.items()}  # type: ignore[index]
        bracketed[head] = {key for key, cell in cells.items() if cell.startswith("(")}
    numbers = {name: float(text) for name, text in page.numbers.items()}
    for head in [head for head in heads if head in page.equations]:
        check_column(head, page, read, numbers, bracketed[head])
    return place


def _shares(lines: list[str], place: int, read: Read) -> int:
    """Flow after each correction, and its share against the flow in the row above."""
    above = None
    read.shares = []
    while place < len(lines) and (row := re.search(rf"({NUMBER})(?:\s+({NUMBER}))?$", lines[place])):
        flow, share = row.groups()
        if above is not None and share is not None:
            read.checked += 1
            read.shares.append(share)
            if not agrees(100 * (float(flow) / float(above) - 1), share):
                read.faults.append(f"share {share} from {above} to {flow}")
        above = flow
        place += 1
    return place


def check_column(head: str, page: Page, read: Read, numbers: Mapping[str, float], bracketed: set[str]) -> None:
    """Recalculate each row of a column that is not carried on, by the equation that waits for it."""
    equation = page.equations.pop(head)
    total = re.fullmatch(r"total\((\w+)\)", equation)
    for row, printed in page.columns[head].items():
        if row in bracketed:
            continue
        if total:
            parts = page.columns[total[1]]
            found = math.fsum(float(text) for key, text in parts.items() if key.split("/")[0] == row)
        else:
            cells = {name: float(column[row]) for name, column in page.columns.items() if row in column}
            try:
                found = value(equation, {**numbers, **cells})
            except NameError as error:
                read.faults.append(f"{head} of {row}: {equation}: {error}")
                continue
        read.checked += 1
        if not agrees(found, printed):
            read.faults.append(f"{head} of {row} = {equation} = {printed}, but {found!r}")
