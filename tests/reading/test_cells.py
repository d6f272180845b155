"""Texts become numbers in the marks a layout states and in no others; every cell of a column is proven."""

from __future__ import annotations

from fractions import Fraction

import pyarrow as pa
import pytest
from hypothesis import given
from hypothesis import strategies as st

from interchange.model.manifest import Layout
from interchange.reading.cells import Numbers, numbers


def _layout(decimal: str = ".", thousands: str | None = None, **more: object) -> Layout:
    document = {"encodings": ["utf-8"], "delimiter": "\t", "decimal_mark": decimal, "thousands_mark": thousands, **more}
    return Layout.model_validate(document)


def _read(texts: list[str], layout: Layout) -> Numbers:
    return numbers(pa.array(texts, pa.string()), layout)


@pytest.mark.parametrize(
    ("text", "decimal", "thousands", "value"),
    [
        ("12", ".", None, 12.0),
        ("-0.5", ".", None, -0.5),
        ("+3", ".", None, 3.0),
        (".5", ".", None, 0.5),
        ("5.", ".", None, 5.0),
        ("1e3", ".", None, 1000.0),
        ("\u221250,25", ",", None, -50.25),
        ("-50,25", ",", None, -50.25),
        ("\u00a07,5\u00a0", ",", None, 7.5),
        ("1,505", ",", None, 1.505),
        ("1,505", ".", ",", 1505.0),
        ("1,234,567.5", ".", ",", 1234567.5),
        ("1.505", ",", ".", 1505.0),
        ("1.505,25", ",", ".", 1505.25),
        ("1 505", ".", " ", 1505.0),
        ("1\u00a0505,5", ",", " ", 1505.5),
        ("1\u202f505", ",", " ", 1505.0),
        ("1'505", ".", "'", 1505.0),
        ("505.25", ".", ",", 505.25),
        ("'5", ".", None, 5.0),
        ("'-1,505.5", ".", ",", -1505.5),
    ],
)
def test_numbers_in_the_stated_marks(text: str, decimal: str, thousands: str | None, value: float) -> None:
    found = _read([text, "0"], _layout(decimal, thousands))
    assert (found.values.to_pylist(), found.faults, found.over_range) == ([value, 0.0], (), ())


@pytest.mark.parametrize(
    ("text", "decimal", "thousands"),
    [
        ("1,505", ".", None),
        ("1.505", ",", None),
        ("1.505", ",", " "),
        ("12,34", ".", ","),
        ("1,23,456", ".", ","),
        ("1,5055", ".", ","),
        ("1 505", ".", None),
        ("1 505", ",", None),
        ("1.2.3", ".", None),
        ("1,2,3", ",", None),
        ("12x", ".", None),
        ("NaN", ".", None),
        ("nan", ",", None),
        ("inf", ".", None),
        ("-Infinity", ".", None),
        ("1e999", ".", None),
        ("0x1F", ".", None),
        ("1_0", ".", None),
        ("\u0661", ".", None),
        ("--", ".", None),
        ("''5", ".", None),
        ("5'", ".", None),
        ("-'5", ".", None),
        ("'", ".", None),
        ("5 Pa", ".", None),
        ("", ".", None),
    ],
)
def test_anything_else_is_a_fault_at_its_place(text: str, decimal: str, thousands: str | None) -> None:
    found = _read(["1", text, "2"], _layout(decimal, thousands, missing=["-"]))
    assert (found.values.to_pylist(), found.faults) == ([1.0, None, 2.0], (1,))


def test_marks_for_missing_and_over_range_leave_no_value() -> None:
    layout = _layout(missing=["", "n/a", "-"], over_range=["OL"])
    found = _read(["1.5", "", " n/a ", "OL", "-", "-2", "x"], layout)
    assert found == Numbers(found.values, (3,), (6,))
    assert found.values.to_pylist() == [1.5, None, None, None, None, -2.0, None]


def test_a_mark_that_is_a_number_is_not_read_as_one() -> None:
    found = _read(["1", "-999", "2"], _layout(missing=["-999"]))
    assert (found.values.to_pylist(), found.faults) == ([1.0, None, 2.0], ())


def test_a_fault_in_the_last_of_many_cells_is_found() -> None:
    assert _read(["1.0"] * 5000 + ["1,0"], _layout()).faults == (5000,)


_ODD = st.sampled_from(["OL", "", "1,5", "x", " 2", "\u22123", "nan", "4.5"])


@given(st.lists(st.one_of(st.decimals(-1000, 1000, places=3).map(str), _ODD), min_size=1, max_size=30))
def test_a_column_reads_as_its_cells_do_one_by_one(texts: list[str]) -> None:
    layout = _layout(over_range=["OL"])
    whole = _read(texts, layout)
    single = [_read([text], layout) for text in texts]
    assert whole.values.to_pylist() == [one.values[0].as_py() for one in single]
    assert whole.faults == tuple(index for index, one in enumerate(single) if one.faults)
    assert whole.over_range == tuple(index for index, one in enumerate(single) if one.over_range)
    for position, one in enumerate(single):
        assert whole.at(position) == Numbers(whole.values.slice(position, 1), one.over_range, one.faults)


@given(st.decimals(-(10**6), 10**6, places=4))
def test_values_are_the_nearest_doubles(number: object) -> None:
    text = f"{number:f}"  # exact decimal text; Fraction and float division are the outside check
    exact = Fraction(text)
    assert _read([text], _layout()).values[0].as_py() == exact.numerator / exact.denominator
    assert _read([text.replace(".", ",")], _layout(",")).values[0].as_py() == exact.numerator / exact.denominator
