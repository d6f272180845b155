"""From text to sessions: where each value goes, what is the same session, and what is refused or asked."""

from __future__ import annotations

from datetime import UTC, date, datetime, timedelta

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading_inputs import LOG, ROWS, SECTIONS, plugin, problems, sessions, source, taken, the_problem

from interchange.errors import Place
from interchange.model.document import as_document, session_id
from interchange.model.question import Answer
from interchange.model.session import FanReading, Kept, Session
from interchange.reading.cells import MISSING_CURE

HEAD, FIRST, SECOND = ROWS.splitlines()


def _content(session: Session) -> dict[str, object]:
    """All but where it was read from."""
    document = as_document(session)
    return {name: value for name, value in document.items() if name not in ("session_id", "source", "kept")}


# where each value goes


def test_a_row_is_a_session() -> None:
    first, second = sessions(ROWS)
    assert (first.session_id, first.source.source_place) == (session_id(source(ROWS).sha256, "row 2"), "row 2")
    assert _content(first) == {
        "schema_version": 1,
        "kind": "single_point",
        "record": {"contractor": "Alder & Co", "crew": "C1", "job_id": "0042", "site_id": "H-07", "stage": "before"},
        "time": {"started_at_as_recorded": "02/03/2026 9:15 AM", "started_at_local": "2026-02-03T09:15:00"},
        "building": {
            "volume_m3": pytest.approx(14_000 * 0.3048**3),
            "floor_area_m2": pytest.approx(1750 * 0.3048**2),
        },
        "conditions": {
            "indoor_temperature_c": pytest.approx(20.0),
            "outdoor_temperature_c": pytest.approx(0.0, abs=1e-12),
            "wind_source": "observer_word",
            "wind_as_recorded": "breezy",
            "wind_beaufort_low": 3,
            "wind_beaufort_high": 4,
        },
        "reported": {
            "reported_flow_m3_h": pytest.approx(2090 * 0.3048**3 * 60),
            "reported_flow_pressure_pa": 50.0,
        },
        "runs": [
            {
                "run_number": 1,
                "direction": "depressurisation",
                "baseline_before_pressure_pa": -1.2,
                "points": [
                    {
                        "envelope_pressure_pa": -50.2,
                        "baseline_removed": False,
                        "fan_readings": [
                            {
                                "fan_id": "1",
                                "fan_configuration": "plate 2",
                                "flow_m3_h": pytest.approx(2100 * 0.3048**3 * 60),
                                "flow_basis": "indicated",
                            }
                        ],
                    }
                ],
            }
        ],
    }
    assert _content(second)["runs"] == [
        {
            "run_number": 1,
            "direction": "pressurisation",
            "points": [
                {
                    "envelope_pressure_pa": 49.8,
                    "baseline_removed": False,
                    "fan_readings": [
                        {"fan_id": "1", "flow_m3_h": pytest.approx(1500 * 0.3048**3 * 60), "flow_basis": "indicated"}
                    ],
                }
            ],
        }
    ]
    assert "reported" not in _content(second)


def test_a_file_of_sections_is_a_session() -> None:
    (session,) = sessions(SECTIONS)
    assert session.source.source_place == "file"
    assert (session.kind, session.record.job_id, session.record.tester) == ("multi_point", "T-1", "qq")
    assert (session.building.volume_m3, session.building.height_m) == (412.5, pytest.approx(5.4))
    assert session.conditions.barometric_pressure_pa == pytest.approx(100_950)
    assert (session.gauges[0].gauge_id, session.gauges[0].gauge_calibrated_on) == ("1", date(2025, 5, 12))
    assert [fan.fan_serial for fan in session.fans] == ["F-1"]
    assert as_document(session)["reference_lines"] == [
        {
            "line_id": "1",
            "arrangement": "several_facades",
            "arrangement_as_recorded": "several facades",
            "line_length_m": 8.0,
        }
    ]
    assert [(c.fan_configuration, c.fan_coefficient_m3_h, c.fan_exponent) for c in session.fan_calibrations] == [
        ("full", 492.0, 0.5),
        ("half", 171.0, 0.505),
    ]
    assert [(run.run_number, run.direction, len(run.points)) for run in session.runs] == [
        (1, "pressurisation", 2),
        (2, "depressurisation", 1),
    ]
    down = session.runs[1]
    assert (down.baseline_before_pressure_pa, down.baseline_before_duration_s) == (-1.35, 60.0)
    point = down.points[0]
    assert (point.point_number, point.target_pressure_pa, point.envelope_pressure_pa) == (1, -60.0, -60.3)
    assert (point.envelope_pressure_spread_pa, point.averaging_s) == (0.9, 30.0)
    assert point.fan_readings == (
        FanReading(
            fan_id="1",
            fan_configuration="half",
            fan_pressure_pa=41.2,
            flow_m3_h=3159.0,
            flow_basis="indicated",
            calibration_index=1,
        ),
    )
    assert (session.reported.reported_flow_m3_h, session.reported.reported_exponent) == (2831.0, 0.641)


def test_the_file_goes_before_the_constants_of_the_layout() -> None:
    assert sessions(SECTIONS.replace("multi-point", "two-point"))[0].kind == "two_point"
    assert sessions(SECTIONS.replace("Procedure;multi-point\n", ""))[0].kind == "multi_point"


def test_without_fan_calibrations_nothing_is_noted_of_openings() -> None:
    start, end = SECTIONS.index("[Fan calibration]"), SECTIONS.index("[Pressurisation]")
    assert problems(SECTIONS[:start] + SECTIONS[end:]) == []


def test_an_opening_without_calibration_is_noted() -> None:
    (session,) = sessions(SECTIONS)
    assert [p.fan_readings[0].calibration_index for p in session.runs[0].points] == [0, None]
    found = the_problem(SECTIONS)
    assert str(found) == (
        "test.csv, row 36, column 'Opening': found 'third', for which the file holds no fan calibration; "
        "expected an opening of the table of fan calibrations. "
        "Nothing need be done if the flows stand in the file; they cannot be recomputed from fan pressures."
    )
    assert found.blocks == "note"


def test_a_log_is_a_session_with_traces() -> None:
    outcome = taken(LOG)
    (session,) = outcome.mapped.sessions
    assert session.kind == "monitoring"
    assert [(line.line_id, line.arrangement, line.arrangement_as_recorded) for line in session.reference_lines] == [
        ("A", "open_end", "open end; north facade"),
        ("B", "branched", "branched; north and east facade"),
    ]
    assert [
        (c.channel_id, c.quantity, c.line_id, c.start_s, c.interval_s, c.averaging_s, c.sample_count, c.missing_count)
        for c in session.channels
    ] == [
        ("line A", "envelope_pressure_pa", "A", 0.0, 1.0, 1.0, 3, 1),
        ("line B", "envelope_pressure_pa", "B", 0.0, 1.0, 1.0, 3, 0),
        ("indoor", "indoor_temperature_c", None, 0.0, 1.0, 1.0, 3, 0),
        ("wind", "wind_speed_m_s", None, 0.0, 1.0, 1.0, 3, 1),
    ]
    assert [
        (t.session_id, t.channel_id, t.interval_s, t.time_s, t.values.to_pylist()) for t in outcome.mapped.traces
    ] == [
        (session.session_id, "line A", 1.0, None, [-1.84, None, -2.31]),
        (session.session_id, "line B", 1.0, None, [-1.12, -1.2, -1.25]),
        (session.session_id, "indoor", 1.0, None, [20.3, 20.3, 20.4]),
        (session.session_id, "wind", 1.0, None, [3.9, None, 4.4]),
    ]
    (over,) = outcome.mapped.problems
    assert str(over) == (
        "test.csv, row 11, column 'line A Pa': found 'OL', the mark for over range; expected a number. "
        "Nothing can be done afterwards; the value is left out and the rest is kept."
    )


def test_the_source_of_record_names_bytes_and_plugin() -> None:
    record = sessions(ROWS)[0].source
    shipped = plugin("one-row-a-test")
    assert record.model_dump() == {
        "source_name": "test.csv",
        "source_sha256": source(ROWS).sha256,
        "source_size_bytes": len(ROWS.encode()),
        "source_encoding": "utf-8",
        "source_place": "row 2",
        "plugin_id": "one-row-a-test",
        "plugin_version": shipped.manifest.version,
        "plugin_fingerprint": shipped.fingerprint,
    }


# what is not mapped is kept


def test_columns_of_a_sheet_that_no_field_takes_are_kept() -> None:
    wide = f"{HEAD},Door\n{FIRST},front\n{SECOND},\n"
    first, second = sessions(wide)
    assert [(k.kept_name, k.kept_first_row, k.kept_first) for k in first.kept] == [
        ("Remarks", 2, "loft hatch taped"),
        ("Door", 2, "front"),
    ]
    assert second.kept == ()


def test_keys_sections_and_columns_that_no_field_takes_are_kept_in_their_order() -> None:
    text = (
        SECTIONS.replace("Height;540;cm", "Storeys;2\nHeight;540;cm")
        .replace(
            "Point;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow\n;Pa;Pa;Pa;s;;Pa;m³/h\n1;50",
            "Point;Note;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow\n;;Pa;Pa;Pa;s;;Pa;m³/h\n1;gusty;50",
        )
        .replace("2;30;", "2;;30;")
    )
    (session,) = sessions(text + "[Sky]\nCloud;3\nCloud;4\n")
    assert session.kept == (
        Kept(
            kept_section="House",
            kept_name="Storeys",
            kept_first_row=15,
            kept_last_row=15,
            kept_count=1,
            kept_first="2",
            kept_last="2",
        ),
        Kept(
            kept_section="Pressurisation",
            kept_name="Note",
            kept_first_row=36,
            kept_last_row=36,
            kept_count=1,
            kept_first="gusty",
            kept_last="gusty",
        ),
        Kept(
            kept_section="Sky",
            kept_name="Cloud",
            kept_first_row=50,
            kept_last_row=51,
            kept_count=2,
            kept_first="3",
            kept_last="4",
        ),
    )


def test_a_column_of_a_log_that_no_field_takes_is_kept() -> None:
    text = LOG.replace("wind m/s", "wind m/s,door").replace("3.9\n", "3.9,shut\n")
    text = text.replace("20.3,\n", "20.3,,\n").replace("4.4\n", "4.4,open\n").replace("# job", "# operator: qq\n# job")
    (session,) = sessions(text)
    assert [(k.kept_name, k.kept_first_row, k.kept_last_row, k.kept_count, k.kept_last) for k in session.kept] == [
        ("operator", 2, 2, 1, "qq"),
        ("door", 11, 13, 2, "open"),
    ]


# the same session however it is written


@pytest.mark.parametrize(
    "change",
    [
        lambda text: "\ufeff" + text,
        lambda text: text.replace("\n", "\r\n"),
        lambda text: text.replace("\n", "\r"),
        lambda text: "\n\n" + text + "\n \n",
    ],
    ids=["byte order mark", "CRLF", "CR", "blank rows about it"],
)
@pytest.mark.parametrize("text", [ROWS, SECTIONS, LOG], ids=["rows", "sections", "log"])
def test_bytes_that_mean_the_same_give_the_same_session(text: str, change: object) -> None:
    changed = change(text)  # type: ignore[operator]
    assert [_content(session) for session in sessions(changed)] == [_content(session) for session in sessions(text)]


@pytest.mark.parametrize(("text", "mark"), [(ROWS, ","), (SECTIONS, ";"), (LOG, ",")], ids=["rows", "sections", "log"])
def test_trailing_blanks_and_empty_cells_give_the_same_session(text: str, mark: str) -> None:
    blanks = "".join(line + " \n" for line in text.splitlines())
    assert [_content(session) for session in sessions(blanks)] == [_content(session) for session in sessions(text)]
    cells = "".join(line + (mark * 2 if not line.startswith("#") else "") + "\n" for line in text.splitlines())
    assert [_content(session) for session in sessions(cells)] == [_content(session) for session in sessions(text)]


def test_western_code_page_gives_the_same_session() -> None:
    (session,) = sessions(SECTIONS)
    (other,) = [*taken(SECTIONS.encode("cp1252")).mapped.sessions]
    assert (_content(other), other.source.source_encoding) == (_content(session), "cp1252")


@given(st.permutations(range(len(HEAD.split(",")))))
def test_the_order_of_columns_does_not_matter(order: list[int]) -> None:
    moved = "".join(",".join(line.split(",")[position] for position in order) + "\n" for line in ROWS.splitlines())
    assert [_content(session) for session in sessions(moved)] == [_content(session) for session in sessions(ROWS)]


@given(st.permutations(LOG.splitlines()[:8]))
def test_the_order_of_keys_does_not_matter(lines: list[str]) -> None:
    moved = "\n".join([*lines, *LOG.splitlines()[8:]]) + "\n"
    (session,), (plain,) = sessions(moved), sessions(LOG)
    ordered = sorted(session.reference_lines, key=lambda line: line.line_id)
    assert session.model_copy(update={"reference_lines": tuple(ordered)}).channels == plain.channels
    assert tuple(ordered) == plain.reference_lines
    assert (session.record, session.time) == (plain.record, plain.time)


# time


def test_an_offset_in_the_file_makes_the_time_exact() -> None:
    time = sessions(SECTIONS)[0].time
    assert time.started_at_local == datetime(2026, 2, 3, 10, 42)
    assert time.started_at_utc == datetime(2026, 2, 3, 15, 42, tzinfo=UTC)
    assert (time.utc_offset_s, time.time_zone, time.time_zone_from, time.time_quality) == (
        -18_000,
        None,
        "source",
        "exact",
    )
    log = sessions(LOG)[0].time
    assert (log.started_at_as_recorded, log.started_at_utc) == (
        "2026-02-11T13:05:00+01:00",
        datetime(2026, 2, 11, 12, 5, tzinfo=UTC),
    )


def test_the_zone_of_the_archive_counts_where_the_file_says_none() -> None:
    time = sessions(ROWS, "America/Chicago")[0].time
    assert time.started_at_utc == datetime(2026, 2, 3, 15, 15, tzinfo=UTC)
    assert (time.utc_offset_s, time.time_zone, time.time_zone_from, time.time_quality) == (
        -21_600,
        "America/Chicago",
        "archive",
        "offset_assumed",
    )
    assert sessions(SECTIONS, "America/Chicago")[0].time == sessions(SECTIONS)[0].time


def test_a_date_without_a_clock_is_a_date_only() -> None:
    time = sessions(ROWS.replace("9:15 AM", "n/a"), "America/Chicago")[0].time
    assert (time.started_at_as_recorded, time.started_at_local, time.started_at_utc, time.time_quality) == (
        "02/03/2026",
        datetime(2026, 2, 3),
        None,
        "date_only",
    )


def test_a_day_that_does_not_exist_is_refused() -> None:
    assert str(the_problem(SECTIONS.replace("third", "full").replace("03.02.2026", "31.02.2026"))) == (
        "test.csv, row 6, column 'Started': found '31.02.2026 10:42'; "
        "expected a time that exists, written DD.MM.YYYY hh:mm. Correct the cell in the source."
    )


def test_a_time_of_another_form_is_refused() -> None:
    found = the_problem(ROWS.replace("02/03/2026", "2026-02-03"))
    assert (found.code, found.place, found.expected) == (
        "time-form",
        Place("test.csv", 2, "Test date"),
        "a time written MM/DD/YYYY",
    )


def test_an_hour_that_clocks_skip_is_refused() -> None:
    assert str(the_problem(ROWS.replace("02/03/2026,9:15 AM", "03/08/2026,2:30 AM"), "America/Chicago")) == (
        "test.csv, row 2, column 'Test time': found '03/08/2026 2:30 AM', an hour that clocks in America/Chicago skip "
        "on that day; expected a time that exists. Correct the time in the source, or the time zone of the archive."
    )


def test_an_hour_that_clocks_repeat_is_asked_for_this_file_alone() -> None:
    text = ROWS.replace("11/01/2026,12:15 PM", "11/01/2026,1:30 AM")
    held = taken(text, "America/Chicago")
    assert (held.state, held.mapped.sessions) == ("held", ())
    (question,) = held.mapped.questions
    assert question.subject == "Which of the two times 11/01/2026 1:30 AM in row 3 is meant?"
    assert question.place == Place("test.csv", 3, "Test time")
    assert question.scopes == ("file",)
    assert [(choice.value, choice.consequence) for choice in question.choices] == [
        ("first", "the test began at 2026-11-01T06:30:00Z"),
        ("second", "the test began at 2026-11-01T07:30:00Z"),
    ]
    first, second = (
        taken(text, "America/Chicago", (_answer(question.question_id, value),)) for value in ("first", "second")
    )
    (began, later) = (outcome.mapped.sessions[1].time.started_at_utc for outcome in (first, second))
    assert began == datetime(2026, 11, 1, 6, 30, tzinfo=UTC)
    assert later is not None
    assert later - began == timedelta(hours=1)
    (other,) = taken(text + SECOND.replace("12:15 PM", "3:00 PM") + "\n", "America/Chicago").mapped.questions
    assert other.question_id != question.question_id


def _answer(question_id: str, value: str) -> Answer:
    return Answer(question_id, value, "file", "qq", datetime(2026, 3, 1, tzinfo=UTC))


# what is refused


@pytest.mark.parametrize(
    ("old", "new", "text"),
    [
        (
            "2100",
            "12x",
            "test.csv, row 2, column 'Fan flow (cfm)': found '12x'; expected a number with a decimal point. "
            f"Correct the cell. {MISSING_CURE}",
        ),
        (
            "-50.2",
            "NaN",
            "test.csv, row 2, column 'House pressure (Pa)': found 'NaN'; expected a number with a decimal point. "
            f"Correct the cell. {MISSING_CURE}",
        ),
        (
            "2100",
            '"1,505"',
            "test.csv, row 2, column 'Fan flow (cfm)': found '1,505'; "
            "expected a number with a decimal point and no thousands mark, as the plugin states. "
            "Correct the cell, or state in the plugin's layout what its marks mean.",
        ),
        (
            "14000",
            "-14000",
            "test.csv, row 2, column 'Volume (cu ft)': found '-14000'; "
            "expected inside volume of the tested space: a number greater than 0 cu ft. "
            "Correct the cell in the source, or the unit or the field that the plugin states for it.",
        ),
        (
            "68,32",
            "68,999",
            "test.csv, row 2, column 'Outdoor (F)': found '999'; "
            "expected air temperature outdoors: a number less than 140 °F. "
            "Correct the cell in the source, or the unit or the field that the plugin states for it. "
            f"{MISSING_CURE}",
        ),
    ],
    ids=["letter in a number", "NaN", "two readings of a mark", "negative volume", "999 for missing"],
)
def test_a_cell_that_cannot_be_right_refuses_the_file(old: str, new: str, text: str) -> None:
    assert str(the_problem(ROWS.replace(old, new, 1))) == text


def test_a_row_of_totals_as_wide_as_the_table_is_refused() -> None:
    assert str(the_problem(ROWS + "Total,,,,,,,,,,3600,26000,,,,,,\n")) == (
        "test.csv, row 4, column 'House': found ''; expected a value in every row. "
        "Fill in the cell; if the row is a mean, a total or a footer, remove it."
    )


def test_a_negative_spread_within_a_point_is_located() -> None:
    found = next(p for p in problems(SECTIONS.replace("30,1;0,8", "30,1;-0,8")) if p.blocks != "note")
    assert (found.code, found.place, found.found) == ("value-refused", Place("test.csv", 36, "Spread"), "'-0,8'")


def test_problems_of_many_rows_are_counted_and_listed_together() -> None:
    found = problems(ROWS.replace("2100", "x").replace("1500,12000", "y,12000").replace("1750", "z"))
    assert [(p.code, p.place.row, p.place.column, p.count) for p in found] == [
        ("not-a-number", 2, "Fan flow (cfm)", 2),
        ("not-a-number", 2, "Floor area (sq ft)", 1),
    ]


def test_over_range_leaves_out_one_value_and_keeps_the_rest() -> None:
    outcome = taken(ROWS.replace("2100", "OL"))
    assert [(p.code, p.blocks, p.place) for p in outcome.mapped.problems] == [
        ("over-range", "cell", Place("test.csv", 2, "Fan flow (cfm)"))
    ]
    (reading,) = outcome.mapped.sessions[0].runs[0].points[0].fan_readings
    assert reading == FanReading(fan_id="1", fan_configuration="plate 2")


def test_a_missing_column_is_named_with_what_the_header_holds() -> None:
    cut = "".join(",".join(line.split(",")[:10] + line.split(",")[11:]) + "\n" for line in ROWS.splitlines())
    assert str(the_problem(cut)) == (
        "test.csv, row 1, column 'Fan flow (cfm)': found a header that holds 'Job number', 'House', 'Stage', "
        "'Test date', 'Test time', 'Crew', 'Contractor', 'Baseline (Pa)', 'House pressure (Pa)', 'Fan setting', "
        "'Volume (cu ft)', 'Floor area (sq ft)', 'Indoor (F)', 'Outdoor (F)', 'Wind', 'Leakage at 50 Pa (cfm)', "
        "'Remarks'; expected the column 'Fan flow (cfm)'. "
        "Export with this column, or correct its name in the header."
    )


def test_a_run_without_points_and_a_file_without_runs_are_refused() -> None:
    start, end = SECTIONS.index("Point;", SECTIONS.index("[Depress")), SECTIONS.index("[Result]")
    found = [p for p in problems(SECTIONS[:start] + SECTIONS[end:]) if p.blocks != "note"]
    assert [(p.code, p.found) for p in found] == [("table-missing", "no table in section [Depressurisation]")]
    none = SECTIONS[: SECTIONS.index("[Press")] + SECTIONS[end:]
    assert [(p.code, p.found) for p in problems(none)] == [("table-missing", "no table")]


def test_a_key_that_comes_twice_is_refused() -> None:
    found = the_problem(SECTIONS.replace("House;H-1", "House;H-1\nHouse;H-2"))
    assert (found.code, found.place, found.found) == (
        "key-twice",
        Place("test.csv", 5, "House"),
        "the key a second time, after row 4",
    )


def test_an_opening_calibrated_twice_is_refused() -> None:
    found = [p for p in problems(SECTIONS.replace("half;171,0", "full;171,0")) if p.blocks != "note"]
    assert [(p.code, p.place) for p in found] == [("calibration-twice", Place("test.csv", 30, "Opening"))]


@pytest.mark.parametrize(
    ("unit", "code", "found"),
    [
        ("m²", "unit-dimension", "the unit 'm²', which measures something else"),
        ("M3", "unit-unknown", "the unit 'M3'"),
    ],
)
def test_a_unit_that_cannot_be_right_is_refused(unit: str, code: str, found: str) -> None:
    problem = next(p for p in problems(SECTIONS.replace("412,5;m³", f"412,5;{unit}")) if p.blocks != "note")
    assert (problem.code, problem.place, problem.found) == (code, Place("test.csv", 14, "Volume"), found)


def test_a_unit_in_the_row_below_the_header_is_checked_too() -> None:
    problem = next(p for p in problems(SECTIONS.replace(";m³/h;;Pa;kg/m³", ";m³/h;;m;kg/m³")) if p.blocks != "note")
    assert (problem.code, problem.place) == ("unit-dimension", Place("test.csv", 28, "Least fan pressure"))


def test_other_units_give_the_same_session() -> None:
    other = SECTIONS.replace("1009,5;hPa", "100,95;kPa").replace("540;cm", "5,4;m").replace("20,5;°C", "293,65;K")
    (session,), (plain,) = sessions(other), sessions(SECTIONS)
    assert session.conditions.model_dump() == pytest.approx(plain.conditions.model_dump())
    assert session.building.model_dump() == pytest.approx(plain.building.model_dump())


@pytest.mark.parametrize(
    ("old", "new", "code", "row"),
    [
        ("2,-2.31", "0.5,-2.31", "time-step-back", 12),
        ("1,OL", "0,OL", "time-step-back", 11),
        ("1,OL", ",OL", "time-missing", 11),
    ],
)
def test_a_log_of_uneven_steps_is_refused(old: str, new: str, code: str, row: int) -> None:
    more = LOG + "".join(f"{second},-1,-1,20,3\n" for second in range(3, 8))
    found = [p for p in problems(more.replace("\n" + old, "\n" + new)) if p.blocks == "session"]
    assert (found[0].code, found[0].place) == (code, Place("test.csv", row, "elapsed s"))


@pytest.mark.parametrize("times", [(2, 1, 0), (0, 0, 0), (7, 7, 7)])
def test_a_log_that_runs_evenly_but_not_forward_is_refused(times: tuple[int, ...]) -> None:
    head = LOG[: LOG.index("0,-1.84")]
    found = the_problem(head + "".join(f"{second},-1,-1,20,3\n" for second in times))
    assert (found.code, found.place, found.count) == ("time-step-back", Place("test.csv", 11, "elapsed s"), 2)


def test_a_gap_says_between_which_times() -> None:
    more = LOG + "".join(f"{second},-1,-1,20,3\n" for second in (3, 4, 9, 10, 11))
    (found,) = [p for p in problems(more) if p.blocks == "session"]
    assert str(found) == (
        "test.csv, row 15, column 'elapsed s': found 9 s after 4 s; "
        "expected steps of 1 s throughout, as between most rows. "
        "Export the log again, whole; or give each stretch without a gap a file of its own."
    )


def test_an_even_log_may_begin_late_and_step_in_tenths() -> None:
    rows = "".join(f"{5 + step / 10:.1f},-1,-1,20,3\n" for step in range(4000))
    (session,) = sessions(LOG[: LOG.index("0,-1.84")] + rows)
    channel = session.channels[0]
    assert (channel.start_s, channel.interval_s, channel.sample_count) == (5.0, 0.1, 4000)


@given(
    st.sampled_from([ROWS.encode(), SECTIONS.encode(), SECTIONS.encode("cp1252"), LOG.encode()]),
    st.lists(st.tuples(st.integers(0, 1500), st.integers(0, 12), st.binary(max_size=6)), min_size=1, max_size=4),
    st.sampled_from([None, "Europe/Berlin"]),
)
def test_no_file_whatever_ends_in_a_traceback_or_half_imported(
    data: bytes, edits: list[tuple[int, int, bytes]], zone: str | None
) -> None:
    for at, length, piece in edits:
        data = data[:at] + piece + data[at + length :]
    outcome = taken(data, zone)
    assert bool(outcome.mapped.sessions) == (outcome.state == "imported")
    assert outcome.state == "imported" or outcome.mapped.problems or outcome.mapped.questions
    assert outcome.state == "imported" or outcome.mapped.traces == ()


# what is asked


def test_a_word_that_the_plugin_does_not_know_is_asked_once_for_the_layout() -> None:
    held = taken(ROWS.replace("test-in", "final").replace("test-out", "final"))
    assert held.state == "held"
    (question,) = held.mapped.questions
    assert (question.subject, question.why, question.place) == (
        "What does 'final' mean in 'Stage'?",
        "The plugin knows 'test-in', 'test-out', 'interim', 'inspection'. "
        "Correct the source, or add the code to the plugin, and import again.",
        Place("test.csv", 2, "Stage"),
    )
    assert [choice.value for choice in question.choices] == ["before", "interim", "after", "inspection", "absent"]
    (other,) = taken(ROWS.replace("test-in", "final")).mapped.questions
    assert other.question_id == question.question_id
    done = taken(ROWS.replace("test-in", "final"), answers=(_answer(question.question_id, "after"),))
    assert done.mapped.sessions[0].record.stage == "after"
    left = taken(ROWS.replace("test-in", "final"), answers=(_answer(question.question_id, "absent"),))
    assert (left.state, left.mapped.sessions[0].record.stage) == ("imported", None)


def test_an_answer_that_is_no_choice_does_not_count() -> None:
    text = ROWS.replace("test-in", "final")
    (question,) = taken(text).mapped.questions
    assert taken(text, answers=(_answer(question.question_id, "whatever"),)).state == "held"


def test_a_word_for_the_wind_is_asked_as_a_band() -> None:
    (question,) = taken(ROWS.replace("breezy", "gusty")).mapped.questions
    assert [choice.value for choice in question.choices] == ["0-1", "1-2", "3-4", "5-7", "absent"]
    done = taken(ROWS.replace("breezy", "gusty"), answers=(_answer(question.question_id, "5-7"),))
    conditions = done.mapped.sessions[0].conditions
    assert (conditions.wind_as_recorded, conditions.wind_beaufort_low, conditions.wind_beaufort_high) == ("gusty", 5, 7)


def test_a_unit_that_the_file_does_not_write_is_asked() -> None:
    text = SECTIONS.replace("412,5;m³", "412,5")
    (question,) = taken(text).mapped.questions
    assert question.subject == "Which unit has 'Volume' in section [House]?"
    assert [(choice.value, choice.consequence) for choice in question.choices] == [
        ("m3", "'412,5' is read in m3"),
        ("ft3", "'412,5' is read in ft3"),
    ]
    done = taken(text, answers=(_answer(question.question_id, "ft3"),))
    assert done.mapped.sessions[0].building.volume_m3 == pytest.approx(412.5 * 0.3048**3)


def test_a_value_that_is_missing_needs_no_unit() -> None:
    (session,) = sessions(SECTIONS.replace("412,5;m³", ""))
    assert session.building.volume_m3 is None


def test_signs_against_the_heading_are_asked() -> None:
    text = SECTIONS.replace("1;-60;-60,3", "1;60;60,3")
    (question,) = taken(text).mapped.questions
    assert question.subject == (
        "Section [Depressurisation] holds only envelope pressures above zero. Which is right, the heading or the signs?"
    )
    heading = taken(text, answers=(_answer(question.question_id, "heading"),)).mapped.sessions[0].runs[1]
    assert (heading.direction, heading.baseline_before_pressure_pa, heading.points[0].envelope_pressure_pa) == (
        "depressurisation",
        1.35,
        -60.3,
    )
    signs = taken(text, answers=(_answer(question.question_id, "signs"),)).mapped.sessions[0].runs[1]
    assert (signs.direction, signs.baseline_before_pressure_pa, signs.points[0].envelope_pressure_pa) == (
        "pressurisation",
        -1.35,
        60.3,
    )


def test_a_problem_that_blocks_goes_before_a_question() -> None:
    outcome = taken(ROWS.replace("test-in", "final").replace("2100", "x"))
    assert (outcome.state, len(outcome.mapped.questions), outcome.mapped.sessions) == ("refused", 1, ())
