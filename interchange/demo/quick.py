"""Many one-point tests at once, without a second-by-second wind: for programmes of thousands of jobs.

The wind is steady at its mean, with the mean dynamic pressure of gusts; what gusts leave in a mean over a minute or
over a point is a random part of it. The house's mass balance is the same as for tests that are followed by the second.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from interchange.demo.air import REFERENCE_DENSITY_KG_M3
from interchange.demo.kit import FAN_NOISE, GAUGE_NOISE_PA, SHELTERED_SHARE
from interchange.demo.meant import ONE_POINT_S, Done, Meant, place_of
from interchange.demo.visit import (
    GAUGE_HEIGHT_M,
    NEAR_GROUND_M,
    PointShown,
    RunShown,
    Seen,
    Setting,
    Shown,
    generator,
)
from interchange.demo.wind import (
    CEILING_COEFFICIENT,
    FACADES_DEG,
    FACES,
    FLOOR_COEFFICIENT,
    INTENSITY,
    Array,
    dynamic_pressure_pa,
    speed_among_houses_m_s,
    wall_coefficient,
)

_LEFT_IN_BASELINE, _LEFT_IN_POINT = 0.12, 0.18  # of the dynamic pressure, in a mean over a minute, a point; assumption
_GUST_FACTOR = 1.0 + 2.5 * INTENSITY  # assumption
_WIDEST_PA, _HALVINGS = 1000.0, 60


def _face_pa(places: Sequence[Setting], mean_m_s: Array) -> Array:
    """Mean wind pressure on each face [Pa], shape (tests, faces)."""
    density = np.array([place.weather.air.outdoor_kg_m3 for place in places])
    dynamic = np.asarray(dynamic_pressure_pa(1.0, mean_m_s)) * density * (1.0 + INTENSITY**2)
    from_deg = np.array([place.weather.from_deg for place in places])
    walls = [wall_coefficient(from_deg - normal) for normal in FACADES_DEG.values()]
    level = (np.full(len(places), CEILING_COEFFICIENT), np.full(len(places), FLOOR_COEFFICIENT))
    return np.asarray(np.stack([*walls, *level], axis=1) * dynamic[:, None], dtype=np.float64)


class _Houses:
    """Leaks of many houses, each in its own air; arrays of shape (tests, leaks) or (tests, 1)."""

    def __init__(self, places: Sequence[Setting], face_pa: Array) -> None:
        def column(values: list[float]) -> Array:
            return np.array(values)[:, None]

        houses, airs = [place.house for place in places], [place.weather.air for place in places]
        self.exponent = column([house.exponent for house in houses])
        self.share = column([house.coefficient_m3_h for house in houses]) * np.stack([house.share for house in houses])
        self.indoor, self.outdoor = column([a.indoor_kg_m3 for a in airs]), column([a.outdoor_kg_m3 for a in airs])
        self.stack_pa_m = column([air.stack_pa_m for air in airs])
        lift = self.stack_pa_m * np.stack([house.height_m for house in houses])
        self.offset_pa = lift - np.take_along_axis(face_pa, np.stack([house.face for house in houses]), axis=1)

    def outward_kg_h(self, ground_pa: Array) -> Array:
        """Net mass flow out [kg/h] at pressures indoors at the ground [Pa], shape (tests,)."""
        pressure = ground_pa[:, None] + self.offset_pa
        density = np.where(pressure > 0.0, self.indoor, self.outdoor)
        thinner = (REFERENCE_DENSITY_KG_M3 / density) ** (1.0 - self.exponent)
        flow = np.sign(pressure) * density * self.share * thinner * np.abs(pressure) ** self.exponent
        return np.asarray(flow.sum(axis=1), dtype=np.float64)

    def zero_flow_pa(self) -> Array:
        """Pressure indoors at the ground [Pa] with the fan off, by halving."""
        low = np.full(self.share.shape[0], -_WIDEST_PA)
        high = -low
        for _ in range(_HALVINGS):
            middle = 0.5 * (low + high)
            too_high = self.outward_kg_h(middle) > 0.0
            low, high = np.where(too_high, low, middle), np.where(too_high, middle, high)
        return np.asarray(0.5 * (low + high), dtype=np.float64)


def done_at_once(tests: Sequence[Meant]) -> list[Done]:
    """Carry out one-point tests; as `meant.done`, but all together."""
    if not tests:
        return []
    places = [place_of(test) for test in tests]
    mean_m_s = np.array([speed_among_houses_m_s(place.weather.station_m_s, place.roof_m) for place in places])
    face_pa = _face_pa(places, mean_m_s)
    houses, still = _Houses(places, face_pa), _Houses(places, np.zeros_like(face_pa))
    gauge_pa = houses.stack_pa_m[:, 0] * GAUGE_HEIGHT_M
    zero_pa, stack_pa = houses.zero_flow_pa() + gauge_pa, still.zero_flow_pa() + gauge_pa
    dynamic = np.asarray(dynamic_pressure_pa(1.25, mean_m_s))
    noise = np.stack([generator(place.seed_text).standard_normal(5) for place in places])
    line_pa = np.array([_line_pa(place, faces) for place, faces in zip(places, face_pa, strict=True)])
    swings = np.array([SHELTERED_SHARE if place.line.arrangement == "sheltered" else 1.0 for place in places])
    gusty = dynamic * swings
    gain = np.array([place.gauge.gain for place in places])
    shift = np.array([place.water.shift_pa if place.water else 0.0 for place in places])
    before_pa = gain * (zero_pa - line_pa + shift + _LEFT_IN_BASELINE * gusty * noise[:, 0])
    target = np.array([test.plans[0].sign * test.plans[0].targets_pa[0] for test in tests])
    read_pa = target + 0.5 * noise[:, 1] * (1.0 + 0.01 * np.abs(target))
    inside_pa = read_pa / gain - shift + line_pa + _LEFT_IN_POINT * gusty * noise[:, 2]
    fan_kg_h = np.abs(houses.outward_kg_h(inside_pa - gauge_pa))
    density = np.where(target < 0.0, houses.indoor[:, 0], houses.outdoor[:, 0])
    flow_m3_h = fan_kg_h / density * (1.0 + 0.5 * FAN_NOISE / np.sqrt(ONE_POINT_S) * noise[:, 3])
    return [
        _done(
            test,
            place,
            zero_pa=float(zero_pa[index]),
            stack_pa=float(stack_pa[index]),
            roof_m_s=float(mean_m_s[index]),
            baseline_pa=float(before_pa[index]),
            read_pa=float(read_pa[index]),
            flow_m3_h=place.fan.shown_m3_h(float(flow_m3_h[index]), float(density[index])),
        )
        for index, (test, place) in enumerate(zip(tests, places, strict=True))
    ]


def _line_pa(place: Setting, faces_pa: Array) -> float:
    faces = [FACES.index(facade) for facade in place.line.facades]
    share = SHELTERED_SHARE if place.line.arrangement == "sheltered" else 1.0
    return float(share * faces_pa[faces].mean())


def _done(
    test: Meant,
    place: Setting,
    *,
    zero_pa: float,
    stack_pa: float,
    roof_m_s: float,
    baseline_pa: float,
    read_pa: float,
    flow_m3_h: float,
) -> Done:
    plan, opening = test.plans[0], place.fan.opening_for(flow_m3_h)
    point = PointShown(
        plan.sign * plan.targets_pa[0],
        Shown(read_pa, GAUGE_NOISE_PA),
        opening.name,
        opening.pressure_pa(flow_m3_h),
        flow_m3_h,
    )
    baseline = Shown(baseline_pa, GAUGE_NOISE_PA)
    near_m_s = roof_m_s * speed_among_houses_m_s(1.0, NEAR_GROUND_M) / speed_among_houses_m_s(1.0, place.roof_m)
    run = RunShown(plan.sign, baseline, (point,), baseline)
    return Done(test, place, Seen((run,), near_m_s, _GUST_FACTOR * near_m_s, roof_m_s, zero_pa, stack_pa))
