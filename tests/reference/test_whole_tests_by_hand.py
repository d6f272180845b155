"""Whole tests worked out with a pocket calculator, step by step, and held against a recomputation.

Each line of a calculation says what is worked out, by which equation, and what the calculator shows; `shown` refuses
the line when it shows something else. The readings are invented. Where the equations come from:

[1] Roulet (2008), Ventilation and Airflow in Buildings, equations 7.13 to 7.16, 7.26: the straight line (read); 4.15
    and 4.17: reference conditions with viscosity (read).
[2] ATTMA TSL2 (2010), A.1.4, equations 5 and 6: flow through the fan to flow through the leaks (read).
[3] Bernoulli for an orifice: Q / Q_cal = sqrt(rho_cal / rho_fan); physics.
[4] Ideal gas, R = 287.055 J/(kg K), dry air: reproduces the density table of ASHRAE Handbook-Fundamentals, chapter 1
    (read) within 0.09 %. Pressure at an elevation: equation 3 of that chapter (read).
[5] ASHRAE Handbook-Fundamentals, chapter 16, equation 41: leakage area (read).
[6] ISO 9972:2015: mean of the baselines before and after, (rho / rho0)^(1 - n) at 20 degrees Celsius and 101325 Pa,
    area at 10 Pa with a discharge coefficient of 1 and 1.2041 kg/m3, limits of the mean line (all from memory).
[7] ASTM E1827-11: one point and 0.65, area at 4 Pa with a discharge coefficient of 1 (from memory; the area is read in
    [5]).
[8] Student's t for 3 and 4 degrees of freedom, 95 %: 3.182 and 2.776, a printed table (read); here with more digits.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import exp, isnan, log, sqrt

import pytest
from batch_by_hand import batch_of
from rule_sets_by_hand import BY_HAND, shipped

from interchange.analysis import chain
from interchange.analysis.leakage import SHARES, Leakage

R_DRY_AIR = 287.055  # J/(kg K) [4]
KELVIN = 273.15
S_PER_H = 3600.0
M3_H_PER_CFM = 0.3048**3 * 60  # NIST SP 811, appendix B.8: foot 0.3048 m
AGREEMENT = 1e-9


def shown(value: float, display: str) -> float:
    """The value in full, if the display reads like this once it is rounded to the digits the display has."""
    digits = len(display.partition(".")[2])
    assert f"{value:.{digits}f}" == display, f"the display shows {value:.{digits}f}, the page says {display}"
    return value


@dataclass(frozen=True)
class LineByHand:
    """Straight line by [1]; `t` is Student's t for the points at hand [8]."""

    x_mean: float
    y_mean: float
    s_xx: float
    s_xy: float
    s_yy: float
    count: int
    t: float

    @property
    def slope(self) -> float:
        return self.s_xy / self.s_xx

    @property
    def intercept(self) -> float:
        return self.y_mean - self.slope * self.x_mean

    @property
    def slope_error(self) -> float:
        return sqrt((self.s_yy - self.slope * self.s_xy) / (self.count - 2) / self.s_xx)

    @property
    def r2(self) -> float:
        return self.s_xy**2 / (self.s_xx * self.s_yy)

    def half_width_at(self, x: float) -> float:
        return self.t * self.slope_error * sqrt(self.s_xx / self.count + (x - self.x_mean) ** 2)


def line_by_hand(x: list[float], y: list[float], t: float) -> LineByHand:
    n = len(x)
    x_mean, y_mean = sum(x) / n, sum(y) / n
    return LineByHand(
        x_mean,
        y_mean,
        sum((a - x_mean) ** 2 for a in x),
        sum((a - x_mean) * (b - y_mean) for a, b in zip(x, y, strict=True)),
        sum((b - y_mean) ** 2 for b in y),
        n,
        t,
    )


def session_result(result: Leakage) -> dict[str, float]:
    assert len(result.run_offsets) == 2, "one session"
    return {name: column[0].item() for name, column in result.session.items()}


def assert_agrees(found: dict[str, float], by_hand: dict[str, float]) -> None:
    assert {name: found[name] for name in by_hand} == pytest.approx(by_hand, rel=AGREEMENT)


@pytest.mark.parametrize("name", BY_HAND)
def test_shipped_rule_set_orders_the_steps_worked_by_hand(name: str):
    assert shipped(name) == BY_HAND[name]


def test_multi_point_depressurisation_by_iso_9972():
    """Cold day, five points, opening "full": Q = 492.0 p^0.5 at 1.204 kg/m3."""
    pressures_pa = [-61.275, -51.275, -41.275, -31.275, -21.275]
    fan_pressures_pa = [43.56, 34.2225, 26.01, 17.64, 10.5625]
    indicated_m3_h = [3159.0, 2843.0, 2490.0, 2060.0, 1610.0]  # what the gauge showed; the calibration replaces it

    # Baseline [6]
    baseline = shown((-1.35 + -1.20) / 2, "-1.275")
    induced = [-(p - baseline) for p in pressures_pa]
    assert [f"{p:.3f}" for p in induced] == ["60.000", "50.000", "40.000", "30.000", "20.000"]

    # Fan calibration: 492.0 x root of the fan pressure; roots 6.6, 5.85, 5.1, 4.2, 3.25
    calibrated = [492.0 * sqrt(p) for p in fan_pressures_pa]
    assert [f"{q:.1f}" for q in calibrated] == ["3247.2", "2878.2", "2509.2", "2066.4", "1599.0"]

    # Air [4]: indoors 20.5, outdoors 4.0 degrees Celsius, 100 950 Pa
    rho_in = shown(100_950 / (R_DRY_AIR * (20.5 + KELVIN)), "1.197598")
    rho_out = shown(100_950 / (R_DRY_AIR * (4.0 + KELVIN)), "1.268897")
    rho_0 = shown(101_325 / (R_DRY_AIR * (20.0 + KELVIN)), "1.204097")

    # Fan density [3]: depressurising, indoor air passes the fan
    fan_factor = shown(sqrt(1.204 / rho_in), "1.002669")
    # Envelope density [2, equation 6]: outdoor air passes the leaks
    envelope_factor = shown(rho_in / rho_out, "0.943811")
    envelope = [q * fan_factor * envelope_factor for q in calibrated]
    assert [f"{q:.2f}" for q in envelope] == ["3072.92", "2723.73", "2374.53", "1955.50", "1513.18"]

    # Line [1] of ln Q on ln dp; t for 5 - 2 = 3 degrees of freedom [8]
    line = line_by_hand([log(p) for p in induced], [log(q) for q in envelope], t=3.182446305284263)
    shown(line.x_mean, "3.618435")
    shown(line.y_mean, "7.722613")
    shown(line.s_xx, "0.752597")
    shown(line.s_xy, "0.485743")
    n = shown(line.slope, "0.645422")
    ln_c_envelope = shown(line.intercept, "5.387194")
    shown(line.slope_error, "0.004391")
    r2 = shown(line.r2, "0.999861")

    # Reference conditions [6]: outdoor air leaks in, 1 - n = 0.354578
    reference_factor = shown((rho_out / rho_0) ** (1 - n), "1.018760")
    c = shown(exp(ln_c_envelope) * reference_factor, "222.690")

    # What people compare: 412.5 m3 of house
    flow_50 = shown(c * 50**n, "2781.34")
    half_width = shown(line.half_width_at(log(50.0)), "0.006798")
    flow_10 = shown(c * 10**n, "984.29")
    area = shown(flow_10 / S_PER_H * sqrt(1.2041 / (2 * 10)), "0.067087")
    by_hand = {
        "point_count": 5,
        "lowest_pressure_pa": 20.0,
        "highest_pressure_pa": 60.0,
        "flow_coefficient_m3_h": c,
        "exponent": n,
        "exponent_low": shown(n - line.t * line.slope_error, "0.631449"),
        "exponent_high": shown(n + line.t * line.slope_error, "0.659395"),
        "correlation_r2": r2,
        "flow_50_m3_h": flow_50,
        "flow_50_low_m3_h": shown(flow_50 * exp(-half_width), "2762.49"),
        "flow_50_high_m3_h": shown(flow_50 * exp(half_width), "2800.31"),
        "flow_10_m3_h": flow_10,
        "air_change_50_per_h": shown(flow_50 / 412.5, "6.7426"),
        "leakage_area_m2": area,
        "leakage_area_pressure_pa": 10.0,
        "leakage_area_discharge_coefficient": 1.0,
        # Factors that all points share are the shares of their corrections
        "share_fan_density_percent": 100 * (fan_factor - 1),
        "share_envelope_density_percent": 100 * (envelope_factor - 1),
        "share_reference_percent": 100 * (reference_factor - 1),
    }

    session = {
        "kind": "multi_point",
        "volume_m3": 412.5,
        "indoor_temperature_c": 20.5,
        "outdoor_temperature_c": 4.0,
        "barometric_pressure_pa": 100_950.0,
        "calibrations": [calibration(492.0, 0.5, 1.204, 10.0), calibration(171.0, 0.505, 1.204, 15.0)],
        "runs": [
            {
                "direction": "depressurisation",
                "baseline_before_pressure_pa": -1.35,
                "baseline_after_pressure_pa": -1.20,
                "points": points(pressures_pa, fan_pressures_pa, indicated_m3_h, calibration_index=0),
            }
        ],
    }
    result = chain.run(batch_of([session]), shipped("iso9972@2015"))
    found = session_result(result)
    assert_agrees(found, by_hand)
    assert result.notes().tolist() == [""]

    # All shares together lead from the flow displayed (2790.92, by the calculation of `as_displayed` below) to this one
    together = 1.0
    for share in SHARES:
        together *= 1 + found[share] / 100
    shown(flow_50 / together, "2790.92")


def test_multi_point_pressurisation_by_iso_9972():
    """Frosty day at some height, six points, opening "half": Q = 171.0 p^0.505 at 1.204 kg/m3."""
    pressures_pa = [61.7, 52.7, 43.7, 31.7, 22.7, 16.7]
    fan_pressures_pa = [305.0, 245.0, 192.0, 124.0, 78.5, 51.0]
    indicated_m3_h = [3050.0, 2730.0, 2420.0, 1940.0, 1540.0, 1240.0]

    baseline = shown((0.80 + 0.60) / 2, "0.700")
    induced = [p - baseline for p in pressures_pa]
    assert [f"{p:.3f}" for p in induced] == ["61.000", "52.000", "43.000", "31.000", "22.000", "16.000"]

    calibrated = [171.0 * p**0.505 for p in fan_pressures_pa]
    assert [f"{q:.2f}" for q in calibrated] == ["3073.04", "2751.22", "2432.56", "1950.63", "1548.48", "1245.43"]

    # Air [4]: indoors 21.0, outdoors -3.0 degrees Celsius, 98 700 Pa
    rho_in = shown(98_700 / (R_DRY_AIR * (21.0 + KELVIN)), "1.168916")
    rho_out = shown(98_700 / (R_DRY_AIR * (-3.0 + KELVIN)), "1.272762")
    rho_0 = shown(101_325 / (R_DRY_AIR * (20.0 + KELVIN)), "1.204097")

    # Fan density [3]: pressurising, outdoor air passes the fan
    fan_factor = shown(sqrt(1.204 / rho_out), "0.972612")
    # Envelope density [2, equation 5]: indoor air passes the leaks
    envelope_factor = shown(rho_out / rho_in, "1.088840")
    envelope = [q * fan_factor * envelope_factor for q in calibrated]
    assert [f"{q:.2f}" for q in envelope] == ["3254.40", "2913.59", "2576.12", "2065.75", "1639.87", "1318.93"]

    # Line [1]; t for 6 - 2 = 4 degrees of freedom [8]
    line = line_by_hand([log(p) for p in induced], [log(q) for q in envelope], t=2.7764451051977987)
    shown(line.x_mean, "3.520156")
    shown(line.y_mean, "7.689857")
    shown(line.s_xx, "1.343307")
    shown(line.s_xy, "0.904443")
    n = shown(line.slope, "0.673296")
    ln_c_envelope = shown(line.intercept, "5.319750")
    shown(line.slope_error, "0.001940")
    r2 = shown(line.r2, "0.999967")

    # Reference conditions [6]: indoor air leaks out, 1 - n = 0.326704
    reference_factor = shown((rho_in / rho_0) ** (1 - n), "0.990359")
    c = shown(exp(ln_c_envelope) * reference_factor, "202.363")

    flow_50 = shown(c * 50**n, "2818.65")
    half_width = shown(line.half_width_at(log(50.0)), "0.003309")
    flow_10 = shown(c * 10**n, "953.73")
    by_hand = {
        "point_count": 6,
        "lowest_pressure_pa": 16.0,
        "highest_pressure_pa": 61.0,
        "flow_coefficient_m3_h": c,
        "exponent": n,
        "exponent_low": shown(n - line.t * line.slope_error, "0.667910"),
        "exponent_high": shown(n + line.t * line.slope_error, "0.678682"),
        "correlation_r2": r2,
        "flow_50_m3_h": flow_50,
        "flow_50_low_m3_h": shown(flow_50 * exp(-half_width), "2809.33"),
        "flow_50_high_m3_h": shown(flow_50 * exp(half_width), "2827.99"),
        "flow_10_m3_h": flow_10,
        "air_change_50_per_h": shown(flow_50 / 412.5, "6.8331"),
        "leakage_area_m2": shown(flow_10 / S_PER_H * sqrt(1.2041 / (2 * 10)), "0.065004"),
    }

    session = {
        "kind": "multi_point",
        "volume_m3": 412.5,
        "indoor_temperature_c": 21.0,
        "outdoor_temperature_c": -3.0,
        "barometric_pressure_pa": 98_700.0,
        "calibrations": [calibration(492.0, 0.5, 1.204, 10.0), calibration(171.0, 0.505, 1.204, 15.0)],
        "runs": [
            {
                "direction": "pressurisation",
                "baseline_before_pressure_pa": 0.80,
                "baseline_after_pressure_pa": 0.60,
                "points": points(pressures_pa, fan_pressures_pa, indicated_m3_h, calibration_index=1),
            }
        ],
    }
    result = chain.run(batch_of([session]), shipped("iso9972@2015"))
    assert_agrees(session_result(result), by_hand)
    assert result.notes().tolist() == [""]


def test_one_point_by_astm_e1827():
    """One reading on a cold day at 320 m: 1850 cfm at -50.6 Pa, baseline -1.6 Pa; 15 000 cubic feet of house.

    The file names no barometer, so the pressure is that of the standard atmosphere at the site's elevation.
    """
    induced = shown(-(-50.6 - -1.6), "49.0")
    indicated = shown(1850 * M3_H_PER_CFM, "3143.17")

    # Air [4]: indoors 68, outdoors 23 degrees Fahrenheit; 20 and -5 degrees Celsius
    barometer = shown(101_325 * (1 - 2.25577e-5 * 320) ** 5.2559, "97539.4")
    rho_in = shown(barometer / (R_DRY_AIR * (20.0 + KELVIN)), "1.159111")
    rho_out = shown(barometer / (R_DRY_AIR * (-5.0 + KELVIN)), "1.267176")
    rho_0 = shown(101_325 / (R_DRY_AIR * (20.0 + KELVIN)), "1.204097")

    fan_factor = shown(sqrt(1.204 / rho_in), "1.019180")  # [3]
    envelope_factor = shown(rho_in / rho_out, "0.914719")  # [2, equation 6]
    flow = shown(indicated * fan_factor * envelope_factor, "2930.26")

    # One point and an exponent that is assumed [7]
    n = 0.65
    c_envelope = shown(flow / induced**n, "233.496")

    # Reference conditions with viscosity [1]: outdoor air leaks in
    mu_out = shown(1.458e-6 * sqrt(268.15) / (1 + 110.4 / 268.15) * 1e6, "16.91223")
    mu_0 = shown(1.458e-6 * sqrt(293.15) / (1 + 110.4 / 293.15) * 1e6, "18.13406")
    reference_factor = shown((mu_out / mu_0) ** (2 * n - 1) * (rho_out / rho_0) ** (1 - n), "0.996950")
    c = shown(c_envelope * reference_factor, "232.784")

    flow_50 = shown(c * 50**n, "2959.94")
    flow_4 = shown(c * 4**n, "573.18")
    by_hand = {
        "point_count": 1,
        "lowest_pressure_pa": 49.0,
        "highest_pressure_pa": 49.0,
        "flow_coefficient_m3_h": c,
        "exponent": 0.65,
        "exponent_assumed": 1,
        "flow_50_m3_h": flow_50,
        "flow_10_m3_h": c * 10**n,
        "air_change_50_per_h": shown(flow_50 / (15_000 * 0.3048**3), "6.9686"),
        "leakage_area_m2": shown(flow_4 / S_PER_H * sqrt(1.2041 / (2 * 4)), "0.061770"),
        "leakage_area_pressure_pa": 4.0,
        "leakage_area_discharge_coefficient": 1.0,
    }

    session = {
        "kind": "single_point",
        "volume_m3": 15_000 * 0.3048**3,
        "elevation_m": 320.0,
        "indoor_temperature_c": 20.0,
        "outdoor_temperature_c": -5.0,
        "calibrations": [{"reference_air_density_kg_m3": 1.204}],
        "runs": [
            {
                "direction": "depressurisation",
                "baseline_before_pressure_pa": -1.6,
                "points": points([-50.6], [None], [1850 * M3_H_PER_CFM], calibration_index=0),
            }
        ],
    }
    result = chain.run(batch_of([session]), shipped("astm-e1827-one-point@2011"))
    assert_agrees(session_result(result), by_hand)


def test_two_points_by_astm_e1827():
    """Three readings at about 50 Pa and two at about 12.5 Pa; 8 degrees Celsius outdoors, 21 indoors, 100 000 Pa.

    Means of pressures and of flows, then one line through both [7]; the flow is stated at the envelope's density.
    """
    pressures_pa = [-50.5, -51.0, -51.5, -13.4, -13.6]
    flows_m3_h = [2010.0, 2020.0, 2030.0, 845.0, 855.0]
    high_pa, low_pa = shown((49.5 + 50.0 + 50.5) / 3, "50.000"), shown((12.4 + 12.6) / 2, "12.500")
    high, low = shown((2010 + 2020 + 2030) / 3, "2020.00"), shown((845 + 855) / 2, "850.00")
    n = shown(log(high / low) / log(high_pa / low_pa), "0.624410")
    c_envelope = shown(high / high_pa**n, "175.589")

    # Reference conditions with viscosity [1]: outdoor air leaks in
    rho_out = shown(100_000 / (R_DRY_AIR * (8.0 + KELVIN)), "1.239073")
    rho_0 = shown(101_325 / (R_DRY_AIR * (20.0 + KELVIN)), "1.204097")
    mu_out = shown(1.458e-6 * sqrt(281.15) / (1 + 110.4 / 281.15) * 1e6, "17.55405")
    mu_0 = shown(1.458e-6 * sqrt(293.15) / (1 + 110.4 / 293.15) * 1e6, "18.13406")
    reference_factor = shown((mu_out / mu_0) ** (2 * n - 1) * (rho_out / rho_0) ** (1 - n), "1.002669")
    c = shown(c_envelope * reference_factor, "176.058")
    flow_4 = shown(c * 4**n, "418.40")
    by_hand = {
        "point_count": 5,
        "flow_coefficient_m3_h": c,
        "exponent": n,
        "exponent_assumed": 0,
        "flow_50_m3_h": shown(c * 50**n, "2025.39"),
        "leakage_area_m2": shown(flow_4 / S_PER_H * sqrt(1.2041 / (2 * 4)), "0.045089"),
        "leakage_area_pressure_pa": 4.0,
        "share_reference_percent": 100 * (reference_factor - 1),
    }
    readings = points(pressures_pa, [None] * 5, flows_m3_h, calibration_index=0)
    for point in readings:
        point["readings"][0]["flow_basis"] = "envelope"
    session = {
        "kind": "two_point",
        "indoor_temperature_c": 21.0,
        "outdoor_temperature_c": 8.0,
        "barometric_pressure_pa": 100_000.0,
        "runs": [{"direction": "depressurisation", "baseline_before_pressure_pa": -1.0, "points": readings}],
    }
    found = session_result(chain.run(batch_of([session]), shipped("astm-e1827-two-point@2011")))
    assert_agrees(found, by_hand)
    assert isnan(found["flow_50_low_m3_h"]) and isnan(found["exponent_low"])

    # As displayed, 51.0 and 13.5 Pa: n = ln(2020 / 850) / ln(51 / 13.5) = 0.651263, 2020 (50 / 51)^n
    together = 1.0
    for share in SHARES:
        together *= 1 + found[share] / 100
    n_displayed = shown(log(2020 / 850) / log(51 / 13.5), "0.651263")
    assert found["flow_50_m3_h"] / together == pytest.approx(2020 * (50 / 51) ** n_displayed, rel=AGREEMENT)


def test_multi_point_with_weights_and_the_area_of_cgsb():
    """Three points at 20 degrees Celsius and 101 325 Pa, where no density moves anything; weights are flows squared.

    Weighted line: with w = Q^2, S_wxy / S_wxx about the weighted means. The area: 10 Pa, discharge coefficient 0.611.
    """
    x, y = [log(50.0), log(30.0), log(10.0)], [log(2000.0), log(1500.0), log(700.0)]
    w = [4.00, 2.25, 0.49]  # millions of (m3/h)^2, sum 6.74
    x_mean = shown(sum(a * b for a, b in zip(w, x, strict=True)) / 6.74, "3.624489")
    y_mean = shown(sum(a * b for a, b in zip(w, y, strict=True)) / 6.74, "7.428544")
    s_xx = shown(sum(a * (b - x_mean) ** 2 for a, b in zip(w, x, strict=True)), "1.299127")
    s_xy = shown(sum(a * (b - x_mean) * (c - y_mean) for a, b, c in zip(w, x, y, strict=True)), "0.824537")
    n = shown(s_xy / s_xx, "0.634686")
    c = shown(exp(y_mean - n * x_mean), "168.702")
    flow_10 = shown(c * 10**n, "727.45")
    by_hand = {
        "exponent": n,
        "flow_50_m3_h": shown(c * 50**n, "2020.37"),
        "leakage_area_m2": shown(flow_10 / S_PER_H * sqrt(1.2041 / (2 * 10)) / 0.611, "0.081148"),
        "leakage_area_discharge_coefficient": 0.611,
    }
    session = {
        "kind": "multi_point",
        "indoor_temperature_c": 20.0,
        "outdoor_temperature_c": 20.0,
        "barometric_pressure_pa": 101_325.0,
        "calibrations": [{"reference_air_density_kg_m3": 101_325 / (R_DRY_AIR * (20.0 + KELVIN))}],
        "runs": [
            {
                "direction": "depressurisation",
                "baseline_before_pressure_pa": 0.0,
                "points": points([-50.0, -30.0, -10.0], [None] * 3, [2000.0, 1500.0, 700.0], calibration_index=0),
            }
        ],
    }
    assert_agrees(session_result(chain.run(batch_of([session]), shipped("cgsb-149.10@2019"))), by_hand)


def test_multi_point_as_displayed():
    """The readings of the depressurisation above, as the crew saw them: no baseline, no calibration, no densities."""
    pressures_pa = [-61.275, -51.275, -41.275, -31.275, -21.275]
    indicated_m3_h = [3159.0, 2843.0, 2490.0, 2060.0, 1610.0]
    line = line_by_hand(
        [log(-p) for p in pressures_pa], [log(q) for q in indicated_m3_h], t=3.182446305284263
    )  # [1], [8]
    shown(line.x_mean, "3.654637")
    shown(line.y_mean, "7.769023")
    shown(line.s_xx, "0.697827")
    shown(line.s_xy, "0.447626")
    n = shown(line.slope, "0.641458")
    c = shown(exp(line.intercept), "226.950")
    shown(line.slope_error, "0.008158")
    flow_50 = shown(c * 50**n, "2790.92")
    half_width = shown(line.half_width_at(log(50.0)), "0.011779")
    by_hand = {
        "point_count": 5,
        "lowest_pressure_pa": 21.275,
        "highest_pressure_pa": 61.275,
        "flow_coefficient_m3_h": c,
        "exponent": n,
        "exponent_low": shown(n - line.t * line.slope_error, "0.615495"),
        "exponent_high": shown(n + line.t * line.slope_error, "0.667421"),
        "correlation_r2": shown(line.r2, "0.999515"),
        "flow_50_m3_h": flow_50,
        "flow_50_low_m3_h": shown(flow_50 * exp(-half_width), "2758.24"),
        "flow_50_high_m3_h": shown(flow_50 * exp(half_width), "2823.98"),
        "flow_10_m3_h": shown(c * 10**n, "994.00"),
        "air_change_50_per_h": shown(flow_50 / 412.5, "6.7659"),
    }
    session = {
        "kind": "multi_point",
        "volume_m3": 412.5,
        "indoor_temperature_c": 20.5,
        "outdoor_temperature_c": 4.0,
        "barometric_pressure_pa": 100_950.0,
        "calibrations": [calibration(492.0, 0.5, 1.204, 10.0)],
        "runs": [
            {
                "direction": "depressurisation",
                "baseline_before_pressure_pa": -1.35,
                "baseline_after_pressure_pa": -1.20,
                "points": points(
                    pressures_pa, [43.56, 34.2225, 26.01, 17.64, 10.5625], indicated_m3_h, calibration_index=0
                ),
            }
        ],
    }
    found = session_result(chain.run(batch_of([session]), shipped("as_displayed")))
    assert_agrees(found, by_hand)
    assert isnan(found["leakage_area_m2"])


def test_one_point_as_displayed_at_50_pa_is_the_flow_on_the_display():
    """No exponent can matter: (50 / 50)^0.65 = 1. At 10 Pa: 1700 (10 / 50)^0.65 = 1700 x 0.351293 = 597.20."""
    session = {
        "kind": "single_point",
        "volume_m3": 340.0,
        "runs": [
            {
                "direction": "depressurisation",
                "baseline_before_pressure_pa": -3.0,
                "points": points([-50.0], [None], [1700.0], calibration_index=0),
            }
        ],
    }
    found = session_result(chain.run(batch_of([session]), shipped("as_displayed")))
    flow_10 = shown(1700 * shown(0.2**0.65, "0.351293"), "597.20")
    by_hand = {"flow_50_m3_h": 1700.0, "flow_10_m3_h": flow_10, "air_change_50_per_h": 5.0, "exponent": 0.65}
    assert_agrees(found, by_hand)


def test_both_directions_give_the_mean_of_their_flows():
    """Mean of depressurisation and pressurisation (ISO 9972, ASTM E779: from memory), on lines without scatter.

    Depressurisation 100 dp^0.60, pressurisation 120 dp^0.70, each read at 25 and 64 Pa, no corrections.
    """
    out_50, in_50 = shown(100 * 50**0.60, "1045.64"), shown(120 * 50**0.70, "1855.50")
    out_10, in_10 = shown(100 * 10**0.60, "398.11"), shown(120 * 10**0.70, "601.42")
    flow_50, flow_10 = shown((out_50 + in_50) / 2, "1450.57"), shown((out_10 + in_10) / 2, "499.77")
    by_hand = {"flow_50_m3_h": flow_50, "flow_10_m3_h": flow_10, "air_change_50_per_h": flow_50 / 400.0}
    session = {
        "kind": "multi_point",
        "volume_m3": 400.0,
        "runs": [
            {
                "direction": direction,
                "points": points(
                    [sign * 25.0, sign * 64.0], [None, None], [c * 25.0**n, c * 64.0**n], calibration_index=0
                ),
            }
            for direction, sign, c, n in (("depressurisation", -1, 100, 0.60), ("pressurisation", 1, 120, 0.70))
        ],
    }
    assert_agrees(session_result(chain.run(batch_of([session]), shipped("as_displayed"))), by_hand)


def calibration(coefficient: float, exponent: float, density: float, least_pa: float) -> dict[str, float]:
    return {
        "fan_coefficient_m3_h": coefficient,
        "fan_exponent": exponent,
        "reference_air_density_kg_m3": density,
        "minimum_fan_pressure_pa": least_pa,
    }


def points(
    pressures_pa: list[float], fan_pressures_pa: list[float | None], flows_m3_h: list[float], calibration_index: int
) -> list[dict[str, object]]:
    return [
        {
            "envelope_pressure_pa": pressure,
            "baseline_removed": False,
            "dropped": False,
            "readings": [
                {
                    "fan_pressure_pa": fan_pressure,
                    "flow_m3_h": flow,
                    "flow_basis": "indicated",
                    "calibration_index": calibration_index,
                }
            ],
        }
        for pressure, fan_pressure, flow in zip(pressures_pa, fan_pressures_pa, flows_m3_h, strict=True)
    ]
