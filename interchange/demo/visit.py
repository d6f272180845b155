"""One visit to a house, second by second: wind blows, the crew holds the fan, the gauge shows.

The crew sets the fan until the gauge shows about the target, then leaves it alone; while a point is averaged the wind
moves the pressure. What is known only to the maker (zero-flow pressure without line and gauge) is returned beside.
"""

from __future__ import annotations

import zlib
from dataclasses import dataclass

import numpy as np

from interchange.demo.air import Air
from interchange.demo.house import Envelope, inside_pressure_pa, outward_kg_h, still
from interchange.demo.kit import FAN_NOISE, GAUGE_NOISE_PA, Fan, Gauge, Line, Opening
from interchange.demo.wind import Array, Wind, blow, speed_among_houses_m_s

GAUGE_HEIGHT_M = 1.2  # the gauge stands beside the door; the tube leaves at its height
NEAR_GROUND_M = 2.0  # height of the crew's hand-held anemometer
SETTLE_S = 20  # from setting the fan to the start of averaging
GUST_S = 3  # a gust is the highest mean over three seconds (WMO Guide No. 8)


@dataclass(frozen=True, slots=True)
class Water:
    """Water in the reference line: shift of every reading [Pa], from the baseline or from a point (counted from 1)."""

    shift_pa: float
    from_point: int | None = None


@dataclass(frozen=True, slots=True)
class Weather:
    """Air on both sides and wind at 10 m in open country [m/s], from a direction [deg]."""

    air: Air
    station_m_s: float
    from_deg: float


@dataclass(frozen=True, slots=True)
class Setting:
    """Where and with what: all that a visit needs besides its runs."""

    seed_text: str
    house: Envelope
    roof_m: float
    weather: Weather
    gauge: Gauge
    fan: Fan
    line: Line
    water: Water | None = None


@dataclass(frozen=True, slots=True)
class Plan:
    """A run as it was meant: sign of the pressure (-1 depressurises), targets [Pa], seconds of baselines and points."""

    sign: int
    targets_pa: tuple[float, ...]
    baseline_s: int = 60
    point_s: int = 30


@dataclass(frozen=True, slots=True)
class Shown:
    """Mean and standard deviation of 1 s readings [Pa]."""

    mean_pa: float
    spread_pa: float


@dataclass(frozen=True, slots=True)
class PointShown:
    """One held point as the gauge shows it."""

    target_pa: float
    pressure: Shown
    opening: str
    fan_pa: float
    flow_m3_h: float


@dataclass(frozen=True, slots=True)
class RunShown:
    """One run as the gauge shows it."""

    sign: int
    before: Shown
    points: tuple[PointShown, ...]
    after: Shown


@dataclass(frozen=True, slots=True)
class Seen:
    """What a visit shows, and the baseline that only the maker knows."""

    runs: tuple[RunShown, ...]
    near_ground_m_s: float
    gust_m_s: float
    roof_m_s: float
    zero_flow_pa: float  # inside minus undisturbed air outside at the gauge, fan off, mean over the baselines
    stack_only_pa: float  # the same in still air


def generator(text: str) -> np.random.Generator:
    """Random numbers that depend on a text alone, so that one visit does not move another."""
    return np.random.Generator(np.random.PCG64(zlib.crc32(text.encode())))


def at_gauge_pa(air: Air, ground_pa: Array) -> Array:
    """Inside minus undisturbed outside at the gauge's height [Pa] from that at the ground [Pa]."""
    return ground_pa + air.stack_pa_m * GAUGE_HEIGHT_M


def stack_only_pa(setting: Setting) -> float:
    """Zero-flow pressure at the gauge in still air [Pa]."""
    air = setting.weather.air
    return float(at_gauge_pa(air, inside_pressure_pa(setting.house, air, np.zeros(1), still()))[0])


def wind_of(setting: Setting, rng: np.random.Generator, seconds: int) -> Wind:
    """The wind of a visit."""
    weather = setting.weather
    return blow(
        rng,
        seconds,
        station_m_s=weather.station_m_s,
        from_deg=weather.from_deg,
        roof_m=setting.roof_m,
        density_kg_m3=weather.air.outdoor_kg_m3,
    )


def conduct(setting: Setting, plans: tuple[Plan, ...]) -> Seen:
    """Carry out a visit's runs, one after another in one stretch of wind."""
    rng = generator(setting.seed_text)
    lengths = [2 * plan.baseline_s + len(plan.targets_pa) * (SETTLE_S + plan.point_s) for plan in plans]
    wind = wind_of(setting, rng, sum(lengths))
    line_pa = setting.line.end_pa(rng, wind)
    runs, zeros, start = [], [], 0
    for plan, length in zip(plans, lengths, strict=True):
        stretch = slice(start, start + length)
        run, zero_pa = _run(setting, plan, rng, wind.face_pa[stretch], line_pa[stretch])
        runs.append(run)
        zeros.append(zero_pa)
        start += length
    near, gust = _near_ground(setting, wind)
    return Seen(
        tuple(runs),
        near,
        gust,
        float(wind.speed_m_s.mean()),
        float(np.mean(zeros)),
        stack_only_pa(setting),
    )


def _near_ground(setting: Setting, wind: Wind) -> tuple[float, float]:
    """Mean and gust [m/s] at the height of a hand-held anemometer."""
    near = wind.speed_m_s * (speed_among_houses_m_s(1.0, NEAR_GROUND_M) / speed_among_houses_m_s(1.0, setting.roof_m))
    return float(near.mean()), float(np.convolve(near, np.full(GUST_S, 1.0 / GUST_S), mode="valid").max())


@dataclass(frozen=True, slots=True)
class Held:
    """A run second by second: what the gauge reads [Pa], what the fan moves out [kg/h], where each point begins."""

    read_pa: Array
    fan_out_kg_h: Array
    begins_s: tuple[int, ...]
    zero_flow_pa: float


def _held(setting: Setting, plan: Plan, rng: np.random.Generator, face_pa: Array, line_pa: Array) -> Held:
    house, air, seconds = setting.house, setting.weather.air, line_pa.size
    step = SETTLE_S + plan.point_s
    begins = tuple(plan.baseline_s + number * step for number in range(len(plan.targets_pa)))
    shift_pa = np.zeros(seconds)
    if setting.water is not None:
        from_point = setting.water.from_point
        shift_pa[0 if from_point is None else begins[from_point - 1] :] = setting.water.shift_pa
    fan_kg_h = np.zeros(seconds)
    for target_pa, begin in zip(plan.targets_pa, begins, strict=True):
        settling = slice(begin, begin + SETTLE_S)
        missed_pa = 0.5 * rng.standard_normal() * (1.0 + 0.01 * target_pa)
        shown_pa = plan.sign * (target_pa + missed_pa)
        ground_pa = shown_pa + line_pa[settling].mean() - shift_pa[begin] - air.stack_pa_m * GAUGE_HEIGHT_M
        mean_face_pa = face_pa[settling].mean(axis=0, keepdims=True)
        fan_kg_h[begin : begin + step] = -outward_kg_h(house, air, np.array([ground_pa]), mean_face_pa)[0]
    inside_pa = at_gauge_pa(air, inside_pressure_pa(house, air, fan_kg_h, face_pa))
    read_pa = setting.gauge.readings_pa(rng, inside_pa - line_pa + shift_pa)
    before, after = slice(0, plan.baseline_s), slice(seconds - plan.baseline_s, seconds)
    return Held(read_pa, fan_kg_h, begins, float(0.5 * (inside_pa[before].mean() + inside_pa[after].mean())))


def _run(
    setting: Setting, plan: Plan, rng: np.random.Generator, face_pa: Array, line_pa: Array
) -> tuple[RunShown, float]:
    held, step = _held(setting, plan, rng, face_pa, line_pa), SETTLE_S + plan.point_s
    points = [
        _point(
            setting,
            plan,
            rng,
            target_pa=target_pa,
            read_pa=held.read_pa[begin + SETTLE_S : begin + step],
            fan_kg_h=held.fan_out_kg_h[begin],
        )
        for target_pa, begin in zip(plan.targets_pa, held.begins_s, strict=True)
    ]
    before, after = held.read_pa[: plan.baseline_s], held.read_pa[-plan.baseline_s :]
    return RunShown(plan.sign, shown(before), tuple(points), shown(after)), held.zero_flow_pa


def _point(
    setting: Setting, plan: Plan, rng: np.random.Generator, *, target_pa: float, read_pa: Array, fan_kg_h: float
) -> PointShown:
    opening, steady_pa = _fan_at(setting, plan, fan_kg_h)
    fan_pa = steady_pa * (1.0 + FAN_NOISE * rng.standard_normal(plan.point_s))
    flow_m3_h = float(opening.flow_m3_h(fan_pa).mean())
    return PointShown(plan.sign * target_pa, shown(read_pa), opening.name, float(fan_pa.mean()), flow_m3_h)


def _fan_at(setting: Setting, plan: Plan, fan_out_kg_h: float) -> tuple[Opening, float]:
    """Opening that the crew fits, and fan pressure [Pa], for what the fan moves out [kg/h]."""
    air = setting.weather.air
    density_kg_m3 = air.indoor_kg_m3 if plan.sign < 0 else air.outdoor_kg_m3
    wanted_m3_h = setting.fan.shown_m3_h(abs(fan_out_kg_h) / density_kg_m3, density_kg_m3)
    opening = setting.fan.opening_for(wanted_m3_h)
    return opening, opening.pressure_pa(wanted_m3_h)


def shown(read_pa: Array) -> Shown:
    """Mean and sample standard deviation of readings [Pa]."""
    return Shown(float(read_pa.mean()), float(read_pa.std(ddof=1)))


@dataclass(frozen=True, slots=True)
class FanLog:
    """One run logged at 1 s, nothing averaged: gauge [Pa], fan [Pa], flow that the display derives [m3/h]."""

    read_pa: Array
    fan_pa: Array
    flow_m3_h: Array  # NaN while the fan is off
    seen: Seen


def log_run(setting: Setting, plan: Plan) -> FanLog:
    """Carry out one run and log every second of it."""
    rng = generator(setting.seed_text)
    seconds = 2 * plan.baseline_s + len(plan.targets_pa) * (SETTLE_S + plan.point_s)
    wind = wind_of(setting, rng, seconds)
    held = _held(setting, plan, rng, wind.face_pa, setting.line.end_pa(rng, wind))
    fan_pa = 0.5 * GAUGE_NOISE_PA * rng.standard_normal(seconds)
    flow_m3_h = np.full(seconds, np.nan)
    for begin in held.begins_s:
        stretch = slice(begin, begin + SETTLE_S + plan.point_s)
        opening, steady_pa = _fan_at(setting, plan, held.fan_out_kg_h[begin])
        noise = FAN_NOISE * rng.standard_normal(SETTLE_S + plan.point_s)
        fan_pa[stretch] = steady_pa * (1.0 + noise)
        flow_m3_h[stretch] = opening.flow_m3_h(fan_pa[stretch])
    near, gust = _near_ground(setting, wind)
    roof_m_s = float(wind.speed_m_s.mean())
    seen = Seen((), near, gust, roof_m_s, held.zero_flow_pa, stack_only_pa(setting))
    return FanLog(held.read_pa, fan_pa, flow_m3_h, seen)


@dataclass(frozen=True, slots=True)
class Log:
    """A fan-off log at 1 s: two lines [Pa], indoor temperature [°C], wind at roof height [m/s]."""

    first_pa: Array
    second_pa: Array
    indoor_c: Array
    wind_m_s: Array
    zero_flow_pa: float
    stack_only_pa: float


def log(setting: Setting, second: Line, seconds: int) -> Log:
    """Watch a house with the fan off through two reference lines side by side."""
    rng, air = generator(setting.seed_text), setting.weather.air
    wind = wind_of(setting, rng, seconds)
    inside_pa = at_gauge_pa(air, inside_pressure_pa(setting.house, air, np.zeros(seconds), wind.face_pa))
    reads = [setting.gauge.readings_pa(rng, inside_pa - line.end_pa(rng, wind)) for line in (setting.line, second)]
    indoor_c = air.indoor_c + 0.15 * np.sin(2.0 * np.pi * np.arange(seconds) / 700.0)  # the heating comes and goes
    return Log(reads[0], reads[1], indoor_c, wind.speed_m_s, float(inside_pa.mean()), stack_only_pa(setting))
