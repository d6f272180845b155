"""Registers: dated tables that no gauge file holds, as CSV in UTF-8 with commas, decimal points and ISO dates.

A row says what holds for its key on some days; no two rows of one register hold for the same key on the same day.
"""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from typing import Annotated, ClassVar, Self

from pydantic import BeforeValidator, Field, ValidationError, model_validator

from interchange.errors import Place, Problem, SourceError
from interchange.model.base import Record
from interchange.model.values import Arrangement, Text
from interchange.table import counted

_DATE = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}")
_NUMBER = re.compile(r"[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)([eE][+-]?[0-9]+)?")


def _day(value: object) -> object:
    if not isinstance(value, str):
        return value
    if not _DATE.fullmatch(value):
        raise ValueError("a date written as 2026-02-03")
    try:
        return date.fromisoformat(value)
    except ValueError:
        raise ValueError("a day that the calendar has") from None


def _number(value: object) -> object:
    if not isinstance(value, str):
        return value
    if not _NUMBER.fullmatch(value):
        raise ValueError("a number with a decimal point and no separator of thousands")
    return float(value)


Day = Annotated[date, BeforeValidator(_day)]
Amount = Annotated[float, BeforeValidator(_number), Field(gt=0)]
AmountOrZero = Annotated[float, BeforeValidator(_number), Field(ge=0)]


class Row(Record):
    """One row of a register. `key` names what it is about."""

    key: ClassVar[tuple[str, ...]]

    def days(self) -> tuple[date, date]:
        """First and last day that no other row of the same key may claim."""
        return date.min, date.max


class Dated(Row):
    """A row that holds from a day to a day, both included; without a last day it still holds."""

    valid_from: Day
    valid_to: Day | None = None

    def days(self) -> tuple[date, date]:
        """The days on which it holds."""
        return self.valid_from, self.valid_to or date.max

    @model_validator(mode="after")
    def _forwards(self) -> Self:
        if self.valid_to is not None and self.valid_to < self.valid_from:
            raise ValueError("a last day (valid_to) that is not before the first (valid_from)")
        return self


class JobRow(Row):
    """A job of the programme, the days its tests are expected on, and the flow at 50 Pa asked for after the work."""

    key = ("job_id",)

    job_id: Text
    site_id: Text | None = None
    contractor: Text | None = None
    before_expected_on: Day | None = None
    interim_expected_on: Day | None = None
    after_expected_on: Day | None = None
    inspection_expected_on: Day | None = None
    target_flow_50_m3_h: Amount | None = None


class CrewRow(Dated):
    """Which contractor a crew worked for."""

    key = ("crew",)

    crew: Text
    contractor: Text


class KitRow(Dated):
    """What a crew carried, and how it arranged the outdoor end of its reference line."""

    key = ("crew",)

    crew: Text
    gauge_serial: Text | None = None
    fan_serial: Text | None = None
    arrangement: Arrangement | None = None


class CalibrationRow(Row):
    """The calibration of a fan with one opening, as a power law.

    It holds from its day until the next one of the same fan and opening, and no longer than until it is due.
    """

    key = ("fan_serial", "fan_configuration")

    fan_serial: Text
    fan_configuration: Text
    fan_calibrated_on: Day
    fan_calibration_due_on: Day | None = None
    fan_coefficient_m3_h: Amount
    fan_exponent: Amount
    reference_air_density_kg_m3: Amount | None = None
    minimum_fan_pressure_pa: AmountOrZero | None = None
    maximum_fan_pressure_pa: Amount | None = None

    def days(self) -> tuple[date, date]:
        """The day of the calibration: a fan may be calibrated again long before it is due."""
        return self.fan_calibrated_on, self.fan_calibrated_on

    @model_validator(mode="after")
    def _forwards(self) -> Self:
        due, least, greatest = self.fan_calibration_due_on, self.minimum_fan_pressure_pa, self.maximum_fan_pressure_pa
        if due is not None and due < self.fan_calibrated_on:
            raise ValueError("a day it is due that is not before the day of the calibration")
        if least is not None and greatest is not None and least >= greatest:
            raise ValueError("a least fan pressure below the greatest")
        return self


FORMS: Mapping[str, type[Row]] = {"jobs": JobRow, "crews": CrewRow, "kit": KitRow, "calibrations": CalibrationRow}
Placed = tuple[Place, Row]


def columns(name: str) -> tuple[str, ...]:
    """The columns of a register: those of its key, then the others in the order of the form."""
    return _columns(FORMS[name])


def _columns(form: type[Row]) -> tuple[str, ...]:
    return tuple(dict.fromkeys((*form.key, *form.model_fields)))


def csv_bytes(name: str, rows: Sequence[Row]) -> bytes:
    """Rows as the CSV that `read` reads, by key and day."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow(columns(name))
    for row in sorted(rows, key=lambda row: (_key(row), row.days())):
        writer.writerow(["" if value is None else value for value in (getattr(row, c) for c in columns(name))])
    return text.getvalue().encode()


def read(name: str, data: bytes, file: str) -> list[Placed]:
    """The rows of a register's CSV file, each with its place; as `read_rows`."""
    return read_rows(FORMS[name], name, data, file)


def read_rows(form: type[Row], name: str, data: bytes, file: str) -> list[Placed]:
    """The rows of a CSV file of a form, each with its place; `name` is what people call such a file.

    Columns may stand in any order, and those that may be empty may be left out. Blanks about a cell fall away. Raises
    SourceError with a problem for each fault, overlaps of two rows among them.
    """
    lines = list(_lines(data, file))
    header = [cell.strip() for cell in lines[0][1]] if lines else []
    faults = _header_faults(form, name, header, file)
    if faults:
        raise SourceError(*faults)
    placed: list[Placed] = []
    for number, cells in lines[1:]:
        place = Place(file, number)
        if len(cells) != len(header):
            found, expected = counted(len(cells), "cell"), f"{counted(len(header), 'cell')}, as in the header"
            cure = "Add or take out cells; put a text that holds a comma between quotation marks."
            faults.append(_fault("register-cells", place, found, expected, cure))
            continue
        given = {column: cell.strip() for column, cell in zip(header, cells, strict=True) if cell.strip()}
        odd = [column for column, cell in given.items() if not cell.isprintable()]
        if odd:
            cell = Place(file, number, odd[0])
            found = repr(given[odd[0]])
            cure = "Take the letter that cannot be seen out of the cell."
            faults.append(_fault("register-text", cell, found, "text on one line without control characters", cure))
            continue
        try:
            placed.append((place, form.model_validate(given)))
        except ValidationError as error:
            faults += _cell_faults(error, place, given)
    faults = faults or overlaps(placed)
    if faults:
        raise SourceError(*faults)
    return placed


def overlaps(rows: Sequence[Placed]) -> list[Problem]:
    """A problem for each row that claims a day of its key which another has; the later of the two is named."""
    problems = []
    order = sorted(range(len(rows)), key=lambda index: (_key(rows[index][1]), *rows[index][1].days(), index))
    reaches = order[0] if order else 0  # the row that holds longest of those of its key looked at so far
    for index in order[1:]:
        one, other = rows[reaches][1], rows[index][1]
        if _key(one) != _key(other) or one.days()[1] < other.days()[0]:
            reaches = index
            continue
        (first, before), (second, after) = sorted([(reaches, one), (index, other)])
        what = ", ".join(f"{name} '{getattr(after, name)}'" for name in after.key)
        found = f"{what}, {_in_words(after)}"
        expected = f"days that no other row claims for it; {rows[first][0]} says {_in_words(before)}"
        cure = "Correct the days of one of the two, or take one out."
        problems.append(_fault("register-overlap", rows[second][0], found, expected, cure))
        if other.days()[1] > one.days()[1]:
            reaches = index
    return problems


def _lines(data: bytes, file: str) -> Iterator[tuple[int, list[str]]]:
    """Cells of each line that is not blank, with its number."""
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        number = data[: error.start].count(b"\n") + 1
        found, cure = "bytes that are not text in UTF-8", "Save the table as CSV in UTF-8."
        raise SourceError(_fault("register-encoding", Place(file, number), found, "CSV in UTF-8", cure)) from None
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    number = 1
    try:
        for cells in reader:
            if any(cell.strip() for cell in cells):
                yield number, cells
            number = reader.line_num + 1
    except csv.Error as error:
        cure = "Correct the quotation marks of the line."
        raise SourceError(_fault("register-csv", Place(file, number), str(error), "a line of CSV", cure)) from None


def _header_faults(form: type[Row], name: str, header: Sequence[str], file: str) -> list[Problem]:
    unknown = [f"'{column}', which is no column of {name}" for column in header if column not in form.model_fields]
    absent = [
        f"no '{column}'"
        for column in _columns(form)
        if form.model_fields[column].is_required() and column not in header
    ]
    twice = [f"'{column}' twice" for column in dict.fromkeys(header) if header.count(column) > 1]
    found = "; ".join([*absent, *unknown, *twice])
    if not found:
        return []
    words = [c if form.model_fields[c].is_required() else f"{c} (may be left out)" for c in _columns(form)]
    cure = "Name the columns so, separated by commas, in any order."
    expected = "the columns " + ", ".join(words)
    return [_fault("register-header", Place(file, 1), found if header else "no header", expected, cure)]


def _cell_faults(error: ValidationError, place: Place, given: Mapping[str, str]) -> list[Problem]:
    faults = []
    for fault in error.errors(include_url=False):
        column = str(fault["loc"][0]) if fault["loc"] else None
        there = Place(place.file, place.row, column)
        if fault["type"] == "missing":
            faults.append(_fault("register-empty", there, "nothing", "a value", "Fill in the cell."))
            continue
        found = repr(given[column]) if column else "values that contradict each other"
        words = fault["msg"].removeprefix("Value error, ")
        expected = words[:1].lower() + words[1:]
        faults.append(_fault("register-value", there, found, expected, "Correct the value."))
    return faults


def _fault(code: str, place: Place, found: str, expected: str, cure: str) -> Problem:
    return Problem(code, place, found, expected, cure, blocks="file")


def _key(row: Row) -> tuple[str, ...]:
    return tuple(getattr(row, name) for name in row.key)


def _in_words(row: Row) -> str:
    first, last = row.days()
    if first == last:
        return f"{first}"
    if last < date.max:
        return f"{first} to {last}"
    return "always" if first == date.min else f"{first} and later"
