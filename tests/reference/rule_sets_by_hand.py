"""What the standards ask for, as lists of steps, written down apart from the rule sets that are shipped.

All of it is from memory except these, which were read: the leakage area at 4 Pa with a discharge coefficient of 1, and
at 10 Pa with one of 0.611 (ASHRAE Handbook-Fundamentals, chapter 16), the equation with viscosity (Roulet 2008,
equation 4.15) and the densities of the flow through the leaks (ATTMA TSL2 2010, A.1.4).
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from interchange.model import ruleset


@dataclass(frozen=True)
class Step:
    name: str
    arguments: Mapping[str, Any] = field(default_factory=dict)


def shipped(name: str) -> tuple[Step, ...]:
    """Steps of a rule set as shipped."""
    return tuple(Step(rule.name, dict(rule.arguments)) for rule in ruleset.named(name).steps)


# 1.2041 kg/m3 is dry air of 20 degrees Celsius and 101325 Pa; it stands in where a calibration names no density.
BEFORE_THE_DENSITIES = (
    Step("air_pressure", {"pressure_pa": 101_325.0}),
    Step("baseline"),
    Step("fan_calibration"),
)
CORRECTIONS = (
    *BEFORE_THE_DENSITIES,
    Step("fan_density", {"assumed_reference_air_density_kg_m3": 1.2041}),
    Step("envelope_density"),
)
# ISO 9972 and EN 13829 reckon with the humidity that is recorded, the others with dry air (from memory).
DAMP = {"humidity": True}
DAMP_CORRECTIONS = (
    *BEFORE_THE_DENSITIES,
    Step("fan_density", {"assumed_reference_air_density_kg_m3": 1.2041, **DAMP}),
    Step("envelope_density", DAMP),
)
AT_20_C = {"reference_temperature_c": 20.0, "reference_pressure_pa": 101_325.0}


def area(pressure_pa: float, discharge_coefficient: float = 1.0, density_kg_m3: float = 1.2041) -> Step:
    return Step(
        "leakage_area",
        {
            "pressure_pa": pressure_pa,
            "discharge_coefficient": discharge_coefficient,
            "air_density_kg_m3": density_kg_m3,
        },
    )


BY_HAND: dict[str, tuple[Step, ...]] = {
    "as_displayed": (Step("power_law", {"confidence": 0.95}), Step("one_point", {"exponent": 0.65})),
    "iso9972@2015": (
        *DAMP_CORRECTIONS,
        Step("power_law", {"confidence": 0.95}),
        Step("reference_conditions", {**AT_20_C, "viscosity": False, **DAMP}),
        area(10.0),
    ),
    "astm-e779@2019": (
        *CORRECTIONS,
        Step("power_law", {"confidence": 0.95}),
        Step("reference_conditions", {**AT_20_C, "viscosity": True}),
        area(4.0),
    ),
    "astm-e1827-two-point@2011": (
        *CORRECTIONS,
        Step("two_point", {"primary_pa": 50.0, "secondary_pa": 12.5}),
        Step("reference_conditions", {**AT_20_C, "viscosity": True}),
        area(4.0),
    ),
    "icc-380@2016": (
        Step("baseline"),
        Step("fan_calibration"),
        # 0.000006 for each foot above 5000 ft (from memory, unsure); a foot is 0.3048 m
        Step("elevation_factor", {"per_m": 1.9685e-5, "from_m": 1524.0}),
        Step("one_point", {"exponent": 0.65}),
        area(4.0, density_kg_m3=1.2),
    ),
    "en13829@2000": (
        *DAMP_CORRECTIONS,
        Step("power_law", {"confidence": 0.95}),
        Step("reference_conditions", {**AT_20_C, "viscosity": False, **DAMP}),
    ),
    "astm-e3158@2018": (
        *CORRECTIONS,
        Step("power_law", {"confidence": 0.95}),
        Step("reference_conditions", {**AT_20_C, "viscosity": True}),
    ),
    "cgsb-149.10@2019": (
        *CORRECTIONS,
        Step("weighted_power_law", {"flow_power": 2.0, "confidence": 0.95}),
        Step("reference_conditions", {**AT_20_C, "viscosity": True}),
        area(10.0, discharge_coefficient=0.611),
    ),
    "astm-e1827-one-point@2011": (
        *CORRECTIONS,
        Step("one_point", {"exponent": 0.65}),
        Step("reference_conditions", {**AT_20_C, "viscosity": True}),
        area(4.0),
    ),
}
