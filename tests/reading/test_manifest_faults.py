"""What a manifest of the wider vocabulary may not say, told by the path of the fault."""

from __future__ import annotations

from typing import Any

import pytest
from made_layouts import PRESSURE, entries, plugin_of, table
from pydantic import ValidationError

JOB = {"name": "Nr", "to": "job_id"}
WIND = {"name": "W", "to": "wind_speed_m_s", "unit": "m/s", "channel": "wind"}
TIME = {"name": "T", "to": "time_s", "unit": "s"}


def _fault(*blocks: dict[str, Any], **more: Any) -> str:
    with pytest.raises(ValidationError) as raised:
        plugin_of(*blocks, **more)
    (fault,) = raised.value.errors()
    return str(fault["msg"]).removeprefix("Value error, ")


@pytest.mark.parametrize(
    ("column", "fault"),
    [
        ({"to": "volume_m3", "unit": "m3", "part": 1}, "`part` and `part_mark` go together"),
        ({"to": "volume_m3", "unit": "m3", "part_mark": ","}, "`part` and `part_mark` go together"),
        ({"to": "crew", "decimals": 1}, "`decimals` goes with numbers"),
        (
            {"to": "volume_m3", "unit": "m3", "codes": {"small": "200"}},
            "`codes`: '200' is no value for volume_m3",
        ),
        (
            {"to": "baseline_before_pressure_pa", "unit": "Pa", "sign": "by_direction", "sign_reason": "x"},
            "only pressures of points take their sign from the direction of the run",
        ),
        ({"to": "opening_state", "codes": {}}, "fields of an opening, and only they, need `opening`"),
        ({"to": "other_flow_m3_h", "unit": "m3/h"}, "readings of other tests, and only they, need `other`"),
        (
            {"to": "started_at_local", "time_format": "%Y-%m"},
            "`time_format` gives year, month and day, or none of them",
        ),
        ({"to": "started_at_local", "time_format": "%I:%M"}, "`time_format`: %I and %p go together"),
        (
            {"to": "started_at_local", "time_format": "%d.%m.%Y %d"},
            "`time_format` takes each of %Y %y %m %b %d %H %I %M %S %f %p %z once at most",
        ),
        ({"to": "crew", "time_format": "%Y"}, "only dates, clocks, offsets and elapsed times take `time_format`"),
        ({"to": "started_at_local", "time_format": "%Y-%m-%d", "unit": "s"}, "`time_format` says the unit"),
        ({"to": "kind", "codes": {"a": "by_point"}}, None),
    ],
)  # fmt: skip
def test_a_column_of_the_wider_vocabulary_may_contradict_itself(column: dict[str, Any], fault: str | None) -> None:
    found = _fault(table([JOB, {"name": "X", **column}]), kind="summary")
    if fault is None:
        assert found.startswith("'X': `codes`: 'by_point' is none of single_point, ")
        assert found.endswith(", weather, by_points")
    else:
        assert found == f"'X': {fault}"


@pytest.mark.parametrize(
    ("block", "fault"),
    [
        (
            table([JOB, {"name": "P{n}", "to": "flow_m3_h", "unit": "m3/h"}]),
            "`numbered` and names with {n} go together",
        ),
        (table([JOB], numbered=[1, 3]), "`numbered` and names with {n} go together"),
        (
            table([JOB, {"name": "P{n}", "to": "flow_m3_h", "unit": "m3/h"}], numbered=[3, 1]),
            "`numbered` counts points up, in rows that are tests",
        ),
        (
            table([{"name": "P{n}", "to": "flow_m3_h", "unit": "m3/h"}], "point", numbered=[1, 3]),
            "`numbered` counts points up, in rows that are tests",
        ),
        (table([JOB, PRESSURE], session_by=["Nr"]), "`session_by` names columns of a table of points"),
        (table([JOB, PRESSURE], "point", session_by=["X"]), "`session_by` names columns of a table of points"),
        (table([JOB, PRESSURE], uneven=True), "`uneven` goes with logs"),
        (table([{"name": "K", "to": "channel_key"}], "channel"), "a legend needs columns for channel_key and quantity"),
        (table([WIND], "sample"), "a log needs a column for time_s or sampled_at"),
        (
            table([TIME, {"name": "K", "to": "channel_key"}, WIND], "sample"),
            "channel_key and channel_value go together",
        ),
        (
            table([TIME, WIND, {"name": "X", "to": "crew", "channel": "wind"}], "sample"),
            "'X': crew belongs to no channel",
        ),
        (
            table([TIME, {**WIND, "channel": None}], "sample"),
            "'W': every column of a log that holds values needs `channel`",
        ),
        (
            table([JOB, {"name": "D", "to": "started_at_local", "time_format": "%d %b %Y"}]),
            "'D': %b needs layout.month_names",
        ),
        (table([JOB, {"name": "V", "to": "volume_m3"}]), "'V': volume_m3 needs `unit`, or `unit_from` or a unit row"),
        (
            table([JOB, {"name": "X", "to": "crew", "whole_text_to": "point_number"}], "fan_calibration"),
            "'Nr': a block like this cannot fill job_id",
        ),
    ],
)  # fmt: skip
def test_a_block_of_the_wider_vocabulary_may_contradict_itself(block: dict[str, Any], fault: str) -> None:
    assert _fault(block, kind="monitoring") == f"block.0: {fault}"


@pytest.mark.parametrize(
    "more",
    [
        {"header_rows": 2},
        {"below_header": ["units"]},
        {"each_row": "point"},
    ],
    ids=lambda more: next(iter(more)),
)
def test_a_table_that_stands_across_is_of_tests_and_has_one_column_of_names(more: dict[str, Any]) -> None:
    block = table([PRESSURE], **({"each_row": "session"} | more))
    assert _fault(block, layout={"transposed": True}) == (
        "block.0: a transposed table holds a test in each column, and one column of names"
    )


def test_companions_and_their_blocks_name_each_other() -> None:
    each = "each companion has a name of its own and at least one block, and each `file` names one"
    companion = {"name": "sky", "stem_ends": "_sky", "first_cells": ["Sky"]}
    points, sky = table([PRESSURE], "point"), entries({"name": "Sky", "to": "wind_as_recorded"}, file="sky")
    assert _fault(points, sky) == each
    assert _fault(points, companion=[companion]) == each
    assert _fault(points, sky, companion=[companion, companion]) == each
    assert _fault(table([JOB, PRESSURE]), sky, companion=[companion]) == "only a file of one test has companions"
    plugin_of(points, sky, companion=[companion])


def test_several_tests_in_sections_begin_with_a_section_of_the_layout() -> None:
    assert (
        _fault(table([PRESSURE], "point", sections=["A"]), layout={"section_marks": ["[", "]"]}, session_starts="B")
        == "session_starts: no block stands in a section 'B'"
    )


def test_constants_fill_fields_of_the_whole_session_and_no_dates() -> None:
    for name, value in (("started_at_local", "2026-02-03"), ("envelope_pressure_pa", 50.0), ("job_nr", "7")):
        assert _fault(table([JOB, PRESSURE]), constants={name: value}) == f"no constant can fill {name!r}"


def test_marks_of_the_layout_may_not_mean_two_things() -> None:
    assert _fault(table([JOB, PRESSURE]), layout={"delimiter": ",", "decimal_mark": ","}) == (
        "the delimiter cannot be the decimal mark too"
    )
    plugin_of(table([JOB, PRESSURE]), layout={"delimiter": ",", "thousands_mark": ","})  # such cells stand in quotes
    assert _fault(table([JOB, PRESSURE]), layout={"month_names": ["Jan"]}).startswith("Tuple should have at least 12")


def test_two_columns_of_a_log_never_fill_one_channel() -> None:
    gust = {"name": "G", "to": "wind_gust_m_s", "unit": "m/s", "channel": "wind"}
    assert _fault(table([TIME, WIND, gust], "sample")) == "block.0: channel 'wind' is filled by several columns"


def test_a_column_is_not_mapped_and_ignored_in_either_order() -> None:
    ignored = {"name": "Nr", "ignore": "x"}
    for columns in ([JOB, ignored], [ignored, JOB]):
        assert _fault(table(columns), kind="summary") == "block.0: 'Nr' is listed twice"
