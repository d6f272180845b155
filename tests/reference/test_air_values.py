"""Air: published tables and equations against the air and fan kernels."""

from __future__ import annotations

from check_values import Value, holds_for

from interchange.analysis import air, fan, powerlaw
from interchange.demo import wind

STANDARD_PRESSURE_PA = 101_325.0  # standard atmosphere at sea level, by definition
REFERENCE_C = 20.0


@holds_for("rho-dry-*", "rho-ref")
def test_density_of_dry_air(value: Value):
    """ASHRAE table 2 lists a real gas (0.03 to 0.09 % denser); the file's tolerance allows for that."""
    value.holds(air.air_density_kg_m3(value.inputs["t_C"], value.inputs["p_Pa"]))


@holds_for("rho-sat-*")
def test_density_of_saturated_air(value: Value):
    """Below 0 degrees Celsius the table saturates over ice and the kernel over water: 0.01 % of the density."""
    value.holds(air.air_density_kg_m3(value.inputs["t_C"], value.inputs["p_Pa"], 1.0))


@holds_for("rho-20C-50rh")
def test_density_of_half_saturated_air(value: Value):
    value.holds(air.air_density_kg_m3(value.inputs["t_C"], value.inputs["p_Pa"], value.inputs["rh"]))


@holds_for("pvs-*")
def test_saturation_vapour_pressure(value: Value):
    value.holds(air.saturation_vapour_pressure_pa(value.inputs["t_C"]))


@holds_for("mu-*")
def test_viscosity(value: Value):
    value.holds(air.dynamic_viscosity_pa_s(value.inputs["t_C"]))


@holds_for("stdatm-p-*")
def test_pressure_of_the_standard_atmosphere(value: Value):
    value.holds(air.standard_pressure_pa(value.inputs["Z_m"]) / 1000)


@holds_for("stack-20-0")
def test_stack_pressure_of_a_metre(value: Value):
    inputs = value.inputs
    value.holds(air.stack_pressure_pa(inputs["Ti_C"], inputs["To_C"], 1.0, inputs["p_Pa"]))


@holds_for("stack-per-mK")
def test_stack_pressure_of_a_metre_and_kelvin(value: Value):
    """The state is that of stack-20-0: 20 degrees Celsius inside, 0 outside."""
    value.holds(air.stack_pressure_pa(20.0, 0.0, 1.0, STANDARD_PRESSURE_PA) / 20.0)


@holds_for("dens-corr-depress")
def test_depressurising_the_leaks_pass_outdoor_air_and_the_fan_indoor_air(value: Value):
    inputs = value.inputs
    indoor = air.air_density_kg_m3(inputs["t_in_C"], STANDARD_PRESSURE_PA)
    outdoor = air.air_density_kg_m3(inputs["t_out_C"], STANDARD_PRESSURE_PA)
    value.holds(inputs["Qm"] * fan.envelope_density_factor(indoor, outdoor))


@holds_for("dens-corr-press")
def test_pressurising_the_leaks_pass_indoor_air_and_the_fan_outdoor_air(value: Value):
    inputs = value.inputs
    indoor = air.air_density_kg_m3(inputs["t_in_C"], STANDARD_PRESSURE_PA)
    outdoor = air.air_density_kg_m3(inputs["t_out_C"], STANDARD_PRESSURE_PA)
    value.holds(inputs["Qm"] * fan.envelope_density_factor(outdoor, indoor))


@holds_for("cref-iso-0C")
def test_reference_conditions_by_density_alone(value: Value):
    leak = air.air_density_kg_m3(value.inputs["t_C"], value.inputs["p_Pa"])
    reference = air.air_density_kg_m3(REFERENCE_C, STANDARD_PRESSURE_PA)
    value.holds(powerlaw.reference_conditions_factor(value.inputs["n"], leak, reference))


@holds_for("cref-e779-1500m")
def test_reference_conditions_at_1500_m(value: Value):
    leak = air.air_density_kg_m3(value.inputs["t_C"], 1000 * value.inputs["p_kPa"])
    reference = air.air_density_kg_m3(REFERENCE_C, STANDARD_PRESSURE_PA)
    value.holds(powerlaw.reference_conditions_factor(value.inputs["n"], leak, reference))


@holds_for("cref-e779-0C")
def test_reference_conditions_by_density_and_viscosity(value: Value):
    value.holds(
        powerlaw.reference_conditions_factor(
            value.inputs["n"],
            air.air_density_kg_m3(value.inputs["t_C"], value.inputs["p_Pa"]),
            air.air_density_kg_m3(REFERENCE_C, STANDARD_PRESSURE_PA),
            air.dynamic_viscosity_pa_s(value.inputs["t_C"]),
            air.dynamic_viscosity_pa_s(REFERENCE_C),
        )
    )


@holds_for("dynp-*")
def test_dynamic_pressure_of_the_demo_wind(value: Value):
    value.holds(wind.dynamic_pressure_pa(value.inputs["rho"], value.inputs["U"]))


@holds_for("ashrae24-ex1")
def test_wind_profile_of_the_demo_from_the_open_station_to_a_suburb(value: Value):
    """The handbook's example has no shelter factor; the demo multiplies by one (ASHRAE chapter 16, table 9: 0.7)."""
    value.holds(wind.speed_among_houses_m_s(value.inputs["Umet"], value.inputs["H"]) / 0.7)
