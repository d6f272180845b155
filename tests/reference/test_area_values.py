"""Leakage areas and air changes: handbook examples, constants of standards and public code, against the kernels."""

from __future__ import annotations

from math import log, sqrt

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


@holds_for("cfm50-ach50-433")
def test_air_changes_of_a_worksheet(value: Value):
    i = value.inputs
    value.holds(areas.air_changes_per_h(i["CFM50"] * M3_H_PER_CFM, i["V_ft3"] * FOOT_M**3))


@holds_for("901-0112")
def test_infiltration_at_ten_miles_an_hour_from_that_at_75_pa(value: Value):
    """(a + 1) (0.5 C_s rho U^2 / 75)^0.65 with the numbers of the quantity line; the power law by the toolkit."""
    pressure_pa = 0.5 * 0.1617 * 1.18 * 4.47**2
    value.holds((0.22 + 1) * flow_from(75.0, 1.0, 0.65, pressure_pa))
