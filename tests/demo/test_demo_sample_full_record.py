"""The samples of sectioned records that say much, worked out by hand."""

from __future__ import annotations

import pytest
from plain_samples import expected

from interchange.model import session as forms

FULL = "sectioned-points/samples/all-that-can-be-said"
OTHER = "sectioned-points/samples/other-words"
SPARSE = "sectioned-points/samples/much-not-noted"
OTHER_TEST = "other_test_as_recorded"


def session(name: str) -> dict:
    (only,) = expected(name)["sessions"]
    return only


def test_units_of_the_further_keys_by_hand():
    # 42 % = 0.42, 14.2 km = 14,200 m, 6.35 mm = 0.00635 m, 1613.5 cm² = 0.16135 m², 0.9 % = 0.009, 3.5 % = 0.035
    full = session(FULL)
    air, (gauge,), (fan,), (line,) = full["conditions"], full["gauges"], full["fans"], full["reference_lines"]
    assert (air["indoor_relative_humidity"], air["outdoor_relative_humidity"]) == (0.42, 0.875)
    assert (air["wind_distance_m"], air["wind_averaging_s"], air["wind_gust_window_s"]) == (14_200.0, 600.0, 3.0)
    assert gauge == {
        "gauge_id": "1",
        "gauge_serial": "G-0417",
        "gauge_calibrated_on": "2025-05-12",
        "gauge_calibration_due_on": "2026-05-12",
        "gauge_accuracy_pa": 0.15,
        "gauge_accuracy_ratio": 0.009,
        "gauge_resolution_pa": 0.1,
    }
    assert (fan["fan_accuracy_ratio"], fan["fan_calibration_due_on"]) == (0.035, "2027-06-02")
    assert (line["line_bore_m"], line["line_facade_deg"], line["line_end_to_fan_m"]) == (0.00635, 135.0, 9.5)
    assert full["reported"]["reported_leakage_area_m2"] == 0.16135
    assert session(SPARSE)["conditions"]["wind_distance_m"] == 850.0  # written in metres


def test_a_record_that_says_all_it_can_by_hand():
    full = session(FULL)
    assert full["record"] == {
        "programme": "Harrow whole-house 2026",
        "job_id": "FV-2063",
        "site_id": "H-152",
        "stage": "after",
        "visit_number": 3,
        "attempt_number": 2,
        "retest_of": "FV-2061",
        "supersedes": "FV-2062",
        "result_of_record": True,
        "title_as_recorded": "Final test, both directions",
        "contractor": "Harrow Insulation",
        "crew": "C2",
        "tester": "tk",
    }
    times = full["time"]
    assert (times["started_at_utc"], times["ended_at_local"]) == ("2026-03-24T09:42:00Z", "2026-03-24T11:31:00")
    building = full["building"]
    assert (building["storeys"], building["year_built"], building["foundation"]) == (2.5, 1962, "crawl_space")
    assert (building["attached_garage"], building["garage_included"]) == (True, False)
    assert full["preparation"]["direction_reason"] == "both, the mean is asked for"
    assert [(opening["opening"], opening["opening_state"]) for opening in full["openings"]] == [
        ("attic hatch", "closed"),
        ("fireplace damper", "sealed"),
        ("windows", "closed"),
        ("vents", "sealed"),
    ]
    down, up = full["runs"]
    assert (down["fan_held"], up["fan_held"]) == ("automatic", "by_hand")
    assert (down["baseline_before_positive_pa"], down["baseline_before_negative_pa"]) == (0.28, -1.62)
    assert (down["baseline_before_count"], down["baseline_after_count"]) == (60, 45)
    assert (down["baseline_before_fan_covered"], down["baseline_after_fan_covered"]) == (True, False)


@pytest.mark.parametrize(
    ("path", "form", "without"),
    [
        ("record", "RecordKeeping", {"not_tested_reason", "not_tested_as_recorded", "other_test", OTHER_TEST}),
        ("time", "Time", {"time_zone"}),
        ("building", "Building", set()),
        ("preparation", "Preparation", set()),
        ("conditions", "Conditions", {"wind_as_recorded", "wind_beaufort_low", "wind_beaufort_high"}),
        ("reported", "Reported", set()),
        ("openings", "Opening", set()),
        ("gauges", "Gauge", set()),
        ("fans", "Fan", set()),
        ("fan_calibrations", "FanCalibration", {"calibration_points"}),
        ("reference_lines", "ReferenceLine", set()),
        ("runs", "Run", set()),
        ("runs.points", "Point", set()),
        ("runs.points.fan_readings", "FanReading", set()),
    ],
)
def test_a_record_that_says_all_it_can_fills_whole_groups(path, form, without):
    """What stays empty in a group is what the layout has no key for."""
    parts = [session(FULL)]
    for name in path.split("."):
        found = [part[name] for part in parts]
        parts = [one for each in found for one in (each if isinstance(each, list) else [each])]
    filled = {field for part in parts for field in part}
    assert set(getattr(forms, form).model_fields) - filled == without


def test_a_reading_belongs_to_the_range_of_its_fan_pressure():
    # full: 10 to 79.9 Pa is row 0, 80 to 320 Pa is row 2; half is row 1
    full = session(FULL)
    ranges = [(row["minimum_fan_pressure_pa"], row["maximum_fan_pressure_pa"]) for row in full["fan_calibrations"]]
    assert ranges == [(10.0, 79.9), (15.0, 320.0), (80.0, 320.0)]
    indices = [
        [reading["calibration_index"] for point in run["points"] for reading in point["fan_readings"]]
        for run in full["runs"]
    ]
    assert indices == [[2, 2, 2, 0, 0, 0, 1], [2, 2, 0, 0, 0]]


def test_flows_of_the_full_record_follow_from_its_calibration():
    # power law of the row; the second point up is carried from 46.1 to 50 Pa: 4727 x (50 / 46.1) ** 0.65 = 4983
    full = session(FULL)
    for run in full["runs"]:
        for point in run["points"]:
            (reading,) = point["fan_readings"]
            row = full["fan_calibrations"][reading["calibration_index"]]
            flow_m3_h = row["fan_coefficient_m3_h"] * reading["fan_pressure_pa"] ** row["fan_exponent"]
            if reading["flow_basis"] == "extrapolated":
                ratio = reading["extrapolated_to_pa"] / point["envelope_pressure_pa"]
                flow_m3_h *= ratio ** reading["extrapolated_with_exponent"]
            assert reading["flow_m3_h"] == pytest.approx(flow_m3_h, abs=0.6), point["point_number"]


def test_what_is_said_of_single_points():
    down, up = session(FULL)["runs"]
    given_up, left_out = down["points"][0], down["points"][3]
    assert (given_up["given_up"], given_up["dropped"], given_up["envelope_pressure_pa"]) == (True, False, -66.8)
    assert (left_out["dropped"], left_out["dropped_reason"]) == (True, "door opened, then shut")
    assert [point["sample_count"] for point in down["points"]] == [60, 60, 60, 60, 60, 60, 80]
    assert up["points"][1]["fan_readings"] == [
        {
            "fan_id": "1",
            "fan_configuration": "full",
            "fan_pressure_pa": 92.4,
            "flow_m3_h": 4983.0,
            "flow_basis": "extrapolated",
            "extrapolated_to_pa": 50.0,
            "extrapolated_with_exponent": 0.65,
            "calibration_index": 2,
        }
    ]
    assert [point.get("dropped") for point in session(SPARSE)["runs"][0]["points"]] == [None, False, True, None]


def test_other_words_by_hand():
    other = session(OTHER)
    assert other["time"]["started_at_utc"] == "2026-01-09T18:50:00Z"  # 15:20 at -03:30
    building, air, (line,) = other["building"], other["conditions"], other["reference_lines"]
    assert (building["boundary"], building["boundary_as_recorded"]) == ("unit_to_outside", "unit, to outside")
    assert (building["terrain"], building["shielding"]) == ("open_water", "very_heavy")
    assert (building["floor_area_source"], building["envelope_area_source"]) == ("assumed", "unknown")
    assert air == {
        "wind_source": "on_site_mast",
        "wind_speed_m_s": 0.0,
        "wind_gust_none_reported": True,
        "wind_from_deg": 360.0,
        "outdoor_temperature_c": -14.5,
        "outdoor_relative_humidity": 1.0,
        "precipitation": "snow",
        "ground": "snow_covered",
    }
    assert line == {
        "line_id": "1",
        "arrangement": "sheltered_end",
        "arrangement_as_recorded": "sheltered",
        "line_facade_deg": 0.0,
        "line_end_height_m": -1.2,
        "line_path": "wall_opening",
        "line_dry_check": "water_found",
    }
    assert (other["fans"], "gauges" in other) == ([{"fan_id": "1", "fan_reference_at": "outdoors"}], False)
    points = other["runs"][0]["points"]
    bases = [reading["flow_basis"] for point in points for reading in point.get("fan_readings", ())]
    assert bases == ["at_device", "envelope", "summed", "indicated"]  # the last is the usual one: its cell is empty
    assert points[4] == {"point_number": 5, "target_pressure_pa": -15.0, "given_up": True}


def test_a_result_without_a_flow_has_no_pressure_for_it():
    assert session(OTHER)["reported"] == {
        "reported_basis": "estimated",
        "reported_exponent": 0.65,
        "reported_exponent_assumed": True,
        "reported_leakage_area_m2": 0.0096,
        "reported_leakage_area_pressure_pa": 4.0,
    }
    assert session(SPARSE)["reported"] == {"reported_basis": "unknown"}


def test_what_is_not_noted_is_unknown_and_not_absent():
    sparse = session(SPARSE)
    assert sparse["preparation"] == {"exhaust_fans": "unknown", "combustion_appliances": "unknown"}
    assert sparse["openings"][1] == {
        "opening": "windows",
        "opening_state": "unknown",
        "opening_as_recorded": "not noted",
    }
    assert sparse["reference_lines"] == [
        {
            "line_id": "1",
            "arrangement": "unknown",
            "arrangement_as_recorded": "not noted",
            "line_path": "unknown",
            "line_dry_check": "not_checked",
        }
    ]
    assert (sparse["conditions"]["precipitation"], sparse["conditions"]["ground"]) == ("unknown", "unknown")
    assert (sparse["building"]["volume_source"], sparse["fans"][0]["fan_reference_at"]) == ("unknown", "unknown")
