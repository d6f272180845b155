"""From text to sessions: where each value goes, what is the same session, and what is refused or asked."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st
from reading_inputs import LOG, ROWS, SECTIONS, plugin, problems, sessions, source, taken, the_problem

from interchange.model.document import as_document, session_id
from interchange.model.session import FanReading, Kept, Session

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
        "companions": (),
        "answers_used": (),
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
        SECTIONS.replace("Height;540;cm", "Letterboxes;2\nHeight;540;cm")
        .replace(
            "Point;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow\n;Pa;Pa;Pa;s;;Pa;m³/h\n1;50",
            "Point;Note;Target;Envelope;Spread;Seconds;Opening;Fan pressure;Flow\n;;Pa;Pa;Pa;s;;Pa;m³/h\n1;gusty;50",
        )
        .replace("2;30;", "2;;30;")
    )
    (session,) = sessions(text + "[Birds]\nSeen;3\nSeen;4\n")
    assert session.kept == (
        Kept(
            kept_section="House",
            kept_name="Letterboxes",
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
            kept_section="Birds",
            kept_name="Seen",
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
