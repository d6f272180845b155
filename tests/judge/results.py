"""What a simulated test hands over: plain arrays, and the truth."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .faults import Planted
from .house import REFERENCE_DENSITY_KG_M3, REFERENCE_PRESSURE_PA, REFERENCE_TEMPERATURE_C, House
from .mast import WeatherRecord


@dataclass(frozen=True, slots=True)
class Truth:
    """Leakage in still air without stack, of air at 20 Cel and 101325 Pa (dry, 1.2041 kg/m3), both directions alike."""

    coefficient_m3_h: float
    exponent: float
    flow_50_m3_h: float
    flow_10_m3_h: float
    reference_temperature_c: float = REFERENCE_TEMPERATURE_C
    reference_pressure_pa: float = REFERENCE_PRESSURE_PA
    reference_density_kg_m3: float = REFERENCE_DENSITY_KG_M3

    @classmethod
    def of(cls, house: House) -> Truth:
        c, n = house.coefficient_m3_h, house.exponent
        return cls(c, n, c * 50.0**n, c * 10.0**n)


@dataclass(frozen=True, slots=True)
class Run:
    """One direction: averaged stations and baselines as a crew writes them down.

    Pressures inside minus outside [Pa], signed, baseline not taken off; arrays (lines, stations) or (stations,).
    Spread is the standard deviation of the 1 s readings. Flow is as indicated: right for air of the calibration
    density, so true flow = indicated (1.2041/rho)^(1/2), rho of the air in the fan (indoor air when depressurising,
    outdoor air when pressurising). Where no baseline was taken after, its
    arrays (lines,) hold nan and its seconds are 0.
    """

    direction: str
    target_pa: np.ndarray
    pressure_pa: np.ndarray
    spread_pa: np.ndarray
    seconds: np.ndarray
    start_s: np.ndarray
    opening: np.ndarray
    opening_coefficient_m3_h: np.ndarray
    fan_pressure_pa: np.ndarray
    fan_spread_pa: np.ndarray
    flow_m3_h: np.ndarray
    baseline_before_pa: np.ndarray
    baseline_before_spread_pa: np.ndarray
    baseline_before_seconds: float
    baseline_before_start_s: float
    baseline_after_pa: np.ndarray
    baseline_after_spread_pa: np.ndarray
    baseline_after_seconds: float
    baseline_after_start_s: float
    fan_off_fan_pressure_pa: float  # mean of the fan gauge in the baselines: its zero


@dataclass(frozen=True, slots=True)
class Trace:
    """Gauge readings each second, and what nobody on site sees (`true_` and wind).

    `station` is the index of the station being held or settled, -1 while the fan is off; `averaged` marks the seconds
    that make a point or a baseline.
    """

    time_s: np.ndarray
    pressure_pa: np.ndarray  # (lines, seconds)
    fan_pressure_pa: np.ndarray
    run: np.ndarray
    station: np.ndarray
    averaged: np.ndarray
    true_inside_pa: np.ndarray  # against undisturbed outdoor air, both at the ground
    true_fan_flow_m3_h: np.ndarray  # of the air in the fan, outwards positive
    true_outside_pa: np.ndarray  # (seconds, leaks): what each leak has against the pressure inside
    wind_at_eaves_m_s: np.ndarray
    wind_from_deg: np.ndarray


@dataclass(frozen=True, slots=True)
class Simulated:
    """One test with its truth; wind is the mean of the whole test, residual the worst of the mass balance.

    A crew has `runs`, `lines`, temperatures, barometer, `weather`, `repeated`, and of the trace time, pressures, run,
    station and averaged. The rest belongs to the judge; `blind` takes it out.
    """

    truth: Truth
    runs: tuple[Run, ...]
    lines: tuple[str, ...]
    indoor_c: float
    outdoor_c: float
    barometer_pa: float
    wind_10m_m_s: float
    wind_from_deg: float
    residual: float
    trace: Trace | None
    planted: tuple[Planted, ...] = ()
    weather: WeatherRecord | None = None
    repeated: Simulated | None = None  # a second record of the same readings, where one was planted


def blind(test: Simulated) -> Simulated:
    """A test as a crew has it: truth, planted faults, true wind and true pressures are gone (nan, nothing)."""
    nan = float("nan")
    trace = test.trace
    if trace is not None:
        hidden = [name for name in Trace.__slots__ if name.startswith(("true_", "wind_"))]
        trace = replace(trace, **{name: np.full_like(getattr(trace, name), nan) for name in hidden})
    return replace(
        test,
        truth=Truth(nan, nan, nan, nan),
        wind_10m_m_s=nan,
        wind_from_deg=nan,
        residual=nan,
        trace=trace,
        planted=(),
        weather=test.weather and replace(test.weather, true_clock_offset_s=nan),
        repeated=test.repeated and blind(test.repeated),
    )
