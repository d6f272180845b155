"""Leakage areas and air changes: handbook examples, constants of standards and public code, against the kernels.

Where a source's chain goes on past what the toolkit builds (infiltration, normalised leakage), the test writes that
part out by hand and leaves the toolkit the part it has.
"""

from __future__ import annotations

from math import hypot, log, sqrt

from check_values import Value, holds_for

from interchange.analysis import areas, powerlaw

# Exact by definition: NIST SP 811, appendix B.
FOOT_M = 0.3048
INCH_M = 0.0254
M3_H_PER_CFM = 60 * FOOT_M**3
S_PER_H = 3600.0
RHO_HANDBOOK = 1.2  # kg/m3, ASHRAE Handbook-Fundamentals chapter 16; reproduces 0.283316478 to nine digits


def flow_from(pressure_pa: float, flow_m3_h: float, exponent: float, at_pa: float) -> float:
    """A flow carried to another pressure by the toolkit's power law."""
    return float(powerlaw.flow_m3_h(powerlaw.one_point(log(pressure_pa), log(flow_m3_h), exponent), exponent, at_pa))


def ela4_m2(flow_at_4_pa_m3_h: float, rho: float = RHO_HANDBOOK) -> float:
    return float(areas.leakage_area_m2(flow_at_4_pa_m3_h, 4.0, 1.0, rho))


@holds_for("ashrae16-ela4-ex*")
def test_leakage_area_of_the_handbook_houses(value: Value):
    c, n = value.inputs["c"], value.inputs["n"]
    flow = powerlaw.flow_m3_h(log(c * S_PER_H), n, value.inputs["dPr_Pa"])
    area = areas.leakage_area_m2(flow, value.inputs["dPr_Pa"], value.inputs["Cd"], value.inputs["rho"])
    value.holds(1e4 * area)


@holds_for("ashrae16-example2-ach", "ashrae16-example3-ach", "ashrae16-example4-ach")
def test_air_changes_of_the_basic_infiltration_examples(value: Value):
    """Flow by hand from equation 48, Q = A_L / 1000 sqrt(C_s dT + C_w U^2) in m3/s; air changes by the toolkit."""
    i = value.inputs
    flow_m3_s = i["AL_cm2"] / 1000 * sqrt(i["Cs"] * i["dT_K"] + i["Cw"] * i["U_m_s"] ** 2)
    value.holds(areas.air_changes_per_h(S_PER_H * flow_m3_s, i["V_m3"]))


@holds_for("ashrae16-example5-ach", "ashrae16-example6-ach", "ashrae16-example7-ach")
def test_air_changes_of_the_enhanced_infiltration_examples(value: Value):
    """Flow by hand from equations 47, 49, 50: hypot(c C_s dT^n, c C_w (s U)^2n); air changes by the toolkit."""
    i = value.inputs
    stack = i["c"] * i["Cs"] * i["dT_K"] ** i["n"]
    wind = i["c"] * i["Cw"] * (i["s"] * i["U_m_s"]) ** i["wind_exponent"]
    value.holds(areas.air_changes_per_h(S_PER_H * hypot(stack, wind), i["V_m3"]))


@holds_for("ela-in2-per-cfm4")
def test_square_inches_per_cubic_foot_a_minute_at_4_pa(value: Value):
    value.holds(ela4_m2(M3_H_PER_CFM, value.inputs["rho"]) / INCH_M**2)


@holds_for("ela-in2-per-cfm50")
def test_square_inches_per_cubic_foot_a_minute_at_50_pa(value: Value):
    value.holds(ela4_m2(flow_from(50.0, M3_H_PER_CFM, value.inputs["n"], 4.0)) / INCH_M**2)


@holds_for("ela-380-0567")
def test_constant_of_the_leakage_area_equation_in_square_inches(value: Value):
    """ELA = k C 4^(n - 0.5) with C in cfm/Pa^n, whatever n: k from C = 1 and n = 0.7."""
    n = 0.7
    flow = powerlaw.flow_m3_h(log(M3_H_PER_CFM), n, 4.0)
    value.holds(ela4_m2(float(flow), value.inputs["rho"]) / INCH_M**2 / 4 ** (n - 0.5))


@holds_for("eqla-cgsb-0001157")
def test_constant_of_the_equivalent_leakage_area(value: Value):
    """EqLA = k sqrt(rho) C 10^(n - 0.5) with C in L/(s Pa^n): k from C = 1, rho = 1.19, n = 0.7."""
    n, rho, m3_h_per_l_s = 0.7, 1.19, 3.6
    flow = powerlaw.flow_m3_h(log(m3_h_per_l_s), n, 10.0)
    area = areas.leakage_area_m2(flow, 10.0, value.inputs["Cd"], rho)
    value.holds(area / sqrt(rho) / 10 ** (n - 0.5))


@holds_for("ela-convert")
def test_area_at_10_pa_against_area_at_4_pa(value: Value):
    n = value.inputs["n"]
    at_4, at_10 = 100.0, flow_from(4.0, 100.0, n, 10.0)
    value.holds(areas.leakage_area_m2(at_10, 10.0, 0.611, RHO_HANDBOOK) / ela4_m2(at_4))


@holds_for("nrel-eri-*")
def test_air_changes_of_a_reference_home_from_its_specific_leakage_area(value: Value):
    """Leakage area = SLA x floor area; the flow behind it is that area over the toolkit's area of 1 m3/h at 4 Pa."""
    i = value.inputs
    area_m2 = i["SLA"] * i["CFA_ft2"] * FOOT_M**2
    flow_50 = flow_from(4.0, area_m2 / ela4_m2(1.0), i["n"], 50.0)
    value.holds(areas.air_changes_per_h(flow_50, i["V_ft3"] * FOOT_M**3))


@holds_for("cfm50-ach50-433")
def test_air_changes_of_a_worksheet(value: Value):
    i = value.inputs
    value.holds(areas.air_changes_per_h(i["CFM50"] * M3_H_PER_CFM, i["V_ft3"] * FOOT_M**3))


@holds_for("chan-nl")
def test_normalised_leakage_that_goes_with_ten_air_changes(value: Value):
    """NL = 1000 (ELA / A) (H / 2.5)^0.3 by hand for 1 m2 of floor; the leakage area in it by the toolkit."""
    i = value.inputs
    flow_50 = i["ACH50"] * i["ceiling_m"]  # m3/h for 1 m2 of floor
    value.holds(1000 * ela4_m2(flow_from(50.0, flow_50, 0.65, 4.0)) * (i["H_m"] / 2.5) ** 0.3)


@holds_for("sws-0052")
def test_infiltration_credit_per_cubic_foot_a_minute(value: Value):
    """Q = NL wsf A / 7.3 with NL = 1000 ELA / A, both areas in ft2, by hand; the leakage area by the toolkit."""
    ela_ft2 = ela4_m2(flow_from(50.0, M3_H_PER_CFM, 0.65, 4.0)) / FOOT_M**2
    value.holds(1000 * ela_ft2 / 7.3)


@holds_for("901-0112")
def test_infiltration_at_ten_miles_an_hour_from_that_at_75_pa(value: Value):
    """(a + 1) (0.5 C_s rho U^2 / 75)^0.65 with the numbers of the quantity line; the power law by the toolkit."""
    pressure_pa = 0.5 * 0.1617 * 1.18 * 4.47**2
    value.holds((0.22 + 1) * flow_from(75.0, 1.0, 0.65, pressure_pa))
