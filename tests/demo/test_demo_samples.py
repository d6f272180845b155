"""The plugins' samples: the same bytes each time, and sessions that the form takes as they stand."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from interchange.demo import samples
from interchange.model.document import as_document, load
from interchange.resources import shipped

PLUGINS = shipped("plugins")
EXPECTED = sorted(PLUGINS.glob("*/samples/*.expected.json"))
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
OURS = {
    "one-row-a-test/samples/eight-tests",
    "sectioned-points/samples/both-directions",
    "sectioned-points/samples/little",
    "wide-log-two-lines/samples/half-a-minute",
}


def expected(name: str) -> dict:
    return json.loads((PLUGINS / f"{name}.expected.json").read_text(encoding="utf-8"))


def test_making_the_samples_again_gives_the_checked_in_bytes(tmp_path):
    # remake with: python -m interchange.demo demo_archive plugins
    samples(tmp_path)
    made = {path.relative_to(tmp_path): path.read_bytes() for path in tmp_path.rglob("*") if path.is_file()}
    assert set(made) == {Path(f"{name}{end}") for name in OURS for end in (".csv", ".expected.json")}
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
