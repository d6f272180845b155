"""Figures that public handbooks derive from a leakage test: leakage per size of the house, infiltration, its credit.

Each function is one published equation, and says where it stands and how it is known: "read", or "from memory" of a
text that was not seen. Infiltration is what such models estimate of a house without a fan; nobody measured it.
"""

from __future__ import annotations

import numpy as np

from interchange.analysis.air import Number
from interchange.analysis.areas import S_PER_H
from interchange.analysis.batch import Floats
from interchange.units import unit

ELA_PRESSURE_PA = 4.0  # [Pa] of the effective leakage area behind normalised and specific leakage (ASHRAE, read)
ELA_DISCHARGE_COEFFICIENT = 1.0  # [1] of it (ASHRAE Handbook-Fundamentals, chapter 16, read)
# [kg/m3] of it: reproduces the handbook's areas, and 0.283316478 in2 per cfm of public code to nine digits
ELA_AIR_DENSITY_KG_M3 = 1.2
ONE_STOREY_M = 2.5  # [m] reference height of normalised leakage; 8.202 ft (ANSI/RESNET/ICC 380-2016, equation 9, read)
HEIGHT_EXPONENT = 0.4  # [1] of normalised leakage (the same, read); 0.3 in ASHRAE 119 (of Chan and others, read)
CM2_PER_M2 = 1e4
M3_H_PER_CFM = float(unit("cfm").factor)
M2_PER_FT2 = float(unit("ft2").factor)
# [cfm/ft2] infiltration of a house of normalised leakage 1 and weather factor 1 is 1 / 7.3 (ASHRAE 62.2, from memory;
# it reproduces 0.052 of the work specifications, read)
CFM_FT2_DIVISOR = 7.3
CREDIT_RATIO = 0.052  # [1] infiltration over flow at 50 Pa of a one-storey house of weather factor 1 (read)
ONE_STOREY_DIVISOR = 16.7  # [1] from 50 Pa to natural in a worksheet of one place (Medford, MA, 2013, read)
# [1] divisor of taller houses against that of one storey, by storeys (Sherman 1987, from memory; products read)
HEIGHT_DIVISOR = {1.0: 1.0, 1.5: 0.9, 2.0: 0.8, 3.0: 0.7}


# --- leakage per size of the house -----------------------------------------------------------------------------------


def flow_per_area_m3_h_m2(flow_m3_h: Number, area_m2: Number) -> Floats:
    """Flow [m3/h] at a pressure for each square metre of envelope or floor [m2].

    Over the envelope it is the air permeability (q_E50 of ISO 9972), over the floor the specific leakage rate (q_F50;
    w50 of EN 13829). Which surfaces count is a matter of definition, and changes the figure more than any reading.

    References
    ----------
    [1] ISO 9972, EN 13829 (from memory): definitions.

    """
    return np.asarray(np.asarray(flow_m3_h, dtype=np.float64) / area_m2)


def specific_leakage_area(leakage_area_m2: Number, floor_area_m2: Number) -> Floats:
    """Specific leakage area [1]: effective leakage area at 4 Pa [m2] over floor area [m2].

    References
    ----------
    [1] Reference homes with 0.00036 in public rating code (read); definition of ANSI/RESNET/ICC 301 (from memory).

    """
    return np.asarray(np.asarray(leakage_area_m2, dtype=np.float64) / floor_area_m2)


def normalised_leakage(
    specific_leakage: Number,
    height_m: Number,
    *,
    reference_height_m: float = ONE_STOREY_M,
    height_exponent: float = HEIGHT_EXPONENT,
) -> Floats:
    """Normalised leakage [1]: NL = 1000 SLA (H / H_r)^z, with the height H [m] of the space tested.

    The stored print of the handbook writes 0.1 (ELA / A) and square metres; 0.1 is right for square centimetres.

    References
    ----------
    [1] ANSI/RESNET/ICC 380-2016, equation 9, as public code quotes it (read): z = 0.4, H_r = 8.202 ft.
    [2] Chan, Joh, Sherman (2013), Energy and Buildings 66, section 1.1 (read): z = 0.3, as ASHRAE 119.

    """
    tall = (np.asarray(height_m, dtype=np.float64) / reference_height_m) ** height_exponent
    return np.asarray(1000.0 * np.asarray(specific_leakage) * tall)


def storey_factor(storeys: Number) -> Floats:
    """Factor [1] of the infiltration credit for a house of some storeys: S = storeys^0.4.

    References
    ----------
    [1] Standard Work Specifications, calculation of the infiltration credit, table A-1 (read).

    """
    return np.asarray(np.asarray(storeys, dtype=np.float64) ** HEIGHT_EXPONENT)


# --- infiltration ----------------------------------------------------------------------------------------------------


def basic_infiltration_m3_h(
    leakage_area_m2: Number,
    stack_coefficient: Number,
    temperature_difference_k: Number,
    wind_coefficient: Number,
    wind_speed_m_s: Number,
) -> Floats:
    """Infiltration [m3/h] by the basic model: Q = A_L / 1000 sqrt(C_s dT + C_w U^2), Q in m3/s and A_L in cm2.

    A_L: effective leakage area at 4 Pa [m2]; C_s [(L/s)^2 / (cm4 K)] and C_w [(L/s)^2 / (cm4 (m/s)^2)] by storeys and
    shelter; dT [K] indoors against outdoors; U [m/s] at the weather station.

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 16, equation 48, tables 4 to 6, examples 2 to 4 (read).

    """
    driving = np.asarray(stack_coefficient) * np.abs(temperature_difference_k)
    driving = driving + np.asarray(wind_coefficient) * np.asarray(wind_speed_m_s) ** 2
    return np.asarray(np.asarray(leakage_area_m2) * CM2_PER_M2 / 1000.0 * np.sqrt(driving) * S_PER_H)


def stack_infiltration_m3_h(
    coefficient_m3_h: Number, exponent: Number, stack_coefficient: Number, temperature_difference_k: Number
) -> Floats:
    """Infiltration [m3/h] by warm air alone, enhanced model: Q_s = c C_s dT^n.

    c: flow [m3/h] at 1 Pa; n [1]; C_s [(Pa/K)^n]; dT [K].

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 16, equation 49, tables 7 to 9, examples 5 to 7 (read).

    """
    return np.asarray(np.asarray(coefficient_m3_h) * stack_coefficient * np.abs(temperature_difference_k) ** exponent)


def wind_infiltration_m3_h(
    coefficient_m3_h: Number,
    exponent: Number,
    wind_coefficient: Number,
    shelter_factor: Number,
    wind_speed_m_s: Number,
) -> Floats:
    """Infiltration [m3/h] by wind alone, enhanced model: Q_w = c C_w (s U)^(2 n).

    c: flow [m3/h] at 1 Pa; n [1]; C_w [(Pa s2/m2)^n]; s [1]; U [m/s] at the height of the eaves. Example 6 of the
    handbook prints the exponent 1.34 for n = 0.6; 2 n = 1.2 gives the same flow to its digits.

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 16, equation 50, tables 7 to 9, examples 5 to 7 (read).

    """
    speed = np.asarray(shelter_factor) * np.asarray(wind_speed_m_s)
    return np.asarray(np.asarray(coefficient_m3_h) * wind_coefficient * speed ** (2.0 * np.asarray(exponent)))


def together_m3_h(stack_m3_h: Number, wind_m3_h: Number) -> Floats:
    """Infiltration [m3/h] by warm air and wind together: Q = sqrt(Q_s^2 + Q_w^2).

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 16, equation 47 (read).

    """
    return np.asarray(np.hypot(stack_m3_h, wind_m3_h))


def yearly_infiltration_m3_h(normalised: Number, weather_factor: Number, floor_area_m2: Number) -> Floats:
    """Effective infiltration [m3/h] over a year: Q = NL wsf A / 7.3 in cfm and ft2.

    NL: normalised leakage [1]; wsf: weather and shielding factor of the place [1]; A: floor area [m2].

    References
    ----------
    [1] ASHRAE 62.2 (from memory); reproduces the constant of the work specifications below (read).

    """
    in_cfm = np.asarray(normalised) * weather_factor * np.asarray(floor_area_m2) / M2_PER_FT2 / CFM_FT2_DIVISOR
    return np.asarray(in_cfm * M3_H_PER_CFM)


def infiltration_credit_m3_h(flow_50_m3_h: Number, weather_factor: Number, storeys: Number) -> Floats:
    """Infiltration credit [m3/h] from the flow at 50 Pa [m3/h]: Q = 0.052 wsf S Q_50, with S of `storey_factor`.

    How much of it counts against the ventilation asked for, local codes and the programme say.

    References
    ----------
    [1] Standard Work Specifications, calculation of the infiltration credit (ASHRAE 62.2-2013, appendix A; read).

    """
    return np.asarray(CREDIT_RATIO * np.asarray(weather_factor) * storey_factor(storeys) * np.asarray(flow_50_m3_h))


# --- rules of thumb --------------------------------------------------------------------------------------------------


def natural_rate(rate_50: Number, divisor: Number) -> Floats:
    """Natural rate from that at 50 Pa by a rule of thumb, in the unit of the rate: rate / N.

    About 20 for houses at large (Sherman 1987, read of), 10 to 30 by place and house. A rough guess for one house.

    References
    ----------
    [1] Worksheet of Medford, MA (2013), N = 16.7; hand-out of Vermont, N = 12.4 (both read).

    """
    return np.asarray(np.asarray(rate_50, dtype=np.float64) / divisor)


def storey_divisor(one_storey_divisor: Number, storeys: float) -> Floats:
    """Divisor N [1] of a house of 1, 1.5, 2 or 3 storeys, from that of one storey. Raises KeyError for others.

    References
    ----------
    [1] Worksheet of Medford, MA (2013, read): 16.7, 15, 13.3, 11.7; factors 0.9, 0.8, 0.7 of Sherman (from memory).

    """
    return np.asarray(np.asarray(one_storey_divisor, dtype=np.float64) * HEIGHT_DIVISOR[storeys])


def least_flow_50_m3_h(volume_m3: Number, divisor: Number, *, natural_per_h: float = 0.35) -> Floats:
    """Flow at 50 Pa [m3/h] at which the rule of thumb gives a natural air change of 0.35 an hour: 0.35 V N.

    Older programmes took it for the least that needs no fan; codes of today ask for ventilation otherwise.

    References
    ----------
    [1] Worksheet of Medford, MA (2013, read).

    """
    return np.asarray(natural_per_h * np.asarray(volume_m3, dtype=np.float64) * divisor)


def ventilation_2003_m3_h(floor_area_m2: Number, bedrooms: Number) -> Floats:
    """Ventilation rate [m3/h] of ASHRAE 62.2-2003: 0.01 A + 7.5 (bedrooms + 1), in cfm and ft2. Superseded since.

    References
    ----------
    [1] Hand-out of Vermont (read).

    """
    in_cfm = 0.01 * np.asarray(floor_area_m2) / M2_PER_FT2 + 7.5 * (np.asarray(bedrooms) + 1.0)
    return np.asarray(in_cfm * M3_H_PER_CFM)
