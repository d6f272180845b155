"""Air: density, viscosity, pressure of the standard atmosphere, stack pressure."""

from __future__ import annotations

import numpy as np

from interchange.analysis.batch import Floats

Number = float | Floats

KELVIN = 273.15  # [K] at 0 degrees Celsius, by definition
GAS_CONSTANT_DRY_AIR = 287.055  # [J/(kg K)], from memory (the form of ISO 9972 and ASTM E779)
VAPOUR_DENSITY_DEFICIT = 0.37802  # [1], 1 - molar mass of water over that of dry air, from memory
GRAVITY_M_S2 = 9.80665  # [m/s2], conventional value
STANDARD_PRESSURE_PA = 101_325.0  # [Pa], standard atmosphere at sea level
LAPSE_PER_M = 2.25577e-5  # [1/m], ASHRAE Handbook-Fundamentals chapter 1, equation 3 (read)
LAPSE_EXPONENT = 5.2559  # [1], the same
SUTHERLAND_COEFFICIENT = 1.458e-6  # [Pa s/K^0.5], Roulet (2008) equation 4.17 (read)
SUTHERLAND_TEMPERATURE_K = 110.4  # [K], the same
VAPOUR_CONSTANT, VAPOUR_INVERSE_K, VAPOUR_LOGARITHM = 59.484085, 6790.4985, 5.02802  # ATTMA TSL2 (2010), eq. 3 (read)


def saturation_vapour_pressure_pa(temperature_c: Number) -> Floats:
    """Vapour pressure of saturated air over water [Pa] at an air temperature [degrees Celsius].

    p_vs = exp(59.484085 - 6790.4985 / T - 5.02802 ln T), T in kelvin.

    References
    ----------
    [1] ATTMA TSL2 (2010), appendix A, equation 3 (read).

    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + KELVIN
    return np.asarray(np.exp(VAPOUR_CONSTANT - VAPOUR_INVERSE_K / kelvin - VAPOUR_LOGARITHM * np.log(kelvin)))


def air_density_kg_m3(temperature_c: Number, pressure_pa: Number, relative_humidity: Number = 0.0) -> Floats:
    """Density of air [kg/m3] at a temperature [degrees Celsius], pressure [Pa] and relative humidity [0 to 1].

    rho = (p - 0.37802 phi p_vs) / (287.055 T). Assumes an ideal gas: 0.03 to 0.09 % below the real gas tables of
    the ASHRAE Handbook between -20 and 40 degrees Celsius. Humidity 0 is dry air.

    References
    ----------
    [1] ISO 9972 and ASTM E779, density of air (from memory).
    [2] ASHRAE Handbook-Fundamentals, chapter 1, table 2 (read): densities to hold it against.

    """
    temperature = np.asarray(temperature_c, dtype=np.float64)
    humidity = np.asarray(relative_humidity, dtype=np.float64)
    partial = humidity * saturation_vapour_pressure_pa(temperature) if np.any(humidity != 0.0) else 0.0
    return np.asarray(
        (pressure_pa - VAPOUR_DENSITY_DEFICIT * partial) / (GAS_CONSTANT_DRY_AIR * (temperature + KELVIN))
    )


def dynamic_viscosity_pa_s(temperature_c: Number) -> Floats:
    """Dynamic viscosity of air [Pa s] at a temperature [degrees Celsius].

    mu = 1.458e-6 sqrt(T) / (1 + 110.4 / T), T in kelvin (Sutherland's form).

    References
    ----------
    [1] Roulet (2008), Ventilation and Airflow in Buildings, equation 4.17 (read).

    """
    kelvin = np.asarray(temperature_c, dtype=np.float64) + KELVIN
    return np.asarray(SUTHERLAND_COEFFICIENT * np.sqrt(kelvin) / (1.0 + SUTHERLAND_TEMPERATURE_K / kelvin))


def standard_pressure_pa(elevation_m: Number) -> Floats:
    """Air pressure [Pa] of the standard atmosphere at an elevation above sea level [m].

    p = 101325 (1 - 2.25577e-5 Z)^5.2559. The day's weather moves the true pressure by some per cent.

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 1, equation 3 and table 1, -500 to 3000 m (read).

    """
    elevation = np.asarray(elevation_m, dtype=np.float64)
    return np.asarray(STANDARD_PRESSURE_PA * (1.0 - LAPSE_PER_M * elevation) ** LAPSE_EXPONENT)


def site_pressure_pa(barometric_pressure_pa: Floats, elevation_m: Floats) -> Floats:
    """Air pressure at a site [Pa]: the barometer's, else the standard atmosphere's at the elevation [m], else NaN.

    The barometer is taken for one that shows the pressure at the site, not one brought to sea level.
    """
    unread = np.isnan(barometric_pressure_pa)
    return np.asarray(np.where(unread, standard_pressure_pa(elevation_m), barometric_pressure_pa))


def stack_pressure_pa(
    indoor_temperature_c: Number,
    outdoor_temperature_c: Number,
    height_above_neutral_m: Number,
    barometric_pressure_pa: Number = STANDARD_PRESSURE_PA,
) -> Floats:
    """Pressure inside minus outside [Pa] that buoyancy alone makes at a height above the neutral level [m].

    dp = (rho_out - rho_in) g h, with rho_out - rho_in = rho_out (T_in - T_out) / T_in. In a warm house it is
    negative below the neutral level (h < 0) and positive above. Assumes dry still air of one temperature on each side.

    References
    ----------
    [1] ASHRAE Handbook-Fundamentals, chapter 16, equations 24 and 30 (read).

    """
    outdoor = air_density_kg_m3(outdoor_temperature_c, barometric_pressure_pa)
    indoor = air_density_kg_m3(indoor_temperature_c, barometric_pressure_pa)
    return np.asarray((outdoor - indoor) * GRAVITY_M_S2 * height_above_neutral_m)
