"""An hour without a fan: lines side by side, a weather record beside them, and what is true of both."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from .case import Case
from .disturbances import disturbed, from_outdoors, kept
from .faults import Kind, Planted, planted
from .gauges import shown
from .house import Envelope, balance
from .mast import Mast, WeatherRecord, beside
from .operating import at_gauge_pa
from .procedure import Stretch
from .simulation import Weather, weather_of
from .steps import STEPS_A_SECOND
from .writing import seconds

POSSIBLE: tuple[Kind, ...] = (
    "water in the line",
    "blocked line",
    "line disconnected",
    "end on one facade",
    "gauge gain",
    "gauge drift",
    "exhaust running",
    "opening moved",
)


@dataclass(frozen=True, slots=True)
class MonitoringTruth:
    """What nobody on site knows; pressures inside minus outside at the height of the gauge.

    Of the lines: what reaches the gauge from outdoors against undisturbed air, without faults and without the gauge's
    own noise. Its mean is what a line errs by, and its covariance what weights of lines would be made of.
    """

    zero_pa: float  # in still air: the stack alone
    mean_inside_pa: float  # as it was, with the wind
    line_error_pa: np.ndarray  # (lines,)
    line_covariance_pa2: np.ndarray  # (lines, lines)
    clock_offset_s: float  # of the weather record: its stamp less the true time
    planted: tuple[Planted, ...]

    @property
    def noise_ratio(self) -> np.ndarray:
        """Variance of each line over that of the first (lines,); nan without wind."""
        variance = np.diag(self.line_covariance_pa2)
        return variance / variance[0] if variance[0] else np.full(len(variance), np.nan)


@dataclass(frozen=True, slots=True)
class Monitoring:
    """Readings of each second; whoever is judged has all but `truth`, what begins with `true_` and the true offset."""

    time_s: np.ndarray
    pressure_pa: np.ndarray  # (lines, seconds)
    lines: tuple[str, ...]
    indoor_c: float
    outdoor_c: float
    barometer_pa: float
    weather: WeatherRecord
    truth: MonitoringTruth
    true_inside_pa: np.ndarray  # (seconds,): against undisturbed outdoor air at the height of the gauge
    true_wind_at_eaves_m_s: np.ndarray
    true_wind_from_deg: np.ndarray


def simulate_monitoring(case: Case, lasts_s: int, rng: np.random.Generator) -> Monitoring:
    """Lines of a case read side by side for so many seconds with the fan covered.

    Faults take place as in a test, their windows given in seconds or as "whole"; only those of `POSSIBLE`. Without a
    mast of its own the case has one 10 m high in open country, 2 km away.
    """
    for fault in case.faults:
        if fault.kind not in POSSIBLE or not (isinstance(fault.during, tuple) or fault.during == "whole"):
            raise ValueError(f"{fault.kind} {fault.during!r} is not possible without a fan, expected one of {POSSIBLE}")
    plan = [Stretch(0, None, True, 0, lasts_s)]
    faults = tuple(planted(fault, plan) for fault in case.faults)
    faults_rng, mast_rng = rng.spawn(2)
    weather = weather_of(case, lasts_s * STEPS_A_SECOND, rng)
    steps = len(weather.door_pa)
    change = disturbed(case, faults, steps, weather.dynamic_pa, faults_rng)
    stack_pa = case.air.stack_pa_m() * case.house.gauge_height_m
    inside = _inside(case, weather, change.arrays) + stack_pa
    lag = change.arrays.get("kept_inside", np.zeros((len(case.lines), 1)))
    felt = np.array([kept(inside, share) for share in lag])
    reading = at_gauge_pa(felt, from_outdoors(change, weather.lines_pa), 0.0, change.arrays)
    mast = case.mast or Mast()
    record = beside(mast, case.wind, case.house.eaves_m, weather.wind, mast_rng)
    return Monitoring(
        time_s=np.arange(lasts_s, dtype=float),
        pressure_pa=np.array([shown(case.gauge, seconds(one), rng) for one in reading]),
        lines=tuple(line.name for line in case.lines),
        indoor_c=case.air.indoor_c,
        outdoor_c=case.air.outdoor_c,
        barometer_pa=case.air.barometer_pa,
        weather=replace(record, true_clock_offset_s=float("nan")),
        truth=MonitoringTruth(
            zero_pa=float(_inside(case, weather.stilled(case), {})[0] + stack_pa),
            mean_inside_pa=float(inside.mean()),
            line_error_pa=weather.lines_pa.mean(axis=1),
            line_covariance_pa2=np.atleast_2d(np.cov(weather.lines_pa, bias=True)),
            clock_offset_s=record.true_clock_offset_s,
            planted=faults,
        ),
        true_inside_pa=seconds(inside),
        true_wind_at_eaves_m_s=seconds(weather.wind.speed_m_s),
        true_wind_from_deg=seconds(weather.wind.from_deg),
    )


def _inside(case: Case, weather: Weather, arrays: dict[str, np.ndarray]) -> np.ndarray:
    """Pressure inside at the ground [Pa] of each step; without a fan to work, no step waits for another."""
    steps = len(weather.door_pa)
    still, exhaust = np.zeros(steps), arrays.get("exhaust_m3_s", np.zeros(steps)) * case.air.indoor_density()
    start = weather.outside_pa.mean(axis=1)
    envelope = Envelope.of(case.house, case.air)
    return balance(envelope, weather.outside_pa, lambda p: (exhaust, still), start, arrays.get("leaks"))[0]
