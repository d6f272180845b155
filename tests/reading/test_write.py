"""The map run backwards: what a file holds reads back as it was, and what it does not hold is listed by field."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path
from typing import Any

import pyarrow as pa
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from reading_inputs import SHEET, made_plugin, plugin, plugins
from session_strategies import SESSIONS

from interchange.files import Source
from interchange.model.document import load
from interchange.model.manifest import Manifest
from interchange.model.question import Trace
from interchange.model.session import Session
from interchange.reading.companions import roles
from interchange.reading.door import read_source
from interchange.reading.registry import Plugin
from interchange.reading.write import Loss, Written, write

OWN = ("session_id", "source", "kept")
NAMES = [one.id for one in plugins()]
SAMPLES = [
    pytest.param(one, path, id=f"{one.id}/{path.stem}")
    for one in plugins()
    for path in sorted((one.folder / "samples").glob("*.csv"))
    if path.with_name(f"{path.stem}.expected.json").exists()
]


def _content(session: Session) -> dict[str, Any]:
    return {name: value for name, value in session.model_dump(exclude_none=True).items() if name not in OWN}


def _source(name: str, data: bytes) -> Source:
    return Source(name, hashlib.sha256(data).hexdigest(), len(data), data)


def _read(name: str, data: bytes, one: Plugin, beside: dict[str, bytes] | None = None) -> Any:
    files = {role: _source(role, content) for role, content in (beside or {}).items()}
    outcome = read_source(_source(name, data), [one], files=files)
    assert outcome.state == "imported", [str(problem) for problem in outcome.mapped.problems]
    return outcome.mapped


def _sample(one: Plugin, path: Path) -> Any:
    """Sessions and traces of a sample, read with its companions."""
    beside = {
        role: other.read_bytes()
        for role, companion in roles(one.manifest).items()
        if (other := path.with_name(f"{path.stem}{companion.stem_ends}{path.suffix}")).exists()
    }
    return _read(path.name, path.read_bytes(), one, beside)


def _read_again(written: Written, manifest: Manifest) -> Any:
    """All tests of the written files, and their traces."""
    ends = {companion.stem_ends: role for role, companion in roles(manifest).items()}
    mains = {name: data for name, data in written.files if not any(Path(name).stem.endswith(end) for end in ends)}
    sessions: list[Session] = []
    traces: list[Trace] = []
    for name, data in mains.items():
        stem = Path(name).stem
        beside = {ends[end]: d for n, d in written.files for end in ends if Path(n).stem == f"{stem}{end}"}
        mapped = _read(name, data, Plugin(manifest, Path()), beside)
        sessions += mapped.sessions
        traces += mapped.traces
    return sessions, traces


def _series(traces: Sequence[Trace], session: Session) -> dict[str, Any]:
    mine = [trace for trace in traces if trace.session_id == session.session_id]
    return {trace.channel_id: (trace.start_s, trace.interval_s, trace.values.to_pylist()) for trace in mine}


# samples


@pytest.mark.parametrize(("one", "path"), SAMPLES)
def test_a_sample_reads_back_as_it_was_but_for_the_losses_listed(one: Plugin, path: Path) -> None:
    mapped = _sample(one, path)
    written = write(mapped.sessions, mapped.traces, one.manifest)
    sessions, traces = _read_again(written, one.manifest)
    assert len(sessions) == len(mapped.sessions)
    for before, after in zip(mapped.sessions, sessions, strict=True):
        fields = {loss.field.split(".")[0] for loss in written.losses if loss.session_id == before.session_id}
        held, read = _content(before), _content(after)
        assert {name for name in held if held[name] != read[name]} == fields
        assert _series(traces, after) == _series(mapped.traces, before)


# baselines of several readings are held as their mean; one row cannot say of how many it is
LOSSY = {"points-fan-pressure-only"}


@pytest.mark.parametrize(("one", "path"), SAMPLES)
def test_the_layout_a_test_came_in_loses_nothing_of_it(one: Plugin, path: Path) -> None:
    mapped = _sample(one, path)
    found = write(mapped.sessions, mapped.traces, one.manifest).losses
    if one.id in LOSSY:
        assert {loss.field.rpartition(".")[2].split("_")[0] for loss in found} <= {"baseline"}
    else:
        assert found == ()


@pytest.mark.parametrize(("one", "path"), SAMPLES)
def test_what_was_read_from_a_written_file_is_written_so_again(one: Plugin, path: Path) -> None:
    mapped = _sample(one, path)
    first = write(mapped.sessions, mapped.traces, one.manifest)
    again = write(*_read_again(first, one.manifest), one.manifest)
    assert [data for _, data in again.files] == [data for _, data in first.files]


def test_samples_of_a_layout_that_fixes_all_forms_are_written_byte_by_byte() -> None:
    """Remarks and the title of the log are kept, not mapped, and so are not written."""
    sheet = plugin("one-row-a-test")
    rows = (sheet.folder / "samples/eight-tests.csv").read_bytes().decode().split("\r\n")
    without_remarks = [row.rpartition(',"' if row.endswith('"') else ",")[0] for row in rows]
    marks = {"n/a": "", "-": "", "ERR": "", "OL": ""}
    cells = [",".join(marks.get(cell, cell) for cell in row.split(",")) for row in without_remarks]
    _assert_same(sheet.manifest, "\r\n".join(cells).encode())

    record = plugin("sectioned-points")
    for name in ("both-directions", "little"):
        text = (record.folder / f"samples/{name}.csv").read_bytes()
        text = text if name == "little" else text.decode("cp1252").encode()
        _assert_same(record.manifest, text)

    log = plugin("wide-log-two-lines")
    lines = (log.folder / "samples/half-a-minute.csv").read_bytes().split(b"\n")[1:]
    _assert_same(log.manifest, b"\n".join(lines).replace(b"OL", b""))


def _assert_same(manifest: Manifest, data: bytes) -> None:
    mapped = _read("x.csv", data, Plugin(manifest, Path()))
    written = write(mapped.sessions, mapped.traces, manifest)
    assert written.losses == ()
    assert written.files[0][1].decode() == data.decode()


# any session at all


def _assert_losses_are_what_differs(written: Written, sessions: Sequence[Session], manifest: Manifest) -> None:
    by_session: dict[str, list[str]] = {}
    for loss in written.losses:
        by_session.setdefault(loss.session_id, []).append(loss.field)
    seen: dict[str | None, int] = {}
    order: list[tuple[int, Session]] = []
    for session in sessions:  # tests of one number have a file each, where a number tells the tests of a file apart
        job_id = session.record.job_id if any(getattr(block, "session_by", ()) for block in manifest.block) else ""
        seen[job_id] = seen.get(job_id, -1) + 1
        order.append((seen[job_id] if job_id != "" else 0, session))
    held = [session for _, session in sorted(order, key=lambda pair: pair[0])]
    held_at_all = [session for session in held if "" not in by_session.get(session.session_id, [])]
    again, _ = _read_again(written, manifest)
    assert len(again) == len(held_at_all)
    for session, other in zip(held_at_all, again, strict=True):
        fields = by_session.get(session.session_id, [])
        assert len(set(fields)) == len(fields)
        content, read = _content(session), _content(other)
        for group, value in content.items():
            if not isinstance(value, dict):
                differs = value != read[group]
                assert differs == any(field.split(".")[0] == group for field in fields), (group, value, read[group])
                continue
            for field in value | read[group]:
                same = value.get(field) == read[group].get(field)
                of_the_archive = value.get("time_zone_from") == "archive" and field not in read[group]
                listed = f"{group}.{field}" in fields
                assert same != listed or (of_the_archive and not listed), (group, field)


@pytest.mark.parametrize("name", NAMES)
@given(session=SESSIONS)
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
def test_of_any_session_every_field_that_differs_is_a_loss(name: str, session: Session) -> None:
    manifest = plugin(name).manifest
    _assert_losses_are_what_differs(write([session], [], manifest), [session], manifest)


@pytest.mark.parametrize("name", NAMES)
def test_of_the_samples_of_all_layouts_every_field_that_differs_is_a_loss(name: str) -> None:
    manifest = plugin(name).manifest
    whole = 0
    for sample in SAMPLES:
        mapped = _sample(*sample.values)
        written = write(mapped.sessions, mapped.traces, manifest)
        _assert_losses_are_what_differs(written, mapped.sessions, manifest)
        whole += len(mapped.sessions) - len({loss.session_id for loss in written.losses if loss.field == ""})
    assert whole > 1  # tests of other layouts, too, have a place in this one


# sessions that a layout can hold

WORDS = (
    st.text("abÄz09 ;,|'\"=+-@#[]{}", min_size=1, max_size=12)
    .map(str.strip)
    .filter(lambda text: text not in ("", "n/a", "-") and not text.startswith("'"))
)
CLOCKS = st.datetimes(datetime(1990, 1, 1), datetime(2090, 1, 1)).map(
    lambda when: when.replace(second=0, microsecond=0)
)
FIGURES = st.integers(1, 99_999).map(lambda count: count / 100)


def _session(**parts: Any) -> Session:
    document = {
        "schema_version": 1,
        "session_id": "a1",
        "source": {
            "source_name": "x",
            "source_sha256": "0" * 64,
            "source_size_bytes": 1,
            "source_encoding": "utf-8",
            "source_place": "file",
            "plugin_id": "x",
            "plugin_version": "1.0.0",
            "plugin_fingerprint": "x",
        },
    }
    return load({**document, **parts}, "x")


@st.composite
def _records(draw: Any) -> Session:
    """Sessions within what sections of points can hold."""
    when, offset = draw(CLOCKS), draw(st.integers(-12 * 4, 12 * 4)) * 900
    utc = when.replace(tzinfo=timezone(timedelta(seconds=offset))).astimezone(UTC)
    runs = []
    for number, direction in enumerate(draw(st.permutations(["depressurisation", "pressurisation"])), 1):
        sign = -1.0 if direction == "depressurisation" else 1.0
        points = [
            {
                "point_number": position,
                "envelope_pressure_pa": sign * draw(st.floats(1, 499)),
                "baseline_removed": False,
                "fan_readings": [
                    {
                        "fan_id": "1",
                        "fan_configuration": draw(WORDS),
                        "flow_m3_h": draw(st.floats(0, 1e6)),
                        "flow_basis": "indicated",
                    }
                ],
            }
            for position in range(1, draw(st.integers(1, 4)) + 1)
        ]
        runs.append({"run_number": number, "direction": direction, "points": points})
    return _session(
        kind="multi_point",
        record={"job_id": draw(WORDS), "crew": draw(WORDS), "stage": draw(st.sampled_from(["before", "after"]))},
        time={
            "started_at_as_recorded": f"{when:%d.%m.%Y %H:%M}",
            "started_at_local": when.isoformat(),
            "started_at_utc": utc.isoformat(),
            "utc_offset_s": offset,
            "time_zone_from": "source",
            "time_quality": "exact",
        },
        building={"volume_m3": draw(st.floats(1e-9, 1e9)), "elevation_m": draw(st.floats(-1e4, 1e4))},
        conditions={"barometric_pressure_pa": draw(st.floats(30_001, 119_999))},
        runs=runs,
    )


@given(session=_records())
@settings(max_examples=60, deadline=None)
def test_sections_hold_any_value_to_its_last_digit(session: Session) -> None:
    manifest = plugin("sectioned-points").manifest
    written = write([session], [], manifest)
    assert written.losses == ()
    ((again,), _) = _read_again(written, manifest)
    assert _content(again) == _content(session)


@st.composite
def _sheet_rows(draw: Any) -> str:
    cells = [
        draw(st.from_regex(r"[0-9]{1,6}", fullmatch=True)),
        "H1",
        draw(st.sampled_from(["test-in", "test-out", "interim", ""])),
        *(draw(CLOCKS).strftime("%m/%d/%Y|%I:%M %p").split("|")),
        "C",
        "D",
        *(str(draw(st.integers(-9000, 9000)) / 100) for _ in range(2)),
        "plate",
        *(str(draw(FIGURES)) for _ in range(3)),
        *(str(draw(st.integers(-300, 1100)) / 10) for _ in range(2)),
        draw(st.sampled_from(["calm", "light", "breezy", "windy", ""])),
        str(draw(FIGURES)),
    ]
    return ",".join(cells)


HEAD = "Job number,House,Stage,Test date,Test time,Crew,Contractor,Baseline (Pa),House pressure (Pa),Fan setting,"
HEAD += "Fan flow (cfm),Volume (cu ft),Floor area (sq ft),Indoor (F),Outdoor (F),Wind,Leakage at 50 Pa (cfm)\n"


@given(rows=st.lists(_sheet_rows(), min_size=1, max_size=4))
@settings(max_examples=60, deadline=None)
def test_numbers_in_other_units_come_back_as_they_stood(rows: list[str]) -> None:
    """Feet, cubic fahrenheit a minute and degrees Fahrenheit: the shortest text that reads as the same value."""
    one = plugin("one-row-a-test")
    data = (HEAD + "\n".join(rows) + "\n").encode()
    mapped = _read("x.csv", data, one)
    written = write(mapped.sessions, [], one.manifest)
    assert written.losses == ()
    cells = [row.split(",") for row in written.files[0][1].decode().splitlines()[1:]]
    for row, wrote in zip(rows, cells, strict=True):
        for text, other in zip(row.split(",")[7:], wrote[7:], strict=True):
            assert other == text or float(other) == float(text)
            assert len(other) <= len(text)


@given(
    values=st.lists(st.one_of(st.none(), st.floats(-499, 499)), min_size=2, max_size=20),
    step=st.sampled_from([0.1, 0.25, 1.0, 60.0]),
)
@settings(max_examples=60, deadline=None)
def test_a_log_holds_its_values_and_their_times(values: list[float | None], step: float) -> None:
    channel = {"channel_id": "line A", "quantity": "envelope_pressure_pa", "line_id": "A", "gauge_id": "1"}
    counts = {"start_s": 5.0, "interval_s": step, "sample_count": len(values), "missing_count": values.count(None)}
    others = [
        {"channel_id": "line B", "quantity": "envelope_pressure_pa", "line_id": "B", "gauge_id": "1", **counts},
        {"channel_id": "indoor", "quantity": "indoor_temperature_c", **counts},
        {"channel_id": "wind", "quantity": "wind_speed_m_s", **counts},
    ]
    lines = [{"line_id": name, "arrangement": "branched", "arrangement_as_recorded": "branched"} for name in "AB"]
    gauges = [{"gauge_id": "1", "gauge_serial": "G"}]
    channels = [channel | counts, *others]
    session = _session(kind="monitoring", gauges=gauges, reference_lines=lines, channels=channels)
    kept = [value if value is None else abs(value) / 10 for value in values]
    columns = {"line A": values, "line B": values, "indoor": kept, "wind": kept}
    traces = [Trace("a1", name, 5.0, step, None, pa.array(one, pa.float64())) for name, one in columns.items()]
    manifest = plugin("wide-log-two-lines").manifest
    written = write([session], traces, manifest)
    assert written.losses == ()
    (again,), found = _read_again(written, manifest)
    assert _series(found, again) == _series(traces, session)


# what is lost, and why


def _losses(session: Session, name: str) -> dict[str, tuple[str, str]]:
    found = write([session], [], plugin(name).manifest).losses
    return {loss.field: (loss.value, loss.why) for loss in found}


def test_each_loss_says_what_and_why() -> None:
    readings = [{"fan_id": "1", "fan_pressure_pa": 20.0}, {"fan_id": "2", "flow_m3_h": 9.0}]
    points = [{"envelope_pressure_pa": -50.0, "fan_readings": readings}, {"envelope_pressure_pa": -40.0}]
    session = _session(
        kind="single_point",
        record={"job_id": "n/a", "site_id": "H1", "crew": "two\nlines", "tester": "qq"},
        conditions={"wind_as_recorded": "fresh", "wind_beaufort_low": 5, "wind_beaufort_high": 5},
        building={"volume_m3": 3.0000000000000004},
        runs=[
            {"run_number": 1, "direction": "depressurisation", "points": points},
            {"run_number": 2, "direction": "pressurisation", "points": points},
        ],
    )
    found = _losses(session, "one-row-a-test")
    assert found["record.job_id"] == ("n/a", "the layout reads this text as no value")
    assert found["record.crew"] == ("two\nlines", "a line break cannot stand in a cell")
    assert found["record.tester"] == ("qq", "no column or key of the layout takes it")
    assert found["conditions.wind_as_recorded"] == ("fresh", "no word of 'Wind' in the layout says so")
    assert found["runs.0.points.0.fan_readings.0"] == ("2 values", "the layout has no place for it")
    assert found["runs.1"] == ("8 values", "the layout holds one run a test")
    assert found["runs.0.points.1"] == ("1 value", "the layout has no place for a further point")
    assert found["runs.0.points.0.baseline_removed"] == ("", "the layout says of its own: False")


def test_what_no_word_of_the_layout_says_is_not_turned_into_something_else() -> None:
    """A weather record is no test of an envelope, and a sheet of tests has no row for it."""
    weather = _session(kind="weather", record={"site_id": "H1", "job_id": "J1"})
    for name in ("one-row-a-test", "one-row-points-across", "results-ledger"):
        (loss,) = write([weather], [], plugin(name).manifest).losses
        assert loss.field == ""
    (loss,) = write([weather], [], plugin("one-row-a-test").manifest).losses
    assert loss.why == "the layout would make single point of weather"


def test_points_without_a_number_are_counted_where_the_layout_needs_one() -> None:
    points = [{"envelope_pressure_pa": -50.0, "baseline_removed": False}]
    run = {"run_number": 1, "points": points, "direction": "depressurisation"}
    written = write([_session(kind="single_point", runs=[run])], [], plugin("sectioned-points").manifest)
    assert [(loss.field, loss.why) for loss in written.losses] == [
        ("runs.0.points.0.point_number", "the layout says of its own: 1")
    ]


def test_tests_of_one_number_have_a_file_each_where_the_number_tells_them_apart() -> None:
    run = {"run_number": 1, "points": [{"point_number": 1, "fan_readings": []}], "direction": "pressurisation"}
    tests = [_session(kind="single_point", record={"job_id": "J", "site_id": site}, runs=[run]) for site in ("A", "B")]
    written = write(tests, [], plugin("both-directions-one-table").manifest)
    assert [name for name, _ in written.files] == ["both-directions-one-table.csv", "both-directions-one-table-2.csv"]
    assert written.losses == ()


def test_a_test_that_would_spoil_the_file_is_left_out_and_the_others_are_written() -> None:
    good = _session(kind="single_point", record={"site_id": "H1"})
    bad = _session(kind="single_point", record={"job_id": "J9"}).model_copy(update={"session_id": "b2"})
    written = write([good, bad], [], plugin("one-row-a-test").manifest)
    (loss,) = [loss for loss in written.losses if loss.field == ""]
    assert loss.session_id == "b2" and loss.value == "J9"
    assert loss.why.startswith("the file could not be read: ") and "column 'House'" in loss.why
    assert len(written.files[0][1].splitlines()) == 2


def test_a_heading_against_the_signs_is_refused_as_a_whole() -> None:
    points = [{"point_number": 1, "envelope_pressure_pa": 50.0}]
    run = {"run_number": 1, "direction": "depressurisation", "points": points}
    (loss,) = write([_session(kind="multi_point", runs=[run])], [], plugin("sectioned-points").manifest).losses
    assert loss.field == "" and "Which is right, the heading or the signs?" in loss.why


def test_a_time_known_by_the_archives_zone_is_no_loss_where_the_layout_writes_the_clock() -> None:
    time = {
        "started_at_as_recorded": "02/03/2026 9:15 AM",
        "started_at_local": "2026-02-03T09:15:00",
        "started_at_utc": "2026-02-03T14:15:00Z",
        "utc_offset_s": -18000,
        "time_zone": "America/New_York",
        "time_zone_from": "archive",
        "time_quality": "offset_assumed",
    }
    session = _session(kind="single_point", record={"site_id": "H1"}, time=time)
    written = write([session], [], plugin("one-row-a-test").manifest)
    assert written.losses == ()
    assert b"02/03/2026,9:15 AM" in written.files[0][1]
    own = write([session], [], plugin("sectioned-points").manifest)
    assert [loss.field for loss in own.losses] == [""]  # no points


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+2", "'=1+2"),
        ("@cmd", "'@cmd"),
        ("+x", "'+x"),
        ("-5", "-5"),
        ("+3,5", "+3,5"),
        ("'=x", "''=x"),
        ("'x", "'x"),
    ],
)
def test_text_like_a_formula_gets_an_apostrophe_and_loses_it_again(text: str, cell: str) -> None:
    one = made_plugin(SHEET.replace('delimiter = ","', 'delimiter = ";"'))
    written = write([_session(kind="single_point", record={"job_id": text})], [], one.manifest)
    assert written.losses == ()
    assert written.files[0][1].decode().splitlines()[1] == f"{cell};"


def test_magnitudes_and_reversed_signs_are_written_as_the_layout_has_them() -> None:
    reversed_ = SHEET.replace('sign = "as_recorded"', 'sign = "reversed"')
    run = {"run_number": 1, "direction": "depressurisation", "points": [{"envelope_pressure_pa": -50.5}]}
    session = _session(kind="single_point", record={"job_id": "1"}, runs=[run])
    written = write([session], [], made_plugin(reversed_).manifest)
    assert (written.losses, written.files[0][1]) == ((), b"Nr,P\n1,50.5\n")


def test_a_number_that_reads_as_a_mark_is_written_otherwise() -> None:
    marked = SHEET.replace('decimal_mark = "."', 'decimal_mark = "."\nmissing = ["", "-99"]')
    run = {"run_number": 1, "direction": "depressurisation", "points": [{"envelope_pressure_pa": -99.0}]}
    session = _session(kind="single_point", record={"job_id": "1"}, runs=[run])
    written = write([session], [], made_plugin(marked).manifest)
    assert (written.losses, written.files[0][1]) == ((), b"Nr,P\n1,-99.0\n")


def test_digits_that_no_text_brings_back_are_a_loss() -> None:
    degrees = '{ name = "T", to = "indoor_temperature_c", unit = "F", required = false }'
    fahrenheit = SHEET.replace("columns = [", f"columns = [\n    {degrees},")
    manifest = made_plugin(fahrenheit).manifest
    found: list[Loss] = []
    for tenth in range(200, 230):
        session = _session(kind="single_point", record={"job_id": "1"}, conditions={"indoor_temperature_c": tenth / 10})
        found += write([session], [], manifest).losses
    assert found and {loss.why for loss in found} == {"no number in the unit of the layout brings back its last digits"}
    assert {loss.field for loss in found} == {"conditions.indoor_temperature_c"}


def test_an_encoding_a_line_end_and_a_mark_are_those_of_the_layout() -> None:
    layout = 'encodings = ["utf-8"]\nline_end = "crlf"\nbyte_order_mark = true'
    written = write(
        [_session(kind="single_point", record={"job_id": "é"})],
        [],
        made_plugin(SHEET.replace('encodings = ["utf-8"]', layout)).manifest,
    )
    assert written.files == (("sheet.csv", b"\xef\xbb\xbfNr,P\r\n\xc3\xa9,\r\n"),)
    western = made_plugin(SHEET.replace('encodings = ["utf-8"]', 'encodings = ["cp1252"]')).manifest
    assert write([_session(kind="single_point", record={"job_id": "é"})], [], western).files[0][1] == b"Nr,P\n\xe9,\n"
    run = {"run_number": 1, "direction": "pressurisation", "points": [{"envelope_pressure_pa": 5.0}]}
    (loss,) = write([_session(kind="single_point", record={"job_id": "aж"}, runs=[run])], [], western).losses
    assert (loss.field, loss.why) == ("record.job_id", "text in cp1252 cannot hold it")
