"""One name per quantity: models, batches, tables and heads take their names from the one table."""

from __future__ import annotations

import typing
from collections import Counter

import pytest

from interchange import quantities, units
from interchange.analysis import batch
from interchange.model.base import Record
from interchange.model.session import Session
from interchange.quantities import CHOICES, QUANTITIES
from interchange.units import conversion, unit


def _records(annotation: typing.Any) -> typing.Iterator[type[Record]]:
    """The record types that an annotation holds, and those within them."""
    if isinstance(annotation, type) and issubclass(annotation, Record):
        yield annotation
        for info in annotation.model_fields.values():
            yield from _records(info.annotation)
    for inner in typing.get_args(annotation):
        yield from _records(inner)


RECORDS = list(dict.fromkeys(_records(Session)))
# Closed lists of words that no field of a session takes: columns of results and of the journal, and rows of a layout.
OF_OTHER_FORMS = (
    *("import_state", "direction_used", "use", "decision", "verdict", "conforms", "row_is"),
    *("is_it_real", "repeat_sort", "stated_intervals", "wind_evidence"),
    *("line_fault", "line_fault_state"),
    *("likeness", "alike_as"),
)
IDS_THAT_JOIN = {"fan_id", "gauge_id", "line_id", "averaging_s", "fan_configuration", "sample_count"}
ENDINGS = {
    "Pa": "_pa",
    "m3/h": "_m3_h",
    "m3/h/m2": "_m3_h_m2",
    "m3": "_m3",
    "m2": "_m2",
    "m": "_m",
    "Cel": "_c",
    "m/s": "_m_s",
    "s": "_s",
    "deg": "_deg",
    "%": "_percent",
    "/h": "_per_h",
    "kg/m3": "_kg_m3",
    "By": "_bytes",
}


def _leaves(record: type[Record]) -> list[str]:
    return [name for name, info in record.model_fields.items() if not list(_records(info.annotation))]


def test_every_field_of_the_session_stands_in_the_table_of_names() -> None:
    assert {name for record in RECORDS for name in _leaves(record)} - set(QUANTITIES) == set()


def test_a_name_means_one_field_of_the_session() -> None:
    counts = Counter(name for record in RECORDS for name in _leaves(record))
    assert {name for name, count in counts.items() if count > 1} == IDS_THAT_JOIN


@pytest.mark.parametrize("name", CHOICES)
def test_closed_lists_are_the_same_in_the_model_and_in_the_table(name: str) -> None:
    holders = [record for record in RECORDS if name in record.model_fields]
    for record in holders:
        annotation = record.model_fields[name].annotation
        literal = next((a for a in typing.get_args(annotation) if typing.get_origin(a) is typing.Literal), annotation)
        assert typing.get_args(literal) == CHOICES[name]
    assert bool(holders) != (name in OF_OTHER_FORMS)


def test_columns_of_a_batch_stand_in_the_table_of_names() -> None:
    columns = (
        *batch.SESSION_COLUMNS,
        *batch.RUN_COLUMNS,
        *batch.POINT_COLUMNS,
        *batch.READING_COLUMNS,
        *batch.CALIBRATION_COLUMNS,
        *batch.CALIBRATION_POINT_COLUMNS,
    )
    assert set(columns) - set(QUANTITIES) == set()


@pytest.mark.parametrize("quantity", [q for q in QUANTITIES.values() if q.ucum not in ("", "1")], ids=lambda q: q.name)
def test_a_name_with_a_unit_ends_in_it(quantity: typing.Any) -> None:
    assert quantity.name.endswith(ENDINGS[quantity.ucum])


def test_units_of_all_names_are_in_the_table_of_units() -> None:
    assert {unit(q.ucum).ucum for q in QUANTITIES.values() if q.ucum} == {q.ucum for q in QUANTITIES.values() if q.ucum}


def test_no_spelling_stands_for_two_units() -> None:
    spellings = Counter(spelling for unit_, others in units._UNITS for spelling in (unit_.ucum, *others))
    assert [spelling for spelling, count in spellings.items() if count > 1] == []


def test_fahrenheit_is_converted_with_its_offset() -> None:
    scale, offset = conversion("F", "outdoor_temperature_c")
    assert 212 * scale + offset == pytest.approx(100, abs=1e-12)


def test_no_name_stands_twice_in_the_table() -> None:
    assert len(quantities.ROWS) == len(QUANTITIES)
