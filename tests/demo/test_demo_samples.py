"""The plugins' samples: the same bytes each time, and sessions that the form takes as they stand."""

from __future__ import annotations

from pathlib import Path

import pytest
from plain_samples import COMPANIONS, CP1252, OURS, PLUGINS, expected

from interchange.demo import samples
from interchange.model.document import as_document, load

SOURCE = {
    "source_name": "made.csv",
    "source_sha256": "0" * 64,
    "source_size_bytes": 1,
    "source_encoding": "utf-8",
    "source_place": "file",
    "plugin_id": "none",
    "plugin_version": "1",
    "plugin_fingerprint": "none",
}


def test_making_the_samples_again_gives_the_checked_in_bytes(tmp_path):
    # remake with: python -m interchange.demo demo_archive plugins
    samples(tmp_path)
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    own = {Path(f"{name}{end}") for name in OURS for end in (".csv", ".expected.json")}
    assert set(made) == own | {Path(f"{name}.csv") for name in COMPANIONS}
    assert made == {path: (PLUGINS / path).read_bytes() for path in made}


@pytest.mark.parametrize("name", sorted(OURS))
def test_expected_sessions_are_documents_of_the_form(name):
    for session in expected(name)["sessions"]:
        given = {key: value for key, value in session.items() if key != "source_place"}
        whole = {**given, "session_id": "none", "source": {**SOURCE, "source_place": session["source_place"]}}
        assert as_document(load(whole, name)) == whole


def test_a_row_of_the_sheet_by_hand():
    # 0042: 1520 cfm x 1.699010796, 68 °F = 20 °C, 12,430 cu ft x 0.028316846592, 1485 sq ft x 0.09290304
    session = expected("one-row-a-test/samples/eight-tests")["sessions"][0]
    assert session["record"] == {
        "contractor": "Ostrel Retrofit",
        "crew": "A1",
        "job_id": "0042",
        "site_id": "0007",
        "stage": "before",
    }
    assert session["time"] == {
        "started_at_as_recorded": "02/03/2026 9:15 AM",
        "started_at_local": "2026-02-03T09:15:00",
    }
    assert session["building"] == {
        "volume_m3": pytest.approx(351.978403, abs=1e-6),
        "floor_area_m2": pytest.approx(137.961014, abs=1e-6),
    }
    assert session["conditions"]["indoor_temperature_c"] == 20.0
    assert session["conditions"]["outdoor_temperature_c"] == pytest.approx(35 / 9, rel=1e-15)
    assert session["runs"][0]["points"][0]["fan_readings"][0]["flow_m3_h"] == pytest.approx(2582.49641, abs=1e-5)
    assert session["kept"][0]["kept_first"] == "attic hatch taped, ash pan out"


def test_marks_leave_values_out():
    sheet = expected("one-row-a-test/samples/eight-tests")
    over = sheet["sessions"][3]
    assert over["runs"] == [
        {
            "run_number": 1,
            "points": [
                {
                    "fan_readings": [
                        {
                            "fan_id": "1",
                            "fan_configuration": "full",
                            "flow_m3_h": pytest.approx(1490 * 1.699010796, rel=1e-9),
                            "flow_basis": "indicated",
                        }
                    ]
                }
            ],
        }
    ]
    assert "baseline_before_pressure_pa" not in sheet["sessions"][2]["runs"][0]
    assert "conditions" not in sheet["sessions"][5]
    assert sheet["problems"] == ["over-range", "over-range"]  # the baseline's column and the house pressure's
    directions = [session["runs"][0].get("direction", "")[:5] for session in sheet["sessions"]]
    assert directions == ["depre", "depre", "depre", "", "press", "depre", "depre", "depre"]


def test_a_sectioned_record_by_hand():
    session = expected("sectioned-points/samples/both-directions")["sessions"][0]
    assert session["conditions"]["barometric_pressure_pa"] == 102_150.0
    assert session["fan_calibrations"][1] == {
        "fan_id": "1",
        "fan_configuration": "half",
        "fan_coefficient_m3_h": 169.8,
        "fan_exponent": 0.505,
        "reference_air_density_kg_m3": 1.204,
        "minimum_fan_pressure_pa": 15.0,
    }
    assert [run["direction"] for run in session["runs"]] == ["depressurisation", "pressurisation"]
    last = session["runs"][1]["points"][4]
    assert (last["target_pressure_pa"], last["envelope_pressure_pa"]) == (20.0, 19.6)
    assert last["fan_readings"][0]["calibration_index"] == 2
    little = expected("sectioned-points/samples/little")["sessions"][0]
    assert little["time"]["started_at_utc"] == "2026-03-05T14:30:00Z"
    assert set(little) == {"source_place", "schema_version", "kind", "record", "time", "runs"}


def test_a_log_keeps_the_place_of_what_is_missing():
    log = expected("wide-log-two-lines/samples/half-a-minute")
    values = {trace["channel_id"]: trace["values"] for trace in log["traces"]}
    assert [len(column) for column in values.values()] == [30, 30, 30, 30]
    assert [column.index(None) for column in values.values() if None in column] == [10, 15]
    assert [channel["missing_count"] for channel in log["sessions"][0]["channels"]] == [1, 1, 0, 0]
    assert log["problems"] == ["over-range"]


def test_samples_in_the_western_code_page_are_not_utf_8():
    for name in CP1252:
        with pytest.raises(UnicodeDecodeError):
            (PLUGINS / f"{name}.csv").read_bytes().decode("utf-8")


def test_every_trace_is_as_long_as_its_channel_says():
    for name in OURS:
        document = expected(name)
        said = {
            (session["source_place"], channel["channel_id"]): (
                channel["sample_count"],
                channel["missing_count"],
                channel["start_s"],
                channel["interval_s"],
            )
            for session in document["sessions"]
            for channel in session.get("channels", ())
        }
        found = {
            (trace["source_place"], trace["channel_id"]): (
                len(trace["values"]),
                trace["values"].count(None),
                trace["start_s"],
                trace["interval_s"],
            )
            for trace in document["traces"]
        }
        assert said == found, name


@pytest.mark.parametrize(
    ("plugin", "field", "words"),
    [
        ("one-row-points-across", "stage", {"before", "interim", "after", "inspection"}),
        ("one-row-points-across", "not_tested_reason", {"no_access", "declined", "weather", "hazard"}),
        ("both-directions-one-table", "stage", {"before", "interim", "after", "inspection"}),
        ("points-fan-pressure-only", "stage", {"before", "interim", "after", "inspection"}),
        ("points-with-companions", "stage", {"before", "interim", "after", "inspection"}),
        ("wide-log-one-second", "stage", {"before", "interim", "after", "inspection"}),
        ("transposed-table", "stage", {"before", "interim", "after", "inspection"}),
        ("results-ledger", "not_tested_reason", {"no_access", "declined", "hazard"}),
    ],
)
def test_every_word_of_a_list_occurs_in_a_sample(plugin, field, words):
    names = [name for name in OURS if name.startswith(f"{plugin}/")]
    records = [session["record"] for name in names for session in expected(name)["sessions"]]
    assert {record[field] for record in records if field in record} == words


@pytest.mark.parametrize(
    ("plugin", "bands"),
    [
        ("points-fan-pressure-only", {(0, 1), (1, 3), (4, 5), (6, 8)}),
        ("transposed-table", {(0, 1), (2, 3), (4, 5), (6, 8)}),
    ],
)
def test_every_word_for_the_wind_occurs_in_a_sample(plugin, bands):
    names = [name for name in OURS if name.startswith(f"{plugin}/")]
    conditions = [session.get("conditions", {}) for name in names for session in expected(name)["sessions"]]
    found = {(air["wind_beaufort_low"], air["wind_beaufort_high"]) for air in conditions if "wind_as_recorded" in air}
    assert found == bands
