"""What one column may say of its cells: units within them, words for numbers, marks, parts, signs by direction."""

from __future__ import annotations

from typing import Any

import pytest
from made_layouts import document, noted, outcome, plugin_of, read, refused, table

from interchange.errors import Place

JOB = {"name": "Nr", "to": "job_id"}
POINT = {"name": "P", "to": "envelope_pressure_pa", "unit": "Pa", "sign_reason": "made for a test"}


def _plugin(column: dict[str, Any], **layout: Any) -> Any:
    return plugin_of(table([JOB, {"name": "X", **column}]), kind="summary", layout={"delimiter": "|"} | layout)


def _values(cells: list[str], plugin: Any, name: str) -> list[float | None]:
    """The field in the session of each of these cells."""
    text = "Nr|X\n" + "".join(f"{number}|{cell}\n" for number, cell in enumerate(cells, 1))
    group = "conditions" if "wind" in name else "reported" if "reported" in name else "building"
    return [getattr(getattr(session, group), name) for session in read(text, plugin)]


# a unit within each cell

IN_TEXT = _plugin({"to": "reported_flow_m3_h", "unit_from": "text"}, thousands_mark=",", over_range=["OL"])


def test_each_cell_may_hold_a_unit_of_its_own() -> None:
    cells = ["1,505 cfm", "2,557 m3/h", "710L/s", "1 m3/s", "", "0.5\u00a0m3/s", "OL", "2557.5 m³/h"]
    # 1 cfm is 0.3048^3 * 60 m3/h, by the definition of the foot (international yard and pound agreement of 1959)
    foot = 0.3048**3 * 60
    found = _values(cells, IN_TEXT, "reported_flow_m3_h")
    assert found == pytest.approx([1505 * foot, 2557.0, 2556.0, 3600.0, None, 1800.0, None, 2557.5])


@pytest.mark.parametrize(
    ("cell", "code", "found"),
    [
        ("1,505 barrels", "unit-unknown", "the unit 'barrels'"),
        ("1,505 Pa", "unit-dimension", "the unit 'Pa', which measures something else"),
        ("about 900 cfm", "not-a-number", "'about 900 cfm'"),
        ("1.505,2 m3/h", "not-a-number", "'1.505,2 m3/h'"),
        ("900 to 950 cfm", "unit-unknown", "the unit 'to 950 cfm'"),
        ("cfm", "not-a-number", "'cfm'"),
        ("900 cfm at 50 Pa", "unit-unknown", "the unit 'cfm at 50 Pa'"),
    ],
)
def test_a_cell_whose_number_or_unit_is_none_is_located(cell: str, code: str, found: str) -> None:
    problems = refused(f"Nr|X\n1|900 cfm\n2|{cell}\n3|1 m3/s\n", IN_TEXT)
    assert [(p.code, p.place, p.found) for p in problems] == [(code, Place("test.csv", 3, "X"), found)]


def test_a_cell_without_a_unit_is_asked_about_and_never_takes_that_of_its_neighbour() -> None:
    held = outcome("Nr|X\n1|900 cfm\n2|850\n", IN_TEXT)
    assert (held.state, [q.subject for q in held.mapped.questions]) == ("held", ["Which unit has 'X'?"])
    assert held.mapped.questions[0].place == Place("test.csv", 3, "X")


def test_a_value_beyond_its_range_is_told_in_the_unit_of_its_cell() -> None:
    plugin = _plugin({"to": "volume_m3", "unit_from": "text"})
    (problem,) = refused("Nr|X\n1|300 m3\n2|-10,800 cu ft\n".replace(",", ""), plugin)
    assert (problem.place, problem.found) == (Place("test.csv", 3, "X"), "'-10800 cu ft'")
    assert problem.expected.endswith("a number greater than 0 cu ft")


# words for numbers

# north is 360 and 0 is calm (World Meteorological Organization, Manual on Codes, table 0877)
COMPASS = {"N": 360.0, "NE": 45.0, "E": 90.0, "SE": 135.0, "S": 180.0, "SW": 225.0, "W": 270.0, "NW": 315.0}


def test_compass_letters_stand_for_degrees_beside_numbers() -> None:
    plugin = _plugin({"to": "wind_from_deg", "unit": "deg", "codes": COMPASS, "missing": ["calm", "0"]})
    cells = ["SW", "240", " N ", "calm", "", "0", "W"]
    assert _values(cells, plugin, "wind_from_deg") == [225.0, 240.0, 360.0, None, None, None, 270.0]
    assert _values(["SW", "E"], plugin, "wind_from_deg") == [225.0, 90.0]
    (problem,) = refused("Nr|X\n1|SW\n2|0.0\n", plugin)  # neither north nor the mark for calm
    assert (problem.code, problem.place) == ("value-refused", Place("test.csv", 3, "X"))
    (problem,) = refused("Nr|X\n1|SW\n2|WSW\n", plugin)
    assert (problem.code, problem.place, problem.found) == ("not-a-number", Place("test.csv", 3, "X"), "'WSW'")


def test_words_stand_beside_numbers_in_any_marks() -> None:
    plugin = _plugin({"to": "volume_m3", "unit": "m3", "codes": {"small": 200.0}}, thousands_mark=",")
    assert _values(["small", "1,505", "300"], plugin, "volume_m3") == [200.0, 1505.0, 300.0]


def test_a_word_for_a_number_is_in_the_unit_of_the_archive() -> None:
    # Beaufort 3 begins at 3.4 m/s (World Meteorological Organization, Guide to Meteorological Instruments, table)
    plugin = _plugin({"to": "wind_speed_m_s", "unit": "km/h", "codes": {"light": 3.4}})
    assert _values(["36", "light"], plugin, "wind_speed_m_s") == pytest.approx([10.0, 3.4])


# marks of one column alone


def test_a_mark_of_one_column_is_a_number_in_another() -> None:
    columns = [
        {"name": "A", "to": "wind_speed_m_s", "unit": "m/s", "missing": ["-99", "99"]},
        {"name": "B", "to": "volume_m3", "unit": "m3"},
    ]
    plugin = plugin_of(table(columns), kind="summary")
    (session,) = read("A,B\n99,99\n", plugin)
    assert (session.conditions.wind_speed_m_s, session.building.volume_m3) == (None, 99.0)
    (problem,) = refused("A,B\n3,-99\n", plugin)
    assert (problem.code, problem.place.column) == ("value-refused", "B")


def test_a_mark_of_one_column_holds_for_its_words_and_dates_too() -> None:
    columns = [
        JOB,
        {"name": "S", "to": "stage", "codes": {"in": "before"}, "missing": ["none"]},
        {"name": "D", "to": "started_at_local", "time_format": "%Y-%m-%d", "missing": ["unknown"]},
    ]
    (session,) = read("Nr,S,D\n7,none,unknown\n", plugin_of(table(columns), kind="summary"))
    assert (session.record.stage, session.time.started_at_local) == (None, None)


# parts of a cell


@pytest.mark.parametrize(
    ("part", "mark", "cells", "values"),
    [
        (1, ",", ["12,3,x", "7"], [12.0, 7.0]),
        (2, ",", ["x,12,3", "y,7"], [12.0, 7.0]),
        (3, ", ", ["a, b, 5", "c, d,e, 6"], [5.0, 6.0]),
        (2, "--", ["a-b--5--", "--6"], [5.0, 6.0]),
    ],
)
def test_a_part_of_a_cell_is_that_between_its_marks(
    part: int, mark: str, cells: list[str], values: list[float]
) -> None:
    plugin = _plugin({"to": "volume_m3", "unit": "m3", "part": part, "part_mark": mark})
    assert _values(cells, plugin, "volume_m3") == values


def test_a_cell_with_too_few_parts_is_located_and_an_empty_one_has_no_value() -> None:
    plugin = _plugin({"to": "volume_m3", "unit": "m3", "part": 3, "part_mark": ",", "missing": ["9999"]})
    assert _values(["a,b,9999", "", "a,b,300"], plugin, "volume_m3") == [None, None, 300.0]
    (problem,) = refused("Nr|X\n1|a,b,300\n2|a,300\n", plugin)
    assert (problem.code, problem.place, problem.found) == ("cell-parts", Place("test.csv", 3, "X"), "'a,300'")
    assert problem.expected == "at least 3 parts with ',' between them"


def test_one_column_may_fill_several_fields_from_its_parts() -> None:
    columns = [
        {"name": "W", "to": "wind_from_deg", "unit": "deg", "part": 1, "part_mark": "/"},
        {"name": "W", "to": "wind_speed_m_s", "unit": "knots", "part": 2, "part_mark": "/"},
    ]
    (session,) = read("W\n240/10\n", plugin_of(table(columns), kind="summary"))
    # one knot is 1852 m in an hour (International Hydrographic Conference of Monaco, 1929)
    assert session.conditions.wind_from_deg == 240.0
    assert session.conditions.wind_speed_m_s == pytest.approx(18_520 / 3600)


# a sign that stands in another column

DIRECTION = {"name": "D", "to": "direction", "codes": {"out": "depressurisation", "in": "pressurisation"}}
BY_DIRECTION = plugin_of(table([DIRECTION, POINT | {"sign": "by_direction"}]))


def test_a_magnitude_takes_the_sign_of_its_direction() -> None:
    down, up = read("D,P\nout,50.5\nin,50.5\n", BY_DIRECTION)
    assert [(s.runs[0].direction, s.runs[0].points[0].envelope_pressure_pa) for s in (down, up)] == [
        ("depressurisation", -50.5),
        ("pressurisation", 50.5),
    ]


@pytest.mark.parametrize("direction", ["out", "in"])
def test_a_magnitude_with_a_sign_is_refused(direction: str) -> None:
    (problem,) = refused(f"D,P\nin,49\n{direction},-50.5\n", BY_DIRECTION)
    assert (problem.code, problem.place, problem.found) == ("magnitude-signed", Place("test.csv", 3, "P"), "'-50.5'")


def test_a_magnitude_without_a_direction_is_refused() -> None:
    (problem,) = refused("D,P\nin,49\n,50.5\n", BY_DIRECTION)
    assert (problem.code, problem.place) == ("direction-unknown", Place("test.csv", 3, "P"))
    (problem,) = refused("Nr,P\n7,50.5\n", plugin_of(table([JOB, POINT | {"sign": "by_direction"}])))
    assert problem.code == "direction-unknown"


def test_a_reversed_pressure_has_the_sign_of_inside_minus_outside() -> None:
    (session,) = read("P\n50.5\n", plugin_of(table([POINT | {"sign": "reversed"}])))
    (run,) = session.runs
    assert (run.direction, run.points[0].envelope_pressure_pa) == ("depressurisation", -50.5)


# what the layout keeps from being taken for a formula


def test_an_apostrophe_that_keeps_a_text_from_being_a_formula_is_taken_off() -> None:
    plugin = plugin_of(table([JOB, {"name": "Crew", "to": "crew"}]), kind="summary")
    text = "Nr,Crew\n'=1+1,'@sky\n'07,O'Neil\n"
    assert [(s.record.job_id, s.record.crew) for s in read(text, plugin)] == [("=1+1", "@sky"), ("'07", "O'Neil")]


def test_pressures_that_are_all_above_zero_are_noted_where_nothing_says_the_direction() -> None:
    plugin = plugin_of(table([JOB, POINT | {"sign": "as_recorded"}]))
    assert [p.code for p in noted("Nr,P\n7,50\n8,49\n", plugin)] == ["all-above-zero"]
    assert [p.code for p in noted("Nr,P\n7,50\n8,\n", plugin)] == ["all-above-zero"]
    assert noted("Nr,P\n7,50\n8,-49\n", plugin) == []
    stated = plugin_of(table([DIRECTION, POINT | {"sign": "as_recorded"}]))
    assert noted("D,P\nin,50\nin,49\n", stated) == []


def test_a_number_with_several_meanings_of_its_marks_is_refused_even_in_one_cell() -> None:
    plugin = _plugin({"to": "volume_m3", "unit": "m3"})
    (problem,) = refused("Nr|X\n1|300.5\n2|1,505\n", plugin)
    assert (problem.code, problem.place) == ("number-mark", Place("test.csv", 3, "X"))
    comma = _plugin({"to": "volume_m3", "unit": "m3"}, decimal_mark=",", thousands_mark=".")
    assert _values(["1.505", "1,505"], comma, "volume_m3") == [1505.0, 1.505]
    assert document("Nr|X\n1|1.505,5\n", comma)["building"] == {"volume_m3": 1505.5}
