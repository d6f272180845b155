"""Logs with a value in each row: the legend says what each channel is, and what it leaves open is asked or refused."""

from __future__ import annotations

from typing import Any

import pytest
from made_layouts import document, entries, outcome, plugin_of, refused, table
from reading_inputs import answer

from interchange.errors import Place
from interchange.reading.body import FEW_ROWS

WORDS = {"pressure": "envelope_pressure_pa", "wind": "wind_speed_m_s", "indoor": "indoor_temperature_c"}
PLUGIN = plugin_of(
    entries({"name": "Gauge", "to": "gauge_serial"}),
    table(
        [
            {"name": "Key", "to": "channel_key", "filled": True},
            {"name": "Name", "to": "channel_id", "required": False},
            {"name": "What", "to": "quantity", "codes": WORDS},
            {"name": "Unit", "to": "channel_unit"},
            {"name": "Line", "to": "line_id"},
        ],
        "channel",
        sections=["Legend"],
        required=True,
    ),
    table(
        [
            {"name": "T", "to": "sampled_at", "time_format": "epoch s"},
            {"name": "Ch", "to": "channel_key"},
            {"name": "V", "to": "channel_value", "sign": "reversed", "sign_reason": "the legend says so"},
        ],
        "sample",
        sections=["Samples"],
        header_names=["Ch", "V"],
        required=True,
    ),
    kind="monitoring",
    layout={"delimiter": "|", "section_marks": ["[", "]"], "over_range": ["OL"]},
    recognise={"first_cells": ["[Legend]"]},
)
LEGEND = "[Legend]\nKey|What|Unit|Line\n1|pressure|Pa|north\n2|wind|km/h|\n3|indoor|°F|\n"
BEGAN = 1_772_445_600  # 2026-03-02T10:00:00Z


def _text(rows: list[tuple[int, str, str]]) -> str:
    return "[Samples]\nT|Ch|V\n" + "".join(f"{BEGAN + second}|{key}|{value}\n" for second, key, value in rows)


ROWS = [
    (0, "1", "1.8"),
    (0, "2", "36"),
    (0, "3", "68"),
    (1, "1", "-2.0"),
    (2, "1", "OL"),
    (60, "2", ""),
    (2, "3", "50"),
    (3, "1", "1"),
    (120, "2", "18"),
    (4, "3", "59"),
]


def test_each_channel_has_its_own_values_unit_sign_and_step() -> None:
    found = outcome(LEGEND + _text(ROWS), PLUGIN)
    assert found.state == "imported", [str(problem) for problem in found.mapped.problems]
    assert [(t.channel_id, t.start_s, t.interval_s, t.values.to_pylist()) for t in found.mapped.traces] == [
        ("1", 0.0, 1.0, [-1.8, 2.0, None, -1.0]),
        ("2", 0.0, 60.0, [pytest.approx(10.0), None, pytest.approx(5.0)]),
        ("3", 0.0, 2.0, [pytest.approx(20.0), pytest.approx(10.0), pytest.approx(15.0)]),
    ]
    (session,) = found.mapped.sessions
    assert [(c.channel_id, c.quantity, c.line_id, c.sample_count, c.missing_count) for c in session.channels] == [
        ("1", "envelope_pressure_pa", "north", 4, 1),
        ("2", "wind_speed_m_s", None, 3, 1),
        ("3", "indoor_temperature_c", None, 3, 0),
    ]
    assert [(line.line_id, line.arrangement) for line in session.reference_lines] == [("north", "unknown")]
    assert [(problem.code, problem.place) for problem in found.mapped.problems] == [
        ("over-range", Place("test.csv", 12, "V"))
    ]


def test_channels_may_have_a_name_beside_their_key() -> None:
    text = "[Legend]\nKey|Name|What|Unit|Line\n1|north wall|pressure|Pa|\n"
    found = document(text + _text(ROWS[:1] + ROWS[3:4]), PLUGIN)
    assert [channel["channel_id"] for channel in found["channels"]] == ["north wall"]


def test_a_row_of_a_channel_that_the_legend_lacks_is_located_and_counted() -> None:
    (problem,) = refused(LEGEND + _text([*ROWS, (5, "9", "3"), (6, "9", "4")]), PLUGIN)
    assert (problem.code, problem.place, problem.found, problem.count) == (
        "channel-unknown",
        Place("test.csv", 18, "Ch"),
        "'9'",
        2,
    )
    assert problem.expected == "a channel of the legend: '1', '2', '3'"


def test_a_row_that_names_no_channel_is_located() -> None:
    (problem,) = refused(LEGEND + _text([*ROWS, (2, "", "3")]), PLUGIN)
    assert (problem.code, problem.place.row) == ("channel-unknown", 18)


def test_what_a_channel_records_is_asked_where_the_plugin_does_not_know_the_word() -> None:
    text = LEGEND.replace("wind", "air speed") + _text(ROWS)
    held = outcome(text, PLUGIN)
    (question,) = held.mapped.questions
    assert (held.state, question.subject, question.place) == (
        "held",
        "What does 'air speed' mean in 'What' in section [Legend]?",
        Place("test.csv", 4, "What"),
    )
    done = outcome(text, PLUGIN, answers=(answer(question.question_id, "wind_speed_m_s"),))
    assert [trace.values for trace in done.mapped.traces] == [
        trace.values for trace in outcome(LEGEND + _text(ROWS), PLUGIN).mapped.traces
    ]
    left = outcome(text, PLUGIN, answers=(answer(question.question_id, "absent"),))
    assert [trace.channel_id for trace in left.mapped.traces] == ["1", "3"]


@pytest.mark.parametrize(
    ("unit", "code"), [("barrels", "unit-unknown"), ("Pa", "unit-dimension")], ids=["unknown", "of something else"]
)
def test_a_unit_of_the_legend_that_cannot_be_right_is_located_there(unit: str, code: str) -> None:
    (problem,) = refused(LEGEND.replace("km/h", unit) + _text(ROWS), PLUGIN)
    assert (problem.code, problem.place.row) == (code, 4)


def test_a_channel_without_a_unit_is_asked_about() -> None:
    held = outcome(LEGEND.replace("km/h", "") + _text(ROWS), PLUGIN)
    assert (held.state, len(held.mapped.questions)) == ("held", 1)


@pytest.mark.parametrize(
    ("value", "code"),
    [("3x", "not-a-number"), ("3,5", "number-mark"), ("900", "value-refused"), ("inf", "not-a-number")],
)
def test_a_value_that_cannot_be_right_is_located(value: str, code: str) -> None:
    (problem,) = refused(LEGEND + _text([*ROWS, (4, "1", value), (5, "1", "1")]), PLUGIN)
    assert (problem.code, problem.place) == (code, Place("test.csv", 18, "V"))


def test_a_gap_in_one_channel_is_located_and_the_others_do_not_hide_it() -> None:
    (problem,) = refused(LEGEND + _text([*ROWS, (9, "1", "1")]), PLUGIN)
    assert (problem.code, problem.place) == ("time-gap", Place("test.csv", 18, "T"))


def test_a_legend_without_samples_of_a_channel_gives_an_empty_one() -> None:
    found = document(LEGEND + _text([row for row in ROWS if row[1] != "3"]), PLUGIN)
    assert [(c["channel_id"], c["sample_count"]) for c in found["channels"]][-1] == ("3", 0)


def test_a_file_without_its_legend_is_refused() -> None:
    found = refused("[Legend]\n" + _text(ROWS), PLUGIN)
    assert "table-missing" in [problem.code for problem in found]


def test_a_key_that_comes_twice_in_the_legend_is_refused() -> None:
    (problem,) = refused(LEGEND + "1|wind|m/s|\n" + _text(ROWS), PLUGIN)
    assert (problem.code, problem.place) == ("channel-twice", Place("test.csv", 6))
    names = "[Legend]\nKey|Name|What|Unit|Line\n1|wall|pressure|Pa|\n2|wall|wind|m/s|\n"
    (problem,) = refused(names + _text([row for row in ROWS if row[1] != "3"]), PLUGIN)
    assert (problem.code, problem.place) == ("channel-twice", Place("test.csv", 4))


def test_a_long_tall_log_reads_as_a_short_one() -> None:
    rows = [(second, key, f"{second % 7}.5") for second in range(2 * FEW_ROWS) for key in ("1", "2")]
    found: Any = outcome(LEGEND.replace("3|indoor|°F|\n", "") + _text(rows), PLUGIN)
    assert [(trace.interval_s, len(trace.values)) for trace in found.mapped.traces] == [(1.0, 2 * FEW_ROWS)] * 2
    assert found.mapped.traces[0].values.to_pylist() == [-(second % 7 + 0.5) for second in range(2 * FEW_ROWS)]
