"""Corrections worked out with a pocket calculator: humidity, elevation, forms of the baseline, references of standards.

The readings are invented; where the equations come from:

[1] ATTMA TSL2 (2010), A.1.4, equations 5 and 6: flow through the leaks; equation 3: vapour pressure (read).
[2] Density of moist air, (p - 0.37802 phi p_vs) / (287.055 T): ISO 9972, EN 13829 (from memory).
[3] Bernoulli for an orifice: Q / Q_cal = sqrt(rho_cal / rho_fan); physics.
[4] ISO 9972: (rho / rho0)^(1 - n) at 20 degrees Celsius and 101325 Pa, area at 10 Pa (from memory).
[5] RESNET/ICC 380: 1 + 0.000006 for each foot of elevation above 5000 ft, exponent 0.65 (from memory, unsure).
[6] ASTM E779: rho = 1.2041 (1 - 0.0065 E / 293)^5.2553 293 / (T + 273) (from memory).
"""

from __future__ import annotations

from math import exp, log, sqrt

import numpy as np
import pytest
from batch_by_hand import batch_of
from rule_sets_by_hand import AT_20_C, Step, shipped
from test_whole_tests_by_hand import KELVIN, R_DRY_AIR, S_PER_H, assert_agrees, session_result, shown

from interchange.analysis import air, chain

FT = 0.3048  # m, NIST SP 811
RHO_0 = 101_325 / (R_DRY_AIR * (20.0 + KELVIN))


def vapour_pressure_pa(celsius: float) -> float:
    kelvin = celsius + KELVIN
    return exp(59.484085 - 6790.4985 / kelvin - 5.02802 * log(kelvin))  # [1]


def session_of(points: list[tuple[float, float]], **more: object) -> dict[str, object]:
    """A test in depressurisation: recorded pressures [Pa] and indicated flows [m3/h]; more of session and run."""
    run = {name: more.pop(name) for name in list(more) if name.startswith("baseline_")}
    direction = more.pop("direction", "depressurisation")
    readings = [
        {
            "envelope_pressure_pa": p,
            "baseline_removed": False,
            "readings": [{"flow_m3_h": q, "flow_basis": "indicated", "calibration_index": 0.0}],
        }
        for p, q in points
    ]
    return {
        "kind": "multi_point",
        "calibrations": [{"reference_air_density_kg_m3": 1.204}],
        "runs": [{"direction": direction, "points": readings, **run}],
        **more,
    }


DAMP_DAY = {
    "indoor_temperature_c": 22.0,
    "outdoor_temperature_c": 31.0,
    "indoor_relative_humidity": 0.55,
    "outdoor_relative_humidity": 0.80,
    "barometric_pressure_pa": 100_400.0,
}
TWO_POINTS = [(-60.0, 2400.0), (-15.0, 980.0)]


def test_a_muggy_day_by_iso_9972():
    """Depressurising: damp indoor air passes the fan, damper outdoor air the leaks. Two points fix the line."""
    p_in = shown(0.55 * vapour_pressure_pa(22.0), "1454.66")
    p_out = shown(0.80 * vapour_pressure_pa(31.0), "3593.86")
    rho_in = shown((100_400 - 0.37802 * p_in) / (R_DRY_AIR * (22.0 + KELVIN)), "1.178530")  # [2]
    rho_out = shown((100_400 - 0.37802 * p_out) / (R_DRY_AIR * (31.0 + KELVIN)), "1.134394")
    fan_factor = shown(sqrt(1.204 / rho_in), "1.010748")  # [3]
    envelope_factor = shown(rho_in / rho_out, "1.038907")  # [1, equation 6]
    n = shown(log(2400 / 980) / log(60 / 15), "0.646090")
    reference_factor = shown((rho_out / RHO_0) ** (1 - n), "0.979117")  # [4]
    c = shown(2400 / 60**n * fan_factor * envelope_factor * reference_factor, "175.154")
    by_hand = {
        "exponent": n,
        "flow_50_m3_h": shown(c * 50**n, "2193.35"),
        "leakage_area_m2": shown(c * 10**n / S_PER_H * sqrt(1.2041 / 20), "0.052847"),
        "share_fan_density_percent": 100 * (fan_factor - 1),
        "share_envelope_density_percent": 100 * (envelope_factor - 1),
        "share_reference_percent": 100 * (reference_factor - 1),
    }
    result = chain.run(
        batch_of([session_of(TWO_POINTS, baseline_before_pressure_pa=0.0, **DAMP_DAY)]), shipped("iso9972@2015")
    )
    assert_agrees(session_result(result), by_hand)
    assert result.notes().tolist() == ["calibration_absent"]


def test_the_same_day_pressurising_swaps_the_two_airs():
    rho_in, rho_out = 1.178530, 1.134394  # as above
    points = [(-p, q) for p, q in TWO_POINTS]
    session = session_of(points, baseline_before_pressure_pa=0.0, direction="pressurisation", **DAMP_DAY)
    found = session_result(chain.run(batch_of([session]), shipped("en13829@2000")))
    by_hand = {
        "share_fan_density_percent": 100 * (sqrt(1.204 / rho_out) - 1),
        "share_envelope_density_percent": 100 * (rho_out / rho_in - 1),
        "share_reference_percent": 100 * ((rho_in / RHO_0) ** (1 - found["exponent"]) - 1),
    }
    assert {name: found[name] for name in by_hand} == pytest.approx(by_hand, rel=2e-5)


def test_a_standard_of_dry_air_takes_the_same_day_for_dry_and_says_so():
    damp, dry = (
        session_of(TWO_POINTS, **DAMP_DAY),
        session_of(TWO_POINTS, **{**DAMP_DAY, "indoor_relative_humidity": None}),
    )
    dry["outdoor_relative_humidity"] = None
    for name in ("astm-e779@2019", "astm-e3158@2018", "cgsb-149.10@2019"):
        with_it, without = (chain.run(batch_of([session]), shipped(name)) for session in (damp, dry))
        assert session_result(with_it)["flow_50_m3_h"] == session_result(without)["flow_50_m3_h"]
        assert ("humidity_not_used" in with_it.notes()[0], "humidity_not_used" in without.notes()[0]) == (True, False)


def test_one_point_by_icc_380_at_6400_feet():
    """1480 cfm at -51 Pa, baseline -1: no densities, but the factor of the standard for its elevation."""
    factor = shown(1 + 0.000006 * 6400, "1.0384")  # [5]
    flow_50 = shown(1480 * FT**3 * 60 * factor, "2611.09")
    session = session_of([(-51.0, 1480 * FT**3 * 60)], baseline_before_pressure_pa=-1.0, elevation_m=6400 * FT)
    session["kind"] = "single_point"
    found = session_result(chain.run(batch_of([session]), shipped("icc-380@2016")))
    assert found["flow_50_m3_h"] == pytest.approx(flow_50, rel=5e-7)  # 0.000006 / ft is 1.9685e-5 / m with 5 digits
    assert found["share_fan_density_percent"] == pytest.approx(3.84, rel=2e-5)
    low = {**session, "elevation_m": 4990 * FT}
    below = chain.run(batch_of([low]), shipped("icc-380@2016"))
    assert session_result(below)["flow_50_m3_h"] == pytest.approx(flow_50 / factor, rel=1e-12)
    unknown = chain.run(batch_of([{**session, "elevation_m": None}]), shipped("icc-380@2016"))
    assert "elevation_unknown" in unknown.notes()[0]


@pytest.mark.parametrize("elevation_m", [1525.0, 2000.0, 3000.0])
def test_the_factor_of_icc_380_is_what_the_densities_of_astm_e1827_make_of_thin_air(elevation_m: float):
    """At 20 degrees on both sides: sqrt(1 / r) in the fan times r^0.35 in the leaks, r the ratio of pressures."""
    air_of_20 = {"indoor_temperature_c": 20.0, "outdoor_temperature_c": 20.0}
    flows = []
    for name in ("icc-380@2016", "astm-e1827-one-point@2011"):
        session = session_of([(-50.0, 2000.0)], elevation_m=elevation_m, **air_of_20)
        session["kind"] = "single_point"
        session["calibrations"] = [{"reference_air_density_kg_m3": RHO_0}]
        flows.append(session_result(chain.run(batch_of([session]), shipped(name)))["flow_50_m3_h"])
    assert flows[0] == pytest.approx(flows[1], rel=0.003)


@pytest.mark.parametrize(("elevation_m", "apart"), [(0.0, 0.0), (1500.0, 0.00307), (3000.0, 0.00637)])
def test_the_altitude_formula_of_astm_e779_is_near_the_standard_atmosphere(elevation_m: float, apart: float):
    """[6]: it is a little denser at heights; the flow goes with the power 1 - n - 1/2 of it, 0.05 % at 1500 m."""
    by_e779 = 1.2041 * (1 - 0.0065 * elevation_m / 293) ** 5.2553
    ours = float(air.air_density_kg_m3(20.0, air.standard_pressure_pa(elevation_m)))
    assert by_e779 / ours - 1 == pytest.approx(apart, abs=2e-5)


def test_a_drifting_baseline_is_interpolated_by_the_place_of_the_point():
    """Before -1, after -5 Pa, three points: a quarter of the way each, so -2, -3, -4 Pa are subtracted."""
    line = [100.0 * p**0.6 for p in (50.0, 30.0, 10.0)]
    points = [(-52.0, line[0]), (-33.0, line[1]), (-14.0, line[2])]
    session = session_of(points, baseline_before_pressure_pa=-1.0, baseline_after_pressure_pa=-5.0)
    found = {}
    for form in ("mean", "before", "interpolated"):
        steps = [Step("baseline", {"form": form}), Step("power_law", {"confidence": 0.95})]
        found[form] = chain.run(batch_of([session]), steps)
    assert_agrees(session_result(found["interpolated"]), {"exponent": 0.6, "flow_50_m3_h": 100 * 50**0.6})
    assert found["interpolated"].run["baseline_pressure_pa"][0] == -3.0
    # mean: -3 from all: 49, 30, 11 Pa; before: -1: 51, 32, 13 Pa
    for form, pressures in (("mean", (49.0, 30.0, 11.0)), ("before", (51.0, 32.0, 13.0))):
        n, ln_c = np.polyfit(np.log(pressures), np.log(line), 1)
        assert_agrees(session_result(found[form]), {"exponent": n, "flow_50_m3_h": exp(ln_c) * 50**n})
    assert found["before"].run["baseline_pressure_pa"][0] == -1.0


@pytest.mark.parametrize("form", ["mean", "before", "interpolated"])
@pytest.mark.parametrize("there", ["before", "after"])
def test_where_there_is_one_baseline_every_form_takes_that(form: str, there: str):
    session = session_of([(-52.0, 1000.0)], **{f"baseline_{there}_pressure_pa": -2.0})
    steps = [Step("baseline", {"form": form}), Step("one_point", {"exponent": 0.65})]
    found = session_result(chain.run(batch_of([session]), steps))
    assert found["flow_50_m3_h"] == pytest.approx(1000.0, rel=1e-12)


@pytest.mark.parametrize(("viscosity", "expected"), [(False, "1.02504"), (True, "1.00822")])
def test_reference_conditions_of_the_two_families_of_standards(viscosity: bool, expected: str):
    """n = 0.65, leaks at 0 degrees Celsius: (T0/T)^0.35, and times (mu/mu0)^0.3 in ASTM E779, both to five digits."""
    by_hand = (293.15 / 273.15) ** 0.35
    if viscosity:
        mu, mu_0 = (t**1.5 / (t + 110.4) for t in (273.15, 293.15))
        by_hand *= (mu / mu_0) ** 0.3
    shown(by_hand, expected)
    cold = {"indoor_temperature_c": 20.0, "outdoor_temperature_c": 0.0, "barometric_pressure_pa": 101_325.0}
    session = session_of([(-50.0, 1000.0)], **cold)
    steps = [
        Step("one_point", {"exponent": 0.65}),
        Step("reference_conditions", {**AT_20_C, "viscosity": viscosity}),
    ]
    found = session_result(chain.run(batch_of([session]), steps))
    assert found["flow_50_m3_h"] == pytest.approx(1000.0 * by_hand, rel=1e-12)


def test_new_forms_give_a_session_alone_the_bits_it_has_among_others():
    steps = [
        Step("air_pressure", {"pressure_pa": 101_325.0}),
        Step("baseline", {"form": "interpolated"}),
        Step("fan_density", {"humidity": True}),
        Step("elevation_factor", {"per_m": 2e-5, "from_m": 100.0}),
        Step("envelope_density", {"humidity": True}),
        Step("power_law", {"confidence": 0.95}),
        Step("reference_conditions", {**AT_20_C, "humidity": True}),
    ]
    rng = np.random.default_rng(5)
    sessions = []
    for _ in range(2000):
        pressures = -rng.uniform(10, 70, int(rng.integers(1, 9)))
        points = [(p, 200 * abs(p) ** 0.63 * rng.lognormal(0, 0.02)) for p in pressures.tolist()]
        more = {
            "baseline_before_pressure_pa": rng.normal(-1, 1),
            "baseline_after_pressure_pa": None if rng.random() < 0.3 else rng.normal(-1, 1),
            **{name: None if rng.random() < 0.3 else value for name, value in DAMP_DAY.items()},
            "elevation_m": rng.uniform(0, 3000),
        }
        sessions.append(session_of(points, **more))
    among = chain.run(batch_of(sessions), steps)
    for place in (0, 7, 1000, 1999):
        alone = chain.run(batch_of([sessions[place]]), steps)
        for name, column in alone.session.items():
            assert column.tobytes() == among.session[name][place : place + 1].tobytes(), name
        assert alone.note_mask[0] == among.note_mask[place]
