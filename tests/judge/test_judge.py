"""The judge can be trusted: closed forms, published figures, and answers that go the right way."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.optimize import brentq

from . import (
    Air,
    Case,
    Fan,
    House,
    Wind,
    branched_damped,
    many,
    multi_point,
    open_end,
    simulate,
    simulation,
    single_point,
)
from .gauges import PERFECT_GAUGE
from .house import Envelope, balance
from .lines import Line
from .plain import corrected_pa, plain_line, reference_flow
from .steps import STEP_S, STEPS_A_SECOND
from .wind import OPEN_COUNTRY

PERFECT_FAN = Fan(flow_gain_sd=0.0, gauge=PERFECT_GAUGE)
CALM = Wind(speed_10m_m_s=0.0)
SAME_AIR = Air(indoor_c=20.0, outdoor_c=20.0)
BOTH = ("depressurisation", "pressurisation")
# all leaks at the height of the gauge: no stack pressure across any
LEVEL_HOUSE = House(wall_shares=(0.4, 0.2, 0.2, 0.2), ceiling_share=0.0, wall_heights_m=(1.0,), exponent=0.62)
PERFECT = Case(gauge=PERFECT_GAUGE, fan=PERFECT_FAN)


def steady(speed_m_s: float) -> Wind:
    """Wind that blows on the north wall of a house 10 m high in open country just as at the weather station."""
    return Wind(speed_m_s, 0.0, OPEN_COUNTRY, intensity=0.0, slow_speed=0.0, slow_direction_deg=0.0)


def rng(seed: int = 1) -> np.random.Generator:
    return np.random.default_rng(seed)


@pytest.mark.parametrize("control", ["held", "controlled"])
@pytest.mark.parametrize("viscosity_counts", [False, True])
def test_still_air_gives_the_truth_in_both_directions(control, viscosity_counts):
    air = Air(indoor_c=22.0, outdoor_c=-5.0, barometer_pa=95000.0, viscosity_counts=viscosity_counts)
    crew = multi_point(directions=BOTH, control=control)
    test = simulate(replace(PERFECT, house=LEVEL_HOUSE, air=air, wind=CALM, procedure=crew), rng())
    for run in test.runs:
        coefficient, exponent = plain_line(test, run, viscosity_counts)
        assert exponent == pytest.approx(0.62, rel=1e-3)
        assert coefficient * 50**exponent == pytest.approx(200 * 50**0.62, rel=2e-3)
        assert coefficient * 10**exponent == pytest.approx(200 * 10**0.62, rel=2e-3)
        flow = reference_flow(test, run, 0.62, viscosity_counts)
        assert flow == pytest.approx(200 * corrected_pa(run) ** 0.62, rel=2e-3)
    assert (test.truth.flow_50_m3_h, test.truth.flow_10_m3_h) == (200 * 50**0.62, 200 * 10**0.62)


def test_directions_mirror_in_still_air_of_one_temperature():
    crew = multi_point(directions=BOTH)
    down, up = simulate(replace(PERFECT, air=SAME_AIR, wind=CALM, procedure=crew), rng()).runs
    assert down.pressure_pa == pytest.approx(-up.pressure_pa, abs=1e-6)
    assert down.flow_m3_h == pytest.approx(up.flow_m3_h, rel=1e-6)
    assert (down.pressure_pa < -9).all()


def errors_of_the_plain_line(speed_m_s: float, count: int) -> tuple[float, float]:
    """Root mean square relative error at 50 Pa and 10 Pa with perfect instruments and no stack."""
    case = replace(PERFECT, air=SAME_AIR, wind=Wind(speed_10m_m_s=speed_m_s))
    found = []
    for test in many(case, count, 7):
        coefficient, exponent = plain_line(test, test.runs[0])
        truth = test.truth
        found.append(
            [coefficient * p**exponent / q - 1 for p, q in ((50, truth.flow_50_m3_h), (10, truth.flow_10_m3_h))]
        )
    return tuple(np.sqrt(np.mean(np.square(found), axis=0)))


@pytest.mark.parametrize("count", [30, pytest.param(400, marks=pytest.mark.full)])
def test_the_error_of_a_plain_line_grows_with_the_wind(count):
    at_50, at_10 = np.array([errors_of_the_plain_line(speed, count) for speed in (1.5, 3.0, 6.0, 10.0)]).T
    assert (at_50[1:] > 1.5 * at_50[:-1]).all()
    assert (at_10[1:] > 1.5 * at_10[:-1]).all()
    assert (at_10 > 3 * at_50).all()


def two_leak_error(share: float, speed_m_s: float, pressure_pa: float, sign: int) -> float:
    """Flow at a corrected pressure over that of still air, less 1: a leak in the wind and one behind, n = 2/3."""
    q = 0.5 * 1.2041 * speed_m_s**2

    def through(p: float) -> float:
        x, y = p - 0.6 * q, p + 0.3 * q
        return share * np.sign(x) * abs(x) ** (2 / 3) + (1 - share) * np.sign(y) * abs(y) ** (2 / 3)

    zero = brentq(through, -q, q, xtol=1e-12)
    return sign * through(zero + sign * pressure_pa) / pressure_pa ** (2 / 3) - 1


SPLITS = np.linspace(0.02, 0.98, 49)


# Carrié and Leprince, 35th AIVC conference (2014), abstract: errors of 3 % and 11 % at 50 Pa, 35 % and 60 % at 10 Pa,
# at 6 m/s and 10 m/s, at the worst leakage split. Their pressure coefficients are unknown to us (ours are +0.6 and -0.3
# of the handbook), hence the room.
@pytest.mark.parametrize(
    ("speed_m_s", "pressure_pa", "published", "room"),
    [(6.0, 50.0, 0.03, 0.005), (10.0, 50.0, 0.11, 0.006), (6.0, 10.0, 0.35, 0.05), (10.0, 10.0, 0.60, 0.10)],
)
def test_steady_wind_errs_as_published_at_the_worst_split_of_the_leaks(speed_m_s, pressure_pa, published, room):
    closed = {(f, sign): abs(two_leak_error(f, speed_m_s, pressure_pa, sign)) for f in SPLITS for sign in (-1, 1)}
    worst = max(closed, key=closed.get)
    crew = single_point(
        targets_pa=(pressure_pa,), directions=BOTH, baseline_s=5, settle_s=60, station_s=5, content_pa=0.01
    )
    seen = {}
    for share in (worst[0], 0.1, 0.5, 0.9):
        house = House(200.0, 2 / 3, 10.0, (share, 0.0, 1 - share, 0.0), 0.0, (5.0,), shelter=1.0, wall_gusts=0.0)
        line = Line("still", ("yard",), yard_cp_sd=0.0, end_gusts=0.0)
        case = replace(PERFECT, house=house, air=SAME_AIR, wind=steady(speed_m_s), procedure=crew, lines=(line,))
        case = replace(case, fan=replace(PERFECT_FAN, shut_off_pa=1e5))  # a fan that wind does not drive
        for sign, run in zip((-1, 1), simulate(case, rng()).runs, strict=True):
            reached = corrected_pa(run)[0]
            error = run.flow_m3_h[0] / (200 * reached ** (2 / 3)) - 1
            assert error == pytest.approx(two_leak_error(share, speed_m_s, reached, sign), abs=2e-4)
            assert reached == pytest.approx(pressure_pa, rel=0.01)
            seen[share, sign] = abs(error)
    assert seen[worst] == pytest.approx(max(seen.values()), abs=1e-3)
    assert max(seen.values()) == pytest.approx(published, abs=room)


def test_a_branched_damped_line_shows_less_spread_than_an_open_end():
    damped_end = replace(open_end(), manifold_s=12.0)
    case = Case(wind=Wind(speed_10m_m_s=6.0), lines=(open_end(), branched_damped(), damped_end))
    runs = [test.runs[0] for test in many(case, 30, 3)]
    for spreads in ([run.baseline_before_spread_pa for run in runs], [run.spread_pa.mean(axis=1) for run in runs]):
        open_, branched, one_end = np.mean(spreads, axis=0)
        assert branched < 0.6 * open_
        assert branched < one_end < 0.8 * open_
    # a branched line also differs less from one baseline to the other
    between = np.std([run.baseline_after_pa - run.baseline_before_pa for run in runs], axis=0)
    assert between[1] < 0.5 * between[0]


def test_a_baseline_of_stack_alone_is_the_closed_form():
    # two equal leaks, at 0 m and 4 m: mass balance gives rho_out x_low = rho_in x_high, whatever the exponent
    house = House(wall_shares=(1.0, 0, 0, 0), ceiling_share=0.0, wall_heights_m=(0.0, 4.0), gauge_height_m=1.5)
    test = simulate(replace(PERFECT, house=house, air=Air(20.0, 0.0), wind=CALM), rng())
    inside, outside = 101325 / (287.055 * 293.15), 101325 / (287.055 * 273.15)
    per_metre = (outside - inside) * 9.80665
    assert per_metre == pytest.approx(0.86459, rel=1e-4)  # ASHRAE Handbook Fundamentals, chapter 16, equation 30
    expected = -4.0 * per_metre * inside / (inside + outside) + 1.5 * per_metre
    assert test.runs[0].baseline_before_pa[0] == pytest.approx(expected, abs=1e-6)
    assert test.runs[0].baseline_after_pa[0] == pytest.approx(expected, abs=1e-6)
    assert test.runs[0].baseline_before_spread_pa[0] < 1e-6


def test_the_mass_that_enters_leaves():
    house, air = House(), Air(21.0, 2.0)
    across = rng().normal(0.0, 6.0, (50, len(house.leaks()[0])))
    fan = np.linspace(-0.5, 0.5, 50)
    inside, residual = balance(Envelope.of(house, air), across, lambda p: (fan, np.zeros(50)), np.zeros(50))
    x = inside[:, None] - across
    rho = np.where(x > 0, 101325 / (287.055 * 294.15), 101325 / (287.055 * 275.15))
    volume = house.leaks()[0] * 200 / 3600 * (rho / 1.2041) ** (0.65 - 1) * np.sign(x) * np.abs(x) ** 0.65
    assert np.abs((rho * volume).sum(axis=1) + fan) == pytest.approx(np.zeros(50), abs=1e-5)
    assert residual.max() < 1e-9


def test_the_mass_balance_holds_at_every_second_of_a_test():
    crew = multi_point(targets_pa=(50.0, 10.0), directions=BOTH)
    case = replace(PERFECT, wind=steady(8.0), procedure=crew, keep_trace=True, house=House(wall_gusts=0.0))
    test = simulate(case, rng())
    trace, inside, outside = test.trace, 101325 / (287.055 * 293.15), 101325 / (287.055 * 281.15)
    x = trace.true_inside_pa[:, None] - trace.true_outside_pa
    rho = np.where(x > 0, inside, outside)
    volume = case.house.leaks()[0] * 200 * (rho / 1.20412) ** (0.65 - 1) * np.sign(x) * np.abs(x) ** 0.65
    fan = trace.true_fan_flow_m3_h * np.where(trace.run == 0, inside, outside)
    held = trace.averaged
    assert ((rho * volume).sum(axis=1) + fan)[held] == pytest.approx(np.zeros(held.sum()), abs=0.05)
    assert np.abs(fan[held & (trace.station == 0)]).min() > 2000
    assert test.residual < 1e-9


def test_points_and_baselines_are_means_of_the_trace():
    test = simulate(Case(keep_trace=True, lines=(open_end(), branched_damped())), rng())
    run, trace = test.runs[0], test.trace
    for station in range(10):
        seconds = trace.averaged & (trace.station == station)
        assert run.pressure_pa[:, station] == pytest.approx(trace.pressure_pa[:, seconds].mean(axis=1))
        assert run.spread_pa[:, station] == pytest.approx(trace.pressure_pa[:, seconds].std(axis=1, ddof=1))
        root = np.sqrt(trace.fan_pressure_pa[seconds]).mean()
        assert run.flow_m3_h[station] == pytest.approx(run.opening_coefficient_m3_h[station] * root)
        assert run.start_s[station] == trace.time_s[seconds][0]
    off = np.flatnonzero(trace.averaged & (trace.station == -1))
    assert run.baseline_before_pa == pytest.approx(trace.pressure_pa[:, off[:60]].mean(axis=1))
    assert run.baseline_after_pa == pytest.approx(trace.pressure_pa[:, off[60:]].mean(axis=1))
    assert len(trace.time_s) * STEP_S * STEPS_A_SECOND == 20 + 60 + 10 * 50 + 20 + 60


def test_a_test_does_not_depend_on_its_company(monkeypatch):
    few, more = many(Case(), 2, 5), many(Case(), 4, 5)
    monkeypatch.setattr(simulation, "TOGETHER", 1)
    for other in (few[1], many(Case(), 2, 5)[1], simulate(Case(), np.random.default_rng([5, 1]))):
        assert other.runs[0].pressure_pa.tolist() == more[1].runs[0].pressure_pa.tolist()
        assert other.runs[0].flow_m3_h.tolist() == more[1].runs[0].flow_m3_h.tolist()
    assert more[0].runs[0].pressure_pa.tolist() != more[1].runs[0].pressure_pa.tolist()


def test_a_controller_ends_nearer_the_targets_than_a_held_fan():
    off = {}
    for control in ("held", "controlled"):
        case = replace(PERFECT, wind=Wind(speed_10m_m_s=6.0), procedure=multi_point(control=control))
        runs = [test.runs[0] for test in many(case, 20, 2)]
        before = [run.pressure_pa[0] - run.baseline_before_pa[0] for run in runs]
        off[control] = np.sqrt(np.mean((np.array(before) + runs[0].target_pa) ** 2))
    assert off["controlled"] < 0.8 * off["held"] < 2.0


@pytest.mark.parametrize(("content_pa", "least", "most"), [(0.01, 0.0, 0.02), (2.0, 0.2, 2.0), (50.0, 2.5, 50.0)])
def test_a_crew_leaves_a_pressure_alone_that_is_near_enough(content_pa, least, most):
    crew = single_point(settle_s=60, content_pa=content_pa)
    tests = many(replace(PERFECT, air=SAME_AIR, wind=CALM, procedure=crew), 30, 2)
    off = [abs(corrected_pa(test.runs[0])[0] - 50.0) for test in tests]
    assert least < max(off) <= most


def test_tests_differ_in_direction_and_certificate_and_tell_their_wind():
    tests = many(Case(wind=Wind(speed_10m_m_s=5.0), procedure=single_point()), 100, 4)
    quarters = np.bincount([int(test.wind_from_deg // 90) for test in tests], minlength=4)
    assert quarters.min() > 12
    assert np.mean([test.wind_10m_m_s for test in tests]) == pytest.approx(5.0, rel=0.05)
    coefficients = np.array([test.runs[0].opening_coefficient_m3_h[0] for test in tests])
    assert coefficients.mean() == pytest.approx(4000 / np.sqrt(300), rel=0.01)
    assert coefficients.std() / coefficients.mean() == pytest.approx(0.02, rel=0.2)
