"""The samples of tables, logs and records, worked out by hand."""

from __future__ import annotations

import csv
from datetime import datetime, timedelta

import pytest
from plain_samples import expected, text_of, values_of


def test_points_across_by_hand():
    # day 46063 is 2026-02-10: 46056 is 2026-02-03. 2041 cfm x 1.69901079552, 14,850 cu ft x 0.028316846592,
    # 68.5 °F = 36.5 x 5/9 °C, 394 ft x 0.3048, 4.5 mph x 0.44704
    sessions = expected("one-row-points-across/samples/a-street")["sessions"]
    first, second, duct = sessions[:3]
    assert first["time"] == {
        "started_at_as_recorded": "46063.3958333333",
        "started_at_local": "2026-02-10T09:30:00",
    }
    assert first["building"] == {
        "volume_m3": pytest.approx(420.505172, abs=1e-6),
        "elevation_m": pytest.approx(120.0912, rel=1e-12),
    }
    assert first["conditions"] == {
        "indoor_temperature_c": pytest.approx(20.277778, abs=1e-6),
        "outdoor_temperature_c": 5.0,
        "wind_speed_m_s": pytest.approx(2.01168, rel=1e-12),
        "wind_gust_m_s": pytest.approx(4.02336, rel=1e-12),
        "wind_source": "on_site_hand",
    }
    run = first["runs"][0]
    assert (run["baseline_before_pressure_pa"], run["baseline_after_pressure_pa"]) == (-1.4, -1.2)
    assert [point["envelope_pressure_pa"] for point in run["points"]] == [-60.1, -52.4, -45.2, -38.0, -30.4, -21.7, -15]
    assert run["points"][0]["fan_readings"][0]["flow_m3_h"] == pytest.approx(3467.681034, abs=1e-6)
    assert second["runs"][0]["direction"] == "pressurisation"
    assert second["runs"][0]["points"][0]["envelope_pressure_pa"] == 60.1
    assert "runs" not in duct
    assert [reading["other_pressure_pa"] for reading in duct["other_readings"]] == [25.0, 12.2]
    kinds = [session["kind"] for session in sessions]
    assert kinds == ["multi_point", "multi_point", "other_test", *["not_tested"] * 4, "multi_point"]
    assert len(sessions[7]["runs"][0]["points"]) == 10


def test_points_across_keep_their_numbers_where_there_are_holes():
    points = expected("one-row-points-across/samples/holes")["sessions"][0]["runs"][0]["points"]
    assert [point["point_number"] for point in points] == [1, 3, 4, 5, 6]
    assert [("envelope_pressure_pa" in point, "fan_readings" in point) for point in points] == [
        (True, True),
        (True, False),
        (False, True),
        (True, True),
        (True, False),
    ]


def test_both_directions_by_hand():
    # 803 L/s x 3.6
    large, small = expected("both-directions-one-table/samples/two-fans")["sessions"]
    assert (large["source_place"], small["source_place"]) == ("test FV-3061", "test FV-3062")
    assert large["time"]["ended_at_local"] == "2026-05-04T09:52:00"
    assert small["time"]["started_at_local"] == "2026-05-04T12:05:00"
    down, up = large["runs"]
    assert (down["direction"], up["direction"]) == ("depressurisation", "pressurisation")
    assert (down["points"][0]["envelope_pressure_pa"], up["points"][0]["envelope_pressure_pa"]) == (-59.6, 59.7)
    assert {point["baseline_removed"] for run in large["runs"] for point in run["points"]} == {True}
    first = [(reading["fan_id"], reading["flow_m3_h"]) for reading in down["points"][0]["fan_readings"]]
    assert first == [("1", 2890.8), ("2", 2894.4)]
    assert [len(point["fan_readings"]) for point in down["points"]] == [2, 2, 2, 1, 1]
    assert (down["points"][4]["dropped"], down["points"][4]["dropped_reason"]) == (True, "gust")


def test_tests_taken_in_turn_are_told_apart_by_name_only():
    first, second = expected("both-directions-one-table/samples/in-turn")["sessions"]
    assert [run["direction"] for run in first["runs"]] == ["pressurisation", "depressurisation"]
    assert [len(run["points"]) for run in (*first["runs"], *second["runs"])] == [2, 2, 2]
    assert second["time"]["started_at_local"] == "2026-05-11T00:40:00"
    assert first["kept"] == [
        {
            "kept_name": "Weather",
            "kept_first_row": 2,
            "kept_last_row": 7,
            "kept_count": 3,
            "kept_first": "dull",
            "kept_last": "dry",
        }
    ]


def test_a_transposed_table_by_hand():
    sessions = expected("transposed-table/samples/four-tests")["sessions"]
    assert [session["source_place"] for session in sessions] == ["column 2", "column 3", "column 4", "column 5"]
    second = sessions[1]
    assert second["time"]["started_at_local"] == "2026-04-02T14:05:00"
    run = second["runs"][0]
    assert (run["direction"], run["baseline_before_pressure_pa"]) == ("depressurisation", -0.8)
    assert run["points"][0]["fan_readings"][0]["flow_m3_h"] == 1482.0
    assert second["reported"] == {"reported_flow_m3_h": 1486.0, "reported_flow_pressure_pa": 50.0}
    assert sessions[2]["building"] == {"volume_m3": 1018.0, "floor_area_m2": 372.4}
    assert sessions[2]["runs"][0]["direction"] == "pressurisation"
    assert [session["kept"][0]["kept_first_row"] for session in sessions if "kept" in session] == [17, 17]
    first, second = expected("transposed-table/samples/rows-in-another-order")["sessions"]
    assert "direction" not in first["runs"][0]
    assert first["runs"][0]["points"][0]["fan_readings"][0]["flow_m3_h"] == 3905.0
    assert "reported" not in second
    assert [pointer["kept_first_row"] for pointer in (*first["kept"], *second["kept"])] == [5, 18]


def test_a_ledger_by_hand():
    # 1,505 cfm x 1.699010796, 95 in2 x 0.00064516, 10,800 cu ft x 0.028316846592, 710 L/s x 3.6
    sessions = expected("results-ledger/samples/two-pages")["sessions"]
    assert sessions[0]["reported"] == {
        "reported_flow_m3_h": pytest.approx(2557.011247, abs=1e-6),
        "reported_flow_pressure_pa": 50.0,
        "reported_air_change_50_per_h": 8.4,
        "reported_natural_air_change_per_h": 0.45,
        "reported_exponent": 0.65,
        "reported_leakage_area_m2": pytest.approx(0.0612902, rel=1e-12),
        "reported_leakage_area_pressure_pa": 4.0,
        "reported_method": "one point, at 50 Pa",
        "reported_basis": "measured",
    }
    assert sessions[0]["building"] == {"volume_m3": pytest.approx(305.821943, abs=1e-6)}
    assert sessions[0]["time"] == {
        "started_at_as_recorded": "3 Feb 2019",
        "started_at_local": "2019-02-03T00:00:00",
        "time_quality": "date_only",
    }
    assert sessions[3]["reported"]["reported_flow_m3_h"] == 2556.0
    lines = text_of("results-ledger/samples/two-pages").splitlines()
    for session in sessions:
        row = int(session["source_place"].removeprefix("row "))
        assert lines[row - 1].startswith(session["record"]["job_id"] + ",")
    for pointer in sessions[0]["kept"]:
        assert pointer["kept_first"] in lines[pointer["kept_first_row"] - 1]
        assert pointer["kept_last"] in lines[pointer["kept_last_row"] - 1]
    assert [pointer["kept_name"] for pointer in sessions[0]["kept"]] == ["titles", "Note", "footers"]


def test_a_log_of_a_whole_test_by_hand():
    # 252 L/s x 3.6; the file writes outside minus inside
    values = values_of("wide-log-one-second/samples/one-pressure")
    assert values["envelope"][:9] == [-1.6, -1.7, -1.8, -1.1, -0.7, -1.3, -1.4, -0.9, -6.6]
    assert values["envelope"][37] == 0.4
    assert values["flow"][7:9] == [None, 907.2]
    session = expected("wide-log-one-second/samples/one-pressure")["sessions"][0]
    assert session["time"] == {
        "started_at_as_recorded": "2026-03-04 13:20:05",
        "started_at_local": "2026-03-04T13:20:05",
    }
    assert [channel.get("averaging_s") for channel in session["channels"]] == [1.0] * 5
    assert expected("wide-log-one-second/samples/marks")["problems"] == ["over-range"] * 3


def test_a_tall_log_by_hand():
    # 68.7 °F = 36.7 x 5/9 °C, 23.9 km/h / 3.6, 1772445600 s is 2026-03-02 10:00:00 UTC
    name = "tall-log-with-legend/samples/two-lines-and-wind"
    document = expected(name)
    session = document["sessions"][0]
    assert session["time"]["started_at_utc"] == "2026-03-02T10:00:00Z"
    assert [(channel["start_s"], channel["interval_s"]) for channel in session["channels"]] == [
        (0.0, 1.0),
        (0.0, 1.0),
        (0.0, 10.0),
        (0.0, 10.0),
        (4.0, 20.0),
    ]
    values = values_of(name)
    assert (values["1"][19], values["2"][11]) == (None, None)
    assert values["4"][0] == pytest.approx(6.638889, abs=1e-6)
    assert values["5"][0] == pytest.approx(20.388889, abs=1e-6)
    rows = [line.split("|") for line in text_of(name).split("Stamp|Channel|Value\n")[1].splitlines()]
    for trace in document["traces"]:
        stamps = [int(stamp) - 1772445600 for stamp, channel, _ in rows if channel == trace["channel_id"]]
        assert stamps == [trace["start_s"] + number * trace["interval_s"] for number in range(len(trace["values"]))]


def test_zero_readings_on_one_side_are_put_together():
    # (-1.25 + 0.5 - 0.75) / 3 = -0.5, (-1.25 - 0.75) / 2 = -1, 30 + 30 + 40 s
    down, up = expected("points-fan-pressure-only/samples/both-directions")["sessions"][0]["runs"]
    baselines = {name: found for name, found in up.items() if name.startswith("baseline")}
    assert baselines == {
        "baseline_before_pressure_pa": -0.5,
        "baseline_before_positive_pa": 0.5,
        "baseline_before_negative_pa": -1.0,
        "baseline_before_count": 3,
        "baseline_before_duration_s": 100.0,
        "baseline_after_pressure_pa": -1.0,
        "baseline_after_negative_pa": -1.0,
        "baseline_after_count": 2,
        "baseline_after_duration_s": 60.0,
    }
    assert (down["baseline_before_spread_pa"], "baseline_before_count" in down) == (0.4, False)
    assert [point["point_number"] for point in down["points"]] == [2, 3, 4, 5, 6, 7]
    assert [point["fan_readings"][0]["calibration_index"] for point in down["points"]] == [0, 0, 0, 0, 0, 1]


def test_records_without_a_calibration_name_none():
    session = expected("points-fan-pressure-only/samples/calibration-elsewhere")["sessions"][0]
    readings = [point["fan_readings"][0] for point in session["runs"][0]["points"]]
    assert "fan_calibrations" not in session
    assert {tuple(reading) for reading in readings} == {("fan_id", "fan_configuration", "fan_pressure_pa")}


@pytest.mark.parametrize(("name", "step_s"), [("ten-minutes", 600), ("hourly", 3600)])
def test_days_of_a_station_log_are_even_steps(name, step_s):
    lines = text_of(f"station-weather-log/samples/{name}").split("\nday\t")[1].splitlines()[1:]
    local = expected(f"station-weather-log/samples/{name}")["sessions"][0]["time"]["started_at_local"]
    start = datetime.fromisoformat(local)
    for number, line in enumerate(lines):
        days = float(line.split("\t")[0])
        found = datetime(1899, 12, 30) + timedelta(days=days)
        assert abs((found - start).total_seconds() - number * step_s) < 0.5


def test_weather_by_hand():
    # 5.4 km/h / 3.6; 0 deg is a calm; 1002.3 hPa
    ridge = values_of("station-weather-log/samples/ten-minutes")
    assert (ridge["wind"][4:6], ridge["from"][4:6]) == ([1.5, 0.0], [195.0, None])
    assert (ridge["pressure"][0], ridge["pressure"][6]) == (100230.0, None)
    lake = expected("station-weather-log/samples/hourly")["sessions"][0]
    assert lake["time"]["started_at_utc"] == "2026-01-23T01:00:00Z"
    vale = values_of("hourly-weather-archive/samples/a-winter-day")
    assert vale["wind"] == [4.6, 5.1, 4.1, 0.0, 1.5, 2.6, None, 7.7]
    assert vale["from"][3:6] == [None, None, 360.0]
    assert (vale["air"][5], vale["air"][7], vale["gust"][0]) == (None, -1.2, 9.3)
    kept = {
        pointer["kept_name"]
        for pointer in expected("hourly-weather-archive/samples/a-winter-day")["sessions"][0]["kept"]
    }
    assert "SLP" in kept


def test_companions_hold_baselines_and_weather():
    name = "points-with-companions/samples/three-files"
    document = expected(name)
    run = document["sessions"][0]["runs"][0]
    lines = list(csv.reader(text_of(f"{name}-baseline").splitlines()))
    assert lines[2] == ["before", "-1.22", "0.38", "60"]
    assert run["baseline_before_pressure_pa"] == -1.22
    assert run["baseline_before_duration_s"] == 60.0
    assert {trace["channel_id"]: trace["start_s"] for trace in document["traces"]} == {
        "wind": 30.0,
        "gust": 30.0,
        "from": 30.0,
    }
    without = expected("points-with-companions/samples/two-files")
    assert (without["traces"], "channels" in without["sessions"][0]) == ([], False)
