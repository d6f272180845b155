"""Line and handling faults by hand-made records: each is found where it is, and not where it is not."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from build import batch, multi_point, one_point

from interchange.analysis.line_faults import decide
from interchange.analysis.reference_line import LineFaults, find, find_without_fan
from interchange.analysis.work import begin
from interchange.quantities import CHOICES

KINDS = ("single_point", "two_point", "multi_point")
STATE = CHOICES["line_fault_state"]
SOUND = 0.06  # [Pa] spread of readings in still air


def recorded(direction: str = "depressurisation", spread: float = SOUND, **more: Any) -> dict[str, Any]:
    """A sound test with spreads, targets and fan pressures: fan of 100 m3/h at the root of 1 Pa."""
    session = multi_point(direction, baseline_pa=-1.0, **more)
    run = session["runs"][0]
    for when in ("before", "after"):
        run |= {f"baseline_{when}_spread_pa": spread, f"baseline_{when}_duration_s": 60.0}
    run["baseline_after_pressure_pa"] = -1.03
    for one in run["points"]:
        one["target_pressure_pa"] = one["envelope_pressure_pa"] + 1.0
        one |= {"envelope_pressure_spread_pa": spread, "averaging_s": 30.0}
        one["readings"][0]["fan_pressure_pa"] = (one["readings"][0]["flow_m3_h"] / 100.0) ** 2
    return session


def looked_at(*sessions: dict[str, Any], **more: Any) -> LineFaults:
    return find(begin(batch(*sessions), KINDS), **more)


def state(found: LineFaults, fault: str, session: int = 0) -> str:
    return str(STATE[found.state[fault][session]])


@pytest.mark.parametrize("direction", ["depressurisation", "pressurisation"])
def test_a_sound_test_in_still_air_has_no_fault(direction: str) -> None:
    found = looked_at(recorded(direction))
    assert {fault: state(found, fault) for fault in CHOICES["line_fault"]} == {
        fault: "cannot_tell" if fault in ("line_end_exposed", "clock_shifted", "duplicate") else "no"
        for fault in CHOICES["line_fault"]
    }
    assert found.shown(0) == ()


@pytest.mark.parametrize("water", [-12.0, 12.0])
def test_water_that_both_baselines_show_cancels_and_is_found(water: float) -> None:
    session = recorded()
    run = session["runs"][0]
    for name in ("baseline_before_pressure_pa", "baseline_after_pressure_pa"):
        run[name] += water
    for one in run["points"]:
        one["envelope_pressure_pa"] += water
    found = looked_at(session)
    assert state(found, "water_in_line") == "retest"
    assert found.shown(0)[0] in ("water_in_line", "fan_in_baseline", "exhaust_running")
    assert found.evidence["offset_pa"][0] == pytest.approx(water - 1.03 if water < 0 else water - 1.0, abs=0.05)
    assert found.effect_50_percent["water_in_line"][0] < 1.0


def test_water_that_comes_with_the_points_moves_the_second_baseline() -> None:
    # 6 Pa from the first point on: step found, its mean takes half: n 3 / 50 = 3.9 %
    session = recorded()
    run = session["runs"][0]
    for one in run["points"]:
        one["envelope_pressure_pa"] += 6.0
    run["baseline_after_pressure_pa"] += 6.0
    found = looked_at(session)
    assert state(found, "water_in_line") == "retest"
    assert found.evidence["zero_step_pa"][0] == pytest.approx(6.0, abs=0.3)
    assert found.effect_50_percent["water_in_line"][0] == pytest.approx(3.9, abs=0.4)
    assert found.effect_10_percent["water_in_line"][0] == pytest.approx(19.5, abs=2.0)


def test_the_offset_that_cold_air_makes_is_no_water() -> None:
    # 20 m high, 40 K: rho difference 0.19 kg/m3, (10 - 1) m: -16 Pa by hydrostatics, all of it stack
    session = recorded(height_m=20.0, indoor_temperature_c=20.0, outdoor_temperature_c=-20.0)
    run = session["runs"][0]
    for name in ("baseline_before_pressure_pa", "baseline_after_pressure_pa"):
        run[name] -= 15.0
    for one in run["points"]:
        one["envelope_pressure_pa"] -= 15.0
    found = looked_at(session)
    assert found.evidence["stack_pa"][0] == pytest.approx(-16.8, abs=0.3)
    assert state(found, "water_in_line") == "no"
    low = recorded(height_m=3.0, indoor_temperature_c=20.0, outdoor_temperature_c=20.0)
    low["runs"] = session["runs"]
    assert state(looked_at(low), "water_in_line") == "retest"


def test_the_same_offset_is_wind_where_readings_are_restless() -> None:
    session = recorded(spread=5.0)
    run = session["runs"][0]
    for name in ("baseline_before_pressure_pa", "baseline_after_pressure_pa"):
        run[name] -= 12.0
    for one in run["points"]:
        one["envelope_pressure_pa"] -= 12.0
    found = looked_at(session)
    assert state(found, "water_in_line") == "no"
    assert found.probability["water_in_line"][0] < 0.05


def test_a_line_that_comes_off_reads_nothing_from_then_on() -> None:
    session = recorded()
    for one in session["runs"][0]["points"][4:]:
        one["envelope_pressure_pa"] = 0.0
        one["readings"][0]["flow_m3_h"] *= 1.5
    found = looked_at(session)
    assert state(found, "line_disconnected") == "retest"
    assert state(found, "water_in_line") == "cannot_tell"
    assert state(looked_at(recorded()), "line_disconnected") == "no"


def test_pressures_of_the_other_sign_are_found_with_a_direction_and_untold_without() -> None:
    session = recorded()
    for one in session["runs"][0]["points"]:
        one["envelope_pressure_pa"] *= -1.0
    found = looked_at(session)
    assert state(found, "sign_wrong") == "retest"
    session["runs"][0]["direction"] = None
    assert state(looked_at(session), "sign_wrong") == "cannot_tell"


def test_a_fan_pressure_that_sits_on_the_target_is_the_house_pressure() -> None:
    # channels exchanged: the fan column holds -60 to -15 Pa, the house column the fan's pressures
    session = recorded()
    for one in session["runs"][0]["points"]:
        house, fan = one["envelope_pressure_pa"], one["readings"][0]["fan_pressure_pa"]
        one["envelope_pressure_pa"] = fan
        one["readings"][0] |= {"fan_pressure_pa": house, "flow_m3_h": 100.0 * abs(house) ** 0.5}
    found = looked_at(session)
    assert state(found, "channels_swapped") == "retest"
    assert state(found, "sign_wrong") == "no"


def test_a_window_opened_half_way_is_told_from_water() -> None:
    session = recorded()
    for one in session["runs"][0]["points"][5:]:
        one["readings"][0]["flow_m3_h"] *= 1.25
    found = looked_at(session)
    assert state(found, "opening_moved") == "retest"
    assert found.shown(0)[0] == "opening_moved"
    assert found.evidence["opening_ratio"][0] == pytest.approx(1.25, abs=0.03)
    assert found.effect_50_percent["opening_moved"][0] == pytest.approx(25.0, abs=3.0)


def test_points_with_one_opening_that_do_not_fit_the_others_point_to_that_opening() -> None:
    session = recorded()
    session["calibrations"] = [{"fan_coefficient_m3_h": c, "fan_exponent": 0.5} for c in (100.0, 40.0)]
    for i, one in enumerate(session["runs"][0]["points"]):
        one["readings"][0]["calibration_index"] = int(i >= 6)
        one["readings"][0]["flow_m3_h"] *= 1.5 if i >= 6 else 1.0
    found = looked_at(session)
    assert state(found, "fan_configuration_wrong") in ("note", "retest")
    either = found.evidence["configuration_ratio"][0], 1.0 / found.evidence["configuration_ratio"][0]
    assert max(either) == pytest.approx(1.5, rel=0.01)


def test_baselines_that_are_absent_copied_or_zero_are_told_apart() -> None:
    absent, copied, habit = (recorded() for _ in range(3))
    absent["runs"][0]["baseline_before_pressure_pa"] = None
    copied["runs"][0] |= {"baseline_before_pressure_pa": -1.237, "baseline_after_pressure_pa": -1.237}
    copied["runs"][0] |= {"baseline_before_spread_pa": 0.4137, "baseline_after_spread_pa": 0.4137}
    for one in copied["runs"][0]["points"]:
        one["envelope_pressure_spread_pa"] = 0.41
    habit["runs"][0] |= {"baseline_before_pressure_pa": 0.0, "baseline_after_pressure_pa": 0.0}
    habit["runs"][0] |= {"baseline_before_spread_pa": 0.0, "baseline_after_spread_pa": 0.0}
    for one in habit["runs"][0]["points"]:
        one["envelope_pressure_spread_pa"] = 0.8
    found = looked_at(absent, copied, habit)
    assert [state(found, "baseline_missing", i) for i in range(3)] == ["retest", "no", "no"]
    assert [state(found, "baseline_copied", i) for i in range(3)] == ["cannot_tell", "note", "no"]
    assert [state(found, "baseline_zero_by_habit", i) for i in range(3)] == ["no", "no", "retest"]


def test_a_still_day_on_a_coarse_gauge_may_read_zero() -> None:
    session = recorded(spread=0.02)
    session["runs"][0] |= {"baseline_before_pressure_pa": 0.0, "baseline_before_spread_pa": 0.0}
    assert state(looked_at(session), "baseline_zero_by_habit") != "retest"


def test_one_averaged_point_cannot_tell_of_what_comes_after_its_baseline() -> None:
    found = looked_at(one_point())
    told = {fault for fault in CHOICES["line_fault"] if state(found, fault) != "cannot_tell"}
    assert "water_in_line" not in told
    assert {"opening_moved", "gauge_drift", "fan_configuration_wrong", "fan_uncovered"} & told == set()


def test_without_spreads_a_fault_that_noise_could_be_gets_a_note_at_most() -> None:
    session = recorded()
    run = session["runs"][0]
    for name in ("baseline_before_spread_pa", "baseline_after_spread_pa"):
        run[name] = None
    for one in run["points"]:
        one["envelope_pressure_spread_pa"] = None
        one["envelope_pressure_pa"] -= 30.0
    for name in ("baseline_before_pressure_pa", "baseline_after_pressure_pa"):
        run[name] -= 30.0
    found = looked_at(session)
    assert state(found, "water_in_line") != "retest"
    assert 0.05 < found.probability["water_in_line"][0] < 0.5
    assert np.isnan(found.evidence["noise_pa"][0])


def test_the_same_noise_told_by_spreads_makes_a_fault_surer_than_taken_for_granted() -> None:
    told, untold = recorded(spread=3.0 * 0.738), recorded()  # in 30 s, 1 - g of 10 s is 0.54 of the variance
    for session in (told, untold):
        run = session["runs"][0]
        for name in ("baseline_before_pressure_pa", "baseline_after_pressure_pa"):
            run[name] -= 40.0
        for one in run["points"]:
            one["envelope_pressure_pa"] -= 40.0
    for name in ("baseline_before_spread_pa", "baseline_after_spread_pa"):
        untold["runs"][0][name] = None
    for one in untold["runs"][0]["points"]:
        one["envelope_pressure_spread_pa"] = None
    found = looked_at(told, untold)
    assert found.evidence["noise_pa"][0] == pytest.approx(3.0, rel=0.1)
    scores = found.score["water_in_line"]
    assert scores[1] == pytest.approx(scores[0], rel=0.15)
    # ln of the odds counts 0.7: the same score is worth less
    assert found.probability["water_in_line"][1] < 0.8 * found.probability["water_in_line"][0]


def test_a_point_that_a_fault_stirred_up_does_not_make_the_day_windy() -> None:
    session = one_point()
    run = session["runs"][0]
    run |= {"baseline_before_spread_pa": 0.1, "baseline_before_duration_s": 60.0}
    run["points"][0] |= {"envelope_pressure_spread_pa": 8.0, "averaging_s": 30.0}
    assert looked_at(session).evidence["noise_pa"][0] == pytest.approx(0.12, abs=0.02)


def test_a_step_of_the_zero_is_taken_from_what_an_opened_window_would_show() -> None:
    session = recorded()
    run = session["runs"][0]
    for one in run["points"][5:]:
        one["envelope_pressure_pa"] += 4.0
    run["baseline_after_pressure_pa"] += 4.0
    found = looked_at(session)
    assert found.shown(0)[0] == "water_in_line"
    assert found.probability["water_in_line"][0] > 5 * found.probability["opening_moved"][0]


def test_a_session_alone_comes_out_as_among_others() -> None:
    sessions = [recorded(), recorded("pressurisation"), one_point(), {"kind": "summary"}]
    together = looked_at(*sessions)
    for place, one in enumerate(sessions):
        alone = looked_at(one)
        for fault in CHOICES["line_fault"]:
            assert alone.probability[fault][0] == together.probability[fault][place] or (
                abs(alone.probability[fault][0] - together.probability[fault][place]) < 1e-12
            )
            assert alone.state[fault][0] == together.state[fault][place]


def test_sessions_without_points_cannot_tell_and_keep_the_share_of_any_test() -> None:
    found = looked_at({"kind": "summary"})
    assert {state(found, fault) for fault in CHOICES["line_fault"]} == {"cannot_tell"}
    assert found.probability["water_in_line"][0] == pytest.approx(decide.SHARES["water_in_line"])


def test_probabilities_of_all_faults_leave_room_for_soundness() -> None:
    found = looked_at(recorded(), one_point())
    assert (sum(found.probability.values()) < 1.0).all()


def test_a_programme_that_knows_its_shares_gives_them() -> None:
    often = dict.fromkeys(CHOICES["line_fault"], 0.04)
    usual, more = looked_at(recorded()), looked_at(recorded(), shares=often)
    assert more.probability["opening_moved"][0] > usual.probability["opening_moved"][0]
    with pytest.raises(ValueError, match="less than 1"):
        looked_at(recorded(), shares=dict.fromkeys(often, 0.2))


def test_people_are_told_of_two_faults_at_most_and_of_those_that_ask_for_a_retest_first() -> None:
    codes = {name: np.array([decide.NO]) for name in CHOICES["line_fault"]}
    odds = {name: np.array([0.01]) for name in CHOICES["line_fault"]}
    codes |= {"gauge_drift": np.array([decide.NOTE]), "water_in_line": np.array([decide.RETEST])}
    codes |= {"opening_moved": np.array([decide.NOTE])}
    odds |= {"gauge_drift": np.array([0.4]), "water_in_line": np.array([0.3]), "opening_moved": np.array([0.2])}
    found = LineFaults({}, odds, codes, {}, {}, {}, {})
    assert found.shown(0) == ("water_in_line", "gauge_drift")
    assert found.else_it_could_be(0, "water_in_line") == ("gauge_drift", "opening_moved")


# --- without a fan ---------------------------------------------------------------------------------------------------


def resting(series: Any) -> LineFaults:
    one = {"kind": "monitoring", "indoor_temperature_c": 20.0, "outdoor_temperature_c": 20.0}
    return find_without_fan(batch(one), np.asarray(series, dtype=np.float64), np.array([0, len(series)]))


def test_a_line_read_without_a_fan_tells_of_water_blocks_and_creeping_zeros() -> None:
    rng = np.random.default_rng(5)
    quiet = rng.normal(0.0, 0.1, 1800)
    windy = np.repeat(rng.normal(0.0, 1.5, 180), 10) + quiet
    assert resting(quiet).shown(0) == ()
    assert resting(windy).shown(0) == ()
    late = windy + np.where(np.arange(1800) >= 900, 9.0, 0.0)
    found = resting(late)
    assert state(found, "water_in_line") == "retest"
    assert found.onset_s["water_in_line"][0] == pytest.approx(900.0, abs=60.0)
    assert found.evidence["zero_step_pa"][0] == pytest.approx(9.0, abs=0.5)
    assert state(resting(quiet + 6.0), "water_in_line") == "retest"
    assert resting(quiet + np.linspace(0.0, 8.0, 1800)).score["gauge_drift"][0] > 2.0
    off = np.where(np.arange(1800) >= 900, np.round(rng.normal(0.0, 0.03, 1800), 1), windy)
    assert resting(off).score["line_disconnected"][0] > 2.0
    assert state(found, "sign_wrong") == "cannot_tell"
